"""Numbered references: which limit and which source a statement of a sheet rests on, told once at its end."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lda_notes.limits import Limit
from lda_notes.policy import DEFAULT, Policy, looser, value_text
from lda_notes.sources import Citation


@dataclass(frozen=True, slots=True)
class Stated:
    """What a source says, in our words."""

    says: str
    citations: tuple[Citation, ...]


Basis = str | Stated
"""What a statement rests on: the name of a row of the policy, or what a source says."""


class References:
    """Numbers every basis in the order in which it is first named."""

    def __init__(self, policy: Policy) -> None:
        self._policy = policy
        self._numbers: dict[Basis, int] = {}

    def mark(self, basis: Iterable[Basis]) -> str:
        """Return the numbers of ``basis`` in brackets with a space before them; nothing for nothing."""
        numbers = sorted({self._numbers.setdefault(one, len(self._numbers) + 1) for one in basis if one})
        return f" [{', '.join(map(str, numbers))}]" if numbers else ""

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """Return number, what is in force and its sources, for every basis named so far."""
        return tuple((str(number), *self._told(basis)) for basis, number in self._numbers.items())

    def _told(self, basis: Basis) -> tuple[str, str]:
        if not isinstance(basis, str):
            return basis.says, "; ".join(cited.text() for cited in basis.citations)
        return in_force(basis, self._policy), "; ".join(cited.text() for cited in self._policy.citations(basis))


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
