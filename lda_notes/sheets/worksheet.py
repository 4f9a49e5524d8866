"""The worksheet: the page that is taken to the bedside before gloves go on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

from lda_notes import phrasing
from lda_notes.sheets.handoff import when_due_text
from lda_notes.sheets.handoff_line import LineFacts, View, line_facts
from lda_notes.sheets.handoff_patient import port_text
from lda_notes.sheets.parts import Alert, Blanks, Block, Bullets, Heading, Pairs, Sheet, Table, Together
from lda_notes.sheets.precautions import Precaution, precautions
from lda_notes.sheets.references import References
from lda_notes.sheets.wording import one_line
from lda_notes.sheets.worksheet_blanks import Blank, blanks
from lda_notes.sheets.worksheet_known import difficulties, needle_text, state_text
from lda_notes.sheets.worksheet_steps import TITLES, cautions
from lda_notes.sheets.worksheet_supplies import supplies

Work = Literal["access", "de-access", "dressing change"]

CAUTIONS: Final = (
    "A worksheet is not the record: chart from it, then destroy it as facility policy says.",
    "Facility policy, prescriber orders and licensed judgement come first.",
)


def sheet(view: View, work: Work, septum: str) -> Sheet:
    """Return the worksheet for ``work`` on one septum: what is known, supplies, blanks in the order of the work."""
    references = References(view.policy)
    line = line_facts(view, septum)
    cares = tuple(precautions(view.timeline.episode.patient))
    blocks: list[Block] = [*_alerts(view, work, line), _known(view, line, septum)]
    blocks.extend(
        Alert("caution", f"{phrasing.capital(p.reason)}: {p.says}{references.mark((p.basis,))}") for p in cares
    )
    before = difficulties(view, septum)
    if before:
        blocks.append(Bullets(before, "Difficulties before"))
    gathered = supplies(view, work, septum)
    blocks.append(Heading("Supplies to gather"))
    blocks.append(Bullets(tuple(f"{s.says}{references.mark(s.basis)}" for s in gathered), boxes=True))
    blocks.append(Heading(f"The {work}, step by step"))
    blocks.append(Blanks("Date and time"))
    blocks.extend(_steps(view, work, cares, references))
    blocks.append(Heading("Where the limits come from"))
    blocks.append(Table(("No.", "In force", "Source"), references.rows(), (6, 42, 52)))
    return Sheet(f"Worksheet: {work}", tuple(blocks), cautions=CAUTIONS, running=_running(view), dense=True)


def _running(view: View) -> str:
    patient = view.timeline.episode.patient
    identifiers = ", ".join(f"{i.label or 'identifier'} {i.value}" for i in patient.identifiers)
    return one_line(f"{patient.family_name}, {patient.given_name}; {identifiers}")


def _alerts(view: View, work: Work, line: LineFacts) -> Iterator[Alert]:
    if line.hold:
        yield Alert("stop", f"Do not use the line: {line.hold}")
    if line.status == "no port":
        yield Alert("stop", "The port is not in the body, as recorded")
    elif work == "access" and line.state.needle is not None:
        yield Alert("caution", f"A needle is in already: {line.needle}. It comes out first, and that is charted")
    elif work != "access" and line.state.needle is None:
        yield Alert("caution", "No needle is in, as recorded")


def _known(view: View, line: LineFacts, septum: str) -> Pairs:
    episode = view.timeline.episode
    patient = episode.patient
    unit = view.timeline.unit_at(view.asof)
    born = phrasing.day(patient.birth_date) if patient.birth_date else "not recorded"
    allergies = "allergies not recorded"
    if patient.allergies is not None:
        allergies = ", ".join(phrasing.capital(a.to) for a in patient.allergies) or "none known"
    due = "; ".join(f"{a.act} {when_due_text(view.wording, a)}" for a in line.actions) or "nothing"
    rows = [
        ("Patient", one_line(f"{patient.family_name}, {patient.given_name}, born {born}")),
        ("Identifiers", one_line(", ".join(f"{i.label or 'identifier'} {i.value}" for i in patient.identifiers))),
        ("Where", f"{unit.unit}{f', room {unit.room}' if unit.room else ''}" if unit else "not on a unit"),
        ("Known as of", view.wording.in_full(view.asof)),
        ("Site", port_text(episode.port)),
        ("Now", state_text(line.state)),
        ("Needle that worked", needle_text(view, septum)),
        ("Allergies", allergies),
        ("Due", due),
    ]
    if len(episode.port.septa) > 1:
        rows.insert(5, ("Septum", septum))
    return Pairs(tuple(rows))


def _steps(view: View, work: Work, cares: tuple[Precaution, ...], references: References) -> Iterator[Block]:
    steps: dict[str, list[Blank]] = {}
    for blank in blanks(view, work):
        steps.setdefault(TITLES.get(blank.need.path[0], "More to chart"), []).append(blank)
    for title, asked in steps.items():
        care = cautions(view, work, title, cares)
        said = tuple(f"{c.says}{references.mark(c.basis)}" for c in care)
        head: list[Block] = [Heading(title, 3)]
        if said:
            head.append(Bullets(said))
        yield Together((*head, *(blank.drawn for blank in asked)))
