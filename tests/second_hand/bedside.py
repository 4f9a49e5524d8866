"""Small words for tests about a line: events, records, and the state that the sheet and the check give for them."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from click.testing import CliRunner, Result
from rule_cases import complete

from lda_notes.cli import group

Json = dict[str, Any]

GOOD_SITE = {
    "skin": "intact",
    "erythema": "none",
    "swelling": "none",
    "tenderness": "none",
    "drainage": "none",
    "port": "stable",
}
MD = {"name": "Osric Fennimore", "credential": "MD", "id": "CASE-M1"}
FREE = {
    "solution": "0.9% sodium chloride",
    "volume_ml": 10,
    "syringe_ml": 10,
    "technique": "push-pause",
    "resistance": "none",
}
SALINE_LOCK = {"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None}
NO_BLOOD: Json = {
    "blood_return": "none",
    "blood_looks": None,
    "discard_ml": {"not_done": "no aspirate"},
    "steps_tried": ["checked clamp and needle seat", "repositioned patient", "cough or deep breath"],
    "lock": {"not_done": "line on hold"},
    "infusion": None,
}


def t(clock: str, day: int = 2) -> str:
    """Return a moment of April 2031; the stay of the base begins on the first."""
    return f"2031-04-{day:02}T{clock}-05:00"


def later(moment: str, **span: float) -> str:
    """Return the moment that is ``span`` (minutes, hours, days) after ``moment``."""
    return (datetime.fromisoformat(moment) + timedelta(**span)).isoformat()


def event(kind: str, at: str, **facts: Any) -> Json:
    """Return an event; all that it does not name comes from the faultless event of the base."""
    return {"kind": kind, "at": at, **facts}


def access(at: str, **facts: Any) -> Json:
    """Return an access with proof, unless ``facts`` differ."""
    return event("access", at, **facts)


def access_none(at: str = t("09:00"), **facts: Any) -> Json:
    """Return an access without blood return after steps, needle left in."""
    return access(at, **{**NO_BLOOD, **facts})


def needle_out(at: str, **facts: Any) -> Json:
    """Return the removal of the needle of a line on hold: nothing is put in."""
    held = {
        "blood_return": "none",
        "blood_looks": None,
        "flushes": {"not_done": "line on hold"},
        "lock": {"not_done": "line on hold"},
    }
    return event("de-access", at, **{**held, **facts})


def look(at: str, **facts: Any) -> Json:
    """Return a line check."""
    return event("line check", at, **facts)


def site(**signs: Any) -> Json:
    """Return a look at the site at which only ``signs`` are out of the ordinary."""
    return {**GOOD_SITE, **signs}


def sign(what: str, **more: Any) -> list[Json]:
    """Return the list of one sign."""
    return [{"what": what, **more}]


def evaluation(at: str, who: Json = MD, **facts: Any) -> Json:
    """Return an evaluation by ``who``; cleared for use unless ``facts`` differ."""
    return event("evaluation", at, **{"by": who, "cleared_by": who, **facts})


def treatment(at: str, **facts: Any) -> Json:
    """Return alteplase put into the line."""
    still = {"flushes": {"not_done": "dwell"}, "lock": {"not_done": "dwell"}, "blood_return": "none"}
    return event("patency treatment", at, **{**still, **facts})


def look_none(at: str, treatment_id: str = "patency-treatment-1", **facts: Any) -> Json:
    """Return a look at a dwelling dose that finds no blood return."""
    still = {
        "blood_return": "none",
        "blood_looks": None,
        "withdrawn_ml": None,
        "flushes": {"not_done": "dwell goes on"},
        "lock": {"not_done": "dwell goes on"},
    }
    return event("patency check", at, **{"treatment": treatment_id, **still, **facts})


def look_proof(at: str, treatment_id: str = "patency-treatment-1", **facts: Any) -> Json:
    """Return a look at a dwelling dose that finds proof; the first aspirate is withdrawn and discarded."""
    return event("patency check", at, treatment=treatment_id, **facts)


def record(*events: Json, **parts: Any) -> Json:
    """Return a whole record of ``events``; ``parts`` are patient, stay, port and the record's id."""
    return complete({**parts, "events": list(events)})


def double(*events: Json, **parts: Any) -> Json:
    """Return a whole record of a port with two septa, medial and lateral."""
    return record(*events, port={"septa": ["medial", "lateral"]}, **parts)


def last_moment(*records: Json) -> str:
    """Return half an hour after the last event."""
    moments = [datetime.fromisoformat(each["at"]) for one in records for each in one["events"]]
    return (max(moments) + timedelta(minutes=30)).isoformat()


def run(command: str, *records: Json, policy: Json | None = None, **options: str) -> Result:
    """Run a command on the records, each a JSON file in a folder of their own, and return what it printed."""
    if records and "asof" not in options:
        options["asof"] = last_moment(*records)
    with TemporaryDirectory() as folder:
        files = []
        for number, one in enumerate(records, 1):
            path = Path(folder) / f"record-{number}.json"
            path.write_text(json.dumps(one, default=str))
            files.append(str(path))
        if policy is not None:
            whole = {"source": {"title": "Line policy (invented)", "date": "2031-01-01"}, "limits": policy}
            (Path(folder) / "lda-policy.yaml").write_text(json.dumps(whole))
        words = [word for name, value in options.items() for word in (f"--{name.replace('_', '-')}", value) if word]
        result = CliRunner().invoke(group, [command, *files, *words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def state(*records: Json, policy: Json | None = None, asof: str | None = None) -> Json:
    """Return the state of the one patient of these records, as the handoff gives it, with the exit code as ``exit``."""
    options = {"format": "json"} if asof is None else {"format": "json", "asof": asof}
    result = run("handoff", *records, policy=policy, **options)
    sheet = json.loads(result.stdout)
    patients = [*sheet["patients"], *sheet["left_the_facility"]]
    assert len(patients) == 1, f"{len(patients)} patients on the sheet: {result.output}"
    return {**patients[0], "exit": result.exit_code}


def sheet(*records: Json, policy: Json | None = None, asof: str | None = None, form: str = "text") -> str:
    """Return the handoff sheet without the list of sources, in one row of words."""
    options = {"format": form} if asof is None else {"format": form, "asof": asof}
    text = run("handoff", *records, policy=policy, **options).stdout
    text = text.split("Where the limits come from")[0]
    return text if form != "text" else " ".join(text.split())


def check(*records: Json, policy: Json | None = None, asof: str | None = None) -> tuple[int, list[Json]]:
    """Return the exit code of the check and its findings."""
    options = {"format": "json"} if asof is None else {"format": "json", "asof": asof}
    result = run("check", *records, policy=policy, **options)
    return result.exit_code, [one for file in json.loads(result.stdout)["files"] for one in file["findings"]]


def found(*records: Json, event: str | None = None, words: str = "", **more: Any) -> list[Json]:
    """Return the findings about ``event`` in which the pattern ``words`` occurs: in rule, message or what to do."""
    pattern = re.compile(words, re.IGNORECASE)
    return [
        one
        for one in check(*records, **more)[1]
        if (event is None or one["event"] == event)
        and pattern.search(f"{one['rule'].replace('-', ' ')} {one['message']} {one.get('todo') or ''}")
    ]


def severities(findings: list[Json]) -> set[str]:
    """Return the severities of ``findings``."""
    return {one["severity"] for one in findings}


def words_of(hold: Json) -> str:
    """Return reason and sign of a hold, in small letters."""
    return f"{hold['reason']} {hold['sign']}".lower()


def holds(now: Json, words: str = "", septum: str | None = None) -> list[Json]:
    """Return the open holds in whose reason or sign the pattern ``words`` occurs."""
    return [
        hold
        for hold in now["holds"]
        if re.search(words, words_of(hold)) and (septum is None or hold["septum"] == septum)
    ]


def ended(now: Json, words: str = "", by: str | None = None) -> list[Json]:
    """Return the ended holds in whose reason or sign the pattern ``words`` occurs, ended by event ``by``."""
    return [hold for hold in now["ended"] if re.search(words, words_of(hold)) and (by is None or hold["by"] == by)]


def dangers(now: Json) -> set[str]:
    """Return the numbers of the standing dangers."""
    return {danger["code"] for danger in now["dangers"]}


def danger(now: Json, code: str) -> Json:
    """Return the standing danger of this number."""
    (one,) = [each for each in now["dangers"] if each["code"] == code]
    return one


def septum(now: Json, name: str) -> Json:
    """Return the state of one septum."""
    (one,) = [each for each in now["septa"] if each["septum"] == name]
    return one


def moment(text: str) -> datetime:
    """Return a printed moment, so that two spellings of one moment are equal."""
    return datetime.fromisoformat(text)
