"""What must be recorded and is not: the table of needs, each row with the reason why it is asked for.

Several paths stand separated by bars; a path with a kind before it means that kind alone.
"""

from __future__ import annotations

from typing import Final

from lda_notes.check.rules.gaps import gap_rule

_ROWS: Final[tuple[tuple[str, str, str, str], ...]] = (
    # -- patient, stay and port --
    (
        "birth-date-not-recorded",
        "patient.birth_date",
        "record the patient's birth date",
        "Without it neither the age limits of antiseptics, creams and discs nor the second identifier can be checked.",
    ),
    (
        "weight-not-recorded",
        "patient.weight_kg",
        "record the patient's weight in kg",
        "Doses for children and of a thrombolytic depend on the weight; a guessed weight is a guessed dose.",
    ),
    (
        "allergies-not-recorded",
        "patient.allergies",
        "record the known allergies, or an empty list when none are known",
        "A missing list does not say that there are no allergies; antiseptic, dressing and lock cannot be checked "
        "against it.",
    ),
    (
        "port-site-not-recorded",
        "port.side | port.area",
        "record the side and the part of the body where the port lies",
        "A patient may carry more than one device; the next nurse must find the right one.",
    ),
    (
        "port-power-rating-not-recorded",
        "port.power",
        "record from the patient's card whether the port is rated for power injection",
        "An unrated port can rupture under injector pressure.",
    ),
    (
        "port-volume-not-recorded",
        "port.catheter_volume_ml",
        "record the volume of catheter and port from the manufacturer's card",
        "The least flush and lock volumes are worked out from it.",
    ),
    (
        "stay-detail-not-recorded",
        "stay.admitted_at | stay.setting",
        "record when the stay began and what kind of unit it is on",
        "Line days are counted from the stay and only on inpatient units.",
    ),
    (
        "port-history-not-recorded",
        "port.implanted_on | port.tip",
        "record when the port was implanted and how its tip position is known",
        "A fresh pocket and an unproved tip both change whether the port may be used.",
    ),
    # -- at the bedside --
    (
        "septum-not-recorded",
        "septum",
        "record which septum",
        "On a port with two septa each has its own needle, clocks and hold; a record without the septum can be put "
        "down to the wrong one.",
    ),
    (
        "patient-identifiers-not-recorded",
        "identifiers_checked",
        "record what was compared to identify the patient",
        "Comparing two identifiers before a procedure is what keeps it from being done to the wrong patient.",
    ),
    (
        "allergy-check-not-recorded",
        "allergies_checked",
        "record whether allergies were checked",
        "Antiseptic, adhesive, latex, anesthetic and heparin all touch the patient during this work.",
    ),
    (
        "order-not-recorded",
        "order",
        "record the order or protocol",
        "Work on a central line rests on an order or a standing protocol; the record has to name it where policy asks.",
    ),
    (
        "reason-not-recorded",
        "access:reason | de-access:reason | flush:reason",
        "record why it was done",
        "The reason tells the next reader whether the needle is still needed.",
    ),
    (
        "site-assessment-not-recorded",
        "site",
        "record how the site looked",
        "Infection, swelling and a flipped port are first seen at the site, and a needle must not go through them.",
    ),
    (
        "part-of-site-assessment-not-recorded",
        "site.skin | site.erythema | site.swelling | site.tenderness | site.drainage | site.port",
        "complete the site assessment, or record not_assessed with the reason for what could not be seen",
        "Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
    ),
    (
        "redness-extent-not-recorded",
        "site.erythema_mm",
        "record how far the redness reaches, in mm",
        "Only a measured extent shows the next nurse whether the redness is spreading.",
    ),
    (
        "site-score-not-recorded",
        "site.scale",
        "record the score with the name of the scale",
        "Some facilities follow the site by a score; the number means nothing without its scale.",
    ),
    (
        "tip-confirmation-not-recorded",
        "tip_confirmed",
        "record whether tip position is confirmed",
        "A catheter whose tip is not where it should be can deliver drugs into tissue.",
    ),
    (
        "local-anesthetic-not-recorded",
        "anesthetic | anesthetic.area_cm2 | anesthetic.sterile",
        "record what the skin was numbed with, or none used",
        "Cream and spray change the order of skin preparation and can cause reactions of their own.",
    ),
    (
        "anesthetic-dose-not-recorded",
        "anesthetic.amount_g | anesthetic.volume_ml | anesthetic.applied_at | anesthetic.removed_at",
        "record amount and times of the anesthetic",
        "An anesthetic is a drug: amount and contact time have limits that depend on age and weight.",
    ),
    (
        "technique-not-recorded",
        "technique | technique.hand_hygiene | technique.masks | technique.sterile_gloves | technique.sterile_field",
        "record how asepsis was kept",
        "A bloodstream infection later is traced back to how the needle went in.",
    ),
    (
        "skin-antisepsis-not-recorded",
        "antisepsis",
        "record which antiseptic was used on the skin",
        "The antiseptic is the main protection against infection and a known cause of allergic reactions.",
    ),
    (
        "antisepsis-detail-not-recorded",
        "antisepsis.started_at | antisepsis.skin | antisepsis.scrub_s | antisepsis.dry_s | antisepsis.fully_dry",
        "record when skin preparation began, how long it was scrubbed and how long it dried",
        "An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
    ),
    # -- the needle --
    (
        "extension-priming-not-recorded",
        "extension_primed",
        "record whether the extension was primed and clamped",
        "An unprimed extension lets air into the line.",
    ),
    (
        "needle-not-recorded",
        "needle",
        "record the needle",
        "What is in the port decides what may go through it, when it must come out, and what to look for on removal.",
    ),
    (
        "needle-gauge-not-recorded",
        "needle.gauge",
        "record the gauge from the needle's label",
        "The gauge decides what may run and how fast.",
    ),
    (
        "needle-length-not-recorded",
        "needle.length_mm",
        "record the needle's length in mm",
        "A needle that is too short leaves the reservoir and delivers into tissue; the next nurse needs the length.",
    ),
    (
        "needle-type-not-recorded",
        "needle.non_coring",
        "record whether the needle is non-coring",
        "An ordinary needle cuts the septum and ruins the port.",
    ),
    (
        "needle-power-rating-not-recorded",
        "needle.power_rated",
        "record from its label whether the needle is rated for power injection",
        "For a contrast scan both the port and the needle must be rated; the scanner's staff rely on the record.",
    ),
    (
        "needle-volume-not-recorded",
        "needle.set_volume_ml | needle.connector_volume_ml",
        "record the priming volumes of needle, extension and add-ons",
        "The least flush and lock volumes are worked out from them.",
    ),
    (
        "needle-lot-not-recorded",
        "needle.lot | needle.expires",
        "record lot and expiry from the needle's label",
        "In a recall only the lot tells which patients have the needle.",
    ),
    (
        "attempts-not-recorded",
        "attempts",
        "record how many times the needle was passed",
        "Repeated passes raise the risk of infection and haematoma and shorten the septum's life.",
    ),
    # -- proving the line --
    (
        "blood-return-not-recorded",
        "blood_return | blood_return_before",
        "record blood return as present, sluggish or none",
        "Blood return is the proof that the needle is in the port and the tip in the vein; without the record nobody "
        "knows whether the line was proved.",
    ),
    (
        "look-of-blood-not-recorded",
        "blood_looks",
        "record how the blood looked",
        "Thin or clotted aspirate is not the same proof as whole blood.",
    ),
    (
        "restoring-steps-not-recorded",
        "steps_tried",
        "record each step that was tried to get blood",
        "The specialist who evaluates the line has to know what was tried already.",
    ),
    (
        "discard-not-recorded",
        "discard_ml",
        "record the volume of first aspirate that was discarded",
        "The first aspirate holds the old lock; giving it back or sampling from it does harm.",
    ),
    (
        "connector-scrub-not-recorded",
        "hub_scrub_s",
        "record how long the connector was scrubbed",
        "The needleless connector is the way in for most later infections.",
    ),
    (
        "flush-not-recorded",
        "flushes",
        "record each flush",
        "A line that is not flushed clots; a flush without a record may be left out or doubled by the next nurse.",
    ),
    (
        "flush-volume-not-recorded",
        "flushes.*.volume_ml",
        "record the flush volume in mL",
        "Whether a flush reached the tip and cleared the line can be judged only from its volume.",
    ),
    (
        "resistance-not-recorded",
        "flushes.*.resistance",
        "record whether resistance was felt",
        "Resistance is an early sign of occlusion or of a needle that has left the reservoir.",
    ),
    (
        "flush-technique-not-recorded",
        "flushes.*.syringe_ml | flushes.*.technique",
        "record syringe size and flush technique",
        "A small syringe makes pressures that can burst a catheter; push-pause clears the wall of the line.",
    ),
    (
        "lock-not-recorded",
        "lock",
        "record what the line was locked with",
        "What is left in the line is a drug: the next nurse has to withdraw it, and the next dose counts with it.",
    ),
    (
        "lock-strength-not-recorded",
        "lock.units_per_ml",
        "record the heparin strength in units per mL",
        "Heparin comes in very different strengths; the volume alone does not tell the dose.",
    ),
    (
        "lock-volume-not-recorded",
        "lock.volume_ml",
        "record the lock volume in mL",
        "Too little leaves blood in the tip, too much reaches the patient's circulation.",
    ),
    (
        "infusion-not-recorded",
        "infusion",
        "record what runs through the line, or the lock",
        "A working needle that is neither locked nor in use will clot.",
    ),
    # -- the dressing --
    (
        "dressing-not-recorded",
        "dressing",
        "record the dressing",
        "The dressing keeps needle and site clean; what is on decides when it is due.",
    ),
    (
        "dressing-type-not-recorded",
        "dressing.type",
        "record the kind of dressing",
        "Gauze is due sooner than a transparent dressing: without the kind there is no due time.",
    ),
    (
        "dressing-label-not-recorded",
        "dressing.labelled",
        "record whether the dressing carries date and initials",
        "The label is what the next nurse sees at the bedside before any record.",
    ),
    (
        "securement-not-recorded",
        "dressing.securement",
        "record how needle and tubing are secured",
        "A needle that is not secured works its way out of the reservoir.",
    ),
    (
        "dressing-detail-not-recorded",
        "dressing.chlorhexidine_disc | dressing.site_visible | dressing.without_tension",
        "record disc, view of the puncture site and tension",
        "A hidden site cannot be looked at, and a dressing under tension injures the skin.",
    ),
    (
        "dressing-condition-not-recorded",
        "dressing_found",
        "record how the dressing was found",
        "A damp, soiled or loose dressing is due now, whatever its age.",
    ),
    (
        "connector-change-not-recorded",
        "connector_changed",
        "record whether the needleless connector was changed",
        "A connector has an interval of its own, which runs from its last change.",
    ),
    (
        "cap-not-recorded",
        "disinfecting_caps",
        "record whether every connector has a disinfecting cap",
        "An uncapped connector has to be scrubbed before each use and is easily forgotten.",
    ),
    (
        "connections-not-recorded",
        "connections_secure",
        "record whether connections are tight and clamps right",
        "A loose connection bleeds or lets air in.",
    ),
    # -- trouble, response, teaching --
    (
        "problem-not-recorded",
        "problems",
        "record the problem, what was done, who was told, when, and what they answered",
        "The event shows trouble with the line; a record that shows it without saying what was done leaves the next "
        "nurse alone with it.",
    ),
    (
        "problem-action-not-recorded",
        "problems.*.action",
        "record what was done about the problem",
        "A problem without an action reads as one that nobody dealt with.",
    ),
    (
        "person-told-not-recorded",
        "problems.*.told | problems.*.told.name | problems.*.told_at",
        "record who was told of the problem, and when",
        "A problem with the line has to reach someone who may decide about it; the time shows that it did so in time.",
    ),
    (
        "reply-not-recorded",
        "problems.*.reply",
        "record what the person told answered or ordered",
        "Without the answer nobody knows whether the line may be used.",
    ),
    (
        "role-of-person-told-not-recorded",
        "problems.*.told.credential",
        "record the role of the person told",
        "A name alone does not say whether the person could decide.",
    ),
    (
        "pain-not-recorded",
        "pain",
        "record a pain score from 0 to 10",
        "Pain at the port is a sign of a needle out of place and of infection.",
    ),
    (
        "response-not-recorded",
        "response",
        "record how the patient took it",
        "How the patient took the procedure decides how the next one is planned.",
    ),
    (
        "teaching-not-recorded",
        "teaching | teaching.to | teaching.understanding",
        "record what was taught, to whom, and what was understood",
        "The patient is the first to notice trouble with the line, if told what to look for.",
    ),
    (
        "next-due-not-recorded",
        "access:next_due | arrival accessed:next_due | de-access:next_due | dressing change:next_due | flush:next_due"
        " | access:next_due.needle_change | arrival accessed:next_due.needle_change | access:next_due.dressing_change"
        " | arrival accessed:next_due.dressing_change | dressing change:next_due.dressing_change"
        " | de-access:next_due.flush | flush:next_due.flush",
        "record what was told to be due next",
        "The told time is compared with the one worked out from the record, so that a wrong plan is seen early.",
    ),
    # -- removal --
    (
        "needle-condition-not-recorded",
        "needle_intact",
        "record whether the needle came out whole",
        "A broken piece stays in the port or in the tissue and has to be looked for at once.",
    ),
    (
        "safety-device-not-recorded",
        "safety_engaged",
        "record whether the needle's safety device locked",
        "An unguarded non-coring needle is a common cause of needle-stick injury on removal.",
    ),
    (
        "bleeding-not-recorded",
        "bleeding | cover",
        "record bleeding and what covers the puncture",
        "Bleeding after removal may show a clotting problem or a damaged septum.",
    ),
    # -- arrival --
    (
        "time-of-insertion-not-recorded",
        "inserted_at",
        "record when the needle was put in, or not_assessed when nobody knows",
        "The needle's clock runs from its insertion, not from the arrival; when it is unknown the needle is due now.",
    ),
    (
        "time-of-dressing-not-recorded",
        "dressed_at",
        "record when the dressing was put on, or not_assessed when nobody knows",
        "The dressing's clock runs from when it was put on, not from the arrival.",
    ),
    (
        "origin-not-recorded",
        "came_from",
        "record where the patient came from",
        "The place that put the needle in is the one to ask for what is not known of it.",
    ),
    # -- use --
    (
        "use-detail-not-recorded",
        "action | what | samples",
        "record what was given or drawn, and whether it was started, stopped or given",
        "What went through the line matters for occlusion, compatibility and tissue injury.",
    ),
    (
        "vesicant-not-recorded",
        "vesicant",
        "record whether it harms tissue outside the vein",
        "A vesicant must never go through a line without blood return.",
    ),
    (
        "injection-settings-not-recorded",
        "flow_ml_per_s | pressure_psi",
        "record the rate and the pressure limit set on the injector",
        "Rate and pressure are what the labels of port and needle limit.",
    ),
    # -- thrombolytic --
    (
        "patency-before-not-recorded",
        "patency_before",
        "record the state of the line before the dose",
        "The result can be judged only against how the line was before.",
    ),
    (
        "thrombolytic-dose-not-recorded",
        "dose_mg | dose_units | volume_ml",
        "record dose and volume of the thrombolytic",
        "Dose and volume have caps, and a second dose counts with the first.",
    ),
    (
        "lumen-volume-not-recorded",
        "lumen_ml",
        "record the internal volume of the lumen",
        "Under the full-dose weight the dose is worked out from the lumen's volume.",
    ),
    (
        "mixing-time-not-recorded",
        "reconstituted_at",
        "record when the thrombolytic was mixed",
        "A mixed thrombolytic loses its effect and its sterility with time.",
    ),
    (
        "withdrawn-volume-not-recorded",
        "withdrawn_ml",
        "record how much was withdrawn after success",
        "The dwelling drug and the loosened clot are taken off before the line is flushed.",
    ),
    # -- evaluation --
    (
        "evaluator-not-recorded",
        "cleared_by | cleared_by.name | cleared_by.credential",
        "record who evaluated the line, with role",
        "Only someone with the competence may end a hold; the record has to show who it was.",
    ),
    (
        "decision-not-recorded",
        "decision",
        "record what was decided about the line",
        "Without a decision the line stays on hold.",
    ),
    (
        "evidence-not-recorded",
        "evidence",
        "record what the clearance rests on",
        "A line is cleared on evidence, such as blood return restored or a contrast study, not on time gone by.",
    ),
    (
        "evaluation-finding-not-recorded",
        "finding",
        "record what the evaluation showed",
        "The finding explains the decision to whoever meets the same trouble again.",
    ),
    # -- moves --
    (
        "handover-not-recorded",
        "transfer:handed_to | transfer:handed_to.name | transfer:to_setting",
        "record who took over the line and what kind of unit it is",
        "An accessed port that nobody took over is an accessed port that nobody looks at.",
    ),
    (
        "destination-not-recorded",
        "destination",
        "record where the patient goes",
        "Where the patient goes decides who looks after the port.",
    ),
    (
        "needle-at-discharge-not-recorded",
        "needle_in",
        "record whether the patient leaves with the needle in",
        "A needle left in by oversight stays in until something goes wrong.",
    ),
    (
        "care-after-discharge-not-recorded",
        "discharge:handed_to | discharge:handed_to.name",
        "record who looks after the line after discharge",
        "A patient who leaves with the needle in needs someone who will take it out in time.",
    ),
    (
        "due-at-discharge-not-recorded",
        "discharge:next_due | discharge:next_due.needle_change | discharge:next_due.dressing_change"
        " | discharge:next_due.flush",
        "record what is due next and when",
        "After discharge nobody reads this record daily: the patient has to leave with the next due time.",
    ),
    # -- the port itself --
    (
        "tip-location-not-recorded",
        "tip_location",
        "record where the tip lies",
        "Every later first use refers to this confirmation.",
    ),
    (
        "tip-method-not-recorded",
        "tip_method",
        "record how tip position was confirmed",
        "The method tells how much the confirmation can be relied on.",
    ),
    (
        "port-removed-whole-not-recorded",
        "complete",
        "record whether port and catheter came out whole",
        "A piece left behind can travel to the heart.",
    ),
    (
        "removal-reason-not-recorded",
        "port removed:reason",
        "record why the port was removed",
        "Infection, occlusion and end of treatment lead to different next steps.",
    ),
)

for _row in _ROWS:
    gap_rule(*_row, family=__name__)
