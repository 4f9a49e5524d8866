"""Charting without a terminal: answers by option, from a file, nothing asked, what is missing named."""

from __future__ import annotations

import io
import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from desk import DEMO, NURSE, PROGRAM, Run, demo_until

from lda_notes.chart.questions import kits
from lda_notes.commands.charting_options import from_file, from_options
from lda_notes.commands.console import Terminal
from lda_notes.files.syntax import read_yaml
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.writer import look

SECOND = ("--asof", "2026-05-11T15:45-05:00")
CHECK = {
    "site": "a",
    "dressing_found": "intact",
    "connections_secure": "y",
}
ACCESS = """\
# answers for training: a needle change without a hitch
at: "1530"
identifiers_checked: [name, birth date]
allergies_checked: yes
reason: treatment goes on
site: a
anesthetic: none used
technique: a
antisepsis: {agent: chlorhexidine in alcohol, started_at: "-6", skin: dry, scrub_s: 60, dry_s: 60, fully_dry: yes}
needle: {gauge: 20, length_mm: 19, non_coring: yes, power_rated: yes, lot: LOT-A91, expires: 2028-04-30}
attempts: 1
blood_return: present
blood_looks: like whole blood
discard_ml: 5
hub_scrub_s: 15
flushes:
  - {solution: 0.9% sodium chloride, volume_ml: 10, syringe_ml: 10, technique: push-pause, resistance: none}
lock: {not_done: infusion connected}
infusion: 0.9% sodium chloride at 50 mL per hour
dressing: {type: transparent, chlorhexidine_disc: yes, securement: adhesive strips}
finish: a
disinfecting_caps: yes
pain: {not_assessed: interpreter not there yet}
response: tolerated well
teaching: {about: to report pain at once, to: patient, understanding: taught back}
"""


def options(answers: dict[str, str]) -> list[str]:
    return [part for name, value in answers.items() for part in ("--set", f"{name}={value}")]


def events(ward: Path) -> list[str]:
    read = records.read(ward / "episode.yaml").episode
    assert read is not None
    return [event.id for event in read.events]


def test_a_scripts_line_check_asks_nothing(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    asof = ("--asof", "2026-05-07T12:00-05:00")
    ran = run("chart", "episode.yaml", "check", "--at", "1150", *options(CHECK), "--no-input", "--sign", "MT", *asof)
    assert (
        ran.code == 0 and ran.out == "check-6: written to episode.yaml; the state before is episode.yaml.lda-copy-1\n"
    )
    assert "Time of the event: 7 May 2026, 11:50." in ran.err, "what is said goes to standard error"
    assert events(ward)[-1] == "check-6"
    assert run("check", "episode.yaml", *asof).code == 0
    assert not list((ward / "state").rglob("*")), "no draft where nothing is asked"


def test_a_file_of_answers_charts_a_whole_access(run: Run, ward: Path) -> None:
    (ward / "answers.yaml").write_text(ACCESS)
    ran = run("chart", "episode.yaml", "access", "--answers", "answers.yaml", "--no-input", "--sign", "y", *SECOND)
    assert ran.code == 0, ran.err
    assert run("check", "episode.yaml", *SECOND).code == 0
    read = records.read(ward / "episode.yaml").episode
    assert read is not None
    event = read.events[-1].model_dump(mode="json", exclude_unset=True)
    assert event["needle"]["lot"] == "LOT-A91" and event["antisepsis"]["dry_s"] == "60"
    assert event["pain"] == {"not_assessed": "interpreter not there yet"}
    assert event["order"] == "LB-ORD-5501", "what Enter takes is taken"
    assert event["follows_removal"] == "removal-1"


def test_the_replay_shows_each_question_with_its_answer(run: Run, ward: Path) -> None:
    (ward / "answers.yaml").write_text(ACCESS)
    ran = run("chart", "episode.yaml", "access", "--answers", "answers.yaml", "--no-input", "--sign", "y", *SECOND)
    assert "When was it? (such as 0940, -15m, now, yesterday 2210)\n  Enter: 11 May 2026, 15:45\n> 1530\n" in ran.err
    assert "Was there resistance?\n  n: none   s: some   c: cannot flush\n> none\n  Resistance: none.\n" in ran.err


def test_json_answers_are_read_too(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    (ward / "answers.json").write_text(json.dumps({**CHECK, "at": "1150", "dressing_found": ["intact"]}))
    asof = ("--asof", "2026-05-07T12:00-05:00")
    assert (
        run("chart", "episode.yaml", "check", "--answers", "answers.json", "--no-input", "--sign", "MT", *asof).code
        == 0
    )


def test_what_is_missing_is_listed_whole_and_nothing_is_written(run: Run, ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    ran = run("chart", "episode.yaml", "access", "--no-input", "--sign", "y", "--set", "attempts=1", *SECOND)
    assert ran.code == 2
    told = ran.err[ran.err.index("lda-notes: ") :]
    assert "nothing was written" in told and "answers are missing; give them with --set NAME=VALUE:" in told
    for name in ("identifiers_checked", "site.skin", "antisepsis.agent", "blood"):
        assert f"  {name}: " in told
    assert "  attempts: " not in told and "  reason: " not in told, "recommended facts may stay open"
    assert (ward / "episode.yaml").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "names"),
    [
        (("chart", "episode.yaml", "transfer"), ["to_unit"]),
        (("chart", "episode.yaml", "use"), ["purpose"]),
        (("amend", "episode.yaml", "access-1"), ["kind"]),
        (("amend", "episode.yaml", "access-1", "--as", "amendment"), ["asked.0", "reason"]),
        (("new", "other.yaml"), ["patient.family_name", "patient.given_name", "patient.allergies", "port.side"]),
    ],
)
def test_what_there_is_no_entry_without_is_listed_too(
    run: Run, ward: Path, arguments: tuple[str, ...], names: list[str]
) -> None:
    ran = run(*arguments, "--no-input", "--sign", "y", *SECOND)
    assert ran.code == 2 and not (ward / "other.yaml").exists()
    for name in names:
        assert f"\n  {name}: " in ran.err
    typed = run(*arguments, *SECOND, typed="\n.\n" if arguments[0] == "chart" else ".\n")
    assert "An entry needs this; it cannot be left open." in typed.err


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ({"dressing_found": "torn"}, "dressing_found: Type i, d, s, l or m. Nothing was written"),
        ({"nedle.gauge": "20"}, "nedle.gauge: There is no fact nedle.gauge here."),
        ({"by": ","}, "by: Type a name and a role"),
    ],
)
def test_an_answer_that_is_not_understood_is_named(run: Run, ward: Path, pairs: dict[str, str], says: str) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    before = (ward / "episode.yaml").read_bytes()
    given = options({**CHECK, **pairs})
    ran = run(
        "chart", "episode.yaml", "check", *given, "--no-input", "--sign", "MT", "--asof", "2026-05-07T12:00-05:00"
    )
    assert ran.code == 2 and says in ran.err
    assert (ward / "episode.yaml").read_bytes() == before


@pytest.mark.parametrize(("sign", "says"), [((), "give --sign"), (("--sign", "XX"), "not the author's initials")])
def test_nothing_is_written_unsigned(run: Run, ward: Path, sign: tuple[str, ...], says: str) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    before = (ward / "episode.yaml").read_bytes()
    ran = run(
        "chart", "episode.yaml", "check", *options(CHECK), "--no-input", *sign, "--asof", "2026-05-07T12:00-05:00"
    )
    assert ran.code == 2 and says in ran.err
    assert (ward / "episode.yaml").read_bytes() == before


def test_some_answers_given_and_the_rest_asked(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    asof = ("--asof", "2026-05-07T12:00-05:00")
    ran = run("chart", "episode.yaml", "check", "--set", "site=a", *asof, typed="1150\ni\ny\nMT\n")
    assert ran.code == 0, ran.err


def test_an_input_that_ends_keeps_the_draft(run: Run, ward: Path) -> None:
    ran = run("chart", "episode.yaml", "access", *SECOND, typed="-15m\nnb\n")
    assert ran.code == 130 and "kept as a private draft" in ran.err
    (draft,) = (ward / "state").rglob("*.json")
    assert stat.S_IMODE(draft.stat().st_mode) == 0o600
    again = run("chart", "episode.yaml", "access", *SECOND, typed="\ny\n")
    assert "A draft of this access contains 2 answers; the last: name and birth date." in again.err
    assert "Allergy check: yes." in again.err


def test_a_draft_that_was_signed_and_written_is_not_offered(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    asof = ("--asof", "2026-05-07T12:00-05:00")
    run("chart", "episode.yaml", "check", *asof, typed="1150\na\ni\ny\n")
    (draft,) = (ward / "state").rglob("*.json")
    kept = json.loads(draft.read_bytes())
    assert run("chart", "episode.yaml", "check", *asof, typed="\nMT\n").code == 0
    read = records.read(ward / "episode.yaml").episode
    assert read is not None
    kept["signed"] = read.events[-1].model_dump(mode="json", exclude_unset=True)
    draft.write_text(json.dumps(kept))  # as if the program had been killed right after writing
    ran = run("chart", "episode.yaml", "check", *asof, typed="")
    assert "is in the record; its draft was left over" in ran.err and "holds" not in ran.err
    assert not draft.exists()


def test_after_a_discharge_the_time_is_not_guessed_and_its_lack_is_said(ward: Path) -> None:
    """Found by the fuzz harness: the time was asked for ever, since nothing comes after it."""
    (ward / "episode.yaml").write_bytes(DEMO.with_name("arrived-accessed.yaml").read_bytes())
    arguments = [PROGRAM, "chart", "episode.yaml", "check", "--no-input", "--sign", "MT", "--by", NURSE]
    arguments += ["--asof", "2026-09-01T08:00-05:00"]
    ran = subprocess.run(arguments, cwd=ward, capture_output=True, text=True, check=False, timeout=60)
    assert ran.returncode == 2
    assert ran.stderr.endswith("1 answer is missing; give it with --set NAME=VALUE:\n  at: When was it?\n")


def test_scripts_at_once_all_find_their_place(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    environment = {"PATH": os.environ["PATH"], "HOME": str(ward), "LDA_NOTES_BY": NURSE}
    running = []
    for minute in range(6):
        given = options({**CHECK, "at": f"1{minute}01"})
        arguments = ["chart", "episode.yaml", "check", *given, "--no-input", "--sign", "MT"]
        arguments += ["--asof", "2026-05-07T16:00-05:00"]
        running.append(subprocess.Popen([PROGRAM, *arguments], cwd=ward, env=environment, stderr=subprocess.PIPE))
    for process in running:
        _, told = process.communicate(timeout=120)
        assert process.returncode == 0, told.decode()
    assert set(events(ward)[-6:]) == {f"check-{number}" for number in range(6, 12)}


def test_a_script_does_not_write_an_entry_that_no_longer_fits(
    run: Run, ward: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between look and write somebody else takes the needle out: a flush through it contradicts the record."""
    (ward / "episode.yaml").write_bytes(demo_until("removal-2"))
    asof = ("--asof", "2026-05-12T12:00-05:00")
    seen = look(ward / "episode.yaml")
    monkeypatch.setattr("lda_notes.record.writer.look", lambda path: seen)
    (ward / "episode.yaml").write_bytes(demo_until("discharge-1"))
    between = (ward / "episode.yaml").read_bytes()
    given = options({"identifiers_checked": "nb", "allergies_checked": "y", "site": "a", "blood": "w"})
    given += options({"hub_scrub_s": "15", "flushes.0.solution": "1", "flushed": "10 10", "flushes.0.technique": "p"})
    given += options({"flushes.0.resistance": "n", "lock": "1", "locked": "100 5", "response": "1", "at": "1130"})
    ran = run("chart", "episode.yaml", "flush", *given, "--no-input", "--sign", "MT", *asof)
    assert ran.code == 2 and "the entry no longer fits it; nothing was written" in ran.err
    assert "The record changed meanwhile: added: de-access of 12 May 2026, 11:05" in ran.err
    assert (ward / "episode.yaml").read_bytes() == between


def test_a_json_record_is_charted_in_as_well(run: Run, ward: Path) -> None:
    parsed = read_yaml(demo_until("check-6"))
    (ward / "episode.json").write_text(json.dumps(parsed.data, indent=2))
    asof = ("--asof", "2026-05-07T12:00-05:00")
    ran = run("chart", "episode.json", "check", *options(CHECK), "--no-input", "--sign", "MT", *asof)
    assert ran.code == 0, ran.err
    assert json.loads((ward / "episode.json").read_text())["events"][-1]["id"] == "check-6"
    assert run("check", "episode.json", *asof).code == 0


def test_bytes_that_are_no_text_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n"), encoding="utf-8"))
    assert Terminal().ask() == "\udcff\udcfe"


def test_faults_of_the_answers_file_come_all_at_once_with_their_places(tmp_path: Path) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text("at: 0940\nat: x\n")
    with pytest.raises(Failure) as told:
        from_file(path)
    assert f"{path}:1:5: " in str(told.value) and f"{path}:2:1: " in str(told.value)
    with pytest.raises(Failure, match="cannot be read"):
        from_file(tmp_path / "none.yaml")
    with pytest.raises(Failure, match="is not NAME=VALUE"):
        from_options(("gauge",))
    assert from_options(("reason=a = b", "pain= 3 ")) == {"reason": "a = b", "pain": "3"}


def test_a_record_that_cannot_be_read_is_not_charted_in(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_text("record_version: 1\n")
    ran = run("chart", "episode.yaml", "access")
    assert ran.code == 2 and "Fix this first; nothing was added" in ran.err and "Traceback" not in ran.err


def test_the_last_reason_is_a_pick_for_the_next_patient_and_the_last_order_is_not(run: Run, ward: Path) -> None:
    """Her own words for the same kind of entry, by one key."""
    other = demo_until("access-2").decode().replace("LB-000101", "LB-000777").replace("Quillfeather", "Underhill")
    (ward / "other.yaml").write_text(other.replace("LB-ORD-5501", "LB-ORD-0000").replace("uncomplicated-week", "other"))
    typed, left = "-15m\na\n\nline quiet for a week\n", ".\n" * 30
    assert run("chart", "episode.yaml", "flush", *SECOND, typed=f"{typed}{left}MT\n").code == 0
    asked = run("chart", "other.yaml", "flush", *SECOND, typed="-15m\na\n").err
    assert "Which order" in asked and "Enter: LB-ORD-0000, as before" in asked and "5501" not in asked
    asked = run("chart", "other.yaml", "flush", *SECOND, typed="\n\n").err
    assert "1: line quiet for a week" in asked and "or your own words" in asked
    assert "Reason: line quiet for a week." in run("chart", "other.yaml", "flush", *SECOND, typed="\n1\n").err
    asked = run("chart", "other.yaml", "access", *SECOND, typed="-15m\na\n\n").err
    assert "line quiet" not in asked, "the reason of another kind of entry"


def test_a_round_of_twelve_line_checks_one_after_the_other(run: Run, ward: Path) -> None:
    """Six answers and thirteen keys a patient, the signature and the pick from the list among them."""
    text = demo_until("check-6").decode()
    (ward / "episode.yaml").unlink()
    for number in range(1, 13):
        other = text.replace("LB-000101", f"LB-0004{number:02}").replace("room: '12'", f"room: 'R{number}'")
        other = other.replace("Quillfeather", f"Fernsby{number}").replace("id: uncomplicated-week", f"id: r-{number}")
        (ward / f"bed-{number}.yaml").write_text(other)
    one = ["", "-5m", "a", "i", "y", "y"]
    typed = [*one * 12, "q"]
    ran = run("chart", ".", "check", "--asof", "2026-05-07T12:00-05:00", typed="\n".join(typed) + "\n")
    assert ran.code == 0 and ran.out.count("check-6: written to ") == 12
    assert ran.err.count("12 patients with a port") == 13, "the unit comes back after each"
    assert sum(f"{number:>3}*" in ran.err.rsplit("On the unit", 1)[1] for number in range(1, 13)) == 12
    assert len(one) == 6 and sum(len(answer) + 1 for answer in one) == 13
    assert len(typed) == 73 and sum(len(answer) + 1 for answer in typed) == 158


def test_a_routine_access_with_a_kit_and_the_last_reason_takes_58_keys(run: Run, ward: Path) -> None:
    """Every number is typed, and every letter stands for what is spelled out right above it."""
    at = kits.place({"HOME": str(ward)})
    kits.keep(at, "usual", KIT)
    by = {"name": "Marisol Tamm"}
    kits.remember(at, {"kind": "access", "by": by, "reason": "treatment goes on"}, ("Quillfeather", "Odessa"))
    kits.remember(at, {"kind": "access", "by": by, "reason": "port of Odessa"}, ("Quillfeather", "Odessa"))
    kits.remember(at, {"kind": "access", "by": by, "reason": "room 12"}, ("Quillfeather", "Odessa"))
    ran = run("chart", "episode.yaml", "access", *SECOND, typed="\n".join(WITH_KIT) + "\n")
    assert ran.code == 0 and "DRAFT" not in ran.err and "1: treatment goes on" in ran.err, ran.err
    assert "Sign as Marisol Tamm, RN? y or MT signs" in ran.err and "port of Odessa" not in ran.err
    assert (len(WITH_KIT), sum(len(answer) + 1 for answer in WITH_KIT)) == (25, 58)


KIT = {
    "antisepsis.agent": "chlorhexidine in alcohol",
    "needle.gauge": 20,
    "needle.length_mm": 19,
    "needle.non_coring": True,
    "needle.power_rated": True,
    "flushes.0.syringe_ml": 10,
    "dressing.type": "transparent",
    "dressing.chlorhexidine_disc": True,
    "dressing.securement": "adhesive strips",
    "teaching.about": "to report pain, burning or swelling at once",
    "teaching.to": "patient",
}
WITH_KIT = [
    *("-15m", "1", "a", "", "1", "a", "n", "a", "-6", "a", "60 60", "1", "w", "5", "15", "10", "a"),
    *("i", "", "a", "y", "0", "1", "t", "y"),
]


def test_what_becomes_known_about_the_port_is_charted_in_ten_answers(run: Run, ward: Path) -> None:
    """Tip and power rating from the card of the port: 59 keys, the signature among them; nothing is edited by hand."""
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    typed = ["", "tip, power", "cavoatrial junction", "", "6 May 2026", "y", "5", "300", "card", "y"]
    ran = run("chart", "episode.yaml", "port", "--asof", "2026-05-07T12:00-05:00", typed="\n".join(typed) + "\n")
    assert ran.code == 0 and "port-facts-1: written" in ran.out, ran.err
    assert (len(typed), sum(len(answer) + 1 for answer in typed)) == (10, 59)
    event = (read_yaml((ward / "episode.yaml").read_bytes()).data or {})["events"][-1]
    assert event["tip"] == {"location": "cavoatrial junction", "on": "2026-05-06"} and event["source"] == "card"
    assert event["power"] == {"rated": "yes", "max_flow_ml_per_s": 5, "max_pressure_psi": 300}
