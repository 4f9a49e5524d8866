"""The fuzz harness for some seconds, from a fixed seed; `python tests/fuzz/harness.py` goes on for hours."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from harness import JUNK, Harness, run

from lda_notes import cli

INPUTS = int(os.environ.get("LDA_NOTES_TEST_INPUTS", "600"))


def test_every_damaged_input_ends_in_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    found = run(INPUTS, seed=14, seconds=3600)
    with capsys.disabled():
        print(f"\n{found.table()}")
    assert found.faults == {}
    assert len(found.inputs) == 23 and min(found.inputs.values()) >= INPUTS // 23, "every command had its turn"


def test_the_harness_sees_what_is_not_caught(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from lda_notes.record import reading

    def broken(*_: object, **__: object) -> None:
        raise KeyError("planted")

    harness = Harness(14, tmp_path)
    monkeypatch.setattr(reading, "read_bytes", broken)
    found = harness.go(60, 30)
    assert any("KeyError" in place for place in found.faults) and JUNK and cli.UNEXPECTED == 70


def test_the_harness_sees_what_does_not_end(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from lda_notes.record import reading

    def endless(*_: object, **__: object) -> None:
        while True:
            pass

    made = Harness(14, tmp_path)
    monkeypatch.setattr("harness.MOST_SECONDS", 0.05)
    monkeypatch.setattr(reading, "read_bytes", endless)
    assert any("Endless" in place for place in made.go(3, 30).faults)


def test_a_whole_number_beyond_64_bits_is_written_as_it_is() -> None:
    """Found by the harness, seed 2026: the faster library writes none."""
    from lda_notes.fhir.elements import to_json

    assert to_json({"a": 2**70}) == f'{{"a":{2**70}}}'
