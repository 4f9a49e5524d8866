"""The limits in force: the published table, with what a facility's own policy replaces.

``DEFAULT`` is the table of ``limits.py`` as it is. ``apply`` applies a facility's policy over it. Asking for a name
that is not in the table raises KeyError, and for the wrong kind of row TypeError: both are faults of the program.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Final, NamedTuple, assert_never

from lda_notes.knowledge.limits import ROWS, Choice, Clock, Limit, Row, Words
from lda_notes.knowledge.sources import Citation

_SPANS: Final[Mapping[str, datetime.timedelta]] = MappingProxyType(
    {
        "days": datetime.timedelta(days=1),
        "hours": datetime.timedelta(hours=1),
        "minutes": datetime.timedelta(minutes=1),
        "seconds": datetime.timedelta(seconds=1),
    }
)

_MICROSECOND: Final = datetime.timedelta(microseconds=1)
_WITHOUT_S: Final = frozenset(
    {*_SPANS, "months", "years", "attempts", "doses", "points", "identifiers", "units", "line days", "hospital days"}
)


def number(value: Decimal) -> str:
    """Return the number as it may stand in a note: no trailing zero, no naked decimal point, commas from 1,000.

    >>> number(Decimal("1.10")), number(Decimal(".5")), number(Decimal("1E+3"))
    ('1.1', '0.5', '1,000')
    """
    if not value.is_finite():
        raise ValueError(f"not a number that a note may state: {value}")
    if value == 0:
        return "0"
    plain = f"{value:,f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def quantity(value: Decimal, unit: str) -> str:
    """Return the number with its unit, in the singular where that is due: "1 day", "7 days", "2.2 mL"."""
    if value == 1 and unit in _WITHOUT_S:
        unit = unit.removesuffix("s")
    return f"{number(value)} {unit}"


def listed(items: Sequence[str], last: str = "and") -> str:
    """Return a list as a sentence has it.

    >>> listed(["name", "birth date", "photograph"])
    'name, birth date and photograph'
    >>> listed(["redness and tenderness", "pus"])
    'redness and tenderness, and pus'
    """
    if len(items) < 2:
        return "".join(items)
    comma = "," if any(f" {last} " in item for item in items) else ""
    return f"{', '.join(items[:-1])}{comma} {last} {items[-1]}"


def value_text(row: Row) -> str:
    """Return the value of a row in words: "at most 7 days", "calendar day", "23:59"."""
    match row:
        case Limit():
            return f"{row.bound} {quantity(row.value, row.unit)}"
        case Choice() | Clock():
            return row.value
        case Words():
            return row.value or "not set"
        case _:
            assert_never(row)


class Silenced(NamedTuple):
    """A rule that a facility's policy silences, with its reason and the day from which it is silent."""

    rule: str
    reason: str
    date: str

    def text(self) -> str:
        """Return what every sheet's foot says of it."""
        return f'Not checked, by facility policy since {self.date}: {self.rule} ("{self.reason}").'


@dataclass(frozen=True, slots=True)
class Policy:
    """The rows in force by name, and the facility policy they were changed by (None if published throughout).

    ``ignored`` names what the policy sets and no version of the table has any more, with what became of it.
    """

    rows: Mapping[str, Row]
    facility: Citation | None = None
    silenced: tuple[Silenced, ...] = ()
    ignored: tuple[str, ...] = ()

    def limit(self, name: str) -> Limit:
        """Return the row of a number, with its bound, unit and citations."""
        row = self.rows[name]
        if not isinstance(row, Limit):
            raise TypeError(f"{name} is not a number")
        return row

    def value(self, name: str) -> Decimal:
        """Return the number, in the unit of its row."""
        return self.limit(name).value

    def span(self, name: str) -> datetime.timedelta:
        """Return the number as a length of time; its unit is days, hours, minutes or seconds, else TypeError."""
        row = self.limit(name)
        if row.unit not in _SPANS:
            raise TypeError(f"{name} is in {row.unit}, not a length of time")
        # Whole microseconds, so that no binary fraction enters.
        return datetime.timedelta(microseconds=int(row.value * (_SPANS[row.unit] // _MICROSECOND)))

    def text(self, name: str) -> str:
        """Return the number with its unit for a sentence, such as "7 days"."""
        row = self.limit(name)
        return quantity(row.value, row.unit)

    def choice(self, name: str) -> str:
        """Return the option chosen, one of the row's options."""
        row = self.rows[name]
        if not isinstance(row, Choice):
            raise TypeError(f"{name} is not an option")
        return row.value

    def states(self, name: str) -> bool:
        """Return whether the facility's policy sets this row itself."""
        return self.rows[name] != DEFAULT.rows[name]

    def silences(self, rule: str) -> bool:
        """Return whether the facility's policy silences a rule."""
        return any(silenced.rule == rule for silenced in self.silenced)

    def clock(self, name: str) -> datetime.time:
        """Return the time of day, in the stay's own zone."""
        row = self.rows[name]
        if not isinstance(row, Clock):
            raise TypeError(f"{name} is not a time of day")
        return datetime.time.fromisoformat(row.value)

    def words(self, name: str) -> tuple[str, ...]:
        """Return the words of a list, in the order of the policy."""
        return self._list(name).listed

    def times(self, name: str) -> tuple[datetime.time, ...]:
        """Return the times of day of a list, in the stay's own zone, earliest first."""
        return tuple(sorted(datetime.time.fromisoformat(word) for word in self._list(name).listed))

    def _list(self, name: str) -> Words:
        row = self.rows[name]
        if not isinstance(row, Words):
            raise TypeError(f"{name} is not a list")
        return row

    def citations(self, *names: str) -> tuple[Citation, ...]:
        """Return the sources of these rows in order, each once."""
        return tuple(dict.fromkeys(cited for name in names for cited in self.rows[name].citations))


DEFAULT: Final = Policy(MappingProxyType({row.name: row for row in ROWS}))
"""The published policy: what is in force where a facility has said nothing."""


class Change(NamedTuple):
    """One row that a facility policy replaced, and whether the facility's value is the looser one."""

    published: Row
    local: Row
    looser: bool


def looser(limit: Row, published: Row) -> bool:
    """Return whether ``limit`` allows what ``published`` does not.

    A number that must be exact has no safe side: any other value counts as looser. An option is looser if it stands
    later among options ordered strictest first; options without an order, and times of day, are never looser.
    """
    match limit, published:
        case Limit(), Limit():
            return _looser_number(limit.value, published)
        case Choice(), Choice():
            order = published.options
            return published.ordered and order.index(limit.value) > order.index(published.value)
        case _:
            return False


def _looser_number(value: Decimal, published: Limit) -> bool:
    match published.bound:
        case "at most":
            return value > published.value
        case "at least":
            return value < published.value
        case "exactly":
            return value != published.value
        case _:
            assert_never(published.bound)


def changes(policy: Policy) -> tuple[Change, ...]:
    """Return what the facility's policy sets, in the order of the table, even where it equals the published value."""
    return tuple(
        Change(DEFAULT.rows[name], row, looser(row, DEFAULT.rows[name]))
        for name, row in policy.rows.items()
        if row != DEFAULT.rows[name]
    )
