"""What `pip install .` installs: every file of the package. Other tests run from the folder, where none can lack."""

from __future__ import annotations

import zipfile
from pathlib import Path

from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[2]


def test_the_wheel_contains_the_whole_package(tmp_path: Path) -> None:
    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"])
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
    data = {"lda_notes/_data/note_templates": "note_templates", "lda_notes/_data/demo_episodes": "demo_episodes"}
    folders = {"lda_notes": "lda_notes", **data}
    expected = {
        f"{inside}/{path.relative_to(ROOT / folder).as_posix()}"
        for inside, folder in folders.items()
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert "lda_notes/fhir/build/bundle.py" in expected and len(expected) > 300
    assert expected - names == set()
