"""A ward shares its records: three user accounts in one group, killed writers, shares without locks or rights."""

from __future__ import annotations

import json
import os
import random
import signal
import stat
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import made_records as made
import pytest
from click.testing import CliRunner

from lda_notes.cli import group
from lda_notes.files import locks
from lda_notes.files.syntax import read_json
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record import seals, writer
from lda_notes.record.writer import Changed, Seen, Written, append, look, refuse_unless_writable

WARD = 64_300
"""Number of the ward's group; no account on a test machine has it."""
NURSES = (64_301, 64_302, 64_303)
AS_ROOT = os.geteuid() == 0 if hasattr(os, "geteuid") else False


def numbered(number: int) -> dict[str, Any]:
    return {
        "id": f"made-{number}", "kind": "line check", "at": "2026-05-12T12:05-05:00", "remarks": f"look {number}",
    }  # fmt: skip


def small(path: Path, mode: int = 0o660) -> Path:
    path.write_text(json.dumps(made.record(made.needle_event("2024-04-01 09:00")), indent=2, default=float))
    path.chmod(mode)
    return path


@pytest.fixture
def shared() -> Any:
    """A folder of the ward, where every nurse of the group may write, and a record in it."""
    if not AS_ROOT:
        pytest.fail("run the tests as root, as in CI: only root can be three users in turn")
    import shutil
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="ward-"))  # not below pytest's own folder, which others may not enter
    os.chown(folder, NURSES[0], WARD)
    folder.chmod(0o2770)
    record = small(folder / "ep.json")
    os.chown(record, NURSES[0], WARD)
    yield record
    shutil.rmtree(folder)


def as_nurse(number: int, work: Callable[[], None]) -> int:
    """Do ``work`` in a child process under a nurse's account; return the process number.

    The interpreter of the tests may be in a folder that only root enters, so what is loaded late is loaded before.
    """
    seals.digest({"a": 1.5, "b": "c"})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        code = 1
        try:
            os.setgroups([WARD])
            os.setgid(60_000 + number)  # a group of her own
            os.setuid(NURSES[number])
            os.umask(0o077)
            work()
            code = 0
        except BaseException as error:
            print(repr(error), file=sys.stderr, flush=True)
        finally:
            os._exit(code)
    return child


def ended(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def add(path: Path, numbers: range) -> None:
    for number in numbers:
        done = append(look(path), numbered(number), lambda _, n=number: numbered(n))  # type: ignore[misc]  # a default binds the value of now
        assert isinstance(done, Written)


def names(path: Path) -> list[str]:
    episode = records.read(path).episode
    assert episode is not None
    return [event.id for event in episode.events[1:]]


def test_three_nurses_in_turn_and_at_once(shared: Path) -> None:
    for turn in range(6):
        assert ended(as_nurse(turn % 3, lambda turn=turn: add(shared, range(turn, turn + 1)))) == 0  # type: ignore[misc]  # a default binds the value of now
        found = shared.stat()
        assert (found.st_uid, found.st_gid) == (NURSES[turn % 3], WARD) and stat.S_IMODE(found.st_mode) == 0o660
    children = [
        as_nurse(number % 3, lambda number=number: add(shared, range(100 + number * 5, 105 + number * 5)))  # type: ignore[misc]  # a default binds the value of now
        for number in range(6)
    ]
    assert [ended(child) for child in children] == [0] * 6
    assert sorted(names(shared)) == sorted(f"made-{n}" for n in (*range(6), *range(100, 130)))
    assert not [p.name for p in shared.parent.iterdir() if p.name.startswith(".")]


def test_ten_kills_under_three_users_lock_no_one_out(shared: Path) -> None:
    """Each is killed while she has the lock; the next one, of another account, writes at once."""
    chance = random.Random(14)
    for kill in range(10):
        child = as_nurse(kill % 3, lambda kill=kill: add(shared, range(kill * 1000, kill * 1000 + 1000)))  # type: ignore[misc]  # a default binds the value of now
        until = time.monotonic() + 30
        while not list(shared.parent.glob(".*.lda-notes-lock")) and time.monotonic() < until:
            time.sleep(0.001)
        time.sleep(chance.uniform(0, 0.05))
        os.kill(child, signal.SIGKILL)
        assert ended(child) == -signal.SIGKILL
        started = time.monotonic()
        number = 90_000 + kill
        assert ended(as_nurse((kill + 1) % 3, lambda n=number: add(shared, range(n, n + 1)))) == 0  # type: ignore[misc]  # a default binds the value of now
        assert time.monotonic() - started < locks.PATIENCE_S / 2, "no one waits for the dead"
        found = names(shared)
        assert f"made-{number}" in found and len(found) == len(set(found)), "nothing lost, nothing doubled"
        killed = [int(name[5:]) - kill * 1000 for name in found if int(name[5:]) // 1000 == kill]
        assert killed == list(range(len(killed))), "what she wrote before stands whole"


def test_root_keeps_owner_group_and_mode(tmp_path: Path) -> None:
    record = small(tmp_path / "ep.json", 0o640)
    if not AS_ROOT:
        pytest.fail("run the tests as root, as in CI")
    os.chown(record, NURSES[0], WARD)
    assert isinstance(append(look(record), numbered(1)), Written)
    found = record.stat()
    assert (found.st_uid, found.st_gid, stat.S_IMODE(found.st_mode)) == (NURSES[0], WARD, 0o640)


def test_a_group_that_cannot_be_kept_is_told_and_its_rights_go(shared: Path) -> None:
    """The writer may write, but is not of the record's group: another group must not get its rights."""
    os.chown(shared, NURSES[0], 64_399)
    shared.chmod(0o666)

    def write() -> None:
        done = append(look(shared), numbered(1))
        assert isinstance(done, Written) and "its group could not be kept" in done.notes[0]

    assert ended(as_nurse(1, write)) == 0
    assert stat.S_IMODE(shared.stat().st_mode) & 0o070 == 0


def test_hard_links_are_told_of(tmp_path: Path) -> None:
    record = small(tmp_path / "ep.json")
    os.link(record, tmp_path / "mine.json")
    before = record.read_bytes()
    done = append(look(record), numbered(1))
    assert isinstance(done, Written) and "1 other name (a hard link)" in done.notes[0]
    assert (tmp_path / "mine.json").read_bytes() == before
    done = append(look(record), numbered(2))
    assert isinstance(done, Written) and done.notes == ()


def test_a_read_only_share_is_read_and_said_to_be_one(shared: Path) -> None:
    shared.chmod(0o440)
    shared.parent.chmod(0o550)

    def work() -> None:
        for arguments in (["check", str(shared)], ["note", str(shared)], ["handoff", str(shared.parent)]):
            result = CliRunner().invoke(group, [*arguments, "--asof", "2024-04-02T09:00+00:00"], standalone_mode=False)
            assert result.exit_code in (0, 1) and not isinstance(result.exception, Failure), result
        with pytest.raises(Failure, match="you do not have permission to write in this folder"):
            refuse_unless_writable(shared)

    assert ended(as_nurse(1, work)) == 0


def test_a_record_of_someone_else_does_not_end_the_handoff_of_the_ward(shared: Path) -> None:
    closed = small(shared.parent / "closed.json", 0o600)
    os.chown(closed, NURSES[0], WARD)

    def work() -> None:
        arguments = ["handoff", str(shared.parent), "--asof", "2024-04-02T09:00+00:00"]
        result = CliRunner().invoke(group, arguments, standalone_mode=False)
        assert result.return_value == 2 and "closed.json" in result.stdout and "Permission denied" in result.stdout
        assert result.stdout.count("\n") > 20, "the others are handed over"

    assert ended(as_nurse(1, work)) == 0


# -- shares where locks do nothing --


def _no_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks.portalocker, "lock", lambda *_: None)


def test_where_locks_do_nothing_no_written_entry_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _no_locks(monkeypatch)
    record = small(tmp_path / "ep.json")
    told = tmp_path / "told"
    told.mkdir()

    def work(number: int) -> None:
        seen = look(record)
        time.sleep(0.05)
        try:
            done = append(seen, numbered(number), lambda _: numbered(number))
        except Failure:
            return
        if isinstance(done, Written):
            (told / f"made-{number}").touch()

    children = [as_user(lambda number=number: work(number)) for number in range(17)]  # type: ignore[misc]  # a default binds the value of now
    assert [ended(child) for child in children] == [0] * 17
    found = names(record)
    said = {p.name for p in told.iterdir()}
    assert said <= set(found), f"said to be written and lost: {said - set(found)}"
    assert len(found) == len(set(found)), "doubled"
    assert len(said) >= 10, "and most of them got through"


def as_user(work: Callable[[], None]) -> int:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        try:
            work()
            os._exit(0)
        except BaseException as error:
            print(repr(error), file=sys.stderr, flush=True)
        finally:
            os._exit(1)
    return child


def test_an_entry_that_another_writer_replaced_is_not_said_to_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = small(tmp_path / "ep.json")
    other = record.read_bytes()
    take = writer.Part.take

    def overtaken(part: writer.Part, path: Path) -> None:
        take(part, path)
        record.write_bytes(other)  # a writer that looked before and renames after

    monkeypatch.setattr(writer.Part, "take", overtaken)
    done = append(look(record), numbered(1))
    assert isinstance(done, Changed) and record.read_bytes() == other


# -- an editor that saves by rename meanwhile --


@pytest.mark.parametrize("before", ["link", "replace"])
def test_a_save_in_the_window_is_in_the_file_or_in_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: str
) -> None:
    record = small(tmp_path / "ep.json")
    saved = record.read_bytes().replace(b'"record_version"', b'\n"record_version"')
    call = getattr(os, before)
    done_once = []

    def editing(*arguments: Any, **named: Any) -> Any:
        if not done_once:
            done_once.append(1)
            new = tmp_path / "editor~"
            new.write_bytes(saved)
            new.rename(record)
        return call(*arguments, **named)

    monkeypatch.setattr(os, before, editing)
    append(look(record), numbered(1))
    states = [p.read_bytes() for p in tmp_path.iterdir()]
    assert done_once and (saved in states or before == "replace")


def test_failed_writes_leave_the_earlier_states_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = small(tmp_path / "ep.json")
    for number in range(writer.KEPT):
        append(look(record), numbered(number))
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert len(set(before.values())) == writer.KEPT + 1
    for failing in ("replace", "fsync", "link"):
        with monkeypatch.context() as patched:

            def full(*_: Any) -> None:
                raise OSError(28, "No space left on device")

            patched.setattr(os, failing, full)
            for number in range(writer.KEPT):
                if failing == "link":  # a file system without hard links: copied instead
                    continue
                with pytest.raises(Failure, match="No space left"):
                    append(look(record), numbered(100 + number))
        assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_without_hard_links_all_is_as_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: Any) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", none)
    record = small(tmp_path / "ep.json", 0o600)
    before = record.read_bytes()
    done = append(look(record), numbered(1))
    assert isinstance(done, Written) and done.copy.read_bytes() == before
    new = tmp_path / "new.json"
    writer.create(new, b"first")
    with pytest.raises(Failure, match="already exists"):
        writer.create(new, b"second")
    assert new.read_bytes() == b"first" and stat.S_IMODE(new.stat().st_mode) == 0o600


def test_an_old_lock_file_of_another_version_bars_no_one(shared: Path) -> None:
    old = shared.parent / ".ep.json.lock"
    old.touch(0o600)
    assert ended(as_nurse(1, lambda: add(shared, range(1)))) == 0


def test_the_answer_of_a_changed_file_is_asked_again(tmp_path: Path) -> None:
    record = small(tmp_path / "ep.json")
    seen: Seen = look(record)
    append(look(record), numbered(1))
    assert isinstance(append(seen, numbered(2)), Changed)
    assert read_json(record.read_bytes()).faults == ()
