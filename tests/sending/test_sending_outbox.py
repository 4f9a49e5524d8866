"""The outbox and its receipts: private, in order, once, whole or not at all."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import subprocess
import sys
import textwrap
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from stand_ins import receipts_of

from lda_notes.problems import Failure
from lda_notes.sending import outbox as outboxes
from lda_notes.sending.outbox import FILE, Damaged, Outbox
from lda_notes.sending.parcel import Parcel, Receipt, Stored

A, B = "https://a.example/fhir", "https://b.example/fhir"
AT = datetime(2031, 3, 4, 9, 0, tzinfo=UTC)
MINE, THEIRS = "5b2f0d3e-line-of-doe", "c01d77aa-line-of-roe"


def parcel(words: str, about: str | None = None, server: str | None = None, line: str | None = MINE) -> Parcel:
    return Parcel(json.dumps({"patient": words}).encode(), line, about, "ward/Doe.yaml", (3, 9), (1,), server=server)


def bundles(slips: list[outboxes.Slip], box: Outbox) -> list[str]:
    found = [box.take(slip) for slip in slips]
    return [json.loads(one.bundle)["patient"] for one in found if one is not None]


def receipt(bundle: str, server: str = A, differs: bool = False) -> Receipt:
    held = (Stored("Task", "17", "3", "uuid-1"), Stored("Patient", "4", "1"))
    return Receipt(bundle, server, MINE, "week/access-1", AT, held, differs)


def delivered(box: Outbox, *receipts: Receipt) -> None:
    for one in receipts:
        [slip] = box.put([Parcel(os.urandom(8))])
        box.done(slip, one)


# -- parcels --


def test_a_parcel_comes_back_byte_by_byte(tmp_path: Path) -> None:
    data = b'{"a": 2.50,\n "b": "\xc3\xa9"}'
    made = Parcel(data, MINE, "week/access-1", "a.yaml", (1, 0, 7), (2,), ("Task",), ("Device",), A)
    box = Outbox(tmp_path / "box")
    [slip] = box.put([made])
    found = Outbox(tmp_path / "box").take(slip)
    assert found == made
    assert found is not None
    assert found.digest == slip.digest == made.digest
    assert (slip.creates, slip.updates) == (("Task",), ("Device",))
    assert [found.row(entry) for entry in (None, 0, 1, 2, 3, -1)] == [None, 1, None, 7, None, None]
    assert made.to(B).server == B


def test_a_damaged_parcel_is_noticed(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [slip] = box.put([parcel("Doe")])
    with closing(sqlite3.connect(box.folder / FILE)) as data, data:
        data.execute("UPDATE parcel SET bundle = CAST(replace(bundle, 'Doe', 'Roe') AS BLOB)")
    with pytest.raises(Damaged):
        box.take(slip)


# -- privacy --


def test_everything_is_private_and_no_name_tells_anything(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        box = Outbox(tmp_path / "deep" / "outbox")
        box.put([parcel("Doe", "week/access-1"), parcel("Roe", "week/access-2")])
        box.refuse(box.waiting()[0], "no")
        box.done(box.waiting()[0], receipt("d"))
        with box.draining():
            found = {path: stat.S_IMODE(path.stat().st_mode) for path in [box.folder, *box.folder.rglob("*")]}
    finally:
        os.umask(old)
    assert len(found) >= 3
    for path, mode in found.items():
        assert mode == (0o700 if path == box.folder else 0o600), path
        assert "Doe" not in path.name
        assert "week" not in path.name


def test_sqlites_own_files_are_private_too(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        box = Outbox(tmp_path / "box")
        box._data.execute("BEGIN IMMEDIATE")
        box._data.execute("DELETE FROM parcel")
        box._data.execute("INSERT INTO receipt VALUES (1, 'at', 'server', 'bundle', NULL, NULL, '[]', 0)")
        journals = [path for path in box.folder.iterdir() if path.name.endswith("-journal")]
        assert [stat.S_IMODE(path.stat().st_mode) for path in journals] == [0o600]
        box._data.execute("ROLLBACK")
    finally:
        os.umask(old)


def test_what_was_sent_stays_nowhere_in_the_file(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [slip] = box.put([Parcel(b"Odessa Quillfeather" * 900)])
    assert b"Quillfeather" in (box.folder / FILE).read_bytes()
    box.done(slip, receipt("d"))
    for path in box.folder.iterdir():
        assert b"Quillfeather" not in path.read_bytes()


@pytest.mark.parametrize("mode", [0o750, 0o705, 0o755, 0o777, 0o710])
def test_an_outbox_that_others_can_look_into_is_refused(tmp_path: Path, mode: int) -> None:
    Outbox(tmp_path / "box")
    (tmp_path / "box").chmod(mode)
    with pytest.raises(Failure, match="other users can read it; run chmod 700"):
        Outbox(tmp_path / "box")


def test_what_cannot_be_an_outbox_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    (tmp_path / "real").mkdir(mode=0o700)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    os.mkfifo(tmp_path / "pipe")
    for name, why in (
        ("file", "is not a folder"),
        ("link", "is not a folder"),
        ("file/below", "cannot be the outbox"),
        ("pipe", "is not a folder"),
    ):
        with pytest.raises(Failure, match=why):
            Outbox(tmp_path / name)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("")
    (tmp_path / "real" / FILE).symlink_to(elsewhere)
    with pytest.raises(Failure, match="is not a regular file"):
        Outbox(tmp_path / "real")
    assert elsewhere.read_text() == ""


def test_somebody_elses_outbox_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Outbox(tmp_path / "box")
    other = os.geteuid() + 1
    monkeypatch.setattr(os, "geteuid", lambda: other)
    with pytest.raises(Failure, match="belongs to somebody else"):
        Outbox(tmp_path / "box")


@pytest.mark.parametrize("name", ["waiting", "set-aside", "receipts.ndjson"])
def test_an_outbox_of_the_first_layout_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "box").mkdir(mode=0o700)
    (tmp_path / "box" / name).mkdir()
    with pytest.raises(Failure, match="first layout, whose identities do not name the patient; name a new one"):
        Outbox(tmp_path / "box")
    assert [path.name for path in (tmp_path / "box").iterdir()] == [name]


def test_an_outbox_on_a_shared_disk_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outboxes, "_file_system", lambda folder: "cifs")
    with pytest.raises(Failure, match=r"is on a shared disk \(cifs\)"):
        Outbox(tmp_path / "box")


def test_the_file_system_is_read_where_linux_names_it(tmp_path: Path) -> None:
    if not Path("/proc/self/mountinfo").exists():
        assert outboxes._file_system(tmp_path) is None
    else:
        assert outboxes._file_system(Path("/proc")) == "proc"
        assert outboxes._file_system(tmp_path) not in (None, "proc")


def test_a_damaged_file_is_one_sentence(tmp_path: Path) -> None:
    Outbox(tmp_path / "box").close()
    (tmp_path / "box" / FILE).write_bytes(b"no database at all, but long enough to be one " * 50)
    with pytest.raises(Failure, match="cannot be read or written") as failure:
        Outbox(tmp_path / "box")
    assert failure.value.code == 2


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
    assert bundles(box.waiting(), box)[-1] == "better"


def test_a_parcel_is_never_replaced_by_one_of_another_patient(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel(f"Doe {n}", f"episode/event-{n}", A) for n in range(8)])
    box.put([parcel(f"Roe {n}", f"episode/event-{n}", A, THEIRS) for n in range(8)])
    assert len(box.waiting()) == 16
    box.put([parcel("nobody knows whose", "episode/event-1", A, None)])
    assert len(box.waiting()) == 17
    box.put([parcel("Doe anew", "episode/event-1", A)])
    assert bundles(box.waiting(), box).count("Roe 1") == 1
    assert "Doe 1" not in bundles(box.waiting(), box)


def test_a_parcel_taken_out_meanwhile_is_no_fault(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [old] = box.put([parcel("old", "e/1")])
    box.put([parcel("new", "e/1")])
    assert box.take(old) is None
    box.done(old)
    box.refuse(old, "no")
    assert box.set_aside() == []


def test_what_was_refused_lies_aside_with_the_reason_and_can_wait_again_in_its_place(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel(name, server=server) for name, server in (("a", A), ("b", B), ("c", None), ("d", A))])
    for slip in box.waiting()[:3]:
        box.refuse(slip, f"reason {slip.number}")
    assert [slip.reason for slip in box.set_aside()] == ["reason 1", "reason 2", "reason 3"]
    assert bundles(box.waiting(), box) == ["d"]
    assert [slip.number for slip in box.put_back(A)] == [1, 3]
    assert bundles(box.waiting(), box) == ["a", "c", "d"]
    assert [slip.number for slip in box.set_aside()] == [2]


def test_numbers_are_never_given_out_again(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    for slip in box.put([parcel("a"), parcel("b")]):
        box.done(slip)
    [slip] = box.put([parcel("c")])
    assert slip.number == 3


# -- full disks and crashes --


def test_all_parcels_are_put_in_or_none(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("first", "e/1")])
    [pages] = box._data.execute("PRAGMA page_count").fetchone()
    box._data.execute(f"PRAGMA max_page_count = {pages + 4}")
    with pytest.raises(Failure, match="full"):
        box.put([Parcel(b"%d" % n * 5_000, MINE, f"e/{n}") for n in range(1, 9)])
    assert bundles(box.waiting(), box) == ["first"]
    assert bundles(Outbox(tmp_path / "box").waiting(), box) == ["first"]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_a_full_disk_leaves_what_was_there_and_nothing_else(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=128k,mode=700", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("this machine lets nobody mount a small disk")
    try:
        box = Outbox(disk / "box")
        box.put([parcel("first", "e/1")])
        with pytest.raises(Failure, match="nothing is doubled"):
            box.put([Parcel(b"%d" % n * 20_000, MINE, f"e/{n}") for n in range(1, 9)])
        assert bundles(box.waiting(), box) == ["first"]
        delivered(box, receipt("known"))
        filling = disk / "filling"
        with pytest.raises(OSError, match="No space"), filling.open("wb", buffering=0) as file:
            while True:
                file.write(b"x" * 512)
        many = tuple(Stored("Task", str(n), "1", "i" * 64) for n in range(200))
        with pytest.raises(Failure, match="nothing is doubled"):
            box.done(box.waiting()[0], Receipt("big", A, MINE, None, AT, many))
        filling.unlink()
        assert [one.bundle for one in receipts_of(box)] == ["known"]
        assert bundles(box.waiting(), box) == ["first"]
        box.done(box.waiting()[0], Receipt("big", A, MINE, None, AT, many))
        assert [one.bundle for one in receipts_of(box)] == ["known", "big"]
        box.close()
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


KILLED = """
    import os, sys
    from pathlib import Path
    from lda_notes.sending.outbox import Outbox
    from lda_notes.sending.parcel import Parcel
    box = Outbox(Path(sys.argv[1]))
    box._data.execute("PRAGMA cache_size = 1")  # so that half of it is in the file before the end
    box._data.execute("PRAGMA cache_spill = 1")
    seen = []
    def trace(statement):
        seen.append(statement)
        if sum(one.startswith("INSERT") for one in seen) > 20:
            os._exit(9)
    box._data.set_trace_callback(trace)
    box.put([Parcel(os.urandom(9000)) for _ in range(40)])
"""


def test_a_killed_writer_leaves_the_outbox_as_it_was(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("first")])
    done = run(KILLED, str(box.folder))
    assert done.returncode == 9, done.stderr
    again = Outbox(tmp_path / "box")
    assert bundles(again.waiting(), again) == ["first"]
    again.put([parcel("second")])
    assert bundles(again.waiting(), again) == ["first", "second"]


def run(program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(program), *arguments], capture_output=True, text=True, check=False
    )


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


def test_receipts_come_back_as_they_were_written(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    assert receipts_of(box) == []
    delivered(box, receipt("one"), receipt("two", B))
    again = Outbox(tmp_path / "box")
    assert receipts_of(again) == [receipt("one"), receipt("two", B)]
    assert (again.has(A, "one"), again.has(B, "one"), again.has(B, "two")) == (True, False, True)


def test_what_differs_does_not_count_until_it_is_resolved(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    delivered(box, receipt("one", differs=True))
    assert not box.has(A, "one")
    delivered(box, receipt("one"))
    assert box.has(A, "one")
    delivered(box, receipt("one", differs=True))
    assert not box.has(A, "one")


def test_what_is_forgotten_counts_again_once_it_is_delivered_again(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    [slip] = box.put([parcel("a")])
    box.done(slip, receipt(slip.digest))
    box.forget([slip.digest])
    assert not box.has(A, slip.digest)
    [again] = box.put([parcel("a")])
    box.done(again, receipt(slip.digest))
    assert box.has(A, slip.digest)


def test_the_lines_under_which_a_stay_was_sent_are_known(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    delivered(box, receipt("one"))
    assert box.first_numbers(A, "week/") == {MINE}
    assert box.first_numbers(A, "wee") == {MINE}
    assert box.first_numbers(A, "other/") == set()
    assert box.first_numbers(B, "week/") == set()
