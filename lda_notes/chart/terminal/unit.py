"""The unit as it is charted through: who is due for what, in order of time, and who is meant by what was typed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from lda_notes.chart.answers.heard import Unclear
from lda_notes.chart.terminal.display import WIDTH
from lda_notes.check.judged import Judged
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.narrative import phrasing
from lda_notes.record.parts import DayOnly


@dataclass(frozen=True, slots=True)
class Task:
    """A task that is due for a patient; ``by`` is None when it is due now because no one knows since when."""

    what: str
    by: datetime | None
    late: bool


@dataclass(frozen=True, slots=True)
class Bed:
    """One patient of the unit. ``tasks`` are in order of time, ``drafts`` name what is charted and not signed."""

    file: Path
    room: str
    name: str
    number: str
    tasks: tuple[Task, ...]
    held: bool
    drafts: tuple[str, ...]
    now: datetime

    @property
    def first(self) -> datetime:
        """When the first task is due; a line on hold is to be evaluated now."""
        if self.held and not any(task.late for task in self.tasks):
            return self.now
        return min((task.by or self.now for task in self.tasks), default=self.now + timedelta(days=9999))


def beds(judged: Sequence[Judged], policy: Policy, now: datetime, drafts: Mapping[Path, tuple[str, ...]]) -> list[Bed]:
    """Return the patients who are on the unit now, the one with the earliest task first."""
    found = [_bed(one, policy, now, drafts) for one in judged if one.timeline is not None]
    return sorted((bed for bed in found if bed is not None), key=lambda bed: (bed.first, bed.room, bed.name))


def _bed(one: Judged, policy: Policy, now: datetime, drafts: Mapping[Path, tuple[str, ...]]) -> Bed | None:
    line = one.timeline
    assert line is not None
    if due.died(line, now) or due.has_left(line, now):
        return None
    file, patient, place = Path(one.record.file), line.episode.patient, line.unit_at(now)
    running = [row for septum in line.episode.port.septa for row in due.due(line, septum, policy, now)]
    zone = due.zone_of(line)
    tasks = [Task(row.clock, row.by.astimezone(zone) if row.by else None, row.overdue(now)) for row in running]
    tasks.sort(key=lambda task: (task.by or now, task.what))
    held = any(line.state_at(septum, now).holds for septum in line.episode.port.septa)
    room = (place.room if place is not None else line.episode.stay.room) or ""
    name = f"{patient.family_name}, {patient.given_name}"
    return Bed(
        file, room, name, patient.identifiers[0].value, tuple(tasks), held,
        drafts.get(file.resolve(), ()), now.astimezone(zone),
    )  # fmt: skip


_USUAL: Final[Mapping[str, str]] = {
    "needle change": "deaccess",
    "dressing change": "dressing",
    "flush": "flush",
    "idle flush": "visit",
    "maintenance flush": "visit",
    "thrombolytic check": "patency",
}


_FLUSHES: Final = dict.fromkeys(("idle flush", "maintenance flush"), "flush, no needle in")
"""Flushes of a port without a needle, as a nurse calls them."""


def usual(bed: Bed) -> str:
    """Return what is charted when nothing else is said: what is due first, else a look at the line."""
    return _USUAL.get(bed.tasks[0].what, "check") if bed.tasks else "check"


def page(unit: Sequence[Bed], kind: str | None, done: frozenset[Path]) -> str:
    """Return the list as rows: number, room, patient, what is due and when; ``done`` were charted on this round."""
    rows = ["", f"On the unit: {phrasing.count(len(unit), 'patient')} with a port, in order of time."]
    for number, bed in enumerate(unit, 1):
        mark = "*" if bed.file in done else " "
        head = f"{number:>3}{mark} {bed.room[:6]:<6} {bed.name[:26]:<26} "
        said = list(_said(bed)) or ["nothing due"]
        rows += textwrap.wrap(
            "; ".join(said), WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_on_hyphens=False
        )
    return "\n".join((*rows, "", asks(kind)))


def asks(kind: str | None) -> str:
    """Return what is asked below the list."""
    if kind is None:
        return (
            "Who? Room, name or number; what is due first is charted. To chart something\n"
            "else, add it, such as: 12 check   q: ends the round"
        )
    return f"Who, for {kind}? Room, name or number\n  Enter: the next without a *   q: ends the round"


def _said(bed: Bed) -> Iterator[str]:
    if bed.held:
        yield "!! LINE ON HOLD"
    for draft in bed.drafts:
        yield f"draft not signed: {draft}"
    for task in bed.tasks:
        yield f"{_FLUSHES.get(task.what, task.what)} {_when(task, bed.now)}"


def _when(task: Task, now: datetime) -> str:
    if task.by is None:
        return "due now, last time not known"
    if isinstance(task.by, DayOnly):
        return f"{'OVERDUE since' if task.late else 'by'} {task.by.day} {task.by:%B}"
    same = task.by.date() == now.date()
    clock = f"{task.by:%H:%M}" if same else f"{task.by.day} {task.by:%B %H:%M}"
    return f"OVERDUE since {clock}" if task.late else f"by {clock}"


def pick(text: str, unit: Sequence[Bed], done: frozenset[Path], kind: str | None) -> tuple[Bed, str] | Unclear:
    """Return who is meant by a room, a name, a record number or a number of the list, and the kind typed after it."""
    said = " ".join(text.split()).casefold()
    if not said:
        following = next((bed for bed in unit if bed.file not in done), None)
        if kind is None or following is None:
            return Unclear("Type a room, a name or a number; q ends the round.")
        return following, ""
    whole = _meant(said, unit)
    if len(whole) == 1:
        return whole[0], ""
    words = said.split()
    for count in range(len(words) - 1, 0, -1):  # the kind may be several words: 12 dressing change
        part = _meant(" ".join(words[:count]), unit)
        if len(part) == 1:
            return part[0], " ".join(words[count:])
        whole = whole or part
    several = whole
    if several:
        names = [f"{bed.name} ({bed.number})" for bed in several]
        return Unclear(f"That could be {phrasing.listed(names, 'or')}. Type more of the name, or the record number.")
    return Unclear(f'No one on the list matches "{text.strip()}". Type a room, a name or a number.')


def _meant(said: str, unit: Sequence[Bed]) -> list[Bed]:
    """Return who is meant: by room and record number before the number of the list, which another room may have."""
    for exact in (
        [bed for bed in unit if said in (bed.room.casefold(), bed.number.casefold())],
        [bed for number, bed in enumerate(unit, 1) if said in (f"#{number}", str(number))],
        [bed for bed in unit if bed.name.casefold().startswith(said)],
        [bed for bed in unit if said in bed.name.casefold()],
    ):
        if exact:
            return exact
    return []
