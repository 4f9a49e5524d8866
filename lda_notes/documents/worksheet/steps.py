"""The steps of the work at the bedside: which facts belong to which, and the cautions that apply at each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from lda_notes.documents.handoff.contingencies import thrombolytic
from lda_notes.documents.handoff.line import LineFacts
from lda_notes.documents.handoff.view import View
from lda_notes.documents.precautions import Precaution, merged
from lda_notes.documents.references import Basis, Stated
from lda_notes.documents.worksheet.known import last_that_worked
from lda_notes.knowledge import amounts
from lda_notes.knowledge.ages import years_old
from lda_notes.knowledge.policy import number, quantity
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.knowledge.suitability import antiseptics, disc_suits, locks, suits, unread_words
from lda_notes.line import due
from lda_notes.narrative import phrasing

TITLES: Final[Mapping[str, str]] = {
    "septum": "Before you begin",
    "identifiers_checked": "Before you begin",
    "allergies_checked": "Before you begin",
    "order": "Before you begin",
    "reason": "Before you begin",
    "treatment": "Before you begin",
    "came_from": "Before you begin",
    "inserted_at": "Needle and dressing",
    "dressed_at": "Needle and dressing",
    "withdrawn_ml": "Confirm patency",
    "connections_secure": "Look at the dressing",
    "dressing_found": "Look at the dressing",
    "site": "Look at the site",
    "tip_confirmed": "Look at the site",
    "anesthetic": "Numb the skin",
    "technique": "Keep it sterile",
    "antisepsis": "Prepare the skin",
    "extension_primed": "Put the needle in",
    "needle": "Put the needle in",
    "attempts": "Put the needle in",
    "blood_return": "Confirm patency",
    "blood_looks": "Confirm patency",
    "steps_tried": "Confirm patency",
    "discard_ml": "Confirm patency",
    "hub_scrub_s": "Flush",
    "flushes": "Flush",
    "lock": "Lock or connect",
    "infusion": "Lock or connect",
    "needle_intact": "Take the needle out",
    "safety_engaged": "Take the needle out",
    "bleeding": "Take the needle out",
    "cover": "Take the needle out",
    "dressing": "Dress and label",
    "connector_changed": "Dress and label",
    "disinfecting_caps": "Dress and label",
    "problems": "The patient",
    "pain": "The patient",
    "response": "The patient",
    "teaching": "The patient",
    "next_due": "What is due next",
    "charted_at": "Sign",
    "by": "Sign",
    "verified_by": "Sign",
}
"""The step that begins with a fact, by its first key; facts without a row belong to the step of the one before."""

_ON_ARRIVAL: Final[Mapping[str, str]] = {"needle": "Needle and dressing", "dressing": "Needle and dressing"}
"""Steps that are looked at, not done, when a patient arrives with a needle in."""


def step_of(work: str, key: str, before: str) -> str:
    """Return the step of ``work`` that a fact belongs to; a fact without a row stays in the step ``before`` it."""
    arrived = _ON_ARRIVAL.get(key) if work == "arrival accessed" else None
    return arrived or TITLES.get(key, before)


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to take care of at a step, and what it rests on."""

    says: str
    basis: tuple[Basis, ...] = ()


def _common(key: str, says: str) -> Caution:
    return Caution(says, (Stated(key, says, (COMMON_PRACTICE,)),))


_CHILD: Final = (Citation("ayrshire-arran-child", "R"),)
_NO_ACCESS: Final = (
    "No needle goes through skin that looks infected, broken or thinned, or into a port that has flipped"
)
_PATENT: Final = "Blood must look like whole blood and the flush must run freely before anything is given"


def adult(view: View) -> bool | None:
    """Return whether the patient is an adult by policy; None when the birth date is not recorded."""
    born = view.timeline.episode.patient.birth_date
    if born is None:
        return None
    return years_old(born, view.asof.astimezone(view.wording.zone).date()) >= view.policy.value("adult_years")


def heparin_strength(view: View) -> Caution | None:
    """Return the strength of a heparin lock that suits the patient in words; None when none does.

    A child's is the order's: the weak one alone is not asked about for an infant or under a weight by policy.
    """
    found = [one.units_per_ml for one in locks(view.subject, view.policy) if one.drug == "heparin" and one.units_per_ml]
    if not found:
        return None
    if adult(view):
        return Caution(quantity(found[0], "units per mL"), ("heparin_lock_strength_units_per_ml",))
    if len(found) > 1:
        return Caution("the strength ordered")
    usual = f"the strength ordered, usually {quantity(found[0], 'units per mL')} at this age or weight"
    return Caution(usual, ("heparin_lock_low_strength_units_per_ml",))


def cautions(
    view: View, kind: str, title: str, precautions: tuple[Precaution, ...], line: LineFacts
) -> tuple[Caution, ...]:
    """Return the cautions of one step of ``kind``: those of the patient's allergies first."""
    keys = {key for key, of in TITLES.items() if of == title}
    here = merged(p for p in precautions if keys & p.about)
    own = [Caution(phrasing.capital(f"{reasons}: {says}"), basis) for reasons, says, basis in here]
    return (*own, *_of_step(view, kind, title, line))


def _of_step(view: View, kind: str, title: str, line: LineFacts) -> Iterator[Caution]:
    match title:
        case "Look at the site" if kind == "access":
            yield Caution(_NO_ACCESS, (Stated("W11", _NO_ACCESS, _CHILD),))
        case "Numb the skin":
            yield from _numbing(view)
        case "Keep it sterile":
            yield _common("W1", "Masks for all people present; sterile gloves from the sterile set-up onward")
        case "Prepare the skin":
            yield from _skin(view)
        case "Put the needle in":
            yield _common("W2", "Prime and clamp the extension first; at a right angle, in one steady push")
            yield Caution(f"At most {view.policy.text('needle_attempts')} by one nurse", ("needle_attempts",))
        case "Confirm patency" if kind == "patency check":
            yield from _looks(view, line)
        case "Confirm patency":
            yield from _proof(view, kind)
        case "Flush":
            if kind == "arrival accessed":
                yield Caution("Chart flush and lock as a flush of their own")
            yield _scrub(view)
            yield from _flush(view)
        case "Lock or connect":
            yield from _lock(view)
        case "Take the needle out":
            yield _common(
                "W3", "Steady the port; straight out, the safety device locked, then look at the needle's tip"
            )
        case "Dress and label":
            yield from _dressing(view)
        case "What is due next":
            yield from _next(view, kind)
        case _:
            return


_CREAM: Final = "lidocaine 2.5% with prilocaine 2.5% cream"


def _numbing(view: View) -> Iterator[Caution]:
    if unread := unread_words(view.subject):
        yield _common("W14", f"Ask before numbing: {unread} could not be read")
    minutes = view.policy.text("cream_contact_minutes")
    if suits("anesthetic", _CREAM, view.subject, view.policy).plain:
        yield Caution(f"Cream of lidocaine and prilocaine: on for at least {minutes}", ("cream_contact_minutes",))
    if not suits("anesthetic", "vapocoolant spray", view.subject, view.policy).plain:
        return
    before = view.policy.choice("anesthetic_spray_order") == "before antisepsis"
    spray = "before skin preparation, never after" if before else "after skin preparation only if labeled sterile"
    yield Caution(f"Cold spray: {spray}", ("anesthetic_spray_order",))


def _skin(view: View) -> Iterator[Caution]:
    policy, agents = view.policy, antiseptics(view.subject, view.policy)
    if "chlorhexidine in alcohol" in agents:
        yield Caution(
            f"Chlorhexidine in alcohol: scrub {policy.text('chg_scrub_dry_site_s')} on a dry site, "
            f"{policy.text('chg_scrub_moist_site_s')} on a moist one; dry {policy.text('chg_dry_dry_site_s')} or "
            f"{policy.text('chg_dry_moist_site_s')}; each at least",
            ("chg_scrub_dry_site_s", "chg_scrub_moist_site_s", "chg_dry_dry_site_s", "chg_dry_moist_site_s"),
        )
    elif "70% isopropyl alcohol" in agents:
        yield Caution(
            f"70% isopropyl alcohol: rub {policy.text('isopropyl_scrub_s')}, dry {policy.text('isopropyl_dry_s')}; "
            "each at least",
            ("isopropyl_scrub_s", "isopropyl_dry_s"),
        )
    if "povidone-iodine" in agents:
        said = f"Povidone-iodine: dry at least {policy.text('povidone_iodine_dry_s')}"
        yield Caution(said, ("povidone_iodine_dry_s",))
    if not agents and "allergies" in view.subject.unread:
        yield _common("W13", "Ask which antiseptic: an allergy could not be read")
    elif not agents:
        yield _common("W13", "Ask the prescriber which antiseptic: allergies or age rule out the usual ones")
    yield _common("W4", "Let it dry by itself; never wipe or fan; nothing touches the skin after it")


def _proof(view: View, kind: str) -> Iterator[Caution]:
    yield Caution(_PATENT, (Stated("W12", _PATENT, (Citation("ons", "R"),)),))
    yield Caution("No blood: nothing more goes through the line; it is on hold", ("hold_ends_with",))
    grown = adult(view)
    if kind == "access" and grown is not None:
        name = "discard_adult_ml" if grown else "discard_child_ml"
        yield Caution(
            f"Discard the first aspirate, at least {view.policy.text(name)}: it contains the old lock", (name,)
        )


def _scrub(view: View) -> Caution:
    said = f"Scrub the needleless connector for {view.policy.text('hub_scrub_s')} or more and let it dry, each time"
    return Caution(said.replace("at least ", ""), ("hub_scrub_s",))


def _looks(view: View, line: LineFacts) -> Iterator[Caution]:
    """Yield when to look at a dwelling thrombolytic, and what to do when blood returns."""
    policy, dwell = view.policy, line.state.dwell
    drug = getattr(dwell.treatment.event, "drug", "") if dwell is not None else "alteplase"
    if drug != "alteplase":  # the times of the alteplase label are those of alteplase
        yield _common("W6", "Look when the order says; blood returns: withdraw and discard the contents, then flush")
        return
    first, second = (policy.text(f"alteplase_{look}_check_minutes") for look in ("first", "second"))
    yield Caution(
        f"Look {first} and {second} after it was put in; nothing else goes in before",
        ("alteplase_first_check_minutes", "alteplase_second_check_minutes"),
    )
    yield _common(
        "W6",
        "Blood returns: withdraw and discard the contents, then flush; none at the first look: leave it, look again",
    )
    for one in thrombolytic(view, line) if dwell is not None else ():
        yield Caution(f"If {one.when}: {one.then}", one.basis)


def _flush(view: View) -> Iterator[Caution]:
    policy = view.policy
    yield Caution(f"Syringe with a barrel of {policy.text('syringe_ml')} or more; never force", ("syringe_ml",))
    if adult(view):
        yield Caution(f"At least {policy.text('flush_ml')}, push-pause", ("flush_ml",))
    system = system_ml(view)
    if system is not None:
        least = amounts.minimum_flush_ml(system, policy)
        yield Caution(
            f"Catheter and recorded add-ons: {number(system)} mL; "
            f"{number(policy.value('flush_volume_factor'))} times that is {number(least)} mL",
            ("flush_volume_factor",),
        )


def system_ml(view: View) -> Decimal | None:
    """Return the volume of catheter and add-ons, in mL, the add-ons as they were with the last needle that worked."""
    port = view.timeline.episode.port
    found = last_that_worked(view, port.septa[0])
    needle = found[0] if found else None
    return amounts.system_volume_ml(
        port.catheter_volume_ml,
        needle.set_volume_ml if needle else None,
        needle.connector_volume_ml if needle else None,
    )


def _lock(view: View) -> Iterator[Caution]:
    policy = view.policy
    strength = heparin_strength(view)
    if strength is not None:
        said = f"Heparin for a lock is {strength.says}; read the strength on the label twice"
        yield Caution(said, strength.basis)
    system = system_ml(view)
    if system is not None:
        volume = number(amounts.lock_volume_ml(system, policy))
        yield Caution(f"A lock of {volume} mL fills catheter and recorded add-ons", ("lock_volume_factor",))


def _dressing(view: View) -> Iterator[Caution]:
    yield _common("W5", "Without tension, the puncture site in view, labeled with date and initials")
    policy = view.policy
    if policy.choice("chg_disc_expected") == "yes" and disc_suits(view.subject, policy):
        yield Caution("The disc right side up between hub and skin", ("chg_disc_expected",))
    yield Caution(
        f"Gauze over the site is due after {policy.text('gauze_dressing_days')}, a transparent dressing after "
        f"{policy.text('transparent_dressing_days')}",
        ("gauze_dressing_days", "transparent_dressing_days"),
    )


def _next(view: View, kind: str) -> Iterator[Caution]:
    """Yield what would be due if the work were done now."""
    names = {
        "access": (("needle", "needle_dwell_days"), ("transparent dressing", "transparent_dressing_days")),
        "dressing change": (("transparent dressing", "transparent_dressing_days"),),
        "de-access": (("flush of the port", "idle_flush_days"),),
        "flush": (("flush of a port without a needle", "idle_flush_days"),),
    }.get(kind, ())
    septa = view.timeline.episode.port.septa
    if kind == "flush" and any(view.timeline.now(septum).needle is not None for septum in septa):
        return  # with a needle in, the flush of an idle port is not due
    for what, limit in names:
        by = due.end_of(view.asof, limit, view.policy, view.wording.zone)
        yield Caution(f"Done at {view.wording.when(view.asof)}: {what} due by {view.wording.when(by)}", (limit,))
