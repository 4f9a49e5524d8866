"""A task over rows on a Dask cluster: blocks of files in, one part for each out, then a manifest. See CLUSTER.md."""

from __future__ import annotations

import io
import json
from concurrent.futures import CancelledError
from pathlib import Path
from typing import Any

from lda_notes.files.output import write_private
from lda_notes.problems import UNREACHABLE, Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.names import is_packed
from lda_notes.stream.rows import UNREADABLE, rows, unpacked
from lda_notes.stream.run import Block, Result, done
from lda_notes.stream.tasks import Answer, Task


def on_cluster(
    files: list[str], task: Task, address: str, out: str, block_bytes: int = 1 << 22, wait_s: float = 20
) -> tuple[int, Result, str]:
    """Do ``task`` for every row of ``files`` on the cluster at ``address``, into ``out``, a new or empty folder.

    Return the number of parts, the counts, and the sentences of all rows. Raises `Failure`.
    """
    try:
        from distributed import Client, KilledWorker
        from fsspec.core import url_to_fs

        blocks = [(file, block) for file in files for block in _blocks(file, block_bytes)]
        fs, folder = url_to_fs(out)
        client = Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ImportError, ValueError) as error:
        todo = "check the address, the files and --out, and that lda-notes[dask] is installed on each machine"
        raise Failure(f"the cluster at {address} cannot begin ({error}); {todo}", UNREACHABLE) from None
    with client:
        try:
            return _spread(client, blocks, task, fs, folder)
        except (*UNREADABLE, KilledWorker, CancelledError) as error:
            todo = "check that all workers see the same folders and have enough memory, and give a new --out"
            raise Failure(f"the cluster at {address} did not finish ({error}); {todo}", UNREACHABLE) from None


def _spread(client: Any, blocks: list[tuple[str, Any]], task: Task, fs: Any, folder: str) -> tuple[int, Result, str]:
    from dask.delayed import delayed

    if fs.exists(folder) and fs.ls(folder):
        raise Failure(f"{folder}: is not empty; give a new folder, so that parts of two runs are not mixed")
    counts = client.gather(client.compute([delayed(_rows)(block) for _, block in blocks]))
    fs.makedirs(folder, exist_ok=True)
    names = [f"part-{index:06}.ndjson" for index in range(len(blocks))]
    first, todo = {file: 1 for file, _ in blocks}, []
    for (file, block), count, name in zip(blocks, counts, names, strict=True):
        todo.append(delayed(_make, pure=False)(block, file, first[file], task, fs, f"{folder}/{name}"))
        first[file] += count
    total, answers = Result(), client.gather(client.compute(todo))
    for answer in answers:
        total.add(answer.counts)
    manifest = json.dumps({"version": 2, "counts": total.counts, "parts": names}, indent=1)
    _write(fs, f"{folder}/manifest.json", manifest.encode())
    return len(names), total, "".join(answer.said for answer in answers)


def _blocks(file: str, block_bytes: int) -> Any:
    """Cut a file at row ends; a compressed one, which cannot be read from the middle, is one block."""
    import fsspec
    from dask.bytes.core import read_bytes
    from dask.delayed import delayed

    if is_packed(Path(file)):
        return [delayed(_unpacked)(fsspec.open(file))]
    cut: Any = read_bytes
    return cut(file, delimiter=b"\n", blocksize=block_bytes, sample=False)[1][0]


def _unpacked(file: Any) -> bytes:
    with file as packed, unpacked(packed, Path(file.path).suffix) as raw:
        return raw.read()


def _rows(block: bytes) -> int:
    return len(io.BytesIO(block).readlines())


def _make(block: bytes, file: str, first: int, task: Task, fs: Any, part: str) -> Answer:
    with rare_collection():
        answer = done(task.ready(), Block(file, list(rows(io.BytesIO(block), first))))
    _write(fs, part, answer.out)
    return Answer(said=answer.said, counts=answer.counts)


def _write(fs: Any, path: str, data: bytes) -> None:
    """Write a file whole or not at all, as object stores do by themselves."""
    if "file" in fs.protocol:
        write_private(Path(path), data)
    else:
        fs.pipe_file(path, data)
