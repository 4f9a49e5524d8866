"""What holds of the timeline of any record: order in the file means nothing, nothing is lost, holds end by name."""

from __future__ import annotations

import random
from collections import Counter
from datetime import datetime, timedelta
from typing import Any

from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from strategies import CORRECTIONS, episodes, event_of, read

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.line.corrections import Entry
from lda_notes.line.holds import CLEARING_DECISIONS
from lda_notes.line.states import State
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode

SLOW = settings(
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    max_examples=60,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
ASOF = datetime.fromisoformat("2026-05-20T09:00+00:00")


def episode_of(data: dict[str, Any]) -> Episode:
    episode = read(data).episode
    assert episode is not None
    return episode


def built(data: dict[str, Any]) -> Timeline:
    return timeline.build(episode_of(data), DEFAULT, ASOF)


def without_positions(value: Any) -> Any:
    """A value of the timeline without where its events stand in the file."""
    if isinstance(value, Entry):
        return (
            value.event.model_dump_json(),
            value.original.model_dump_json(),
            tuple(change.id for change in value.corrections),
            value.retraction.id if value.retraction else None,
        )
    if isinstance(value, tuple):
        return tuple(map(without_positions, value))
    if isinstance(value, dict):
        return {key: without_positions(inner) for key, inner in value.items()}
    names = getattr(value, "__slots__", ()) if hasattr(type(value), "__dataclass_fields__") else ()
    return (type(value).__name__, *(without_positions(getattr(value, name)) for name in names)) if names else value


def told(line: Timeline) -> tuple[Any, ...]:
    parts = (line.entries, line.steps, line.retracted, line.corrections, line.units, line.discharge)
    stays = (line.needles, line.dressings, line.holds, line.dwells)
    return without_positions((*parts, *map(dict, stays)))  # type: ignore[no-any-return]  # the helper is untyped


@SLOW
@given(episodes(most=7), st.randoms(use_true_random=False))
def test_shuffled_events_give_the_same_timeline(data: dict[str, Any], rng: random.Random) -> None:
    shuffled = {**data, "events": rng.sample(data["events"], len(data["events"]))}
    assert told(built(data)) == told(built(shuffled))


@SLOW
@given(episodes(most=7))
def test_every_event_is_in_one_list_and_one_only(data: dict[str, Any]) -> None:
    line = built(data)
    listed = [entry.index for entry in (*line.entries, *line.retracted, *line.corrections)]
    kept = [entry.index for entry in line.entries if not isinstance(entry.event, ev.Correcting)]
    if line.corrections:
        assert sorted(listed) == list(range(len(data["events"])))
        assert len(kept) == len(line.entries)
    else:
        assert sorted(kept) == list(range(len(data["events"])))
    withdrawn = {event["of"] for event in data["events"] if event["kind"] == "retraction"}
    assert {entry.event.id for entry in line.retracted} <= withdrawn
    assert not withdrawn & {entry.event.id for entry in line.entries}
    assert Counter(entry.event.id for entry in line.retracted).total() == len(line.retracted)


@SLOW
@given(episodes(most=8))
def test_a_hold_ends_only_where_something_is_recorded_that_ends_it(data: dict[str, Any]) -> None:
    line = built(data)
    for septum in line.episode.port.septa:
        for step in line.course(septum):
            kept = {hold.reason: hold.began for hold in step.after.holds}
            for hold in step.before.holds:
                if hold.reason in kept:
                    assert kept[hold.reason] == hold.began  # it never begins again
        for hold in line.holds[septum]:
            if hold.ended is None:
                continue
            assert hold.began.event.at <= hold.ended.event.at
            event = hold.ended.event
            match hold.how:
                case "evaluation":
                    assert isinstance(event, ev.Evaluation) and event.decision in CLEARING_DECISIONS
                case "port removed":
                    assert isinstance(event, ev.PortRemoved)
                case "tip confirmed":
                    assert "tip confirmed" in hold.ends_by
                case _:
                    assert isinstance(event, ev.Proved) and set(hold.ends_by) & {"proof", "new access", "treatment"}


def states(line: Timeline, moment: datetime) -> list[State]:
    return [without_positions(line.state_at(septum, moment)) for septum in line.episode.port.septa]


@SLOW
@given(episodes(most=6), st.sampled_from([k for k in ev.KINDS if k not in CORRECTIONS]), st.data())
def test_a_later_event_never_changes_an_earlier_state(data: dict[str, Any], kind: str, drawn: st.DataObject) -> None:
    assume(data["events"])
    line = built(data)
    moments = [entry.event.at for entry in line.entries]
    assume(moments)
    last = max(moments)
    later = drawn.draw(event_of(kind))
    later.update(id="later", at=(last + timedelta(minutes=2)).isoformat())
    if "septum" in later:
        later["septum"] = drawn.draw(st.sampled_from(line.episode.port.septa))
    # An implantation as the first such event says that there was no port before it: that it may change.
    ports = [entry for entry in line.entries if isinstance(entry.event, ev.PortImplanted | ev.PortRemoved)]
    assume(kind != "port implanted" or ports)
    longer = built({**data, "events": [later, *data["events"]]})
    for moment in [*moments, last + timedelta(minutes=1)]:
        assert states(line, moment) == states(longer, moment)
