"""A facility's own policy: its values over the limits in force, with every fault as a finding."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Final, assert_never

from lda_notes.knowledge.limits import RETIRED, RISING, WHOLE_UNITS, Choice, Clock, Limit, Row, Words
from lda_notes.knowledge.policy import Policy, Silenced, number, quantity
from lda_notes.knowledge.sources import Citation, local
from lda_notes.problems import Finding, Path

_SOURCE_KEYS: Final = ("title", "date", "address")
_LONGEST_TITLE: Final = 55


def apply(policy: Policy, data: object) -> tuple[Policy, tuple[Finding, ...]]:
    """Apply a facility's policy over ``policy``.

    ``data`` is the parsed file: ``source`` with ``title``, ``date`` (YYYY-MM-DD) and perhaps ``address``, ``limits``,
    a mapping of names of the table to values, and ``silence``, a list of rules with ``rule``, ``reason`` and ``date``.
    Every fault is a finding with its path in the file. If there is any, ``policy`` is returned unchanged: a policy is
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
    replaced = {row.name: row._replace(citations=(cited,)) for row in rows}
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
    """Return whether ``found`` is one row of plain text that may stand in a title."""
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
    if isinstance(found, str) and _is_day(found):
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
    return row._replace(value=value)


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
    return row._replace(value=found)


def _new_clock(row: Clock, found: object) -> Clock | Finding:
    if isinstance(found, str) and _clock_text(found):
        return row._replace(value=found)
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
        return row._replace(value=", ".join(dict.fromkeys(str(word).strip() for word in listed)))
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


def _decimal(found: object) -> Decimal | None:
    """Return the number found, or None. A float comes through its shortest text, so that 1.2 stays 1.2."""
    if isinstance(found, bool):
        return None
    if isinstance(found, int):
        # A number of thousands of digits is not a limit, and slow to print.
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
    """Return the first part of a text from a file, with invisible and control characters made visible as "?"."""
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
