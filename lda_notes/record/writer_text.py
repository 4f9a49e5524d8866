"""A record's text with one event more: every other byte stays as its owner wrote it.

Nothing is trusted here: each way of adding the event is read back, and only a text that says exactly what the old one
said, and the event after it, is handed out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from lda_notes.files.syntax import Parsed, read_json, read_yaml
from lda_notes.files.syntax.scalars import WORDS, number
from lda_notes.problems import Failure

_ROW_END: Final = re.compile(r"\r\n|\n|\r")
_ITEM: Final = re.compile(r"( *)-( +)")
_EMPTY: Final = re.compile(r"(?P<head>\s*[\"']?events[\"']?\s*:)\s*\[\s*\](?P<tail>[ \t]*(?:#.*)?)")
_IDLE: Final = re.compile(r"( *)(#.*)?")
_PLAIN: Final = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 .%/+_();-]|:(?=[A-Za-z0-9]))*")
_WIDEST: Final = 118
_MOST_ENDS: Final = 50
"""How many closing brackets, from the end of the file, are tried as the end of the list of events."""


def with_event(raw: bytes, event: Mapping[str, Any], as_json: bool) -> bytes:
    """Return the record's bytes with ``event`` (plain JSON values) added after its last event.

    Raises `Failure` when the record cannot be read or contains its events in a form that cannot be added to.
    """
    read = read_json if as_json else read_yaml
    old = read(raw)
    if old.data is None or not isinstance(old.data.get("events"), list):
        raise Failure("the record cannot be read, so nothing was added; `lda-notes check` says what is wrong")
    text = raw.decode("utf-8")
    break_ = "\r\n" if "\r\n" in text else "\n"
    for candidate in _candidates(text, old, event, break_, as_json):
        new = candidate.encode("utf-8")
        if _says(read(new), old, event):
            return new
    raise Failure("the list of events could not be added to without changing the rest; nothing was written")


def _says(new: Parsed, old: Parsed, event: Mapping[str, Any]) -> bool:
    """Return whether a text says what the old one said, and the event after it."""
    if new.data is None or old.data is None or len(new.faults) != len(old.faults):
        return False
    if [key for key in new.data if key != "events"] != [key for key in old.data if key != "events"]:
        return False
    wanted = {**old.data, "events": [*old.data["events"], as_read(event)]}
    return bool(new.data == wanted) and all(new.written.get(path) == said for path, said in old.written.items())


def as_read(value: Any) -> Any:
    """Return what a reader makes of a value that was written here: yes and no are words."""
    if isinstance(value, Mapping):
        return {key: as_read(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [as_read(inner) for inner in value]
    if isinstance(value, bool):
        return _Either(value)
    return value


class _Either:
    """A truth value that equals itself and its word: JSON has the one, YAML the other."""

    __hash__ = None  # type: ignore[assignment]  # says that it cannot be hashed

    def __init__(self, value: bool) -> None:
        self._value = value

    def __eq__(self, other: object) -> bool:
        return other is self._value or other == ("yes" if self._value else "no")


def _candidates(text: str, old: Parsed, event: Mapping[str, Any], break_: str, as_json: bool) -> Iterator[str]:
    if not as_json:
        yield from _in_block(text, old, event, break_)
    yield from _in_brackets(text, old, event, break_, as_json)


# -- YAML, one item below the other --


def _in_block(text: str, old: Parsed, event: Mapping[str, Any], break_: str) -> Iterator[str]:
    rows = _rows(text)
    assert old.data is not None
    first = old.places[("events",)][0] - 1
    if not old.data["events"]:
        found = _EMPTY.fullmatch(rows[first].rstrip("\r\n"))
        if found:
            added = _joined(["  - ", "    "], event, break_)
            yield "".join((*rows[:first], found["head"], found["tail"], break_, added, *rows[first + 1 :]))
        return
    item = _ITEM.match(rows[old.places[("events", 0)][0] - 1])
    if item is None:
        return
    dash = len(item[1])
    added = _joined([f"{item[1]}-{item[2]}", " " * len(item[0])], event, break_)
    later = [place[0] - 1 for path, place in old.key_places.items() if len(path) == 1 and place[0] - 1 > first]
    end = min(later, default=len(rows))
    if end == len(rows) and rows[-1].rstrip() == "...":
        end -= 1
    for at in dict.fromkeys((_after_content(rows, end, dash) if later else end, end)):
        before = "".join(rows[:at])
        if before and not _ROW_END.search(before[-2:]):
            before += break_
        yield f"{before}{added}{''.join(rows[at:])}"


def _after_content(rows: list[str], end: int, dash: int) -> int:
    """Return the row after the last event's last, leaving to the next key the comments that stand above it."""
    while end > 0:
        idle = _IDLE.fullmatch(rows[end - 1].rstrip("\r\n"))
        if idle is None or (idle[2] and len(idle[1]) > dash):
            break
        end -= 1
    return end


def _rows(text: str) -> list[str]:
    """Return the rows with their ends, counted as the readers count them."""
    ends = [found.end() for found in _ROW_END.finditer(text)]
    starts = [0, *ends]
    rows = [text[start:end] for start, end in zip(starts, [*ends, len(text)], strict=True)]
    return rows if rows[-1] else rows[:-1]


def _joined(heads: list[str], event: Mapping[str, Any], break_: str) -> str:
    first, then = heads
    rows = list(_block(event, len(then)))
    return "".join(f"{first if not at else then}{row}{break_}" for at, row in enumerate(rows))


def _block(mapping: Mapping[str, Any], depth: int) -> Iterator[str]:
    """Yield a mapping's rows: one for each key, its parts in braces where they fit."""
    for key, value in mapping.items():
        flow = f"{_scalar(key)}: {_flow(value)}"
        of_parts = isinstance(value, list | tuple) and any(isinstance(item, Mapping) for item in value)
        if not of_parts and (len(flow) + depth <= _WIDEST or not isinstance(value, Mapping | list | tuple)):
            yield flow
        elif isinstance(value, Mapping):
            yield f"{_scalar(key)}:"
            yield from (f"  {row}" for row in _block(value, depth + 2))
        else:
            yield f"{_scalar(key)}:"
            for item in value:
                yield from _item(item, depth + 2)


def _item(item: Any, depth: int) -> Iterator[str]:
    if isinstance(item, Mapping) and len(_flow(item)) + depth > _WIDEST - 2:
        for at, row in enumerate(_block(item, depth + 2)):
            yield f"  {'  ' if at else '- '}{row}"
    else:
        yield f"  - {_flow(item)}"


def _flow(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_scalar(key)}: {_flow(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flow(inner) for inner in value) + "]"
    return _scalar(value)


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        plain = _PLAIN.fullmatch(value) and not value.endswith(" ") and value not in WORDS and number(value) is None
        return value if plain else json.dumps(value, ensure_ascii=False)
    return json.dumps(value, allow_nan=False)


# -- JSON, and YAML in brackets --


def _in_brackets(text: str, old: Parsed, event: Mapping[str, Any], break_: str, as_json: bool) -> Iterator[str]:
    assert old.data is not None
    empty = not old.data["events"]
    lead, step = _margins(text, old, empty)
    ends = [found.start() for found in re.finditer(r"\]", text)][-_MOST_ENDS:]
    for end in reversed(ends):
        before = text[:end].rstrip()
        if as_json and lead is not None:
            body = _indented(event, step, lead, break_)
            tail = f"{break_}{lead[: -len(step)] if step else lead}" if empty else text[len(before) : end]
            yield f"{before}{'' if empty else ','}{break_}{lead}{body}{tail}{text[end:]}"
        else:
            body = json.dumps(event, ensure_ascii=False) if as_json else _flow(event)
            comma = "" if empty else " " if before.endswith(",") else ", "
            rest = text[len(before) :]
            yield f"{before}{comma}{body}{rest}"
            if not as_json:  # on a row of its own, where a comment stands after the last item or its comma
                yield f"{before}{break_}  , {body}{rest}"
                yield f"{before}{break_}  {body}{rest}"


def _margins(text: str, old: Parsed, empty: bool) -> tuple[str | None, str]:
    """Return the margin of an item, None when items share a row, and the step from one level to the next."""
    rows = _rows(text)
    key = rows[old.key_places[("events",)][0] - 1]
    step = key[: len(key) - len(key.lstrip())]
    if empty:
        return (step * 2, step) if step else (None, "")
    first = rows[old.places[("events", 0)][0] - 1]
    lead = first[: len(first) - len(first.lstrip())]
    return (lead, step) if first.lstrip().startswith("{") and step else (None, step)


def _indented(event: Mapping[str, Any], step: str, lead: str, break_: str) -> str:
    rows = json.dumps(event, ensure_ascii=False, indent=step).split("\n")
    return break_.join((rows[0], *(f"{lead}{row}" for row in rows[1:])))


# -- a whole record --


def record_text(data: Mapping[str, Any], as_json: bool) -> bytes:
    """Return a new record as text: one row for each fact, short parts in braces."""
    if as_json:
        return f"{json.dumps(data, ensure_ascii=False, indent=2)}\n".encode()
    rows: list[str] = []
    for key, value in data.items():
        if isinstance(value, Mapping):
            rows.append(f"{_scalar(key)}:")
            rows.extend(f"  {row}" for row in _block(value, 2))
        else:
            rows.append(f"{_scalar(key)}: {_flow(value)}")
    return "".join(f"{row}\n" for row in rows).encode()


def full_record_text(data: Mapping[str, Any]) -> bytes:
    """Return a record that has events as YAML: each event a block, each of its facts a row."""
    return "".join(f"{row}\n" for row in _block(data, 0)).encode()
