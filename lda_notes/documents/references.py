"""Numbered references: which limit and which source a statement of a sheet rests on, listed once at its end."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from lda_notes.knowledge.limits import ROWS, Limit
from lda_notes.knowledge.policy import DEFAULT, Policy, looser, value_text
from lda_notes.knowledge.sources import MARKS_IN_BRIEF, Citation, Mark


@dataclass(frozen=True, slots=True)
class Stated:
    """A statement of a source, in our words. ``key`` names it in brackets: a letter and a number, its own for good."""

    key: str
    says: str
    citations: tuple[Citation, ...]


Basis = str | Stated
"""The basis of a statement: the name of a row of the policy, or what a source says."""

_NUMBERS: Final = {row.name: number for number, row in enumerate(ROWS, 1)}


class References:
    """Collects every basis that a sheet names. Each has the same number always: its place in the table of limits.

    Numbers by order of appearance would change all over the sheet when one fact of a record does.
    """

    def __init__(self, policy: Policy) -> None:
        self._policy = policy
        self._named: dict[Basis, None] = {}

    def mark(self, basis: Iterable[Basis]) -> str:
        """Return the numbers of ``basis`` in brackets with a space before them; nothing for nothing."""
        named = sorted(basis, key=_order)
        self._named.update(dict.fromkeys(named))
        return f" [{', '.join(map(key, named))}]" if named else ""

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """Return number, what is in force and its sources, for every basis named so far, in the order of numbers."""
        return tuple((key(basis), *self._told(basis)) for basis in sorted(self._named, key=_order))

    def changed(self) -> tuple[str, ...]:
        """Return each limit named so far that is not as published, behind its number."""
        named = [basis for basis in sorted(self._named, key=_order) if isinstance(basis, str)]
        return tuple(
            f"[{key(name)}] {in_force(name, self._policy)}"
            for name in named
            if self._policy.rows[name].value != DEFAULT.rows[name].value
        )

    def brief(self) -> tuple[str, ...]:
        """Return each source named so far by its short name, with its mark and the numbers that rest on it."""
        found: dict[str, list[str]] = {}
        marks: set[Mark] = set()
        for basis in sorted(self._named, key=_order):
            cited = self._policy.citations(basis) if isinstance(basis, str) else basis.citations
            for citation in cited:
                found.setdefault(citation.brief(), []).append(key(basis))
                marks.add(citation.mark)
        said = [f"[{', '.join(dict.fromkeys(keys))}] {name}." for name, keys in found.items()]
        legend = "; ".join(f"{mark}: {words}" for mark, words in MARKS_IN_BRIEF.items() if mark in marks)
        return (*said, f"{legend}.") if said else ()

    def _told(self, basis: Basis) -> tuple[str, str]:
        if not isinstance(basis, str):
            return basis.says, "; ".join(cited.text() for cited in basis.citations)
        return in_force(basis, self._policy), "; ".join(cited.text() for cited in self._policy.citations(basis))


def key(basis: Basis) -> str:
    """Return how a basis is named in brackets."""
    return str(_NUMBERS[basis]) if isinstance(basis, str) else basis.key


def _order(basis: Basis) -> tuple[str, int]:
    return ("", _NUMBERS[basis]) if isinstance(basis, str) else (basis.key[0], int(basis.key[1:]))


def in_force(name: str, policy: Policy) -> str:
    """Return a row of the policy in words, and how it differs from the published one."""
    row, published = policy.rows[name], DEFAULT.rows[name]
    said = f"{row.says[0].upper()}{row.says[1:]}: {value_text(row)}"
    if row.value == published.value:
        return said
    word = "looser than published" if looser(row, published) else "published"
    return (
        f"{said} ({word}: {value_text(published)})" if isinstance(row, Limit) else f"{said} ({word}: {published.value})"
    )
