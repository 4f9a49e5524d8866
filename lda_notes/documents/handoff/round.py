"""The round: one row a patient, with all that must be seen before the shift ends.

Rows keep the order of the patients, which `patients.py` sorts, most urgent first; here only tasks are sorted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal

from lda_notes.documents.blocks import Bullets, Line, Table, Together
from lda_notes.documents.handoff.background import NONE_KNOWN
from lda_notes.documents.handoff.line import LineFacts, at_once, named_as_unread, needle_gone
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.handoff.view import Action
from lda_notes.documents.handoff.words import of, short, what_is_in
from lda_notes.documents.wording import Wording
from lda_notes.narrative import phrasing

Word = Literal["HOLD", "DANGER", "LIMIT", "COULD NOT BE READ", "NOT CHARTED"]


@dataclass(frozen=True, slots=True)
class Warned:
    """A reason that stops or limits the use of a line. ``word`` says which it is, ``says`` what and since when."""

    word: Word
    says: str

    @property
    def text(self) -> str:
        """The warning as every sheet prints it."""
        return f"{self.word}: {self.says}"


@dataclass(frozen=True, slots=True)
class Task:
    """Something due before the shift ends: ``when`` ("by 18:35:") and ``what`` ("line check")."""

    when: str
    what: str
    by: datetime | None
    late: bool
    routine: bool

    @property
    def says(self) -> str:
        """The task as the row prints it."""
        return f"{self.when} {self.what}"


@dataclass(frozen=True, slots=True)
class Row:
    """One patient in the round: all the facts of page one, as they are printed."""

    patient: PatientFacts
    place: str
    who: tuple[str, ...]
    allergies: tuple[str, ...]
    inside: tuple[str, ...]
    warned: tuple[Warned, ...]
    runs: tuple[str, ...]
    changed: str
    tasks: tuple[Task, ...]


_ALIKE: Final = "Name alert: similar name here"

NAME_ALERT: Final = " (name alert)"
"""The mark after a name that could be taken for another's on the unit, where there is no room for the sentence."""

COLUMNS: Final = ("Room", "Patient, allergies", "In the port, what runs", "Due", "Notes")
_WIDTHS: Final = (7, 26, 34, 22, 11)
_WIDE: Final = (14, 24, 31, 21, 10)
_SHORT: Final = 6
"""Shares of the columns; a place of more letters, such as one with its unit, takes more room."""

_ROUTINE: Final = frozenset({"line check"})
"""Clocks that run for every needle in every shift: alone they need a box on the round and no words."""


def row(patient: PatientFacts, units: bool, shift_end: datetime, zones: bool = False) -> Row:
    """Return one patient's row; ``units`` names the unit beside the room, ``zones`` the time zone."""
    place = ", ".join(filter(None, (patient.unit, patient.room))) if units else patient.room
    many = len(patient.lines) > 1
    zone = f"Times of {patient.wording.zone.key}" if zones else ""
    return Row(
        patient,
        place or "no room",
        tuple(filter(None, (patient.name, patient.second, patient.child, _ALIKE if patient.alike else "", zone))),
        patient.allergy_lines,
        tuple(
            phrasing.capital(f"{f'{line.septum}: ' if many else ''}{said}")
            for line in patient.lines
            for said in (what_is_in(line, brief=True), *line.notes)
        ),
        warnings(patient),
        tuple(f"Runs{of(patient, line)}: {line.runs}" for line in patient.lines if line.runs),
        changed(patient),
        tuple(tasks(patient, shift_end)),
    )


def warnings(patient: PatientFacts) -> tuple[Warned, ...]:
    """Return holds, standing dangers, limits of use and what could not be read, each once."""
    of_lines = (one for line in patient.lines for one in line_warnings(patient.wording, line, of(patient, line)))
    idle = (Warned("NOT CHARTED", patient.not_charted),) if patient.not_charted else ()
    return tuple(dict.fromkeys((*idle, *of_lines, *(Warned("COULD NOT BE READ", said) for said in patient.unread))))


def line_warnings(words: Wording, line: LineFacts, septum: str = "") -> Iterator[Warned]:
    """Yield holds, standing dangers and limits of one septum; ``septum`` follows each, for a port with two."""
    for hold in line.state.holds:
        todo = at_once(line.state, hold)
        says = f"{hold.sign}, {words.soon(hold.since)}{septum}{needle_gone(line.state, hold)}"
        yield Warned("HOLD", f"{says}. {todo}" if todo else says)
    for danger in line.state.dangers:
        if named_as_unread(danger):
            continue
        since = f", {words.soon(danger.since)}" if danger.since is not None else ""
        forbids = f"; not allowed: {danger.forbids}" if danger.forbids else ""
        held = "; no flush while on hold" if danger.code == "D6" and line.state.holds else ""
        yield Warned("DANGER", f"{danger.what}{since}{septum}{forbids}{held}")
    for limit in line.state.limits:
        yield Warned("LIMIT", f"{limit.what}{septum}, by evaluation")


def changed(patient: PatientFacts) -> str:
    """Return what changed since the last sheet, routine looks and flushes left out; "" for nothing."""
    told = [one.says for one in patient.changes if not one.routine]
    return phrasing.capital("; ".join(told))


def tasks(patient: PatientFacts, shift_end: datetime) -> Iterator[Task]:
    """Yield everything that is due before the shift ends, soonest first."""
    for action in patient.actions:
        if not action.late and (action.by is None or action.by.astimezone(UTC) > shift_end.astimezone(UTC)):
            continue
        septum = of(patient, action)
        routine = action.clock in _ROUTINE and not action.late
        yield Task(when(patient.wording, action), f"{_small(short(action))}{septum}", action.by, action.late, routine)


def _small(words: str) -> str:
    return words[:1].lower() + words[1:]


def when(words: Wording, action: Action) -> str:
    """Return the time of a task as it is printed before it."""
    if action.by is None:
        return "now:"
    return f"{'late, since ' if action.late else 'by '}{words.soon(action.by)}:"


def needs_words(found: Row) -> bool:
    """Return whether a patient needs a block beside the row: anything but a routine look is open or has changed."""
    open_now = found.warned or found.changed or found.patient.unanswered
    return bool(open_now) or any(not task.routine for task in found.tasks)


def table(rows: Sequence[Row], until: str, linked: bool) -> Table:
    """Return the round as a table with boxes to tick and room to write, rows in the order given: most urgent first.

    ``linked``: blocks follow, to which the rows link.
    """
    return Table(
        (*COLUMNS[:3], f"Due by {until}", COLUMNS[4]),
        tuple(_cells(found) for found in rows),
        _WIDE if any(len(found.place) > _SHORT for found in rows) else _WIDTHS,
        "Patients with a port, most urgent first",
        tuple(anchor(found.patient) if linked and needs_words(found) else "" for found in rows),
    )


def _cells(found: Row) -> tuple[str | tuple[Line, ...], ...]:
    changed = (Line(found.changed),) if found.changed else ()
    name, number, *more = found.who
    none = found.allergies[:1] == (phrasing.capital(NONE_KNOWN),)  # no line of its own: twelve patients are one page
    if none:
        number += f". {found.allergies[0]}"
    return (
        found.place,
        (
            Line(name, bold=True),
            *map(Line, (number, *more)),
            *(Line(said, bold=True) for said in found.allergies[none:]),
        ),
        (
            *(Line(one.text, strong=True) for one in found.warned),
            *map(Line, found.inside),
            *map(Line, found.runs),
            *changed,
        ),
        tuple(Line(task.says, strong=False, box=True) for task in found.tasks) or "Nothing due",
        "",
    )


def anchor(patient: PatientFacts) -> str:
    """Return the name under which a patient's block is found: nothing of the patient is in it."""
    return f"patient-{patient.number}"


def who(patient: PatientFacts) -> str:
    """Return who a patient is where the room stands before it: full name, number, and that a name here is similar."""
    return f"{patient.name} {patient.second}{NAME_ALERT if patient.alike else ''}"


def in_time_order(rows: Sequence[Row]) -> Together:
    """Return the tasks of all patients in order of time, the same boxes again."""
    first = datetime.min.replace(tzinfo=UTC)
    dated = [((task.by or first).astimezone(UTC), found, task) for found in rows for task in found.tasks]
    dated.sort(key=lambda one: one[0])  # those of one time stay in the order of the rows
    said = tuple(
        f"{phrasing.capital(task.when)} {found.place}, {who(found.patient)}: {task.what}" for _, found, task in dated
    )
    return Together((Bullets(said, "The same tasks by time", boxes=True, columns=2),))
