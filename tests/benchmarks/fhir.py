"""Figures 8 to 10: building bundles, verifying them, the whole stream of one record after another."""

from __future__ import annotations

import io
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fhir.resources.R4B.bundle import Bundle as Model

from lda_notes import pipeline
from lda_notes.check import rule_table
from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.elements import to_json, to_json_bytes
from lda_notes.fhir.verify.verification import verify
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.rows import Row, rows
from lda_notes.stream.tasks import Bundle, Rules, read, said_of
from tests.benchmarks.episodes import ASOF, FAULTY_EVERY, row
from tests.benchmarks.measure import Bench, Figure, seconds

PEER = 10
"""Records that the peer is given in one measurement, which takes it seconds; ours is given the same ones."""


def _numbers(count: int) -> list[int]:
    """Numbers of sound records: a faulty one may have no bundles, and the peer no work."""
    return [number for number in range(1, 2 * count + 10) if number % FAULTY_EVERY][:count]


def figures(bench: Bench) -> Iterator[Figure]:
    """Measure them."""
    with rare_collection():
        lines = [timeline.build(_episode(number), DEFAULT, ASOF) for number in _numbers(PEER)]
        yield _build(bench, lines)
        yield _verify(bench, lines)
        yield from _stream(bench)


def _episode(number: int) -> Any:
    episode = read("made", Row(number, row(number).rstrip())).episode
    assert episode is not None
    return episode


def _build(bench: Bench, lines: list[Any]) -> Figure:
    made = [one.bundle for line in lines for one in bundles(line, DEFAULT, CONFIG)]

    def ours() -> float:
        return seconds(lambda: [to_json_bytes(o.bundle) for line in lines for o in bundles(line, DEFAULT, CONFIG)], 3)

    def theirs() -> float:
        return seconds(lambda: [Model(**one).model_dump_json() for one in made])

    note = "the peer is given the finished dicts; notes are left out"
    return Figure(
        "8",
        "fhir.resources models and their JSON / build a bundle and its JSON",
        30,
        False,
        tuple(1 / ratio for ratio in bench.paired(ours, theirs)),
        note=note,
    )


def _verify(bench: Bench, lines: list[Any]) -> Figure:
    texts = [to_json(one.bundle) for line in lines for one in bundles(line, DEFAULT, CONFIG)]

    def fresh(judge: Callable[[Any], Any]) -> float:
        parsed = [json.loads(text) for text in texts]
        return seconds(lambda: [judge(one) for one in parsed])

    ratios = bench.paired(lambda: fresh(verify), lambda: fresh(Model.model_validate))
    note = "what each catches: tests/fhir/ORACLES.md"
    return Figure("9", "fhir.resources validation / verify", 5, False, tuple(1 / ratio for ratio in ratios), note=note)


def ours(raw: bytes, out: io.BufferedIOBase) -> None:
    """Read, check, bundle, verify and write every row."""
    check_policy = DEFAULT
    make = Bundle(Rules.of(DEFAULT), CONFIG, note=False).maker()
    for one in rows(io.BytesIO(raw)):
        record = read("made", one)
        judged = pipeline.judge(record, check_policy, ASOF)
        out.write(said_of("made", one.number, judged).out)
        out.write(make(record, judged.timeline).out)


def theirs(raw: bytes, out: io.BufferedIOBase) -> None:
    """The same with bundles made, validated and written by the models of fhir.resources."""
    for one in rows(io.BytesIO(raw)):
        record = read("made", one)
        assert record.episode is not None
        judged = pipeline.judge(record, DEFAULT, ASOF)
        out.write(said_of("made", one.number, judged).out)
        assert judged.timeline is not None
        for made in bundles(judged.timeline, DEFAULT, CONFIG, Options()):
            out.write(Model(**made.bundle).model_dump_json().encode())


def _stages(raw: bytes) -> str:
    """Say where the time of the whole stream goes: CPU milliseconds of each stage for one record."""
    records = [read("made", one) for one in rows(io.BytesIO(raw))]
    lines = [timeline.build(one.episode, DEFAULT, ASOF) for one in records if one.episode is not None]
    made = [[one.bundle for one in bundles(line, DEFAULT, CONFIG)] for line in lines]

    def verified() -> None:
        for built in made:
            for one in built:
                assert verify(one) == ()

    stages: dict[str, Callable[[], object]] = {
        "read": lambda: [read("made", one) for one in rows(io.BytesIO(raw))],
        "fold": lambda: [timeline.build(line.episode, DEFAULT, ASOF) for line in lines],
        "rules": lambda: [rule_table.check(line, DEFAULT) for line in lines],
        "build": lambda: [list(bundles(line, DEFAULT, CONFIG)) for line in lines],
        "verify": verified,
        "write": lambda: [to_json_bytes(one) for built in made for one in built],
    }
    told = [f"{name} {1000 * seconds(work, 3) / len(lines):.2f}" for name, work in stages.items()]
    entries = sum(len(one["entry"]) for built in made for one in built) / len(made)
    return f"CPU ms a record of {entries:.0f} resources: {', '.join(told)}"


def _stream(bench: Bench) -> Iterator[Figure]:
    with Path(os.devnull).open("wb") as sink:
        few = b"".join(row(number) for number in _numbers(PEER))
        ratios = bench.paired(lambda: seconds(lambda: ours(few, sink), 9), lambda: seconds(lambda: theirs(few, sink)))
        note = f"{PEER} records in a pair, notes left out; {_stages(few)}"
        yield Figure(
            "10",
            "stream through fhir.resources / read, check, bundle, verify, write",
            9,
            False,
            tuple(1 / ratio for ratio in ratios),
            note=note,
        )
