"""The slips of someone who writes a first record by hand: each message says what to do."""

from __future__ import annotations

import pytest

from lda_notes.problems import Finding
from lda_notes.record.reading import read_bytes

RECORD = """\
record_version: 1
id: first
patient:
  identifiers: [{system: "https://example.org/number", value: "7"}]
  family_name: Testgren
  given_name: Anna
  birth_date: 1970-05-02
  weight_kg: 70
stay: {facility: A, unit: B, time_zone: Europe/Berlin, admitted_at: 2031-03-04T07:00+01:00}
port: {id: port-1, side: left, area: chest, septa: [single]}
events:
  - id: access-1
    kind: access
    at: 2031-03-04T08:30+01:00
    needle: {gauge: 20, length_mm: 19, non_coring: yes}
    blood_return: present
    attempts: 1
    pain: 2
"""


def slips(old: str, new: str) -> list[Finding]:
    assert RECORD.count(old) == 1
    return list(read_bytes(RECORD.replace(old, new).encode(), "first.yaml").findings)


def test_the_record_itself_reads_well() -> None:
    read = read_bytes(RECORD.encode(), "first.yaml")
    assert (read.findings, read.episode is not None) == ((), True)


@pytest.mark.parametrize(
    ("old", "new", "message", "todo"),
    [
        (
            "weight_kg: 70",
            "weight_kg: 70,5",
            '"weight_kg" contains a number with a comma',
            "a point in place of the comma",
        ),
        ("length_mm: 19", "length_mm: 19 mm", "a number with letters or signs after it", "without its unit"),
        ("gauge: 20", "gauge: 20G", '"gauge" contains a number with letters', "without its unit"),
        ("non_coring: yes", "non_coring: Y", "expected yes, no or", "write yes, in small letters"),
        ("non_coring: yes", "non_coring: No", "expected yes, no or", "write no, in small letters"),
        ("at: 2031-03-04T08:30+01:00", "at: 2031-03-04T08:30", "a time without its offset", "add the offset"),
        ("at: 2031-03-04T08:30+01:00", "at: 04/03/2031 08:30", "a date in another order", "the year, the month"),
        ("at: 2031-03-04T08:30+01:00", "at:", '"at" contains nothing', "write the value after the colon"),
        ("birth_date: 1970-05-02", "birth_date: 02.05.1970", "a date in another order", "the year, the month"),
        (
            "blood_return: present",
            "blood_return: Present",
            "expected present, sluggish or none",
            "did you mean present?",
        ),
        ("kind: access", "kind: acess", '"kind" contains text; expected one of access', "did you mean access?"),
        ("pain: 2", "pain: 12", '"pain" contains 12; expected at most 10', "correct the value"),
        ("record_version: 1", "record_version: 3", '"record_version" contains 3; expected 1 or 2', "correct"),
        ("unit: B", "unit: 4", '"unit" contains a number; expected text', "put it in quotes"),
        (
            "pain: 2",
            "steps_tried: [Cough or deep breath]",
            'item 1 of "steps_tried" contains text',
            "did you mean cough or deep breath?",
        ),
    ],
)
def test_a_slip_is_named_once_with_what_to_do(old: str, new: str, message: str, todo: str) -> None:
    [finding] = slips(old, new)
    assert message in finding.message
    assert todo in finding.todo


def test_a_wrong_kind_is_placed_at_the_kind() -> None:
    [finding] = slips("kind: access", "kind: acess")
    assert finding.path == ("events", 0, "kind")
    assert str(finding.place) == "first.yaml:13:11"


def test_what_stands_in_the_file_is_never_called_missing() -> None:
    found = [finding.message for finding in slips("family_name", "familyname")]
    assert found == ['"family_name" is missing', '"familyname" is not a key that belongs here']
    [zone] = slips("Europe/Berlin", "Middle/Nowhere")
    assert zone.message.startswith('"time_zone" contains text')


@pytest.mark.parametrize("value", ["Anna Testgren", "70 Anna", "1970-99-99", "[Testgren]", "{of: Testgren}", "7777777"])
def test_a_message_never_repeats_what_could_name_the_patient(value: str) -> None:
    for key in ("birth_date: 1970-05-02", "weight_kg: 70"):
        for finding in slips(key, f"{key.split(':')[0]}: {value}"):
            assert not set(value.split()) & set(f"{finding.message} {finding.todo}".replace(";", " ").split())
            assert "Testgren" not in finding.message + finding.todo
