"""A kind is one class, one template and one demo row: every table that is left is walked with every kind."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest
import yaml

from lda_notes.check.needs import NEEDS
from lda_notes.documents.note.due import DUE_SHOWN
from lda_notes.fhir.concepts import CONCEPTS
from lda_notes.fhir.kinds import ACTS, PANELS_OF
from lda_notes.line.corrections import SAME_MINUTE
from lda_notes.record import events as ev
from lda_notes.record.events import KINDS

ROOT = Path(__file__).parents[2]
SHAPES = (ev.Opening, ev.Closing, ev.Tending, ev.Observing, ev.Moving, ev.Correcting)


def test_kinds_are_found() -> None:
    assert len(KINDS) >= 23
    assert {kind.__name__ for kind in KINDS.values()} == {
        name for name, one in vars(ev).items() if isinstance(one, type) and "kind" in getattr(one, "model_fields", {})
    }, "a kind that AnyEvent leaves out"


@pytest.mark.parametrize("tag", KINDS)
def test_a_kind_says_all_of_itself(tag: str) -> None:
    kind = KINDS[tag]
    assert sum(issubclass(kind, shape) for shape in SHAPES) == 1, "exactly one shape"
    assert kind.titled and kind.stem and kind.noun and kind.asks and kind.__doc__
    assert set(kind.asks) <= set(kind.model_fields)
    assert kind.command or issubclass(kind, ev.Correcting), "charted by its command, or as a correction"
    assert get_args(kind.model_fields["kind"].annotation) == (tag,)
    assert (ROOT / "note_templates" / f"{tag.replace(' ', '-')}.jinja").is_file()
    assert NEEDS[tag] and SAME_MINUTE[tag] == kind.rank and tag in PANELS_OF


@pytest.mark.parametrize("word", ["rank", "titled", "stem"])
def test_no_two_kinds_say_the_same_of_themselves(word: str) -> None:
    said = [getattr(kind, word) for kind in KINDS.values()]
    assert len(said) == len(set(said))


def test_no_two_kinds_have_one_command() -> None:
    said = [kind.command for kind in KINDS.values() if kind.command]
    assert len(said) == len(set(said)) >= 19


def test_tables_name_no_kind_that_there_is_not() -> None:
    assert set(DUE_SHOWN) <= set(KINDS) and set(ACTS) <= set(KINDS)
    assert all(act.procedure in CONCEPTS and act.action in CONCEPTS for act in ACTS.values())


def test_every_kind_is_in_a_demo() -> None:
    found = {
        event["kind"]
        for path in (ROOT / "demo_episodes").glob("*.yaml")
        for event in yaml.safe_load(path.read_text())["events"]
    }
    assert found == set(KINDS) - {"port implanted", "port removed"}, "surgery is told by cases and goldens alone"


@pytest.mark.parametrize("tag", KINDS)
def test_observations_of_one_event_have_names_of_their_own(tag: str) -> None:
    roles = [panel.role for panel in PANELS_OF[tag]]
    assert len(roles) == len(set(roles))
