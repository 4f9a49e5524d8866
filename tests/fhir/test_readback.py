"""Bundles back to records: nothing lost, and the standard elements carry the facts."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from datetime import datetime
from decimal import Decimal
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

import pytest
from fhir_demos import CONFIG, DEMOS, changed, episode, noted, resources, sent
from fhir_server_model import Server
from pydantic import BaseModel
from pydantic.types import AwareDatetime

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.readback.differences import differences
from lda_notes.fhir.readback.reading import Readback, readback
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Correcting

Json = dict[str, Any]


def read(bundles: list[Json]) -> Readback:
    (found,) = readback(bundles, CONFIG).episodes
    return found


def unlike(original: Episode, found: Readback) -> tuple[str, ...]:
    assert found.episode is not None, found.remarks
    return differences(original, found.episode)


@pytest.mark.parametrize("options", [Options(), Options(with_context=True)], ids=["plain", "with context"])
@pytest.mark.parametrize("demo", DEMOS)
def test_every_demo_comes_back_whole(demo: str, options: Options) -> None:
    found = read(sent(episode(demo), options))
    assert found.remarks == ()
    assert unlike(episode(demo), found) == ()


@pytest.mark.parametrize("demo", ["corrected-entries", "deliberately-bad"])
def test_notes_change_nothing_of_what_is_read(demo: str) -> None:
    assert unlike(episode(demo), read(sent(episode(demo), noted()))) == ()


@pytest.mark.parametrize("demo", DEMOS)
def test_what_a_server_finds_comes_back_whole(demo: str) -> None:
    """After everything was sent, in the server's own words: ids, literal references, in no particular order."""
    server = Server()
    for bundle in reversed(sent(episode(demo), Options(with_context=True))):
        server.transact(bundle)
    found = [{"resource": {**held, "id": str(number)}} for (_, number), held in server.held.items()]
    bundle = {"resourceType": "Bundle", "type": "searchset", "entry": found}
    assert unlike(episode(demo), read([bundle])) == ()


def test_corrections_come_back_as_events_and_the_original_as_first_charted() -> None:
    found = read(sent(episode("corrected-entries")))
    events = {event["id"]: event for event in found.data["events"]}
    assert events["access-1"]["needle"]["length_mm"] == 19
    assert events["access-1"]["needle"]["lot"] == "LOT-A77"
    assert "pain" not in events["access-1"]
    assert events["amendment-1"]["sets"] == {"needle": {"length_mm": Decimal("25.4"), "lot": "LOT-A80"}}
    assert events["addendum-1"]["adds"]["pain"] == 1
    assert events["addendum-1"]["text"] == "Pain and teaching were not entered at 09:45."
    assert events["retraction-1"]["of"] == "check-wrong"
    assert events["check-wrong"]["problems"][0]["told"]["name"] == "Dr Amaranth Locke"


def test_a_co_signature_retracted_by_an_entry_dated_before_it_comes_back() -> None:
    """Found by generated records: such a retraction names none of its resources, for they were not there yet."""
    data = json.loads(episode("uncomplicated-week").model_dump_json(exclude_unset=True))
    signed = {"kind": "co-signature", "of": "access-1", "role": "preceptor", "remarks": "watched all of it"}
    data["events"] += [
        {"id": "retraction-9", "kind": "retraction", "of": "signed-9", "at": "2026-05-10T09:00-05:00"},
        {"id": "signed-9", "at": "2026-05-11T09:00-05:00", **signed},
    ]
    made = Episode.model_validate_json(json.dumps(data))
    assert unlike(made, read(sent(made))) == ()


def test_moments_come_back_with_their_own_offset() -> None:
    found = read(sent(episode("clocks-go-back")))
    events = {event["id"]: event for event in found.data["events"]}
    assert events["check-3"]["at"] == "2026-11-01T01:30:00-05:00"
    assert events["check-4"]["at"] == "2026-11-01T01:30:00-06:00"


# -- the comparison itself --


def test_the_comparison_sees_every_kind_of_difference() -> None:
    week = episode("uncomplicated-week")
    data = json.loads(week.model_dump_json(exclude_unset=True))

    def other(change: Callable[[Json], object]) -> tuple[str, ...]:
        mine = copy.deepcopy(data)
        change(mine)
        return differences(week, Episode.model_validate_json(json.dumps(mine)))

    assert other(lambda d: None) == ()
    assert other(lambda d: d["events"].reverse()) == ()
    assert other(lambda d: d["events"][0].update(pain=9)) == ("events.access-1.pain: 1, 9",)
    assert other(lambda d: d["events"][0].pop("pain")) == ("events.access-1.pain: 1, nothing",)
    assert other(lambda d: d["events"].pop(1)) != ()
    shifted = data["events"][0]["at"].replace("-05:00", "-06:00")
    assert other(lambda d: d["events"][0].update(at=shifted)) != ()
    same = datetime.fromisoformat(data["events"][0]["at"]).astimezone(
        datetime.fromisoformat("2026-01-01T00:00Z").tzinfo
    )
    assert other(lambda d: d["events"][0].update(at=same.isoformat())) != (), "the offset counts"
    assert other(lambda d: d["patient"].update(weight_kg="1.5")) != ()
    assert other(lambda d: d["port"].update(side="left")) != ()


# -- the resources carry the facts, not an extension or an attachment --

NOT_IN_STANDARD_ELEMENTS = (
    "stay.time_zone",
    "port.arm_history",
    "port.catheter_volume_ml",
    "port.tip",
    "port.power",
    "port.valved",
)
"""What no resource carries without an extension: the time zone, and what was first recorded of a port that changed."""


def stripped(bundles: list[Json]) -> list[Json]:
    """Without any extension, and without documents."""

    def bare(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: bare(held) for key, held in value.items() if key != "extension" and not key.startswith("_")}
        return [bare(held) for held in value] if isinstance(value, list) else value

    return [
        {
            **bundle,
            "entry": [bare(one) for one in bundle["entry"] if one["resource"]["resourceType"] != "DocumentReference"],
        }
        for bundle in bundles
    ]


@pytest.mark.parametrize("demo", [demo for demo in DEMOS if demo != "corrected-entries"])
def test_without_extensions_and_documents_all_else_still_comes_back(demo: str) -> None:
    charted = [event for event in episode(demo).events if not isinstance(event, Correcting)]
    whole = episode(demo).model_copy(update={"events": tuple(charted)})
    found = read(stripped(sent(whole, Options(with_context=True, notes=noted().notes))))
    assert found.data["events"]
    found.data["stay"]["time_zone"] = whole.stay.time_zone  # needed by the record's layout
    again = Episode.model_validate_json(json.dumps(found.data, default=float))
    missing = {row.partition(":")[0] for row in differences(whole, again)}
    assert missing <= set(NOT_IN_STANDARD_ELEMENTS)


def variants(annotation: Any, turn: int, name: str) -> Any:
    """A value of a type, another one with each turn: so that in a few turns every member of a union has its turn."""
    origin = get_origin(annotation)
    if hasattr(annotation, "__metadata__"):
        return variants(get_args(annotation)[0], turn, name)
    if origin is Literal:
        words = get_args(annotation)
        return words[turn % len(words)]
    if origin in (Union, UnionType):
        members = [one for one in get_args(annotation) if one is not type(None)]
        return variants(members[turn % len(members)], turn // len(members), name)
    if origin is tuple:
        return [variants(get_args(annotation)[0], turn + step, f"{name} {step}") for step in range(2)]
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return {key: variants(one.annotation, turn, f"{name} {key}") for key, one in annotation.model_fields.items()}
    if annotation is bool:
        return turn % 2 == 0
    if annotation is int:
        return 10
    if annotation is Decimal:
        return 36.25  # a temperature in degrees Celsius too
    if annotation in (datetime, AwareDatetime):
        return f"2031-03-04T0{turn % 8}:15:00-06:00"
    return "2031-03-04" if "date" in str(annotation) else f"{name} {turn}"


FULL_TURNS = 12


def full_event(kind: str, turn: int) -> Json:
    """An event of a kind with every field it can have."""
    made: Json = {}
    for name, one in KINDS[kind].model_fields.items():
        if name != "seal":
            made[name] = variants(one.annotation, turn, f"{kind} {name}")
    made |= {"id": "event-1", "kind": kind, "at": "2031-03-04T09:40:00-06:00"}
    for name in ("of", "treatment", "second_dose_of", "follows_removal"):
        if name in made:
            made[name] = "event-0"
    if isinstance(made.get("antisepsis"), dict) and "skin" in made["antisepsis"]:
        made["antisepsis"]["skin"] = ("dry", "moist")[turn % 2]
    return made


CARE = [kind for kind, model in KINDS.items() if not issubclass(model, Correcting)]


@pytest.mark.parametrize("kind", CARE)
def test_every_field_of_every_kind_stands_in_standard_elements(kind: str) -> None:
    """In some turns a field holds a value, in others a reason why not; none of them needs an extension."""
    seen: set[str] = set()
    for turn in range(FULL_TURNS):
        whole = changed(episode("uncomplicated-week"), events=[full_event(kind, turn)])
        found = read(stripped(sent(whole, Options(with_context=True))))
        assert found.data["events"], found.remarks
        (event,) = found.data["events"]
        seen |= event.keys()
        found.data["stay"]["time_zone"] = whole.stay.time_zone
        again = Episode.model_validate_json(json.dumps(found.data, default=float))
        missing = [row for row in differences(whole, again) if row.startswith("events.")]
        assert missing == []
    assert seen == set(KINDS[kind].model_fields) - {"seal"}, "what is read back was signed by no one"


def test_every_field_of_the_port_stands_in_standard_elements() -> None:
    from lda_notes.record.episode import Port

    for turn in range(4):
        port = {name: variants(one.annotation, turn, name) for name, one in Port.model_fields.items()}
        port |= {"id": "port-9", "septa": ["medial", "lateral"][: turn % 2 + 1]}
        data = json.loads(episode("two-septa").model_dump_json(exclude_unset=True)) | {"port": port}
        whole = Episode.model_validate_json(json.dumps(data))
        found = read(stripped(sent(whole)))
        assert set(found.data["port"]) == set(Port.model_fields)
        assert list(_port_differences(whole, found.data["port"])) == []


def _port_differences(whole: Episode, port: Json) -> Iterator[str]:
    data = json.loads(whole.model_dump_json(exclude_unset=True)) | {"port": port}
    again = Episode.model_validate_json(json.dumps(data, default=float))
    return (row for row in differences(whole, again) if row.startswith("port."))


# -- a changed element is a changed fact --

NAMES_OF_NOTHING = ("lda-notes", "Lock solution", "Flush solution")
"""Constant names: the program's own, and what stands for a drug that was not given."""

SINGLE_EVENTS = [
    ("uncomplicated-week", "access-1"),
    ("child-by-weight", "access-1"),
    ("no-blood-return", "treatment-1"),
    ("uncomplicated-week", "removal-1"),
    ("no-blood-return", "evaluation-1"),
    ("soiled-dressing", "dressing-1"),
]


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    if isinstance(value, dict):
        for key, held in value.items():
            yield from leaves(held, (*path, key))
    elif isinstance(value, list):
        for index, held in enumerate(value):
            yield from leaves(held, (*path, index))
    else:
        yield path, value


def other_than(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | Decimal):
        return value + 3
    if isinstance(value, str) and value[4:5] == "-" and value[:4].isdigit():
        return value.replace(value[:4], str(int(value[:4]) + 1), 1)
    return {"yes": "no", "no": "yes"}.get(value, f"{value} changed") if isinstance(value, str) else value


def is_fact(kind: str, path: tuple[Any, ...]) -> bool:
    """Whether an element states a fact of the record, and not the same again or for readers."""
    last = path[-1]
    holders = [step for step in path if isinstance(step, str)]
    if kind == "Observation":
        return (
            holders[0] in ("valueString", "valueInteger", "valueBoolean", "valueDateTime")
            or (any(step.startswith("value") for step in holders) and last in ("text", "value", "valueString"))
            or (last in ("valueBoolean", "valueInteger", "valueString", "valueDateTime"))
        )
    if kind == "Device":
        return holders[0] in ("lotNumber", "expirationDate") or (
            holders[0] == "property" and last in ("value", "text") and "type" not in holders
        )
    if kind == "MedicationAdministration":
        return [*holders[:2], last] == ["dosage", "dose", "value"] or holders in (
            ["dosage", "method", "text"],
            ["note", "text"],
            ["medicationCodeableConcept", "text"],
            ["statusReason", "text"],
        )
    if kind == "Procedure":
        return holders[:2] == ["basedOn", "identifier"] and last == "value"
    if kind == "Provenance":
        return (
            holders == ["agent", "who", "display"]
            or holders == ["agent", "role", "text"]
            or holders in (["occurredDateTime"], ["recorded"])
        )
    return False


@pytest.mark.parametrize("demo, event", SINGLE_EVENTS)
def test_whatever_element_is_changed_the_record_changes(demo: str, event: str) -> None:
    """Each stated fact of a bundle in turn: the change shows in what is read, so the element is what carries it."""
    only = episode(demo).model_copy(update={"events": tuple(one for one in episode(demo).events if one.id == event)})
    bundles = sent(only)
    before = read(bundles).data
    tried = 0
    for index, entry in enumerate(bundles[0]["entry"]):
        resource = entry["resource"]
        if resource["resourceType"] == "Task" or resource.get("type", {}).get("text") == "Implanted venous access port":
            continue
        for path, value in leaves(resource):
            if not is_fact(resource["resourceType"], path) or value in NAMES_OF_NOTHING:
                continue
            bent = copy.deepcopy(bundles)
            holder = bent[0]["entry"][index]["resource"]
            for step in path[:-1]:
                holder = holder[step]
            holder[path[-1]] = other_than(value)
            assert holder[path[-1]] != value
            (found,) = readback(bent, CONFIG).episodes
            assert found.data != before or found.remarks, (resource["resourceType"], path, value)
            tried += 1
    assert tried > 15


def element(bundles: list[Json], kind: str, text: str) -> Json:
    return next(
        one
        for one in resources(bundles, kind)
        if text in (one.get("code") or one.get("type") or one.get("medicationCodeableConcept"))["text"]
    )


def test_some_changes_by_hand() -> None:
    bundles = sent(episode("uncomplicated-week"))
    needle = element(bundles, "Device", "Non-coring needle")
    needle["property"][0]["valueCode"][0]["text"] = "22 gauge"
    element(bundles, "Observation", "Blood return from")["valueCodeableConcept"]["text"] = "sluggish"
    element(bundles, "Observation", "Volume of first aspirate")["valueQuantity"]["value"] = 7
    element(bundles, "MedicationAdministration", "sodium chloride")["dosage"]["dose"]["value"] = 12
    access = read(bundles).data["events"][0]
    assert access["blood_return"] == "sluggish"
    assert access["discard_ml"] == 7
    assert access["flushes"][0]["volume_ml"] == 12


def test_heparin_volume_is_read_from_dose_and_strength() -> None:
    bundles = sent(episode("two-septa"))
    element(bundles, "MedicationAdministration", "Heparin")["dosage"]["dose"]["value"] = 300
    locks = [event["lock"] for event in read(bundles).data["events"] if "units_per_ml" in event.get("lock", {})]
    assert locks[0]["volume_ml"] == 3


def test_a_corrected_value_is_read_from_the_corrected_resource_not_from_the_extension() -> None:
    bundles = sent(episode("corrected-entries"))
    for needle in resources(bundles, "Device"):
        for one in needle["property"]:
            if one["type"]["text"] == "Needle length" and one["valueQuantity"][0]["value"] == Decimal("25.4"):
                one["valueQuantity"][0]["value"] = 31
    events = {event["id"]: event for event in read(bundles).data["events"]}
    assert events["amendment-1"]["sets"] == {"needle": {"length_mm": 31, "lot": "LOT-A80"}}
    assert events["access-1"]["needle"]["length_mm"] == 19


# -- what cannot be read is said --


def test_an_unknown_component_is_named_and_not_lost_in_silence() -> None:
    bundles = sent(episode("two-septa"))
    site = element(bundles, "Observation", "Skin and tissue")
    site["component"].append({"code": {"text": "Warmth"}, "valueString": "warm"})
    assert any("Warmth" in remark for remark in read(bundles).remarks)


def test_an_amount_in_another_unit_is_not_taken_for_ours() -> None:
    bundles = sent(episode("two-septa"))
    volume = element(bundles, "Observation", "Volume of first aspirate")["valueQuantity"]
    volume.update(value=5000, code="uL", unit="uL")
    found = read(bundles)
    assert any("uL" in remark for remark in found.remarks)
    assert found.data["events"][0]["discard_ml"] is None


def test_a_resource_that_no_part_of_ours_is_gets_named() -> None:
    bundles = sent(episode("two-septa"))
    stranger = {
        "resourceType": "Observation",
        "identifier": [{"system": CONFIG.systems.identity, "value": "00000000-0000-5000-8000-000000000000"}],
        "status": "final",
        "code": {"text": "Something else"},
        "subject": resources(bundles, "Procedure")[0]["subject"],
    }
    bundles[0]["entry"].append({"fullUrl": "urn:uuid:00000000-0000-5000-8000-000000000000", "resource": stranger})
    provenance = resources(bundles[:1], "Provenance")[0]
    provenance["target"].append({"reference": "urn:uuid:00000000-0000-5000-8000-000000000000"})
    assert any("none of the parts" in remark for remark in read(bundles).remarks)


def test_a_part_of_an_episode_reads_as_that_part() -> None:
    bundles = sent(episode("two-septa"))[:2]
    found = read(bundles)
    assert [event["id"] for event in found.data["events"]] == ["access-medial", "access-lateral"]
    assert found.episode is not None


def test_bundles_without_provenance_of_ours_hold_no_episode() -> None:
    bundles = sent(episode("two-septa"))
    for bundle in bundles:
        bundle["entry"] = [one for one in bundle["entry"] if one["resource"]["resourceType"] != "Provenance"]
    assert readback(bundles, CONFIG).episodes == ()


def test_two_episodes_in_one_heap_come_apart_again() -> None:
    heap = [*sent(episode("two-septa")), *sent(episode("uncomplicated-week"))]
    found = {one.data["id"]: one for one in readback(heap, CONFIG).episodes}
    assert {name: unlike(episode(name), one) for name, one in found.items()} == {
        "two-septa": (),
        "uncomplicated-week": (),
    }
