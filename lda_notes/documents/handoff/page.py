"""The handoff sheet: computed again from the records each time, never copied forward, and free of any format."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import Alert, Blanks, Block, Fine, Heading, Line, Sheet, Table, Together
from lda_notes.documents.handoff.amounts import amounts_text
from lda_notes.documents.handoff.contingencies import Contingency, every_line
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.handoff.patients import Handoff, handoff
from lda_notes.documents.handoff.round import Row, anchor, in_time_order, needs_words, row, table, warnings
from lda_notes.documents.handoff.sources import Source
from lda_notes.documents.handoff.view import Action, Told, Urgency
from lda_notes.documents.handoff.words import left_to_know, of, short, still_open, when_due
from lda_notes.documents.references import References
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy, number
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence

TITLE: Final = "Handoff of ports"
LEFT_TITLE: Final = "Ports of patients who left"


def cautions(policy: Policy) -> tuple[str, ...]:
    """Return what stands at the foot of every page, with how days are counted, and what the policy silenced."""
    limit = policy.value("needle_dwell_days")
    days = f"The day of access is day 1; a needle that may stay {policy.text('needle_dwell_days')} is due on "
    days += f"day {number(limit + 1)}, at the hour of access."
    return (
        "A working paper, computed from the records as of the time above; not part of the medical record. "
        f"Destroy it as facility policy says. {days}",
        "Facility policy, prescriber orders and licensed judgment come first. "
        "Ask about anything that is not on this sheet.",
        *silenced_words(policy),
    )


_SHOWN: Final = 2
"""Most gaps that are listed for a patient; the rest are counted."""


# -- the sheet --


@dataclass(frozen=True, slots=True)
class Printing:
    """Who printed a sheet and when, if that is known, and what of it: all, or the round alone."""

    at: datetime | None = None
    by: str = ""
    round_alone: bool = False
    full_sources: bool = False


_ALL: Final = Printing()


def round_rows(found: Handoff) -> tuple[Row, ...]:
    """Return the rows of page one, most urgent patient first."""
    units = len({patient.unit for patient in found.here}) > 1
    return tuple(row(patient, units, found.shift_end, len(found.zones) > 1) for patient in found.here)


def sheet(found: Handoff, printing: Printing = _ALL) -> Sheet:
    """Return the handoff as a sheet: the round on page one, blocks for those who need words, who left, the sources."""
    references = References(found.policy)
    listed = round_rows(found)
    blocks: list[Block] = [_head(found, printing)]
    blocks.extend(Alert("caution", f"Not on this sheet: {words}") for words in found.unreadable)
    blocks.extend(Alert("caution", words) for words in found.doubtful)
    blocks.extend(Alert("caution", words) for words in _not_signed(found))
    if listed:
        blocks.append(table(listed, _soon(found, found.shift_end), not printing.round_alone))
        if any(one.tasks for one in listed):
            blocks.append(in_time_order(listed))
    else:
        blocks.append(Paragraph((Sentence("No patient with a port is here at this time, per these records."),)))
    if not printing.round_alone:
        blocks.extend(_words(found, listed, references, printing))
    return Sheet(TITLE, tuple(blocks), cautions=cautions(found.policy), running=_running(found), dense=True)


def _not_signed(found: Handoff) -> Iterator[str]:
    """Yield what was begun for each patient and not signed, so that nothing of it is on the sheet."""
    for one in (*found.here, *found.left):
        for draft in one.drafts:
            whose = ", ".join(filter(None, (one.room and f"room {one.room}", f"{one.name} {one.second}")))
            yield f"Not signed, not on this sheet: {whose}: {draft}."


def _words(found: Handoff, listed: Sequence[Row], references: References, printing: Printing) -> Iterator[Block]:
    """Yield what stands below the round: blocks, what to do if, those who left, room to sign, the sources."""
    shared = _shared(found)
    if found.later:
        yield _named(f"{phrasing.capital(later_says(found))}:", ("; ".join(dict.fromkeys(found.later)),))
    if found.left_out:
        yield _named("Left out:", found.left_out)
    for one in listed:
        if needs_words(one):
            yield _patient(found, one, references, shared)
    if found.left:
        yield Heading("Left the facility, still due")
        yield left_list(found, references)
    last: list[Block] = []
    if shared:
        last.append(_sentences("If-then plan, for all:", tuple(_if_then(one, references) for one in shared)))
    if found.left_before:
        last.append(Paragraph((Sentence(f"{phrasing.capital(left_before_says(found))}."),)))
    last += (Blanks("Rooms", more=("Given by", "Received by", "Date, time")) for _ in range(_SIGNING))
    sources = tuple(_sources(references, printing))
    yield Together((*last, *(block for block in sources if isinstance(block, Fine))))  # no page of signatures alone
    yield from (block for block in sources if not isinstance(block, Fine))


_SIGNING: Final = 3
"""Lines to sign on: one for each nurse who takes over a part of the patients."""


def _sources(references: References, printing: Printing) -> Iterator[Block]:
    changed = references.changed()
    if changed:
        yield Fine("Changed by facility policy:", tuple(f"{words}." for words in changed))
    if printing.full_sources:
        told = references.rows()
        if told:
            yield Table(("No.", "In force", "Source"), told, (6, 42, 52), "Where the limits come from")
    elif brief := references.brief():
        yield Fine("Where the limits come from:", brief)


def later_says(found: Handoff) -> str:
    """Return how many records are left out because their stay begins after the moment judged from; "" for none."""
    return f"stay begins later, left out: {phrasing.count(len(found.later), 'record')}" if found.later else ""


def left_before_says(found: Handoff) -> str:
    """Return how many who left are no longer listed; "" for none."""
    if not found.left_before:
        return ""
    count = phrasing.count(len(found.left_before), "patient")
    return f"{count} left earlier or with someone named to care for the port: `lda-notes handoff --left` lists all"


def _named(label: str, said: tuple[str, ...]) -> Paragraph:
    return Paragraph(tuple(Sentence(f"{words}.") for words in said), label)


def _handed_over(found: Handoff) -> str:
    if found.since_known:
        marked = "then" if found.marked in (None, found.since) else _soon(found, found.marked or found.since)
        return f"; last handoff {_soon(found, found.since)}, changes since {marked} are marked"
    return f"; changes since {_soon(found, found.since)} are marked"


def _head(found: Handoff, printing: Printing, gone: int | None = None) -> Paragraph:
    """Return what the sheet is about; ``gone`` counts those who left, on their own list."""
    facility = found.policy.facility
    units = _units(found)
    zones = found.zones
    count = f"Patients: {len(found.here)}{f', {units}' if units else ''}."
    said = [
        f"{_in_full(found, found.asof)}{_printed(found, printing)}.",
        *(
            [f"Patients who left: {gone}."]
            if gone is not None
            else [f"The coming shift ends {_soon(found, found.shift_end)}{_handed_over(found)}.", count]
        ),
        f"Times: {zones[0].key if len(zones) == 1 else 'each in the time zone named with the patient'}.",
        f"Limits: {f'changed by {facility.text()}' if facility else 'as published'}.",
    ]
    return Paragraph(tuple(Sentence(words) for words in said), "As of")


def _printed(found: Handoff, printing: Printing) -> str:
    if printing.at is None:
        return ""
    words = Wording(found.zones[0], found.asof)
    return f"; printed {words.soon(printing.at)}{f' by {printing.by}' if printing.by else ''}"


def _soon(found: Handoff, moment: datetime) -> str:
    """Return a moment in each zone of the sheet, with its day only where that is another."""
    said = [(Wording(zone, found.asof).soon(moment), zone.key) for zone in found.zones]
    return said[0][0] if len(said) == 1 else ", ".join(f"{words} {zone}" for words, zone in said)


def _in_full(found: Handoff, moment: datetime) -> str:
    """Return a moment in each zone of the sheet, the zones named where there are several."""
    zones = found.zones
    if len(zones) == 1:
        return Wording(zones[0], found.asof).in_full(moment)
    return "; ".join(f"{Wording(zone, found.asof).in_full(moment)} {zone.key}" for zone in zones)


def _zone(found: Handoff, patient: PatientFacts) -> str:
    """Return the patient's time zone as it follows a name, where the sheet has several."""
    return f"; times of {patient.wording.zone.key}" if len(found.zones) > 1 else ""


def _running(found: Handoff) -> str:
    return phrasing.capital(f"{_units(found)}; as of {_in_full(found, found.asof)}".removeprefix("; "))


def _units(found: Handoff) -> str:
    return ", ".join(dict.fromkeys(patient.unit for patient in found.here if patient.unit))


# -- a block --


def _patient(found: Handoff, one: Row, references: References, shared: Sequence[Contingency]) -> Together:
    patient = one.patient
    units = len({other.unit for other in found.here}) > 1
    place = (patient.unit if units else "", f"room {patient.room}" if patient.room else "")
    room = phrasing.capital(", ".join(filter(None, place)) + ": ") if any(place) else ""
    who = ", ".join((*patient.identifiers, f"born {patient.born}", *([patient.child] if patient.child else [])))
    blocks: list[Block] = [Heading(f"{room}{patient.name}; {who}{_zone(found, patient)}", anchor=anchor(patient))]
    if one.warned:
        blocks.append(Alert("mark", "\n".join(warned.text for warned in one.warned)))
    said: list[tuple[str, tuple[str, ...]]] = [
        ("Since the last sheet:", tuple(change.says for change in patient.changes if not change.routine)),
        *((f"In the port{of(patient, line)}:", tuple(_facts(line.facts))) for line in patient.lines[:-1]),
        (f"In the port{of(patient, patient.lines[-1])}:", (*_facts(patient.lines[-1].facts), *_port(patient))),
        ("Precautions:", tuple(_cares(patient, references))),
        ("Due:", tuple(_due(found, patient, action, references) for action in patient.actions)),
        ("Problems, latest first:", tuple(problem.says for problem in patient.open_problems)),
        ("Pending:", patient.pending),
        ("Needs attention:", patient.unsafe),
        ("If-then plan:", tuple(_if_then(c, references) for c in patient.contingencies if c not in shared)),
        ("Not recorded:", _some(patient.gaps)),
        ("Given:", tuple(_given(patient))),
    ]
    blocks.extend(_sentences(label, words) for label, words in said if words)
    return Together(tuple(blocks))


def _sentences(label: str, words: Sequence[str]) -> Paragraph:
    return Paragraph(tuple(Sentence(f"{phrasing.capital(word).rstrip('.')}.") for word in words), label)


def _facts(facts: Sequence[Told]) -> Iterator[str]:
    """Yield facts as statements; those of one time and author together."""
    by_author: dict[str, list[str]] = {}
    for fact in facts:
        by_author.setdefault(fact.told, []).append(f"{fact.label}: {fact.value}")
    for told, said in by_author.items():
        yield "; ".join(said) + (f" ({told})" if told else "")


def _port(patient: PatientFacts) -> tuple[str, ...]:
    return (patient.port, *([f"accessed for {patient.reason}"] if patient.reason else []))


def _cares(patient: PatientFacts, references: References) -> Iterator[str]:
    for one in patient.precautions:
        yield f"{one.reason}: {one.says}{references.mark((one.basis,))}"


def _due(found: Handoff, patient: PatientFacts, action: Action, references: References) -> str:
    """Return what is due and by when; why, for what this shift has to do."""
    act = f"{action.act}{of(patient, action)}"
    soon = action.by is None or action.by.astimezone(UTC) <= found.shift_end.astimezone(UTC)
    why = f" ({action.why})" if soon else ""
    return f"{act}: {when_due(patient.wording, action)}{why}{references.mark(action.basis)}"


def _if_then(one: Contingency, references: References) -> str:
    return f"If {one.when}, then {one.then}{references.mark(one.basis)}"


def _some(items: tuple[str, ...]) -> tuple[str, ...]:
    more = len(items) - _SHOWN
    return (*items[:_SHOWN], f"and {more} more: `lda-notes check` lists them") if more > 0 else items


def _given(patient: PatientFacts) -> Iterator[str]:
    """Yield what was given since the last sheet and today; `lda-notes amounts` has the rest."""
    for added in patient.amounts:
        text = amounts_text(added.sums, added.kg)
        if text != "nothing" and added.septum is None:
            yield f"{added.over} (from {patient.wording.when(added.start)}): {text}"


def _shared(found: Handoff) -> tuple[Contingency, ...]:
    """Return what is to be done in several patients, or in any with a needle: the sheet says it once for all."""
    several = Counter(one for patient in found.here for one in patient.contingencies)
    usual = every_line(found.policy)
    return tuple(one for one, count in several.items() if count > 1 or one in usual)


# -- who left --


def left_list(found: Handoff, references: References) -> Table:
    """Return those who have left, a row each: what the port still needs, and who sees to it."""
    return Table(
        ("Patient", "Left", "To know", "Due, and by whom"),
        tuple(_left_row(found, patient, references) for patient in found.left),
        (13, 12, 57, 18),
        "Still listed: no one has taken over what is due, or a needle, a hold or a danger remains",
    )


def _left_row(found: Handoff, patient: PatientFacts, references: References) -> tuple[str, ...]:
    room = f", room {patient.room}" if patient.room else ""
    due_then = [
        f"{action.act}{of(patient, action)}: {when_due(patient.wording, action)}, {action.owner}; "
        f"{action.why}{references.mark(action.basis)}"
        for action in patient.actions
    ]
    return (
        f"{patient.name}; {', '.join(patient.identifiers)}{_zone(found, patient)}",
        f"{patient.unit}{room}: {patient.left}".removeprefix(": "),
        ". ".join(left_to_know(patient)),
        ". ".join(due_then) or "Nothing due",
    )


def left_sheet(found: Handoff, printing: Printing = _ALL) -> Sheet:
    """Return the call list: everyone who left, what the port still needs, most overdue first, with room to write."""
    gone = sorted((*found.left, *found.left_before), key=lambda patient: patient.first_due)
    blocks: list[Block] = [_head(found, printing, len(gone))]
    if gone:
        blocks.append(
            Table(
                ("Patient", "Left", "Due", "Responsible", "Called, answer"),
                tuple(_call(patient) for patient in gone),
                (20, 18, 36, 13, 13),
                "Whom to call about the port, most overdue first",
            )
        )
    else:
        blocks.append(Paragraph((Sentence("No patient has left, by these records."),)))
    return Sheet(LEFT_TITLE, tuple(blocks), cautions=cautions(found.policy), running=_running(found), dense=True)


def _call(patient: PatientFacts) -> tuple[str | tuple[Line, ...], ...]:
    due = tuple(
        Line(
            f"{short(action)}{of(patient, action)}: {when_due(patient.wording, action)}",
            strong=action.late,
            box=True,
        )
        for action in patient.actions
    )
    warned = tuple(Line(one.text, strong=True) for one in warnings(patient))
    return (
        (
            *map(Line, filter(None, (patient.name, patient.second, patient.child))),
            *(Line(said, bold=True) for said in patient.allergy_lines),
        ),
        patient.left,
        (*warned, *due, *map(Line, still_open(patient))) or "Nothing due",
        ", ".join(dict.fromkeys(action.owner for action in patient.actions)) or "nobody named",
        "",
    )


__all__ = ["Handoff", "Printing", "Source", "Urgency", "handoff", "later_says", "left_sheet", "round_rows", "sheet"]
