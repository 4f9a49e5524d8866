"""Random valid records, built from the models themselves: what the layout allows, hypothesis will try.

``episodes()`` gives the JSON-ready dict of a whole record, ``event_of(kind)`` one event. Optional facts come and go,
values give way to reasons why not, corrections correct what is there, and free text is as odd as in any record.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin
from zoneinfo import ZoneInfo

from hypothesis import strategies as st
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic.types import AwareDatetime

from lda_notes.record.episode import Patient, Port, Stay
from lda_notes.record.events import KINDS, Correcting
from lda_notes.record.reading import Record, read_bytes

ZONES = ("America/Chicago", "Europe/Madrid", "Australia/Sydney", "Asia/Kolkata", "America/Sao_Paulo", "UTC")
CARE = tuple(kind for kind, model in KINDS.items() if not issubclass(model, Correcting))
CORRECTIONS = tuple(kind for kind, model in KINDS.items() if issubclass(model, Correcting))

ODD_TEXTS = (
    "500 U heparin q7d, D/C >7 days @ 10:00",
    "# not a heading",
    "1. not a list",
    "- nor this",
    "| a | b |",
    "*stars* _and_ `ticks` [link](http://a.example) <b>bold</b> &amp; ~~gone~~ $x$",
    'she said "fine"',
    "two  spaces ",
    " leading",
    "first row\nsecond row\n\nfourth",
    "back\\slash\\",
    "{{ event }} {% sentence %}",
    "漢字と ñandú naïve",
    "e\u0301 combining",
    "x" * 190,
    "www.example.org and a@b.example",
    "0",
    "present",
)
"""Free text that has led writers of every format astray."""

_SIGNS = st.characters(exclude_categories=("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"))
DAY_ZERO = datetime(2026, 3, 1, tzinfo=ZoneInfo("UTC"))


def words(longest: int) -> st.SearchStrategy[str]:
    """Return free text of 1 to ``longest`` signs."""
    odd = [text[:longest] for text in ODD_TEXTS if longest > 200 or "\n" not in text]
    return st.one_of(st.sampled_from(odd), st.text(_SIGNS, min_size=1, max_size=min(longest, 40)))


def moments() -> st.SearchStrategy[str]:
    """Return moments of about two months around both changes of the clocks, each with an offset."""
    return st.builds(
        lambda minutes, seconds, zone: (
            (DAY_ZERO + timedelta(minutes=minutes, seconds=seconds)).astimezone(ZoneInfo(zone)).isoformat()
        ),
        st.integers(0, 60 * 24 * 60),
        st.sampled_from((0, 0, 0, 30)),
        st.sampled_from(ZONES),
    )


def days() -> st.SearchStrategy[str]:
    """Return dates of a lifetime."""
    return st.dates(date(1930, 1, 1), date(2040, 12, 31)).map(date.isoformat)


def _limits(metadata: Any) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for part in metadata:
        for inner in part.metadata if isinstance(part, FieldInfo) else (part,):
            for name in ("ge", "gt", "le", "lt", "min_length", "max_length", "pattern", "decimal_places"):
                value = getattr(inner, name, None)
                if value is not None:
                    found[name] = value
    return found


def of_type(annotation: Any, metadata: Any = ()) -> st.SearchStrategy[Any]:
    """Return JSON-ready values of a type as the models write it, its limits heeded."""
    if hasattr(annotation, "__metadata__"):
        return of_type(get_args(annotation)[0], (*annotation.__metadata__, *metadata))
    limits = _limits(metadata)
    origin = get_origin(annotation)
    if origin is Literal:
        return st.sampled_from(get_args(annotation))
    if origin in (Union, UnionType):
        return st.one_of(*(of_type(part) for part in get_args(annotation) if part is not type(None)))
    if origin is tuple:
        shortest = limits.get("min_length", 0)
        return st.lists(
            of_type(get_args(annotation)[0]), min_size=shortest, max_size=min(limits.get("max_length", 3), 3)
        )
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return of_model(annotation)
    return _of_plain(annotation, limits)


def _of_plain(annotation: Any, limits: dict[str, Any]) -> st.SearchStrategy[Any]:
    if annotation is bool:
        return st.booleans()
    if annotation is AwareDatetime or annotation is datetime:
        return moments()
    if annotation is date:
        return days()
    if annotation is int:
        return st.integers(limits.get("ge", 0), limits.get("le", 1000))
    if annotation is Decimal:
        scale = 10 ** min(limits.get("decimal_places", 4), 4)
        lowest = int(limits.get("ge", 0) * scale) + (1 if "gt" in limits else 0)
        highest = int(limits.get("le", 1_000_000) * scale)
        return st.one_of(
            st.integers(lowest, min(highest, lowest + 50 * scale)).map(lambda n: n / scale),
            st.integers(lowest, highest).map(lambda n: n / scale),
        )
    if annotation is str:
        pattern = limits.get("pattern")
        return st.from_regex(pattern, fullmatch=True) if pattern else words(limits.get("max_length", 200))
    raise TypeError(f"no strategy for {annotation}")


@cache
def of_model(model: type[BaseModel], leave_out: tuple[str, ...] = ()) -> st.SearchStrategy[dict[str, Any]]:
    """Return JSON-ready dicts of a model; facts that may be absent sometimes are."""
    required: dict[str, Any] = {}
    optional: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        if name in leave_out:
            continue
        made = st.deferred(lambda field=field: of_type(field.annotation, field.metadata))
        (required if field.is_required() else optional)[name] = made
    return st.fixed_dictionaries(required, optional=optional)


def event_of(kind: str) -> st.SearchStrategy[dict[str, Any]]:
    """Return events of one kind that is no correction."""
    return of_model(KINDS[kind], leave_out=("seal",))  # a seal is the program's own, over what is written


@st.composite
def _correction(draw: st.DrawFn, kind: str, targets: list[dict[str, Any]]) -> dict[str, Any]:
    event: dict[str, Any] = draw(of_model(KINDS[kind], leave_out=("sets", "adds", "seal")))
    target = draw(st.sampled_from(targets))
    event["of"] = target["id"] if draw(st.integers(0, 9)) else "not-there"
    key = {"amendment": "sets", "addendum": "adds"}.get(kind)
    if key is not None:
        fresh = draw(of_model(KINDS[target["kind"]], leave_out=("sets", "adds", "seal")))
        names = [name for name in fresh if name not in ("id", "kind", "of")]
        kept = draw(st.sets(st.sampled_from(names), max_size=4)) if names else set()
        event[key] = {name: fresh[name] for name in names if name in kept}
    return event


@st.composite
def episodes(draw: st.DrawFn, most: int = 4) -> dict[str, Any]:
    """Return whole records of up to ``most`` events and up to two corrections."""
    patient = draw(of_model(Patient))
    stay = draw(of_model(Stay, leave_out=("time_zone",)))
    stay["time_zone"] = draw(st.sampled_from(ZONES))
    port = draw(of_model(Port, leave_out=("septa",)))
    port["septa"] = draw(st.sampled_from((["single"], ["medial", "lateral"])))
    events: list[dict[str, Any]] = [
        draw(event_of(kind)) for kind in draw(st.lists(st.sampled_from(CARE), max_size=most))
    ]
    for number, event in enumerate(events):
        event["id"] = f"e{number}"
        if "septum" in event:
            event["septum"] = draw(st.sampled_from((*port["septa"], "elsewhere")))
        for key in ("follows_removal", "treatment", "second_dose_of"):
            if key in event:
                event[key] = f"e{draw(st.integers(0, len(events)))}"
    for number in range(draw(st.integers(0, 2)) if events else 0):
        made = draw(_correction(draw(st.sampled_from(CORRECTIONS)), events))
        made["id"] = f"c{number}"
        events.append(made)
    return {
        "record_version": 1,
        "id": "made",
        "patient": patient,
        "stay": stay,
        "port": port,
        "events": draw(st.permutations(events)),
    }


def read(episode: dict[str, Any]) -> Record:
    """Return a made record as it is read from a file; a strategy that makes an invalid one fails here."""
    record = read_bytes(json.dumps(episode).encode(), "made.json", as_json=True)
    assert record.episode is not None, record.findings
    assert not record.findings, record.findings
    return record
