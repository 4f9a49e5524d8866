"""The fuzz harness for half a minute, from a fixed seed; `python tests/fuzz/harness.py` goes on for hours."""

from __future__ import annotations

import pytest
from harness import JUNK, run

from lda_notes import cli


def test_every_damaged_input_ends_in_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    found = run(20_000, seed=14, seconds=30)
    with capsys.disabled():
        print(f"\n{found.table()}")
    assert found.faults == {}
    assert len(found.inputs) == 14 and min(found.inputs.values()) >= 1, "every command had its turn"


def test_the_harness_sees_what_is_not_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    from lda_notes.record import reading

    def broken(*_: object, **__: object) -> None:
        raise KeyError("planted")

    monkeypatch.setattr(reading, "read_bytes", broken)
    found = run(60, seed=14)
    assert any("KeyError" in place for place in found.faults) and JUNK and cli.UNEXPECTED == 70
