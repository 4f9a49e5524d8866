"""Rows of NDJSON, from files, folders or standard input, plain or compressed; never more than one row in memory."""

from __future__ import annotations

import gzip
import io
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Final, NamedTuple, cast

from lda_notes.files.syntax.faults import MAX_BYTES
from lda_notes.problems import Failure
from lda_notes.stream.names import STANDARD_INPUT

_BOM: Final = b"\xef\xbb\xbf"
_BLOCK: Final = 1 << 20
_ENDLESS: Final = 10 * MAX_BYTES

UNREADABLE: Final = (OSError, EOFError, zlib.error)
"""Exceptions that reading a file raises, compressed or not."""


class Row(NamedTuple):
    """One row that is not blank: its number in the file, from 1, and its bytes without the row end.

    ``too_long`` marks a row of more than ``MAX_BYTES``; its bytes are cut off there.
    """

    number: int
    raw: bytes
    too_long: bool = False


def open_rows(path: Path) -> IO[bytes]:
    """Open a file of rows, decompressed. Raises `Failure` when it cannot be opened."""
    try:
        if path == STANDARD_INPUT:
            return sys.stdin.buffer
        if path.suffix.lower() == ".gz":
            return cast(IO[bytes], gzip.open(path))  # closes the file, too
        return unpacked(path.open("rb"), path.suffix)
    except OSError as error:
        todo = "check the name, the permissions and the compression"
        raise Failure(f"{path}: cannot be read ({reason(error)}); {todo}") from None


def unpacked(file: IO[bytes], ending: str) -> IO[bytes]:
    """Return the contents of a file, decompressed as the ending of its name says."""
    match ending.lower():
        case ".gz":
            return cast(IO[bytes], gzip.open(file))
        case ".zst":
            return io.BufferedReader(_Unpacked(file), _BLOCK)
        case _:
            return file


_PIECE: Final = 1 << 10
"""Compressed bytes taken at once: even of a file made to burst, they unpack to no more than some 30 MiB."""


class _Unpacked(io.RawIOBase):
    """A file compressed by Zstandard, frame after frame; one that ends inside a frame is an error."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._frame: Any = None
        self._rest = b""
        self._ready = memoryview(b"")

    def readable(self) -> bool:
        """Tell that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill ``buffer`` as far as what is unpacked goes. Raises OSError and EOFError on a damaged file."""
        while not self._ready:
            piece = self._rest or self._file.read(_PIECE)
            self._rest = b""
            if not piece:
                if self._frame is not None:
                    raise EOFError("it ends inside a compressed frame")
                return 0
            self._ready = memoryview(self._unpack(piece))
        taken = self._ready[: len(buffer)]
        buffer[: len(taken)] = taken
        self._ready = self._ready[len(taken) :]
        return len(taken)

    def _unpack(self, piece: bytes) -> bytes:
        import zstandard

        if self._frame is None:
            self._frame = zstandard.ZstdDecompressor().decompressobj()
        try:
            out: bytes = self._frame.decompress(piece)
        except zstandard.ZstdError as error:
            raise OSError(f"not Zstandard: {error}") from None
        if self._frame.eof:
            self._rest, self._frame = self._frame.unused_data, None
        return out

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()


def reason(error: Exception) -> str:
    """Return in words why a file cannot be read."""
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error) or "it ends too early"


def rows(file: IO[bytes], first: int = 1) -> Iterator[Row]:
    """Yield every row that is not blank; ``first`` is the number of the row that comes first.

    Raises `Failure` after a row that has no end within ten times the most, as a small packed file may contain.
    """
    number = first - 1
    while raw := file.readline(MAX_BYTES + 1):
        number += 1
        if number == 1:
            raw = raw.removeprefix(_BOM)
        if len(raw) > MAX_BYTES and not raw.endswith(b"\n"):
            more = 0
            while (rest := file.readline(_BLOCK)) and not rest.endswith(b"\n") and more <= _ENDLESS:
                more += len(rest)
            yield Row(number, raw[:MAX_BYTES], too_long=True)
            if more > _ENDLESS:
                raise Failure(f"row {number} has no end within {_ENDLESS:,} bytes; what follows was not read")
        elif not raw.isspace() and raw:
            yield Row(number, raw.rstrip(b"\r\n"))
