"""Every event kind, declared in this package and nowhere else.

A *shape* says what an event does to the port's life (opens or closes access, tends, observes, moves, corrects);
a *kind* is a small class under a shape. Shapes are closed: code that must treat them all matches exhaustively.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, TypeAlias, get_args

from pydantic import Field

from lda_notes.record.events.care import DressingChange, FlushOrLock, LineCheck, LineUse
from lda_notes.record.events.corrections import Addendum, Amendment, CoSignature, Retraction
from lda_notes.record.events.groups import Dressed, Flushed, Proved, SiteSeen
from lda_notes.record.events.needle import Access, ArrivalAccessed, Deaccess, NeedleDislodged
from lda_notes.record.events.shapes import (
    CareEvent,
    Closing,
    Correcting,
    Event,
    Moving,
    Observing,
    Opening,
    Tending,
    unsealed,
)
from lda_notes.record.events.stay import (
    Discharge,
    FlushedElsewhere,
    PatientFacts,
    PortFacts,
    PortImplanted,
    PortRemoved,
    Transfer,
)
from lda_notes.record.events.trouble import Evaluation, ExtravasationCare, PatencyCheck, PatencyTreatment
from lda_notes.record.parts import FORMER_KEYS

__all__ = [
    "KINDS",
    "Access",
    "Addendum",
    "Amendment",
    "AnyEvent",
    "ArrivalAccessed",
    "CareEvent",
    "Closing",
    "CoSignature",
    "Correcting",
    "Deaccess",
    "Discharge",
    "Dressed",
    "DressingChange",
    "Evaluation",
    "Event",
    "ExtravasationCare",
    "FlushOrLock",
    "Flushed",
    "FlushedElsewhere",
    "LineCheck",
    "LineUse",
    "Moving",
    "NeedleDislodged",
    "Observing",
    "Opening",
    "PatencyCheck",
    "PatencyTreatment",
    "PatientFacts",
    "PortFacts",
    "PortImplanted",
    "PortRemoved",
    "Proved",
    "Retraction",
    "SiteSeen",
    "Tending",
    "Transfer",
    "as_spelled",
    "unsealed",
]

AnyEvent: TypeAlias = Annotated[
    Access
    | ArrivalAccessed
    | Deaccess
    | DressingChange
    | LineCheck
    | FlushOrLock
    | LineUse
    | PatencyTreatment
    | PatencyCheck
    | Evaluation
    | NeedleDislodged
    | ExtravasationCare
    | Transfer
    | Discharge
    | PortImplanted
    | PortRemoved
    | PatientFacts
    | PortFacts
    | FlushedElsewhere
    | Addendum
    | Amendment
    | Retraction
    | CoSignature,
    Field(discriminator="kind"),
]

KINDS: Final[dict[str, type[Event]]] = {
    get_args(kind.model_fields["kind"].annotation)[0]: kind for kind in get_args(get_args(AnyEvent)[0])
}
"""Every kind by its tag. Of events of one minute looks come first, removal before access, leaving last."""


def as_spelled(kind: type[Event], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts of a kind by the keys of this version of the layout, whatever version they were written in."""
    now = {old: key for key, old in FORMER_KEYS.items() if key in kind.model_fields}
    return {now.get(key, key): value for key, value in values.items()}
