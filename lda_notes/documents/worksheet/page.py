"""The worksheet: the page that is taken to the bedside before gloves go on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from typing import Final

from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import (
    Alert,
    Blanks,
    Block,
    Bullets,
    Columns,
    Fine,
    Form,
    Heading,
    Sheet,
)
from lda_notes.documents.handoff.actions import VESICANT_LOOKS
from lda_notes.documents.handoff.background import NONE_KNOWN, allergy_lines, child, port_text
from lda_notes.documents.handoff.line import LineFacts, line_facts
from lda_notes.documents.handoff.problems import last_words
from lda_notes.documents.handoff.round import line_warnings
from lda_notes.documents.handoff.view import View
from lda_notes.documents.handoff.words import short, when_due
from lda_notes.documents.precautions import Precaution, precautions
from lda_notes.documents.references import References
from lda_notes.documents.wording import one_line
from lda_notes.documents.worksheet.blanks import Blank, blanks
from lda_notes.documents.worksheet.known import FEW, MOST, difficulties, needle_text, state_text
from lda_notes.documents.worksheet.steps import cautions, step_of
from lda_notes.documents.worksheet.supplies import Work, supplies
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
    blocks = tuple(blocks_of(view, work, septum))
    return Sheet(
        title(work),
        blocks,
        cautions=(*CAUTIONS, *silenced_words(view.policy)),
        running=running(view),
        dense=True,
        size=SIZE,
    )


def title(work: Work) -> str:
    """Return the title of a worksheet."""
    return f"Worksheet: {_NAMES.get(work, work)}"


SIZE: Final = 9
"""Points of the letters of every worksheet."""
_NAMES: Final[dict[Work, str]] = {
    "arrival accessed": "arrival with a needle in",
    "patency check": "check of a dwelling thrombolytic",
}


def blocks_of(view: View, work: Work, septum: str) -> Iterator[Block]:
    """Yield what the worksheet for ``work`` on one septum says."""
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


def born(view: View) -> str:
    """Return the birth date in words, or that it is not recorded."""
    born = view.timeline.episode.patient.birth_date
    return f"born {phrasing.day(born) if born else view.wording.absent(None, 'patient', 'birth_date')}"


def running(view: View) -> str:
    """Return name and identifiers, as they head every page about a patient."""
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
        ("Patient", "; ".join(filter(None, (running(view), born(view), child(view))))),
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
