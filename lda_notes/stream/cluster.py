"""A task over rows on a Dask cluster: blocks of files in, one part for each out, then a manifest. See CLUSTER.md.

Input and output are folders that every worker sees, or addresses that fsspec knows (``s3://...``). The engine cuts
files at row ends and gives what a lost worker had to another; the same block always has the same bytes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import IO, Any, Final

from lda_notes.files.output import opened
from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.names import is_packed
from lda_notes.stream.rows import UNREADABLE, rows, unpacked
from lda_notes.stream.run import Result
from lda_notes.stream.tasks import Task

BLOCK_BYTES: Final = 1 << 22
"""Bytes of input in a part: its answers, which may be twenty times as long, stay well inside a worker's memory."""

MANIFEST: Final = "manifest.json"


def on_cluster(
    files: list[str], task: Task, address: str, out: str, block_bytes: int = BLOCK_BYTES, wait_s: float = 20
) -> tuple[int, Result, str]:
    """Do ``task`` for every row of ``files`` on the cluster at ``address``, into ``out``, a new or empty folder.

    Return the number of parts, the counts, and the sentences of all rows. Raises `Failure` when Dask is not
    installed, the cluster or a file cannot be reached, or ``out`` cannot be used.
    """
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise Failure("Dask is not installed here; install lda-notes[dask], on the workers too") from None
    try:
        client = Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise Failure(f"{address}: no Dask scheduler answers ({error}); check the address", 4) from None
    with client:
        try:
            return _spread(client, files, task, _everywhere(out), block_bytes)
        except KilledWorker as error:
            raise Failure(
                f"the cluster lost several workers over one part ({error}); give them more memory", 4
            ) from None
        except UNREADABLE as error:
            raise Failure(
                f"a part cannot be read or written ({error}); check that all workers see the same folders"
            ) from None


def _spread(client: Any, files: list[str], task: Task, out: str, block_bytes: int) -> tuple[int, Result, str]:
    from dask.delayed import delayed

    for file in files:
        _fs(file)
    fs, folder = _fs(out)
    if fs.exists(folder) and fs.ls(folder):
        raise Failure(f"{out}: is not empty; give a new folder, so that no part of another run stands among these")
    blocks = [(file, block) for file in files for block in _blocks(_everywhere(file), block_bytes)]
    counted = client.gather(client.compute([delayed(_count)(block) for _, block in blocks]))
    fs.makedirs(folder, exist_ok=True)
    if "://" not in out:
        Path(out).chmod(0o700)
    nexts = dict.fromkeys(files, 1)
    todo = []
    for index, ((file, block), count) in enumerate(zip(blocks, counted, strict=True)):
        todo.append(delayed(_make, pure=False)(block, task, file, nexts[file], count, out, _name(index)))
        nexts[file] += count
    total, said = Result(), []
    for counts, sentences in client.gather(client.compute(todo)):
        total.add(counts)
        said.append(sentences)
    manifest = {"version": 2, "counts": total.counts, "parts": [_name(index) for index in range(len(todo))]}
    with _whole(out, MANIFEST) as target:
        target.write(json.dumps(manifest, indent=1).encode())
    return len(todo), total, "".join(said)


def _fs(address: str) -> tuple[Any, str]:
    """Return the file system of an address and the path in it. Raises `Failure` for one that fsspec does not know."""
    from fsspec.core import url_to_fs

    try:
        found: tuple[Any, str] = url_to_fs(address)
    except (ImportError, ValueError) as error:
        raise Failure(
            f"{address}: cannot be used ({error}); give a shared folder or an address that fsspec knows"
        ) from None
    return found


def _everywhere(name: str) -> str:
    """Return an address that means the same in every process."""
    return name if "://" in name else os.path.abspath(name)  # noqa: PTH100 -- a Path would spoil an address


def _name(index: int) -> str:
    return f"part-{index:06}.ndjson"


def _blocks(file: str, block_bytes: int) -> list[Any]:
    """Cut a file at row ends; a compressed one, which nobody can begin to read in the middle, is one block."""
    from dask.bytes.core import read_bytes
    from dask.delayed import delayed

    if is_packed(Path(file)):
        return [delayed(_unpacked)(file)]
    cut: Any = read_bytes
    blocks: list[Any] = cut(file, delimiter=b"\n", blocksize=block_bytes, sample=False)[1][0]
    return blocks


def _unpacked(file: str) -> bytes:
    import gzip

    fs, path = _fs(file)
    with fs.open(path, "rb") as packed, unpacked(packed) if file.lower().endswith(".zst") else gzip.open(packed) as raw:
        return raw.read()


def _count(block: bytes) -> int:
    return block.count(b"\n") + (not block.endswith(b"\n") and block != b"")


def _make(block: bytes, task: Task, file: str, first: int, count: int, out: str, name: str) -> tuple[Any, str]:
    """Make a part; return the counts and sentences of its rows."""
    import io

    if _count(block) != count:
        raise OSError(f"{file} changed meanwhile")
    work, total, said = task.ready(), Result(), []
    with rare_collection(), _whole(out, name) as target:
        for row in rows(io.BytesIO(block), first):
            answer = work(file, row)
            target.write(answer.out)
            said.append(answer.said)
            total.add(answer.counts)
    return tuple(total.counts.items()), "".join(said)


def _whole(out: str, name: str) -> AbstractContextManager[IO[bytes]]:
    """Open a file that stands under its name only when it is whole, whoever else writes the same one."""
    return _stored(out, name) if "://" in out else opened(Path(out) / name)


@contextmanager
def _stored(out: str, name: str) -> Iterator[IO[bytes]]:
    fs, folder = _fs(out)
    file = fs.open(f"{folder}/{name}", "wb", autocommit=False)
    try:
        yield file
    except BaseException:
        file.discard()
        raise
    file.close()
    file.commit()
