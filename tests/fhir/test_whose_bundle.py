"""Identities carry the patient: two patients never share one, whatever their episodes are called."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from fhir_demos import changed, episode, noted, resources, sent
from hypothesis import given
from hypothesis import strategies as st

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.config import Config
from lda_notes.fhir.identity import CONTEXT_TYPES
from lda_notes.fhir.readback.reading import readback
from lda_notes.fhir.tokens import read_token, token
from lda_notes.fhir.verify.verification import verify
from lda_notes.record.episode import Episode

WEEK = episode("uncomplicated-week")
FIRST = WEEK.patient.identifiers[0]


def with_patient(of: Episode, **facts: Any) -> Episode:
    return of.model_copy(update={"patient": of.patient.model_copy(update=facts)})


def numbered(of: Episode, value: str) -> Episode:
    return with_patient(of, identifiers=(FIRST.model_copy(update={"value": value}),))


def identities(of: Episode, options: Options | None = None) -> set[tuple[str, str]]:
    """Type and condition of every entry that is ours."""
    found = set()
    for bundle in sent(of, options):
        for entry in bundle["entry"]:
            kind = entry["resource"]["resourceType"]
            if kind not in CONTEXT_TYPES or kind == "Encounter":
                request = entry["request"]
                found.add((kind, request.get("ifNoneExist") or request["url"].partition("?")[2]))
    return found


@pytest.mark.parametrize("options", [noted(), Options(with_context=True)])
def test_two_patients_with_one_episode_share_no_identity(options: Options) -> None:
    mine, theirs = identities(WEEK, options), identities(numbered(WEEK, "LBN-999999"), options)
    assert len(mine) == len(theirs) > 100
    assert not mine & theirs


def test_two_ports_of_one_patient_share_no_identity() -> None:
    other = WEEK.model_copy(update={"port": WEEK.port.model_copy(update={"id": "port-2"})})
    assert not identities(WEEK) & identities(other)


def test_a_number_of_another_system_is_another_patient() -> None:
    elsewhere = FIRST.model_copy(update={"system": "https://elsewhere.example/mrn"})
    assert not identities(WEEK) & identities(with_patient(WEEK, identifiers=(elsewhere,)))


def test_a_corrected_number_is_added_behind_and_reidentifies_nothing() -> None:
    wrong = FIRST.model_copy(update={"replaced": True})
    right = FIRST.model_copy(update={"value": "LBN-424242"})
    merged = with_patient(WEEK, identifiers=(wrong, right))
    assert identities(merged) == identities(WEEK)
    subjects = {one["subject"]["reference"] for one in resources(sent(merged), "Procedure")}
    assert subjects == {f"Patient?identifier={right.system}|LBN-424242"}
    [back] = readback(sent(merged, Options(with_context=True)), CONFIG).episodes
    assert back.episode is not None
    assert back.episode.patient.identifiers == (wrong, right)


def test_bundles_of_two_patients_with_one_episode_are_read_back_as_two_records() -> None:
    other = with_patient(numbered(WEEK, "LBN-999999"), family_name="Quillfeather")
    both = [*sent(WEEK), *sent(other)]
    found = readback(both, CONFIG).episodes
    assert {one.episode.patient.family_name for one in found if one.episode} == {
        WEEK.patient.family_name,
        "Quillfeather",
    }
    assert {len(one.episode.events) for one in found if one.episode} == {len(WEEK.events)}
    assert [one.remarks for one in found] == [(), ()]


@pytest.mark.parametrize("config", [CONFIG, Config(references="literal")])
@pytest.mark.parametrize("step", ["subject", "patient", "for"])
def test_a_bundle_that_speaks_of_two_patients_is_at_fault(config: Config, step: str) -> None:
    held = episode("no-blood-return")  # it has a Task, the one resource of ours that is ``for`` somebody
    bundles = sent(held, config=config)
    bundle = copy.deepcopy(next(one for one in bundles if any(step in each["resource"] for each in one["entry"])))
    assert verify(bundle) == ()
    index = max(i for i, one in enumerate(bundle["entry"]) if step in one["resource"])
    bundle["entry"][index]["resource"][step] = {"reference": "Patient/somebody-else"}
    [fault] = verify(bundle)
    assert fault.rule == "two-patients"
    assert fault.entry == index
    assert "speaks of two patients" in fault.message


def test_the_patient_of_the_bundle_itself_counts() -> None:
    bundle = copy.deepcopy(sent(WEEK, Options(with_context=True))[0])
    assert verify(bundle) == ()
    other = sent(numbered(WEEK, "LBN-999999"), Options(with_context=True))[0]["entry"][0]
    bundle["entry"].append(other)
    assert "two-patients" in {fault.rule for fault in verify(bundle)}


def test_other_bundles_may_speak_of_many_patients() -> None:
    bundle = copy.deepcopy(sent(WEEK)[0])
    bundle["entry"][0]["resource"]["patient"] = {"reference": "Patient/somebody-else"}
    assert verify(bundle, house=False) == ()


@given(st.text(min_size=1), st.text(min_size=1))
def test_a_token_is_read_as_it_was_written(system: str, value: str) -> None:
    try:
        system.encode()
        value.encode()
    except UnicodeEncodeError:
        return
    assert read_token(token(system, value)) == (system, value)


def test_a_number_with_a_comma_does_not_search_for_two_patients() -> None:
    assert token("https://a.example/mrn", "1,2") == "https://a.example/mrn|1%5C%2C2"
    assert verify(sent(numbered(WEEK, "1,2|3"), Options(with_context=True))[0]) == ()


def test_the_order_of_events_changes_no_identity() -> None:
    data = [event.model_dump(mode="json", exclude_unset=True) for event in reversed(WEEK.events)]
    assert identities(changed(WEEK, events=data)) == identities(WEEK)
