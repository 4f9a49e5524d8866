"""The order and the number of bundles change nothing: shown on a server in a few rows, after R4's text."""

from __future__ import annotations

import copy
import itertools
import json
import random
from decimal import Decimal
from typing import Any

import pytest
from fhir_demos import CONFIG, DEMOS, changed, episode, made, noted, sent
from fhir_server_model import Server

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.build.frame import frame
from lda_notes.fhir.elements import to_json
from lda_notes.fhir.identity import status_of
from lda_notes.record.episode import Episode


def after(bundles: list[dict[str, Any]], server: Server | None = None) -> Server:
    server = server or Server()
    for bundle in bundles:
        server.transact(bundle)
    return server


@pytest.mark.parametrize("demo", DEMOS)
def test_a_second_time_changes_nothing(demo: str) -> None:
    bundles = sent(episode(demo), noted())
    server = after(bundles)
    before, versions = server.state(), dict(server.versions)
    after(bundles, server)
    assert server.state() == before
    assert server.versions == versions


def as_received(bundle: dict[str, Any]) -> Any:
    return json.loads(to_json(bundle), parse_float=Decimal)


TRIPLES = [
    ("soiled-dressing", ("access-1", "dressing-1", "removal-1")),
    ("soiled-dressing", ("access-1", "check-8", "dressing-1")),
    ("uncomplicated-week", ("access-1", "removal-1", "access-2")),
    ("two-septa", ("access-lateral", "check-lateral-1", "removal-lateral")),
    ("no-blood-return", ("treatment-1", "look-30", "look-120")),
    ("corrected-entries", ("access-1", "addendum-1", "amendment-1")),
    ("corrected-entries", ("access-1", "amendment-1", "removal-1")),
    ("corrected-entries", ("check-wrong", "retraction-1", "removal-1")),
    ("deliberately-bad", ("access-1", "access-2", "removal-1")),
]


@pytest.mark.parametrize(
    "demo, events", TRIPLES, ids=lambda value: value if isinstance(value, str) else "+".join(value)
)
def test_three_bundles_in_any_order_end_in_the_same_state(demo: str, events: tuple[str, ...]) -> None:
    by_event = {one.event: one.bundle for one in made(episode(demo), noted())}
    missing = set(events) - by_event.keys()
    assert not missing
    states = [after([by_event[event] for event in order]).state() for order in itertools.permutations(events)]
    for state in states[1:]:
        assert state == states[0]


@pytest.mark.parametrize("options", [Options(), Options(with_context=True)], ids=["plain", "with context"])
@pytest.mark.parametrize("demo", DEMOS)
def test_whole_episodes_in_any_order_end_in_the_same_state(demo: str, options: Options) -> None:
    bundles = sent(episode(demo), options)
    expected = after(bundles).state()
    chance = random.Random(demo)
    for _ in range(5):
        shuffled = [*bundles, *chance.sample(bundles, len(bundles) // 2)]
        chance.shuffle(shuffled)
        assert after(shuffled).state() == expected


def test_two_patients_at_once_do_not_mix() -> None:
    one, other = sent(episode("two-septa")), sent(episode("uncomplicated-week"))
    mixed = [bundle for pair in itertools.zip_longest(one, other) for bundle in pair if bundle is not None]
    assert after(mixed).state() == {**after(one).state(), **after(other).state()}


# -- corrections that come after everything was sent --

RETRACT: dict[str, Any] = {
    "id": "late-retraction",
    "kind": "retraction",
    "at": "2026-12-01T10:00-06:00",
    "by": {"name": "Marisol Tamm", "credential": "RN", "id": "LBN-204"},
    "reason": "charted on the wrong patient",
}


@pytest.mark.parametrize("demo", ["uncomplicated-week", "two-septa", "soiled-dressing", "no-blood-return"])
def test_a_record_that_grows_ends_as_if_it_had_been_sent_whole(demo: str) -> None:
    """Each event in turn is retracted after all was sent: the new bundles bring the server to the new state.

    The bundle of the correction alone is enough for that.
    """
    old = episode(demo)
    before = after(sent(old))
    for event in old.events:
        new = made(changed(old, more=[{**RETRACT, "of": event.id}]))
        received = [as_received(one.bundle) for one in new]
        whole = _without_provenance(after(received).state())
        grown = after(received, copy.deepcopy(before))
        assert _without_provenance(grown.state()) == whole, event.id
        (correction,) = (got for one, got in zip(new, received, strict=True) if one.event == "late-retraction")
        corrected = after([correction], copy.deepcopy(before))
        assert _without_provenance(corrected.state()) == whole, event.id


def _without_provenance(state: dict[str, Any]) -> dict[str, Any]:
    """Provenance is history: it names what its bundle held when it was first sent."""
    return {name: held for name, held in state.items() if not name.startswith("Provenance")}


def test_a_task_that_a_later_event_closed_survives_the_retraction_of_an_earlier_one() -> None:
    old = episode("soiled-dressing")
    dressings = [event for event in old.events if event.kind == "dressing change"]
    assert len(dressings) >= 1
    before = _tasks(after(sent(old)).state())
    new = changed(old, more=[{**RETRACT, "of": dressings[0].id}])
    server = after(sent(old))
    (correction,) = (one.bundle for one in made(new) if one.event == "late-retraction")
    server.transact(as_received(correction))
    now = _tasks(server.state())
    closed = {name for name, due in before.items() if due["status"] == "completed" and "needle" in due["code"]["text"]}
    assert closed
    assert all(now[name]["status"] == "completed" for name in closed)
    assert any(now[name]["status"] == "entered-in-error" for name in now)


def _tasks(state: dict[str, Any]) -> dict[str, Any]:
    return {name: held for name, held in state.items() if name.startswith("ServiceRequest")}


def test_a_retracted_removal_leaves_the_needle_in_use_again() -> None:
    old = episode("two-septa")
    new = changed(old, more=[{**RETRACT, "of": "removal-medial"}])
    server = after([*sent(old), *sent(new)])
    uses = [held for name, held in server.state().items() if name.startswith("DeviceUseStatement")]
    assert sorted(use["status"] for use in uses) == ["active", "completed"]
    assert "end" not in next(use for use in uses if use["status"] == "active")["timingPeriod"]


def test_a_retracted_access_takes_all_of_it_back() -> None:
    old = episode("two-septa")
    new = changed(old, more=[{**RETRACT, "of": "access-medial"}])
    own = {
        entry["fullUrl"].removeprefix("urn:uuid:")
        for one in made(old)
        if one.event == "access-medial"
        for entry in one.bundle["entry"]
        if entry["resource"]["resourceType"] not in ("Provenance",)
    }
    server = after([*sent(old), *sent(new)])
    statuses = {name: status_of(held) for name, held in server.state().items() if name.split()[1] in own}
    port = [name for name in statuses if name.startswith("Device ") and statuses[name] == "active"]
    assert len(port) == 1, "the port stays as it is"
    of_the_record = ("AllergyIntolerance", "Condition", "List")  # created with the first event, and not its own
    rest = {name: status for name, status in statuses.items() if name not in port}
    assert {status for name, status in rest.items() if not name.startswith(of_the_record)} == {
        "entered-in-error",
        "final",  # the weight
    }


def test_an_addendum_amends_what_it_adds_to_and_an_amendment_corrects() -> None:
    old = episode("two-septa")
    addendum = {**RETRACT, "id": "late-addendum", "kind": "addendum", "of": "check-medial-1"}
    addendum["adds"] = {"samples": ["lactate"], "remarks": "sample sent down at once"}
    statuses = _statuses(after(sent(changed(old, more=[addendum]))), "check-medial-1")
    assert statuses["Blood return from implanted venous access port"] == "amended"
    assert statuses["Remark of the nurse"] == "final"
    amendment = {**addendum, "id": "late-amendment", "kind": "amendment", "sets": {"blood_return": "sluggish"}}
    amendment.pop("adds")
    statuses = _statuses(after(sent(changed(old, more=[addendum, amendment]))), "check-medial-1")
    assert statuses["Blood return from implanted venous access port"] == "corrected"
    undone = {**RETRACT, "of": "late-amendment", "at": "2026-12-02T10:00-06:00"}
    statuses = _statuses(after(sent(changed(old, more=[amendment, undone]))), "check-medial-1")
    assert statuses["Blood return from implanted venous access port"] == "final"


def _statuses(server: Server, event: str) -> dict[str, str]:
    roles = ("blood-return", "remark", "pain")
    own = {frame(episode("two-septa"), CONFIG, "context").event_name(event, role) for role in roles}
    found = [held for name, held in server.state().items() if name.split()[1] in own]
    return {held["code"]["text"]: held["status"] for held in found}


def test_an_amendment_replaces_the_document_and_corrects_observations() -> None:
    old = episode("two-septa")
    amendment = {**RETRACT, "id": "late-amendment", "kind": "amendment", "of": "access-medial", "sets": {"pain": 4}}
    server = after([*sent(old, noted()), *sent(changed(old, more=[amendment]), noted())])
    state = server.state()
    pains = [held for held in state.values() if held.get("valueInteger") == 4]
    assert [pain["status"] for pain in pains] == ["corrected"]
    documents = [held for name, held in state.items() if name.startswith("DocumentReference")]
    replacing = [one for one in documents if "relatesTo" in one]
    assert [one["relatesTo"][0]["code"] for one in replacing] == ["replaces"]
    (older,) = (one for one in documents if one["status"] == "superseded")
    assert replacing[0]["relatesTo"][0]["target"]["reference"] == f"DocumentReference {older['identifier'][0]['value']}"
    procedures = [held for name, held in state.items() if name.startswith("Procedure")]
    assert {one["status"] for one in procedures} == {"completed"}


def test_what_is_said_of_a_retracted_entry_later_changes_nothing_that_was_taken_back() -> None:
    old = episode("two-septa")
    retraction = {**RETRACT, "of": "check-medial-1"}
    amendment = {**RETRACT, "id": "too-late", "kind": "amendment", "at": "2026-12-03T10:00-06:00", "sets": {"pain": 9}}
    new = changed(old, more=[retraction, {**amendment, "of": "check-medial-1"}])
    state = after([*sent(old, noted()), *sent(new, noted())]).state()
    assert not any(held.get("valueInteger") == 9 for held in state.values())
    name = frame(old, CONFIG, "context").event_name("too-late", "note")
    paper = state[f"DocumentReference {name}"]
    assert paper["status"] == "entered-in-error"


@pytest.mark.parametrize("event", ["access-medial", "check-medial-1"])
def test_an_entry_retracted_before_it_was_ever_sent_is_never_active(event: str) -> None:
    """Whatever bundle comes first, what was taken back is created as entered in error."""
    old = episode("two-septa")
    new = changed(old, more=[{**RETRACT, "of": event}])
    own = {frame(old, CONFIG, "context").event_name(event, part) for part in _parts(old, event)}
    bundles = sent(new, noted())
    for order in (bundles, list(reversed(bundles))):
        server = Server()
        for bundle in order:
            server.transact(bundle)
            state = server.state()
            found = [held for name, held in state.items() if name.split()[1] in own]
            assert {held["status"] for held in found} <= {"entered-in-error"}
        assert len(found) > 2
        assert len(own) == len(found)
    late = after([*sent(old, noted()), *bundles]).state()
    for name, held in server.state().items():  # a Provenance stays as it was when its event was sent
        assert name.startswith("Provenance") or late[name] == held


def _parts(of: Episode, event: str) -> list[str]:
    """The parts of an event that have a status: all of its own but the Provenance."""
    parts = ["procedure", "blood-return", "pain", "site", "note", "needle", "needle/use", "remark", "check"]
    made = {one["fullUrl"] for one in next(b for b in sent(of, noted()) if _about(b, event))["entry"]}
    names = {part: f"urn:uuid:{frame(of, CONFIG, 'context').event_name(event, part)}" for part in parts}
    return [part for part, name in names.items() if name in made]


def _about(bundle: Any, event: str) -> bool:
    sources = [
        one["resource"]["entity"][0] for one in bundle["entry"] if one["resource"]["resourceType"] == "Provenance"
    ]
    return any(one["what"]["identifier"]["value"].endswith(f"/{event}") for one in sources)
