"""Every command explains itself with an example that is a command."""

from __future__ import annotations

import re
import shlex

import click
import pytest
from click.testing import CliRunner

from lda_notes.cli import COMMANDS, group


@pytest.mark.parametrize("name", COMMANDS)
def test_every_commands_help_has_an_example_of_that_command(name: str) -> None:
    ran = CliRunner().invoke(group, [name, "--help"])
    assert ran.exit_code == 0, ran.output
    text = " ".join(ran.output.split())
    found = re.search(r"Example: (lda-notes .*?)(?= Options:| Arguments:|$)", text)
    assert found, ran.output
    program, command, *rest = shlex.split(found[1])
    assert (program, command) == ("lda-notes", name)
    made = group.get_command(click.Context(group), name)
    assert made is not None
    known = {option for parameter in made.params for option in (*parameter.opts, *parameter.secondary_opts)}
    given = {word.partition("=")[0] for word in rest if word.startswith("--")}
    assert given <= known | {"--help"}, f"the example uses options that {name} does not have"


def test_the_programs_own_help_has_an_example_and_names_every_command() -> None:
    ran = CliRunner().invoke(group, ["--help"])
    assert "Example: lda-notes " in ran.output
    for name, summary in COMMANDS.items():
        assert re.search(rf"^  {re.escape(name)}\s+{re.escape(summary.split()[0])}", ran.output, re.MULTILINE), name


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_explained(name: str) -> None:
    made = group.get_command(click.Context(group), name)
    assert made is not None
    silent = [
        option.name
        for option in made.params
        if isinstance(option, click.Option) and not option.help and not _plain(option)
    ]
    assert silent == []


def _plain(option: click.Option) -> bool:
    """A choice with its default shown needs no words."""
    return isinstance(option.type, click.Choice) and option.show_default is True
