"""The limits in force: the published table, with what a facility's own policy replaces.

``DEFAULT`` is the table of ``limits.py`` as it stands. ``apply`` lays a facility's policy over it. Asking for a name
that is not in the table raises KeyError, and for the wrong kind of row TypeError: both are faults of the program.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Final, assert_never

from lda_notes.knowledge.limits import RETIRED, RISING, ROWS, WHOLE_UNITS, Choice, Clock, Limit, Row, Words
from lda_notes.knowledge.sources import Citation, local
from lda_notes.problems import Finding, Path

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
    {
        *_SPANS,
        "months",
        "years",
        "attempts",
        "doses",
        "points",
        "identifiers",
        "units",
        "line days",
        "hospital days",
    }
)
_SOURCE_KEYS: Final = ("title", "date", "address")
_LONGEST_TITLE: Final = 55


def number(value: Decimal) -> str:
    """The number as it may stand in a note: no trailing zero, no naked decimal point, commas from 1,000.

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
    """The number with its unit, in the singular where that is due: "1 day", "7 days", "2.2 mL"."""
    if value == 1 and unit in _WITHOUT_S:
        unit = unit.removesuffix("s")
    return f"{number(value)} {unit}"


def value_text(row: Row) -> str:
    """The value of a row in words: "at most 7 days", "calendar day", "23:59"."""
    match row:
        case Limit():
            return f"{row.bound} {quantity(row.value, row.unit)}"
        case Choice() | Clock():
            return row.value
        case Words():
            return row.value or "not set"
        case _:
            assert_never(row)


@dataclass(frozen=True, slots=True)
class Silenced:
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
        """The row of a number, with its bound, unit and citations."""
        row = self.rows[name]
        if not isinstance(row, Limit):
            raise TypeError(f"{name} is not a number")
        return row

    def value(self, name: str) -> Decimal:
        """The number, in the unit of its row."""
        return self.limit(name).value

    def span(self, name: str) -> datetime.timedelta:
        """The number as a length of time; its unit is days, hours, minutes or seconds, else TypeError."""
        row = self.limit(name)
        if row.unit not in _SPANS:
            raise TypeError(f"{name} is in {row.unit}, not a length of time")
        # Whole microseconds, so that no binary fraction enters.
        return datetime.timedelta(microseconds=int(row.value * (_SPANS[row.unit] // _MICROSECOND)))

    def text(self, name: str) -> str:
        """The number with its unit for a sentence, such as "7 days"."""
        row = self.limit(name)
        return quantity(row.value, row.unit)

    def choice(self, name: str) -> str:
        """The option chosen, one of the row's options."""
        row = self.rows[name]
        if not isinstance(row, Choice):
            raise TypeError(f"{name} is not an option")
        return row.value

    def states(self, name: str) -> bool:
        """Tell whether the facility's policy sets this row itself."""
        return self.rows[name] != DEFAULT.rows[name]

    def silences(self, rule: str) -> bool:
        """Tell whether the facility's policy silences a rule."""
        return any(silenced.rule == rule for silenced in self.silenced)

    def clock(self, name: str) -> datetime.time:
        """The time of day, in the stay's own zone."""
        row = self.rows[name]
        if not isinstance(row, Clock):
            raise TypeError(f"{name} is not a time of day")
        return datetime.time.fromisoformat(row.value)

    def words(self, name: str) -> tuple[str, ...]:
        """The words of a list, in the order of the policy."""
        return self._list(name).listed

    def times(self, name: str) -> tuple[datetime.time, ...]:
        """The times of day of a list, in the stay's own zone, earliest first."""
        return tuple(sorted(datetime.time.fromisoformat(word) for word in self._list(name).listed))

    def _list(self, name: str) -> Words:
        row = self.rows[name]
        if not isinstance(row, Words):
            raise TypeError(f"{name} is not a list")
        return row

    def citations(self, *names: str) -> tuple[Citation, ...]:
        """The sources of these rows in order, each once."""
        return tuple(dict.fromkeys(cited for name in names for cited in self.rows[name].citations))


DEFAULT: Final = Policy(MappingProxyType({row.name: row for row in ROWS}))
"""The published policy: what is in force where a facility has said nothing."""


@dataclass(frozen=True, slots=True)
class Change:
    """One row that a facility policy replaced, and whether the facility's value is the looser one."""

    published: Row
    local: Row
    looser: bool


def looser(limit: Row, published: Row) -> bool:
    """Whether ``limit`` allows what ``published`` does not.

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
    """What the facility's policy sets, in the order of the table; values equal to the published ones are included."""
    return tuple(
        Change(DEFAULT.rows[name], row, looser(row, DEFAULT.rows[name]))
        for name, row in policy.rows.items()
        if row != DEFAULT.rows[name]
    )


def apply(policy: Policy, data: object) -> tuple[Policy, tuple[Finding, ...]]:
    """Lays a facility's policy over ``policy``.

    ``data`` is the parsed file: ``source`` with ``title``, ``date`` (YYYY-MM-DD) and perhaps ``address``, ``limits``,
    a mapping of names of the table to values, and ``silence``, a list of rules with ``rule``, ``reason`` and ``date``.
    Every fault is a finding with its path in the file. If there is any, ``policy`` comes back unchanged: a policy is
    never half in force. Names of earlier versions are no fault: they are reported in ``ignored``.
    """
    if not isinstance(data, Mapping):
        return policy, (_shape((), f"the policy file contains {_kind(data)}", "Write source: and limits: into it."),)
    faults: list[Finding] = [
        _shape(
            (key,),
            f'the policy file has an unknown part "{key}"',
            f"Use source:, limits: and silence:.{_nearest(key, _PARTS)}",
        )
        for key in map(_key, data)
        if key not in _PARTS
    ]
    cited = _source(data.get("source"), faults)
    silenced = tuple(_silenced(data.get("silence"), faults))
    rows = _rows(data.get("limits"), policy, faults) if "limits" in data or not silenced else []
    if cited is None or faults:
        return policy, tuple(faults)
    replaced = {row.name: _cite(row, cited) for row in rows}
    retired = [name for name in map(_key, data.get("limits") or ()) if name in RETIRED]
    ignored = tuple(f"The policy sets {name}, which no longer exists: {RETIRED[name]}." for name in retired)
    return Policy(MappingProxyType({**policy.rows, **replaced}), cited, silenced, ignored), ()


def _silenced(data: object, faults: list[Finding]) -> Iterator[Silenced]:
    """Yield the rules that a policy silences; each names its reason and its day."""
    if data is None:
        return
    if not isinstance(data, list | tuple):
        faults.append(_shape(("silence",), f"silence is {_kind(data)}, expected a list", _SILENCE))
        return
    for place, one in enumerate(data):
        path: Path = ("silence", place)
        if not isinstance(one, Mapping) or set(one) != {"rule", "reason", "date"}:
            faults.append(_shape(path, "a silenced rule needs rule, reason and date", _SILENCE))
            continue
        reason, date = one["reason"], one["date"]
        day = date.isoformat() if isinstance(date, datetime.date) else date
        if not isinstance(one["rule"], str) or not _is_plain(reason) or not _is_day(day):
            faults.append(
                _shape(path, "a silenced rule needs a name, a reason of 1 to 55 characters and a date", _SILENCE)
            )
            continue
        yield Silenced(one["rule"], reason.strip(), day)


_PARTS: Final = ("source", "limits", "silence")
_SILENCE: Final = "Write each as {rule: name-of-the-rule, reason: why, date: 2031-01-15}."


def _is_day(found: object) -> bool:
    try:
        return isinstance(found, str) and datetime.date.fromisoformat(found).isoformat() == found
    except ValueError:
        return False


def _source(data: object, faults: list[Finding]) -> Citation | None:
    if not isinstance(data, Mapping):
        faults.append(
            _finding(
                "policy-source",
                ("source",),
                f"the policy file names no source: found {_kind(data)}, expected title and date",
                "Add source: with title: and date: of the facility's policy, so that its values can be cited.",
            )
        )
        return None
    faults.extend(
        _finding(
            "policy-source",
            ("source", key),
            f'source has an unknown key "{key}"',
            f"Use title, date and address.{_nearest(key, _SOURCE_KEYS)}",
        )
        for key in map(_key, data)
        if key not in _SOURCE_KEYS
    )
    title = _title(data.get("title"), faults)
    date = _date(data.get("date"), faults)
    if not isinstance(data.get("address", ""), str):
        faults.append(
            _finding(
                "policy-source",
                ("source", "address"),
                f"the address of the source is {_kind(data['address'])}, expected text",
                "Write the address in quotes, or leave it out.",
            )
        )
    return local(title, date) if title and date else None


def _is_plain(found: object) -> bool:
    """Tell whether ``found`` is one row of plain text that may stand in a title."""
    import unicodedata  # here, since most runs have the published policy

    return (
        isinstance(found, str)
        and 0 < len(found.strip()) <= _LONGEST_TITLE
        and not any(unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Zl", "Zp") for sign in found)
    )


def _title(found: object, faults: list[Finding]) -> str | None:
    if isinstance(found, str) and _is_plain(found):
        return found.strip()
    faults.append(
        _finding(
            "policy-source",
            ("source", "title"),
            f"the title of the source is {_show(found)}, expected 1 to {_LONGEST_TITLE} characters of plain text",
            "Write the title that the facility's policy carries.",
        )
    )
    return None


def _date(found: object, faults: list[Finding]) -> str | None:
    if isinstance(found, datetime.date) and not isinstance(found, datetime.datetime):
        return found.isoformat()
    if isinstance(found, str):
        try:
            date = datetime.date.fromisoformat(found)
        except ValueError:
            date = None
        if date is not None and date.isoformat() == found:
            return found
    faults.append(
        _finding(
            "policy-source",
            ("source", "date"),
            f"the date of the source is {_show(found)}, expected YYYY-MM-DD",
            "Write the day on which the facility's policy took effect.",
        )
    )
    return None


def _rows(data: object, policy: Policy, faults: list[Finding]) -> list[Row]:
    if not isinstance(data, Mapping) or not data:
        faults.append(
            _shape(
                ("limits",),
                f"the policy file sets no limits: found {_kind(data)}, expected names with their values",
                "Write the limits to be replaced under limits:, one name and value each, or drop the file.",
            )
        )
        return []
    rows: list[Row] = []
    for key, found in data.items():
        name = _key(key)
        if name in RETIRED:
            continue
        row = policy.rows.get(name)
        if row is None:
            faults.append(
                _finding(
                    "policy-unknown-name",
                    ("limits", name),
                    f'there is no limit named "{name}"',
                    f"Take a name that the list of limits shows.{_nearest(name, policy.rows)}",
                )
            )
            continue
        new = _replaced(row, found)
        if isinstance(new, Finding):
            faults.append(new)
        else:
            rows.append(new)
    faults.extend(_contradictions(policy, rows))
    return rows


def _replaced(row: Row, found: object) -> Row | Finding:
    match row:
        case Limit():
            return _new_limit(row, found)
        case Choice():
            return _new_choice(row, found)
        case Clock():
            return _new_clock(row, found)
        case Words():
            return _new_words(row, found)
        case _:
            assert_never(row)


def _new_limit(row: Limit, found: object) -> Limit | Finding:
    path: Path = ("limits", row.name)
    value = _decimal(found)
    published = f"the published value is {quantity(row.value, row.unit)}"
    if value is None:
        return _finding(
            "policy-wrong-type",
            path,
            f"limit {row.name} is {_show(found)}, expected a number of {row.unit}",
            f"Write the number alone, without quotes or unit; {published}.",
        )
    if value <= 0:
        return _finding(
            "policy-not-positive",
            path,
            f"limit {row.name} is {number(value)}, expected more than 0 {row.unit}",
            f"Write a number above 0; {published}.",
        )
    if row.unit in WHOLE_UNITS and value != value.to_integral_value():
        return _finding(
            "policy-not-whole",
            path,
            f"limit {row.name} is {number(value)}, expected a whole number of {row.unit}",
            f"Write a whole number; {published}.",
        )
    if not row.low <= value <= row.high:
        return _finding(
            "policy-out-of-range",
            path,
            f"limit {row.name} is {number(value)} {row.unit}, expected {number(row.low)} to {number(row.high)}",
            f"Check the value and its unit; {published}.",
        )
    return Limit(row.name, value, row.unit, row.bound, row.says, row.citations, row.low, row.high)


def _new_choice(row: Choice, found: object) -> Choice | Finding:
    options = ", ".join(f'"{option}"' for option in row.options)
    # Some writers of YAML and JSON turn yes and no into true and false; what they meant is plain.
    if isinstance(found, bool) and set(row.options) == {"yes", "no"}:
        found = "yes" if found else "no"
    if not isinstance(found, str):
        return _finding(
            "policy-wrong-type",
            ("limits", row.name),
            f"option {row.name} is {_show(found)}, expected one of {options}",
            "Write one of these words.",
        )
    if found not in row.options:
        return _finding(
            "policy-unknown-option",
            ("limits", row.name),
            f"option {row.name} is {_show(found)}, expected one of {options}",
            f"Write one of these words.{_nearest(found, row.options)}",
        )
    return Choice(row.name, found, row.options, row.says, row.citations, row.ordered)


def _new_clock(row: Clock, found: object) -> Clock | Finding:
    if isinstance(found, str) and _clock_text(found):
        return Clock(row.name, found, row.says, row.citations)
    return _finding(
        "policy-wrong-type",
        ("limits", row.name),
        f"limit {row.name} is {_show(found)}, expected a time of day such as 07:00",
        "Write hours and minutes on the 24-hour clock, with a leading zero.",
    )


_MOST_WORDS: Final = 40


def _new_words(row: Words, found: object) -> Words | Finding:
    listed = list(found) if isinstance(found, list | tuple) else [found]
    good = 0 < len(listed) <= _MOST_WORDS and all(
        _clock_text(word) if row.times else isinstance(word, str) and bool(word.strip()) and "," not in word
        for word in listed
    )
    if good:
        return Words(
            row.name, ", ".join(dict.fromkeys(str(w).strip() for w in listed)), row.says, row.citations, row.times
        )
    expected = 'times of day such as ["07:00", "19:00"]' if row.times else "words such as [MD, NP]"
    how = ", each time on the 24-hour clock with a leading zero, in quotes." if row.times else ", no comma in a word."
    return _finding(
        "policy-wrong-type",
        ("limits", row.name),
        f"list {row.name} is {_show(found)}, expected a list of {expected}",
        f"Write the list in square brackets{how}",
    )


def _clock_text(found: object) -> bool:
    if not isinstance(found, str) or len(found) != len("00:00"):
        return False
    try:
        return datetime.time.fromisoformat(found).isoformat("minutes") == found
    except ValueError:
        return False


def _contradictions(policy: Policy, rows: list[Row]) -> list[Finding]:
    values = {row.name: row.value for row in policy.rows.values() if isinstance(row, Limit)}
    new = {row.name: row.value for row in rows if isinstance(row, Limit)}
    values |= new
    return [
        _finding(
            "policy-contradiction",
            ("limits", lower if lower in new else upper),
            f"limit {lower} is {number(values[lower])} and {upper} is {number(values[upper])}",
            f"Set both so that {lower} is not above {upper}.",
        )
        for lower, upper in RISING
        if (lower in new or upper in new) and values[lower] > values[upper]
    ]


def _cite(row: Row, cited: Citation) -> Row:
    match row:
        case Limit():
            return Limit(row.name, row.value, row.unit, row.bound, row.says, (cited,), row.low, row.high)
        case Choice():
            return Choice(row.name, row.value, row.options, row.says, (cited,), row.ordered)
        case Clock():
            return Clock(row.name, row.value, row.says, (cited,))
        case Words():
            return Words(row.name, row.value, row.says, (cited,), row.times)
        case _:
            assert_never(row)


def _decimal(found: object) -> Decimal | None:
    """The number found, or None. A float comes through its shortest text, so that 1.2 stays 1.2."""
    if isinstance(found, bool):
        return None
    if isinstance(found, int):
        # A number of thousands of digits is no limit, and slow to print.
        return Decimal(found) if abs(found) < 10**12 else None
    if isinstance(found, float | Decimal):
        value = Decimal(repr(found)) if isinstance(found, float) else found
        small = value.is_finite() and (value == 0 or -12 < value.adjusted() < 12)
        return value if small and len(value.as_tuple().digits) <= 20 else None
    return None


def _finding(rule: str, path: Path, message: str, todo: str) -> Finding:
    return Finding(rule, "wrong", message[0].upper() + message[1:] + ".", todo, path)


def _shape(path: Path, message: str, todo: str) -> Finding:
    return _finding("policy-shape", path, message, todo)


def _nearest(found: str, known: Mapping[str, object] | tuple[str, ...]) -> str:
    from difflib import get_close_matches

    close = get_close_matches(found[:100], list(known), n=1)
    return f' The nearest is "{close[0]}".' if close else ""


def _key(key: object) -> str:
    return _plain(key) if isinstance(key, str) else _plain(str(key)[:80])


def _show(found: object) -> str:
    if found is None:
        return "missing"
    if isinstance(found, Mapping | list | tuple):
        return _kind(found)
    if isinstance(found, str):
        return f'"{_plain(found)}"' if found.strip() else "empty text"
    if isinstance(found, int | float | Decimal) and not isinstance(found, bool):
        value = _decimal(found)
        if value is not None:
            return number(value)
        return "a number beyond any use" if _finite(found) else "not a number"
    return _plain(str(found)[:80])


def _finite(found: float | Decimal) -> bool:
    # An int may be too big for math.isfinite, and a signalling NaN may not be compared.
    return found.is_finite() if isinstance(found, Decimal) else isinstance(found, int) or math.isfinite(found)


def _plain(text: str) -> str:
    """The first part of a text from a file, with invisible and control characters made visible as "?"."""
    import unicodedata

    shown = "".join("?" if unicodedata.category(sign)[0] in "CZ" and sign != " " else sign for sign in text[:61])
    return shown if len(shown) <= 60 else shown[:60] + "..."


def _kind(found: object) -> str:
    match found:
        case None:
            return "nothing"
        case Mapping():
            return "a mapping" if found else "an empty mapping"
        case list() | tuple():
            return "a list"
        case str():
            return "text"
        case _:
            return "a single value"
