"""Rows of the table of needs that several kinds share, and the documents that ask for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

from lda_notes.check import conditions as asked
from lda_notes.check.conditions import Condition, Level, Need
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.record.episode import Episode

# -- who asks --

INS: Final = Citation("ins-2021", "M-H", "documentation in the health record")
CDC: Final = Citation("cdc-2002", "R", "documentation, category II")
OPEN_RN: Final = Citation("open-rn", "R")
HOME: Final = Citation("home-infusion", "R")
CORNWALL: Final = Citation("royal-cornwall", "R")
ONS: Final = Citation("ons", "R")
GOAL: Final = Citation("npsg-01-01-01", "R2", "EP 1")
CMS: Final = Citation("cms-pim-3325", "R2")
COP: Final = Citation("cfr-482-24", "M-H", "paragraph 1")
LABEL: Final = Citation("alteplase-label", "R")
AYRSHIRE: Final = Citation("ayrshire-arran-adult", "R")
US_HOSPITAL: Final = Citation("us-hospital-2008", "R", "app. L")
MARSDEN: Final = Citation("royal-marsden", "R", "ch. 17")
POWER: Final = Citation("power-ifu", "R")
AHIMA: Final = Citation("ahima-2012", "R")
REVISION: Final = Citation("record-amendments", "R2")
NHSN: Final = Citation("nhsn-4", "M-H")
CP: Final = COMMON_PRACTICE


# -- rows --


def _need(
    path: str,
    asks: str,
    level: Level,
    *citations: Citation,
    when: Condition | None = None,
    given: Callable[[Any], bool] | None = None,
    option: str | None = None,
    suits: Callable[[Any, Episode, Policy], bool] | None = None,
) -> Need:
    return Need(tuple(path.split(".")), asks, level, citations, when, given, option, suits)


def must(path: str, asks: str, *citations: Citation, **conditions: Any) -> Need:
    """Return a need that is required."""
    return _need(path, asks, "required", *citations, **conditions)


def should(path: str, asks: str, *citations: Citation, **conditions: Any) -> Need:
    """Return a need that is recommended."""
    return _need(path, asks, "recommended", *citations, **conditions)


def only(condition: Condition, *needs: Need) -> tuple[Need, ...]:
    """Return ``needs``, all of them asked only under ``condition``."""
    return tuple(replace(need, when=condition) for need in needs)


SEPTUM: Final = must("septum", "Which septum?", INS, HOME, OPEN_RN, when=asked.two_septa)
IDENTIFIERS: Final = must("identifiers_checked", "What did you compare to identify the patient?", GOAL, OPEN_RN)
ALLERGIES: Final = must("allergies_checked", "Did you check the allergies?", OPEN_RN, INS)
ORDER: Final = must("order", "Which order or protocol?", US_HOSPITAL, OPEN_RN, LABEL, option="order_reference_required")
REASON: Final = should("reason", "Why was it done?", INS)

SITE: Final = (
    must("site", "How did the site look?", US_HOSPITAL, AYRSHIRE, MARSDEN, INS),
    must("site.skin", "How is the skin over the port?", US_HOSPITAL, INS),
    must("site.erythema", "Is there redness?", US_HOSPITAL, AYRSHIRE, INS),
    should("site.erythema_mm", "How far does the redness reach, in mm?", INS, given=lambda s: s.erythema == "present"),
    must("site.swelling", "Is there swelling of the pocket, arm, neck or face?", US_HOSPITAL, AYRSHIRE, INS),
    must("site.tenderness", "Does the port hurt when touched?", US_HOSPITAL, AYRSHIRE, INS),
    must("site.drainage", "Does fluid come from the site?", US_HOSPITAL, AYRSHIRE, INS),
    must("site.port", "How does the port feel under the skin?", AYRSHIRE, MARSDEN),
    must("site.scale", "Which score on which site scale?", CORNWALL, INS, option="scale_score_required"),
    must("site.scale.name", "Which site scale?", CORNWALL, INS),
    must("site.scale.score", "Which score?", CORNWALL, INS),
)

ANESTHETIC: Final = (
    should("anesthetic", "Was the skin numbed?", OPEN_RN, US_HOSPITAL),
    must("anesthetic.agent", "What was it numbed with?", OPEN_RN, US_HOSPITAL),
    must("anesthetic.amount_g", "How much cream, in g?", OPEN_RN, given=asked.is_cream),
    should("anesthetic.area_cm2", "How much skin did the cream cover, in square cm?", OPEN_RN, given=asked.is_cream),
    must("anesthetic.volume_ml", "How much was injected, in mL?", OPEN_RN, given=asked.is_injected),
    must("anesthetic.applied_at", "When was it put on or given?", OPEN_RN, US_HOSPITAL),
    must("anesthetic.removed_at", "When was the cream taken off?", OPEN_RN, US_HOSPITAL, given=asked.is_cream),
    should("anesthetic.sterile", "Is the spray labelled sterile?", CP, given=asked.is_spray),
)

ASEPSIS: Final = (
    should("technique", "How was it kept sterile?", INS, OPEN_RN),
    should("technique.hand_hygiene", "Hand hygiene before the procedure?", INS, OPEN_RN),
    should("technique.masks", "Masks on all people present?", INS, OPEN_RN),
    should("technique.sterile_gloves", "Sterile gloves?", INS, OPEN_RN),
    should("technique.sterile_field", "Sterile field?", INS, OPEN_RN),
    must("antisepsis", "Was the skin disinfected?", INS, OPEN_RN),
    must("antisepsis.agent", "Which antiseptic?", INS, OPEN_RN),
    should("antisepsis.started_at", "When did skin preparation begin?", CP),
    should("antisepsis.skin", "Was the skin dry or moist before it?", CP),
    should("antisepsis.scrub_s", "How long was it scrubbed, in seconds?", INS, OPEN_RN),
    should("antisepsis.dry_s", "How long did it dry, in seconds?", INS, OPEN_RN),
    should("antisepsis.fully_dry", "Was it fully dry before anything touched it?", INS),
)
FRICTION: Final = tuple(need for need in ASEPSIS if need.name != "antisepsis.started_at")

NEEDLE: Final = (
    should("extension_primed", "Was the extension primed and clamped?", CP),
    must("needle", "Which needle was put in?", INS, HOME, OPEN_RN),
    must("needle.gauge", "Which gauge?", INS, HOME, OPEN_RN),
    must("needle.length_mm", "How long, in mm?", INS, HOME, OPEN_RN),
    must("needle.non_coring", "Is it a non-coring needle?", INS, HOME, OPEN_RN),
    should("needle.power_rated", "Is it rated for power injection?", OPEN_RN, HOME, when=asked.injection_possible),
    must(
        "needle.set_volume_ml", "Priming volume of needle and extension, in mL?", CP, option="catheter_volume_required"
    ),
    must("needle.connector_volume_ml", "Volume of add-ons, in mL?", CP, option="catheter_volume_required"),
    must("needle.lot", "Lot number of the needle?", INS, HOME, OPEN_RN, option="needle_lot_required"),
    must("needle.expires", "Expiry of the needle?", INS, HOME, OPEN_RN, option="needle_lot_required"),
    must("attempts", "How many attempts?", INS),
)

BLOOD: Final = (
    must("blood_return", "Blood return: present, sluggish or none?", INS, ONS, AYRSHIRE),
    should("blood_looks", "How did the blood look?", INS, ONS, when=asked.blood),
    must("steps_tried", "What was tried to get blood?", INS, ONS, when=asked.no_blood),
)
DISCARD: Final = should(
    "discard_ml", "How much of the first aspirate was discarded, in mL?", AYRSHIRE, INS, when=asked.blood
)

FLUSH: Final = (
    should("hub_scrub_s", "How long was the connector scrubbed, in seconds?", INS),
    must("flushes", "Was the line flushed?", INS, AYRSHIRE),
    must("flushes.*.solution", "Flushed with what?", INS, AYRSHIRE),
    must("flushes.*.volume_ml", "Flush volume, in mL?", INS, AYRSHIRE),
    should("flushes.*.syringe_ml", "Syringe size, in mL?", MARSDEN, AYRSHIRE),
    should("flushes.*.technique", "Push-pause or steady?", CP),
    must("flushes.*.resistance", "Was there resistance?", INS, AYRSHIRE),
)
LOCK: Final = (
    must("lock", "Was the line locked?", INS, AYRSHIRE),
    must("lock.drug", "Locked with what?", INS, AYRSHIRE),
    must("lock.units_per_ml", "Heparin strength, in units per mL?", INS, AYRSHIRE, given=asked.has_heparin),
    must("lock.volume_ml", "Lock volume, in mL?", INS, AYRSHIRE),
)

DRESSING: Final = (
    must("dressing", "Was a dressing put on?", CDC, INS),
    must("dressing.type", "Which dressing?", CDC, INS),
    should(
        "dressing.chlorhexidine_disc",
        "Chlorhexidine disc between hub and skin?",
        CP,
        given=asked.no_built_in_disc,
        option="chg_disc_expected",
        suits=asked.disc_suits,
    ),
    should("dressing.site_visible", "Is the puncture site in view?", CP),
    should("dressing.without_tension", "Laid without tension?", CP),
    must("dressing.labelled", "Is the dressing labelled with date and initials?", CDC, INS),
    must("dressing.securement", "How are needle and tubing secured?", CDC, INS),
)
CONNECTOR: Final = should("connector_changed", "Was the needleless connector changed?", US_HOSPITAL, INS)
CAPS: Final = should(
    "disinfecting_caps", "Disinfecting cap on every connector?", CP, option="disinfecting_cap_expected"
)

PROBLEMS: Final = (
    must("problems", "What was wrong?", INS, US_HOSPITAL, ONS, when=asked.in_trouble),
    must("problems.*.what", "What was seen?", INS, US_HOSPITAL, ONS),
    must("problems.*.action", "What was done about it?", INS, US_HOSPITAL, ONS),
    must("problems.*.told", "Who was told?", INS, US_HOSPITAL, ONS, when=asked.in_trouble),
    must("problems.*.told.name", "Name of the one told?", INS, US_HOSPITAL),
    should("problems.*.told.credential", "Role of the one told?", INS, US_HOSPITAL),
    must("problems.*.told_at", "When were they told?", INS, US_HOSPITAL, given=asked.somebody_told),
    must("problems.*.reply", "What did they answer?", INS, US_HOSPITAL, given=asked.somebody_told),
)
PAIN: Final = should("pain", "Pain, 0 to 10?", INS)
RESPONSE: Final = must("response", "How did the patient take it?", INS)
TEACHING: Final = (
    should("teaching", "Was anything taught?", INS, HOME),
    should("teaching.about", "What was taught?", INS, HOME),
    should("teaching.to", "Who was taught?", INS, HOME),
    should("teaching.understanding", "What did they understand?", INS, HOME),
)
DUE: Final = should("next_due", "What is due next?", HOME, AYRSHIRE)
DUE_NEEDLE: Final = should("next_due.needle_change", "When is the needle due out?", HOME, AYRSHIRE)
DUE_DRESSING: Final = should("next_due.dressing_change", "When is the dressing due?", HOME, AYRSHIRE)
DUE_FLUSH: Final = should("next_due.flush", "When is the next flush due?", HOME, AYRSHIRE)

SIGNED: Final = (
    must("by", "Who did it?", COP, CDC, INS),
    must("by.name", "Name of the nurse?", COP, CDC, INS),
    must("by.credential", "Credential of the nurse?", COP, CDC, INS),
    should("by.id", "Staff identifier of the nurse?", CP),
)
WHO: Final = (
    should("charted_at", "When was it charted?", COP, CMS),
    *SIGNED,
    must("verified_by", "Who watched and verified?", CP, when=asked.needs_verifier, option="verifier_required"),
    must("verified_by.name", "Name of the verifier?", CP),
    must("verified_by.credential", "Credential of the verifier?", CP),
)
CLOSING: Final = (*PROBLEMS, PAIN, RESPONSE, *TEACHING)
WHY: Final = must("reason", "Why is the entry corrected?", AHIMA, REVISION)
