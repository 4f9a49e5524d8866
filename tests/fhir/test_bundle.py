"""Bundles of the demos: sound, the same each time, and saying what the map of resources says."""

from __future__ import annotations

import base64
import json
import sys
import uuid
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import quote

import fhir_demos
import made_records
import pytest
from fhir_demos import DEMOS, episode, made, noted, resources, sent, texts
from made_records import event, record

from lda_notes.fhir import elements
from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.build.naming import Names
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.config import US_CORE, Config
from lda_notes.fhir.verify.models import model_check
from lda_notes.fhir.verify.verification import verify
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from lda_notes.problems import Failure

WAYS = {
    "plain": lambda: noted(),
    "without notes": lambda: Options(),
    "with context": lambda: Options(with_context=True, notes=noted().notes),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("demo", DEMOS)
def test_every_demo_passes_our_verification_and_the_models(demo: str, way: str) -> None:
    for one, text in zip(made(episode(demo), WAYS[way]()), texts(episode(demo), WAYS[way]()), strict=True):
        assert [str(fault) for fault in verify(one.bundle)] == []
        assert [str(fault) for fault in model_check(json.loads(text))] == []


@pytest.mark.parametrize("demo", DEMOS)
def test_there_is_one_bundle_for_each_event_with_the_place_of_each_entry(demo: str) -> None:
    found = made(episode(demo))
    assert sorted(one.event for one in found) == sorted(event.id for event in episode(demo).events)
    for one in found:
        assert len(one.paths) == len(one.bundle["entry"])
        positions = {path[1] for path in one.paths if path[:1] == ("events",)}
        assert all(isinstance(position, int) for position in positions)
        about = {episode(demo).events[int(position)].id for position in positions}
        assert one.event in about


@pytest.mark.parametrize("demo", DEMOS)
def test_the_same_record_gives_the_same_bytes_whatever_the_moment(demo: str) -> None:
    late = datetime.fromisoformat("2031-06-01T00:00+00:00")
    assert texts(episode(demo), noted()) == texts(episode(demo), noted(), asof=late)


def test_the_order_of_events_in_the_file_changes_nothing() -> None:
    week = episode("uncomplicated-week")
    turned = week.model_copy(update={"events": week.events[::-1]})
    assert texts(turned, noted()) == texts(week, noted())


def test_bundles_of_earlier_events_stay_the_same_when_the_record_grows() -> None:
    """What was sent once is not sent otherwise later, so receipts stay true."""
    corrected = episode("corrected-entries")
    charted = [event for event in corrected.events if event.kind not in ("addendum", "amendment", "retraction")]
    before = {one.event: one.bundle for one in made(corrected.model_copy(update={"events": charted}), noted())}
    after = {one.event: one.bundle for one in made(corrected, noted())}
    assert before["access-1"] == after["access-1"]
    wrong = {one["fullUrl"]: one for one in after["check-wrong"]["entry"]}
    assert list(wrong) == [one["fullUrl"] for one in before["check-wrong"]["entry"]]
    assert {one["resource"]["status"] for one in wrong.values() if one["request"]["method"] == "PUT"} == {
        "entered-in-error"
    }


def test_an_entry_that_was_withdrawn_before_it_left_goes_out_as_entered_in_error() -> None:
    found = next(one.bundle for one in made(episode("corrected-entries"), noted()) if one.event == "check-wrong")
    own = [one for one in found["entry"] if one["resource"]["resourceType"] in ("Observation", "DocumentReference")]
    assert own
    assert {one["resource"]["status"] for one in own} == {"entered-in-error"}
    assert {one["request"]["method"] for one in own} == {"PUT"}


def test_identities_are_version_5_uuids_of_their_role() -> None:
    names = Names(CONFIG.systems.identity)
    space = uuid.uuid5(uuid.NAMESPACE_URL, CONFIG.systems.identity)
    roles = ["a", "visit-1/access-1/blood-return", "é/ñ", "x" * 500]
    assert [names.of(role) for role in roles] == [str(uuid.uuid5(space, role)) for role in roles]
    found = resources(sent(episode("two-septa")), "Procedure")
    owner = episode("two-septa").patient.identifiers[0]
    port = uuid.uuid5(space, f"port/{owner.system}|{owner.value}/{episode('two-septa').port.id}")
    assert str(uuid.uuid5(space, f"{port}/two-septa/access-medial/procedure")) in {
        one["identifier"][0]["value"] for one in found
    }


def test_json_is_the_same_from_the_standard_library_and_from_the_faster_one() -> None:
    week = episode("uncomplicated-week")
    bundle = made(week, noted())[0].bundle
    assert elements.to_json(bundle) == elements._COMPACT.encode(bundle)


def test_decimals_keep_their_digits() -> None:
    value = {"a": Decimal("2.50"), "b": elements.number(Decimal("0.4")), "c": elements.number(Decimal("2.50")), "d": 5}
    assert elements.to_json(value) == '{"a":2.50,"b":0.4,"c":2.50,"d":5}'
    assert elements.to_json(value, spread=True) == '{\n  "a": 2.50,\n  "b": 0.4,\n  "c": 2.50,\n  "d": 5\n}'


@pytest.mark.parametrize("fast", [True, False])
def test_decimals_below_zero_are_numbers_however_json_is_written(fast: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not fast:
        monkeypatch.setitem(sys.modules, "orjson", None)
    value = {"a": Decimal("-2.50"), "b": [Decimal("-0.0"), Decimal("1E+3")]}
    assert elements._packed.__wrapped__()(value) == b'{"a":-2.50,"b":[-0.0,1000]}'
    assert elements.to_json(value["a"], spread=True) == "-2.50"


# -- what the map says --


def by_text(of: list[dict[str, Any]], text: str) -> list[dict[str, Any]]:
    return [one for one in of if one["code"]["text"] == text]


def test_an_access_opens_needle_use_and_tasks_and_a_removal_closes_them() -> None:
    lone = episode("two-septa")
    found = {one.event: one.bundle for one in made(lone)}
    opening, closing = found["access-lateral"]["entry"], found["removal-lateral"]["entry"]

    def pick(entries: list[dict[str, Any]], kind: str, text: str = "") -> list[dict[str, Any]]:
        return [
            entry
            for entry in entries
            if entry["resource"]["resourceType"] == kind
            and text in (entry["resource"].get("type") or entry["resource"].get("code") or {}).get("text", "")
        ]

    (needle_in,), (needle_out,) = pick(opening, "Device", "needle"), pick(closing, "Device", "needle")
    assert (needle_in["request"]["method"], needle_in["resource"]["status"]) == ("POST", "active")
    assert (needle_out["request"]["method"], needle_out["resource"]["status"]) == ("PUT", "inactive")
    assert needle_in["fullUrl"] == needle_out["fullUrl"]
    (use_in,), (use_out,) = pick(opening, "DeviceUseStatement"), pick(closing, "DeviceUseStatement")
    assert (use_in["resource"]["status"], use_out["resource"]["status"]) == ("active", "completed")
    assert use_out["resource"]["timingPeriod"] == {
        "start": "2026-08-17T09:25:00-05:00",
        "end": "2026-08-18T09:10:00-05:00",
    }
    (change_in,), (change_out,) = (pick(one, "ServiceRequest", "needle due") for one in (opening, closing))
    assert change_in["resource"]["status"] == "active"
    assert change_in["resource"]["occurrenceDateTime"] == "2026-08-24T09:25:00-05:00"
    assert change_out["resource"]["status"] == "completed"
    (dressing_out,) = pick(closing, "ServiceRequest", "Dressing")
    assert dressing_out["resource"]["status"] == "revoked"
    flush = [one for one in pick(closing, "ServiceRequest", "Flush") if one["request"]["method"] == "POST"]
    assert len(flush) == 1
    assert flush[0]["resource"]["intent"] == "plan"


def test_the_port_stays_one_device_in_every_stay_of_the_patient() -> None:
    first, second = episode("two-septa"), episode("two-septa").model_copy(update={"id": "another-stay"})
    ports = {
        one["identifier"][0]["value"]
        for given in (sent(first), sent(second))
        for one in resources(given, "Device")
        if one["type"]["text"] == "Implanted venous access port"
    }
    assert len(ports) == 1
    other = first.model_copy(update={"port": first.port.model_copy(update={"id": "port-2"})})
    assert resources(sent(other), "Device")[0]["identifier"][0]["value"] not in ports


def test_what_was_not_done_says_so_with_its_reason() -> None:
    found = resources(sent(episode("arrived-accessed")), "MedicationAdministration")
    skipped = [one for one in found if one["status"] == "not-done"]
    assert {"fresh needle follows", "infusion connected"} <= {one["statusReason"][0]["text"] for one in skipped}
    assert all("dosage" not in one for one in skipped)


def test_what_was_not_assessed_is_absent_with_its_reason_and_has_no_value() -> None:
    record = made_records.record(
        made_records.needle_event(
            "2031-03-04 09:40", blood_return={"not_assessed": "line in use"}, pain={"not_assessed": "asleep"}
        )
    )
    found = resources(sent(made_records.episode(record)), "Observation")
    (pain,) = by_text(found, "Pain score 0 to 10")
    assert pain["dataAbsentReason"]["text"] == "asleep"
    assert not any(key.startswith("value") for key in pain)
    (blood,) = by_text(found, "Blood return from implanted venous access port")
    assert blood["dataAbsentReason"]["coding"][0]["code"] == "not-performed"


def test_a_device_identifier_that_cannot_be_read_is_kept_as_printed() -> None:
    found = resources(sent(episode("deliberately-bad")), "Device")
    carriers = [one["udiCarrier"][0] for one in found if "udiCarrier" in one]
    assert {"carrierHRF": "(01)51022222233337(17)251231(10)LOT-A77", "entryType": "unknown"} in carriers
    claimed = resources(sent(episode("deliberately-bad"), config=Config(profiles=(US_CORE,))), "Device")
    assert not any("udiCarrier" in one for one in claimed)
    assert any("51022222233337" in note["text"] for one in claimed for note in one.get("note", ()))


def test_the_note_goes_out_whole_as_it_stood_when_it_was_charted() -> None:
    (document, *_) = resources(sent(episode("uncomplicated-week"), noted()), "DocumentReference")
    attachment = document["content"][0]["attachment"]
    text = base64.b64decode(attachment["data"]).decode()
    assert attachment["contentType"] == "text/plain; charset=utf-8"
    assert attachment["size"] == len(text.encode())
    assert "20 gauge" in text
    assert document["type"]["coding"][0]["code"] == "34746-8"


@pytest.mark.parametrize("demo", ["deliberately-bad", "uncomplicated-week"])
def test_a_note_that_nobody_signed_is_preliminary_and_has_no_authenticator(demo: str) -> None:
    found = resources(sent(episode(demo), noted()), "DocumentReference")
    assert {one["docStatus"] for one in found} == {"preliminary"}
    assert not any("authenticator" in one for one in found)


def test_the_docx_is_a_second_content_and_the_same_each_time() -> None:
    from lda_notes.fhir.build.notes import note_writer

    options = Options(notes=note_writer(DEFAULT, docx=True))
    line = build(episode("two-septa"), DEFAULT, fhir_demos.ASOF)
    twice = [bundles(line, DEFAULT, CONFIG, options) for _ in range(2)]
    one, other = (next(made for made in of if made.event == "access-medial") for of in twice)
    assert one == other
    (document,) = resources([one.bundle], "DocumentReference")
    assert len(document["content"]) == 2
    assert base64.b64decode(document["content"][1]["attachment"]["data"]).startswith(b"PK")


# -- references and configuration --


def test_references_are_literal_conditional_or_to_the_context() -> None:
    week = episode("uncomplicated-week")
    literal = resources(sent(week, config=Config(references="literal")), "Procedure")[0]
    number = week.patient.identifiers[0].value
    token = {"system": week.patient.identifiers[0].system, "value": number}
    assert literal["subject"] == {"reference": f"Patient/{number}", "identifier": token}
    conditional = resources(sent(week), "Procedure")[0]
    assert conditional["subject"]["reference"] == f"Patient?identifier={week.patient.identifiers[0].system}|{number}"
    acting = conditional["performer"][0]["onBehalfOf"]["reference"]
    assert acting == f"Organization?identifier={CONFIG.systems.facility}|{quote(week.stay.facility)}"
    with_context = sent(week, Options(with_context=True))
    patient = with_context[0]["entry"][0]
    assert patient["request"]["ifNoneExist"] == f"identifier={week.patient.identifiers[0].system}|{number}"
    assert resources(with_context, "Procedure")[0]["subject"] == {"reference": patient["fullUrl"]}


def test_references_can_be_named_in_the_configuration() -> None:
    week = episode("uncomplicated-week")
    config = Config(
        patients={week.patient.identifiers[0].value: "Patient/777"},
        stays={week.id: "Encounter/888"},
        staff={"LBN-204": "Practitioner/999"},
        organization="Organization/lantern",
    )
    found = resources(sent(week, config=config), "Procedure")
    assert {one["subject"]["reference"] for one in found} == {"Patient/777"}
    assert {one["encounter"]["reference"] for one in found} == {"Encounter/888"}
    assert {one["performer"][0]["onBehalfOf"]["reference"] for one in found} == {"Organization/lantern"}
    assert "Practitioner/999" in {one["performer"][0]["actor"]["reference"] for one in found}


def test_a_patient_number_that_no_reference_can_hold_is_refused_with_what_to_do() -> None:
    record = made_records.record(made_records.needle_event("2031-03-04 09:40"))
    record["patient"]["identifiers"][0]["value"] = "MD 0001/7"
    with pytest.raises(Failure, match="name the patient's reference under patients"):
        made(made_records.episode(record), config=Config(references="literal"))
    found = made(made_records.episode(record))
    assert verify(found[0].bundle) == ()
    assert "MD%200001%2F7" in json.dumps(found[0].bundle)


def test_two_events_of_one_identifier_are_refused() -> None:
    event = made_records.needle_event("2031-03-04 09:40")
    with pytest.raises(Failure, match="two events are called"):
        made(made_records.episode(made_records.record(event, event)))


def test_us_core_is_claimed_and_met_where_it_is_asked_for() -> None:
    plain = sent(episode("two-septa"), noted())
    assert not any("profile" in entry["resource"].get("meta", {}) for bundle in plain for entry in bundle["entry"])
    claimed = sent(episode("two-septa"), noted(), Config(profiles=(US_CORE,)))
    base = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-"
    for kind in ("procedure", "device", "documentreference", "provenance"):
        kinds = {"documentreference": "DocumentReference"}.get(kind, kind.capitalize())
        found = resources(claimed, kinds)
        if kind == "device":  # needles and supplies are no implants, and claim nothing
            assert any("meta" not in one for one in found)
            found = [one for one in found if one["type"]["text"] == "Implanted venous access port"]
        assert found
        assert {tuple(one["meta"]["profile"]) for one in found} == {(base + kind,)}
    # What each profile requires beyond R4 (US Core 9.0.0).
    for one in resources(claimed, "Procedure"):
        assert one["code"]["text"]
        assert "performedPeriod" in one or one["status"] == "not-done"
    for one in resources(claimed, "Device"):
        assert one["type"]["text"]
        assert all("deviceIdentifier" in carrier for carrier in one.get("udiCarrier", ()))
    for one in resources(claimed, "DocumentReference"):
        assert one["category"][0]["coding"][0]["code"] == "clinical-note"
        assert all("data" in content["attachment"] for content in one["content"])
        assert len(one["context"]["encounter"]) == 1
    for one in resources(claimed, "Provenance"):
        assert all("onBehalfOf" in agent for agent in one["agent"])


def test_despite_travels_in_the_provenance() -> None:
    found = resources(sent(episode("deliberately-bad"), Options(despite="line already out")), "Provenance")
    assert all(one["reason"][-1]["text"] == "Sent despite findings: line already out" for one in found)


def test_a_version_of_a_much_corrected_note_tells_the_last_corrections_and_counts_the_rest() -> None:
    at = datetime(2031, 4, 2, 14, tzinfo=UTC)
    said = [
        {**event("amendment", at + timedelta(minutes=i), of="look", reason="typing", sets={"reason": f"no. {i}"})}
        for i in range(1, 11)
    ]
    look = {**event("line check", at, reason="no. 0"), "id": "look"}
    of = made_records.episode(record(look, *({**one, "id": f"a{i}"} for i, one in enumerate(said, 1))))
    last = resources(sent(of, noted()), "DocumentReference")[-1]
    text = " ".join(base64.b64decode(last["content"][0]["attachment"]["data"]).decode().split())
    assert "changed by 2 earlier corrections, which earlier versions of this note contain, and then by" in text
    assert "entry a2)" not in text and "entry a3)" in text and "Reason: was no. 2, now no. 3." in text
    assert "As first charted" not in text and "As it read before these corrections" in text
    assert [one["code"] for one in last["relatesTo"]] == ["replaces"]
