"""Where it is signed, on a terminal of 24 rows: what is said back is on the screen together with what is asked."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk import Run, demo_until

NOON = ("--asof", "2026-05-07T12:00-05:00")
LOOK = "1150\na\ni\ny\n"
ROWS = 24

REPLIES = {
    "x": "?? Type y or MT to sign",
    "?": "explains the question",
    "k usual": "Your kit usual, once this is signed",
    "= remarks slept well": "Remarks: slept well.",
    "= nothing such": "There is no fact nothing here.",
    "+ nothing such": "Nothing is called nothing such here.",
    "+ remarks\nslept well": "Remarks: slept well.",
    "<\n": "Connections: yes.",
    ">": "Nothing was taken back.",
}
"""What is typed at the signature, and the reply to it."""


def screen(shown: str) -> str:
    """Return the last rows, up to where the nurse types."""
    return "\n".join(shown.partition("\nStopped.")[0].rstrip().splitlines()[-ROWS:])


@pytest.mark.parametrize("typed", REPLIES)
def test_a_reply_stands_where_the_signature_is_asked_for(typed: str, run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    shown = screen(run("chart", "episode.yaml", "check", *NOON, typed=f"{LOOK}{typed}\n").err)
    assert REPLIES[typed] in shown and "Sign as Marisol Tamm, RN? y or MT signs" in shown
    assert shown.index(REPLIES[typed]) < shown.rindex("Sign as"), "the question stands last"


def test_what_is_unsafe_is_counted_right_above_the_signature(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    typed = "1150\ni\nname, room number\ny\nLB-ORD-9\n1\nan antibiotic\nn\np\ny\n"
    shown = screen(run("chart", "episode.yaml", "use", *NOON, typed=typed).err)
    assert "?? y does not sign here: type your initials (MT)" in shown
    assert "1 finding above is unsafe or contradictory." in shown and "MT signs" in shown


def test_a_reply_that_changes_nothing_does_not_show_the_note_again(run: Run, ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    said = run("chart", "episode.yaml", "check", *NOON, typed=f"{LOOK}= nothing such\n+ nothing such\nx\n").err
    assert said.count("Implanted port note") == 1
    assert run("chart", "episode.yaml", "check", *NOON, typed="\n= remarks slept well\n").err.count("port note") == 2
