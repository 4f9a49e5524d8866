"""The holds of a line as a table: what begins each, how far it reaches, and what ends it.

`begins` and `ends` run the table; tests of each row were written by others, from its source alone.
What is seen is kept in words (the sign and its time), never as a diagnosis.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import cache
from typing import Any, Final

from lda_notes.knowledge.one_row import on_one_row
from lda_notes.knowledge.policy import Policy, number
from lda_notes.line.corrections import Entry
from lda_notes.line.states import End, Hold, HoldReason, State
from lda_notes.record import events as ev
from lda_notes.record.episode import Port
from lda_notes.record.parts import Needle, Person, Site
from lda_notes.record.unread import Unread

VISIT: Final = timedelta(hours=1)
"""Blood and a free flush within this time are one proof, though charted in two entries (common practice)."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the table asks of: an event, its septum's state before it, and what surrounds it.

    ``fresh`` says that the port was implanted so recently that redness and swelling belong to the wound; ``unread``
    are the facts of the event that were written and could not be read.
    """

    entry: Entry
    before: State
    port: Port
    policy: Policy
    fresh: bool = False
    unread: tuple[Unread, ...] = ()

    @property
    def event(self) -> Any:
        """The event, of whatever kind."""
        return self.entry.event


def _fact(event: Any, name: str) -> Any:
    return event.__dict__.get(name)  # asked of every event: a look into the dictionary costs least


# -- what an event proves --


def blood_of(event: ev.Event) -> str | None:
    """Return the last blood return that ``event`` records: present, sluggish or none; None when it records none."""
    for name in ("blood_return", "blood_return_before"):
        seen = _fact(event, name)
        if seen.__class__ is str:
            return str(seen)
    punctures = _fact(event, "punctures")
    outcome = getattr(punctures[-1], "outcome", None) if punctures.__class__ is tuple and punctures else None
    return {"blood return": "present", "no blood return": "none", "sluggish blood return": "sluggish"}.get(
        outcome or ""
    )


def flow_of(event: ev.Event) -> str | None:
    """Return how the last flush of ``event`` ran: none (free), some, cannot flush; None when that is not recorded."""
    flushes = _fact(event, "flushes")
    if flushes.__class__ is tuple and flushes:
        felt = flushes[-1].resistance
        return felt if felt.__class__ is str else None
    punctures = _fact(event, "punctures")
    if punctures.__class__ is tuple and punctures and getattr(punctures[-1], "outcome", None) == "resistance":
        return "some"
    return None


def whole_blood(event: ev.Event) -> bool:
    """Tell whether the last aspirate of ``event`` is blood that returned freely and looks like blood."""
    return blood_of(event) == "present" and _fact(event, "blood_looks") in (None, "like whole blood")


def proved(after: State, entry: Entry) -> bool:
    """Tell whether ``entry`` proves the line: whole blood and a free last flush, in one visit that it belongs to."""
    blood, flow = after.blood, after.flow
    if blood is None or flow is None or entry not in (blood, flow):
        return False
    near = all(entry.event.at - one.event.at <= VISIT for one in (blood, flow))
    return near and whole_blood(blood.event) and flow_of(flow.event) == "none"


def may_clear(event: ev.Evaluation, policy: Policy) -> bool:
    """Tell whether whoever judged the line has a role that may end a hold, by policy."""
    who: Person | None = event.cleared_by or event.by
    credential = (who.credential or "") if who is not None else ""
    said = credential.casefold()
    if re.search(r"\b(student|assistant|trainee|aide|technician)\b", said):
        return any(said == role.casefold() for role in policy.words("roles_that_may_clear"))
    return any(
        re.search(rf"(?<!\w){re.escape(role.casefold())}(?!\w)", said) for role in policy.words("roles_that_may_clear")
    )


# -- signs --

_FAR: Final = ("arm", "face or neck", "collarbone", "chest wall", "along the catheter")
_PUT_IN: Final = ("infusion", "flush", "injection")


def _signs(look: Look, *whats: str) -> Iterator[Any]:
    signs = _fact(look.event, "signs")
    if signs.__class__ is tuple:
        yield from (sign for sign in signs if sign.what in whats)


def _site(look: Look) -> Site | None:
    site = _fact(look.event, "site")
    return site if site.__class__ is Site else None


def _new(change: object) -> bool:
    return change not in ("unchanged", "less")


def _at(where: object) -> str:
    return f" of {_the(where)}" if where in ("arm", "face or neck") else f" at {_the(where)}" if where else ""


def _the(where: object) -> str:
    return str(where) if where in ("arm", "face or neck", "along the catheter") else f"the {where}"


def _swellings(look: Look) -> Iterator[tuple[str | None, str | None, str | None]]:
    """Yield place, change and what was given meanwhile for each swelling of the event."""
    site = _site(look)
    if site is not None and site.swelling == "present":
        places = getattr(site, "swelling_where", None) or (None,)
        for place in (places,) if isinstance(places, str) else places:
            yield place, getattr(site, "swelling_change", None), None
    for sign in _signs(look, "swelling", "fluid collection"):
        yield sign.where, sign.change, sign.during


def _gives(look: Look) -> bool:
    """Tell whether something runs, or is put in by this very event."""
    event = look.event
    flushes = _fact(event, "flushes")
    flushed = flushes.__class__ is tuple and bool(flushes)
    used = isinstance(event, ev.LineUse) and event.purpose != "blood sampling" and event.action != "stopped"
    return flushed or used or look.before.infusion is not None


def _just_given(look: Look, began: object) -> bool:
    """Tell whether a sign began within an hour after something was put in."""
    given = look.before.given
    at = began if isinstance(began, datetime) else look.event.at
    return given is not None and timedelta(0) <= at - given.event.at <= VISIT


def _span(length: timedelta) -> str:
    minutes = int(length.total_seconds() // 60)
    if minutes < 120:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    return f"{minutes // 60} hours"


# -- the rows: each returns the sign in words, None when there is none --


def _no_blood(look: Look) -> str | None:
    return "no blood return" if blood_of(look.event) == "none" else None


_RESTS_ON: Final = frozenset(
    {"blood_return", "blood_return_before", "blood_looks", "flushes", "punctures", "site", "signs", "decision", "ends"}
    | {"found", "extent", "needle_intact", "tip_confirmed"}
)
"""Facts on which a hold rests: unread, they leave the line unproven until somebody looks again."""

_BESIDE: Final = frozenset({"volume_ml", "syringe_ml", "technique", "lot", "expires", "detail", "temperature_c"})
"""Parts of such facts on which no hold rests."""


def _not_proven(look: Look) -> str | None:
    for fact in look.unread:
        if fact.names and fact.names[0] in _RESTS_ON and fact.names[-1] not in _BESIDE:
            return f'{fact.label} could not be read: "{fact.text}"'
    event = look.event
    looks = _fact(event, "blood_looks")
    if looks.__class__ is str and looks != "like whole blood" and blood_of(event) != "none":
        return f"aspirate {looks}, not like whole blood"
    if blood_of(event) == "sluggish" and look.policy.choice("sluggish_return_holds") == "yes":
        return "sluggish blood return"
    return None


def _resistance(look: Look) -> str | None:
    return {"some": "resistance to the flush", "cannot flush": "cannot be flushed"}.get(flow_of(look.event) or "")


def _posture(look: Look) -> str | None:
    for _ in _signs(look, "resistance changes with posture"):
        return "resistance changes with posture"
    if blood_of(look.event) == "none" and look.before.restored:
        return "no blood return again after it was restored"
    return None


def _swelling(look: Look) -> str | None:
    for where, change, during in _swellings(look):
        near = where not in _FAR
        if near and during not in _PUT_IN and _new(change) and (not look.fresh or change == "growing"):
            word = f"{change} swelling" if change in ("new", "growing") else "swelling"
            return f"{word}{_at(where) or ' at the port'}"
    return None


def _pus(look: Look) -> str | None:
    site = _site(look)
    if (site is not None and site.drainage == "purulent") or any(True for _ in _signs(look, "pus")):
        return "pus"
    return None


def _red_and_tender(look: Look) -> str | None:
    site = _site(look)
    if site is None or look.fresh or look.policy.choice("redness_and_tenderness_holds") != "yes":
        return None
    return "redness and tenderness" if site.erythema == "present" and site.tenderness == "present" else None


def _port_lies(look: Look) -> str | None:
    site = _site(look)
    return f"port {site.port}" if site is not None and site.port in ("flipped", "not felt") else None


def _skin(look: Look) -> str | None:
    site = _site(look)
    if site is None:
        return None
    if getattr(site, "incision", None) == "opening":
        return "incision opening"
    if site.skin in ("broken", "thinned"):
        return f"skin {site.skin}"
    return "port visible through the skin" if site.skin == "port visible" else None


def _hurt(look: Look) -> str | None:
    """What is given comes out, hurts or swells at the site, or the needle came out while it ran."""
    event = look.event
    for sign in _signs(look, "swelling", "pain", "burning", "leak", "fluid collection"):
        if sign.where == "connector" or (sign.what == "swelling" and sign.where in _FAR):
            continue
        after = sign.during is None and sign.what != "swelling" and (_gives(look) or _just_given(look, sign.began_at))
        if sign.during in _PUT_IN or after:
            during = f" during {'an' if sign.during[0] in 'aeiou' else 'a'} {sign.during}" if sign.during else ""
            return f"{sign.what}{_at(sign.where)}{during}"
    kind = event.kind
    if kind == "extravasation care":
        return "something was given outside the vein"
    running = _fact(event, "running")
    ran = running != "nothing" if running else look.before.infusion is not None
    if kind == "needle dislodged" and _fact(event, "extent") == "completely out" and ran:
        return "needle out while something ran"
    if "needle out" in (_fact(event, "found") or ()) and look.before.infusion is not None:
        return "needle out while something ran"
    return None


def _far_swelling(look: Look) -> str | None:
    for where, change, _ in _swellings(look):
        if where in _FAR and _new(change):
            word = f"{change} swelling" if change in ("new", "growing") else "swelling"
            return f"{word} {where}" if where == "along the catheter" else f"{word}{_at(where)}"
    return None


def _fever(look: Look) -> str | None:
    for sign in _signs(look, "fever", "chills", "shaking"):
        degrees = getattr(sign, "temperature_c", None)
        what = f"fever of {number(degrees)} °C" if sign.what == "fever" and degrees else sign.what
        given = look.before.given
        if sign.during in _PUT_IN:
            return f"{what} during {'an' if sign.during[0] in 'aeiou' else 'a'} {sign.during}"
        began = sign.began_at if isinstance(sign.began_at, datetime) else look.event.at
        if given is not None and given.event.at <= began:
            since = began - given.event.at
            if since <= look.policy.span("reaction_after_flush_hours"):
                return f"{what} {_span(since)} after {_named(given.event)}"
        if look.before.infusion is not None and sign.what != "fever":
            return f"{what} while an infusion runs"
        if look.fresh and sign.what == "fever":
            return f"{what} soon after the implantation"
    return None


def _named(event: ev.Event) -> str:
    if isinstance(event, ev.LineUse) and event.action == "started":
        return f"the start of the {event.purpose}"
    if isinstance(event, ev.LineUse):
        return f"the {event.purpose}"
    return "the flush"


def _open(look: Look) -> str | None:
    for sign in _signs(look, "breathlessness", "chest pain", "line found open"):
        return str(sign.what)
    found = _fact(look.event, "found") or ()
    opened = [word for word in ("connector off", "tubing parted") if word in found]
    return f"line found open: {opened[0]}" if opened else None


def _parted(look: Look) -> str | None:
    return "catheter parted" if any(True for _ in _signs(look, "catheter parted")) else None


def _partly_out(look: Look) -> str | None:
    event = look.event
    dislodged = event.kind == "needle dislodged" and _fact(event, "extent") != "completely out"
    return "needle partly out" if dislodged or "needle partly out" in (_fact(event, "found") or ()) else None


def _not_whole(look: Look) -> str | None:
    if _fact(look.event, "needle_intact") is not False:
        return None
    missing = _fact(look.event, "missing_piece")
    return "needle not whole at removal" + (f': "{on_one_row(missing)}"' if missing else "")


def _tip(look: Look) -> str | None:
    if _fact(look.event, "tip_confirmed") is False:
        return "tip position not confirmed"
    tip = _fact(look.event, "tip") if look.event.kind == "port facts" else None
    location = tip.location if tip is not None else _fact(look.event, "tip_location")
    if isinstance(location, str) and _WRONG_TIP.search(location):
        return f'tip lies wrong: "{on_one_row(location)}"'
    return None


_WRONG_TIP: Final = re.compile(
    r"azygos|jugular|subclavian|axillary|brachiocephalic|innominate|ventric|mammary|hepatic|renal|arter|coil|outside",
    re.IGNORECASE,
)
"""Places in which a tip does not belong (common practice; a place in other words is not judged)."""


def _over_limit(look: Look) -> str | None:
    event = look.event
    if not isinstance(event, ev.LineUse) or event.action == "stopped":
        return None
    needle = look.before.needle.needle if look.before.needle is not None else None
    power = look.port.power
    if event.purpose == "power injection":
        if power is not None and power.rated is False:
            return "power injection through a port that is not rated for it"
        if needle is not None and needle.power_rated is False:
            return "power injection through a needle that is not rated for it"
    for found, unit, most in (
        (event.flow_ml_per_s, "mL per second", (power and power.max_flow_ml_per_s, _rated(needle, "flow_ml_per_s"))),
        (event.pressure_psi, "psi", (power and power.max_pressure_psi, _rated(needle, "pressure_psi"))),
    ):
        limits = [limit for limit in most if isinstance(limit, Decimal)]
        if found is not None and limits and found > min(limits):
            return f"{number(found)} {unit}, above the rated {number(min(limits))}"
    return None


def _rated(needle: Needle | None, what: str) -> Any:
    return getattr(needle, f"rated_{what}", None)


def _coring(look: Look) -> str | None:
    needle = _fact(look.event, "needle")
    return "coring needle used" if needle.__class__ is Needle and needle.non_coring is False else None


@dataclass(frozen=True, slots=True)
class Row:
    """One reason: what shows it, whether it holds the whole port, what ends it (None: as policy says).

    ``shown_by`` names the facts, and the kinds, without which ``begins`` has nothing to look at.
    """

    reason: HoldReason
    begins: Callable[[Look], str | None]
    shown_by: str
    whole_port: bool = False
    ends_by: tuple[End, ...] | None = ("evaluation",)
    of_patient: bool = False
    do: str = ""


_STOP: Final = "Stop, do not flush, aspirate before the needle is removed, report at once"
_CLAMP: Final = "Clamp the line, report at once"

_BLOOD: Final = "blood_return, blood_return_before, punctures"
_SITE: Final = "site, signs"
_SITE_SHOWS: Final = frozenset(
    {"present", "purulent", "flipped", "not felt", "broken", "thinned", "port visible", "opening"}
)
"""What has to be seen at a site before any row of it can begin a hold."""

TABLE: Final[tuple[Row, ...]] = (
    Row("no blood return", _no_blood, _BLOOD, ends_by=None),
    Row("blood return not proven", _not_proven, f"{_BLOOD}, blood_looks", ends_by=None),
    Row("resistance", _resistance, "flushes, punctures", ends_by=None),
    Row("resistance that changes with posture", _posture, f"signs, {_BLOOD}", whole_port=True),
    Row("swelling", _swelling, _SITE, whole_port=True),
    Row("pus", _pus, _SITE, whole_port=True),
    Row("redness and tenderness", _red_and_tender, "site", whole_port=True),
    Row("port flipped or not felt", _port_lies, "site", whole_port=True),
    Row("skin over the port", _skin, "site", whole_port=True),
    Row(
        "something given at the site hurt or leaked",
        _hurt,
        "signs, found, extravasation care, needle dislodged",
        whole_port=True,
        of_patient=True,
        do=_STOP,
    ),
    Row(
        "swelling of arm, face, neck or chest",
        _far_swelling,
        _SITE,
        whole_port=True,
        of_patient=True,
        do="Stop, do not flush on, report at once",
    ),
    Row(
        "fever or chills after a flush or start",
        _fever,
        "signs",
        whole_port=True,
        of_patient=True,
        do="Stop what runs, keep the access, report at once",
    ),
    Row("breathlessness, chest pain or open line", _open, "signs, found", whole_port=True, do=_CLAMP),
    Row("catheter parted", _parted, "signs", whole_port=True, of_patient=True, do=_CLAMP),
    Row(
        "needle partly out",
        _partly_out,
        "found, needle dislodged",
        ends_by=("new access", "evaluation"),
        do="Stop, never push the needle back; a new sterile needle",
    ),
    Row("needle not whole", _not_whole, "needle_intact", of_patient=True),
    Row(
        "tip not confirmed",
        _tip,
        "tip_confirmed, tip, tip_location",
        whole_port=True,
        ends_by=("tip confirmed", "evaluation"),
    ),
    Row("rated limit exceeded", _over_limit, "purpose, flow_ml_per_s, pressure_psi", whole_port=True),
    Row("coring needle", _coring, "needle"),
)
"""Every reason for a hold. ``of_patient``: the problem outlives the port; ``do``: what the table says to do at once."""

_ASKED: Final = tuple(dict.fromkeys(name for row in TABLE for name in row.shown_by.split(", ")))


@cache
def _rows(said: tuple[str, ...]) -> tuple[Row, ...]:
    return tuple(row for row in TABLE if not set(said).isdisjoint(row.shown_by.split(", ")))


_NOTHING_WRONG: Final = {"blood_return": "present", "blood_return_before": "present", "blood_looks": "like whole blood"}
"""What begins no hold, and most events say."""


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
    return _rows((*said, look.event.kind))


ROWS: Final = {row.reason: row for row in TABLE}

PROVABLE: Final = frozenset(row.reason for row in TABLE if row.ends_by is None)
"""Reasons that a proof may end, as policy says; the others say themselves what ends them."""

OWN_RULES: Final = frozenset({"coring needle", "tip not confirmed", "needle not whole", "rated limit exceeded"})
"""Reasons that a rule of the check speaks of by itself, with what must be recorded."""

_BY_POLICY: Final[dict[str, tuple[End, ...]]] = {
    "evaluation": ("evaluation",),
    "evaluation, new access or treatment": ("new access", "treatment", "evaluation"),
    "evaluation or blood return": ("proof", "new access", "treatment", "evaluation"),
}


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
            yield Hold(look.before.septum, row.reason, sign, look.entry, _ends_by(row, sign, look.policy))


def _ends_by(row: Row, sign: str, policy: Policy) -> tuple[End, ...]:
    if row.ends_by is not None:
        return row.ends_by
    by_policy = policy_ends(policy)
    if row.reason != "blood return not proven":
        return by_policy
    if "could not be read" in sign:
        return ("proof", "evaluation")
    return tuple(end for end in by_policy if end != "treatment")


_IN_WORDS: Final[dict[End, str]] = {
    "proof": "blood that looks like whole blood with a flush that runs free",
    "new access": "a new needle with brisk blood return and a free flush",
    "treatment": "a thrombolytic that worked",
    "tip confirmed": "a tip position that is confirmed",
    "evaluation": "an evaluation that clears the line",
}
"""What may end a hold, as every sheet, note and question says it."""


def what_ends(holds: Iterable[Hold]) -> tuple[str, ...]:
    """Return in words what may end every one of ``holds``, an evaluation last."""
    return ends_in_words(set.intersection(*(set(hold.ends_by) for hold in holds)))


def ends_in_words(ends_by: Iterable[End]) -> tuple[str, ...]:
    """Return ends in words; where any proof will do, a new needle and a treatment are not named beside it."""
    said = set(ends_by)
    if "proof" in said:
        said -= {"new access", "treatment"}
    return tuple(words for end, words in _IN_WORDS.items() if end in said)


def policy_ends(policy: Policy) -> tuple[End, ...]:
    """Return what may end a hold for no blood return or resistance, as the policy has it."""
    return _BY_POLICY[policy.choice("hold_ends_with")]


ENDED_BY: Final = {
    "proof at a new access": "a new needle with brisk blood return and a free flush",
    "proof with the same needle": "blood return and a free flush with the same needle",
    "treatment": "a thrombolytic that worked",
    "tip confirmed": "a confirmed tip position",
    "evaluation": "an evaluation",
    "port removed": "removal of the port",
}
"""What ended a hold, in words, by `Hold.how`."""


def ends(holds: tuple[Hold, ...], look: Look, after: State, *, named: bool, alone: bool) -> dict[HoldReason, str]:
    """Return the reasons that end with this event, each with how.

    ``named`` says that the event is about this septum by name (or that there is only one); ``alone`` that the port
    has one septum.
    """
    event, entry = look.event, look.entry
    if isinstance(event, ev.PortRemoved):
        return {hold.reason: "port removed" for hold in holds}
    if isinstance(event, ev.Evaluation):
        return dict.fromkeys(cleared(event, holds, look.policy, named=named, alone=alone), "evaluation")
    told: dict[HoldReason, str] = {}
    proof = named and not look.unread and proved(after, entry)
    for hold in holds:
        if "tip confirmed" in hold.ends_by and _tip_now_known(event):
            told[hold.reason] = "tip confirmed"
        elif proof:
            how = _by_proof(hold, after, entry)
            if how:
                told[hold.reason] = how
    return told


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


def _tip_now_known(event: ev.Event) -> bool:
    tip = _fact(event, "tip") if event.kind == "port facts" else None
    return _fact(event, "tip_confirmed") is True or (tip is not None and not _WRONG_TIP.search(tip.location))


def cleared(
    event: ev.Evaluation, holds: tuple[Hold, ...], policy: Policy, *, named: bool, alone: bool
) -> tuple[HoldReason, ...]:
    """Return the reasons that an evaluation ends: those it names, or the only one of a port with one septum."""
    if event.decision not in CLEARED or not may_clear(event, policy):
        return ()
    reasons = tuple(dict.fromkeys(hold.reason for hold in holds))
    said = _fact(event, "ends") or ()
    if "all" in said:
        return reasons if named or _fact(event, "septum") is None else ()
    if said:
        return (
            tuple(dict.fromkeys(hold.reason for hold in holds if {hold.reason, hold.sign} & set(said))) if named else ()
        )
    return reasons if alone and len(reasons) == 1 else ()


CLEARED: Final = ("cleared for use", "cleared with limits")
"""Decisions that may end a hold."""


def ended(hold: Hold, entry: Entry, how: str) -> Hold:
    """Return ``hold`` with what ended it."""
    return replace(hold, ended=entry, how=how)


def flushed_on_hold(event: ev.Event, holds: Iterable[Hold]) -> Hold | None:
    """Return the hold that already lasted on the day on which the port was flushed elsewhere; None for none."""
    if not isinstance(event, ev.FlushedElsewhere):
        return None
    return next((hold for hold in holds if hold.since.date() <= event.on), None)


def is_fresh(at: datetime, implanted: datetime | None, policy: Policy) -> bool:
    """Tell whether ``at`` lies so soon after the implantation that redness and swelling belong to the wound."""
    if implanted is None:
        return False
    since = at.astimezone(UTC) - implanted.astimezone(UTC)
    return timedelta(0) <= since <= policy.span("post_implant_tender_hours")
