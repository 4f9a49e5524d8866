"""``lda-notes demo``: the invented episodes, copied out, checked and written up, to try the program on."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Final

import click

from lda_notes.check.judged import Judged
from lda_notes.commands.options import asof_option
from lda_notes.commands.printing import say
from lda_notes.files.resources import folder
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.pipeline import judge_file
from lda_notes.problems import SEVERITIES, Failure

BAD: Final = "deliberately-bad"
"""The episode that shows what the check catches."""


@click.command()
@click.argument("directory", metavar="[DIR]", default="lda-notes-demo", type=click.Path(path_type=Path))
@asof_option
def command(directory: Path, asof: datetime) -> None:
    """Copy the invented demo episodes to DIR, check them and write their notes.

    Files with the same name that already exist are left unchanged and reported.

    Example: lda-notes demo lda-notes-demo
    """
    kept = _copy(directory)
    judged = [judge_file(path, DEFAULT, asof) for path in sorted(directory.glob("*.yaml"))]
    for result in judged:
        kept += _write_note(result, directory / "notes")
        say(f"{Path(result.record.file).name:26} {_summary(result)}")
    say(f"\n{len(judged)} episodes in {directory}, their notes in {directory / 'notes'}. Everything is invented.")
    if kept:
        say(f"Already there and left as they are: {', '.join(kept)}.")
    say("\nTry next:")
    for words in (
        f"lda-notes check {directory / BAD}.yaml",
        f"lda-notes note {directory / 'no-blood-return'}.yaml --event access-1",
        f"lda-notes handoff {directory / 'uncomplicated-week'}.yaml --asof 2026-05-08T07:00-05:00",
        f"lda-notes bundle {directory / 'heparin-history'}.yaml --event access-1",
    ):
        say(f"  {words}")


def _copy(directory: Path) -> list[str]:
    """Copy each demo episode to ``directory``; return the names that were there already."""
    from lda_notes.files.output import write_private

    kept: list[str] = []
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        (directory / "notes").mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise Failure(f"{directory}: cannot be made ({error.strerror}); give another folder") from None
    for source in sorted(folder("demo_episodes").glob("*.yaml")):
        target = directory / source.name
        if target.exists():
            if target.read_bytes() != source.read_bytes():
                kept.append(source.name)
            continue
        write_private(target, source.read_bytes())
    return kept


def _summary(result: Judged) -> str:
    if not result.findings:
        return "clean"
    rules = {finding.rule for finding in result.findings}
    counts = {severity: sum(f.severity == severity for f in result.findings) for severity in SEVERITIES}
    found = ", ".join(f"{number} {severity}" for severity, number in counts.items() if number)
    return f"{found} ({len(rules)} different rules)"


def _write_note(result: Judged, notes: Path) -> list[str]:
    """Write the note of an episode; return its name instead when another text is there already."""
    from lda_notes.documents.note import page as note
    from lda_notes.documents.render import render
    from lda_notes.files.output import write_private
    from lda_notes.narrative.narrator import narrator

    if result.timeline is None or not note.identifiers(result.timeline):
        return []
    sheet = note.sheet(result, DEFAULT, note.Choice(None, None, True), narrator(None))
    target = notes / f"{Path(result.record.file).stem}.txt"
    text = render(sheet, "text", 80, "a4")
    if target.exists() and target.read_bytes() != text:
        return [f"notes/{target.name}"]
    write_private(target, text)
    return []
