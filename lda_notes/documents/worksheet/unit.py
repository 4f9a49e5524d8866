"""The worksheets of a unit: the line check, a row for each needle, and all that a shift needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from lda_notes.check import among
from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import BOX, Block, Bullets, Cell, Heading, Line, NewPage, Sheet, Table
from lda_notes.documents.handoff.background import allergies_short, child
from lda_notes.documents.handoff.line import line_facts
from lda_notes.documents.handoff.round import NAME_ALERT, line_warnings, when
from lda_notes.documents.handoff.view import Action, View
from lda_notes.documents.handoff.words import short, what_is_in, when_due
from lda_notes.documents.wording import one_line, patient_name
from lda_notes.documents.worksheet.page import CAUTIONS, SIZE, blocks_of, born, running, title
from lda_notes.documents.worksheet.supplies import Work
from lda_notes.line.due import ClockName
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence


@dataclass(frozen=True, slots=True)
class Job:
    """One worksheet that a shift needs."""

    view: View
    work: Work
    septum: str


_WORK_OF: Final[dict[ClockName, Work]] = {
    "needle change": "access",
    "dressing change": "dressing change",
    "flush": "flush",
    "idle flush": "flush",
    "thrombolytic check": "patency check",
}
"""The task when a clock runs out; a routine look is on the sheet of the unit."""


def due_jobs(views: Sequence[View]) -> tuple[Job, ...]:
    """Return what falls due before the shift ends, patient by patient, each work once for each septum."""
    found: dict[tuple[int, Work, str], Job] = {}
    for place, view, action in _due_now(views):
        work = _WORK_OF.get(action.clock) if action.clock else None
        if work:
            found.setdefault((place, work, action.septum), Job(view, work, action.septum))
    return tuple(found.values())


def _due_now(views: Sequence[View]) -> Iterator[tuple[int, View, Action]]:
    """Yield what falls due before the shift ends, each with its patient and the patient's place."""
    for place, view in enumerate(views):
        for septum in view.timeline.episode.port.septa if view.left() is None else ():
            for action in line_facts(view, septum).actions:
                if action.late or (action.by is not None and view.in_shift(action.by)):
                    yield place, view, action


def _cautions(views: Sequence[View]) -> tuple[str, ...]:
    return (*CAUTIONS, *(silenced_words(views[0].policy) if views else ()))


def _without_sheet(views: Sequence[View]) -> Iterator[str]:
    """Yield what is due before the shift ends and has no worksheet of its own, such as an evaluation or a report."""
    similar = among.alike([view.timeline for view in views])
    for place, view, action in _due_now(views):
        if action.clock not in _WORK_OF and action.clock != "line check":
            who = f"{_who(view)}{NAME_ALERT if place in similar else ''}"
            yield f"{who}: {short(action)}: {when_due(view.wording, action)}"


def due_sheet(views: Sequence[View]) -> Sheet:
    """Return everything that this shift needs: the line check of the unit, then a worksheet for each work due."""
    jobs = due_jobs(views)
    blocks: list[Block] = [*_unit_blocks(views)]
    if others := tuple(_without_sheet(views)):
        blocks.append(Bullets(others, "Due, and on no worksheet:", boxes=True, columns=2))
    for job in jobs:
        blocks += [NewPage(running(job.view)), Heading(title(job.work), 1), *blocks_of(job.view, job.work, job.septum)]
    return Sheet(
        "Worksheets: all that is due this shift", tuple(blocks), cautions=_cautions(views),
        running=_of_unit(views), dense=True,
        size=SIZE,
    )  # fmt: skip


def unit_sheet(views: Sequence[View]) -> Sheet:
    """Return the line check of a unit: a row for each patient with a needle, with room for what is found."""
    return Sheet(
        "Worksheet: line check of the unit", tuple(_unit_blocks(views)), cautions=_cautions(views),
        running=_of_unit(views),
        dense=True, size=SIZE,
    )  # fmt: skip


def _of_unit(views: Sequence[View]) -> str:
    units = dict.fromkeys(stay.unit for view in views if (stay := view.timeline.unit_at(view.asof)))
    asof = f"; as of {views[0].wording.in_full(views[0].asof)}" if views else ""
    return one_line(f"{', '.join(units)}{asof}")


_SEEN: Final = (
    "skin intact", "no redness", "no swelling", "no pain", "no drainage", "port stable", "dressing intact",
    "connections secure",
)  # fmt: skip
_BLOOD: Final = ("present", "sluggish", "none")


def _boxes(names: Sequence[str]) -> str:
    return " ".join(f"{BOX} {name}".replace(" ", "\u00a0") for name in names)


LOOKS: Final = (_boxes(_SEEN), f"Blood return: {_boxes(_BLOOD)}")
"""Findings to look for, each with a box of its own; exceptions are written in."""


def _unit_blocks(views: Sequence[View]) -> Iterator[Block]:
    here = [view for view in views if view.left() is None]
    asof = f" as of {views[0].wording.in_full(views[0].asof)}" if views else ""
    units = len({stay.unit for view in here if (stay := view.timeline.unit_at(view.asof))}) > 1
    rows = [row for view in here for row in _unit_rows(view, units)]
    if not rows:
        yield Paragraph((Sentence(f"No patient has a needle in, as recorded{asof}."),))
        return
    yield Table(
        ("Unit, room" if units else "Room", "Patient", "Now", "Seen; write what is not so", "Due, nurse"),
        tuple(rows),
        (55, 195, 305, 345, 100),
        f"Line check{asof}: a row for each needle; tick only what was looked at. No allergy named: none known",
    )


def _unit_rows(view: View, units: bool) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each needle; ``units`` names the unit before the room."""
    patient = view.timeline.episode.patient
    stay = view.timeline.unit_at(view.asof)
    septa = view.timeline.episode.port.septa
    for septum in septa:
        line = line_facts(view, septum)
        if line.state.needle is None:
            continue
        look = next((action for action in line.actions if action.clock == "line check"), None)
        due = when(view.wording, look).rstrip(":") if look else ""
        at = f"{septum}: " if len(septa) > 1 else ""
        said = (f"{at}{what_is_in(line, brief=True)}", f"runs: {line.runs}" if line.runs else "")
        yield (
            one_line(", ".join(filter(None, (stay.unit if units else "", stay.room)))) if stay else "",
            (
                Line(patient_name(patient)),
                *(Line(words, box=True) for words in (one_line(patient.identifiers[0].value), born(view))),
                *([Line(weighs)] if (weighs := child(view)) else []),
                *([Line(allergic, bold=True)] if (allergic := allergies_short(view.timeline)) else []),
            ),
            (
                *(Line(one.text, strong=True) for one in line_warnings(view.wording, line)),
                *(Line(phrasing.capital(words)) for words in said if words),
            ),
            tuple(map(Line, LOOKS)),
            due,
        )  # fmt: skip


def _who(view: View) -> str:
    patient = view.timeline.episode.patient
    stay = view.timeline.unit_at(view.asof)
    where = one_line(", ".join(filter(None, (stay.unit, stay.room)))) if stay else "no unit"
    return f"{where}: {patient_name(patient)} {one_line(patient.identifiers[0].value)}"
