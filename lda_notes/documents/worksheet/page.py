"""The worksheet: the page that is taken to the bedside before gloves go on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from typing import Final, Literal

from lda_notes.documents.blocks import Alert, Blanks, Block, Bullets, Columns, Form, Heading, Pairs, Sheet
from lda_notes.documents.handoff.line import LineFacts, View, line_facts
from lda_notes.documents.handoff.patient import port_text
from lda_notes.documents.handoff.words import when_due_text
from lda_notes.documents.precautions import Precaution, merged, precautions
from lda_notes.documents.references import References
from lda_notes.documents.wording import one_line
from lda_notes.documents.worksheet.blanks import Blank, blanks
from lda_notes.documents.worksheet.known import difficulties, needle_text, state_text
from lda_notes.documents.worksheet.steps import TITLES, cautions
from lda_notes.documents.worksheet.supplies import supplies
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence

Work = Literal["access", "de-access", "dressing change"]

_WHY_NOT: Final = ("not assessed", "not done")

_SIGN: Final = "* Required: without it the note stays a draft. All else is recommended."

CAUTIONS: Final = (
    "A worksheet is not the record: chart from it, then destroy it as facility policy says. "
    "Facility policy, prescriber orders and licensed judgement come first.",
)


def sheet(view: View, work: Work, septum: str) -> Sheet:
    """Return the worksheet for ``work`` on one septum: what is known, supplies, blanks in the order of the work."""
    references = References(view.policy)
    line = line_facts(view, septum)
    cares = tuple(precautions(view.timeline.episode.patient))
    blocks: list[Block] = [*_alerts(view, work, line), _known(view, line, septum)]
    if cares:
        said = [f"{phrasing.capital(why)}: {says}{references.mark(basis)}" for why, says, basis in merged(cares)]
        blocks.append(Alert("caution", ". ".join(said)))
    before = difficulties(view, septum)
    if before:
        blocks.append(Bullets(before, "Difficulties before", columns=2))
    gathered = supplies(view, work, septum)
    blocks.append(Heading("Supplies to gather"))
    blocks.append(Bullets(tuple(f"{s.says}{references.mark(s.basis)}" for s in gathered), boxes=True, columns=2))
    blocks.append(Heading(f"The {work}, step by step"))
    blocks.append(Paragraph((Sentence(_SIGN),)))
    steps = (Form((Blanks("Date and time"),)), *_steps(view, work, cares, references))
    blocks.append(Columns(steps))
    changed = references.changed()
    if changed:
        blocks.append(_joined("Changed by facility policy:", changed))
    blocks.append(_joined("Sources:", references.sources()))
    return Sheet(f"Worksheet: {work}", tuple(blocks), cautions=CAUTIONS, running=_running(view), dense=True)


def _joined(label: str, told: tuple[str, ...]) -> Paragraph:
    return Paragraph(tuple(Sentence(f"{words}.") for words in told), label)


def _running(view: View) -> str:
    patient = view.timeline.episode.patient
    identifiers = ", ".join(f"{i.label or 'identifier'} {i.value}" for i in patient.identifiers)
    return one_line(f"{patient.family_name}, {patient.given_name}; {identifiers}")


def _alerts(view: View, work: Work, line: LineFacts) -> Iterator[Alert]:
    if line.hold:
        yield Alert("stop", f"Do not use the line: {line.hold}")
    for danger in line.dangers:
        yield Alert("stop", danger)
    for limit in line.state.limits:
        yield Alert("caution", f"By evaluation: {limit.what}, since {view.wording.told(limit.began)}")
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
        allergies = ", ".join(phrasing.capital(a.substance) for a in patient.allergies) or "none known"
    due = "; ".join(f"{a.act} {when_due_text(view.wording, a)}" for a in line.actions) or "nothing"
    rows = [
        ("Patient", f"{_running(view)}; born {born}"),
        ("Where", f"{unit.unit}{f', room {unit.room}' if unit.room else ''}" if unit else "not on a unit"),
        ("Known as of", view.wording.in_full(view.asof)),
        ("Site", port_text(episode.port)),
        ("Now", state_text(line.state)),
        ("Needle that worked", needle_text(view, septum)),
        ("Allergies", allergies),
        ("Due", due),
    ]
    if len(episode.port.septa) > 1:
        rows.insert(4, ("Septum", septum))
    return Pairs(tuple(rows))


def _steps(view: View, work: Work, cares: tuple[Precaution, ...], references: References) -> Iterator[Block]:
    steps: dict[str, list[Blank]] = {}
    for blank in blanks(view, work):
        steps.setdefault(TITLES.get(blank.need.path[0], "More to chart"), []).append(blank)
    for title, asked in steps.items():
        care = cautions(view, work, title, cares)
        said = tuple(f"{c.says}{references.mark(c.basis)}" for c in care)
        yield Heading(title, 3)
        if said:
            yield Bullets(said)
        yield from forms(asked)


def forms(asked: list[Blank]) -> Iterator[Form]:
    """Yield the blanks of one step in their order: those that share a condition together, said once; the box for what
    was not assessed or not done once at the end, with room for the reason."""
    reasons = dict.fromkeys(choice for blank in asked for choice in blank.drawn.choices if choice in _WHY_NOT)
    drawn = [(blank, choices) for blank in asked if (choices := _kept(blank)) is not None]
    for when, group in groupby(drawn, key=lambda pair: pair[0].conditions[:1]):
        together = list(group)
        shared = when[0] if when and len(together) > 1 else ""
        said = tuple(_sign(blank, choices, 1 if shared else 0) for blank, choices in together)
        yield Form(said, f"{phrasing.capital(shared)}:" if shared else "")
    if reasons:
        yield Form((Blanks(f"{phrasing.capital(' or '.join(reasons))}: what, and why"),))


def _kept(blank: Blank) -> tuple[str, ...] | None:
    """Return the choices without the reasons why not; None for a blank that offers nothing else."""
    choices = tuple(choice for choice in blank.drawn.choices if choice not in _WHY_NOT)
    return None if blank.drawn.choices and not choices else choices


def _sign(blank: Blank, choices: tuple[str, ...], said: int) -> Blanks:
    """Return a blank with the sign of what is required, without the conditions that are ``said`` already."""
    mark = "*" if blank.need.level == "required" else ""
    hint = ", ".join(blank.conditions[said:])
    return replace(blank.drawn, label=f"{mark}{blank.drawn.label}", hint=hint, choices=choices)
