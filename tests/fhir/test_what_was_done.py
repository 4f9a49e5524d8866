"""What was done and given, as others find it: one Procedure for an act, one administration for each thing put in."""

from __future__ import annotations

from typing import Any

import pytest
from in_short import said
from made_records import FILM, FLUSH, NEEDLE, event, needle_event

Json = dict[str, Any]

PATIENT = "Patient?identifier=https://made.example/mrn|MD-0001"
STAY = "Encounter?identifier=https://example.org/lda-notes/visit|made-1"
HOUSE = "Organization?identifier=https://example.org/lda-notes/facility|Lantern%20Bay%20Hospital%20%28fictional%29"
PORT = "Device Implanted venous access port"
ACCESS_OF_PORT = "Procedure Access of implanted venous access port"
FLUSHING = "Procedure Flushing and locking of implanted venous access port"
CLEARING = "Procedure Thrombolytic instillation into implanted venous access port"
TEN = "2031-03-04T10:00:00-06:00"
NO = {"not_done": "refused"}
ACCESS = needle_event("2031-03-04 09:40")


def at_ten(kind: str, **facts: Any) -> Json:
    return event(kind, "2031-03-04 10:00", **facts)


def sent(event: Json, kind: str, *before: Json, **parts: Any) -> list[Json]:
    """Return what an event sends of a type, after an access unless it is one."""
    opened = [ACCESS] if not before and event["kind"] != "access" else before
    return [one.words for one in said(*opened, event, **parts) if (one.event, one.kind) == (event["id"], kind)]


# -- given --

GIVEN = {
    "status": "completed",
    "subject": PATIENT,
    "context": STAY,
    "effectiveDateTime": TEN,
    "performer": {"actor": "Marisol Tamm"},
    "device": PORT,
}
FLUSHED = {**GIVEN, "partOf": FLUSHING, "reasonCode": "Flush of implanted venous access port"}
LOCKED = {**GIVEN, "partOf": FLUSHING, "reasonCode": "Lock of implanted venous access port"}
CLEARED = {
    **{key: value for key, value in GIVEN.items() if key != "effectiveDateTime"},
    "partOf": CLEARING,
    "status": "in-progress",
    "reasonCode": "Clearing of occluded port",
    "effectivePeriod": {"start": TEN},
}
NUMBED = {
    **{key: value for key, value in GIVEN.items() if key != "device"},
    "partOf": ACCESS_OF_PORT,
    "reasonCode": "Local anesthesia before port access",
}
SALINE, DEXTROSE = "0.9% sodium chloride", "5% dextrose"
BY_FLUSH = "Flush, intravenous catheter"
DRAWN = {"solution": SALINE, "volume_ml": 10, "technique": "push-pause", "syringe_ml": 10, "lot": "L-1"}
CREAM = {"agent": "lidocaine 4% cream"}
ON, OFF = "2031-03-04T08:40:00-06:00", "2031-03-04T09:30:00-06:00"


def flush(**facts: Any) -> Json:
    return at_ten("flush", flushes=[facts])


def lock(drug: str, **facts: Any) -> Json:
    return at_ten("flush", lock={"drug": drug, **facts})


def dose(drug: str, **facts: Any) -> Json:
    return at_ten("patency treatment", drug=drug, **facts)


def numbed(agent: str, **facts: Any) -> Json:
    return at_ten("access", anesthetic={"agent": agent, **facts})


def worn(**period: str) -> Json:
    return {**{key: value for key, value in NUMBED.items() if key != "effectiveDateTime"}, "effectivePeriod": period}


ADMINISTRATIONS = {
    "a flush with all that is known": (
        flush(**DRAWN, expires="2032-01-31"),
        {
            **FLUSHED,
            "medicationCodeableConcept": SALINE,
            "note": ["Syringe barrel: 10 mL", "Lot: L-1", "Expires: 2032-01-31"],
            "dosage": {"text": "10 mL, push-pause", "route": BY_FLUSH, "method": "push-pause", "dose": "10 mL"},
        },
    ),
    "a flush of which no technique is known": (
        flush(solution=SALINE, volume_ml=10),
        {
            **FLUSHED,
            "medicationCodeableConcept": SALINE,
            "dosage": {"text": "10 mL", "route": BY_FLUSH, "dose": "10 mL"},
        },
    ),
    "a flush of unknown volume has no dosage": (
        flush(solution=DEXTROSE, technique="steady", lot="L-2"),
        {**FLUSHED, "medicationCodeableConcept": DEXTROSE, "note": ["Technique: steady", "Lot: L-2"]},
    ),
    "a flush that was not done": (
        at_ten("flush", flushes=NO),
        {
            **FLUSHED,
            "status": "not-done",
            "statusReason": "refused",
            "medicationCodeableConcept": "Flush solution",
        },
    ),
    "an empty list of flushes": (
        at_ten("flush", flushes=[]),
        {
            **FLUSHED,
            "status": "not-done",
            "statusReason": "no flush listed",
            "medicationCodeableConcept": "Flush solution",
        },
    ),
    "nobody recorded": (
        {key: value for key, value in flush(solution=SALINE).items() if key != "by"},
        {**FLUSHED, "medicationCodeableConcept": SALINE, "performer": {"actor": "not recorded"}},
    ),
    "heparin in units": (
        lock("heparin", units_per_ml=100, volume_ml=5, preservative="none", lot="H-1", expires="2032-02-28"),
        {
            **LOCKED,
            "medicationCodeableConcept": "Heparin lock flush 100 units/mL",
            "note": ["Preservative: none", "Lot: H-1", "Expires: 2032-02-28"],
            "dosage": {
                "text": "5 mL of 100 units/mL, 500 units in all",
                "route": BY_FLUSH,
                "dose": "500 [USP'U]",
            },
        },
    ),
    "heparin of unknown strength has no dose": (
        lock("heparin", volume_ml=5, lot="H-1"),
        {**LOCKED, "medicationCodeableConcept": "Heparin lock flush", "note": ["Volume: 5 mL", "Lot: H-1"]},
    ),
    "heparin of unknown volume has no dose": (
        lock("heparin", units_per_ml=10),
        {**LOCKED, "medicationCodeableConcept": "Heparin lock flush 10 units/mL"},
    ),
    "heparin beside another drug": (
        lock("taurolidine with citrate and heparin", units_per_ml=500, volume_ml=3, lot="T-1"),
        {
            **LOCKED,
            "medicationCodeableConcept": "taurolidine with citrate and heparin",
            "note": ["Strength: 500 units/mL", "Lot: T-1"],
            "dosage": {
                "text": "3 mL of 500 units/mL, 1,500 units in all",
                "route": BY_FLUSH,
                "dose": "1500 [USP'U]",
            },
        },
    ),
    "a lock without heparin goes by volume": (
        lock("4% citrate", volume_ml=3),
        {
            **LOCKED,
            "medicationCodeableConcept": "4% citrate",
            "dosage": {"text": "3 mL", "route": BY_FLUSH, "dose": "3 mL"},
        },
    ),
    "a lock that was not done": (
        at_ten("flush", lock=NO),
        {**LOCKED, "status": "not-done", "statusReason": "refused", "medicationCodeableConcept": "Lock solution"},
    ),
    "alteplase in mg": (
        dose(
            "alteplase",
            dose_mg=2,
            volume_ml=2,
            lumen_ml=0.5,
            drug_lot="A-1",
            reconstituted_at="2031-03-04T09:50:00-06:00",
        ),
        {
            **CLEARED,
            "medicationCodeableConcept": "Alteplase",
            "note": ["Volume: 2 mL", "Lumen volume: 0.5 mL", "Mixed at: 2031-03-04T09:50:00-06:00", "Lot: A-1"],
            "dosage": {"text": "2 mg in 2 mL", "route": "Intravenous", "dose": "2 mg"},
        },
    ),
    "a dose in the unit of the other drug is a note": (
        dose("alteplase", dose_mg=2, dose_units=5000),
        {
            **CLEARED,
            "medicationCodeableConcept": "Alteplase",
            "note": "Dose: 5000 international units",
            "dosage": {"text": "2 mg", "route": "Intravenous", "dose": "2 mg"},
        },
    ),
    "urokinase in units": (
        dose("urokinase", dose_units=5000, dose_mg=1),
        {
            **CLEARED,
            "medicationCodeableConcept": "Urokinase",
            "note": "Dose: 1 mg",
            "dosage": {"text": "5,000 international units", "route": "Intravenous", "dose": "5000 [IU]"},
        },
    ),
    "a dose that is not known": (dose("alteplase"), {**CLEARED, "medicationCodeableConcept": "Alteplase"}),
    "a cream by weight": (
        numbed(**CREAM, amount_g=2.5, volume_ml=2, area_cm2=10, sterile=False, lot="C-1", expires="2032-01-31"),
        {
            **NUMBED,
            "medicationCodeableConcept": "lidocaine 4% cream",
            "note": ["Area: 10 square cm", "Labeled sterile: no", "Lot: C-1", "Expires: 2032-01-31", "Volume: 2 mL"],
            "dosage": {"text": "2.5 g", "route": "Topical", "dose": "2.5 g"},
        },
    ),
    "an injection into the skin by volume": (
        numbed("intradermal lidocaine 1%", volume_ml=0.2, sterile=True),
        {
            **NUMBED,
            "medicationCodeableConcept": "intradermal lidocaine 1%",
            "note": "Labeled sterile: yes",
            "dosage": {"text": "0.2 mL", "route": "Intradermal", "dose": "0.2 mL"},
        },
    ),
    "a spray without a time counts at the access": (
        numbed("vapocoolant spray"),
        {**NUMBED, "medicationCodeableConcept": "vapocoolant spray"},
    ),
    "a cream that was put on and taken off": (
        numbed(**CREAM, applied_at=ON, removed_at=OFF),
        {**worn(start=ON, end=OFF), "medicationCodeableConcept": "lidocaine 4% cream"},
    ),
    "a cream of which only the end is known": (
        numbed(**CREAM, removed_at=OFF),
        {**worn(end=OFF), "medicationCodeableConcept": "lidocaine 4% cream"},
    ),
    "a cream put on and taken off in one minute": (
        numbed(**CREAM, applied_at=ON, removed_at=ON),
        {**worn(start=ON, end=ON), "medicationCodeableConcept": "lidocaine 4% cream"},
    ),
    "a cream taken off before it was put on has no such period": (
        numbed(**CREAM, applied_at=OFF, removed_at=ON),
        {
            **worn(start=OFF),
            "medicationCodeableConcept": "lidocaine 4% cream",
            "note": "Taken off at: 2031-03-04T08:40:00-06:00",
        },
    ),
}


@pytest.mark.parametrize("what", ADMINISTRATIONS)
def test_what_went_in_says_how_much_of_what_when_and_why(what: str) -> None:
    event, expected = ADMINISTRATIONS[what]
    assert sent(event, "MedicationAdministration") == [expected]


def test_a_second_dose_names_the_first() -> None:
    (found,) = sent(dose("alteplase", second_dose_of="dose-1"), "MedicationAdministration")
    assert found["supportingInformation"].endswith("/made-1/dose-1")


def test_what_a_look_at_a_thrombolytic_flushes_is_part_of_its_treatment() -> None:
    given = event("patency treatment", "2031-03-04 09:50", drug="alteplase")
    checked = at_ten("patency check", treatment=given["id"], flushes=[FLUSH], lock={"drug": "4% citrate"})
    not_done = at_ten("patency check", treatment=given["id"], flushes=NO, lock=NO)
    for check in checked, not_done:
        found = sent(check, "MedicationAdministration", ACCESS, given)
        assert [one["partOf"] for one in found if "Alteplase" not in str(one)] == [f"elsewhere {CLEARING}"] * 2


NONE_GIVEN = [
    ("none used", {"valueCodeableConcept": "none used"}),
    ({"not_assessed": "asleep"}, {"dataAbsentReason": "asleep"}),
]


@pytest.mark.parametrize(("told", "value"), NONE_GIVEN)
def test_no_anesthesia_is_seen_and_not_given(told: Any, value: Json) -> None:
    numb = at_ten("access", anesthetic=told)
    assert sent(numb, "MedicationAdministration") == []
    (found,) = (one for one in sent(numb, "Observation") if "anesthesia" in one["code"])
    assert found == {**SEEN, "partOf": ACCESS_OF_PORT, "code": "Local anesthesia before port access", **value}


SEEN = {
    "status": "final",
    "category": "Exam",
    "subject": PATIENT,
    "focus": PORT,
    "encounter": STAY,
    "effectiveDateTime": TEN,
    "performer": "Marisol Tamm",
}
RESISTANCES = [
    ("none", {"valueCodeableConcept": "none"}),
    ("some", {"valueCodeableConcept": "some"}),
    ({"not_assessed": "busy"}, {"dataAbsentReason": "busy"}),
]


@pytest.mark.parametrize(("felt", "value"), RESISTANCES)
def test_the_resistance_to_a_flush_is_part_of_that_flush(felt: Any, value: Json) -> None:
    flushes = [{"solution": DEXTROSE}, {"solution": SALINE, "resistance": felt}]
    (found,) = sent(at_ten("flush", flushes=flushes), "Observation")
    code = "Resistance to flush of implanted venous access port"
    assert found == {**SEEN, "partOf": f"MedicationAdministration {SALINE}", "code": code, **value}


# -- used: what runs --

USE = {"purpose": "infusion", "what": "dextrose"}
DEFAULTS = {**GIVEN, "partOf": "Procedure Use of implanted venous access port", "medicationCodeableConcept": "dextrose"}


def used(**facts: Any) -> Json:
    return at_ten("line use", **{**USE, **facts})


def test_what_runs_names_its_purpose_and_its_rate() -> None:
    (runs,) = sent(used(action="started", flow_ml_per_s=2), "MedicationAdministration")
    assert (runs["status"], runs["effectivePeriod"]) == ("in-progress", {"start": TEN})
    assert runs["dosage"] == {"route": "Intravenous", "rateQuantity": "2 mL/s"}
    assert runs["reasonCode"] == "Infusion through implanted venous access port"
    (unknown,) = sent(used(action="started", what=None), "MedicationAdministration")
    assert unknown["medicationCodeableConcept"] == "Fluid or drug infused"
    assert "dosage" not in unknown


def statuses(*events: Json) -> list[tuple[str, str, Any]]:
    """Return what uses put through: the event that sends it, its status and when it ended."""
    return [
        (one.event, one.words["status"], one.words.get("effectivePeriod", {}).get("end"))
        for one in said(ACCESS, *events)
        if one.kind == "MedicationAdministration" and one.words["medicationCodeableConcept"] == "dextrose"
    ]


def test_an_infusion_ends_with_the_event_after_which_nothing_runs() -> None:
    start = used(action="started")
    stop = event("line use", "2031-03-04 12:00", **USE, action="stopped")
    other = event("line use", "2031-03-04 13:00", **USE, action="stopped")
    noon, one = "2031-03-04T12:00:00-06:00", "2031-03-04T13:00:00-06:00"
    assert statuses(start) == [(start["id"], "in-progress", None)]
    assert statuses(start, stop) == [(start["id"], "in-progress", None), (stop["id"], "completed", noon)]
    assert statuses(start, stop, other) == [
        (start["id"], "in-progress", None),
        (stop["id"], "completed", noon),
        (other["id"], "completed", one),
    ]
    pushed = event("line use", "2031-03-04 11:00", **USE, action="given")
    assert (pushed["id"], "completed", None) in statuses(start, pushed, stop)


# -- done --

KIT = [{"name": "access kit"}, {"name": "mask"}]
DONE = {
    "extension": {"septum": "single"},
    "status": "completed",
    "code": ACCESS_OF_PORT.removeprefix("Procedure "),
    "subject": PATIENT,
    "encounter": STAY,
    "performedPeriod": {"start": TEN, "end": TEN},
    "recorder": "Marisol Tamm",
    "performer": {"actor": "Marisol Tamm", "onBehalfOf": HOUSE},
    "reasonCode": "Management of vascular access device",
    "bodySite": "Right chest",
    "focalDevice": {"action": "accessed", "manipulated": PORT},
    "usedReference": "Device Non-coring needle",
}
ANTISEPSIS = {"agent": "povidone-iodine", "started_at": "2031-03-04T09:55:00-06:00"}

ACTS = {
    "an access": (at_ten("access", needle=NEEDLE), DONE),
    "its order and reason": (
        at_ten("access", needle=NEEDLE, order="ORD-1", reason="chemotherapy"),
        {**DONE, "basedOn": "elsewhere ORD-1", "reasonCode": [DONE["reasonCode"], "chemotherapy"]},
    ),
    "who verified it": (
        at_ten("access", needle=NEEDLE, verified_by={"name": "Osric Fennimore"}),
        {
            **DONE,
            "performer": [
                DONE["performer"],
                {"function": "Second nurse who verified", "actor": "Osric Fennimore", "onBehalfOf": HOUSE},
            ],
        },
    ),
    "from the start of the antisepsis": (
        at_ten("access", needle=NEEDLE, antisepsis=ANTISEPSIS),
        {**DONE, "performedPeriod": {"start": ANTISEPSIS["started_at"], "end": TEN}, "usedCode": "povidone-iodine"},
    ),
    "an antisepsis charted after it": (
        at_ten("access", needle=NEEDLE, antisepsis={**ANTISEPSIS, "started_at": "2031-03-04T10:30:00-06:00"}),
        {**DONE, "usedCode": "povidone-iodine"},
    ),
    "no antisepsis": (at_ten("access", needle=NEEDLE, antisepsis=NO), DONE),
    "caps": (at_ten("access", needle=NEEDLE, disinfecting_caps=True), {**DONE, "usedCode": "disinfecting cap"}),
    "no caps": (at_ten("access", needle=NEEDLE, disinfecting_caps=False), DONE),
    "caps left out": (at_ten("access", needle=NEEDLE, disinfecting_caps=NO), DONE),
    "supplies": (
        at_ten("access", needle=NEEDLE, supplies=KIT),
        {**DONE, "usedReference": ["Device Non-coring needle", "Device access kit", "Device mask"]},
    ),
    "nobody recorded": (
        {key: value for key, value in at_ten("access", needle=NEEDLE).items() if key != "by"},
        {**{key: value for key, value in DONE.items() if key != "recorder"}, "performer": {"actor": HOUSE}},
    ),
}


@pytest.mark.parametrize("what", ACTS)
def test_an_act_says_what_was_done_by_whom_with_what(what: str) -> None:
    event, expected = ACTS[what]
    assert sent(event, "Procedure") == [expected]


NOT_DONE = {
    "flush": (at_ten("flush", flushes=NO, lock={"not_done": "no order"}), ("not-done", "refused; no order")),
    "flush, for one reason": (at_ten("flush", flushes=NO, lock=NO), ("not-done", "refused")),
    "flush left out": (at_ten("flush", flushes=NO, lock={"drug": "4% citrate"}), ("completed", None)),
    "lock left out": (at_ten("flush", flushes=[FLUSH], lock=NO), ("completed", None)),
    "dressing": (at_ten("dressing change", dressing=NO), ("not-done", "refused")),
    "dressing, skin not cleaned": (at_ten("dressing change", dressing=NO, antisepsis=NO), ("not-done", "refused")),
    "dressing begun": (at_ten("dressing change", dressing=NO, antisepsis=ANTISEPSIS), ("stopped", "refused")),
    "dressing done": (at_ten("dressing change", dressing=FILM), ("completed", None)),
    "no dressing at an access": (at_ten("access", needle=NEEDLE, dressing=NO), ("completed", None)),
}


@pytest.mark.parametrize("what", NOT_DONE)
def test_what_was_not_done_or_was_broken_off_says_so(what: str) -> None:
    event, status = NOT_DONE[what]
    (found,) = sent(event, "Procedure")
    assert (found["status"], found.get("statusReason")) == status


CARE = "Management of vascular access device"
KINDS = [
    (at_ten("de-access"), "de-accessed", CARE),
    (at_ten("dressing change", dressing=FILM), "dressing exchanged", CARE),
    (at_ten("flush", flushes=[FLUSH]), "flushed", CARE),
    (used(action="started"), "used", CARE),
    (dose("alteplase"), "flushed", CARE),
    (at_ten("port implanted"), "implanted", None),
    (at_ten("port removed"), "removed", None),
    (at_ten("port removed", reason="therapy is over"), "removed", "therapy is over"),
]


@pytest.mark.parametrize(("done", "action", "reason"), KINDS)
def test_each_kind_of_act_says_what_became_of_the_port_and_why(done: Json, action: str, reason: str | None) -> None:
    (found,) = sent(done, "Procedure")
    assert found["focalDevice"] == {"action": action, "manipulated": PORT}
    assert found.get("reasonCode") == reason


def test_a_use_is_of_its_purpose_and_a_look_is_no_act() -> None:
    (found,) = sent(used(action="started"), "Procedure")
    assert found["category"] == "infusion"
    assert "category" not in sent(at_ten("access", needle=NEEDLE), "Procedure")[0]
    assert sent(at_ten("line check", blood_return="present"), "Procedure") == []


@pytest.mark.parametrize(
    ("port", "site"),
    [
        ({"side": "left", "area": "upper arm"}, "Left upper arm"),
        ({"side": None, "area": "thigh"}, "Thigh"),
        ({"site_detail": "infraclavicular"}, "Right chest, infraclavicular"),
        ({"side": None, "area": None}, None),
    ],
)
def test_the_site_is_where_the_port_lies(port: Json, site: str | None) -> None:
    (found,) = sent(at_ten("access"), "Procedure", port=port)
    assert found.get("bodySite") == site


def test_the_outcome_of_a_thrombolytic_is_what_the_last_look_saw() -> None:
    given = event("patency treatment", "2031-03-04 09:50", drug="alteplase", supplies=KIT)
    (opened,) = sent(given, "Procedure", ACCESS)
    assert "outcome" not in opened
    assert opened["usedReference"] == ["Device access kit", "Device mask"]
    first = event("patency check", "2031-03-04 10:20", treatment=given["id"], blood_return="none")
    last = event("patency check", "2031-03-04 11:50", treatment=given["id"], blood_return="present", withdrawn_ml=5)
    (closed,) = sent(last, "Procedure", ACCESS, given, first)
    assert closed["outcome"] == "blood return present"
    assert closed["usedReference"] == ["elsewhere Device access kit", "elsewhere Device mask"]
    (done,) = sent(last, "MedicationAdministration", ACCESS, given, first)
    assert (done["status"], done["effectivePeriod"]["end"]) == ("completed", "2031-03-04T11:50:00-06:00")
    gone = event("port removed", "2031-03-04 13:00")
    unseen = {**first, "blood_return": {"not_assessed": "asleep"}}
    outcomes = {
        what: [one.get("outcome") for one in sent(gone, "Procedure", ACCESS, given, *looks) if "outcome" in one]
        for what, looks in {"none": [first], "not assessed": [unseen], "no look": []}.items()
    }
    assert outcomes == {"none": ["blood return none"], "not assessed": [], "no look": []}
