"""One set of facts applied over another, as corrections do."""

from __future__ import annotations

from typing import Any, Final

_WHY_NOT: Final = frozenset({"not_assessed", "not_done"})


def lays_over(old: Any, new: Any) -> bool:
    """Return whether ``merge`` continues key by key: both are mappings, and both or neither a reason why not."""
    return isinstance(old, dict) and isinstance(new, dict) and not _WHY_NOT & (old.keys() ^ new.keys())


def merge(old: Any, new: Any) -> Any:
    """Return ``old`` with ``new`` applied over it: mappings key by key, everything else replaced.

    A reason why not (``not_assessed``, ``not_done``) is an answer of its own: it replaces, and is replaced, whole.
    """
    if lays_over(old, new):
        return {**old, **{key: merge(old.get(key), value) for key, value in new.items()}}
    return new
