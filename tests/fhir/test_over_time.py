"""What several events say of one thing, as a server has it after all of them: stay, unit, supplies, what was given."""

from __future__ import annotations

import json
from typing import Any

import made_records
import pytest
from fhir_demos import CONFIG, DEMOS, episode, noted, sent
from made_records import event, needle_event, record, removal_event

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.readback.store import Store, stored
from lda_notes.record.episode import Episode

Json = dict[str, Any]
CONTEXT = Options(with_context=True)


def kept(*events: Json, options: Options | None = None, **stay: Any) -> Store:
    """What a server keeps of a record."""
    return stored(sent(made_records.episode(record(*events, **stay)), options), CONFIG)


def all_of(store: Store, kind: str) -> list[Json]:
    return list(store.all(kind))


def device(store: Store, words: str) -> Json:
    [found] = [one for one in all_of(store, "Device") if words in one["type"]["text"]]
    return found


MOVE = event("transfer", "2031-03-05 10:00", to_unit="Ward Plover")
ACCESS = needle_event("2031-03-04 09:40")
OUT = removal_event("2031-03-06 09:00")
HOME = event("discharge", "2031-03-06 12:00", destination="home", needle_in=False)


def unit_of(store: Store, words: str) -> str | None:
    located = device(store, words).get("location")
    return located["display"] if located else None


def test_the_unit_of_port_and_needle_moves_and_goes_with_the_discharge() -> None:
    for words in ("port", "needle"):
        assert unit_of(kept(ACCESS), words) == "Ward Heron"
        assert unit_of(kept(ACCESS, MOVE), words) == "Ward Plover"
    assert unit_of(kept(ACCESS, MOVE, OUT), "needle") == "Ward Plover"
    assert unit_of(kept(ACCESS, MOVE, OUT, HOME), "port") is None


def test_the_stay_moves_and_ends() -> None:
    admitted = {"admitted_at": "2031-03-04T08:00:00-06:00"}
    [stay] = all_of(kept(ACCESS, options=CONTEXT, **admitted), "Encounter")
    assert (stay["status"], [one["status"] for one in stay["location"]]) == ("in-progress", ["active"])
    [stay] = all_of(kept(ACCESS, MOVE, options=CONTEXT, **admitted), "Encounter")
    assert (stay["status"], [one["status"] for one in stay["location"]]) == ("in-progress", ["completed", "active"])
    assert stay["location"][0]["period"]["end"] == stay["location"][1]["period"]["start"]
    [stay] = all_of(kept(ACCESS, MOVE, OUT, HOME, options=CONTEXT, **admitted), "Encounter")
    assert (stay["status"], stay["period"]["end"]) == ("finished", "2031-03-06T12:00:00-06:00")


def test_supplies_are_used_up_and_named_by_the_procedure() -> None:
    store = kept(needle_event("2031-03-04 09:40", supplies=[{"name": "access kit", "lot": "K-1"}]))
    supply = device(store, "access kit")
    assert supply["status"] == "inactive"
    [access] = all_of(store, "Procedure")
    assert supply in [store.at(one) for one in access["usedReference"]]


def test_facts_of_the_port_are_corrected_on_the_port() -> None:
    told = event("port facts", "2031-03-05 08:00", source="card", power={"rated": True})
    port = device(kept(ACCESS, told), "port")
    said = {one["type"]["text"]: one for one in port["property"]}
    assert said["Power injection rating"]["valueCode"][0]["text"] == "yes"
    assert "extension" in port  # what was first recorded of it
    assert "Power injection rating" not in {one["type"]["text"] for one in device(kept(ACCESS), "port")["property"]}


# -- what was given --


def use(at: str, action: str | None, purpose: str = "infusion", **facts: Any) -> Json:
    said = {"action": action} if action is not None else {}
    return event("line use", at, purpose=purpose, what="dextrose", **said, **facts)


def given(*events: Json) -> list[Json]:
    """What uses of the line put through it."""
    found = all_of(kept(ACCESS, *events), "MedicationAdministration")
    return [one for one in found if one["medicationCodeableConcept"]["text"] == "dextrose"]


TEN = {"effectiveDateTime": "2031-03-04T10:00:00-06:00"}
START, STOP = use("2031-03-04 10:00", "started"), use("2031-03-04 12:00", "stopped")


@pytest.mark.parametrize(
    ("events", "status", "when"),
    [
        ([START], "in-progress", {"effectivePeriod": {"start": "2031-03-04T10:00:00-06:00"}}),
        (
            [START, STOP],
            "completed",
            {"effectivePeriod": {"start": "2031-03-04T10:00:00-06:00", "end": "2031-03-04T12:00:00-06:00"}},
        ),
        (
            [START, removal_event("2031-03-04 13:00")],
            "completed",
            {"effectivePeriod": {"start": "2031-03-04T10:00:00-06:00", "end": "2031-03-04T13:00:00-06:00"}},
        ),
        ([STOP], "completed", {"effectivePeriod": {"end": "2031-03-04T12:00:00-06:00"}}),
        (
            [use("2031-03-04 10:00", "given", "medication")],
            "completed",
            {"effectiveDateTime": "2031-03-04T10:00:00-06:00"},
        ),
        ([use("2031-03-04 10:00", None)], "unknown", TEN),
    ],
    ids=["runs", "stopped", "needle out", "stop alone", "given", "not said"],
)
def test_a_use_that_gives_something_is_an_administration(events: list[Json], status: str, when: Json) -> None:
    [one] = given(*events)
    assert one["status"] == status
    assert {key: value for key, value in one.items() if key.startswith("effective")} == when
    assert len(one["device"]) == 1


def test_two_infusions_end_together_and_a_look_between_ends_none() -> None:
    look = event("line check", "2031-03-04 11:00", infusion="dextrose at 20 mL per hour")
    second = use("2031-03-04 11:30", "started")
    assert [one["status"] for one in given(START, look)] == ["in-progress"]
    ended = given(START, look, second, STOP)
    assert [one["effectivePeriod"]["end"] for one in ended] == ["2031-03-04T12:00:00-06:00"] * 2


def test_what_comes_out_is_not_given() -> None:
    assert given(use("2031-03-04 10:00", None, "blood sampling")) == []


def test_a_power_injection_has_route_and_rate() -> None:
    [one] = given(use("2031-03-04 10:00", "given", "power injection", flow_ml_per_s=5))
    assert one["dosage"]["route"]["text"] == "Intravenous"
    assert (one["dosage"]["rateQuantity"]["value"], one["dosage"]["rateQuantity"]["code"]) == (5, "mL/s")


def test_a_use_that_was_retracted_gave_nothing() -> None:
    wrong = event("retraction", "2031-03-04 14:00", of=START["id"], reason="wrong patient")
    assert [one["status"] for one in given(START, wrong)] == ["entered-in-error"]


@pytest.mark.parametrize("demo", DEMOS)
def test_administrations_name_the_device_and_with_a_dose_the_route(demo: str) -> None:
    for one in stored(sent(episode(demo)), CONFIG).all("MedicationAdministration"):
        skin = one["reasonCode"][0]["coding"][0]["code"] == "reason.reason-anesthesia"
        assert skin != ("device" in one)
        assert "dosage" not in one or "route" in one["dosage"]


def test_what_is_seen_and_given_through_one_of_two_septa_names_it() -> None:
    store = stored(sent(episode("two-septa")), CONFIG)
    procedures = {one["identifier"][0]["value"]: one for one in store.all("Procedure")}
    named = 0
    for kind in ("Observation", "MedicationAdministration"):
        for one in store.all(kind):
            for part in one.get("partOf", ()):
                procedure = procedures.get(store.name_at(part) or "")
                if procedure is not None and ("focus" in one or "device" in one):
                    assert septum(one) == septum(procedure)
                    named += 1
    assert named > 20


def septum(resource: Json) -> list[str]:
    return [one["valueString"] for one in resource.get("extension", ()) if one["url"].endswith("/septum")]


# -- signed --


def test_a_note_is_final_once_its_entry_was_signed() -> None:
    week = episode("uncomplicated-week")
    data = json.loads(week.model_dump_json(exclude_unset=True))
    data["events"][0]["seal"] = {"version": "1", "before": "0" * 64, "digest": "1" * 64}
    signed = Episode.model_validate_json(json.dumps(data))
    first, *rest = stored(sent(signed, noted()), CONFIG).all("DocumentReference")
    assert first["docStatus"] == "final"
    assert first["authenticator"] == first["author"][0]
    assert {one["docStatus"] for one in rest} == {"preliminary"}
