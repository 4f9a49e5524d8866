"""The FHIR package for integrators, with the demos' bundles as its examples."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lda_notes.commands.printing import say
from lda_notes.commands.writing import write_all
from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.build.notes import note_writer
from lda_notes.fhir.config import Config
from lda_notes.fhir.package.files import files
from lda_notes.files.resources import folder
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from lda_notes.pipeline import FAR
from lda_notes.problems import Failure
from lda_notes.record.reading import read


def write(to: Path, config: Config) -> None:
    """Write the package with the demos' bundles as examples. Raises `Failure` when the folder cannot be written."""
    made = [(to / name, text.encode()) for name, text in files(config, _examples(config))]
    try:
        for inside in {path.parent for path, _ in made}:
            inside.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise Failure(f"{to}: cannot be made ({error.strerror}); give another folder") from None
    write_all(made)
    say(f"Written: {len(made)} files of the package in {to / 'package'}", err=True)


def _examples(config: Config) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the bundles of every demo, by name; they claim our own profiles, whatever the configuration says."""
    claiming = config.model_copy(update={"profiles": tuple(dict.fromkeys(("own", *config.profiles)))})
    options = Options(notes=note_writer(DEFAULT))
    for path in sorted(folder("demo_episodes").glob("*.yaml")):
        record = read(path)
        assert record.episode is not None
        line = build(record.episode, DEFAULT, FAR, record.unread_facts)
        for number, one in enumerate(bundles(line, DEFAULT, claiming, options), start=1):
            yield f"{path.stem}-{number:02}", one.bundle
