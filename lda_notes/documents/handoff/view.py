"""The scope of a sheet, and the values that it states: facts, actions, how urgent a line is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal

from lda_notes.documents import wording
from lda_notes.documents.references import Basis
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Subject
from lda_notes.line.against import subject
from lda_notes.line.corrections import Entry
from lda_notes.line.due import ClockName
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding

Status = Literal["on hold", "accessed", "not accessed", "no port"]
Urgency = Literal["out of use", "overdue", "due this shift", "steady", "left"]
"""How urgent a line is, worst first; `URGENCIES` orders them."""

URGENCIES: Final[tuple[Urgency, ...]] = ("out of use", "overdue", "due this shift", "steady", "left")


@dataclass(frozen=True, slots=True)
class Told:
    """One fact in words. ``at`` and ``by`` say when and by whom it was established; None when it was not."""

    label: str
    value: str
    at: datetime | None = None
    by: str | None = None
    told: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """Something that is due. ``by`` None means now. ``late``: the time has passed, or it is now.

    ``basis`` names what the time or the act rests on; ``clock`` the clock it comes from, if it does.
    """

    act: str
    septum: str
    by: datetime | None
    late: bool
    owner: str
    why: str
    basis: tuple[Basis, ...]
    clock: ClockName | None = None

    @property
    def when(self) -> tuple[bool, datetime]:
        """The due time as a sort key: what is due now comes first."""
        return self.by is not None, (self.by or datetime.min.replace(tzinfo=UTC)).astimezone(UTC)


NEVER: Final = (True, datetime.max.replace(tzinfo=UTC))
"""Sorts after `Action.when` of any action."""


@dataclass(frozen=True, slots=True)
class View:
    """The scope of a sheet: one record, a policy, the coming shift. ``since`` is the last handoff."""

    timeline: Timeline
    policy: Policy
    wording: Wording
    since: datetime
    shift_end: datetime
    file: str = ""

    def entry(self, finding: Finding) -> Entry | None:
        """Return the event that a finding is about, in whichever record of the line it stands."""
        if finding.event is None:
            return None
        file = finding.place.file if finding.place is not None else ""
        return self.timeline.entry(finding.event, "" if file == self.file else file)

    @property
    def asof(self) -> datetime:
        """The moment judged from."""
        return self.timeline.asof

    @property
    def subject(self) -> Subject:
        """The patient as suitability needs to know them, at this moment."""
        today = self.asof.astimezone(self.wording.zone).date()
        known = self.timeline.patient_at(self.asof), self.timeline.port_at(self.asof)
        return subject(*known, today, self.timeline.unread)

    def left(self) -> Entry | None:
        """Return the discharge, if it has happened."""
        discharge = self.timeline.discharge
        return discharge if discharge is not None and discharge.event.at <= self.asof else None

    def in_shift(self, moment: datetime) -> bool:
        """Return whether a time falls in the coming shift; what is due exactly when it ends belongs to it."""
        return moment.astimezone(UTC) <= self.shift_end.astimezone(UTC)


def told_of(view: View, label: str, value: str, entry: Entry) -> Told:
    """Return a fact in words with when and by whom an entry established it."""
    return Told(label, value, entry.event.at, wording.person(entry.event.by), view.wording.told(entry))
