"""What tests of charting share: records cut at a moment, a talk without a terminal, a session on a real one."""

from __future__ import annotations

import os
import re
import signal
import sys
import tempfile
import warnings
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import pexpect
from in_process import call
from waiting import sleeps, until

from lda_notes.chart.event import EventForm
from lda_notes.chart.form import Basis, Say
from lda_notes.chart.talk import Talk
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.record import reading as records
from lda_notes.record.episode import Episode

DEMO = Path(__file__).parents[2] / "demo_episodes" / "uncomplicated-week.yaml"
NURSE = "Marisol Tamm, RN, LBN-204"
BY = {"by": {"name": "Marisol Tamm", "credential": "RN", "id": "LBN-204"}}
INSTALLED = str(Path(sys.executable).with_name("lda-notes"))
_CLOCKED = f"""#!{sys.executable}
import sys
from datetime import datetime
from lda_notes.commands import charting_options
given = [after for before, after in zip(sys.argv, sys.argv[1:]) if before == "--asof"]
if given:
    charting_options.wall_clock = lambda: datetime.fromisoformat(given[0])
from lda_notes.cli import main
main()
"""


def _clocked() -> str:
    """Return a program that is lda-notes on a machine whose clock says what --asof says."""
    made = Path(tempfile.mkdtemp(prefix="lda-notes-clock-")) / "lda-notes"
    made.write_text(_CLOCKED)
    made.chmod(0o755)
    return str(made)


PROGRAM = _clocked()
PROMPT = "\r\n> "


class Ran(NamedTuple):
    """How a command ended: its exit code, standard output and standard error."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


def demo_until(event: str) -> bytes:
    """Return the demo's text with its events before ``event``, every comment as it stands."""
    text = DEMO.read_text()
    kept = text[: text.index(f"  - id: {event}\n")]
    return (kept if "  - id: " in kept else kept.replace("events:\n", "events: []\n")).encode()


def demo_without_events() -> bytes:
    text = DEMO.read_text()
    return (text[: text.index("events:\n")] + "events: []\n").encode()


def episode(raw: bytes) -> Episode:
    read = records.read_bytes(raw, "episode.yaml")
    assert read.episode is not None and read.findings == ()
    return read.episode


def subject(raw: bytes, kind: str, now: str, by: Mapping[str, Any] = BY, policy: Policy = DEFAULT) -> EventForm:
    made, moment = episode(raw), datetime.fromisoformat(now)
    return EventForm(Basis(made, policy, lambda: moment, by), kind)


def answered(talk: Talk, *texts: str) -> tuple[Talk, list[Say]]:
    """Give answers one after the other; return where that leads and all that was said back."""
    says: list[Say] = []
    for text in texts:
        talk, said = talk.reply(text)
        says.extend(said)
    return talk, says


def name(talk: Talk) -> str:
    """Return the name of the question that stands next."""
    assert talk.question is not None, "everything is asked"
    return talk.question.name


def _heeds_ctrl_c() -> None:
    """Let Ctrl-C reach the child, also where a background shell started the tests with it ignored.

    The program itself honors that: started with Ctrl-C ignored, it is left with q or the end of the input.
    """
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def spawn(
    program: str, arguments: Sequence[str], folder: Path, environment: Mapping[str, str], *, deaf: bool = False
) -> Any:
    """Start a program on a terminal of 80 columns and 24 rows; a ``deaf`` one is not told that the terminal is lost."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # the test runner may have threads; the child needs none
        return pexpect.spawn(
            program,
            list(arguments),
            cwd=folder,
            env=dict(environment),
            encoding="utf-8",
            timeout=120,
            dimensions=(24, 80),
            preexec_fn=_heeds_ctrl_c,
            ignore_sighup=deaf,
        )


def ran(folder: Path, *arguments: str) -> Ran:
    """Return what a command that asks nothing says, without a process of its own."""
    done = call(*arguments, cwd=folder)
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


class Keyboard:
    """A nurse at a terminal of 80 columns and 24 rows: types, reads, and counts her keystrokes."""

    def __init__(self, folder: Path, *arguments: str, by: str = NURSE, asof: str = "", deaf: bool = False) -> None:
        environment = {
            **{key: value for key, value in os.environ.items() if key in ("PATH", "LANG")},
            "HOME": str(folder),
            "TERM": "dumb",
            "XDG_STATE_HOME": str(folder / "state"),
            "LDA_NOTES_BY": by,
            "PYTHONUTF8": "1",
        }
        given = [*arguments, *(("--asof", asof) if asof else ())]
        self.process = spawn(PROGRAM, given, folder, environment, deaf=deaf)
        self.process.delaybeforesend = None
        self.keys = 0
        self.answers = 0
        self.free = 0
        self.shown = ""

    def read(self) -> str:
        """Wait for the next prompt; return what was shown before it."""
        self.process.expect_exact(PROMPT)
        assert isinstance(self.process.before, str)
        self.shown += self.process.before + PROMPT
        return self.process.before

    def type(self, text: str, free: bool = False) -> str:
        """Type a row and Enter, and read on to the next prompt. ``free`` marks words that are the nurse's own."""
        self._send(text, free)
        return self.read()

    def last(self, text: str, free: bool = False) -> str:
        """Type the last row, and read to the end of the program."""
        self._send(text, free)
        self.process.expect(pexpect.EOF)
        assert isinstance(self.process.before, str)
        self.shown += self.process.before
        return self.process.before

    def _send(self, text: str, free: bool) -> None:
        self.keys += len(text) + 1
        self.answers += 1
        self.free += len(text) if free else 0
        self.process.sendline(text)

    def interrupt(self) -> None:
        """Press Ctrl-C, once the program waits for a key and no longer works on the prompt."""
        until(lambda: sleeps(self.process.pid))
        self.process.sendintr()

    def code(self) -> int | None:
        self.process.close()
        status: int | None = self.process.exitstatus
        return status


def widest(shown: str) -> int:
    """Return the width of the widest row shown, typed answers aside."""
    return max(len(row) for row in re.split(r"[\r\n]+", shown) if not row.startswith("> "))
