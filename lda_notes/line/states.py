"""The state of one septum at a moment, as values: needle, dressing, holds, limits, standing dangers, dwell."""

from __future__ import annotations

from datetime import datetime
from typing import Literal, NamedTuple

from lda_notes.line.corrections import Entry
from lda_notes.record.parts import Dressing, Needle

HoldReason = Literal[
    "no blood return",
    "blood return not proven",
    "resistance",
    "resistance that changes with posture",
    "swelling",
    "pus",
    "redness and tenderness",
    "port flipped or not felt",
    "skin over the port",
    "something given at the site hurt or leaked",
    "swelling of arm, face, neck or chest",
    "fever or chills after a flush or start",
    "breathlessness, chest pain or open line",
    "catheter parted",
    "needle partly out",
    "needle not whole",
    "tip not confirmed",
    "rated limit exceeded",
    "coring needle",
]
"""Why a line is out of use."""

End = Literal["proof", "new access", "treatment", "tip confirmed", "evaluation"]
"""The ways in which a hold may end.

``proof``: blood that looks like whole blood and a last flush that runs free, with any needle; ``new access``: the
same proof with a new needle; ``treatment``: the same after a thrombolytic that was withdrawn.
"""

DangerCode = Literal["D1", "D2", "D3", "D4", "D5", "D6", "D7", "D8", "D9", "D10", "D11", "P"]
"""The standing dangers by their number; P is a problem of the patient that outlives the port."""


class NeedleStay(NamedTuple):
    """A needle's time in a septum. ``since`` is None when nobody knows when it was put in."""

    septum: str
    opened: Entry
    since: datetime | None
    needle: Needle | None
    closed: Entry | None = None

    @property
    def until(self) -> datetime | None:
        """When it was taken out; None while it is in."""
        return self.closed.event.at if self.closed else None


class DressingStay(NamedTuple):
    """A dressing's time on the site. ``since`` is None when nobody knows when it was put on.

    ``found`` is the last look that recorded its condition.
    """

    septum: str
    put_on: Entry
    since: datetime | None
    dressing: Dressing | None
    ended: Entry | None = None
    found: Entry | None = None


class Hold(NamedTuple):
    """A time during which nothing goes through a septum, for one reason.

    ``sign`` is what was seen, in words, never a diagnosis; ``began`` the event that showed it; ``ends_by`` what may
    end it; ``ended`` the event that did, and ``how`` in words.
    """

    septum: str
    reason: HoldReason
    sign: str
    began: Entry
    ends_by: tuple[End, ...]
    ended: Entry | None = None
    how: str = ""

    @property
    def since(self) -> datetime:
        """When the sign was charted."""
        return self.began.event.at


class Exposure(NamedTuple):
    """A medicine that went into the patient from the line and ought not to have: which, and when."""

    drug: str
    at: datetime


class Danger(NamedTuple):
    """A danger that stands until something ends it. ``what`` and ``forbids`` are in words.

    ``began`` is None for what is not about one event; ``phase`` is the mechanism's own; ``exposure`` what was flushed
    in, once it was; ``tried`` says that what is in the line could not be aspirated.
    """

    code: DangerCode
    septum: str
    what: str
    began: Entry | None
    forbids: str
    ended: Entry | None = None
    phase: str = ""
    exposure: Exposure | None = None
    tried: bool = False

    @property
    def since(self) -> datetime | None:
        """When it was charted; None for what is not about one event."""
        return self.began.event.at if self.began is not None else None


class UseLimit(NamedTuple):
    """A use that an evaluation forbids on a line that it cleared, such as "no vesicant", until it is lifted."""

    septum: str
    what: str
    began: Entry


class Dwell(NamedTuple):
    """A thrombolytic dwelling in the line. ``checks`` are its looks so far."""

    septum: str
    treatment: Entry
    checks: tuple[Entry, ...] = ()
    ended: Entry | None = None


class State(NamedTuple):
    """The state of one septum at a moment.

    ``blood`` and ``flow`` are the last events that recorded a blood return, or how the last flush ran; ``inside`` the
    event that left in the lumen what is in it now (a lock, a thrombolytic), None when that is not known or not there;
    ``settled`` is what a prescriber decided about, because it could not be aspirated.
    ``given`` is the last event that put anything in, ``treated`` the look after which a thrombolytic was withdrawn;
    ``restored`` says that blood came back once before in this septum.
    """

    septum: str
    needle: NeedleStay | None = None
    dressing: DressingStay | None = None
    holds: tuple[Hold, ...] = ()
    dangers: tuple[Danger, ...] = ()
    limits: tuple[UseLimit, ...] = ()
    dwell: Dwell | None = None
    last_blood_return: Entry | None = None
    last_flush: Entry | None = None
    last_lock: Entry | None = None
    last_check: Entry | None = None
    last_removal: Entry | None = None
    infusion: Entry | None = None
    infusion_stopped: Entry | None = None
    port_in: bool = True
    blood: Entry | None = None
    flow: Entry | None = None
    inside: Entry | None = None
    settled: Entry | None = None
    given: Entry | None = None
    treated: Entry | None = None
    restored: bool = False

    @property
    def usable(self) -> bool:
        """Whether nothing keeps the septum out of use: no hold, no dwelling drug, no danger that forbids any use."""
        return not self.holds and self.dwell is None and not any(d.code in ("D2", "D4") for d in self.dangers)

    def held_for(self, *reasons: HoldReason) -> bool:
        """Return whether the septum is on hold for one of ``reasons``."""
        return any(hold.reason in reasons for hold in self.holds)

    def danger(self, code: DangerCode) -> Danger | None:
        """Return the standing danger of that number."""
        return next((danger for danger in self.dangers if danger.code == code), None)


class Step(NamedTuple):
    """One event and the states around it. ``septum`` is None for events that are not about one septum."""

    entry: Entry
    septum: str | None
    before: State
    after: State


class UnitStay(NamedTuple):
    """Time on one unit; ``until`` is None while the patient is there."""

    unit: str
    room: str | None
    setting: str | None
    since: datetime | None
    until: datetime | None = None
    entry: Entry | None = None
