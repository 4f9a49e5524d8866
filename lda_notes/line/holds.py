"""The holds of a line as a table: what begins each, how far it reaches, and what ends it.

`begins` and `ended_by_event` run the table; tests of each row were written by others, from its source alone.
What is seen is kept in words (the sign and its time), never as a diagnosis.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Final, Literal, NamedTuple

from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry
from lda_notes.line.proof import VISIT, fact_of, proved
from lda_notes.line.signs import (
    Look,
    coring,
    far_swelling,
    fever,
    found_open,
    hurt,
    no_blood,
    not_proven,
    not_whole,
    over_limit,
    parted,
    partly_out,
    port_lies,
    posture,
    pus,
    red_and_tender,
    resistance,
    skin,
    swelling,
    tip,
    unread_fact,
    wrong_tip,
)
from lda_notes.line.states import End, Hold, HoldReason, State
from lda_notes.record import events as ev
from lda_notes.record.parts import Person, Site

_OF_ANOTHER: Final = re.compile(
    r"\b(student|assistant|trainee|aide|technician|scribe|secretary|clerk|former|formerly|retired|for|to)\b"
)
"""Words of a role that is not the one it names beside them: "MD student", "scribe for MD"."""


def may_clear(event: ev.Evaluation, policy: Policy) -> bool:
    """Return whether whoever judged the line has a role that may end a hold, by policy."""
    who: Person | None = event.cleared_by or event.by
    said = (who.credential or "").casefold() if who is not None else ""
    roles = [role.casefold() for role in policy.words("roles_that_may_clear")]
    if _OF_ANOTHER.search(said):
        return said in roles
    return any(re.search(rf"(?<!\w){re.escape(role)}(?!\w)", said) for role in roles)


_ByPolicy = Literal["as policy says", "as policy says, without treatment"]

EVALUATION: Final[tuple[End, ...]] = ("evaluation",)
AS_POLICY_SAYS: Final[_ByPolicy] = "as policy says"
AS_POLICY_SAYS_WITHOUT_TREATMENT: Final[_ByPolicy] = "as policy says, without treatment"
"""For holds that a thrombolytic does not answer."""


class Row(NamedTuple):
    """One reason: what shows it, whether it holds the whole port, what may end it.

    ``shown_by`` names the facts, and the kinds, without which ``begins`` has nothing to look at; a row without any is
    asked only where a fact could not be read.
    """

    reason: HoldReason
    begins: Callable[[Look], str | None]
    shown_by: tuple[str, ...]
    ends_by: tuple[End, ...] | _ByPolicy
    whole_port: bool = False
    of_patient: bool = False
    do: str = ""


_STOP: Final = "Stop, do not flush, aspirate before the needle is removed, report at once"
_CLAMP: Final = "Clamp the line, report at once"
_BLOOD: Final = ("blood_return", "blood_return_before", "punctures")
_SITE: Final = ("site", "signs")
_SITE_SHOWS: Final = frozenset(
    {"present", "purulent", "flipped", "not felt", "broken", "thinned", "port visible", "opening"}
)
"""Findings at a site without which no row of it can begin a hold."""

TABLE: Final[tuple[Row, ...]] = (
    Row("no blood return", no_blood, _BLOOD, ends_by=AS_POLICY_SAYS),
    Row("blood return not proven", unread_fact, (), ends_by=("proof", "evaluation")),
    Row("blood return not proven", not_proven, (*_BLOOD, "blood_looks"), ends_by=AS_POLICY_SAYS_WITHOUT_TREATMENT),
    Row("resistance", resistance, ("flushes", "punctures"), ends_by=AS_POLICY_SAYS),
    Row("resistance that changes with posture", posture, ("signs", *_BLOOD), ends_by=EVALUATION, whole_port=True),
    Row("swelling", swelling, _SITE, ends_by=EVALUATION, whole_port=True),
    Row("pus", pus, _SITE, ends_by=EVALUATION, whole_port=True),
    Row("redness and tenderness", red_and_tender, ("site",), ends_by=EVALUATION, whole_port=True),
    Row("port flipped or not felt", port_lies, ("site",), ends_by=EVALUATION, whole_port=True),
    Row("skin over the port", skin, ("site",), ends_by=EVALUATION, whole_port=True),
    Row(
        "something given at the site hurt or leaked",
        hurt,
        ("signs", "found", "extravasation care", "needle dislodged"),
        ends_by=EVALUATION,
        whole_port=True,
        of_patient=True,
        do=_STOP,
    ),
    Row(
        "swelling of arm, face, neck or chest",
        far_swelling,
        _SITE,
        ends_by=EVALUATION,
        whole_port=True,
        of_patient=True,
        do="Stop, do not flush on, report at once",
    ),
    Row(
        "fever or chills after a flush or start",
        fever,
        ("signs",),
        ends_by=EVALUATION,
        whole_port=True,
        of_patient=True,
        do="Stop what runs, keep the access, report at once",
    ),
    Row(
        "breathlessness, chest pain or open line",
        found_open,
        ("signs", "found"),
        ends_by=EVALUATION,
        whole_port=True,
        do=_CLAMP,
    ),
    Row("catheter parted", parted, ("signs",), ends_by=EVALUATION, whole_port=True, of_patient=True, do=_CLAMP),
    Row(
        "needle partly out",
        partly_out,
        ("found", "needle dislodged"),
        ends_by=("new access", "evaluation"),
        do="Stop, never push the needle back; a new sterile needle",
    ),
    Row("needle not whole", not_whole, ("needle_intact",), ends_by=EVALUATION, of_patient=True),
    Row(
        "tip not confirmed",
        tip,
        ("tip_confirmed", "tip", "tip_location"),
        ends_by=("tip confirmed", "evaluation"),
        whole_port=True,
    ),
    Row(
        "rated limit exceeded",
        over_limit,
        ("purpose", "flow_ml_per_s", "pressure_psi"),
        ends_by=EVALUATION,
        whole_port=True,
    ),
    Row("coring needle", coring, ("needle",), ends_by=EVALUATION),
)
"""Every reason for a hold. ``of_patient``: the problem outlives the port; ``do``: what the table says to do at once."""

_ASKED: Final = tuple(dict.fromkeys(name for row in TABLE for name in row.shown_by))


@cache
def _rows_shown_by(recorded: tuple[str, ...]) -> tuple[Row, ...]:
    return tuple(row for row in TABLE if not set(recorded).isdisjoint(row.shown_by))


_NOTHING_WRONG: Final = {"blood_return": "present", "blood_return_before": "present", "blood_looks": "like whole blood"}
"""The values of most events; they begin no hold."""


def _tells(name: str, value: object) -> bool:
    if value.__class__ is str:
        return value != _NOTHING_WRONG.get(name)
    return value is not None and (value.__class__ is not tuple or bool(value))


def _worth_asking(look: Look) -> tuple[Row, ...]:
    """Return the rows that have something to look at: most events record little that could begin a hold."""
    if look.unread:
        return TABLE
    values = look.event.__dict__
    said = [name for name in _ASKED if name in values and _tells(name, values[name])]
    site = values.get("site")
    if site.__class__ is Site and _SITE_SHOWS.isdisjoint(site.__dict__.values()):
        said.remove("site")
    return _rows_shown_by((*said, look.event.kind))


ROW_OF: Final = {row.reason: row for row in TABLE}
"""The row of a reason; the two of one reason differ only in what shows and ends it."""

PROVABLE: Final = frozenset(row.reason for row in TABLE if isinstance(row.ends_by, str))
"""Reasons that a proof may end, as policy says; the others say themselves what ends them."""

OWN_RULES: Final = frozenset({"coring needle", "tip not confirmed", "needle not whole", "rated limit exceeded"})
"""Reasons that a rule of the check speaks of by itself, with what must be recorded."""

ENDS_BY_OPTION: Final[dict[str, tuple[End, ...]]] = {
    "evaluation": ("evaluation",),
    "evaluation, new access or treatment": ("new access", "treatment", "evaluation"),
    "evaluation or blood return": ("proof", "new access", "treatment", "evaluation"),
}
"""What ends a hold in `PROVABLE`, for each option of ``hold_ends_with``; a test compares the two tables."""


def begins(look: Look, *, whole_port_only: bool = False) -> Iterator[Hold]:
    """Yield each hold that the event gives a reason for, known or not."""
    event = look.event
    port_in = look.before.port_in or isinstance(event, ev.PortImplanted)
    if isinstance(event, ev.Correcting) or not port_in:
        return
    for row in _worth_asking(look):
        if whole_port_only and not row.whole_port:
            continue
        sign = row.begins(look)
        if sign is not None:
            yield Hold(look.before.septum, row.reason, sign, look.entry, _may_end(row, look.policy))


def _may_end(row: Row, policy: Policy) -> tuple[End, ...]:
    if isinstance(row.ends_by, tuple):
        return row.ends_by
    by_policy = ends_by_policy(policy)
    return by_policy if row.ends_by == AS_POLICY_SAYS else tuple(end for end in by_policy if end != "treatment")


_IN_WORDS: Final[dict[End, str]] = {
    "proof": "blood that looks like whole blood with a flush that runs free",
    "new access": "a new needle with brisk blood return and a free flush",
    "treatment": "a thrombolytic that worked",
    "tip confirmed": "a tip position that is confirmed",
    "evaluation": "an evaluation that clears the line",
}
"""The ends of a hold, as every sheet, note and question words them."""


def common_ends_in_words(holds: Iterable[Hold]) -> tuple[str, ...]:
    """Return in words what may end every one of ``holds``, an evaluation last."""
    return ends_in_words(set.intersection(*(set(hold.ends_by) for hold in holds)))


def ends_in_words(ends_by: Iterable[End]) -> tuple[str, ...]:
    """Return ends in words; where any proof will do, a new needle and a treatment are not named beside it."""
    said = set(ends_by)
    if "proof" in said:
        said -= {"new access", "treatment"}
    return tuple(words for end, words in _IN_WORDS.items() if end in said)


def ends_by_policy(policy: Policy) -> tuple[End, ...]:
    """Return what may end a hold for no blood return or resistance, as the policy has it."""
    return ENDS_BY_OPTION[policy.choice("hold_ends_with")]


HOW_IT_ENDED: Final = {
    "proof at a new access": _IN_WORDS["new access"],
    "proof with the same needle": "blood return and a free flush with the same needle",
    "treatment": _IN_WORDS["treatment"],
    "tip confirmed": "a confirmed tip position",
    "evaluation": "an evaluation",
    "port removed": "removal of the port",
}
"""The end of a past hold in words, for each value of `Hold.how`."""


def ended_by_event(
    holds: tuple[Hold, ...], look: Look, after: State, *, named: bool, alone: bool
) -> dict[HoldReason, str]:
    """Return the reasons that end with this event, each with how.

    ``named`` says that the event is about this septum by name (or that there is only one); ``alone`` that the port
    has one septum.
    """
    event, entry = look.event, look.entry
    if isinstance(event, ev.PortRemoved):
        return {hold.reason: "port removed" for hold in holds}
    if isinstance(event, ev.Evaluation):
        return dict.fromkeys(reasons_cleared(event, holds, look.policy, named=named, alone=alone), "evaluation")
    how_ended: dict[HoldReason, str] = {}
    proof = named and not look.unread and proved(after, entry)
    for hold in holds:
        if "tip confirmed" in hold.ends_by and _tip_now_known(event, hold):
            how_ended[hold.reason] = "tip confirmed"
        elif proof:
            how = _by_proof(hold, after, entry)
            if how:
                how_ended[hold.reason] = how
    return how_ended


def _by_proof(hold: Hold, after: State, entry: Entry) -> str:
    opened = after.needle.opened if after.needle is not None else None
    if "new access" in hold.ends_by and opened is not None and isinstance(opened.event, ev.Access):
        later = opened is not hold.began and opened.event.at >= hold.began.event.at
        if later and entry.event.at - opened.event.at <= VISIT:
            return "proof at a new access"
    treated = after.treated
    if "treatment" in hold.ends_by and treated is not None and hold.since <= treated.event.at >= entry.event.at - VISIT:
        return "treatment"
    if "proof" in hold.ends_by and entry is not hold.began:
        return "proof with the same needle"
    return ""


def _tip_now_known(event: ev.Event, hold: Hold) -> bool:
    """Return whether the tip is known to lie right; "confirmed" alone does not answer a place that was wrong."""
    if event.kind == "port facts" and fact_of(event, "tip") is not None:
        return wrong_tip(event) is None
    return fact_of(event, "tip_confirmed") is True and wrong_tip(hold.began.event) is None


def reasons_cleared(
    event: ev.Evaluation, holds: tuple[Hold, ...], policy: Policy, *, named: bool, alone: bool
) -> tuple[HoldReason, ...]:
    """Return the reasons that an evaluation ends: those it names, or the only one of a port with one septum."""
    if event.decision not in CLEARING_DECISIONS or not may_clear(event, policy):
        return ()
    reasons = tuple(dict.fromkeys(hold.reason for hold in holds))
    said = fact_of(event, "ends") or ()
    if "all" in said:
        return reasons if named or fact_of(event, "septum") is None else ()
    if said:
        return (
            tuple(dict.fromkeys(hold.reason for hold in holds if {hold.reason, hold.sign} & set(said))) if named else ()
        )
    return reasons if alone and len(reasons) == 1 else ()


CLEARING_DECISIONS: Final = ("cleared for use", "cleared with limits")
"""Decisions that may end a hold."""


def with_end(hold: Hold, entry: Entry, how: str) -> Hold:
    """Return ``hold`` with what ended it."""
    return hold._replace(ended=entry, how=how)


def flushed_on_hold(event: ev.Event, holds: Iterable[Hold]) -> Hold | None:
    """Return the hold that already lasted on the day on which the port was flushed elsewhere; None for none."""
    if not isinstance(event, ev.FlushedElsewhere):
        return None
    return next((hold for hold in holds if hold.since.date() <= event.on), None)


def is_fresh(at: datetime, implanted: datetime | None, policy: Policy) -> bool:
    """Return whether ``at`` lies so soon after the implantation that redness and swelling belong to the wound."""
    if implanted is None:
        return False
    since = at.astimezone(UTC) - implanted.astimezone(UTC)
    return timedelta(0) <= since <= policy.span("post_implant_tender_hours")
