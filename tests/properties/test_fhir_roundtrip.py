"""Any valid record becomes bundles that pass verification, and the bundles become the same record again."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

import strategies
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.build.papers import Note
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.elements import to_json
from lda_notes.fhir.readback.differences import differences
from lda_notes.fhir.readback.reading import readback
from lda_notes.fhir.verify.verification import verify
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import Timeline, build
from lda_notes.record.episode import Episode

sys.path.append(str(Path(__file__).parents[1] / "fhir"))
from fhir_server_model import Server

# Shrinking a whole record takes minutes and helps little: the failing one is printed as it is.
quick = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    report_multiple_bugs=False,
)
ASOF = datetime(2026, 6, 1, tzinfo=UTC)
SYSTEM = "https://made.example/record-number"


def built(episode: Episode, options: Options | None = None) -> list[dict[str, Any]]:
    line = build(episode, DEFAULT, ASOF)
    return [json.loads(to_json(one.bundle), parse_float=Decimal) for one in bundles(line, DEFAULT, CONFIG, options)]


def short_note(stood: Timeline, event: str, earlier: int = 0) -> Note:
    """A note that costs nothing; the real ones are tried on the demos."""
    return Note("Note", f"{event} of {len(stood.episode.events)} events, {stood.asof.isoformat()}")


def _without_blank_texts(value: Any) -> Any:
    match value:
        case dict():
            return {key: _without_blank_texts(held) for key, held in value.items()}
        case list():
            return [_without_blank_texts(held) for held in value]
        case str() if not value.strip():
            return "blank"
        case _:
            return value


@st.composite
def episodes(draw: st.DrawFn) -> Episode:
    """Records whose patient has a number that may stand in an address, and without texts of blanks alone.

    FHIR has no text of blanks alone: a test of the command shows how such a record is refused.
    """
    made = _without_blank_texts(draw(strategies.episodes()))
    identifiers = made["patient"]["identifiers"]
    for number, one in enumerate(identifiers):
        one["system"] = f"{SYSTEM}/{number}"
        one["value"] = f"MD-{number}"
    episode = strategies.read(made).episode
    assert episode is not None
    return episode


@quick
@given(episodes(), st.booleans())
def test_bundles_of_any_record_are_sound_and_read_back(episode: Episode, with_context: bool) -> None:
    made = built(episode, Options(with_context=with_context))
    assert [str(fault) for bundle in made for fault in verify(bundle)] == []
    if not made:
        return
    (read,) = readback(made, CONFIG).episodes
    assert read.remarks == ()
    assert read.episode is not None
    assert differences(episode, read.episode) == ()


@quick
@given(episodes(), st.randoms(use_true_random=False))
def test_bundles_of_any_record_in_any_order_end_in_the_same_state(episode: Episode, chance: Random) -> None:
    bundles = built(episode, Options(notes=short_note))
    assert [str(fault) for bundle in bundles for fault in verify(bundle)] == []
    expected = Server()
    for bundle in bundles:
        expected.transact(bundle)
    shuffled = [*bundles, *chance.sample(bundles, len(bundles) // 2)]
    chance.shuffle(shuffled)
    server = Server()
    for bundle in shuffled:
        server.transact(bundle)
    assert server.state() == expected.state()
