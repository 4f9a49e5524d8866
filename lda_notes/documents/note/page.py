"""The note: the narrative of one or more events, with what is not recorded, holds first, and who signs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from lda_notes import __version__
from lda_notes.check.judged import Judged
from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import Alert, Block, Heading, Pairs, Sheet, Signature, Together
from lda_notes.documents.note import beside, corrections, visits
from lda_notes.documents.note.corrections import Family
from lda_notes.documents.note.desk import Choice, Desk, chosen, identifiers, narrated
from lda_notes.documents.note.scene import Scene, at
from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.narrative.narrator import Narrator
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient
from lda_notes.record.unread import about, absent, notice

__all__ = ["CAUTIONS", "Choice", "chosen", "identifiers", "sheet"]

CAUTIONS: Final = (
    "Written from the record by lda-notes, which records and computes; it gives no order and makes no judgment.",
    "Facility policy, prescriber orders and licensed judgment come first. Read it through before you sign.",
)


def sheet(judged: Judged, policy: Policy, choice: Choice, narrator: Narrator) -> Sheet:
    """Return the note of the chosen events of a checked record that has a timeline.

    A choice that fits no event gives a sheet without sections. Raises `Failure` for a faulty template alone.
    """
    desk = Desk.of(judged, policy, narrator, choice.earlier)
    families = chosen(desk.timeline, choice, desk.policy)
    unread = beside.unread_facts(desk, families)
    found = beside.findings(desk, families)
    relevant = tuple(finding for rows in found.values() for finding in rows)
    draft = bool(relevant or unread or judged.record.unread_events)
    blocks: list[Block] = [*beside.hold_alerts(desk, families)]
    if draft:
        blocks.append(Alert("draft", beside.draft_words(relevant, len(unread), len(judged.record.unread_events))))
    blocks.extend(Alert("caution", notice(fact)) for fact in unread)
    blocks.append(_patient(desk, families))
    blocks.extend(beside.unread_events(judged))
    for visit in visits.grouped(desk.timeline, desk.policy, families):
        blocks.extend(_section(desk, visit[0]) if len(visit) == 1 else _visit(desk, visit))
    blocks.extend(_seal(judged))
    blocks.extend(beside.not_of_the_note(desk, families, found))
    return Sheet(
        "Implanted port note",
        tuple(blocks),
        status="DRAFT" if draft else "",
        cautions=(*CAUTIONS, _made_of(families), *silenced_words(desk.policy)),
        running=_running(desk.timeline),
    )


# -- what comes before the sections --


def _made_of(families: tuple[Family, ...]) -> str:
    """Return which version wrote which entries, as the foot of every note says."""
    names = [phrasing.label(family.entry.event.id) for family in families]
    many = len(names) > _MOST_NAMED
    one = "entry" if len(names) == 1 else "entries"
    said = phrasing.count(len(names), "entry", "entries") if many else f"{one} {phrasing.listed(names)}"
    return f"lda-notes {__version__}, {said}."


_MOST_NAMED: Final = 3
"""Entries that the foot of a note names; of more it counts them, and each is named where it is signed."""


def _running(timeline: Timeline) -> str:
    patient = timeline.episode.patient
    lacks = f"birth date {absent(timeline.unread, None, 'patient', 'birth_date')}"
    born = f"born {phrasing.day(patient.birth_date)}" if patient.birth_date else lacks
    return f"{_name(patient)}; {phrasing.on_one_row(patient.identifiers[0].value)}; {born}"


def _name(patient: Patient) -> str:
    return phrasing.on_one_row(f"{patient.family_name}, {patient.given_name}")


def _numbers(timeline: Timeline, policy: Policy) -> list[tuple[str, str]]:
    """Return each record number by its label; where it has none, by what the facility calls its record numbers."""
    (called, *_) = policy.words("record_number_label")
    rows = timeline.episode.patient.identifiers
    return [
        (phrasing.capital(phrasing.on_one_row(row.label or called)), phrasing.on_one_row(row.value)) for row in rows
    ]


def _patient(desk: Desk, chosen: tuple[Family, ...]) -> Pairs:
    episode = desk.timeline.episode
    patient, stay, port = episode.patient, episode.stay, episode.port
    unread = desk.timeline.unread
    born = absent(unread, None, "patient", "birth_date")
    born = phrasing.day(patient.birth_date) if patient.birth_date else born
    rows = [
        ("Patient", _name(patient)),
        *_numbers(desk.timeline, desk.policy),
        (
            "Born",
            phrasing.day(patient.birth_date) if patient.birth_date else absent(unread, None, "patient", "birth_date"),
        ),
        ("Allergies", _allergies(desk.timeline)),
    ]
    if patient.conditions:
        rows.append(("History", phrasing.listed([phrasing.on_one_row(one) for one in patient.conditions])))
    if patient.weight_kg is not None:
        rows.append(("Weight", phrasing.quantity(patient.weight_kg, "kg")))
    unit = desk.timeline.unit_at(chosen[-1].entry.original.at) if chosen else None
    place = [stay.facility, unit.unit if unit else stay.unit]
    room = unit.room if unit else stay.room
    place += [f"room {room}"] if room else []
    rows.append(("Place", phrasing.on_one_row(", ".join(place))))
    site = " ".join(word for word in (port.side, port.area) if word)
    detail = [site] if site else []
    detail += [phrasing.label(port.site_detail)] if port.site_detail else []
    detail += [f"septa {phrasing.listed(tuple(map(phrasing.label, port.septa)))}"] if len(port.septa) > 1 else []
    detail += [f"implanted {phrasing.day(port.implanted_on)}"] if port.implanted_on else []
    rows.append(("Port", ", ".join(detail) or f"site {absent(unread, None, 'port')}"))
    zone = stay.time_zone.replace("_", " ")
    indexes = [family.entry.index for family in chosen]
    rows.append(("Times", zone if indexes == sorted(indexes) else f"{zone}; in order of time, not in file order"))
    return Pairs(tuple(rows))


def _allergies(timeline: Timeline) -> str:
    allergies = timeline.episode.patient.allergies
    if allergies is None:
        return absent(timeline.unread, None, "patient", "allergies")
    said = []
    for allergy in allergies:
        name = phrasing.label(allergy.detail) if allergy.substance == "other" and allergy.detail else allergy.substance
        more = [allergy.detail] if allergy.detail and allergy.substance != "other" else []
        more += [allergy.reaction] if allergy.reaction else []
        said.append(name + (f" ({', '.join(map(phrasing.label, more))})" if more else ""))
    if about(timeline.unread, None, "patient", "allergies"):
        said.append("what could not be read")
    return phrasing.listed(said) or "none known"


def _seal(judged: Judged) -> Iterator[Block]:
    """Yield the digest of the last sealed entry, so that paper and file can be compared."""
    data = judged.record.data
    if not isinstance(data, dict):  # a note that is shown before anything is written
        return
    if all(event.seal is None for event in judged.timeline.episode.events) if judged.timeline is not None else True:
        yield Pairs((("Seal", "unsealed: no entry of this record was signed in lda-notes"),))
        return
    from lda_notes.record import seals

    sealed = seals.last(data)
    if sealed is not None:
        yield Pairs((("Last seal", f"entry {sealed.entry}: {sealed.said()}"),))


# -- one event --


def _section(desk: Desk, family: Family) -> Iterator[Block]:
    entry = family.entry
    title = f"{entry.event.titled}, {phrasing.moment(entry.event.at, desk.zone)}"
    if entry.retraction is not None:
        yield Heading(f"{title}: RETRACTED")
        for correction in family.corrections:
            if isinstance(correction.event, ev.Retraction):
                yield from _told(desk, correction, family)
        return
    yield Heading(title)
    applied = corrections.applied(family)
    amended = any(isinstance(correction.event, ev.Amendment) for correction in applied)
    if applied:
        yield Paragraph((_corrected(desk, family, amended),))
    yield from _told(desk, entry, family)
    yield from _corrections(desk, family, amended)


def _visit(desk: Desk, visit: visits.Visit) -> Iterator[Block]:
    """Yield the entries of one visit as one section under one signature, what was corrected after it."""
    first, last = visit[0].entry.event, visit[-1].entry.event
    until = phrasing.clock(last.at, desk.zone, phrasing.local(first.at, desk.zone).date())
    yield Heading(f"{visits.title(visit)}, {phrasing.moment(first.at, desk.zone)} to {until}")
    said: list[Paragraph] = []
    for family in visit:
        if applied := corrections.applied(family):
            amended = any(isinstance(one.event, ev.Amendment) for one in applied)
            said.append(Paragraph((_corrected(desk, family, amended),)))
        said.extend(narrated(desk, desk.scene(family.entry), family))
    yield from said[:-1]
    yield Together((*said[-1:], *_signatures(desk, *(family.entry.event for family in visit))))
    for family in visit:
        amended = any(isinstance(one.event, ev.Amendment) for one in corrections.applied(family))
        yield from _corrections(desk, family, amended)


def _corrections(desk: Desk, family: Family, amended: bool) -> Iterator[Block]:
    withdrawn = {row.event.of for row in family.corrections if isinstance(row.event, ev.Retraction)}
    for correction in family.corrections:
        if isinstance(correction.event, ev.Retraction) or correction.event.id not in withdrawn:
            yield Heading(_correction_title(desk, correction), 3)
            yield from _told(desk, correction, family)
    if amended:
        yield Heading(
            "As it read before these corrections" if desk.earlier else "As first charted, kept for the record", 3
        )
        first = Entry(family.entry.index, family.entry.original, family.entry.original)
        yield from narrated(desk, Scene(desk.timeline, desk.policy, desk.zone, first, None), family)


def _correction_title(desk: Desk, correction: Entry) -> str:
    kind = correction.event.titled
    return f"{kind}, {phrasing.moment(correction.event.at, desk.zone)}"


def _corrected(desk: Desk, family: Family, amended: bool) -> Sentence:
    """Say first that an entry does not read as it was first charted."""
    rows = corrections.applied(family)
    said = phrasing.listed(
        [f"{row.event.titled.lower()} of {phrasing.moment(row.event.at, desk.zone)}" for row in rows]
    )
    ends = "the original entry appears at the end" if amended else "what was added appears after it"
    if desk.earlier:
        earlier = phrasing.count(desk.earlier, "earlier correction", "earlier corrections")
        said = f"{earlier}, which earlier versions of this note contain, and then by {said}"
        ends = "how it read before those appears at the end" if amended else ends
    facts = tuple(at(row, key) for row in rows for key in ("kind", "at"))
    return Sentence(f"CORRECTED: this entry reads as changed by {said}; {ends}.", facts)


def _told(desk: Desk, entry: Entry, family: Family) -> Iterator[Block]:
    paragraphs = narrated(desk, desk.scene(entry), family)
    yield from paragraphs[:-1]
    yield Together((*paragraphs[-1:], *_signatures(desk, entry.event)))  # no signature on a page of its own


def _signatures(desk: Desk, *events: ev.Event) -> Iterator[Signature]:
    """Yield who signs for an entry, or for those of one visit."""
    first, last = events[0], events[-1]
    when = f"event {phrasing.moment(first.at, desk.zone)}"
    if last.at != first.at:
        when += f" to {phrasing.clock(last.at, desk.zone, phrasing.local(first.at, desk.zone).date())}"
    if last.charted_at is not None and last.charted_at != last.at:
        when += f"; entered {phrasing.moment(last.charted_at, desk.zone)}"
    named = phrasing.listed([event.id for event in events])
    yield _signature(first.by, f"{when}; {'entry' if len(events) == 1 else 'entries'} {named}", "Charted by")
    for verifier in dict.fromkeys(event.verified_by for event in events if event.verified_by is not None):
        yield _signature(verifier, "", "Verified by")


def _signature(who: Any, when: str, role: str) -> Signature:
    name = phrasing.on_one_row(who.name if who and who.name else "")
    signs = [who.credential, who.id] if who else []
    credential = ", ".join(phrasing.label(sign) for sign in signs if sign)
    return Signature(name, credential, when, role)
