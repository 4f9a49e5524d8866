"""The writer of records: nothing lost, nothing half-written, nobody else's text touched."""

from __future__ import annotations

import json
import os
import random
import signal
import stat
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import made_records as made
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.files import locks, output
from lda_notes.files.locks import locked
from lda_notes.files.syntax import read_json, read_yaml
from lda_notes.files.syntax.text import HIDDEN
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record import writer
from lda_notes.record.seals import sealed
from lda_notes.record.writer import Changed, Written, append, create, look
from lda_notes.record.writer_text import with_event

DEMO = Path(__file__).parents[2] / "demo_episodes" / "uncomplicated-week.yaml"
CHECK = {
    "id": "check-99",
    "kind": "line check",
    "at": "2026-05-12T12:05-05:00",
    "by": {"name": "Marisol Tamm", "credential": "RN"},
    "site": {"skin": "intact", "erythema": "none"},
    "dressing_found": ["intact"],
    "connections_secure": True,
    "pain": 0,
}


def numbered(number: int, at: str = "2026-05-12T12:05-05:00") -> dict[str, Any]:
    return {"id": f"made-{number}", "kind": "line check", "at": at, "pain": number % 11, "remarks": f"look {number}"}


@pytest.fixture
def episode(tmp_path: Path) -> Path:
    path = tmp_path / "episode.yaml"
    path.write_bytes(DEMO.read_bytes())
    return path


def small(path: Path) -> Path:
    """Write a record with one event, so that many appends stay quick."""
    data = made.record(made.needle_event("2024-04-01 09:00"))
    path.write_text(json.dumps(data, indent=2, default=float))
    return path


# -- one event --


def test_what_stood_there_stays_byte_for_byte_and_the_event_is_read_back(episode: Path) -> None:
    before = episode.read_bytes()
    done = append(look(episode), CHECK)
    assert isinstance(done, Written)
    assert episode.read_bytes().startswith(before)
    read = records.read(episode)
    assert read.findings == () and read.episode is not None
    last = read.episode.events[-1]
    assert last.model_dump(mode="json", exclude_unset=True, exclude={"seal"}) == {
        **CHECK,
        "at": "2026-05-12T12:05:00-05:00",
    }


def test_record_and_copy_keep_their_mode_and_nothing_else_is_left(episode: Path) -> None:
    before = episode.read_bytes()
    episode.chmod(0o600)
    done = append(look(episode), CHECK)
    assert isinstance(done, Written)
    assert done.copy.name == "episode.yaml.lda-copy-1" and done.copy.read_bytes() == before
    assert sorted(p.name for p in episode.parent.iterdir()) == ["episode.yaml", "episode.yaml.lda-copy-1"]
    assert {stat.S_IMODE(p.stat().st_mode) for p in episode.parent.iterdir()} == {0o600}


def test_the_last_nine_states_are_kept(tmp_path: Path) -> None:
    path = small(tmp_path / "episode.json")
    states = []
    for number in range(12):
        states.append(path.read_bytes())
        assert isinstance(append(look(path), numbered(number)), Written)
    kept = {int(p.name.rpartition("-")[2]): p.read_bytes() for p in tmp_path.iterdir() if "-copy-" in p.name}
    assert kept == {number + 1: states[number] for number in range(3, 12)}


def test_a_file_that_changed_is_left_alone_and_shown(episode: Path) -> None:
    seen = look(episode)
    assert isinstance(append(look(episode), CHECK), Written)
    between = episode.read_bytes()
    changed = append(seen, numbered(1))
    assert isinstance(changed, Changed)
    assert episode.read_bytes() == between
    assert changed.seen.record.episode is not None
    assert changed.seen.record.episode.events[-1].id == "check-99"
    assert isinstance(append(changed.seen, numbered(1)), Written)
    assert isinstance(append(seen, numbered(2), lambda now: numbered(3)), Written)
    final = records.read(episode).episode
    assert final is not None and [event.id for event in final.events[-3:]] == ["check-99", "made-1", "made-3"]


def test_a_record_reached_by_a_link_is_written_where_it_stands(episode: Path, tmp_path: Path) -> None:
    link = tmp_path / "today.yaml"
    link.symlink_to(episode)
    assert isinstance(append(look(link), CHECK), Written)
    assert link.is_symlink() and b"check-99" in episode.read_bytes()


def test_what_does_not_fit_the_layout_is_never_written(episode: Path) -> None:
    before = episode.read_bytes()
    for bad in ({**CHECK, "pain": 11}, {**CHECK, "unheard": 1}, {k: v for k, v in CHECK.items() if k != "at"}):
        with pytest.raises(Failure, match="could not be read back"):
            append(look(episode), bad)
    assert episode.read_bytes() == before
    assert [p.name for p in episode.parent.iterdir()] == ["episode.yaml"]


def test_a_record_that_cannot_be_read_is_not_added_to(tmp_path: Path) -> None:
    path = tmp_path / "broken.yaml"
    path.write_text("record_version: 1\nevents: [\n")
    with pytest.raises(Failure, match=r"broken.yaml:\d+:\d+: .*nothing was added"):
        look(path)


def test_a_full_disk_or_a_locked_folder_leaves_all_as_it_was(episode: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = episode.read_bytes()
    seen = look(episode)

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Failure, match="No space left on device"):
        append(seen, CHECK)
    assert episode.read_bytes() == before
    assert [p.name for p in episode.parent.iterdir()] == ["episode.yaml"]


def test_a_writer_that_does_not_finish_is_not_waited_for_without_end(episode: Path) -> None:
    with (
        locked(episode),
        pytest.raises(Failure, match="another program is writing"),
        locked(episode, patience_s=0.05),
    ):
        raise AssertionError("two writers at once")
    with locked(episode):
        pass


def test_a_new_record_never_takes_the_place_of_another(tmp_path: Path) -> None:
    path = tmp_path / "new.yaml"
    create(path, b"first")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(Failure, match="already exists"):
        create(path, b"second")
    assert path.read_bytes() == b"first"
    assert [p.name for p in tmp_path.iterdir()] == ["new.yaml"]


# -- any way of writing the list of events --

LAYOUTS: dict[str, bytes] = {
    "empty, with a comment": b"record_version: 1\nevents: []  # none yet\nport: {id: a}\n",
    "dashes at the margin, a note for the next key": b"events:\n- {id: a}\n# of a\n\n# on the port\nport: {id: a}",
    "in brackets": b"record_version: 1\nevents: [{id: a}, {id: b}] # two\nport: {id: a}\n",
    "Windows row ends, a text over rows": (
        b"x: 1\r\nevents:\r\n  - id: a\r\n    r: |\r\n      t\r\n      # u\r\n    # v\r\ny: 2"
    ),
    "wide dashes, no end of row": b"record_version: 1\nevents:\n  -   id: a\n      x: [1, 2]",
    "an end mark": b"record_version: 1\nevents:\n  - id: a\n...\n",
    "a text that keeps its empty rows": b"events:\n  - id: a\n    r: |+\n      t\n\n\nport: {id: a}\n",
    "in brackets, a comma at the end": b"events: [\n  {id: a},\n  {id: b},\n]\nport: {id: a}\n",
    "in brackets, a comment after the last": b"events: [\n  {id: a},\n  {id: b} # two, the last\n]\nport: {id: a}\n",
    "in brackets, a comment after its comma": b"events: [\n  {id: a}, # the last\n  # no more\n ]\nport: {id: a}\n",
    "in brackets, empty over rows": b"events: [\n  # none yet\n]\nport: {id: a}\n",
    "brackets in texts": b"events: [{id: 'a]'}, {id: \"]\"}]\nport: {id: ']'}\n",
    "numbers spelt out": b"events:\n  - {id: a, v: 2.50}\n  - {id: b, v: 1e2}\n",
    "all in braces": b'{"record_version": 1, "events": [{"id": "a"}], "port": {"id": "x"}}\n',
    "beyond the Latin letters": "events:\n  - {id: a, name: Zoë Þórsdóttir, note: 注意}\n".encode(),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_event_goes_behind_the_last_one_whatever_the_layout(layout: str) -> None:
    raw = LAYOUTS[layout]
    new = with_event(raw, CHECK, as_json=False)
    old, read = read_yaml(raw), read_yaml(new)
    assert old.data is not None and read.data is not None
    added = read.data["events"].pop()
    assert read.data == old.data
    assert added == {**CHECK, "connections_secure": "yes"}
    assert _is_kept(raw, new), "bytes of the owner were lost"


def _is_kept(raw: bytes, new: bytes) -> bool:
    """Tell whether all of ``raw`` but an empty pair of brackets stands in ``new``, in order, around one insertion."""
    raw = raw.replace(b" []", b"")
    head = next((at for at, (a, b) in enumerate(zip(raw, new, strict=False)) if a != b), len(raw))
    return new.endswith(raw[head:]) and len(new) > len(raw)


@pytest.mark.parametrize("indent", [None, 1, 2, 4, "\t"])
@pytest.mark.parametrize("events", [[], [{"id": "a"}], [{"id": "a"}, {"id": "b", "x": [{"y": "]"}]}]])
def test_json_keeps_its_margins(indent: Any, events: list[Any]) -> None:
    data = {"record_version": 1, "events": events, "z": [1.5]}
    raw = json.dumps(data, indent=indent).encode()
    new = with_event(raw, CHECK, as_json=True)
    assert json.loads(new) == {**data, "events": [*events, CHECK]}
    assert read_json(new).faults == ()
    if events and indent is not None:
        assert new.decode() == json.dumps({**data, "events": [*events, CHECK]}, indent=indent)


SEEN = st.characters(exclude_categories=["Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"])
TEXT = st.text(SEEN, min_size=1, max_size=60).filter(lambda text: not HIDDEN.search(text))
VALUE = st.recursive(
    TEXT | st.integers(-9999, 9999) | st.booleans() | st.floats(0, 1e6, allow_nan=False).map(lambda x: round(x, 3)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(TEXT, VALUE, min_size=1, max_size=5), st.sampled_from(sorted(LAYOUTS)))
def test_any_value_is_read_back_as_it_was_given(event: dict[str, Any], layout: str) -> None:
    with_event(LAYOUTS[layout], event, as_json=False)  # raises when the text read back says anything else
    read = read_yaml(with_event(LAYOUTS[layout], event, as_json=False))
    assert read.data is not None and read.faults == ()
    assert _as_yaml(event) == read.data["events"][-1]


def _as_yaml(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return {key: _as_yaml(inner) for key, inner in value.items()}
    return [_as_yaml(inner) for inner in value] if isinstance(value, list) else value


# -- many writers at once --

PROCESSES, EVENTS = 20, 60


def _append_some(path: Path, first: int, count: int) -> None:
    for number in range(first, first + count):
        done = append(look(path), numbered(number), lambda _, n=number: numbered(n))  # type: ignore[misc]  # a default binds the value of now
        assert isinstance(done, Written)


@pytest.mark.parametrize("name", ["episode.yaml", "episode.json"])
def test_twenty_writers_lose_nothing_and_a_reader_sees_no_broken_state(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locks, "PATIENCE_S", 300.0)  # nothing lost is the claim; how fast the machine is, is not
    path = small(tmp_path / name)
    each = EVENTS // PROCESSES
    children = [_forked(lambda start=start: _append_some(path, start, each)) for start in range(0, EVENTS, each)]  # type: ignore[misc]  # a default binds the value of now
    seen: list[int] = []
    while children:
        children = [child for child in children if not _ended_well(child)]
        read = records.read(path)
        assert read.episode is not None and read.findings == ()
        seen.append(len(read.episode.events))
        time.sleep(0.005)
    final = records.read(path).episode
    assert final is not None
    assert sorted(event.id for event in final.events[1:]) == sorted(f"made-{n}" for n in range(EVENTS))
    assert seen == sorted(seen) and len(set(seen)) > 2, "the reader looked while they wrote, and nothing went back"
    assert not [p.name for p in tmp_path.iterdir() if p.name.startswith(".")]


def _forked(work: Callable[[], None]) -> int:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # the test runner may have threads; the child needs none
        child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException as error:
            print(repr(error), file=sys.stderr, flush=True)
        finally:
            os._exit(code)
    return child


def _ended_well(child: int) -> bool:
    ended, status = os.waitpid(child, os.WNOHANG)
    if ended:
        assert os.waitstatus_to_exitcode(status) == 0
    return bool(ended)


# -- writers killed --


def _states(path: Path) -> tuple[bytes, bytes]:
    old = path.read_bytes()
    return old, with_event(old, sealed(read_yaml(old).data or {}, CHECK), as_json=False)


def test_a_writer_killed_at_any_moment_leaves_the_old_state_or_the_new(episode: Path) -> None:
    old, new = _states(episode)
    look(episode)  # so that children find every module in memory
    started = time.perf_counter()
    spare = episode.with_name("spare.yaml")
    spare.write_bytes(old)
    append(look(spare), CHECK)
    whole = time.perf_counter() - started
    chance = random.Random(6)
    outcomes: list[bytes] = []
    for _ in range(100):
        episode.write_bytes(old)
        child = _forked(lambda: append(look(episode), CHECK) and None)
        time.sleep(chance.uniform(0, whole))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        outcomes.append(episode.read_bytes())
        assert outcomes[-1] in (old, new)
        whole *= 1.1 if outcomes[-1] == old else 0.9  # the machine may be slow at one time and quick at another
    assert {old, new} == set(outcomes), "the moments were spread over the whole of the writing"
    episode.write_bytes(old)
    output._cleared.clear()  # as in the next run of the program, which looks once for what was left behind
    assert isinstance(append(look(episode), CHECK), Written), "nothing left behind stands in the way"
    assert not [p.name for p in episode.parent.iterdir() if p.name.startswith(".")]


CALLS = ("open", "write", "fsync", "replace", "link", "unlink", "close", "lstat", "listdir", "fdopen")


def test_a_writer_killed_before_each_single_step_leaves_the_old_state_or_the_new(episode: Path) -> None:
    old, new = _states(episode)
    outcomes: list[bytes] = []
    for step in range(1, 200):
        episode.write_bytes(old)
        child = _forked(lambda step=step: _killed_before(episode, step))  # type: ignore[misc]  # a default binds the value of now
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        outcomes.append(episode.read_bytes())
        assert outcomes[-1] in (old, new)
        if status == 0:
            break
        assert status == -signal.SIGKILL
    assert status == 0 and outcomes[-1] == new
    turn = outcomes.index(new)
    assert len(outcomes) > 15 and set(outcomes[:turn]) == {old} and set(outcomes[turn:]) == {new}


def _killed_before(path: Path, step: int) -> None:
    left = step

    def counted(call: Any) -> Any:
        def counting(*arguments: Any, **named: Any) -> Any:
            nonlocal left
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*arguments, **named)

        return counting

    seen = look(path)
    for name in CALLS:
        setattr(os, name, counted(getattr(os, name)))
    append(seen, CHECK)


def test_the_lock_falls_with_its_process(episode: Path) -> None:
    holds = """
import sys, time
from pathlib import Path
from lda_notes.files.locks import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""
    with subprocess.Popen([sys.executable, "-c", holds, episode], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stdout.readline() == "held\n"
        with pytest.raises(Failure), locked(episode, patience_s=0.05):
            pass
        process.kill()
    with locked(episode, patience_s=5):
        pass


def test_the_copies_never_collide_with_other_names(episode: Path) -> None:
    mine = ("episode.yaml.x", "episode.yaml.01", "episode.yaml.20260501", *(f"episode.yaml.{n}" for n in range(1, 15)))
    for name in mine:  # some of them are copies that an earlier version of the program made
        (episode.parent / name).write_text(name)
    for number in range(writer.KEPT + 3):
        assert isinstance(append(look(episode), numbered(number)), Written)
    assert all((episode.parent / name).read_text() == name for name in mine)
