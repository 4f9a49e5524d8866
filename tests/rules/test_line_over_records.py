"""One line over several records: who shares it, in which order, and what one record says that holds in another."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from rule_cases import episode_of
from scenes import AT, LOCKED, access, after, event

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import folding
from lda_notes.line.folding import Line, begins, fold, fold_all, lines, patients
from lda_notes.problems import Place
from lda_notes.record.reading import Record, UnreadEvent
from lda_notes.record.unread import Unread

DAY = 24 * 60
LATER = datetime.fromisoformat(after(400 * DAY))
NONE = {"blood_return": "none", "blood_looks": None}
SYSTEM = "https://case.example/record-number"
HIT = "heparin-induced thrombocytopenia"


def record(file: str, *events: dict[str, Any], day: int = 0, unread: Any = (), **parts: Any) -> Record:
    """Return a stay admitted a minute before the access on that day; ``parts`` are applied over the case's own."""
    stay = {"admitted_at": after(day * DAY - 1), **parts.pop("stay", {})}
    return Record(file, episode_of(*events, stay=stay, **parts), unread_facts=unread)


def known_as(file: str, number: str, **patient: Any) -> Record:
    identifiers = [{"system": SYSTEM, "value": one, "label": "record number"} for one in number.split()]
    port = patient.pop("port", "port-1")
    return record(file, access(), patient={"identifiers": identifiers, **patient}, port={"id": port})


def held(line: Line, place: int = -1, septum: str = "single") -> list[str]:
    return [hold.reason for hold in line.stays[place].now(septum).holds]


# -- when a stay begins --


def test_a_stay_begins_at_admission_or_the_first_event_before_it() -> None:
    def of(*events: dict[str, Any], unread: Any = (), **stay: Any) -> datetime | None:
        episode = episode_of(*events, stay=stay)
        return begins(Record("a.yaml", episode, unread_events=unread))

    at = datetime.fromisoformat
    assert of(access(), admitted_at=after(-60)) == at(after(-60))
    assert of(access(), admitted_at=after(60)) == AT
    assert of(event("line check", 30), access(), admitted_at=None) == AT
    assert of(event("port implanted", -DAY), access(), admitted_at=None) == AT, "the port may have been in long before"
    assert of(event("port implanted", -DAY), admitted_at=None) is None
    early = event("line check", -90)
    assert of(early, access(), admitted_at=None) == at(after(-90))
    withdrawn = event("retraction", 60, of="line-check-1", reason="another patient")
    assert of(early, access(), withdrawn, admitted_at=None) == AT, "what was withdrawn begins nothing"
    lost = (UnreadEvent(0, None, None),)
    assert of(access(), admitted_at=None, unread=lost) is None, "it may have been earlier than all others"
    assert of(access(), admitted_at=after(-60), unread=lost) == at(after(-60))
    assert begins(Record("a.yaml", None)) is None


# -- one line --


def test_records_of_one_patient_and_port_are_one_line() -> None:
    every = [known_as("a", "1"), known_as("b", "1"), known_as("c", "1", port="port-2"), known_as("d", "2")]
    every.append(Record("e", None))
    every.append(known_as("f", "1", family_name="Other"))
    every.append(known_as("g", "1", birth_date="1999-01-01"))
    assert lines(every) == [[0, 1], [6], [2], [3], [5]]
    assert patients(every) == [[0, 1, 2], [6], [3], [5]]


def test_a_record_with_two_numbers_joins_what_stood_apart() -> None:
    every = [known_as("a", "1"), known_as("b", "2"), known_as("c", "1 2"), known_as("d", "2"), known_as("e", "3")]
    assert lines(every) == [[0, 1, 2, 3], [4]]
    assert lines([*every[:2], *every[3:]]) == [[0], [1, 2], [3]]
    assert lines([known_as("a", "1"), known_as("b", "2"), known_as("c", "3"), known_as("d", "1 2 3")]) == [[0, 1, 2, 3]]


def test_without_a_birth_date_a_record_stays_with_the_first() -> None:
    every = [known_as("a", "1", birth_date=None), known_as("b", "1"), known_as("c", "1", birth_date="1999-01-01")]
    assert lines(every) == [[0, 1], [2]] and lines(every[:2]) == [[0, 1]]


def test_names_are_compared_without_case_accents_and_signs() -> None:
    assert folding.letters("Ó'Brien-Söderström") == "obriensoderstrom" and folding.letters("Ann 2") == "ann2"
    one, other = known_as("a", "1", family_name="Óbrien"), known_as("b", "1", family_name="O'BRIEN")
    assert lines([one, other]) == [[0, 1]]
    given = [known_as("a", "1", given_name="Ada"), known_as("b", "1", given_name="Ida")]
    assert lines(given) == [[0], [1]]


# -- in order of time, with what each stay knows --


def stays() -> list[Record]:
    """Return three stays in another order than that of time; the first lost its blood return."""
    return [
        record("c.yaml", event("access", 20 * DAY, **LOCKED), day=20),
        record("a.yaml", access(**NONE, **LOCKED), event("de-access", 60, **NONE), day=0),
        record("b.yaml", event("line check", 10 * DAY, blood_return=None, blood_looks=None), day=10),
    ]


def test_stays_are_folded_in_order_of_time() -> None:
    line = fold(stays(), DEFAULT, LATER)
    assert [one.file for one in line.records] == ["a.yaml", "b.yaml", "c.yaml"]
    own = [[entry.event.id for entry in stay.entries] for stay in line.stays]
    assert own == [["access-1", "de-access-1"], ["line-check-1"], ["access-1"]]
    assert [len(stay.steps) for stay in line.stays] == [2, 1, 1]
    assert [entry.record for entry in line.timeline.entries] == ["a.yaml", "a.yaml", "b.yaml", ""]
    assert [len(list(line.timeline.course("single"))) for _ in range(2)] == [4, 4]
    assert held(line) == [], "the new needle of the last stay proved the line"
    mid = AT + timedelta(days=12)
    for stay in line.stays:
        assert [hold.reason for hold in stay.state_at("single", mid).holds] == ["no blood return"]
    assert line.timeline.entry("access-1") is line.timeline.entries[-1]
    first = line.timeline.entry("access-1", "a.yaml")
    assert first is not None and first.event.at == AT and line.timeline.entry("access-1", "b.yaml") is None
    assert first.path("at") == ("records", "a.yaml", "events", 0, "at")
    assert len(line.timeline.needles["single"]) == 2


def test_one_record_alone_is_its_own_line() -> None:
    line = fold([stays()[1]], DEFAULT, LATER)
    assert line.timeline is line.stays[0] and line.timeline.written is None
    two = fold(stays()[:2], DEFAULT, LATER)
    assert two.timeline is not two.stays[-1] and two.timeline.written is not None
    unknown = [
        Record("z", episode_of(access(), stay={"admitted_at": None}), unread_events=(UnreadEvent(0, None, None),)),
        *stays(),
    ]
    assert fold(unknown, DEFAULT, LATER).records[0].file == "z", "it may be the earliest"


def test_what_was_withdrawn_or_corrected_in_another_stay() -> None:
    gone = event("retraction", 90, of="line-check-1", reason="another patient")
    change = event("amendment", 95, of="access-1", reason="read again", sets={"blood_return": "none"})
    one = record("a.yaml", access(**LOCKED), event("line check", 60, **NONE), gone, change)
    two = record("b.yaml", event("line check", 10 * DAY, blood_return=None, blood_looks=None), day=10)
    line = fold([one, two], DEFAULT, LATER)
    assert held(line) == ["no blood return"], "the amendment counts, the withdrawn look does not"
    first, second = line.stays
    assert [len(stay.retracted) for stay in (first, second, line.timeline)] == [1, 0, 1]
    assert [len(stay.corrections) for stay in (first, second, line.timeline)] == [2, 0, 2]
    assert line.timeline.entry("line-check-1", "a.yaml") is not None
    assert [entry.record for entry in line.timeline.retracted] == ["a.yaml"]


def test_the_discharge_and_the_units_are_those_of_the_own_stay() -> None:
    one = record("a.yaml", access(**LOCKED), event("transfer", 60), event("discharge", 120))
    two = record("b.yaml", event("line check", 10 * DAY), day=10)
    first, second = fold([one, two], DEFAULT, LATER).stays
    assert first.discharge is not None and second.discharge is None
    assert [stay.unit for stay in first.units] == ["Ward Plover", "Ward Curlew"]
    assert [stay.unit for stay in second.units] == ["Ward Plover"]


# -- what one stay hands on --


def test_what_only_another_stay_states() -> None:
    one = record("a.yaml", access(), port={"catheter_volume_ml": 1.2, "power": None, "model": "Finch"},
                 patient={"allergies": [{"to": "latex"}], "history": ["cold intolerance"]})  # fmt: skip
    two = record("b.yaml", event("access", 10 * DAY), day=10,
                 port={"catheter_volume_ml": None, "power": {"rated": False}, "model": None},
                 patient={"birth_date": None, "allergies": [{"to": "iodine"}], "history": [HIT]})  # fmt: skip
    first, second = fold([one, two], DEFAULT, LATER).stays
    assert (second.episode.port.catheter_volume_ml, second.episode.port.model) == (Decimal("1.2"), "Finch")
    assert second.episode.patient.birth_date == date(1970, 2, 3)
    assert [one.substance for one in second.episode.patient.allergies or ()] == ["iodine", "latex"]
    assert second.episode.patient.conditions == (HIT, "cold intolerance")
    assert second.written is not None and second.written.port.catheter_volume_ml is None
    # The first stay learns of it when the second begins, and not before.
    begun = AT + timedelta(days=10)
    for at, power, allergies in ((AT, None, 1), (begun - timedelta(minutes=2), None, 1), (begun, False, 2)):
        known = first.port_at(at).power
        assert (known.rated if known is not None else None) is power
        assert len(first.patient_at(at).allergies or ()) == allergies
    assert len(first.patient_at(begun).history) == 2 and len(first.patient_at(AT).history) == 1
    assert first.port_at(begun).catheter_volume_ml == Decimal("1.2"), "a value of its own is never replaced"


def test_a_condition_that_a_later_stay_knows_makes_the_heparin_of_the_first_a_danger_then() -> None:
    one = record("a.yaml", access(**LOCKED))
    two = record("b.yaml", event("line check", 10 * DAY), day=10, patient={"history": [HIT]})
    first = fold([one, two], DEFAULT, LATER).stays[0]
    assert first.state_at("single", AT + timedelta(days=9)).danger("D1") is None
    assert first.now("single").danger("D1") is not None


# -- what could not be read, here and beside --


def test_what_could_not_be_read_in_another_stay_stands_here_too() -> None:
    odd = Unread(("events", 0), Place("a.yaml", 1, 1), "nne", "access-1", "blood return", ("blood_return",))
    one = record("a.yaml", access(**LOCKED, blood_return=None, blood_looks=None), unread=(odd,))
    two = record("b.yaml", event("line check", 10 * DAY, blood_return=None, blood_looks=None), day=10)
    line = fold([one, two], DEFAULT, LATER)
    assert held(line) == ["blood return not proven"] == held(line, 0)
    named = event("amendment", 60, of="access-1", reason="read again", sets={"blood_return": "present"})
    mended = record("a.yaml", access(**LOCKED, blood_return=None), named, unread=(odd,))
    assert held(fold([mended, two], DEFAULT, LATER)) == []


# -- two ports of one patient --


def other_port(*events: dict[str, Any], **parts: Any) -> Record:
    return record("b.yaml", *events, port={"id": "port-2"}, **parts)


def test_what_holds_one_port_holds_the_other_while_neither_is_recorded_as_removed() -> None:
    one = record("a.yaml", access(**NONE, **LOCKED))
    two = other_port(event("access", -30, **LOCKED))
    ours, theirs = fold_all([one, two], DEFAULT, LATER)
    (hold,) = theirs.timeline.now("single").holds
    assert (hold.reason, hold.sign) == ("no blood return", "no blood return (port port-1)")
    assert theirs.timeline.others.ports == ("port-1",) and ours.timeline.others.ports == ("port-2",)
    assert held(ours) == ["no blood return"]
    before = theirs.timeline.state_at("single", AT - timedelta(minutes=1))
    assert before.holds == () and theirs.timeline.state_at("single", AT).holds == (hold,)


def test_a_hold_of_the_other_port_ends_here_when_it_ends_there() -> None:
    cleared = event("evaluation", 300, ends=["no blood return"])
    one = record("a.yaml", access(**NONE, **LOCKED), cleared)
    theirs = fold_all([one, other_port(event("access", -30, **LOCKED))], DEFAULT, LATER)[1]
    at = [theirs.timeline.state_at("single", AT + timedelta(minutes=minute)).holds for minute in (299, 300)]
    assert [len(found) for found in at] == [1, 0]


@pytest.mark.parametrize("removed", ["a", "b"])
def test_a_port_recorded_as_removed_holds_no_other(removed: str) -> None:
    gone = (event("port removed", 90),)
    one = record("a.yaml", access(**NONE, **LOCKED), *(gone if removed == "a" else ()))
    two = other_port(access(**LOCKED), *(gone if removed == "b" else ()))
    ours, theirs = fold_all([one, two], DEFAULT, LATER)
    assert theirs.timeline.others.ports == () == ours.timeline.others.ports
    assert held(theirs) == []


def test_a_record_that_could_not_be_read_at_all_is_no_line() -> None:
    assert [len(line.records) for line in fold_all([Record("x", None), *stays()], DEFAULT, LATER)] == [3]
