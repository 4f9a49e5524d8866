"""Who charts on a login that several nurses share: asked first, so that kits and last words are her own."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk import Run, demo_until

from lda_notes.chart.questions import kits
from lda_notes.record import reading as records

NOON = "2026-05-07T12:00-05:00"
SHARED = "source: {title: Logins, date: 2026-01-15}\nlimits: {login_shared: yes}\n"
LOOK = "1150\na\ni\ny\n"


@pytest.fixture
def shared(run: Run, ward: Path) -> Run:
    """A command run on a login that several nurses share, in the middle of the first needle."""
    (ward / "lda-policy.yaml").write_text(SHARED, encoding="utf-8")
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    return run


def _check(run: Run, typed: str) -> str:
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed=typed)
    assert ran.code == 0, ran.err
    return ran.err


def test_who_charts_is_asked_before_all_else_and_offered_the_next_time(shared: Run, ward: Path) -> None:
    said = _check(shared, f"2\nIlse Novak, RN, LBN-7\n{LOOK}IN\n")
    assert said.index("Who is charting?") < said.index("Line check: Quillfeather")
    assert "?? Type a number of the list, or a name and a role" in said, "2 is no name"
    said = _check(shared, f"in\n{LOOK}IN\n")
    assert "  1: Ilse Novak, RN, LBN-7\n" in said and "Sign as Ilse Novak, RN? IN signs" in said
    made = records.read(ward / "episode.yaml").episode
    assert made is not None and [event.by.id for event in made.events[-2:] if event.by] == ["LBN-7", "LBN-7"]


def test_a_kit_is_offered_to_the_nurse_who_kept_it(shared: Run, ward: Path) -> None:
    at = ward / ".config" / "lda-notes" / "kits.json"
    kits.keep(at, "mine", {"dressing.type": "transparent"}, "Ilse Novak")
    kits.keep(at, "of all", {"dressing.type": "gauze"})
    for who, offered in (("Ilse Novak, RN", True), ("Bertrand Oyelle, RN", False)):
        ran = shared("chart", "episode.yaml", "dressing", "--asof", NOON, typed=f"{who}\n1140\n")
        assert ("1: mine: transparent dressing" in ran.err) == offered and "of all" not in ran.err


def test_her_last_words_are_offered_after_she_said_who_she_is(shared: Run, ward: Path) -> None:
    at = ward / ".config" / "lda-notes" / "kits.json"
    entry = {"kind": "access", "reason": "treatment goes on", "by": {"name": "Ilse Novak", "credential": "RN"}}
    kits.remember(at, entry, ("Quillfeather", "Odessa"))
    (ward / "episode.yaml").write_bytes(demo_until("access-2"))
    for who, offered in (("1", True), ("Bertrand Oyelle, RN\nn", False)):  # n: not Ilse's draft
        typed = f"{who}\n-15m\n" + ".\n" * 3
        ran = shared("chart", "episode.yaml", "access", "--asof", "2026-05-11T15:45-05:00", typed=typed)
        assert "Why was it done?" in ran.err and ("1: treatment goes on" in ran.err) == offered, ran.err


def test_where_two_signed_without_a_policy_who_charts_is_asked_too(
    run: Run, ward: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LDA_NOTES_BY")
    at = ward / ".config" / "lda-notes" / "kits.json"
    for name in ("Ilse Novak", "Bertrand Oyelle"):
        kits.remember(at, {"kind": "flush", "by": {"name": name, "credential": "RN"}}, ())
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed="oyelle\n")
    assert "  1: Bertrand Oyelle, RN\n  2: Ilse Novak, RN\n" in ran.err


def test_a_round_asks_once(shared: Run, ward: Path) -> None:
    ran = shared("chart", ".", "check", "--asof", NOON, typed=f"Ilse Novak, RN\n\n{LOOK}IN\n\n{LOOK}IN\nq\n")
    assert ran.code == 0 and ran.err.count("Who is charting?") == 1 and ran.out.count("written to") == 1


def test_a_wrong_pick_in_a_round_comes_back_to_the_list_and_leaves_no_draft(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    ran = run("chart", ".", "--asof", NOON, typed="99\n12 foo\n12 line check\n-2m\n<\n<\nq\n")
    assert ran.code == 0 and "No one on the list" in ran.err and "foo cannot be charted here" in ran.err
    assert ran.err.count("On the unit: 1 patient") == 2, "what is not understood is asked again below the same list"
    assert "draft not signed" not in ran.err and "Line check: Quillfeather" in ran.err
