"""What is no regular file, and file systems without locks: one sentence, or the work is done; nothing waits."""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path

import portalocker
import pytest

from lda_notes.fhir.config import load
from lda_notes.files.locks import locked
from lda_notes.knowledge import policy_file
from lda_notes.problems import Failure
from lda_notes.record import reading
from lda_notes.record.writer import create
from lda_notes.sending.wire import trust


@pytest.mark.parametrize("read", [reading.read, policy_file.load, load, trust])
@pytest.mark.parametrize("name", ["pipe.yaml", "/dev/zero"])
def test_a_pipe_or_device_is_one_sentence(tmp_path: Path, read: object, name: str) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    assert callable(read)
    with pytest.raises(Failure, match="is not a regular file"):
        read(tmp_path / name)


@pytest.mark.parametrize("number", [errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP])
def test_a_file_system_without_locks_is_written_to_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    def refused(*_: object) -> None:
        raise portalocker.LockException(OSError(number, os.strerror(number)))

    monkeypatch.setattr(portalocker, "lock", refused)
    began = time.monotonic()
    with locked(tmp_path / "record.yaml") as works:
        assert not works
    create(tmp_path / "record.yaml", b"new")
    assert (tmp_path / "record.yaml").read_bytes() == b"new"
    assert [one.name for one in tmp_path.iterdir()] == ["record.yaml"]
    assert time.monotonic() - began < 30  # the patience with another writer
