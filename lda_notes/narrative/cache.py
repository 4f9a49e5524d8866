"""Compiled templates, kept in a folder of the user's own: what it holds is run, so no one else may write it."""

from __future__ import annotations

import hashlib
import os
import stat
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from jinja2.bccache import Bucket, FileSystemBytecodeCache

from lda_notes.files.system import belongs_to_me, is_private

_MOST_FILES: Final = 400
"""From this many on, what other versions of the program left behind is cleared away."""


class _PrivateCache(FileSystemBytecodeCache):
    """Compiled templates in a private folder; where it cannot be written, nothing is kept."""

    def __init__(self, folder: Path, version: str) -> None:
        super().__init__(str(folder), f"{version}-%s")
        self._folder = folder
        self._version = version

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a compiled template, if that is possible."""
        with suppress(OSError):
            super().dump_bytecode(bucket)
            self._clear_old()

    def load_bytecode(self, bucket: Bucket) -> None:
        """Load a compiled template, if a whole one is kept."""
        try:
            super().load_bytecode(bucket)
        except Exception:  # a damaged file: compile again
            bucket.reset()

    def _clear_old(self) -> None:
        kept = list(self._folder.iterdir())
        for file in kept if len(kept) >= _MOST_FILES else ():
            if not file.name.startswith(self._version):
                file.unlink(missing_ok=True)


def private_cache() -> FileSystemBytecodeCache | None:
    """Return the cache; None when there is no folder that only this user can write."""
    root = os.environ.get("XDG_CACHE_HOME", "")
    try:
        folder = (Path(root) if root.startswith("/") else Path.home() / ".cache") / "lda-notes" / "templates"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = folder.lstat()
    except (OSError, RuntimeError):
        return None
    if not stat.S_ISDIR(found.st_mode) or not is_private(found) or not belongs_to_me(found):
        return None
    return _PrivateCache(folder, _version())


def _version() -> str:
    """Return what the compiled form depends on beside the template: our tags and grammar, and Jinja's compiler."""
    digest = hashlib.sha256()
    for module in ("lda_notes.narrative.tags", "lda_notes.narrative.grammar", "jinja2.compiler"):
        spec = find_spec(module)
        if spec is not None and spec.origin:
            digest.update(Path(spec.origin).read_bytes())
    return digest.hexdigest()[:16]
