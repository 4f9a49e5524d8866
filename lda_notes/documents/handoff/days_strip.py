"""The strip of days for one patient: stays of needle and dressing, holds and due marks, each in its row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Final

from lda_notes.documents.blocks import Mark, Span, Strip
from lda_notes.documents.handoff.line import Action, LineFacts, View
from lda_notes.documents.wording import needle as needle_words
from lda_notes.line.due import ClockName
from lda_notes.line.timeline import DressingStay, Dwell, Hold, NeedleStay
from lda_notes.record.parts import Dressing, Needle

BACK_DAYS: Final = 7
AHEAD_DAYS: Final = 8
_ROOM_DAYS: Final = 2
"""Days drawn after the last mark at least, so that its label has room."""

_ROW_OF: Final[dict[ClockName, str]] = {
    "needle change": "needle",
    "dressing change": "dressing",
    "line check": "check",
    "flush": "flush",
    "idle flush": "flush",
    "maintenance flush": "flush",
    "thrombolytic check": "thrombolytic",
}
_ORDER: Final = ("needle", "dressing", "hold", "thrombolytic", "check", "flush")
_MARK: Final[dict[ClockName, str]] = {
    "needle change": "change by",
    "dressing change": "change by",
    "line check": "by",
    "flush": "by",
    "idle flush": "by",
    "maintenance flush": "by",
    "thrombolytic check": "check by",
}


@dataclass(frozen=True, slots=True)
class _Range:
    start: datetime
    end: datetime

    def touches(self, start: datetime | None, end: datetime | None) -> bool:
        return (start is None or _u(start) < _u(self.end)) and (end is None or _u(end) > _u(self.start))


def _u(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


def strip(view: View, lines: Sequence[LineFacts]) -> Strip | None:
    """Return the strip of a patient's septa; None when there is nothing to draw, or no calendar to draw it on."""
    try:
        span = _range(view, lines)
    except OverflowError:  # at the ends of the calendar
        return None
    many = len(lines) > 1
    spans: list[Span] = []
    marks: list[Mark] = []
    for number, line in enumerate(lines, 1):
        name = _suffix(line.septum, number) if many else ""
        spans.extend(_spans(view, line.septum, name, span))
        marks.extend(_marks(view, line, name, span))
    used = {*(part.row for part in spans), *(mark.row for mark in marks)}
    names = [_suffix(line.septum, number) if many else "" for number, line in enumerate(lines, 1)]
    rows = [f"{row}{name}" for name in names for row in _ORDER if f"{row}{name}" in used]
    if not rows:
        return None
    says = _says(view, spans, marks, span)
    return Strip(
        span.start, span.end, view.asof.astimezone(view.wording.zone), tuple(rows), tuple(spans), tuple(marks), says
    )


def _suffix(septum: str, number: int) -> str:
    plain = len(septum) <= 8 and septum.isascii() and septum.isprintable()
    return f" {septum}" if plain else f" {number}"


def _range(view: View, lines: Sequence[LineFacts]) -> _Range:
    zone = view.wording.zone
    asof = view.asof.astimezone(zone)
    oldest = asof - timedelta(days=BACK_DAYS)
    latest = asof + timedelta(days=AHEAD_DAYS)
    starts = [
        stay.since
        for line in lines
        for stay in (line.state.needle, line.state.dressing)
        if stay is not None and stay.since is not None and _u(stay.since) >= _u(oldest)
    ]
    ends = [a.by for line in lines for a in line.actions if a.by is not None and _u(a.by) <= _u(latest)]
    first = min([*starts, asof - timedelta(days=1)], key=_u).astimezone(zone).date()
    last = max([*ends, asof], key=_u).astimezone(zone).date()
    last += timedelta(days=1 + max(_ROOM_DAYS, (last - first).days // 4))
    return _Range(datetime.combine(first, time(), zone), datetime.combine(last, time(), zone))


def _spans(view: View, septum: str, name: str, span: _Range) -> Iterator[Span]:
    line = view.timeline
    for stay in line.needles[septum]:
        if stay.opened.event.at <= view.asof:
            yield from _span(view, f"needle{name}", _needle(stay), stay.since, stay.until, "needle", span)
    for on in line.dressings[septum]:
        if on.put_on.event.at <= view.asof:
            ended = on.ended.event.at if on.ended else None
            yield from _span(view, f"dressing{name}", _dressing(on), on.since, ended, "dressing", span)
    for hold in line.holds[septum]:
        if hold.began.event.at <= view.asof:
            yield from _span(view, f"hold{name}", hold.sign, hold.began.event.at, _ended(hold), "hold", span)
    for dwell in line.dwells[septum]:
        at = dwell.treatment.event.at
        if at <= view.asof:
            yield from _span(view, f"thrombolytic{name}", "dwelling", at, _ended(dwell), "thrombolytic", span)


def _span(
    view: View, row: str, label: str, start: datetime | None, end: datetime | None, kind: str, span: _Range
) -> Iterator[Span]:
    if end is not None and end > view.asof:
        end = None
    if span.touches(start, end if end is not None else view.asof):
        zone = view.wording.zone
        yield Span(
            row,
            kind,  # type: ignore[arg-type]
            start.astimezone(zone) if start else None,
            end.astimezone(zone) if end else None,
            label,
        )


def _ended(stay: Hold | Dwell) -> datetime | None:
    return stay.ended.event.at if stay.ended else None


def _needle(stay: NeedleStay) -> str:
    return needle_words(stay.needle) if isinstance(stay.needle, Needle) else "needle"


def _dressing(on: DressingStay) -> str:
    kind = on.dressing.type if isinstance(on.dressing, Dressing) else None
    return kind if isinstance(kind, str) else "dressing"


def _marks(view: View, line: LineFacts, name: str, span: _Range) -> Iterator[Mark]:
    zone = view.wording.zone
    for action in line.actions:
        if action.clock is None:
            continue
        at = action.by if action.by is not None else view.asof
        beyond = _u(at) > _u(span.end)
        yield Mark(
            f"{_ROW_OF[action.clock]}{name}", at.astimezone(zone), _label(view, action, beyond), action.late, beyond
        )


def _label(view: View, action: Action, beyond: bool) -> str:
    if action.by is None or action.clock is None:
        return "due now"
    when = view.wording.when(action.by)
    if action.late:
        return f"overdue since {when}"
    return f"{'later: ' if beyond else ''}{_MARK[action.clock]} {when}"


def _says(view: View, spans: list[Span], marks: list[Mark], span: _Range) -> str:
    """Return the text alternative: every bar and mark in words."""
    last = span.end - timedelta(days=1)
    said = [
        f"Days from {span.start.day} {span.start:%b} to {last.day} {last:%b}; now is {view.wording.when(view.asof)}."
    ]
    for part in spans:
        start = f"from {view.wording.when(part.start)}" if part.start else "from a time not known"
        end = f"to {view.wording.when(part.end)}" if part.end else "until now"
        said.append(f"{part.row[0].upper()}{part.row[1:]}: {part.label}, {start} {end}.")
    for mark in marks:
        said.append(f"{mark.row[0].upper()}{mark.row[1:]}: {mark.label}.")
    return " ".join(said)
