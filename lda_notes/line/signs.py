"""The signs that show each reason for a hold: one function for each row of the table of holds.

Each returns the sign in words (what was seen and when, never a diagnosis), None when there is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final, NamedTuple

from lda_notes.knowledge.one_row import on_one_row
from lda_notes.knowledge.policy import Policy, number
from lda_notes.line.corrections import Entry
from lda_notes.line.proof import VISIT, blood_of, fact_of, flow_of
from lda_notes.line.states import State
from lda_notes.record import events as ev
from lda_notes.record.episode import Port
from lda_notes.record.parts import Needle, Site
from lda_notes.record.unread import Unread


class Look(NamedTuple):
    """The input of the table: an event, its septum's state before it, and what surrounds it.

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


_FAR: Final = ("arm", "face or neck", "collarbone", "chest wall", "along the catheter")
_PUT_IN: Final = ("infusion", "flush", "injection")


def _signs(look: Look, *whats: str) -> Iterator[Any]:
    signs = fact_of(look.event, "signs")
    if signs.__class__ is tuple:
        yield from (sign for sign in signs if sign.what in whats)


def _site(look: Look) -> Site | None:
    site = fact_of(look.event, "site")
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
    """Return whether something runs, or is put in by this very event."""
    event = look.event
    flushes = fact_of(event, "flushes")
    flushed = flushes.__class__ is tuple and bool(flushes)
    used = isinstance(event, ev.LineUse) and event.purpose != "blood sampling" and event.action != "stopped"
    return flushed or used or look.before.infusion is not None


def _just_given(look: Look, began: object) -> bool:
    """Return whether a sign began within an hour after something was put in."""
    given = look.before.given
    at = began if isinstance(began, datetime) else look.event.at
    return given is not None and timedelta(0) <= at - given.event.at <= VISIT


def _span(length: timedelta) -> str:
    minutes = int(length.total_seconds() // 60)
    if minutes < 120:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    hours, rest = divmod(minutes, 60)
    return f"{hours} hours" + (f" {rest} minute{'' if rest == 1 else 's'}" if rest else "")


def no_blood(look: Look) -> str | None:
    """Return that no blood came back."""
    return "no blood return" if blood_of(look.event) == "none" else None


_RESTS_ON: Final = frozenset(
    {"blood_return", "blood_return_before", "blood_looks", "flushes", "punctures", "site", "signs", "decision", "ends"}
    | {"found", "extent", "needle_intact", "tip_confirmed"}
)
"""Facts on which a hold rests: unread, they leave the line unproven until somebody looks again."""

_BESIDE: Final = frozenset({"volume_ml", "syringe_ml", "technique", "lot", "expires", "detail", "temperature_c"})
"""Parts of such facts on which no hold rests."""


def unread_fact(look: Look) -> str | None:
    """Return a fact on which a hold rests and that could not be read: it leaves blood return unproven."""
    for fact in look.unread:
        if fact.names and fact.names[0] in _RESTS_ON and fact.names[-1] not in _BESIDE:
            return f'{fact.label} could not be read: "{fact.text}"'
    return None


def not_proven(look: Look) -> str | None:
    """Return what leaves blood return unproven: aspirate unlike blood, or by policy a sluggish return.

    None where an unread fact does so already: that is a row of its own.
    """
    if unread_fact(look) is not None:
        return None
    event = look.event
    looks = fact_of(event, "blood_looks")
    if looks.__class__ is str and looks != "like whole blood" and blood_of(event) != "none":
        return f"aspirate {looks}, not like whole blood"
    if blood_of(event) == "sluggish" and look.policy.choice("sluggish_return_holds") == "yes":
        return "sluggish blood return"
    return None


def resistance(look: Look) -> str | None:
    """Return resistance to the last flush."""
    return {"some": "resistance to the flush", "cannot flush": "cannot be flushed"}.get(flow_of(look.event) or "")


def posture(look: Look) -> str | None:
    """Return resistance that changes with posture, or blood return lost again after it was restored."""
    for _ in _signs(look, "resistance changes with posture"):
        return "resistance changes with posture"
    if blood_of(look.event) == "none" and look.before.restored:
        return "no blood return again after it was restored"
    return None


def swelling(look: Look) -> str | None:
    """Return swelling at the port that is new or grows."""
    for where, change, during in _swellings(look):
        near = where not in _FAR
        if near and during not in _PUT_IN and _new(change) and (not look.fresh or change == "growing"):
            word = f"{change} swelling" if change in ("new", "growing") else "swelling"
            return f"{word}{_at(where) or ' at the port'}"
    return None


def pus(look: Look) -> str | None:
    """Return pus, seen at the site or reported as a sign."""
    site = _site(look)
    if (site is not None and site.drainage == "purulent") or any(True for _ in _signs(look, "pus")):
        return "pus"
    return None


def red_and_tender(look: Look) -> str | None:
    """Return redness together with tenderness, by policy."""
    site = _site(look)
    if site is None or look.fresh or look.policy.choice("redness_and_tenderness_holds") != "yes":
        return None
    return "redness and tenderness" if site.erythema == "present" and site.tenderness == "present" else None


def port_lies(look: Look) -> str | None:
    """Return that the port is flipped or not felt."""
    site = _site(look)
    return f"port {site.port}" if site is not None and site.port in ("flipped", "not felt") else None


def skin(look: Look) -> str | None:
    """Return skin over the port that is broken, thinned or opening."""
    site = _site(look)
    if site is None:
        return None
    if getattr(site, "incision", None) == "opening":
        return "incision opening"
    if site.skin in ("broken", "thinned"):
        return f"skin {site.skin}"
    return "port visible through the skin" if site.skin == "port visible" else None


def hurt(look: Look) -> str | None:
    """Return that what is given comes out, hurts or swells at the site, or the needle came out while it ran."""
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
    running = fact_of(event, "running")
    ran = running != "nothing" if running else look.before.infusion is not None
    if kind == "needle dislodged" and fact_of(event, "extent") == "completely out" and ran:
        return "needle out while something ran"
    if "needle out" in (fact_of(event, "found") or ()) and look.before.infusion is not None:
        return "needle out while something ran"
    return None


def far_swelling(look: Look) -> str | None:
    """Return swelling of arm, face, neck or chest."""
    for where, change, _ in _swellings(look):
        if where in _FAR and _new(change):
            word = f"{change} swelling" if change in ("new", "growing") else "swelling"
            return f"{word} {where}" if where == "along the catheter" else f"{word}{_at(where)}"
    return None


def fever(look: Look) -> str | None:
    """Return fever or chills that began after a flush or a start."""
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


def found_open(look: Look) -> str | None:
    """Return breathlessness, chest pain or a line found open."""
    for sign in _signs(look, "breathlessness", "chest pain", "line found open"):
        return str(sign.what)
    found = fact_of(look.event, "found") or ()
    opened = [word for word in ("connector off", "tubing parted") if word in found]
    return f"line found open: {opened[0]}" if opened else None


def parted(look: Look) -> str | None:
    """Return that the catheter parted."""
    return "catheter parted" if any(True for _ in _signs(look, "catheter parted")) else None


def partly_out(look: Look) -> str | None:
    """Return that the needle is partly out."""
    event = look.event
    dislodged = event.kind == "needle dislodged" and fact_of(event, "extent") != "completely out"
    return "needle partly out" if dislodged or "needle partly out" in (fact_of(event, "found") or ()) else None


def not_whole(look: Look) -> str | None:
    """Return that the needle did not come out whole, and what is missing."""
    if fact_of(look.event, "needle_intact") is not False:
        return None
    missing = fact_of(look.event, "missing_piece")
    return "needle not whole at removal" + (f': "{on_one_row(missing)}"' if missing else "")


def tip(look: Look) -> str | None:
    """Return that the tip is not confirmed, or lies where it does not belong."""
    if fact_of(look.event, "tip_confirmed") is False:
        return "tip position not confirmed"
    location = wrong_tip(look.event)
    return f'tip lies wrong: "{on_one_row(location)}"' if location is not None else None


def wrong_tip(event: ev.Event) -> str | None:
    """Return where an event says that the tip lies, if it does not belong there."""
    tip = fact_of(event, "tip") if event.kind == "port facts" else None
    location = tip.location if tip is not None else fact_of(event, "tip_location")
    return location if isinstance(location, str) and WRONG_TIP.search(location) else None


WRONG_TIP: Final = re.compile(
    r"azygos|jugular|subclavian|axillary|brachiocephalic|innominate|ventric|mammary|hepatic|renal|arter|coil|outside",
    re.IGNORECASE,
)
"""Places in which a tip does not belong (common practice; a place in other words is not judged)."""


def over_limit(look: Look) -> str | None:
    """Return a rate or pressure above what port or needle is rated for."""
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


def coring(look: Look) -> str | None:
    """Return that a coring needle was used."""
    needle = fact_of(look.event, "needle")
    return "coring needle used" if needle.__class__ is Needle and needle.non_coring is False else None
