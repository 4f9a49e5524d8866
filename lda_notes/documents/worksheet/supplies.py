"""Supplies to gather before the work: from policy, the last needle that worked, and what the allergies rule out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, assert_never

from lda_notes.documents import wording
from lda_notes.documents.handoff.view import View
from lda_notes.documents.references import Basis
from lda_notes.documents.worksheet.known import last_that_worked
from lda_notes.documents.worksheet.steps import adult, heparin_strength
from lda_notes.knowledge.policy import number
from lda_notes.knowledge.suitability import (
    ANTISEPTICS,
    antiseptics,
    disc_suits,
    least_months,
    preservative_free,
    suits,
    unread_words,
)
from lda_notes.narrative import phrasing


@dataclass(frozen=True, slots=True)
class Supply:
    """One thing to gather, and what the choice rests on."""

    says: str
    basis: tuple[Basis, ...] = ()


Work = Literal["access", "de-access", "dressing change", "flush", "arrival accessed", "patency check", "line check"]
"""The purpose of a worksheet, by the kind of event that is charted from it."""


def supplies(view: View, work: Work, septum: str) -> tuple[Supply, ...]:
    """Return what to gather for ``work``, in the order of use."""
    match work:
        case "access":
            found = [*_clean(view), *_needle(view, septum), *_flush(view), *_lock(view), *_dressing(view), _sharps()]
        case "dressing change":
            found = [*_clean(view), *_dressing(view), Supply("Needleless connector, where policy changes it now")]
        case "de-access":
            found = [Supply("Gloves"), *_flush(view), *_lock(view), Supply("Sterile gauze and a cover"), _sharps()]
        case "flush" | "arrival accessed":
            found = [Supply("Gloves"), *_flush(view), *_lock(view)]
        case "patency check":
            found = [
                Supply("Gloves"),
                Supply("Empty syringe to aspirate the thrombolytic"),
                *_flush(view),
                *_lock(view),
            ]
        case "line check":
            found = [Supply("Gloves")]
        case _:
            assert_never(work)
    if _allergic(view, "latex"):
        found.append(Supply("All of them labeled as free of latex"))
    return tuple(found)


def _allergic(view: View, *allergens: str) -> bool:
    return any(allergy.substance in allergens for allergy in view.timeline.episode.patient.allergies or ())


def _sharps() -> Supply:
    return Supply("Sharps container")


def _clean(view: View) -> Iterator[Supply]:
    yield Supply("Masks for all people present")
    yield Supply("Non-sterile gloves for finding the port and for skin preparation; sterile gloves and sterile set")
    yield Supply(_antiseptic(view))


def _antiseptic(view: View) -> str:
    agents = antiseptics(view.subject, view.policy)
    if not agents and "allergies" in view.subject.unread:
        return "Antiseptic: ask, an allergy could not be read"
    if not agents:
        return "Antiseptic: ask the prescriber, allergies or age rule out the usual ones"
    usual = agents[0] == ANTISEPTICS[0]
    return phrasing.capital(agents[0]) + ("" if usual else ", because of allergies or age")


def _needle(view: View, septum: str) -> Iterator[Supply]:
    found = last_that_worked(view, septum)
    size = (
        f"; last time {wording.needle(found[0], view.wording.absent_in(found[1], 'needle'))}"
        if found
        else "; gauge and length: ______"
    )
    power = view.timeline.episode.port.power
    rated = ", rated for power injection where that is planned" if power is not None and power.rated else ""
    least, most = (number(view.policy.value(f"needle_gauge_{end}")) for end in ("min", "max"))
    usual = f", {least} to {most} gauge,"
    said = f"Non-coring needle{usual} with extension{rated}{size}"
    yield Supply(said, ("needle_gauge_min", "needle_gauge_max"))
    yield Supply("Needleless connector")


def _flush(view: View) -> Iterator[Supply]:
    least = f", {view.policy.text('flush_ml')} or more," if adult(view) else ""
    kind = "without preservative" if preservative_free(view.subject, view.policy) else ""
    said = " ".join(part for part in ("0.9% sodium chloride", kind) if part)
    barrel = view.policy.text("syringe_ml")
    basis: tuple[Basis, ...] = ("syringe_ml", "flush_ml") if least else ("syringe_ml",)
    yield Supply(f"{said}{least} in syringes with a barrel of at least {barrel}; swabs for the connector", basis)
    yield Supply("Empty syringe for the first aspirate")


def _lock(view: View) -> Iterator[Supply]:
    strength = heparin_strength(view)
    if strength is None and view.subject.unread:
        yield Supply(f"Lock: ask before any heparin, {unread_words(view.subject)} could not be read")
        return
    if strength is None:
        yield Supply("Lock without heparin: 0.9% sodium chloride, or what is ordered instead")
        return
    yield Supply(
        f"Lock as ordered, unless an infusion follows; heparin of {strength.says} if heparin is ordered", strength.basis
    )


def _dressing(view: View) -> Iterator[Supply]:
    gentle = ", with a barrier film" if _allergic(view, "adhesive") else ""
    yield Supply(f"Transparent dressing{gentle}; securement; label for date and initials")
    if view.policy.choice("chg_disc_expected") == "yes":
        yield _disc(view)
    cap = suits("cap", "disinfecting cap", view.subject, view.policy)
    if view.policy.choice("disinfecting_cap_expected") == "yes" and cap.plain:
        yield Supply("A disinfecting cap for every connector and side port", ("disinfecting_cap_expected",))


def _disc(view: View) -> Supply:
    if _allergic(view, "chlorhexidine"):
        return Supply("NO chlorhexidine disc: allergy", ("chg_disc_expected",))
    if unread := unread_words(view.subject):
        return Supply(f"Chlorhexidine disc: ask first, {unread} could not be read", ("chg_disc_expected",))
    least = least_months(view.policy)
    if least and view.subject.born is None:
        born = view.wording.absent(None, "patient", "birth_date")
        return Supply(
            f"Chlorhexidine disc, if the age allows it; birth date {born}",
            ("chg_dressing_ages",),
        )
    if (view.subject.months or 0) >= least and disc_suits(view.subject, view.policy):
        return Supply("Chlorhexidine disc", ("chg_disc_expected", "chg_dressing_ages"))
    return Supply("No chlorhexidine disc at this age, unless ordered", ("chg_dressing_ages",))
