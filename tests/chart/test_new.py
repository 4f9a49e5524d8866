"""Starting a record: asked for, or out of a FHIR bundle; readable at once, and charted in."""

from __future__ import annotations

import json
import re
import shutil
import stat
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from desk import DEMO, Run, answered, demo_until

from lda_notes import pipeline
from lda_notes.chart.answers.heard import Unclear, Value
from lda_notes.chart.new_record import RecordForm
from lda_notes.chart.questions import admission
from lda_notes.chart.talk import Talk
from lda_notes.fhir.build.book import Options
from lda_notes.fhir.build.bundle import bundles
from lda_notes.fhir.config import Config
from lda_notes.fhir.readback import admission as from_bundle
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.problems import Failure
from lda_notes.record import reading as records

SECOND = ("--asof", "2026-05-11T15:45-05:00")
TYPED = [
    *("Brightwater", "Tobias", "LB-000777", "", "1979-03-04", "1, 4", "hives", "", "n", "81"),
    *("", "", "", "12", "", "2026-05-10 14:00"),
    *("", "r", "1", "infraclavicular", "", "r", "y", "5", "300", "0.8", "n"),
    *("cavoatrial junction", "chest radiograph", "2026-01-02", "2026-01-02", "", ""),
    "y",
]


def test_a_record_is_started_by_answering(run: Run, ward: Path) -> None:
    ran = run("new", "tobias.yaml", *SECOND, typed="\n".join(TYPED) + "\n")
    assert ran.code == 0, ran.err
    assert ran.out == "tobias.yaml: written; chart in it with `lda-notes chart tobias.yaml access`\n"
    assert "Enter: Lantern Bay Hospital (fictional)" in ran.err, "the records beside it say where they are"
    for row in ("Weight: 81 kg", "Labeled pressure limit: 300 psi", "Admission: 10 May 2026, 14:00"):
        assert f"  {row}\n" in ran.err, "read before it is written, with its unit and in the hospital's time"
    path = ward / "tobias.yaml"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    read = records.read(path)
    assert read.findings == () and read.episode is not None
    made = read.episode
    assert re.fullmatch("stay-[a-z2-7]{16}", made.id), "an id that no other record has, whatever the file is called"
    assert made.events == () and made.stay.time_zone == "America/Chicago"
    assert [(a.substance, a.reaction) for a in made.patient.allergies or ()] == [
        ("chlorhexidine", "hives"),
        ("adhesive", None),
    ]
    assert made.patient.history == () and str(made.patient.weight_kg) == "81"
    assert made.port.power is not None and made.port.power.rated and made.port.power.max_pressure_psi == 300
    assert made.port.tip is not None and made.port.tip.method == "chest radiograph"
    assert made.stay.admitted_at == datetime(2026, 5, 10, 19, 0, tzinfo=UTC)
    assert run("check", "tobias.yaml", *SECOND).code == 0


AGAIN = ("--asof", "2026-07-06T12:00-05:00")


def _first_stay(ward: Path) -> None:
    shutil.copy(DEMO.parent / "open-hold-first-stay.yaml", ward)


def test_an_earlier_record_of_the_patient_hands_on_patient_and_port(run: Run, ward: Path) -> None:
    _first_stay(ward)
    typed = ["winterbourne", "Odalys", "LB-000391", "", *("",) * 10, "y"]
    ran = run("new", "again.yaml", *AGAIN, typed="\n".join(typed) + "\n")
    assert ran.code == 0, ran.err
    said = " ".join(ran.err.split())
    assert "An earlier record of this patient is in this folder (Ward Plover, from 15 June 2026" in said
    assert "Allergen: latex" in said and "LINE ON HOLD since 15 June 2026, 08:30: no blood return" in said
    assert "On which side is the port?" not in said and "When was the patient born?" not in said
    assert "Weight, in kg?" in said, "a weight changes, and doses rest on it"
    made, first = (records.read(ward / name).episode for name in ("again.yaml", "open-hold-first-stay.yaml"))
    assert made is not None and first is not None
    assert made.port == first.port
    assert made.patient.allergies == first.patient.allergies
    assert made.patient.birth_date == first.patient.birth_date
    assert made.patient.weight_kg is None and made.id != first.id


def test_a_number_of_somebody_else_hands_on_nothing(run: Run, ward: Path) -> None:
    _first_stay(ward)
    typed = [name if name != "LB-000777" else "LB-000391" for name in TYPED]
    ran = run("new", "tobias.yaml", *AGAIN, typed="\n".join(typed) + "\n")
    assert "In this folder that record number is another patient's: compare the number." in " ".join(ran.err.split())
    made = records.read(ward / "tobias.yaml").episode
    assert made is not None and made.port.side == "right" and str(made.patient.birth_date) == "1979-03-04"


def test_a_port_that_was_removed_is_asked_again(run: Run, ward: Path) -> None:
    _first_stay(ward)
    path = ward / "open-hold-first-stay.yaml"
    path.write_text(path.read_text() + "  - {id: out, kind: port removed, at: 2026-06-20T09:00-05:00}\n")
    ran = run("new", "again.yaml", *AGAIN, typed="Winterbourne\nOdalys\nLB-000391\n\n")
    said = " ".join(ran.err.split())
    assert "Its port port-1 was removed, so the port is asked." in said
    assert "Side: left" not in said


def test_a_new_record_can_be_charted_in_at_once(run: Run, ward: Path) -> None:
    assert run("new", "tobias.yaml", *SECOND, typed="\n".join(TYPED) + "\n").code == 0
    access = [
        *("-15m", "nb", "y", "LB-ORD-1", "antibiotics", "a", "n", "a", "3", "-9", "a", "60 130", "20 19"),
        *(
            "y",
            "y",
            "1",
            "w",
            "5",
            "15",
            "1",
            "10 10",
            "a",
            "1",
            "100 5",
            "1",
            "a",
            "tape strips",
            "y",
            "0",
            "1",
            "to report pain",
            "",
            "t",
            "y",
        ),
    ]
    ran = run("chart", "tobias.yaml", "access", *SECOND, typed="\n".join(access) + "\n")
    assert "access-1: written" in ran.out, ran.err[-3000:]


def test_json_is_written_where_the_name_says_so(run: Run, ward: Path) -> None:
    assert run("new", "tobias.json", *SECOND, typed="\n".join(TYPED) + "\n").code == 0
    assert json.loads((ward / "tobias.json").read_text())["patient"]["family_name"] == "Brightwater"
    assert records.read(ward / "tobias.json").findings == ()


def test_nothing_takes_the_place_of_a_record(run: Run, ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    ran = run("new", "episode.yaml", typed="y\n" * 40)
    assert ran.code == 2 and "already exists" in ran.err
    assert (ward / "episode.yaml").read_bytes() == before
    assert run("new", "episode.txt").code == 2


def test_faults_are_said_at_once(run: Run, ward: Path) -> None:
    typed = ["Brightwater", "Tobias", "LB-000777", "", "2079-03-04", "n", "1890-03-04", "x", "n"]
    ran = run("new", "tobias.yaml", *SECOND, typed="\n".join(typed) + "\n")
    assert ran.code == 130 and not (ward / "tobias.yaml").exists()
    assert "2079-03-04 is in the future." in ran.err
    assert '"x" is not in the list. Numbers or names, with commas between; for another, type 14' in " ".join(
        ran.err.split()
    )
    assert "NOT RECORDED" not in ran.err and "not recorded for" not in ran.err, "what is still asked is no news"


def test_an_unknown_time_zone_is_refused(run: Run) -> None:
    typed = [*TYPED[:11], "Nowhere/Else", "America/Chicago"]
    ran = run("new", "tobias.yaml", *SECOND, typed="\n".join(typed) + "\n")
    assert "That is not a time zone. Type a large city that has the same time" in ran.err


def context(raw: bytes = b"") -> dict[str, Any]:
    """Return a bundle of patient, stay and port as another system might hold them: ours, less everything else."""
    path = DEMO
    judged = pipeline.judge_file(path, DEFAULT, datetime(2026, 5, 12, 20, 0, tzinfo=UTC))
    assert judged.timeline is not None
    first = next(bundles(judged.timeline, DEFAULT, Config(), Options(with_context=True)))
    kept = ("Patient", "Organization", "Location", "Encounter", "Device")
    entries = [entry for entry in first.bundle["entry"] if entry["resource"]["resourceType"] in kept]
    return json.loads(json.dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}, default=str))  # type: ignore[no-any-return]  # JSON is what it is made of


def test_what_a_bundle_says_is_not_asked(run: Run, ward: Path) -> None:
    (ward / "admission.json").write_text(json.dumps(context()))
    typed = ["n", "n", "68.5", "", "", "", "y"]
    ran = run("new", "odessa.yaml", "--from-bundle", "admission.json", *SECOND, typed="\n".join(typed) + "\n")
    assert ran.code == 0, ran.err
    for known in ("Family name of the patient?", "Record number?", "Which unit?", "On which side is the port?"):
        assert known not in ran.err
    made = records.read(ward / "odessa.yaml").episode
    demo = records.read(DEMO).episode
    assert made is not None and demo is not None
    assert made.patient.identifiers == demo.patient.identifiers and made.patient.birth_date == demo.patient.birth_date
    assert (made.stay.facility, made.stay.unit, made.stay.room) == (
        demo.stay.facility,
        demo.stay.unit,
        demo.stay.room,
    )
    assert made.stay.admitted_at == demo.stay.admitted_at and made.stay.setting == demo.stay.setting
    assert made.port == demo.port


def bundle(*resources: dict[str, Any]) -> dict[str, Any]:
    return {"resourceType": "Bundle", "entry": [{"resource": resource} for resource in resources]}


PATIENT = {
    "resourceType": "Patient",
    "identifier": [{"value": "nobody's"}, {"system": "https://made.example/mrn", "value": "M-1"}],
    "name": [{"text": "old"}, {"use": "official", "family": "Brightwater", "given": ["Tobias", "Ray"]}],
    "birthDate": "1979",
}
STAY = {
    "resourceType": "Encounter",
    "class": {"code": "EMER"},
    "period": {"start": "2026-05-10"},
    "location": [{"location": {"display": "Emergency 2"}}],
    "serviceProvider": {"display": "Made Hospital (fictional)"},
}
PORT = {
    "resourceType": "Device",
    "type": {"coding": [{"code": "398013009"}]},
    "udiCarrier": [{"carrierHRF": "(01)51022222233336"}],
}


def test_a_bundle_of_another_system_gives_what_it_has(tmp_path: Path) -> None:
    path = tmp_path / "b.json"
    path.write_text(json.dumps(bundle(PATIENT, STAY, PORT, {"resourceType": "Device", "type": {"text": "pump"}})))
    found, notes = from_bundle.read(path)
    assert found["patient"] == {
        "identifiers": [{"system": "https://made.example/mrn", "value": "M-1"}],
        "family_name": "Brightwater",
        "given_name": "Tobias Ray",
    }, "a year alone is no birth date"
    assert found["stay"] == {"facility": "Made Hospital (fictional)", "unit": "Emergency 2", "setting": "emergency"}
    assert found["port"] == {"udi": "(01)51022222233336"}
    assert notes == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "is no FHIR bundle"),
        ("[]", "is no FHIR bundle"),
        ('{"resourceType": "Patient"}', "is no FHIR bundle"),
        (json.dumps(bundle()), "contains 0 patients"),
        (json.dumps(bundle(PATIENT, PATIENT)), "contains 2 patients"),
        ("[" * 100_000, "is no FHIR bundle"),
    ],
)
def test_what_is_no_bundle_of_one_patient_is_refused(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "b.json"
    path.write_text(text)
    with pytest.raises(Failure, match=says):
        from_bundle.read(path)


@pytest.mark.parametrize("broken", [{"name": 3}, {"identifier": "x"}, {"name": [{"given": 3}]}, {"birthDate": []}])
def test_a_patient_of_odd_shape_is_read_as_far_as_it_goes(tmp_path: Path, broken: dict[str, Any]) -> None:
    path = tmp_path / "b.json"
    odd = {"resourceType": "Device", "type": {"text": "implanted port"}, "property": 3, "deviceName": [3]}
    path.write_text(json.dumps(bundle({**PATIENT, **broken}, {**STAY, "location": [3], "period": 3}, odd)))
    found, _ = from_bundle.read(path)
    assert isinstance(found, dict)


def test_two_ports_are_told(tmp_path: Path) -> None:
    path = tmp_path / "b.json"
    path.write_text(json.dumps(bundle(PATIENT, PORT, PORT)))
    assert from_bundle.read(path)[1] == ("The bundle contains 0 stays and 2 ports; the last of each was taken.",)


def test_the_demo_is_still_what_these_tests_take_it_for() -> None:
    assert demo_until("access-1").endswith(b"events: []\n")


@pytest.mark.parametrize(
    ("read", "typed", "value"),
    [
        (admission.zone, "chicago", "America/Chicago"),
        (admission.zone, "new york", "America/New_York"),
        (admission.zone, "America/Chicago", "America/Chicago"),
        (admission.zone, "america/argentina/ushuaia", "America/Argentina/Ushuaia"),
        (admission.zone, "UTC", "UTC"),
        (admission.issuer, "https://records.example/mrn", "https://records.example/mrn"),
        (admission.issuer, "urn:oid:2.16.840.1", "urn:oid:2.16.840.1"),
        (admission.issuer, "2.16.840.1.113883", "urn:oid:2.16.840.1.113883"),
        (admission.issuer, "L\u00e4ntern Bay Hospital", "https://lantern-bay-hospital.invalid/record-number"),
        (admission.septa, "1", ["single"]),
        (admission.septa, "single", ["single"]),
        (admission.septa, "medial and lateral", ["medial", "lateral"]),
        (admission.septa, "medial,lateral", ["medial", "lateral"]),
    ],
)
def test_papers_are_read_in_the_words_that_stand_there(read: admission.Read, typed: str, value: Any) -> None:
    found = read(typed)
    assert isinstance(found, Value) and found.value == value


@pytest.mark.parametrize(
    ("read", "typed", "says"),
    [
        (admission.zone, "nowhere", "not a time zone"),
        (admission.zone, "", "not a time zone"),
        (admission.issuer, "1961-03-12", "Type the name of the hospital"),
        (admission.issuer, "   ", "Type the name of the hospital"),
        (admission.septa, "2", "their names, such as medial, lateral"),
        (admission.septa, "1, 2", "their names"),
        (admission.septa, "a, b, c", "their names"),
    ],
)
def test_papers_that_are_not_understood_say_what_is_expected(read: admission.Read, typed: str, says: str) -> None:
    found = read(typed)
    assert isinstance(found, Unclear) and says in found.sentence


def test_what_happened_with_one_substance_is_never_offered_for_another() -> None:
    subject = RecordForm("a", DEFAULT, lambda: datetime(2031, 3, 4, 15, 30, tzinfo=UTC))
    talk, _ = answered(Talk(subject), "Marrowby", "Tansy", "LB-1", "Lantern Bay", "1961-03-12", "heparin", "hives")
    back, _ = answered(talk, "<", "<", "14,6", "peanut")
    assert back.question is not None and back.question.asks == "What happened with peanut?"
    assert back.question.default is not None and back.question.default.said == "left open"
    same, _ = answered(talk, "<", "<", "heparin")
    assert same.question is not None and same.question.default is not None
    assert same.question.default.said == "hives", "the same list again: what was said still stands"


def test_what_is_still_to_come_is_never_taken() -> None:
    early = datetime(2031, 3, 4, 4, 47, tzinfo=UTC)
    subject = RecordForm("a", DEFAULT, lambda: early, {"stay": {"time_zone": "UTC"}})
    names = ("Marrowby", "Tansy", "LB-1", "Lantern Bay")
    talk, said = answered(Talk(subject), *names, "2/3/2032", "y")
    assert any("in the future" in one.text for one in said), "a date that may be two is no less in the future"
    assert talk.question is not None and talk.question.name == "patient.birth_date"
    talk, said = answered(talk, "= stay.unit x", "1961-03-12", "n", "n", "", "Lantern Bay", "", "12")
    while talk.question is not None and talk.question.name != "stay.admitted_at":
        talk, _ = answered(talk, "" if talk.question.default else "1")
    talk, said = answered(talk, "2330")
    assert "Was it yesterday, 3 March 2031, 23:30?" in said[-1].text
    talk, _ = answered(talk, "y")
    assert talk.facts["stay"]["admitted_at"] == "2031-03-03T23:30+00:00"


def test_the_machine_that_keeps_universal_time_is_no_place(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Etc/UTC")
    (Path.cwd() / "episode.yaml").unlink()
    typed = ["Marrowby", "Tansy", "LB-1", "Lantern Bay", "1961-03-12", "n", "", "", "Lantern Bay", "", "chicago"]
    ran = run("new", "b.yaml", typed="\n".join(typed) + "\n")
    assert "Enter: Etc/UTC" not in ran.err and "An answer is required." in ran.err
    assert "Time zone: America/Chicago." in ran.err
