"""Facts of one record that cannot all be true, or acts in an order that undoes one of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, unsafe, wrong
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.problems import Related
from lda_notes.record import events as ev
from lda_notes.record.parts import Anesthetic, Antisepsis, Dressing, Lock, Needle, NotDone, Sign, Site

_PATENT: Final = Citation("ins-patency", "R2")
_MINUTE: Final = timedelta(minutes=1)


# -- anesthetic, antiseptic, needle: in this order --


@unsafe("prepare the skin again after the spray and let it dry before the needle", COMMON_PRACTICE)
def spray_after_antisepsis(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds cold spray that is not labeled sterile, used after skin preparation had begun.

    Such spray is not sterile: on prepared skin it undoes the preparation right where the needle goes in.

    Spray first, then prepare the whole site.
    """
    spray = event.anesthetic
    if type(spray) is not Anesthetic or spray.agent != "vapocoolant spray" or spray.sterile is True:
        return
    if (started := _skin_prep_before(event, spray.applied_at)) is not None:
        yield Found(
            "anesthetic.applied_at",
            f"cold spray not labeled sterile was sprayed at {case.say(spray.applied_at or event.at)}, after skin "
            f"preparation began at {case.say(started)}",
        )


def _skin_prep_before(event: ev.Access, moment: datetime | None) -> datetime | None:
    """Return when skin preparation began, if that was before ``moment``."""
    antisepsis = event.antisepsis
    if moment is None or type(antisepsis) is not Antisepsis or antisepsis.started_at is None:
        return None
    return antisepsis.started_at if moment > antisepsis.started_at else None


@advice(
    "spray before skin preparation, or let the facility's policy accept sterile spray after it",
    Citation("us-hospitals", "M-M"),
    limits=("anesthetic_spray_order",),
)
def sterile_spray_order(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds sterile-labeled cold spray used after skin preparation began, where policy expects spray before it.

    Sources differ: some spray only before skin preparation, some accept a sterile-labeled spray after it.
    """
    spray = event.anesthetic
    if type(spray) is not Anesthetic or spray.agent != "vapocoolant spray" or spray.sterile is not True:
        return
    if case.policy.choice("anesthetic_spray_order") != "before antisepsis":
        return
    if (started := _skin_prep_before(event, spray.applied_at)) is not None:
        yield Found(
            "anesthetic.applied_at",
            f"sterile-labeled cold spray was sprayed after skin preparation began at {case.say(started)}; the policy "
            "expects it before",
        )


@unsafe("prepare the skin again after the cream is off", Citation("paediatric-em", "R2"))
def cream_after_antisepsis(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds anesthetic cream taken off after skin preparation had begun.

    The antiseptic cannot reach skin that is covered with cream, and wiping the cream off afterwards takes the
    antiseptic with it. The order is: anesthetic on, anesthetic off, antiseptic, drying, needle.

    Take the cream off first, then prepare the skin.
    """
    cream = event.anesthetic
    if type(cream) is not Anesthetic or cream.removed_at is None:
        return
    if (started := _skin_prep_before(event, cream.removed_at)) is not None:
        yield Found(
            "anesthetic.removed_at",
            f"{cream.agent} was taken off at {case.say(cream.removed_at)}, after skin preparation began at "
            f"{case.say(started)}",
        )


@wrong("correct the times", COMMON_PRACTICE)
def anesthetic_times(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares the times of the anesthetic with each other and with the needle.

    Cream cannot be taken off before it was put on, and what numbs the skin comes before the needle.
    """
    used = event.anesthetic
    if type(used) is not Anesthetic:
        return
    if used.applied_at is not None and used.removed_at is not None and used.removed_at < used.applied_at:
        yield Found(
            "anesthetic.removed_at",
            f"{used.agent} was taken off at {case.say(used.removed_at)}, before it was put on at "
            f"{case.say(used.applied_at)}",
        )
    for key, moment in (("applied_at", used.applied_at), ("removed_at", used.removed_at)):
        if moment is not None and moment > event.at:
            says = f"the time {case.say(moment)} of {used.agent} is later than the needle at {case.say(event.at)}"
            yield Found(f"anesthetic.{key}", says)
            return


@wrong("correct the times", COMMON_PRACTICE)
def skin_prep_times(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Adds friction and drying to the start of skin preparation at an access and compares the end with the needle.

    Preparation that would have ended after the needle was in was shorter than charted, or one of the times is wrong. A
    minute is allowed, since times are charted to the minute.
    """
    antisepsis = event.antisepsis
    if type(antisepsis) is not Antisepsis or antisepsis.started_at is None:
        return
    seconds = int((antisepsis.scrub_s or 0) + (antisepsis.dry_s or 0))
    ready = antisepsis.started_at + timedelta(seconds=seconds)
    if ready > event.at + _MINUTE:
        yield Found(
            "antisepsis.started_at",
            f"skin preparation began at {case.say(antisepsis.started_at)} and took {seconds} seconds; the needle is "
            f"charted at {case.say(event.at)}, before it could be ready",
        )


# -- blood return --


@wrong("correct the blood return or what was drawn", _PATENT)
def blood_without_return(step: Step, event: ev.Proved, case: Case) -> Iterable[Found]:
    """Finds blood return recorded as none beside facts that require blood: its look, a discarded aspirate, samples.

    A line without blood return gives no aspirate. If blood came back in the end, record the blood return as it was
    then, and the steps that were tried.
    """
    if event.blood_return != "none":
        return
    discarded = type(event.discard_ml) is Decimal and event.discard_ml > 0
    beside = {
        **({"blood_looks": f"the look of the blood {event.blood_looks}"} if event.blood_looks is not None else {}),
        **({"discard_ml": "a discarded aspirate"} if discarded else {}),
        **({"samples": "blood samples"} if event.samples else {}),
    }
    if beside:
        are = "is" if len(beside) == 1 and "samples" not in beside else "are"
        yield Found(
            "blood_return",
            f"blood return is recorded as none, but {' and '.join(beside.values())} {are} recorded too",
            related=tuple(Related(step.entry.path(fact), says) for fact, says in beside.items()),
        )


# -- lock and infusion --


@wrong("record whether the line was locked or connected", COMMON_PRACTICE)
def lock_and_infusion(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds an access with both a lock and a connected infusion.

    A lock stays in an idle line; in a running line it would be given to the patient.

    If the line was locked first and connected later, chart the connection as a separate event.
    """
    if event.infusion is not None and type(event.lock) is Lock:
        says = f"the line is recorded as locked with {event.lock.drug} and an infusion as connected, in one access"
        yield Found("lock", says, related=(Related(step.entry.path("infusion"), "the infusion"),))


@wrong("correct the drug or remove the strength", COMMON_PRACTICE)
def units_without_heparin(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Finds a strength in units per mL on a lock that contains no heparin.

    Only heparin is measured in units here: either the drug or the strength is wrong, and the difference matters to a
    patient who must not have heparin.

    Read the label again.
    """
    lock = event.lock
    if type(lock) is Lock and lock.units_per_ml and "heparin" not in lock.drug:
        yield Found(
            "lock.units_per_ml", f"the lock of {lock.drug} has a strength in units per mL and contains no heparin"
        )


# -- dressing and site --


@wrong("correct the dressing's type or the view of the site", COMMON_PRACTICE)
def dressing_view(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Compares the dressing's type with whether the puncture site is in view.

    Through a transparent dressing the site is seen; gauze over the site hides it. The type decides how long the
    dressing may stay, so the two must agree.

    Gauze only under the wings with the site hidden counts as gauze.
    """
    dressing = event.dressing
    if type(dressing) is not Dressing or dressing.site_visible is None:
        return
    hides = dressing.type in ("gauze", "gauze under transparent")
    shows = dressing.type in ("transparent", "transparent with chlorhexidine", "gauze under wings")
    if (hides and dressing.site_visible) or (shows and not dressing.site_visible):
        yield Found(
            "dressing.site_visible",
            f"the dressing is {dressing.type} and the puncture site is {'' if dressing.site_visible else 'not '}in "
            f"view; this dressing {'hides it' if hides else 'leaves it in view'}",
        )


@wrong("say what the dressing was like: intact, or what was wrong", COMMON_PRACTICE)
def dressing_found_both(
    step: Step, event: ev.DressingChange | ev.LineCheck | ev.ArrivalAccessed, case: Case
) -> Iterable[Found]:
    """Finds a dressing recorded both as intact and as damp, soiled, loose or missing.

    Intact means that nothing is wrong with it; what is wrong decides whether it is changed at once.
    """
    found = event.dressing_found
    if type(found) is tuple:
        word = "intact" if "intact" in found else "missing"
        yield from _beside_others("dressing_found", "the dressing was found", word, found)


def _beside_others(fact: str, says: str, word: str, found: tuple[str, ...]) -> Iterator[Found]:
    """Yield a fault where a word that excludes all others is recorded beside one."""
    others = [other for other in found if other != word]
    if word in found and others:
        yield Found(fact, f"{says} {word} and {' and '.join(others)}; these exclude each other")


@wrong("keep the answers that are true", COMMON_PRACTICE)
def arm_history_both(step: Step, event: ev.PortFacts, case: Case) -> Iterable[Found]:
    """Finds a history of the port's arm recorded both as none of these and as one of them.

    Whether there is lymphedema, a fistula or an operation on that side decides how the port is cared for.
    """
    return _beside_others("arm_history", "the history of that arm is", "none of these", event.arm_history)


@wrong("correct the redness or its extent", COMMON_PRACTICE)
def erythema_extent(step: Step, event: ev.SiteSeen, case: Case) -> Iterable[Found]:
    """Finds an extent of redness where redness is recorded as none.

    Whoever compares the next assessment with this one must know whether the skin was red.
    """
    site = event.site
    if type(site) is Site and site.erythema_mm and site.erythema == "none":
        yield Found("site.erythema_mm", f"redness is none, and its extent is {quantity(site.erythema_mm, 'mm')}")


@wrong("correct whichever of the two is wrong", COMMON_PRACTICE)
def recorded_both_ways(step: Step, event: ev.CareEvent | ev.Discharge, case: Case) -> Iterable[Found]:
    """Finds two facts of one entry that cannot both be true, such as a whole needle with a piece missing.

    The next nurse reads one of them and acts on it; no one can tell which one was meant.
    """
    return (Found(fact, says) for fact, says in _both_ways(event.__dict__))


def _both_ways(facts: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield each pair that cannot be: where the fact stands that says it the other way, and both in words."""
    found, old, discard = facts.get("found") or (), facts.get("old_lock"), facts.get("discard_ml")
    punctures, flushes = facts.get("punctures") or (), facts.get("flushes")
    if facts.get("needle_intact") is True and facts.get("missing_piece"):
        yield "missing_piece", "the needle came out whole, and a missing piece is recorded"
    if facts.get("connections_secure") is True and not {"connector off", "tubing parted"}.isdisjoint(found):
        yield "found", "connections are secure, and a connector or tubing was found off"
    if facts.get("nothing_runs") is True and facts.get("infusion"):
        yield "infusion", "nothing is running, and an infusion is recorded as running"
    if old == "aspirated and discarded" and isinstance(discard, NotDone):
        yield "discard_ml", "the old lock was aspirated and discarded, and no aspirate was discarded"
    if old == "could not be aspirated" and isinstance(discard, Decimal) and discard > 0:
        yield "discard_ml", f"the old lock could not be aspirated, and {quantity(discard, 'mL')} were discarded"
    if isinstance(facts.get("needle"), Needle) and punctures and all(one.outcome == "port missed" for one in punctures):
        yield "punctures", "a needle was inserted, and every puncture missed the port"
    last = flushes[-1].resistance if isinstance(flushes, tuple) and flushes else None
    if isinstance(facts.get("lock"), Lock) and last == "cannot flush":
        yield "lock", "the line was locked, and at the last flush it could not be flushed"
    if facts.get("needle_in") is False and facts.get("needle_removal") is not None:
        yield "needle_removal", "no needle was left in, and its removal is planned"
    site = facts.get("site")
    if isinstance(site, Site):
        yield from _signs_both_ways(site, facts.get("signs") or ())


_SIGN_OF: Final = {"swelling": ("swelling",), "erythema": ("redness",), "drainage": ("pus",)}
"""Which signs speak against a look at the site that found none, where they are at the port or in no place."""


def _signs_both_ways(site: Site, signs: Sequence[Sign]) -> Iterator[tuple[str, str]]:
    here = {sign.what for sign in signs if sign.where in (None, "port pocket", "needle site")}
    for key, whats in _SIGN_OF.items():
        if getattr(site, key) == "none" and not here.isdisjoint(whats):
            yield "signs", f"{key} at the site is none, and {whats[0]} is recorded as a sign"
    if site.swelling == "none" and site.swelling_where:
        yield "site.swelling_where", "swelling is none, and the place of a swelling is recorded"
    if site.swelling == "none" and site.swelling_change in ("new", "growing"):
        yield "site.swelling_change", f"swelling is none, and it is recorded as {site.swelling_change}"


# -- needles --


@wrong("record the device identifier of the needle that was put in", Citation("fda-udi", "R2"))
def needle_reused(case: Case) -> Iterable[Found]:
    """Finds two accesses whose needles carry the same device identifier with the same serial number.

    A serial number identifies one needle, and a needle is used once. The same lot on two needles is ordinary and is not
    reported.

    A needle used twice is an incident to report.
    """
    seen: dict[str, Entry] = {}
    for entry in case.timeline.entries:
        needle = entry.event.needle if isinstance(entry.event, ev.Access) else None
        udi = needle.udi if needle is not None else None
        if udi is None or "(21)" not in udi:
            continue
        if (first := seen.setdefault(udi, entry)) is not entry:
            yield Found(
                "needle.udi",
                f"the needle of {entry.event.id} carries the device identifier and serial number of that of "
                f"{first.event.id}; a needle is used once",
                entry,
                related=(Related(first.path("needle", "udi"), "the first use"),),
            )
