"""Options that several commands share: the same name, the same words, the same meaning everywhere."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from functools import wraps
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from lda_notes.knowledge.policy_file import VARIABLE

Command = TypeVar("Command", bound=Callable[..., Any])

FIRST_YEAR: Final = 1850
LAST_YEAR: Final = 2199
"""Years that a record may speak of, as `lda_notes.record.parts` has them, which is not loaded for an option."""

_MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:?\d\d)")


def moment(context: click.Context, option: click.Parameter, value: Any) -> datetime | None:
    """Read a date and time with its offset from UTC; None stays None. The callback of every option that is one."""
    if value is None or isinstance(value, datetime):
        return value
    if _MOMENT.fullmatch(value):
        try:
            found = datetime.fromisoformat(value)
        except ValueError:
            found = None
        if found is not None and not FIRST_YEAR <= found.year <= LAST_YEAR:
            says = f"{value!r} is not in the years that a record may speak of, {FIRST_YEAR} to {LAST_YEAR}."
            raise click.BadParameter(says, context, option)
        if found is not None:
            return found
    raise click.BadParameter(
        f"{value!r} is not a date and time with its offset, such as 2031-03-04T07:00-06:00.", context, option
    )


def _moment_or_now(context: click.Context, option: click.Parameter, value: Any) -> datetime:
    return moment(context, option, value) or datetime.now(UTC).replace(second=0, microsecond=0)


def printed_now() -> datetime:
    """Return when a sheet is printed; ``SOURCE_DATE_EPOCH`` sets it for output that is to be the same each time."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    return datetime.fromtimestamp(int(fixed), UTC) if fixed.isdecimal() else datetime.now(UTC)


asof_option = click.option(
    "--asof",
    metavar="MOMENT",
    callback=_moment_or_now,
    help="Judge as of this time instead of now, such as 2031-03-04T07:00-06:00.",
)
"""The moment judged from, passed as ``asof``; without it the clock is asked."""


policy_option = click.option(
    "--policy",
    "policy_path",
    type=click.Path(path_type=Path),
    envvar=VARIABLE,
    show_envvar=True,
    help="Facility policy that replaces published limits. Without it, lda-policy.yaml beside the records is used.",
)
"""Passed as ``policy_path``; `policy_file.in_force` makes the policy of it."""


_LONGEST_SHIFT: Final = 48


def _hours(context: click.Context, option: click.Parameter, value: str | None) -> Decimal | None:
    if value is None:
        return None
    try:
        found = Decimal(value)
    except InvalidOperation:
        found = Decimal(0)
    if not found.is_finite() or not 0 < found <= _LONGEST_SHIFT:
        raise click.BadParameter(
            f"{value!r} is not a number of hours above 0 and at most {_LONGEST_SHIFT}.", context, option
        )
    return found


hours_option = click.option(
    "--hours", metavar="NUMBER", callback=_hours, help="Length of a shift. Default: the policy's."
)
"""The length of a shift, passed as ``hours``, an exact number or None."""


records_argument = click.argument(
    "paths", metavar="FILE|DIR...", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path)
)
"""The records to read, files or folders, passed as ``paths``."""


OVERWRITE: Final = "lda_notes.overwrite"
"""Where the context keeps whether ``--overwrite`` was given."""


def _keep_overwrite(context: click.Context, _: click.Parameter, value: bool) -> None:
    context.meta[OVERWRITE] = value


def _named(_: click.Context, __: click.Parameter, value: Path | None) -> Path | None:
    """Take ``-`` for standard output, as other programs do, rather than for the name of a file."""
    return None if value == Path("-") else value


def out_option(command: Command) -> Command:
    """Add ``--out``: a file to write instead of standard output, passed as ``out``; and ``--overwrite``."""
    overwrite = click.option(
        "--overwrite",
        is_flag=True,
        expose_value=False,
        callback=_keep_overwrite,
        help="Let --out replace a record or a bundle file; never a file that this command reads.",
    )
    out = click.option(
        "--out",
        type=click.Path(path_type=Path, allow_dash=True),
        callback=_named,
        help="File to write, readable by you alone, or the folder to write it to.",
    )
    return out(overwrite(command))


def together(name: str, kind: type[Any], *options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Return what adds ``options`` to a command and passes their values as one: ``name``, a dataclass of ``kind``."""

    def adding(command: Command) -> Command:
        @wraps(command)
        def called(*args: Any, **given: Any) -> Any:
            values = {field: given.pop(field) for field in kind.__dataclass_fields__}
            return command(*args, **{name: kind(**values)}, **given)

        made: Any = called
        for option in reversed(options):
            made = option(made)
        result: Command = made
        return result

    return adding


paper_option = click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Paper size."
)
"""The size of the paper of a page, passed as ``paper``."""


def format_option(*formats: str) -> Callable[[Command], Command]:
    """Return what adds ``--format`` of a sheet, passed as ``form``."""
    says = "Default: by the extension of --out, otherwise text."
    return click.option("--format", "form", type=click.Choice(formats), help=says)
