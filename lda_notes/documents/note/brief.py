"""The brief note: one event as one paragraph to paste, from the same facts, with what is not chart text beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lda_notes.check.judged import Judged
from lda_notes.documents.blocks import Bullets
from lda_notes.documents.note import beside, corrections, visits
from lda_notes.documents.note.corrections import Family
from lda_notes.documents.note.desk import Choice, Desk, chosen, narrated
from lda_notes.documents.note.scene import at
from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry
from lda_notes.narrative import phrasing
from lda_notes.narrative.narrator import Narrator
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.record import events as ev
from lda_notes.record.unread import Unread, notice


@dataclass(frozen=True, slots=True)
class Brief:
    """A note to paste: one paragraph an event, and beside it what is not part of the chart text."""

    paragraphs: tuple[Paragraph, ...]
    beside: tuple[str, ...]
    unread: bool


_BRIEF: Final = frozenset(
    {
        "access",
        "arrival accessed",
        "de-access",
        "dressing change",
        "flush",
        "line check",
        "line use",
        "patency check",
        "patency treatment",
        "needle dislodged",
        "extravasation care",
        "evaluation",
    }
)
"""Kinds with a short wording of their own; the full narrative of every other kind is short."""


MOST_WORDS: Final = 110
"""Words of a paragraph beyond which routine is left to the full note."""


def brief(judged: Judged, policy: Policy, choice: Choice, narrator: Narrator) -> Brief:
    """Return the chosen events as one paragraph each, and apart from them holds, dangers and findings of the check.

    The record has a timeline. Raises `Failure` for a faulty template alone.
    """
    desk = Desk.of(judged, policy, narrator)
    families = chosen(desk.timeline, choice, desk.policy)
    unread = beside.unread_facts(desk, families)
    lists = (
        *beside.unread_events(judged),
        *beside.not_of_the_note(desk, families, beside.findings(desk, families)),
    )
    return Brief(
        tuple(_paragraph(desk, visit, unread) for visit in visits.grouped(desk.timeline, desk.policy, families)),
        (
            *(alert.text for alert in beside.hold_alerts(desk, families)),
            *(f"{block.label} {item}" for block in lists if isinstance(block, Bullets) for item in block.items),
        ),
        bool(unread or judged.record.unread_events),
    )


def _paragraph(desk: Desk, visit: visits.Visit, unread: tuple[Unread, ...]) -> Paragraph:
    """Return the entries of one visit, or a single one, as one paragraph that ends with who signs."""
    said = [sentence for family in visit for sentence in _told(desk, family, unread)]
    if visit[0].entry.retraction is None:
        said.append(_charted_by(*(family.entry for family in visit)))
    said.extend(
        Sentence(f"Co-signed by {phrasing.person(row.event.by)}{_as_what(row)}.", (at(row, "by"),))
        for family in visit
        for row in family.corrections
        if isinstance(row.event, ev.CoSignature) and row.event.by is not None
    )
    return Paragraph(_within(said))


_ONCE: Final = {"site", "pain", "response"}
"""Facts of a visit that are said once where they stay the same."""


def _within(said: list[Sentence]) -> tuple[Sentence, ...]:
    """Return the sentences without what a visit says twice, and without so many spare ones that `MOST_WORDS` is kept.

    The longest goes first. What is not routine is never left out, however long it is: a hold, a danger, a
    complication, who was notified.
    """
    kept: list[Sentence] = []
    for one in said:
        again = any(one.text == other.text for other in kept)
        if not (again and (one.spare or {path[2] for path in one.facts if len(path) > 2} <= _ONCE)):
            kept.append(one)
    spare = sorted((one for one in kept if one.spare), key=_words)
    while spare and sum(map(_words, kept)) > MOST_WORDS:
        kept.remove(spare.pop())
    return tuple(kept)


def _words(sentence: Sentence) -> int:
    return len(sentence.text.split())


def _told(desk: Desk, family: Family, unread: tuple[Unread, ...]) -> list[Sentence]:
    entry = family.entry
    said = [Sentence(notice(fact), (fact.path,)) for fact in unread if fact.event in (entry.event.id, None)]
    if entry.retraction is not None:
        rows = tuple(row for row in family.corrections if isinstance(row.event, ev.Retraction))
    else:
        rows = (entry,)
        applied = corrections.applied(family)
        if applied:
            said.append(_corrected(desk, applied))
    for row in rows:
        for paragraph in narrated(desk, desk.scene(row), family, "brief" if row.event.kind in _BRIEF else ""):
            said.extend(paragraph.sentences)
        if row is not entry:
            said.append(_charted_by(row))
    return said


def _as_what(row: Entry) -> str:
    role = getattr(row.event, "role", None)
    return f", {role}" if role else ""


def _corrected(desk: Desk, rows: tuple[Entry, ...]) -> Sentence:
    said = phrasing.listed(
        [f"{row.event.titled.lower()} of {phrasing.moment(row.event.at, desk.zone)}" for row in rows]
    )
    return Sentence(f"CORRECTED by {said}.", tuple(at(row, key) for row in rows for key in ("kind", "at")))


def _charted_by(*entries: Entry) -> Sentence:
    first, *_ = (entry.event for entry in entries)
    who = (phrasing.person(first.by) if first.by else "") or "Author not recorded"
    verifiers = dict.fromkeys(entry.event.verified_by for entry in entries if entry.event.verified_by)
    verified = f"; verified by {phrasing.listed([phrasing.person(one) for one in verifiers])}" if verifiers else ""
    return Sentence(f"{who}{verified}.", tuple(at(entry, "by") for entry in entries))
