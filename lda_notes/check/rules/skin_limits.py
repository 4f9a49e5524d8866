"""Limits on the way to the needle: friction and drying of the skin, local anesthesia."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Final, NamedTuple

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, unsafe
from lda_notes.check.rules.overrun import length
from lda_notes.check.rules.patients import age_words, is_adult, months_at
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import Anesthetic, Antisepsis

_SECOND: Final = timedelta(seconds=1)
_CREAM: Final = "lidocaine 2.5% with prilocaine 2.5% cream"


_SCRUB: Final = {"chlorhexidine in alcohol": "chg_scrub_dry_site_s", "70% isopropyl alcohol": "isopropyl_scrub_s"}
"""The limit of friction by agent, for agents whose own source sets one; on a moist site `_MOIST` replaces it."""

_DRY: Final = {
    "chlorhexidine in alcohol": "chg_dry_dry_site_s",
    "70% isopropyl alcohol": "isopropyl_dry_s",
    "povidone-iodine": "povidone_iodine_dry_s",
}
"""The limit of drying by agent, likewise."""

_MOIST: Final = {"chg_scrub_dry_site_s": "chg_scrub_moist_site_s", "chg_dry_dry_site_s": "chg_dry_moist_site_s"}


def _too_short(event: ev.Dressed, case: Case, fact: str, limits: Mapping[str, str], did: str) -> Iterator[Found]:
    """Yield a time of skin preparation that is below the limit of its agent."""
    used = event.antisepsis
    if not isinstance(used, Antisepsis) or (seconds := getattr(used, fact)) is None or used.agent not in limits:
        return
    limit = limits[used.agent]
    if used.skin == "moist":
        limit = _MOIST.get(limit, limit)
    if seconds < case.policy.value(limit):
        site = f" on a {used.skin} site" if used.skin is not None else ""
        says = f"{used.agent}{site} {did} for {quantity(seconds, 'seconds')}; the minimum is {case.policy.text(limit)}"
        yield Found(f"antisepsis.{fact}", says, citations=case.policy.citations(limit))


@unsafe(
    "repeat the skin preparation for the full time before the needle goes in; if it is in, notify the prescriber",
    limits=("chg_scrub_dry_site_s", "chg_scrub_moist_site_s", "isopropyl_scrub_s"),
)
def scrub_time(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Compares the friction time with what the agent's label or source asks for on a dry or a moist site.

    An antiseptic kills by contact; friction works it into the folds of the skin. A moist site dilutes it and needs four
    times as long. If the record does not say that the site was moist, the time for a dry site is expected.

    Chart what was actually done.
    """
    return _too_short(event, case, "scrub_s", _SCRUB, "was scrubbed")


@advice(
    "prepare the skin with friction for the full time, unless the product's label says otherwise",
    limits=("skin_friction_s",),
)
def skin_friction(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Compares friction with common practice for agents whose source sets no time: iodine, aqueous chlorhexidine.

    Where no labeled time is at hand, a minute of friction over more skin than the dressing will cover is usual.

    This limit has no published source.
    """
    used = event.antisepsis
    if type(used) is not Antisepsis or used.scrub_s is None or used.agent in _SCRUB:
        return
    if used.scrub_s < case.policy.value("skin_friction_s"):
        yield Found(
            "antisepsis.scrub_s",
            f"{used.agent} was applied with friction for {quantity(used.scrub_s, 'seconds')}; "
            f"the minimum is {case.policy.text('skin_friction_s')}",
        )


@unsafe(
    "let the skin air-dry for the full time, and never wipe or fan it dry",
    limits=("chg_dry_dry_site_s", "chg_dry_moist_site_s", "isopropyl_dry_s", "povidone_iodine_dry_s"),
)
def antiseptic_dry_time(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Compares the drying time with what the agent's label or source asks for on a dry or a moist site.

    Antiseptics continue to act while they dry; wet alcohol under a dressing burns the skin, and the dressing does not
    stick. Larger chlorhexidine applicators call for three minutes or more: follow the label in hand.
    """
    return _too_short(event, case, "dry_s", _DRY, "dried")


@unsafe(
    "prepare the skin again and let it dry fully before anything touches it",
    Citation("ins-2016", "M-H"),
    Citation("ins-2021", "M-H"),
)
def skin_not_dry(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Finds a charted skin preparation that was not fully dry when something touched it.

    Whatever the clock says, the skin must look dry: only then has the antiseptic done its work, and only then does the
    dressing hold.

    If the needle is in, watch the site and change a dressing that lifts.
    """
    antisepsis = event.antisepsis
    if type(antisepsis) is Antisepsis and antisepsis.fully_dry is False:
        yield Found("antisepsis.fully_dry", "the skin was touched before it was fully dry")


# -- local anesthesia --

_CONTACT: Final = {_CREAM: "cream_contact_minutes", "lidocaine 4% cream": "lidocaine_4_contact_minutes"}
"""The shortest time that a cream's label asks, by cream."""


def _numbed(event: ev.Access, *agents: str) -> Anesthetic | None:
    """Return the anesthesia of an access, if one of these agents was used."""
    used = event.anesthetic
    return used if isinstance(used, Anesthetic) and used.agent in agents else None


@advice(
    "let the cream act for its full time, unless a local protocol sets a shorter one",
    Citation("ayrshire-arran-adult", "R", "20 to 60 minutes before a port"),
    limits=("cream_contact_minutes", "lidocaine_4_contact_minutes"),
)
def cream_contact_short(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares the time that an anesthetic cream stayed on with the shortest time on its label.

    If taken off too early, the cream numbs little and the patient feels the needle. Some local guidance accepts 20 to
    60 minutes for a port.

    Plan the cream an hour ahead (half an hour for lidocaine 4%), and chart time on and time off.
    """
    used = _numbed(event, *_CONTACT)
    if used is None or used.applied_at is None or used.removed_at is None:
        return
    limit, stayed = _CONTACT[used.agent], used.removed_at - used.applied_at
    if timedelta(0) <= stayed < case.span(limit):
        yield Found(
            "anesthetic.removed_at",
            f"{used.agent} stayed on for {length(stayed)}; the minimum is {case.policy.text(limit)}",
            citations=(*case.policy.citations(limit), Citation("ayrshire-arran-adult", "R", "20 to 60 minutes")),
        )


class _Maxima(NamedTuple):
    """A row of the label's table for children: whom it is for, and the stem of its limits' names."""

    from_months: int
    stem: str
    over_kg: str | None
    whom: str


_TABLE: Final = (
    _Maxima(84, "cream_7_to_12_years", "cream_7_to_12_years_kg", "7 to 12 years"),
    _Maxima(12, "cream_1_to_6_years", "cream_1_to_6_years_kg", "1 to 6 years"),
    _Maxima(3, "cream_3_to_12_months", "cream_3_to_12_months_kg", "3 to 12 months"),
    _Maxima(0, "cream_under_3_months", None, "under 3 months or too light for an older row"),
)
_TABLE_ENDS_MONTHS: Final = 13 * 12


def _maxima(case: Case, months: int, weight: Decimal | None) -> _Maxima | None:
    """Return the row for that age and weight; None when it depends on a weight that is not known."""
    for row in _TABLE:
        if months < row.from_months:
            continue
        if row.over_kg is None:
            return row
        if weight is None:
            return None
        if weight > case.policy.value(row.over_kg):
            return row
    return _TABLE[-1]


_CHILD_LIMITS: Final = tuple(f"{row.stem}_{unit}" for row in reversed(_TABLE) for unit in ("g", "cm2", "hours"))


@unsafe(
    "take the cream off if it is still on, watch for bluish skin and drowsiness, and notify the prescriber",
    limits=_CHILD_LIMITS,
)
def cream_child_maximum(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares amount, area and time of lidocaine and prilocaine cream with the label's maxima for age and weight.

    Small children absorb more of the drug and can develop methemoglobinemia or seizures. The label's table goes by age;
    a child too light for the row of their age is judged by the row that their weight allows.
    """
    used, months = _numbed(event, _CREAM), months_at(case, event)
    if used is None or months is None or not 0 <= months < _TABLE_ENDS_MONTHS:
        return
    weight = case.timeline.patient_at(event.at).weight_kg
    row = _maxima(case, months, weight)
    if row is None:
        return
    whom = f"for a child of {age_words(months)}" + (f" and {quantity(weight, 'kg')}" if weight is not None else "")
    for key, found, said, limit in _used_amounts(used, row):
        if found > case.policy.value(limit):
            says = f"{said} of {used.agent} {whom}; the limit for {row.whom} is {case.policy.text(limit)}"
            yield Found(f"anesthetic.{key}", says, citations=case.policy.citations(limit))


def _used_amounts(used: Anesthetic, row: _Maxima) -> Iterator[tuple[str, Decimal, str, str]]:
    if used.amount_g is not None:
        yield "amount_g", used.amount_g, quantity(used.amount_g, "g"), f"{row.stem}_g"
    if used.area_cm2 is not None:
        yield "area_cm2", used.area_cm2, quantity(used.area_cm2, "square cm"), f"{row.stem}_cm2"
    if used.applied_at is not None and used.removed_at is not None:
        stayed = used.removed_at - used.applied_at
        yield "removed_at", Decimal(stayed // _SECOND) / 3600, length(stayed), f"{row.stem}_hours"


@gap(
    "weigh the child and record the weight, so that the cream can be compared with the label's table",
    limits=_CHILD_LIMITS,
)
def cream_maximum_unknown(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds lidocaine and prilocaine cream on a child whose weight is not recorded.

    From 3 months on, the label's maxima depend on the weight; without it no one can tell whether the cream was
    too much, and no other figure stands in for it.
    """
    used, months = _numbed(event, _CREAM), months_at(case, event)
    if used is None or case.timeline.patient_at(event.at).weight_kg is not None:
        return
    if months is not None and 3 <= months < _TABLE_ENDS_MONTHS:
        yield Found(
            "anesthetic.agent",
            f"the label's maxima of {used.agent} for a child of {age_words(months)} depend on the weight, which is not "
            "recorded; they cannot be worked out",
        )


@advice(
    "compare amount and area with the order or the label",
    limits=("cream_adult_g", "cream_adult_area_cm2", "cream_adult_area_min_cm2"),
)
def cream_adult_amount(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares amount and area of lidocaine and prilocaine cream on an adult with the label's dose for a needle.

    The label's dose for a needle into a vein is 2.5 g, spread over 20 to 25 square cm; more cream, or the same on less
    or more skin, acts differently.

    Follow the order where it differs, and chart what was used.
    """
    used = _numbed(event, _CREAM)
    if used is None or not is_adult(case, event):
        return
    policy = case.policy
    if used.amount_g is not None and used.amount_g > policy.value("cream_adult_g"):
        says = f"{quantity(used.amount_g, 'g')} of {used.agent}; an adult's is {policy.text('cream_adult_g')}"
        yield Found("anesthetic.amount_g", says)
    low, high = policy.value("cream_adult_area_min_cm2"), policy.value("cream_adult_area_cm2")
    if used.area_cm2 is not None and not low <= used.area_cm2 <= high:
        yield Found(
            "anesthetic.area_cm2",
            f"{used.agent} covered {quantity(used.area_cm2, 'square cm')} on an adult; "
            f"the label says {quantity(low, 'square cm')} to {quantity(high, 'square cm')}",
        )


@advice("expect feeling to have returned, and ask the patient", limits=("cream_effect_hours",))
def cream_worn_off(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Measures the time from taking the cream off to the needle.

    The skin stays numb for one to two hours after the cream is off; after that the patient feels the needle fully.

    Plan cream and access together.
    """
    used = _numbed(event, _CREAM)
    if used is None or used.removed_at is None:
        return
    waited = event.at - used.removed_at
    if waited > case.span("cream_effect_hours"):
        yield Found(
            "anesthetic.removed_at",
            f"the needle came {length(waited)} after the cream was taken off; numbness lasts at most "
            f"{case.policy.text('cream_effect_hours')}",
        )


_MINUTE: Final = timedelta(minutes=1)


@advice("expect feeling to have returned, and ask the patient", limits=("spray_to_needle_s",))
def spray_worn_off(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Measures the time from cold spray to the needle, where the skin was prepared before the spray.

    Cold numbs for about a minute. Since times are written to the minute, only an interval that was certainly too long
    is reported. If the skin is prepared after the spray, preparation alone takes that minute, and this rule reports
    nothing.

    Spray right before the needle if the policy accepts sterile spray; otherwise choose cream.
    """
    used, prepared = _numbed(event, "vapocoolant spray"), event.antisepsis
    if used is None or used.applied_at is None or type(prepared) is not Antisepsis:
        return
    if prepared.started_at is None or prepared.started_at > used.applied_at:
        return
    waited, limit = event.at - used.applied_at, case.span("spray_to_needle_s")
    to_the_minute = event.at.second == used.applied_at.second == 0
    if waited - _MINUTE >= limit if to_the_minute else waited > limit:
        yield Found(
            "anesthetic.applied_at",
            f"the needle came {length(waited)} after the cold spray; its numbing effect lasts about "
            f"{case.policy.text('spray_to_needle_s')}",
        )


@advice("compare the volume with the order or the facility's protocol", limits=("intradermal_lidocaine_ml",))
def intradermal_volume(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares the volume of lidocaine injected into the skin with what is usual.

    A small wheal numbs the skin over the port; more lifts the skin and makes the port harder to feel.

    Follow the order where it differs, and chart what was used.
    """
    used = _numbed(event, "intradermal lidocaine 1%")
    ml, limit = used.volume_ml if used is not None else None, "intradermal_lidocaine_ml"
    if used is not None and ml is not None and ml > case.policy.value(limit):
        says = f"{quantity(ml, 'mL')} of {used.agent}; the limit is {case.policy.text(limit)}"
        yield Found("anesthetic.volume_ml", says)
