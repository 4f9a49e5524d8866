"""The working data for writing one note: the record, the choice of events, and the narrator."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from lda_notes.check.judged import Judged
from lda_notes.documents.note import corrections, visits
from lda_notes.documents.note import facts as told
from lda_notes.documents.note.corrections import Family
from lda_notes.documents.note.scene import Scene
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.narrative.facts import Computed, Facts, event_facts, plain
from lda_notes.narrative.narrator import Narrator, View
from lda_notes.narrative.sentences import Paragraph
from lda_notes.problems import Path


@dataclass(frozen=True, slots=True)
class Choice:
    """Which events a note is about: one by identifier, those since a moment, every one, or some; else the last.

    ``earlier`` corrections of the one are in it already: the versions before this one of its note contain them.
    """

    event: str | None = None
    since: datetime | None = None
    every: bool = False
    some: tuple[str, ...] = ()
    earlier: int = 0


@dataclass(frozen=True, slots=True)
class Desk:
    """The working data for writing one note."""

    judged: Judged
    timeline: Timeline
    policy: Policy
    zone: ZoneInfo
    narrator: Narrator
    earlier: int = 0

    @classmethod
    def of(cls, judged: Judged, policy: Policy, narrator: Narrator, earlier: int = 0) -> Desk:
        """Return the desk of a checked record that has a timeline."""
        if judged.timeline is None:
            raise ValueError("the record has no readable episode")
        return cls(judged, judged.timeline.as_known(), policy, due.zone_of(judged.timeline), narrator, earlier)

    def scene(self, entry: Entry) -> Scene:
        """Return an entry in its surroundings."""
        step = next((step for step in self.timeline.steps if step.entry.index == entry.index), None)
        return Scene(self.timeline, self.policy, self.zone, entry, step)


def identifiers(timeline: Timeline) -> tuple[str, ...]:
    """Return the identifier of every event that a note can be asked for, in order of time."""
    return tuple(
        entry.event.id for family in corrections.families(timeline) for entry in (family.entry, *family.corrections)
    )


def chosen(timeline: Timeline, choice: Choice, policy: Policy) -> tuple[Family, ...]:
    """Return the events that a choice means, each with its corrections, and the others of the same visit."""
    families = corrections.families(timeline)
    named = choice.some if choice.event is None else (choice.event,)
    if named:
        some = tuple(
            family if family.entry.event.id == entry.event.id else Family(entry, of=family)
            for family in families
            for entry in (family.entry, *family.corrections)
            if entry.event.id in named
        )
        return visits.whole(timeline, policy, some, families)
    if choice.since is not None:
        since = choice.since
        return tuple(f for f in families if any(e.event.at >= since for e in (f.entry, *f.corrections)))
    return families if choice.every else visits.whole(timeline, policy, families[-1:], families)


def narrated(desk: Desk, scene: Scene, family: Family, template: str = "") -> tuple[Paragraph, ...]:
    """Return what the template of the event's kind, or another by name, says of it."""
    paths: list[Path] = []
    episode = desk.timeline.episode
    event = event_facts(scene.event, scene.entry.index, paths)
    values = {**told.values(scene), **corrections.values(scene, family)}
    repeated = corrections.unchanged(scene, family)
    view = View(
        event,
        Facts(plain(episode.patient), ("patient",), type(episode.patient), paths),
        Facts(plain(episode.port), ("port",), type(episode.port), paths),
        Facts(plain(episode.stay), ("stay",), type(episode.stay), paths),
        Computed(values, paths),
        paths,
        desk.zone,
        lambda written: told.reasons_left(scene, paths, written),
        lambda written: told.facts_left(scene, paths, [*written, *repeated]),
    )
    paragraphs = desk.narrator.narrate(template or scene.event.kind, view)
    if scene.step is None:  # an original or a correction: its facts stand where they were written
        return paragraphs
    return tuple(_standing(desk.timeline, paragraph) for paragraph in paragraphs)


def _standing(timeline: Timeline, paragraph: Paragraph) -> Paragraph:
    """Return a paragraph with the facts of its sentences where they are written now, corrections heeded."""
    return replace(
        paragraph,
        sentences=tuple(
            replace(said, facts=tuple(corrections.standing(timeline, path) for path in said.facts))
            for said in paragraph.sentences
        ),
    )
