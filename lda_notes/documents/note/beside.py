"""Text beside a note that is not part of it: holds and dangers, what could not be read, findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from lda_notes.check.judged import Judged
from lda_notes.documents.blocks import Alert, Block, Bullets, Heading
from lda_notes.documents.handoff.line import named_as_unread
from lda_notes.documents.note import corrections
from lda_notes.documents.note.corrections import Family
from lda_notes.documents.note.desk import Desk
from lda_notes.line.holds import common_ends_in_words
from lda_notes.line.states import Danger, Hold
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record.unread import Unread

Findings = Mapping[int, tuple[Finding, ...]]
"""Findings by the position of the entry that they are about."""

WHOLE: Final = -1
"""Stands for the position of an entry where a finding is about the record as a whole."""

_DRAFTING: Final = frozenset({"unsafe", "wrong", "gap"})
"""Severities that keep a note from being signed."""


def hold_alerts(desk: Desk, chosen: tuple[Family, ...]) -> Iterator[Alert]:
    """Yield an alert for every line that is on hold now, or was right after the last of the chosen events."""
    if not chosen:
        return
    last = max(family.entry.event.at for family in chosen)
    own = {family.entry.index for family in chosen}
    for septum in desk.timeline.episode.port.septa:
        state = desk.timeline.state_at(septum, max(last, desk.timeline.asof))
        now, then = state.holds, desk.timeline.state_at(septum, last).holds
        where = f", {phrasing.label(septum)} septum" if len(desk.timeline.episode.port.septa) > 1 else ""
        if now:
            yield Alert("stop", f"LINE ON HOLD{where}: {_hold_words(desk, now)}")
        for hold in then:
            if hold.reason not in {one.reason for one in now}:
                begun = hold.began is not None and hold.began.index in own
                then_was = "LINE WENT ON HOLD with this" if begun else "LINE WAS ON HOLD when this was done"
                yield Alert("caution", f"{then_was}{where}, {_past_hold_words(desk, hold)}")
        for danger in state.dangers:
            if named_as_unread(danger):
                continue
            yield Alert("caution", f"{phrasing.capital(danger.what)}{where}{_danger_words(desk, danger)}")
        for limit in state.limits:
            since = phrasing.moment(limit.began.event.at, desk.zone)
            yield Alert("caution", f"By evaluation{where}: {limit.what}, since {since}")


def _danger_words(desk: Desk, danger: Danger) -> str:
    since = f", since {phrasing.moment(danger.since, desk.zone)}" if danger.since is not None else ""
    return since + (f". Not allowed meanwhile: {danger.forbids}." if danger.forbids else ".")


def _hold_words(desk: Desk, holds: tuple[Hold, ...]) -> str:
    ends_with = phrasing.listed(common_ends_in_words(holds), "or")
    signs: dict[str, list[str]] = {}
    for hold in holds:
        signs.setdefault(phrasing.moment(hold.since, desk.zone), []).append(hold.sign)
    began = phrasing.listed([f"{since} ({phrasing.listed(why)})" for since, why in signs.items()])
    return f"not to be used since {began}. Only {ends_with} ends {'the hold' if len(holds) == 1 else 'the holds'}."


def _past_hold_words(desk: Desk, hold: Hold) -> str:
    """Say when a hold of the past began and ended: whoever reads the note now may not take it for one that lasts."""
    stays = desk.timeline.holds[hold.septum]
    same = (stay for stay in stays if stay.began is hold.began and stay.reason == hold.reason)
    ended = next((stay.ended for stay in same if stay.ended is not None), None)
    if ended is None:
        return f"from {_began(desk, hold)}"
    kind = ended.event.titled.lower()
    until = phrasing.moment(ended.event.at, desk.zone)
    return f"from {_began(desk, hold)}; the hold ended {until}, with the {kind}."


def _began(desk: Desk, hold: Hold) -> str:
    return f"{phrasing.moment(hold.since, desk.zone)} ({hold.sign})"


def draft_words(findings: tuple[Finding, ...], facts: int, events: int) -> str:
    """Say what makes a note a draft."""
    gaps = sum(finding.severity == "gap" for finding in findings)
    others = len(findings) - gaps
    parts = [
        *(["facts are not recorded"] if gaps else []),
        *([f"the check has {phrasing.count(others, 'other finding')}"] if others else []),
        *([f"{phrasing.count(facts, 'fact')} could not be read"] if facts else []),
        *([f"{phrasing.count(events, 'event')} of the file could not be read"] if events else []),
    ]
    return f"DRAFT, not ready to sign: {phrasing.listed(parts)}; listed at the end."


def unread_events(judged: Judged) -> Iterator[Block]:
    """Yield the list of the events of the file that could not be read."""
    unread = judged.record.unread_events
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


def unread_facts(desk: Desk, chosen: tuple[Family, ...]) -> tuple[Unread, ...]:
    """Return the facts of the chosen events, of patient, stay and port that were written and could not be read."""
    if not desk.timeline.unread:
        return ()
    events = {entry.event.id for family in chosen for entry in (family.entry, *family.corrections)}
    every = {
        entry.event.id
        for family in corrections.families(desk.timeline)
        for entry in (family.entry, *family.corrections)
    }
    return tuple(fact for fact in desk.timeline.unread if fact.event in events or fact.event not in every)


# -- what is not recorded --


def findings(desk: Desk, chosen: tuple[Family, ...]) -> Findings:
    """Return the findings that keep the chosen events from being signed, by the entry they are about."""
    home = {entry.index: family.entry.index for family in chosen for entry in (family.entry, *family.corrections)}
    named = {fact.path for fact in desk.timeline.unread}  # each says so itself, at the top
    rows: dict[int, list[Finding]] = {}
    for finding in desk.judged.findings:
        if finding.severity not in _DRAFTING or (finding.rule in _OF_READING and finding.path in named):
            continue
        index = _index(desk, finding)
        if index is None:
            rows.setdefault(WHOLE, []).append(finding)
        elif index in home:
            rows.setdefault(home[index], []).append(finding)
    return {index: tuple(found) for index, found in rows.items()}


def _index(desk: Desk, finding: Finding) -> int | None:
    """Return the position of the event that a finding is about; None when it is about the record as a whole."""
    path = finding.path
    if len(path) < 2 or path[0] != "events" or not isinstance(path[1], int):
        return None
    positions = desk.judged.record.positions
    if positions is not None and finding.rule in _OF_READING:  # these count the events as the file does
        return positions.index(path[1]) if path[1] in positions else None
    return path[1]


_OF_READING: Final = frozenset({"record-layout", "correction-unreadable"})


def not_of_the_note(desk: Desk, chosen: tuple[Family, ...], found: Findings) -> Iterator[Block]:
    """Yield what the check reports, apart from the chart text and below it, so that a draft can be pasted without."""
    if not found:
        return
    yield Heading("For the writer, not part of the note: settle before you sign")
    for family in chosen:
        event = family.entry.event
        of = f"{event.titled}, {phrasing.moment(event.at, desk.zone)}: " if len(chosen) > 1 else ""
        yield from _lists(found.get(family.entry.index, ()), of, event.noun)
    yield from _lists(found.get(WHOLE, ()), "In the whole record, ")


def _lists(findings: tuple[Finding, ...], where: str, noun: str = "") -> Iterator[Bullets]:
    gaps = tuple(dict.fromkeys(_gap(f, noun) for f in findings if f.severity == "gap"))
    others = tuple(dict.fromkeys(_to_do(f) for f in findings if f.severity != "gap"))
    if gaps:
        yield Bullets(gaps, phrasing.capital(f"{where}not recorded:"))
    if others:
        yield Bullets(others, phrasing.capital(f"{where}found by the check:"))


def _to_do(finding: Finding) -> str:
    """Return a finding and what to do, two sentences; those of the reading end in a stop of their own."""
    return f"{phrasing.capital(finding.message.rstrip('.'))}. To do: {finding.todo.rstrip('.')}."


def _gap(finding: Finding, noun: str) -> str:
    """Return a gap without what the list itself says; one of a correction, or of the whole record, names it."""
    gap = finding.gap
    of = f"{gap.of}: " if gap and gap.of != noun else ""
    said = of + ", ".join(gap.facts) if gap else finding.message
    return phrasing.capital(f"{said} ({finding.todo})")
