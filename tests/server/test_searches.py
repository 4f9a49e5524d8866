"""The searches of SEARCHES.md as they are printed there, by plain HTTP, against counts from the records."""

from __future__ import annotations

import json
import re
import uuid
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import pytest
from send_cases import LATER, NAMES, Case, client, configured, demo, raw

from lda_notes import pipeline
from lda_notes.fhir.build.naming import port_identities
from lda_notes.fhir.searches import everything
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record import reading
from lda_notes.record.parts import NotDone

PAGE = Path(__file__).parents[2] / "lda_notes" / "fhir" / "SEARCHES.md"
UNIT, OF, BEFORE = "Ward Heron", "no-blood-return", "2027-01-01T00:00:00-06:00"
QUESTIONS: dict[str, str] = dict(
    re.findall(r"^## (.+)\n\n```http\nGET (.+)\n```", PAGE.read_text(), flags=re.MULTILINE)
)
SEEN = re.findall(r"^\| (.+) \| (\d+) \| (\d+) \|$", PAGE.read_text(), flags=re.MULTILINE)


def halved(text: str) -> str:
    """A record with the first half of its events, rounded up."""
    parts = re.split(r"(?m)^(?=  - id: )", text)
    return "".join(parts[: 1 + len(parts) // 2])


def filled(query: str, values: dict[str, str]) -> str:
    """A query of the page with its capitals filled in; a test that a name was missed is the server's 400."""
    path, _, rest = query.partition("?")
    parts = []
    for pair in rest.split("&"):
        name, _, value = pair.partition("=")
        value = re.sub("|".join(values), lambda found: values[found[0]], value)
        parts.append(f"{name}={quote(value, safe='|,/:$')}")
    return f"{path}?{'&'.join(parts)}&_count=500"


def counted(base_url: str, values: dict[str, str]) -> dict[str, int]:
    found = {}
    for title, query in QUESTIONS.items():
        page: Any = json.loads(raw(base_url, filled(query, values)))
        assert not any(link["relation"] == "next" for link in page["link"])
        kinds = Counter(one["resource"]["resourceType"] for one in page.get("entry", ()))
        found[title] = kinds["Provenance" if query.startswith("Patient") else query.partition("?")[0]]
    return found


def expected(lines: dict[str, Timeline]) -> dict[str, int]:
    """The same counts from the records, without a bundle."""
    states = [(line, line.now(septum)) for line in lines.values() for septum in line.episode.port.septa]
    clocks = [
        one
        for line, state in states
        for one in due.clocks(line, state, line.entries[-1].event.at, DEFAULT, due.zone_of(line))
        if one.clock in ("needle change", "dressing change")
    ]
    at = datetime.fromisoformat(BEFORE)
    return dict(
        zip(
            QUESTIONS,
            (
                sum(
                    state.needle is not None and line.discharge is None and line.units[-1].unit == UNIT
                    for line, state in states
                ),
                sum(one.by is None or one.by < at for one in clocks),
                sum(hold.ended is None for line in lines.values() for held in line.holds.values() for hold in held),
                given(lines[OF]),
                len(lines[OF].episode.events),
            ),
            strict=True,
        )
    )


def given(line: Timeline) -> int:
    """How much was given through a line: flushes, locks, thrombolytics, and uses but for their stops."""
    found = 0
    for entry in line.entries:
        event: Any = entry.event
        if isinstance(event, ev.Flushed):
            found += len(event.flushes) if isinstance(event.flushes, tuple) else 0
            found += event.lock is not None and not isinstance(event.lock, NotDone)
        found += isinstance(event, ev.PatencyTreatment)
        found += isinstance(event, ev.LineUse) and event.purpose != "blood sampling" and event.action != "stopped"
    return found


@pytest.fixture(scope="module")
def tag() -> str:
    return f"t{uuid.uuid4().hex}"


@pytest.fixture(scope="module")
def arrived() -> set[str]:
    """Digests of what was sent under these names: the whole records add to their halves."""
    return set()


def test_the_page_prints_the_searches_that_the_program_uses() -> None:
    assert len(QUESTIONS) == 5
    assert [title for title, _, _ in SEEN] == list(QUESTIONS)
    asked = "&".join(f"{name}={unquote(value)}" for name, value in everything("SYSTEM", "VALUE"))
    assert QUESTIONS["Everything for one record"] == f"Patient?{asked}"


@pytest.mark.parametrize("whole", [False, True], ids=["halves", "whole"])
def test_each_search_counts_what_the_records_say(fhir_server: str, tag: str, arrived: set[str], whole: bool) -> None:
    config = configured(tag)
    lines: dict[str, Timeline] = {}
    with client(fhir_server) as server:
        for name in NAMES:
            case = Case(demo(name), tag)
            text = case.text if whole else halved(case.text)
            judged = pipeline.judge(reading.read_bytes(text.encode(), "demo.yaml"), DEFAULT, LATER)
            assert judged.timeline is not None
            lines[name] = judged.timeline
            for parcel in case.parcels(text):
                if parcel.digest not in arrived:
                    answer = server.transact(parcel.bundle)
                    assert answer.status == 200, answer.body
                    arrived.add(parcel.digest)
    episode = lines[OF].episode
    number = episode.patient.identifiers[0]
    values = {
        "CODES": config.codes,
        "IDENTITY": config.systems.identity,
        "PLACE": config.systems.place,
        "FACILITY": episode.stay.facility,
        "UNIT": UNIT,
        "TIME": BEFORE,
        "PORT": next(port_identities(episode, config)),
        "SYSTEM": number.system,
        "VALUE": number.value,
    }
    found = counted(fhir_server, values)
    assert found == expected(lines)
    assert found == {title: int(row[whole]) for title, *row in SEEN}
