"""Common parts of the commands that write entries: who charts, what is given beforehand, what time it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from lda_notes.commands.printing import say
from lda_notes.files.system import contents
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import Failure

BY_VARIABLE: Final = "LDA_NOTES_BY"
"""Environment variable that names who charts."""

Command = TypeVar("Command", bound=Callable[..., Any])


def charting_options(command: Command) -> Command:
    """Add what `chart`, `amend` and `new` share: answers given beforehand, no questions, the signature."""
    pairs = click.option(
        "--set",
        "pairs",
        multiple=True,
        metavar="NAME=VALUE",
        help="One answer; may be repeated. Other users of this machine can see it in the list of processes, and the "
        "shell may keep it: use --answers for anything that identifies a patient.",
    )
    answers = click.option(
        "--answers",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        help="Answers by name, YAML or JSON, as they would be typed.",
    )
    no_input = click.option("--no-input", is_flag=True, help="Ask nothing; fail with a list of what is missing.")
    sign = click.option("--sign", metavar="INITIALS", help="Sign with these initials, or y, instead of being asked.")
    return pairs(answers(no_input(sign(command))))


by_option = click.option(
    "--by",
    metavar="NAME,ROLE,ID",
    envvar=BY_VARIABLE,
    show_envvar=True,
    help="Who did it and signs; add 'new' at the end if new to the procedure.",
)
"""Who charts and signs, passed as ``by``."""


def wall_clock() -> datetime:
    """Return what time it is on this machine: the time of entry of what is signed now, whatever ``--asof`` says."""
    return datetime.now(UTC).replace(second=0, microsecond=0)


def clock(asof: datetime) -> Callable[[], datetime]:
    """Return what gives the moment judged from: the one given with ``--asof``, else the clock."""
    source = click.get_current_context().get_parameter_source("asof")
    if source is click.core.ParameterSource.DEFAULT:
        return wall_clock
    return lambda: asof


def judged_from(asof: datetime) -> datetime | None:
    """Return the moment given with ``--asof`` when it is not the time of entry; it is kept in the seal."""
    return None if clock(asof)() == wall_clock() else asof


def author(by: str | None, policy: Policy) -> Mapping[str, Any]:
    """Return who charts, as given by option or environment. Raises `Failure` when that cannot be read.

    On a login that several nurses share the environment names no one: who signs is asked.
    """
    source = click.get_current_context().get_parameter_source("by")
    if by and source is click.core.ParameterSource.ENVIRONMENT and policy.choice("login_shared") == "yes":
        say(f"Several nurses share this login: who signs is asked; {BY_VARIABLE} is not used.", err=True)
        return {}
    from lda_notes.chart.answers.heard import Unclear
    from lda_notes.chart.answers.values import person
    from lda_notes.files.syntax.text import HIDDEN

    if not by:
        return {}
    if HIDDEN.search(by):
        raise Failure("--by: contains a character that cannot be seen; type it again")
    found = person(by)
    if isinstance(found, Unclear):
        raise Failure(f"--by: {found.sentence}")
    return {"by": found.value}


def said_author(facts: Mapping[str, Any]) -> str:
    """Return who charts, as it is said."""
    by = facts.get("by") or {}
    return ", ".join(by[key] for key in ("name", "credential", "id") if by.get(key))


def given(pairs: tuple[str, ...], file: Path | None, at: str | None = None) -> dict[str, str]:
    """Return the answers given beforehand: of the file, then of the options."""
    answers = from_file(file) if file is not None else {}
    answers.update(from_options(pairs))
    if at is not None:
        answers["at"] = at
    return answers


def from_options(pairs: tuple[str, ...]) -> dict[str, str]:
    """Return the answers of ``NAME=VALUE`` options. Raises `Failure` for what is not such a pair."""
    found: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name.strip():
            raise Failure(f"{pair!r} is not NAME=VALUE, such as needle.gauge=20")
        found[name.strip()] = value.strip()
    return found


def from_file(path: Path) -> dict[str, str]:
    """Read a file of answers: a mapping, YAML or JSON, from names to answers. Raises `Failure` with every fault."""
    from lda_notes.files.syntax import MAX_BYTES, read_json, read_yaml

    try:
        raw = contents(path, MAX_BYTES + 1)
    except OSError as error:
        raise Failure(f"{path}: cannot be read ({error.strerror}); check the name and the permissions") from None
    parsed = read_json(raw) if path.suffix.lower() == ".json" else read_yaml(raw)
    if parsed.faults or parsed.data is None:
        raise Failure("\n".join(f"{path}:{f.row}:{f.column}: {f.message}; {f.todo}" for f in parsed.faults))
    return dict(_flat(parsed.data, ""))


def _flat(data: Mapping[str, Any], head: str) -> Iterator[tuple[str, str]]:
    for key, value in data.items():
        name = f"{head}{key}"
        match value:
            case {"not_assessed": reason} | {"not_done": reason}:
                yield name, f"- {reason}"
            case Mapping():
                yield from _flat(value, f"{name}.")
            case list() if any(isinstance(item, Mapping) for item in value):
                yield from _flat({str(at): item for at, item in enumerate(value)}, f"{name}.")
            case list():
                yield name, ", ".join(str(item) for item in value)
            case bool():
                yield name, "yes" if value else "no"
            case None:
                yield name, "."
            case _:
                yield name, str(value)
