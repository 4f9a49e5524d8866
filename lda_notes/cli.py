"""The door: finds a command by name and loads only that one. The README lists the exit codes."""

from __future__ import annotations

import gc
import os
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import click

from lda_notes import __version__

COMMANDS: Final[dict[str, str]] = {
    "demo": "Copy the invented episodes to a folder, check them and write their notes.",
    "new": "Start the record of a patient's stay with a port.",
    "chart": "Chart an event by answering questions; it is checked as you go.",
    "amend": "Add to, correct or retract an entry; the original stays.",
    "check": "Report what is missing, contradictory or unsafe in records.",
    "note": "Write the note for an event in words, ready to review and sign.",
    "handoff": "Write the handoff sheet for the next shift.",
    "worksheet": "Write the page to take to the bedside before gloves go on.",
    "send": "Deliver records to a FHIR server; sending again duplicates nothing.",
    "status": "Compare records with what a FHIR server has.",
    "days": "Count central line days by patient and by unit, for surveillance.",
    "amounts": "Add up flushes, discards and heparin over a shift, a day or a needle's stay.",
    "bundle": "Write FHIR R4 transaction bundles, one for each event, verified.",
    "verify": "Report whether a strict FHIR R4 server would accept a bundle, and if not, why.",
    "readback": "Read FHIR bundles back into a record.",
    "policy": "Print the limits in force, each with its source.",
    "rules": "List the rules, or explain one.",
    "schema": "Print the JSON Schema of a record.",
}
"""Every command and its one-row summary; the command itself stands in ``lda_notes.commands.<name>``."""


def _loaded(module: str) -> ModuleType:
    """Import a module without garbage collection, which would take a tenth of the time and find nothing."""
    if module in sys.modules:
        return sys.modules[module]
    gc.disable()
    try:
        return import_module(module)
    finally:
        gc.freeze()
        gc.enable()


class LazyGroup(click.Group):
    """A group that lists commands without loading them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = _loaded(f"lda_notes.commands.{cmd_name.replace('-', '_')}").command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; when the output pipe is closed, click would exit with 1, which is our code for findings."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:  # nothing more can be said to it
            _give_up_output()
            raise click.exceptions.Exit(141) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list from `COMMANDS`, so that help loads no command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one is near."""
        name = args[0] if args else ""
        if name and not name.startswith("-") and name not in COMMANDS:
            from lda_notes.record.spelling import nearest

            close = nearest(name, COMMANDS)
            hint = f" Did you mean {close}?" if close else " `lda-notes --help` lists them."
            ctx.fail(f"No such command: {name}.{hint}")
        return super().resolve_command(ctx, args)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="lda-notes")
def group() -> None:
    """Check records of implanted-port access, and write notes, handoff sheets and FHIR from them.

    The tool records and computes; it never orders. Facility policy, prescriber orders and licensed judgment come
    first.

    Example: lda-notes check episode.yaml
    """


def _give_up_output() -> None:
    """Let what cannot be written go; the interpreter would try again at exit, and complain."""
    sys.stdout = open(os.devnull, "w")  # noqa: PTH123, SIM115


def _hold_streams() -> None:
    """Put something in the place of standard streams that were closed.

    Else the next file opened gets their number, and what is meant for a stream is written into it. To read or write
    such a stream fails as any other file does; what would be said on standard error is lost.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            wrong_way = os.O_WRONLY if name == "stdin" else os.O_RDONLY
            if os.open(os.devnull, os.O_WRONLY if name == "stderr" else wrong_way) == number:
                setattr(sys, name, open(number, "r" if name == "stdin" else "w", closefd=False))  # noqa: SIM115


def _leave(code: object) -> int:
    """Return the exit code, once what was printed is flushed: the interpreter's own last flush would change it."""
    number = code if isinstance(code, int) else 0
    for name in ("stdout", "stderr"):
        try:
            getattr(sys, name).flush()
        except (OSError, ValueError) as error:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: PTH123, SIM115 -- else it would be tried again at exit
            if number == 0 and name == "stdout":
                number = 141 if isinstance(error, BrokenPipeError) else 2
                if number == 2:
                    _tell(f"lda-notes: standard output: cannot be written ({error}); what it has is cut off")
    return number


def _tell(sentence: str) -> None:
    """Say why the run ends; where nobody can be told any more, the exit code alone says it."""
    from lda_notes.commands.printing import say

    with suppress(OSError, ValueError):
        say(sentence, err=True)


DEBUG: Final = "LDA_NOTES_DEBUG"
"""Environment variable that shows where in the program an unexpected error arose."""

UNEXPECTED: Final = 70
"""Exit code of an error that the program did not expect (EX_SOFTWARE of sysexits.h)."""


def _unexpected(error: BaseException) -> str:
    """Return one sentence on an error that nobody foresaw: where it arose, and nothing of any record."""
    import traceback

    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "lda_notes" in frame.filename]
    where = f"{Path(frames[-1].filename).stem}:{frames[-1].lineno}" if frames else "start"
    if isinstance(error, MemoryError):
        return f"there is not enough memory for this (at {where}); give fewer or smaller files at once"
    return (
        f"unexpected error {type(error).__name__} at {where}, version {__version__}; please report this sentence to "
        f"whoever maintains the program. With {DEBUG}=1 it shows more, which may quote the record"
    )


def main() -> None:
    """Run the program: every failure ends in one sentence and an exit code, never a traceback."""
    _hold_streams()
    code: object
    try:
        code = group.main(prog_name="lda-notes", standalone_mode=False)
    except (click.exceptions.Abort, KeyboardInterrupt):
        _tell("Stopped.")
        code = 130
    except click.exceptions.Exit as leave:
        code = leave.exit_code
    except SystemExit as leave:
        code = leave.code
    except click.ClickException as error:
        from io import StringIO

        said = StringIO()
        error.show(said)
        _tell(said.getvalue().rstrip("\n"))
        code = error.exit_code
    except OSError as error:
        where, why = error.filename or "the output", error.strerror or error
        _tell(f"lda-notes: {where}: {why}; check its name, its permissions and the room on the disk")
        code = 2
    except Exception as error:
        from lda_notes.problems import Failure  # here, since help and version have no use for it

        if isinstance(error, Failure):
            _tell(f"lda-notes: {error}")
            code = error.code
        elif os.environ.get(DEBUG) == "1":
            raise
        else:
            _tell(f"lda-notes: {_unexpected(error)}")
            code = UNEXPECTED
    gc.freeze()  # at the end nothing is looked for: the memory goes back to the system with the process
    sys.exit(_leave(code))
