"""Sending proven on a real server: twice, in any order, interleaved, corrected, whole or not at all, read back.

Each test uses identifiers of its own, so the server may already hold anything.
"""

from __future__ import annotations

import copy
import itertools
import json
import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import pytest
from in_process import call
from send_cases import (
    FHIR,
    LATER,
    NAMES,
    Case,
    client,
    demo,
    found_for,
    held,
    identities,
    ids,
    raw,
    read,
    resources,
    stored,
    value_of,
    versions,
    without_event,
)
from stand_ins import receipts_of

from lda_notes.fhir.identity import CONTEXT_TYPES
from lda_notes.fhir.readback.differences import differences
from lda_notes.fhir.readback.reading import readback
from lda_notes.fhir.verify.verification import read_json
from lda_notes.record.episode import Episode
from lda_notes.sending.client import Server
from lda_notes.sending.deliver import Delivered, Refused, deliver
from lda_notes.sending.entries import Identity, entries
from lda_notes.sending.outbox import Outbox
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.status import GOOD, standing

Json = dict[str, Any]
DESPITE = "contract test of a record with findings"


def send_all(server: Server, parcels: tuple[Parcel, ...]) -> list[Delivered]:
    found = []
    for parcel in parcels:
        bundle, _ = read_json(parcel.bundle)
        result = deliver(server, bundle, parcel.shared)
        assert isinstance(result, Delivered), (parcel.about, result)
        found.append(result)
    return found


def states(server: Server, parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    return {one.entry.identity: one.state for one in standing(server, parcels)}


def bad(server: Server, parcels: tuple[Parcel, ...]) -> list[Any]:
    return [
        (one.state, one.event, one.entry.identity.kind, one.differences)
        for one in standing(server, parcels)
        if one.state not in GOOD
    ]


def type_send(folder: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return type_command(folder, *arguments, "--asof", LATER.isoformat())


def type_command(folder: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """The command itself, as typed."""
    done = call(*arguments, env={"LDA_NOTES_OUTBOX": str(folder / "box")})
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


# -- 1: twice, in any order, interleaved --


@dataclass(frozen=True)
class Sent:
    """A demo that the command has sent, with what is typed to send it again."""

    case: Case
    parcels: tuple[Parcel, ...]
    folder: Path
    typed: tuple[str | Path, ...]


@pytest.fixture(scope="module")
def sent(fhir_server: str, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Sent]:
    """Send a demo the first time that a test asks for it: what it looks like on the server is asked by several."""

    @cache
    def send(name: str) -> Sent:
        folder = tmp_path_factory.mktemp(name)
        case = Case(demo(name))
        record, config = case.files(folder)
        reason = ("--despite", DESPITE) if case.made().findings else ()
        typed = ("send", record, "--server", fhir_server, "--config", config, "--with-context", *reason)
        parcels = case.parcels()
        first = type_send(folder, *typed)
        assert first.returncode == 0, first.stdout + first.stderr
        assert re.match(rf"{len(parcels)} bundles? sent", first.stderr)
        return Sent(case, parcels, folder, typed)

    return send


@pytest.mark.parametrize("name", NAMES)
def test_a_demo_arrives_and_its_receipts_are_true(fhir_server: str, sent: Callable[[str], Sent], name: str) -> None:
    one = sent(name)
    parcels = one.parcels
    with client(fhir_server) as server:
        assert bad(server, parcels) == []
        found = stored(server, parcels)
    receipts = receipts_of(Outbox(one.folder / "box"))
    assert len(receipts) == len(parcels)
    told = {(one.kind, one.id, one.version) for row in receipts for one in row.resources}
    newest = {(identity.kind, one["id"], one["meta"]["versionId"]) for identity, one in found.items()}
    for kind, number, version in told - newest:
        assert json.loads(raw(fhir_server, f"{kind}/{number}/_history/{version}"))["meta"]["versionId"] == version
    assert {(kind, number) for kind, number, _ in newest} == {(kind, number) for kind, number, _ in told}


HARDEST = ("corrected-entries", "deliberately-bad", "no-blood-return", "two-septa")
"""Demos with corrections, findings, what later events close, and two septa.

`test_bundle_order.py` sends every demo twice, and shuffled, to a small model of a server.
"""


@pytest.mark.parametrize("name", HARDEST)
def test_a_demo_sent_twice_changes_nothing_the_second_time(
    fhir_server: str, sent: Callable[[str], Sent], name: str
) -> None:
    """Once with the receipts of the first time, once as from another machine, without them."""
    one = sent(name)
    parcels = one.parcels
    with client(fhir_server) as server:
        before = versions(server, parcels)
        second = type_send(one.folder, *one.typed)
        assert second.returncode == 0, second.stdout + second.stderr
        assert "0 bundles sent" in second.stderr
        assert f"{len(parcels)} bundle{'s' if len(parcels) > 1 else ''} unchanged since an earlier run" in second.stderr
        assert versions(server, parcels) == before

        elsewhere = one.folder / "elsewhere"
        elsewhere.mkdir()
        third = type_send(elsewhere, *one.typed)
        assert third.returncode == 0, third.stdout + third.stderr
        assert re.match(rf"{len(parcels)} bundles? sent", third.stderr)
        assert "0 resources created, 0 updated" in third.stderr
        assert versions(server, parcels) == before

    status = type_send(one.folder, "status", *one.typed[1:7])
    assert (status.returncode, status.stdout) == (0, ""), status.stdout


ORDERS = list(itertools.permutations(range(3)))
ALL_ORDERS = ("corrected-entries", "no-blood-return")


@pytest.mark.parametrize("name", HARDEST)
def test_every_order_leads_to_the_same_end(fhir_server: str, sent: Callable[[str], Sent], name: str) -> None:
    """A whole episode forward and backward; of some, three events at a time, each three in each of their six orders.

    Forward is what the command has sent, unless it had to give a reason, which is on the server too.
    """
    forward = sent(name)
    ends = []
    orders: list[tuple[int, ...] | None] = [*(ORDERS if name in ALL_ORDERS else ORDERS[:1]), None]
    if "--despite" not in forward.typed:
        with client(fhir_server) as server:
            ends.append(end_state(server, forward.parcels, forward.case.tag))
        del orders[0]
    for order in orders:
        case = Case(demo(name))
        parcels = case.parcels()
        if order is None:
            turned = tuple(reversed(parcels))
        else:
            threes = [parcels[at : at + 3] for at in range(0, len(parcels), 3)]
            turned = tuple(three[at] for three in threes for at in order if at < len(three))
        assert sorted(one.digest for one in turned) == sorted(one.digest for one in parcels)
        with client(fhir_server) as server:
            for parcel in turned:
                answer = server.transact(parcel.bundle)
                assert answer.status == 200, answer.body
            assert bad(server, parcels) == [], order
            ends.append(end_state(server, parcels, case.tag))
    assert len(ends) == (7 if name in ALL_ORDERS else 2)
    assert all(end == ends[0] for end in ends[1:])


def end_state(server: Server, parcels: tuple[Parcel, ...], tag: str) -> Json:
    """What a server holds, by the place of each resource in the record instead of by identity."""
    known = identities(parcels)
    places = {identity: f"resource-{number}" for number, identity in enumerate(known)}
    found = stored(server, parcels)
    names = {f"{identity.kind}/{one['id']}": places[identity] for identity, one in found.items()}
    own = {identity: place for identity, place in places.items() if identity.kind not in CONTEXT_TYPES - {"Encounter"}}
    names |= {identity.value: place for identity, place in own.items()}
    end = {}
    for identity, one in found.items():
        text = json.dumps({key: value for key, value in one.items() if key not in ("id", "meta")}, default=str)
        for name, place in names.items():
            text = text.replace(f'"{name}"', f'"{place}"').replace(f'"{name}/', f'"{place}/')
        end[places[identity]] = json.loads(text.replace(tag, "tag"))
    return end


def test_episodes_of_two_patients_interleaved_are_not_mixed_up(fhir_server: str) -> None:
    one, other = Case(demo("corrected-entries")), Case(demo("heparin-history"))
    mine, theirs = one.parcels(), other.parcels()
    with client(fhir_server) as server:
        for pair in itertools.zip_longest(mine, theirs):
            send_all(server, tuple(parcel for parcel in pair if parcel is not None))
        for case, parcels, others in ((one, mine, theirs), (other, theirs, mine)):
            assert bad(server, parcels) == []
            found = set(resources(found_for(fhir_server, case)))
            held = ids(server, parcels).items()
            expected = {f"{identity.kind}/{number}" for identity, number in held if identity.kind != "Practitioner"}
            foreign = {f"{identity.kind}/{number}" for identity, number in ids(server, others).items()}
            assert expected <= found
            assert not found & (foreign - expected)


def test_an_episode_that_grows_is_sent_event_by_event(fhir_server: str, tmp_path: Path) -> None:
    """The record as it stood after each event; only what is new is sent, and what was closed stays closed."""
    case = Case(demo("two-septa"))
    events = [str(parcel.about).rpartition("/")[2] for parcel in case.parcels()]
    whole = case.text
    sent = 0
    for count in range(1, len(events) + 1):
        case.text = whole
        for event in events[count:]:
            case.text = without_event(case.text, event)
        record, config = case.files(tmp_path)
        done = type_send(
            tmp_path,
            "send",
            record,
            "--server",
            fhir_server,
            "--config",
            config,
            "--with-context",
            "--despite",
            "grows",
        )
        assert done.returncode in (0, 1), done.stdout + done.stderr
        sent += int(done.stderr.split(" bundle", 1)[0].split()[-1])
    with client(fhir_server) as server:
        assert bad(server, case.parcels()) == []
    assert sent >= len(events)


# -- patients that the server knows, and not --


@pytest.mark.parametrize("style", ["literal", "conditional"])
def test_patient_staff_and_stay_that_are_not_ours(fhir_server: str, style: str) -> None:
    case = Case(demo("uncomplicated-week"), with_context=False)
    line = case.judged().timeline
    assert line is not None
    episode = line.episode
    patient = episode.patient.identifiers[0]
    staff = sorted({who.id for event in episode.events for who in (event.by, event.verified_by) if who and who.id})
    systems = case.config.systems
    with httpx.Client(base_url=fhir_server, headers=FHIR, timeout=60, trust_env=False) as http:

        def stored(kind: str, system: str, value: str, **more: Any) -> str:
            identifier = [{"system": system, "value": value}]
            answer = http.post(f"/{kind}", json={"resourceType": kind, "identifier": identifier, **more})
            assert answer.status_code == 201, answer.text
            return f"{kind}/{answer.json()['id']}"

        organization = stored("Organization", systems.facility, "x", name="Example hospital")
        known = {
            "patients": {patient.value: stored("Patient", patient.system, patient.value)},
            "stays": {
                episode.id: stored(
                    "Encounter", systems.visit, episode.id, status="in-progress", **{"class": {"code": "IMP"}}
                )
            },
            "staff": {number: stored("Practitioner", systems.staff, number) for number in staff},
        }
    case.config = case.config.model_copy(update={"references": style, "organization": organization, **known})
    parcels = case.parcels()
    with client(fhir_server) as server:
        send_all(server, parcels)
        assert bad(server, parcels) == []
        subjects = {
            one["subject"]["reference"]
            for identity, [one] in held(server, parcels).items()
            if identity.kind in ("Procedure", "Observation")
        }
        assert subjects == set(known["patients"].values())
        [back] = readback([found_for(fhir_server, case)], case.config).episodes
        assert back.remarks == ()
        assert back.episode is not None
        assert differences(episode, back.episode) == ()  # of the record's List, not of the server's bare Patient
        before = versions(server, parcels)
        assert [(one.created, one.updated) for one in send_all(server, parcels)] == [(0, 0)] * len(parcels)
        assert versions(server, parcels) == before

        missing = Case(demo("uncomplicated-week"), with_context=False)
        systems = missing.config.systems
        missing.config = missing.config.model_copy(
            update={"references": style, "organization": organization, "patients": {patient.value: "Patient/nobody"}}
        )
        bundle, _ = read_json(missing.parcels()[0].bundle)
        refused = deliver(server, bundle)
        assert isinstance(refused, Refused)
        assert refused.status in (400, 404, 412)
        assert any("Patient" in issue.words for issue in refused.issues)


# -- 2: retraction and amendment --


def own(parcels: tuple[Parcel, ...], event: str) -> set[Identity]:
    """What only the bundle of one event brings: no other event shares it."""
    mine = {e.identity for p in parcels if str(p.about).endswith(f"/{event}") for e in entries(value_of(p))}
    others = {
        e.identity
        for p in parcels
        if not str(p.about).endswith(f"/{event}") and "retraction" not in str(p.about)
        for e in entries(value_of(p))
    }
    return mine - others


def begun(parcels: tuple[Parcel, ...]) -> set[str]:
    """The allergies, conditions and weight of the record itself: an event carries them, and does not say them."""
    lists = [e.resource for p in parcels for e in entries(value_of(p)) if e.identity.kind == "List"]
    return {item["item"]["identifier"]["value"] for one in lists for item in one.get("entry", ())}


RETRACTION = """
  - id: retraction-9
    kind: retraction
    at: 2026-12-31T23:50-06:00
    by: {name: Cosmo Pellworth, credential: RN, id: LBN-058}
    of: %s
    reason: charted on the wrong patient
"""


# Every event of four demos is retracted in turn on the model of a server, in test_bundle_order.py.
RETRACTED = [
    ("corrected-entries", "check-wrong"),
    ("soiled-dressing", "dressing-1"),
    ("heparin-history", "access-1"),
]


@pytest.mark.parametrize(("name", "event"), RETRACTED)
def test_a_retracted_event_is_entered_in_error_and_the_rest_stands(fhir_server: str, name: str, event: str) -> None:
    case = Case(demo(name))
    withdrawn = case.text
    if name == "corrected-entries":
        case.text = without_event(case.text, "retraction-1")
    else:
        assert f"  - id: {event}\n" in case.text
        withdrawn = case.text.rstrip("\n") + RETRACTION % event
    before, after = case.parcels(case.text), case.parcels(withdrawn)
    mine = {one for one in own(before, event) if one.kind not in (*CONTEXT_TYPES, "Provenance")}
    mine = {one for one in mine if one.value not in begun(before)}
    assert mine
    with client(fhir_server) as server:
        send_all(server, before)
        was = stored(server, before)
        old = {identity: one["meta"]["versionId"] for identity, one in was.items()}
        [port] = [i for i, one in was.items() if _is_port(one)]
        send_all(server, after)
        assert bad(server, after) == []
        found = stored(server, after)
        assert {found[one]["status"] for one in mine} == {"entered-in-error"}
        state = states(server, after)
        assert {state[one] for one in mine} == {"retracted"}
        for one in mine:
            first = json.loads(raw(fhir_server, f"{one.kind}/{found[one]['id']}/_history/1"))
            kept = {
                key: value for key, value in found[one].items() if key.startswith(("value", "performed", "effective"))
            }
            assert kept == {
                key: value for key, value in first.items() if key.startswith(("value", "performed", "effective"))
            }
        assert found[port]["meta"]["versionId"] == old[port]
        changed = {one for one in old if found[one]["meta"]["versionId"] != old[one]}
        touched = {e.identity for p in after for e in entries(value_of(p)) if e.method == "PUT"}
        assert changed <= touched, "what no correction names keeps its version"
        closed = closings(before, event)
        assert {one: found[one]["status"] for one in closed & set(found)} == {
            one: closed_as for one, closed_as in last_states(after).items() if one in closed
        }
        marks = [one for one in found.values() if one["resourceType"] == "Provenance"]
        codes = [c["code"] for one in marks for c in one.get("activity", {}).get("coding", ())]
        assert codes.count("NULLIFY") == 1
        now = versions(server, after)
        send_all(server, tuple(reversed(after)))
        assert versions(server, after) == now


def _is_port(resource: Json) -> bool:
    return resource["resourceType"] == "Device" and "port" in str(resource["type"].get("text")).lower()


def closings(parcels: tuple[Parcel, ...], event: str) -> set[Identity]:
    """What events other than this one close."""
    return {
        e.identity
        for p in parcels
        if not str(p.about).endswith(f"/{event}")
        for e in entries(value_of(p))
        if e.method == "PUT"
    }


def last_states(parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    found: dict[Identity, str] = {}
    for parcel in parcels:
        for entry in entries(value_of(parcel)):
            if entry.method == "PUT":
                found[entry.identity] = entry.resource["status"]
    return found


def test_an_amended_event_has_a_new_document_and_the_old_one_is_superseded(fhir_server: str) -> None:
    case = Case(demo("corrected-entries"))
    whole = case.text
    first = without_event(whole, "amendment-1")
    before, after = case.parcels(first), case.parcels(whole)
    with client(fhir_server) as server:
        send_all(server, before)
        old = stored(server, before)
        send_all(server, after)
        assert bad(server, after) == []
        found = stored(server, after)
        documents = {i: one for i, one in found.items() if i.kind == "DocumentReference"}
        [new] = [one for i, one in documents.items() if i not in old]
        replaced = [i for i, one in documents.items() if i in old and one["status"] == "superseded"]
        replaced = [i for i in replaced if old[i]["status"] == "current"]
        assert len(replaced) == 1
        assert new["status"] == "current"
        [relation] = [one for one in new["relatesTo"] if one["code"] == "replaces"]
        assert relation["target"]["reference"] == f"DocumentReference/{found[replaced[0]]['id']}"
        [procedure] = [one for one in found.values() if one["resourceType"] == "Procedure" and _says(one, "Access of")]
        assert procedure["status"] == "completed"
        [needle] = [one for one in found.values() if one["resourceType"] == "Device" and _says(one, "needle", "type")]
        assert needle["lotNumber"] == "LOT-A80"
        first_needle = json.loads(raw(fhir_server, f"Device/{needle['id']}/_history/1"))
        assert first_needle["lotNumber"] != "LOT-A80"


def _says(resource: Json, words: str, element: str = "code") -> bool:
    return words.lower() in str(resource.get(element, {}).get("text")).lower()


# -- 3: whole or not at all --


def damage_status(entry: Json) -> None:
    entry["resource"]["status"] = "done"


def damage_reference(entry: Json) -> None:
    entry["resource"]["subject"] = {"reference": "Patient/no-such-patient"}


def damage_type(entry: Json) -> None:
    entry["resource"]["resourceType"] = "Procedur"


def damage_date(entry: Json) -> None:
    entry["resource"]["performedPeriod"] = {"start": "2026-02-30"}


@pytest.mark.parametrize("damage", [damage_status, damage_reference, damage_type, damage_date])
def test_one_bad_entry_leaves_nothing_behind(fhir_server: str, damage: Any) -> None:
    case = Case(demo("uncomplicated-week"))
    [parcel] = case.parcels()[:1]
    bundle, _ = read_json(parcel.bundle)
    index = next(i for i, e in enumerate(bundle["entry"]) if e["resource"]["resourceType"] == "Procedure")
    damaged = copy.deepcopy(bundle)
    damage(damaged["entry"][index])
    with client(fhir_server) as server:
        refused = deliver(server, damaged)
        assert isinstance(refused, Refused), refused
        assert refused.status in (400, 404, 422, 500)
        assert refused.issues
        if refused.status == 422:
            assert index in {issue.entry for issue in refused.issues}
        assert {len(some) for some in server.find(identities((parcel,))).values()} == {0}
        assert isinstance(deliver(server, bundle), Delivered)


# -- 4: read back --


@pytest.mark.parametrize("name", NAMES)
def test_what_the_server_returns_is_what_was_sent(fhir_server: str, sent: Callable[[str], Sent], name: str) -> None:
    """Element by element, with every digit and every offset as they were written."""
    one = sent(name)
    parcels = one.parcels
    with client(fhir_server) as server:
        numbers = ids(server, parcels)
    urls = {url: f"{identity.kind}/{numbers[identity]}" for identity, url in identities(parcels).items()}
    expected: dict[Identity, Json] = {}
    for parcel in parcels:
        text = parcel.bundle.decode()
        for url, address in urls.items():
            text = text.replace(f'"reference":"{url}"', f'"reference":"{address}"')
        for entry in entries(json.loads(text, parse_float=str, parse_int=str)):
            if entry.method == "PUT" or entry.identity not in expected:
                expected[entry.identity] = entry.resource
    compared = 0
    returned = read(fhir_server, [(identity.kind, number) for identity, number in numbers.items()])
    for identity, was in expected.items():
        found = returned[identity.kind, numbers[identity]]
        del found["id"]
        meta = {
            key: value for key, value in found.pop("meta").items() if key not in ("versionId", "lastUpdated", "source")
        }
        if "--despite" in one.typed and identity.kind == "Provenance":  # the only thing that --despite adds
            assert found["reason"].pop() == {"text": f"Sent despite findings: {DESPITE}"}
            found = {key: value for key, value in found.items() if key != "reason" or value}
        assert ({**found, "meta": meta} if meta else found) == was, identity
        compared += 1
    assert compared == len(urls)


@pytest.mark.parametrize("name", NAMES)
def test_a_search_on_the_server_gives_the_record_again(
    fhir_server: str, sent: Callable[[str], Sent], name: str, tmp_path: Path
) -> None:
    """By plain HTTP with the one search, and by the command that uses it."""
    case = sent(name).case
    line = case.judged().timeline
    assert line is not None
    [back] = readback([found_for(fhir_server, case)], case.config).episodes
    assert back.remarks == ()
    assert back.episode is not None
    assert differences(line.episode, back.episode) == ()

    _, config = case.files(tmp_path)
    number = line.episode.patient.identifiers[0]
    asked = ("--server", fhir_server, "--patient", f"{number.system}|{number.value}", "--config", config)
    done = type_command(tmp_path, "readback", *asked, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    assert differences(line.episode, Episode.model_validate_json(done.stdout)) == ()
