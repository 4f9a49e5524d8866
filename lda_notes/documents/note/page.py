"""The note: the narrative of one or more events, with what is not recorded, holds first, and who signs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.check.judged import Judged
from lda_notes.check.rule_table import silenced_words
from lda_notes.documents.blocks import Alert, Block, Bullets, Heading, Pairs, Sheet, Signature, Together
from lda_notes.documents.handoff.line import named_as_unread
from lda_notes.documents.note import corrections as corrections
from lda_notes.documents.note import facts as told
from lda_notes.documents.note.corrections import Family
from lda_notes.documents.note.scene import Scene, at
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.timeline import Danger, Entry, Hold, Timeline
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import Computed, Facts, event_facts, plain
from lda_notes.narrative.narrator import Narrator, View
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.problems import Finding, Path
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient
from lda_notes.record.unread import Unread, about, absent, notice

CAUTIONS: Final = (
    "Written from the record by lda-notes, which records and computes; it gives no order and makes no judgement.",
    "Facility policy, prescriber orders and licensed judgement come first. Read it through before you sign.",
)

_DRAFTING: Final = frozenset({"unsafe", "wrong", "gap"})
"""Severities that keep a note from being signed."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which events a note is about: one by identifier, those since a moment, or every one; else the last."""

    event: str | None = None
    since: datetime | None = None
    every: bool = False


@dataclass(frozen=True, slots=True)
class _Desk:
    """What the writing of one note needs at hand."""

    judged: Judged
    timeline: Timeline
    policy: Policy
    zone: ZoneInfo
    narrator: Narrator


def identifiers(timeline: Timeline) -> tuple[str, ...]:
    """Return the identifier of every event that a note can be asked for, in order of time."""
    return tuple(
        entry.event.id for family in corrections.families(timeline) for entry in (family.entry, *family.corrections)
    )


def sheet(judged: Judged, policy: Policy, choice: Choice, narrator: Narrator) -> Sheet:
    """Return the note of the chosen events of a checked record that has a timeline.

    A choice that fits no event gives a sheet without sections. Raises `Failure` for a faulty template alone.
    """
    timeline = judged.timeline
    if timeline is None:
        raise ValueError("the record has no readable episode")
    desk = _Desk(judged, timeline, policy, due.zone_of(timeline), narrator)
    families = chosen(timeline, choice)
    unread = _unread_facts(desk, families)
    findings = _findings(desk, families)
    relevant = tuple(finding for rows in findings.values() for finding in rows)
    draft = bool(relevant or unread or judged.record.unread)
    blocks: list[Block] = [*_hold_alerts(desk, families)]
    if draft:
        blocks.append(Alert("draft", _draft_words(relevant, len(unread), len(judged.record.unread))))
    blocks.extend(Alert("caution", notice(fact)) for fact in unread)
    blocks.append(_patient(desk, families))
    blocks.extend(_unread(judged))
    for family in families:
        blocks.extend(_section(desk, family))
        blocks.extend(_missing(findings.get(family.entry.index, ())))
    blocks.extend(_missing(findings.get(-1, ()), "In the whole record, "))
    blocks.extend(_seal(judged))
    return Sheet(
        "Implanted port note",
        tuple(blocks),
        status="DRAFT" if draft else "",
        cautions=(*CAUTIONS, *silenced_words(desk.policy)),
        running=_running(timeline),
    )


def chosen(timeline: Timeline, choice: Choice) -> tuple[Family, ...]:
    """Return the events that a choice means, each with its corrections."""
    families = corrections.families(timeline)
    if choice.event is not None:
        return tuple(
            family if family.entry.event.id == choice.event else Family(entry, of=family)
            for family in families
            for entry in (family.entry, *family.corrections)
            if entry.event.id == choice.event
        )
    if choice.since is not None:
        since = choice.since
        return tuple(f for f in families if any(e.event.at >= since for e in (f.entry, *f.corrections)))
    return families if choice.every else families[-1:]


# -- what comes before the sections --


def _hold_alerts(desk: _Desk, chosen: tuple[Family, ...]) -> Iterator[Alert]:
    """Yield an alert for every line that is on hold now, or was right after the last of the chosen events."""
    if not chosen:
        return
    last = max(family.entry.event.at for family in chosen)
    for septum in desk.timeline.episode.port.septa:
        state = desk.timeline.state_at(septum, max(last, desk.timeline.asof))
        now, then = state.holds, desk.timeline.state_at(septum, last).holds
        where = f", {phrasing.label(septum)} septum" if len(desk.timeline.episode.port.septa) > 1 else ""
        if now:
            yield Alert("stop", f"LINE ON HOLD{where}: {_hold_words(desk, now)}")
        for hold in then:
            if hold.reason not in {one.reason for one in now}:
                yield Alert("caution", f"LINE WAS ON HOLD when this was done{where}, {_past_hold_words(desk, hold)}")
        for danger in state.dangers:
            if named_as_unread(danger):
                continue
            yield Alert("caution", f"{phrasing.capital(danger.what)}{where}{_danger_words(desk, danger)}")
        for limit in state.limits:
            since = phrasing.moment(limit.began.event.at, desk.zone)
            yield Alert("caution", f"By evaluation{where}: {limit.what}, since {since}")


def _danger_words(desk: _Desk, danger: Danger) -> str:
    since = f", since {phrasing.moment(danger.since, desk.zone)}" if danger.since is not None else ""
    return since + (f". Not allowed meanwhile: {danger.forbids}." if danger.forbids else ".")


def _hold_words(desk: _Desk, holds: tuple[Hold, ...]) -> str:
    ends_with = told.hold_ends_with(holds)
    began = phrasing.listed(tuple(_began(desk, hold) for hold in holds))
    return f"not to be used since {began}. Only {ends_with} ends {'the hold' if len(holds) == 1 else 'the holds'}."


def _past_hold_words(desk: _Desk, hold: Hold) -> str:
    """Say when a hold of the past began and ended: whoever reads the note now may not take it for one that lasts."""
    stays = desk.timeline.holds[hold.septum]
    same = (stay for stay in stays if stay.began is hold.began and stay.reason == hold.reason)
    ended = next((stay.ended for stay in same if stay.ended is not None), None)
    if ended is None:
        return f"from {_began(desk, hold)}"
    kind = ended.event.titled.lower()
    until = phrasing.moment(ended.event.at, desk.zone)
    return f"from {_began(desk, hold)}; the hold ended {until}, with the {kind}."


def _began(desk: _Desk, hold: Hold) -> str:
    return f"{phrasing.moment(hold.since, desk.zone)} ({hold.sign})"


def _draft_words(findings: tuple[Finding, ...], facts: int, events: int) -> str:
    gaps = sum(finding.severity == "gap" for finding in findings)
    others = len(findings) - gaps
    parts = [
        *(["facts are not recorded"] if gaps else []),
        *([f"the check has {phrasing.count(others, 'other finding')}"] if others else []),
        *([f"{phrasing.count(facts, 'fact')} could not be read"] if facts else []),
        *([f"{phrasing.count(events, 'event')} of the file could not be read"] if events else []),
    ]
    return f"DRAFT, not ready to sign: {phrasing.listed(parts)}; listed below."


def _running(timeline: Timeline) -> str:
    patient = timeline.episode.patient
    lacks = f"birth date {absent(timeline.unread, None, 'patient', 'birth_date')}"
    born = f"born {phrasing.day(patient.birth_date)}" if patient.birth_date else lacks
    return f"{_name(patient)}; {_numbers(timeline)[0][1]}; {born}"


def _name(patient: Patient) -> str:
    return phrasing.on_one_row(f"{patient.family_name}, {patient.given_name}")


def _numbers(timeline: Timeline) -> list[tuple[str, str]]:
    return [
        (
            phrasing.capital(phrasing.on_one_row(row.label)) if row.label else phrasing.on_one_row(row.system),
            phrasing.on_one_row(row.value),
        )
        for row in timeline.episode.patient.identifiers
    ]


def _patient(desk: _Desk, chosen: tuple[Family, ...]) -> Pairs:
    episode = desk.timeline.episode
    patient, stay, port = episode.patient, episode.stay, episode.port
    unread = desk.timeline.unread
    born = absent(unread, None, "patient", "birth_date")
    born = phrasing.day(patient.birth_date) if patient.birth_date else born
    rows = [
        ("Patient", _name(patient)),
        *_numbers(desk.timeline),
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
    rows.append(("Times", f"as in {stay.time_zone.replace('_', ' ')}"))
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


def _unread(judged: Judged) -> Iterator[Block]:
    unread = judged.record.unread
    if not unread:
        return
    yield Bullets(
        tuple(
            f"event {row.index + 1} of the file"
            + (f", {phrasing.label(row.kind)}" if row.kind else "")
            + (f", entry {phrasing.label(row.id)}" if row.id else "")
            for row in unread
        ),
        "Not read, and so missing from all that is said here:",
    )


def _unread_facts(desk: _Desk, chosen: tuple[Family, ...]) -> tuple[Unread, ...]:
    """Return the facts of the chosen events, of patient, stay and port that were written and could not be read."""
    events = {entry.event.id for family in chosen for entry in (family.entry, *family.corrections)}
    every = {
        entry.event.id
        for family in corrections.families(desk.timeline)
        for entry in (family.entry, *family.corrections)
    }
    return tuple(fact for fact in desk.timeline.unread if fact.event in events or fact.event not in every)


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


def _section(desk: _Desk, family: Family) -> Iterator[Block]:
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
    withdrawn = {row.event.of for row in family.corrections if isinstance(row.event, ev.Retraction)}
    for correction in family.corrections:
        if isinstance(correction.event, ev.Retraction) or correction.event.id not in withdrawn:
            yield Heading(_correction_title(desk, correction), 3)
            yield from _told(desk, correction, family)
    if amended:
        yield Heading("As first charted, kept for the record", 3)
        first = Entry(entry.index, entry.original, entry.original)
        yield from _narrative(desk, Scene(desk.timeline, desk.policy, desk.zone, first, None), family)


def _correction_title(desk: _Desk, correction: Entry) -> str:
    kind = correction.event.titled
    return f"{kind}, {phrasing.moment(correction.event.at, desk.zone)}"


def _corrected(desk: _Desk, family: Family, amended: bool) -> Sentence:
    """Say first that an entry does not read as it was first charted."""
    rows = corrections.applied(family)
    said = phrasing.listed(
        [f"{row.event.titled.lower()} of {phrasing.moment(row.event.at, desk.zone)}" for row in rows]
    )
    ends = "what was first charted stands at the end" if amended else "what was added stands after it"
    facts = tuple(at(row, key) for row in rows for key in ("kind", "at"))
    return Sentence(f"CORRECTED: this entry reads as changed by {said}; {ends}.", facts)


def _told(desk: _Desk, entry: Entry, family: Family) -> Iterator[Block]:
    step = next((step for step in desk.timeline.steps if step.entry.index == entry.index), None)
    scene = Scene(desk.timeline, desk.policy, desk.zone, entry, step)
    paragraphs = _narrative(desk, scene, family)
    yield from paragraphs[:-1]
    yield Together((*paragraphs[-1:], *_signatures(desk, entry.event)))  # no signature on a page of its own


def _narrative(desk: _Desk, scene: Scene, family: Family) -> tuple[Paragraph, ...]:
    paths: list[Path] = []
    episode = desk.timeline.episode
    event = event_facts(scene.event, scene.entry.index, paths)
    values = {**told.values(scene), **corrections.values(scene, family)}
    view = View(
        event,
        Facts(plain(episode.patient), ("patient",), type(episode.patient), paths),
        Facts(plain(episode.port), ("port",), type(episode.port), paths),
        Facts(plain(episode.stay), ("stay",), type(episode.stay), paths),
        Computed(values, paths),
        paths,
        desk.zone,
        lambda written: told.reasons_left(scene, paths, written),
        lambda written: told.facts_left(scene, paths, written),
    )
    narrative = desk.narrator.narrate(scene.event.kind, view)
    if scene.step is None:  # an original or a correction: its facts stand where they were written
        return narrative.paragraphs
    return tuple(_standing(desk.timeline, paragraph) for paragraph in narrative.paragraphs)


def _standing(timeline: Timeline, paragraph: Paragraph) -> Paragraph:
    """Return a paragraph with the facts of its sentences where they are written now, corrections heeded."""
    return replace(
        paragraph,
        sentences=tuple(
            replace(said, facts=tuple(corrections.standing(timeline, path) for path in said.facts))
            for said in paragraph.sentences
        ),
    )


def _signatures(desk: _Desk, event: ev.Event) -> Iterator[Signature]:
    when = f"event {phrasing.moment(event.at, desk.zone)}"
    if event.charted_at is not None and event.charted_at != event.at:
        when += f"; entered {phrasing.moment(event.charted_at, desk.zone)}"
    yield _signature(event.by, f"{when}; entry {event.id}", "Charted by")
    if event.verified_by is not None:
        yield _signature(event.verified_by, "", "Verified by")


def _signature(who: Any, when: str, role: str) -> Signature:
    name = phrasing.on_one_row(who.name if who and who.name else "")
    signs = [who.credential, who.id] if who else []
    credential = ", ".join(phrasing.label(sign) for sign in signs if sign)
    return Signature(name, credential, when, role)


# -- what is not recorded --


def _findings(desk: _Desk, chosen: tuple[Family, ...]) -> dict[int, tuple[Finding, ...]]:
    """Return the findings that keep the chosen events from being signed, by the entry they are about; -1 for none."""
    home = {entry.index: family.entry.index for family in chosen for entry in (family.entry, *family.corrections)}
    named = {fact.path for fact in desk.timeline.unread}  # each says so itself, at the top
    rows: dict[int, list[Finding]] = {}
    for finding in desk.judged.findings:
        if finding.severity not in _DRAFTING or (finding.rule in _OF_READING and finding.path in named):
            continue
        index = _index(desk, finding)
        if index is None:
            rows.setdefault(-1, []).append(finding)
        elif index in home:
            rows.setdefault(home[index], []).append(finding)
    return {index: tuple(found) for index, found in rows.items()}


def _index(desk: _Desk, finding: Finding) -> int | None:
    """Return the position of the event that a finding is about; None when it is about the record as a whole."""
    path = finding.path
    if len(path) < 2 or path[0] != "events" or not isinstance(path[1], int):
        return None
    positions = desk.judged.record.positions
    if positions is not None and finding.rule in _OF_READING:  # these count the events as the file does
        return positions.index(path[1]) if path[1] in positions else None
    return path[1]


_OF_READING: Final = frozenset({"record-layout", "correction-unreadable"})
_NOT_RECORDED: Final = "not recorded for this "


def _missing(findings: tuple[Finding, ...], where: str = "") -> Iterator[Block]:
    gaps = tuple(dict.fromkeys(_gap(f) for f in findings if f.severity == "gap"))
    others = tuple(
        dict.fromkeys(f"{phrasing.capital(f.message)}. To do: {f.todo}." for f in findings if f.severity != "gap")
    )
    if gaps:
        yield Bullets(gaps, phrasing.capital(f"{where}not recorded:") if where else "Not recorded:")
    if others:
        yield Bullets(others, phrasing.capital(f"{where}found by the check:") if where else "Found by the check:")


def _gap(finding: Finding) -> str:
    """Return a gap in the words of the check, without the preamble that the list itself gives."""
    said = finding.message
    if said.startswith(_NOT_RECORDED):
        said = said.partition(": ")[2]
    return phrasing.capital(f"{said} ({finding.todo})")
