"""The outbox and its receipts: private, in order, once, whole or not at all."""

from __future__ import annotations

import errno
import json
import os
import stat
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from lda_notes.files import output
from lda_notes.problems import Failure
from lda_notes.sending import outbox as outboxes
from lda_notes.sending import receipts as receipt_files
from lda_notes.sending.outbox import Outbox
from lda_notes.sending.parcel import Damaged, Parcel, from_bytes
from lda_notes.sending.receipts import Held, Receipt, Receipts

A, B = "https://a.example/fhir", "https://b.example/fhir"
AT = datetime(2031, 3, 4, 9, 0, tzinfo=UTC)


def parcel(words: str, about: str | None = None, server: str | None = None) -> Parcel:
    return Parcel(json.dumps({"patient": words}).encode(), about, "ward/Doe.yaml", (3, 9), (1,), server=server)


def bundles(slips: list[outboxes.Slip], box: Outbox) -> list[str]:
    found = [box.take(slip) for slip in slips]
    return [json.loads(one.bundle)["patient"] for one in found if one is not None]


# -- parcels --


def test_a_parcel_comes_back_byte_by_byte() -> None:
    made = Parcel(
        b'{"a": 2.50,\n "b": "\xc3\xa9"}', "week/access-1", "a.yaml", (1, 0, 7), (2,), ("Task",), ("Device",), A
    )
    found = from_bytes(made.to_bytes())
    assert found == made
    assert found.digest == made.digest
    assert [found.row(entry) for entry in (None, 0, 1, 2, 3, -1)] == [None, 1, None, 7, None, None]
    assert made.to(B).server == B


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: data[:-1],
        lambda data: data.replace(b"Doe", b"Roe"),
        lambda data: b"",
        lambda data: b"[]\n{}",
        lambda data: data.replace(b'"parcel": 1', b'"parcel": 2'),
        lambda data: data[: len(data) // 2],
    ],
)
def test_a_damaged_parcel_is_noticed(damage: Callable[[bytes], bytes]) -> None:
    data = Parcel(b'{"name": "Doe"}').to_bytes()
    assert from_bytes(data).bundle
    with pytest.raises(Damaged):
        from_bytes(damage(data))


# -- privacy --


def test_everything_is_private_and_no_name_tells_anything(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        box = Outbox(tmp_path / "deep" / "outbox")
        box.put([parcel("Doe", "week/access-1")])
        box.receipts().add(Receipt("d", A, "week/access-1", AT, ()))
        box.refuse(box.waiting()[0], "no")
        with box.draining():
            pass
    finally:
        os.umask(old)
    found = sorted(box.folder.rglob("*"))
    assert len(found) == 7
    for path in (box.folder, *found):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path
        assert "Doe" not in path.name
        assert "week" not in path.name


@pytest.mark.parametrize("mode", [0o750, 0o705, 0o755, 0o777, 0o710])
def test_an_outbox_that_others_can_look_into_is_refused(tmp_path: Path, mode: int) -> None:
    Outbox(tmp_path / "box")
    (tmp_path / "box").chmod(mode)
    with pytest.raises(Failure, match="others may look into it; forbid that with chmod 700"):
        Outbox(tmp_path / "box")


def test_what_cannot_be_an_outbox_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    (tmp_path / "real").mkdir(mode=0o700)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    for name in ("file", "link", "file/below"):
        with pytest.raises(Failure):
            Outbox(tmp_path / name)


def test_somebody_elses_outbox_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Outbox(tmp_path / "box")
    other = os.geteuid() + 1
    monkeypatch.setattr(os, "geteuid", lambda: other)
    with pytest.raises(Failure, match="belongs to somebody else"):
        Outbox(tmp_path / "box")


# -- order and replacing --


def test_parcels_wait_in_the_order_in_which_they_came(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel(f"{n}") for n in range(12)])
    box.put([parcel(f"{n}") for n in range(12, 15)])
    assert bundles(Outbox(tmp_path / "box").waiting(), box) == [str(n) for n in range(15)]
    assert [slip.number for slip in box.waiting()] == list(range(1, 16))


def test_the_same_parcel_waits_once(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    first = box.put([parcel("a"), parcel("b")])
    assert box.put([parcel("b"), parcel("a"), parcel("a")]) == [first[1], first[0], first[0]]
    assert bundles(box.waiting(), box) == ["a", "b"]
    box.put([parcel("a", server=A)])
    assert bundles(box.waiting(), box) == ["a", "b", "a"]


def test_a_newer_parcel_about_the_same_entry_takes_the_place_of_an_older_one(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("old", "e/1", A), parcel("kept", "e/2", A), parcel("elsewhere", "e/1", B), parcel("nameless")])
    box.refuse(box.waiting()[1], "no")
    box.put([parcel("new", "e/1", A), parcel("nameless too")])
    assert bundles(box.waiting(), box) == ["elsewhere", "nameless", "new", "nameless too"]
    assert bundles(box.set_aside(), box) == ["kept"]
    box.put([parcel("better", "e/2", A)])
    assert box.set_aside() == []
    assert list((box.folder / "set-aside").iterdir()) == []
    assert bundles(box.waiting(), box)[-1] == "better"


def test_a_parcel_taken_out_meanwhile_is_no_fault(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [old] = box.put([parcel("old", "e/1")])
    box.put([parcel("new", "e/1")])
    assert box.take(old) is None
    box.done(old)
    box.refuse(old, "no")
    assert box.set_aside() == []
    assert list((box.folder / "set-aside").iterdir()) == []


def test_what_was_refused_lies_aside_with_the_reason_and_can_wait_again_in_its_place(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel(name, server=server) for name, server in (("a", A), ("b", B), ("c", None), ("d", A))])
    for slip in box.waiting()[:3]:
        to = box.refuse(slip, f"reason {slip.number}")
        assert to.with_name(to.name + ".reason.txt").read_text() == f"reason {slip.number}"
    assert bundles(box.waiting(), box) == ["d"]
    assert [slip.number for slip in box.put_back(A)] == [1, 3]
    assert bundles(box.waiting(), box) == ["a", "c", "d"]
    assert [slip.number for slip in box.set_aside()] == [2]
    assert len(list((box.folder / "set-aside").iterdir())) == 2


def test_numbers_go_on_after_what_lies_aside(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("a"), parcel("b")])
    box.refuse(box.waiting()[1], "no")
    box.done(box.waiting()[0])
    [slip] = box.put([parcel("c")])
    assert slip.number == 3


def test_foreign_files_are_left_alone(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    strange = box.folder / "waiting" / "readme"
    strange.write_text("x")
    box.put([parcel("a")])
    assert len(box.waiting()) == 1
    assert strange.exists()


def test_a_damaged_head_is_seen_at_its_turn(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [slip] = box.put([parcel("a", "e/1")])
    slip.path.write_bytes(b"\xff\xfe")
    [found] = box.waiting()
    assert (found.digest, found.about) == ("", None)
    with pytest.raises(Damaged):
        box.take(found)


# -- full disks and crashes --


def left(box: Outbox) -> list[str]:
    return sorted(path.name for path in (box.folder / "waiting").iterdir())


def test_all_parcels_are_put_in_or_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("first", "e/1")])
    before = left(box)
    real, written = output.os.fsync, []

    def full(descriptor: int) -> None:
        written.append(descriptor)
        if len(written) > 4:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(output.os, "fsync", full)
    with pytest.raises(Failure, match="No space left on device"):
        box.put([parcel(f"{n}", f"e/{n}") for n in range(1, 9)])
    monkeypatch.undo()
    assert left(box) == before
    assert bundles(box.waiting(), box) == ["first"]


FULL = """
    import resource, signal, sys
    from pathlib import Path
    from lda_notes.problems import Failure
    from lda_notes.sending.outbox import Outbox
    from lda_notes.sending.parcel import Parcel
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
    box = Outbox(Path(sys.argv[1]))
    try:
        box.put([Parcel(b"small"), Parcel(b"x" * 9000)])
    except Failure as failure:
        print(failure)
"""


def run(program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(program), *arguments], capture_output=True, text=True, check=False
    )


def test_a_file_that_may_not_grow_leaves_nothing_behind(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    done = run(FULL, str(box.folder))
    assert "cannot be written (File too large)" in done.stdout, done.stderr
    assert left(box) == []


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_a_full_disk_leaves_what_was_there_and_nothing_else(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k,mode=700", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("this machine lets nobody mount a small disk")
    try:
        box = Outbox(disk / "box")
        box.put([parcel("first", "e/1")])
        with pytest.raises(Failure, match="No space left on device"):
            box.put([Parcel(b"%d" % n * 20_000, f"e/{n}") for n in range(1, 9)])
        assert bundles(box.waiting(), box) == ["first"]
        assert len(left(box)) == 1
        receipts = box.receipts()
        receipts.add(Receipt("known", A, None, AT, ()))
        filling = disk / "filling"
        with pytest.raises(OSError, match="No space"), filling.open("wb", buffering=0) as file:
            while True:
                file.write(b"x" * 512)
        big = Receipt("big", A, None, AT, tuple(Held("Task", str(n), "1", "i" * 64) for n in range(200)))
        with pytest.raises(Failure, match="nothing is doubled"):
            receipts.add(big)
        filling.unlink()
        assert [one.bundle for one in box.receipts().all] == ["known"]
        assert not receipts.has(A, "big")
        receipts.add(big)
        assert [one.bundle for one in box.receipts().all] == ["known", "big"]
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_what_a_killed_writer_left_is_swept_away(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    half = box.folder / "waiting" / ".lda-notes-abc.part"
    half.write_text("half a parcel of Doe")
    assert box.waiting() == []
    box.put([parcel("a")])
    assert not half.exists()


# -- one at a time --


DRAIN = """
    import sys
    from pathlib import Path
    from lda_notes.sending.outbox import Outbox
    with Outbox(Path(sys.argv[1])).draining():
        print("in", flush=True)
        sys.stdin.readline()
"""


def test_only_one_run_sends_from_an_outbox(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    other = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(DRAIN), str(box.folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdin is not None
    try:
        assert other.stdout.readline() == "in\n"
        with pytest.raises(Failure, match="another run is sending") as failure, box.draining():
            pass
        assert failure.value.code == 4
        box.put([parcel("a")])  # putting in goes on meanwhile
        other.kill()
        other.wait()
        with box.draining():  # the lock falls with its holder
            assert bundles(box.waiting(), box) == ["a"]
    finally:
        other.kill()
        other.wait()
        other.stdin.close()
        other.stdout.close()


def test_many_put_in_at_once(tmp_path: Path) -> None:
    Outbox(tmp_path / "box")

    def put(writer: int) -> None:
        for n in range(10):
            Outbox(tmp_path / "box").put([parcel(f"{writer}-{n}")])

    threads = [threading.Thread(target=put, args=(writer,)) for writer in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    box = Outbox(tmp_path / "box")
    found = bundles(box.waiting(), box)
    assert len({slip.number for slip in box.waiting()}) == 40
    for writer in range(4):
        assert [one for one in found if one.startswith(f"{writer}-")] == [f"{writer}-{n}" for n in range(10)]


# -- receipts --


def receipt(bundle: str, server: str = A) -> Receipt:
    held = (Held("Task", "17", "3", "uuid-1"), Held("Patient", "4", "1"))
    return Receipt(bundle, server, "week/access-1", AT, held)


def test_receipts_come_back_as_they_were_written(tmp_path: Path) -> None:
    path = tmp_path / "receipts.ndjson"
    receipts = Receipts(path)
    assert receipts.all == []
    receipts.add(receipt("one"))
    receipts.add(receipt("two", B))
    again = Receipts(path)
    assert again.all == [receipt("one"), receipt("two", B)]
    assert (again.has(A, "one"), again.has(B, "one"), again.has(B, "two")) == (True, False, True)
    assert json.loads(path.read_text().splitlines()[0]) == {
        "receipt": 1,
        "at": "2031-03-04T09:00:00+00:00",
        "about": "week/access-1",
        "server": A,
        "bundle": "one",
        "resources": [
            {"type": "Task", "id": "17", "version": "3", "identity": "uuid-1"},
            {"type": "Patient", "id": "4", "version": "1", "identity": ""},
        ],
    }


@pytest.mark.parametrize("kept", [0, 1, 20, 150, -1])
def test_a_row_cut_off_by_a_crash_does_not_count_and_is_written_over(tmp_path: Path, kept: int) -> None:
    path = tmp_path / "receipts.ndjson"
    row = receipt("two").row()
    path.write_bytes(receipt("one").row() + row[:kept])
    receipts = Receipts(path)
    assert [one.bundle for one in receipts.all] == ["one"]
    assert receipts.damaged == []
    receipts.add(receipt("three"))
    assert [one.bundle for one in Receipts(path).all] == ["one", "three"]
    assert path.read_bytes() == receipt("one").row() + receipt("three").row()


def test_a_long_cut_off_row_is_found_too(tmp_path: Path) -> None:
    path = tmp_path / "receipts.ndjson"
    path.write_bytes(receipt("one").row() + b"x" * 200_000)
    Receipts(path).add(receipt("two"))
    assert path.read_bytes() == receipt("one").row() + receipt("two").row()
    path.write_bytes(b"x" * 200_000)
    Receipts(path).add(receipt("three"))
    assert path.read_bytes() == receipt("three").row()


@pytest.mark.parametrize(
    "row", [b"{}", b"nonsense", b"\xff", b'{"receipt": 2}', b"[]", b'{"receipt": 1, "resources": [1]}']
)
def test_damaged_rows_are_named_and_the_others_count(tmp_path: Path, row: bytes) -> None:
    path = tmp_path / "receipts.ndjson"
    path.write_bytes(receipt("one").row() + row + b"\n" + receipt("two").row())
    receipts = Receipts(path)
    assert [one.bundle for one in receipts.all] == ["one", "two"]
    assert receipts.damaged == [2]


def test_what_is_forgotten_counts_again_once_it_is_delivered_again(tmp_path: Path) -> None:
    receipts = Receipts(tmp_path / "receipts.ndjson")
    receipts.add(receipt("one"))
    receipts.add(receipt("two"))
    receipts.forget(["one"])
    assert (receipts.has(A, "one"), receipts.has(A, "two")) == (False, True)
    receipts.add(receipt("one"))
    assert receipts.has(A, "one")


def test_a_receipt_that_cannot_be_written_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "receipts.ndjson"
    receipts = Receipts(path)
    receipts.add(receipt("one"))
    before = path.read_bytes()
    real = os.pwrite
    calls: list[int] = []

    def half(descriptor: int, data: bytes, at: int) -> int:
        calls.append(at)
        if len(calls) > 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(descriptor, data[:30], at)

    monkeypatch.setattr(receipt_files.os, "pwrite", half)
    with pytest.raises(Failure, match="nothing is doubled") as failure:
        receipts.add(receipt("two"))
    assert failure.value.code == 4
    assert path.read_bytes() == before
    assert not receipts.has(A, "two")


def test_receipts_that_are_a_link_are_not_written_to(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_text("")
    (tmp_path / "receipts.ndjson").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(Failure):
        Receipts(tmp_path / "receipts.ndjson").add(receipt("one"))
    assert (tmp_path / "elsewhere").read_text() == ""
