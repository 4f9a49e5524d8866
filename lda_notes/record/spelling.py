"""The known word most like a mistyped one."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like ``word``, if one is close."""
    from difflib import get_close_matches

    close = get_close_matches(word[:100], list(known), n=1, cutoff=0.6)
    return close[0] if close else None
