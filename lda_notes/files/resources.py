"""Where the files that come with the program are: in a wheel inside the package, in a working copy beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from lda_notes.problems import Failure

FolderName = Literal["note_templates", "demo_episodes"]


def folder(name: FolderName) -> Path:
    """Return the folder ``name``. Raises `Failure` when the installation lacks it."""
    package = Path(__file__).parents[1]
    for place in (package / "_data" / name, package.parent / name):
        if place.is_dir():
            return place
    raise Failure(f"{name} did not come with this installation; install lda-notes again")
