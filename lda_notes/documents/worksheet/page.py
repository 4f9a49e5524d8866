"""The worksheet: the page that is taken to the bedside before gloves go on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final

from lda_notes.check import among
from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import (
    BOX,
    Alert,
    Blanks,
    Block,
    Bullets,
    Cell,
    Columns,
    Fine,
    Form,
    Heading,
    Line,
    NewPage,
    Sheet,
    Table,
)
from lda_notes.documents.handoff.actions import VESICANT_LOOKS
from lda_notes.documents.handoff.background import NONE_KNOWN, allergies_short, allergy_lines, child, port_text
from lda_notes.documents.handoff.line import LineFacts, line_facts
from lda_notes.documents.handoff.problems import last_words
from lda_notes.documents.handoff.round import NAME_ALERT, line_warnings, when
from lda_notes.documents.handoff.view import Action, View
from lda_notes.documents.handoff.words import short, what_is_in, when_due
from lda_notes.documents.precautions import Precaution, precautions
from lda_notes.documents.references import References
from lda_notes.documents.wording import one_line, patient_name
from lda_notes.documents.worksheet.blanks import Blank, blanks
from lda_notes.documents.worksheet.known import FEW, MOST, difficulties, needle_text, state_text
from lda_notes.documents.worksheet.steps import cautions, step_of
from lda_notes.documents.worksheet.supplies import Work, supplies
from lda_notes.line.due import ClockName
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.record.unread import about, notice

_WHY_NOT: Final = ("not assessed", "not done")

_SIGN: Final = "* Required: without it the note stays a draft"

CAUTIONS: Final = (
    "A worksheet is not the record: chart from it, then destroy it as policy says. "
    "Facility policy, prescriber orders and licensed judgment come first.",
)


def sheet(view: View, work: Work, septum: str) -> Sheet:
    """Return the worksheet for ``work`` on one septum: what is known, supplies, blanks in the order of the work."""
    blocks = tuple(_blocks(view, work, septum))
    return Sheet(
        title(work),
        blocks,
        cautions=(*CAUTIONS, *silenced_words(view.policy)),
        running=_running(view),
        dense=True,
        size=_SIZE,
    )


def title(work: Work) -> str:
    """Return the title of a worksheet."""
    return f"Worksheet: {_NAMES.get(work, work)}"


_SIZE: Final = 9
_NAMES: Final[dict[Work, str]] = {
    "arrival accessed": "arrival with a needle in",
    "patency check": "check of a dwelling thrombolytic",
}


def _blocks(view: View, work: Work, septum: str) -> Iterator[Block]:
    references = References(view.policy)
    line = line_facts(view, septum)
    cares = tuple(precautions(view.timeline.episode.patient))
    yield from _alerts(view, work, line)
    for fact in view.timeline.unread:
        yield Alert("caution", notice(fact))
    yield _known(view, line, septum)
    told = tuple(said for said in allergy_lines(view.timeline) if said.casefold() != NONE_KNOWN)
    if told:  # what each changes stands at its step
        yield Alert("caution", ". ".join(told))
    before = difficulties(view, septum, MOST if work == "access" else FEW)
    if before:
        yield Bullets(before, "Difficulties before", columns=2)
    gathered = supplies(view, work, septum)
    yield Bullets(
        tuple(f"{s.says}{references.mark(s.basis)}" for s in gathered), "Supplies to gather", boxes=True, columns=3
    )
    yield Heading(f"{phrasing.capital(_NAMES.get(work, work))}, step by step. {_SIGN}")
    yield Columns((Form((Blanks("Date and time", letters=20),)), *_steps(view, work, cares, references, line)))
    changed = references.changed()
    if changed:
        yield Fine("Changed by facility policy:", tuple(f"{words}." for words in changed))
    yield Fine("Sources:", references.brief())


# -- the unit --


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
"""What is done when a clock runs out; a routine look is on the sheet of the unit."""


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
        blocks += [NewPage(_running(job.view)), Heading(title(job.work), 1), *_blocks(job.view, job.work, job.septum)]
    return Sheet(
        "Worksheets: all that is due this shift", tuple(blocks), cautions=_cautions(views),
        running=_of_unit(views), dense=True,
        size=_SIZE,
    )  # fmt: skip


def unit_sheet(views: Sequence[View]) -> Sheet:
    """Return the line check of a unit: a row for each patient with a needle, with room for what is found."""
    return Sheet(
        "Worksheet: line check of the unit", tuple(_unit_blocks(views)), cautions=_cautions(views),
        running=_of_unit(views),
        dense=True, size=_SIZE,
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
"""What is looked for, each with a box of its own; what is not so is written."""


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
                *(Line(words, box=True) for words in (one_line(patient.identifiers[0].value), _born(view))),
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


def _born(view: View) -> str:
    born = view.timeline.episode.patient.birth_date
    return f"born {phrasing.day(born) if born else view.wording.absent(None, 'patient', 'birth_date')}"


def _who(view: View) -> str:
    patient = view.timeline.episode.patient
    stay = view.timeline.unit_at(view.asof)
    where = one_line(", ".join(filter(None, (stay.unit, stay.room)))) if stay else "no unit"
    return f"{where}: {patient_name(patient)} {one_line(patient.identifiers[0].value)}"


def _running(view: View) -> str:
    patient = view.timeline.episode.patient
    identifiers = ", ".join(f"{i.label or 'identifier'} {i.value}" for i in patient.identifiers)
    return one_line(f"{patient.family_name}, {patient.given_name}; {identifiers}")


def _alerts(view: View, work: Work, line: LineFacts) -> Iterator[Alert]:
    warned = tuple(line_warnings(view.wording, line))
    if warned:
        yield Alert("mark", "\n".join((*(one.text for one in warned), *last_words(view, line))))
    if line.status == "no port":
        yield Alert("stop", "The port is not in the body, as recorded")
        return
    if unfit := tuple(_unfit(work, line)):
        yield Alert("caution", "\n".join(unfit))


_PUTS_IN: Final[frozenset[Work]] = frozenset({"access", "arrival accessed", "de-access", "flush", "patency check"})
"""Work in which something goes through the line."""


def contents_first(line: LineFacts) -> bool:
    """Return whether what is in the line has to come out before any flush."""
    return any(one.code in ("D1", "D3") and not one.phase for one in line.state.dangers)


def _unfit(work: Work, line: LineFacts) -> Iterator[str]:
    """Yield why the work does not suit the line as it is, and what is not to be done meanwhile."""
    state = line.state
    if line.vesicant:
        yield f"{phrasing.capital(VESICANT_LOOKS)} (common practice, no source)"
    if state.holds and work in _PUTS_IN:
        yield (
            "On hold: no flush, lock, or drug, except work on the reason for the hold and what a named prescriber "
            "orders despite it"
        )
    if work in _PUTS_IN and contents_first(line):
        yield "Before any flush: aspirate and discard what is in the line; if nothing comes back, ask the prescriber"
    if state.dwell is not None and work != "patency check":
        yield "A thrombolytic is in the line: nothing else goes in before it is aspirated"
    if work == "de-access" and line.runs:
        yield f"Runs: {line.runs}. It is stopped first, and that is charted"
    if work == "patency check" and state.dwell is None:
        yield "No thrombolytic is in the line, as recorded: this sheet is for a look at one"
    if work in ("access", "arrival accessed") and state.needle is not None:
        access = ". It comes out first, and that is charted"
        first = access if work == "access" else "; this sheet is for one that was put in elsewhere"
        yield f"A needle is in already: {line.needle}{first}"
    if work == "flush" and state.needle is None:
        yield "No needle is in, as recorded: a flush needs an access first"
    elif work not in ("access", "arrival accessed") and state.needle is None:
        yield "No needle is in, as recorded"


def _known(view: View, line: LineFacts, septum: str) -> Paragraph:
    episode = view.timeline.episode
    unit = view.timeline.unit_at(view.asof)
    due = "; ".join(f"{short(a)}: {when_due(view.wording, a)}" for a in line.actions) or "nothing"
    rows = [
        ("Patient", "; ".join(filter(None, (_running(view), _born(view), child(view))))),
        ("Where", one_line(f"{unit.unit}{f', room {unit.room}' if unit.room else ''}") if unit else "not on a unit"),
        ("As of", view.wording.in_full(view.asof)),
        *([("Allergies", "none known")] if _none_known(view) else []),  # all else about allergies is the caution's
        ("Now", "; ".join((state_text(line.state), *_inside_now(line)))),
        ("Needle that worked", needle_text(view, septum)),
        ("Site", port_text(episode.port, view.timeline)),
        ("Due", due),
    ]
    if len(episode.port.septa) > 1:
        rows.append(("Septum", septum))
    return Paragraph(tuple(Sentence(f"{label}: {said}.") for label, said in rows), "Known.")


def _none_known(view: View) -> bool:
    """Return whether the record says that there are no allergies."""
    unread = about(view.timeline.unread, None, "patient", "allergies")
    return view.timeline.episode.patient.allergies == () and not unread


def _inside_now(line: LineFacts) -> Iterator[str]:
    if line.runs:
        yield f"runs: {line.runs}"
    if line.dwelling:
        yield f"{line.dwelling.value} ({line.dwelling.told})"


def _steps(
    view: View, work: Work, cares: tuple[Precaution, ...], references: References, line: LineFacts
) -> Iterator[Block]:
    steps: dict[str, list[Blank]] = {}
    title = "More to chart"
    for blank in _asked(view, work, line):
        title = step_of(work, blank.need.path[0], title)
        if title == "Sign":
            steps.setdefault("What is due next", [])  # nobody fills it in: it is worked out
        steps.setdefault(title, []).append(blank)
    reasons = dict.fromkeys(
        choice for asked in steps.values() for blank in asked for choice in blank.drawn.choices if choice in _WHY_NOT
    )
    for title, asked in steps.items():
        care = cautions(view, work, title, cares, line)
        if not (asked or care):
            continue
        said = tuple(f"{c.says}{references.mark(c.basis)}" for c in care)
        if title == _LAST and reasons:  # room for every reason once, where the nurse looks back over the page
            yield Form((Blanks(f"{phrasing.capital(' or '.join(reasons))}: what, and why", letters=24),))
        yield Heading(title, 3)
        if said:
            yield Bullets(said)
        yield from forms(asked)


_LAST: Final = "Sign"


def _asked(view: View, work: Work, line: LineFacts) -> Iterator[Blank]:
    """Yield the blanks of the work; a needle that came with the patient is flushed and locked too, as its own event.

    Contents that have to come out first have theirs on every sheet, charted as a flush where the work has none.
    """
    own = blanks(view, work)
    flush = blanks(view, "flush") if work == "arrival accessed" else ()
    lacks = {"discard_ml", "old_lock"} - {blank.need.path[0] for blank in own} if contents_first(line) else set()
    for blank in own:
        if lacks and step_of(work, blank.need.path[0], "") == "Flush":
            took = (one for one in blanks(view, "flush") if one.need.path[0] in lacks)
            yield from (replace(one, conditions=()) for one in took)
            lacks = set()
        if flush and step_of(work, blank.need.path[0], "") == "The patient":
            yield from (one for one in flush if one.need.path[0] in ("hub_scrub_s", "flushes", "lock"))
            flush = ()
        yield blank


def forms(asked: list[Blank]) -> Iterator[Form]:
    """Yield the blanks of one step in their order: those that share a condition together, said once."""
    drawn = [(blank, choices) for blank in asked if (choices := _kept(blank)) is not None]
    for shares, group in groupby(drawn, key=lambda pair: pair[0].conditions[:1]):
        together = list(group)
        shared = shares[0] if shares and len(together) > 1 else ""
        said = tuple(_sign(blank, choices, 1 if shared else 0) for blank, choices in together)
        yield Form(said, f"{phrasing.capital(shared)}:" if shared else "")


def _kept(blank: Blank) -> tuple[str, ...] | None:
    """Return the choices without the reasons why not; None for a blank that offers nothing else."""
    choices = tuple(choice for choice in blank.drawn.choices if choice not in _WHY_NOT)
    return None if blank.drawn.choices and not choices else choices


def _sign(blank: Blank, choices: tuple[str, ...], said: int) -> Blanks:
    """Return a blank with the sign of what is required, without the conditions that are ``said`` already."""
    mark = "*" if blank.need.level == "required" else ""
    hint = ", ".join(blank.conditions[said:])
    return replace(blank.drawn, label=f"{mark}{blank.drawn.label}", hint=hint, choices=choices)
