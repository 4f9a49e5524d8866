"""A task over rows on a Dask cluster: parts by byte range, each written whole under its own name, then a manifest.

Input and output are folders that every worker sees, or addresses that fsspec knows (``s3://...``). A part has a
receipt: what it was made from, its digest, rows and size. It is written last, so that a part with a receipt is done;
a rerun makes only what has none. The same part always has the same bytes, so one that a second worker makes after
the first was lost, or that two make at once, is neither lost nor doubled. See CLUSTER.md.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import pickle
import uuid
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import IO, Any, Final

from lda_notes import __version__
from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.rows import UNREADABLE, rows, unpacked
from lda_notes.stream.run import Result
from lda_notes.stream.tasks import Task, Work

_LARGEST: Final = 1 << 26
"""Most bytes of input in a part: what the engine spends on one does not count then, and a lost one is soon made."""

_LEAST: Final = 1 << 20
_PARTS: Final = 64
"""Parts that a small input is cut into, so that all workers end at about the same time.

Sizes follow from the input alone: a rerun on another number of workers cuts where the first run did.
"""

_BLOCK: Final = 1 << 20
MANIFEST: Final = "manifest.json"


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a run: how many parts, how many of them an earlier run had made, counts and sentences of all."""

    parts: int
    skipped: int
    counts: dict[str, int]
    said: str


@dataclass(frozen=True, slots=True)
class _Part:
    """Bytes ``start`` to ``end`` of a file. The rows that begin there belong to it, whole. ``end`` -1: to the end.

    ``name`` is how the user calls the file, ``file`` how workers find it.
    """

    name: str
    file: str
    start: int
    end: int
    index: int
    first: int = 1
    digest: str = ""

    def key(self, task: str) -> str:
        """What the part is made from; a receipt of anything else is of no use."""
        return _digest(f"{self.name}|{self.file}|{self.digest}|{self.first}|{task}|{__version__}".encode())


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _fs(address: str) -> tuple[Any, str]:
    """Return the file system of an address and the path in it."""
    from fsspec.core import url_to_fs

    found: tuple[Any, str] = url_to_fs(address)
    return found


def _is_local(fs: Any) -> bool:
    from fsspec.implementations.local import LocalFileSystem

    return isinstance(fs, LocalFileSystem)


def _where(name: str) -> str:
    """Return an address that means the same in every process."""
    return name if "://" in name else os.path.abspath(name)  # noqa: PTH100 -- a Path would spoil an address


def _compression(address: str) -> str | None:
    return {".gz": "gzip", ".zst": "zstd"}.get(os.path.splitext(address.lower())[1])  # noqa: PTH122 -- may be a URL


def on_cluster(
    files: list[str], task: Task, address: str, out: str, part_size: int | None = None, wait_s: float = 20
) -> Made:
    """Do ``task`` for every row of ``files`` on the cluster at ``address``, into the folder ``out``.

    Raises `Failure` when Dask is not installed, the cluster or a file cannot be reached, or ``out`` cannot be used.
    """
    try:
        from distributed import Client
    except ImportError:
        raise Failure("Dask is not installed here; install lda-notes[dask], on the workers too") from None
    try:
        client = Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise Failure(f"{address}: no Dask scheduler answers ({error}); check the address", 4) from None
    with client:
        return _spread(client, files, task, out, part_size)


def _spread(client: Any, files: list[str], task: Task, out: str, part_size: int | None) -> Made:
    packed, out = pickle.dumps(task), _where(out)
    _refuse_to_write_over(files, out)
    sizes = {file: _size(_where(file)) for file in files}
    size = part_size or min(max(sum(sizes.values()) // _PARTS, _LEAST), _LARGEST)
    cut = list(_cut(sizes, size))
    counts = _gathered(client, client.map(_count, cut, pure=False, key=[f"count-{_run()}-{p.index}" for p in cut]))
    firsts: dict[str, int] = {}
    parts: list[_Part] = []
    for part, (number, digest) in zip(cut, counts, strict=True):
        first = firsts.get(part.name, 1)
        firsts[part.name] = first + number
        parts.append(replace(part, first=first, digest=digest))
    fs, folder = _fs(out)
    fs.makedirs(folder, exist_ok=True)
    if _is_local(fs):
        os.chmod(folder, 0o700)  # noqa: PTH101
    keys = [part.key(repr(task)) for part in parts]
    known = [_receipt(out, part.index, key) for part, key in zip(parts, keys, strict=True)]
    todo = [(part, key) for part, key, old in zip(parts, keys, known, strict=True) if old is None]
    names = [f"part-{_run()}-{part.index}" for part, _ in todo]
    futures = client.map(_make, [p for p, _ in todo], [k for _, k in todo], task=packed, out=out, key=names, retries=2)
    fresh = dict(zip((part.index for part, _ in todo), _gathered(client, futures), strict=True))
    receipts = [old or fresh[part.index] for part, old in zip(parts, known, strict=True)]
    total = Result()
    for receipt in receipts:
        total.add(tuple(receipt["counts"].items()))
    _clear(out, {name for part in parts for name in (_name(part.index), _receipt_name(part.index))})
    _put(out, MANIFEST, json.dumps({"version": 1, "counts": total.counts, "parts": receipts}, indent=1).encode())
    said = "".join(receipt["said"] for receipt in receipts)
    return Made(len(parts), len(parts) - len(todo), total.counts, said)


def _refuse_to_write_over(files: list[str], out: str) -> None:
    """Raise `Failure` where parts of an earlier run are read and would be written over in the same folder."""
    folder = os.path.realpath(out) if "://" not in out else out.rstrip("/")
    for file in files:
        where = os.path.realpath(file) if "://" not in file else file
        if where.rpartition("/")[0] == folder and where.rpartition("/")[2].startswith("part-"):
            raise Failure(
                f"{file}: stands in {out}, where the parts of this run would take its place; give another folder"
            )


def _run() -> str:
    return uuid.uuid4().hex


def _gathered(client: Any, futures: list[Any]) -> list[Any]:
    from distributed.scheduler import KilledWorker

    try:
        found: list[Any] = client.gather(futures)
    except KilledWorker as error:
        raise Failure(f"the cluster lost several workers over one part ({error}); give them more memory", 4) from None
    except UNREADABLE as error:
        raise Failure(
            f"a worker cannot read or write its part ({error}); check that all see the same folders, and files whole"
        ) from None
    return found


def _size(file: str) -> int:
    try:
        fs, path = _fs(file)
        return int(fs.size(path) or 0)
    except (OSError, ImportError, ValueError) as error:
        raise Failure(
            f"{file}: cannot be read ({error}); give a shared folder or an address that fsspec knows"
        ) from None


def _cut(sizes: dict[str, int], part_size: int) -> Iterator[_Part]:
    """Cut files into ranges; compressed ones, of which no range can be read, stay whole."""
    index = 0
    for file, size in sizes.items():
        if _compression(file):
            yield _Part(file, _where(file), 0, -1, index)
            index += 1
            continue
        for start in range(0, size, part_size):
            yield _Part(file, _where(file), start, min(start + part_size, size), index)
            index += 1


def _opened(part: _Part) -> IO[bytes]:
    """Open the file at the first row that begins in the part."""
    fs, path = _fs(part.file)
    packed = _compression(part.file)
    file: IO[bytes] = fs.open(path, "rb", compression="gzip" if packed == "gzip" else None)
    if packed == "zstd":
        return unpacked(file)
    if part.start:
        file.seek(part.start - 1)
        _skip_row(file)
    return file


def _skip_row(file: IO[bytes]) -> None:
    while (block := file.readline(_BLOCK)) and not block.endswith(b"\n"):
        pass


class _UpTo(io.RawIOBase):
    """A file up to the end of the last row that begins before ``end``."""

    def __init__(self, file: IO[bytes], end: int) -> None:
        self._file, self._end, self._done, self._at = file, end, False, file.tell()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        if self._done:
            return 0
        inside = self._at + len(buffer) < self._end
        block = self._file.read(len(buffer)) if inside else self._last(len(buffer))
        buffer[: len(block)] = block
        self._at += len(block)
        return len(block)

    def _last(self, most: int) -> bytes:
        """Read to the end of the part, and from there to the end of the row that began in it."""
        if self._at < self._end - 1:
            return self._file.read(min(most, self._end - 1 - self._at))
        block = self._file.readline(most)
        self._done = block.endswith(b"\n") or not block
        return block


def _stretch(part: _Part, file: IO[bytes]) -> IO[bytes]:
    if part.end < 0:
        return file
    if part.end <= file.tell():
        return io.BytesIO()  # one row of an earlier part goes on beyond this one
    return io.BufferedReader(_UpTo(file, part.end), _BLOCK)


def _count(part: _Part) -> tuple[int, str]:
    """Count the rows of a part; return the digest of its bytes too, since a file may change and keep its size."""
    count, ended, digest = 0, True, hashlib.sha256()
    with _opened(part) as file:
        stretch = _stretch(part, file)
        while block := stretch.read(_BLOCK):
            count += block.count(b"\n")
            ended = block.endswith(b"\n")
            digest.update(block)
    return count + (not ended), digest.hexdigest()


@lru_cache(maxsize=4)
def _ready(task: bytes) -> Work:
    loaded: Task = pickle.loads(task)
    return loaded.ready()


def _make(part: _Part, key: str, task: bytes, out: str) -> dict[str, Any]:
    """Make a part and its receipt."""
    work, total, digest, said = _ready(task), Result(), hashlib.sha256(), []
    with rare_collection(first=False), _opened(part) as file, _whole(out, _name(part.index)) as (target, size):
        for row in rows(_stretch(part, file), part.first):
            answer = work(part.name, row)
            target.write(answer.out)
            digest.update(answer.out)
            size[0] += len(answer.out)
            said.append(answer.said)
            total.add(answer.counts)
    receipt = {
        "part": _name(part.index),
        "made_from": key,
        "file": part.name,
        "first_row": part.first,
        "sha256": digest.hexdigest(),
        "size": size[0],
        "counts": total.counts,
        "said": "".join(said),
    }
    _put(out, _receipt_name(part.index), json.dumps(receipt).encode())
    return receipt


def _name(index: int) -> str:
    return f"part-{index:06}.ndjson"


def _receipt_name(index: int) -> str:
    return f"{_name(index)}.receipt.json"


def _clear(out: str, kept: set[str]) -> None:
    """Take out parts of an earlier run that cut its input otherwise: with them, records would stand twice."""
    fs, folder = _fs(out)
    for path in fs.glob(f"{folder}/part-*.ndjson*"):
        if path.rpartition("/")[2] not in kept:
            fs.rm_file(path)


class _whole:  # noqa: N801 -- used as a function
    """A file that stands under its name only when it is whole, whoever else writes the same one."""

    def __init__(self, out: str, name: str) -> None:
        self._fs, folder = _fs(out)
        self._path = f"{folder}/{name}"
        # An object store shows an object only when it is whole; in a folder a new file takes the old one's place.
        self._local = _is_local(self._fs)
        self._written = f"{folder}/.{uuid.uuid4().hex}.part" if self._local else self._path

    def __enter__(self) -> tuple[IO[bytes], list[int]]:
        if self._local:
            descriptor = os.open(self._written, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            self._file: IO[bytes] = os.fdopen(descriptor, "wb")
        else:
            self._file = self._fs.open(self._written, "wb", autocommit=False)
        return self._file, [0]

    def __exit__(self, kind: object, *_: object) -> None:
        if not self._local:
            self._file.close()
            self._file.commit() if kind is None else self._file.discard()  # type: ignore[attr-defined]
            return
        if kind is None:
            self._file.flush()
            os.fsync(self._file.fileno())
        self._file.close()
        if kind is None:
            os.replace(self._written, self._path)  # noqa: PTH105
        else:
            with suppress(OSError):
                os.unlink(self._written)  # noqa: PTH108


def _put(out: str, name: str, data: bytes) -> None:
    with _whole(out, name) as (file, _):
        file.write(data)


def _receipt(out: str, index: int, key: str) -> dict[str, Any] | None:
    """Return the receipt of a part that is there as its receipt says; None when it must be made."""
    fs, folder = _fs(out)
    try:
        receipt: dict[str, Any] = json.loads(fs.cat_file(f"{folder}/{_receipt_name(index)}"))
        if receipt["made_from"] != key or not isinstance(receipt["said"], str):
            return None
        counts = receipt["counts"]
        if not isinstance(counts, dict) or not all(isinstance(number, int) for number in counts.values()):
            return None
        digest = hashlib.sha256()
        with fs.open(f"{folder}/{_name(index)}", "rb") as file:
            while block := file.read(_BLOCK):
                digest.update(block)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return receipt if digest.hexdigest() == receipt["sha256"] else None
