"""Search tokens: an identifier as a condition or a reference by condition writes it."""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import quote, unquote

_PLAIN: Final = re.compile(r"[A-Za-z0-9._~:/-]*")
_SPECIAL: Final = re.compile(r"([\\,$|])")
_PARTS: Final = re.compile(r"((?:[^\\|]|\\.)+)\|((?:[^\\|]|\\.)+)", re.DOTALL)


def escaped(text: str) -> str:
    """Return ``text`` with the signs escaped that a search would read as its own (R4, "Escaping Search Parameters").

    Without it the number ``1,2`` finds the patients 1 and 2.
    """
    return _SPECIAL.sub(r"\\\1", text)


def token(system: str, value: str) -> str:
    """Return ``system|value`` for a query: escaped, and percent-encoded where a query needs it."""
    return f"{_encoded(system, ':/')}|{_encoded(value, '')}"


def _encoded(text: str, safe: str) -> str:
    return text if _PLAIN.fullmatch(text) else quote(escaped(text), safe=safe)


def read_token(text: str) -> tuple[str, str] | None:
    """Return system and value of a token as a query writes it; None when it does not have both."""
    parts = _PARTS.fullmatch(unquote(text) if "%" in text else text)
    return (_bare(parts[1]), _bare(parts[2])) if parts else None


def _bare(text: str) -> str:
    return re.sub(r"\\([\\,$|])", r"\1", text) if "\\" in text else text
