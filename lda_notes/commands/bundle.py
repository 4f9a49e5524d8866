"""``lda-notes bundle``: records as FHIR R4 transaction bundles, each verified before it leaves."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lda_notes.commands.fhir_options import config_option, refuse_dash
from lda_notes.commands.options import out_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.commands.streaming import Streaming, rows_of, stream, streaming_options
from lda_notes.problems import Failure

if TYPE_CHECKING:
    from lda_notes.fhir.build.bundle import Options
    from lda_notes.fhir.config import Config
    from lda_notes.knowledge.policy import Policy
    from lda_notes.record.reading import Record


@click.command()
@click.argument("paths", metavar="FILE|DIR...", nargs=-1, type=click.Path(path_type=Path, allow_dash=True))
@click.option("--event", metavar="ID", help="Only the bundle for this event.")
@click.option("--with-context", is_flag=True, help="Add patient, staff, facility and stay, created conditionally.")
@click.option("--no-note", is_flag=True, help="Leave the notes out: faster, for bulk.")
@click.option("--docx", is_flag=True, help="Also add each note as a docx document.")
@click.option(
    "--templates",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of note templates that replace the built-in ones.",
)
@click.option(
    "--by-type",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Write resources instead, one NDJSON file for each type, for bulk import; into a new or empty folder.",
)
@click.option("--definitions", is_flag=True, help="Print the definitions of our extensions instead.")
@click.option(
    "--package",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write a FHIR package for integrators to DIR instead: profiles, codes, what a server must do, examples.",
)
@streaming_options
@config_option
@policy_option
@out_option
def command(
    paths: tuple[Path, ...],
    event: str | None,
    with_context: bool,
    no_note: bool,
    docx: bool,
    templates: Path | None,
    by_type: Path | None,
    definitions: bool,
    package: Path | None,
    how: Streaming,
    config_path: Path | None,
    policy_path: Path | None,
    out: Path | None,
) -> None:
    """Write FHIR R4 transaction bundles from records, one for each event, in order of time.

    The same records always give the same bytes. Other stays of the same patient and port, given or in the same folder,
    are read too: a hold from an earlier stay is in the bundles of the next. Bundles may be sent in any order and more
    than once. Each is verified first; if there is any fault, nothing is written. On standard output and in a file they
    are NDJSON, one bundle per row (a single bundle is spread over many); in a folder, each is a separate JSON file.

    A file that ends in .ndjson or .jsonl (also .gz or .zst), or - for standard input, contains one record per row.
    Records are processed one at a time, each on its own, without other stays; a record with any fault is named and
    gives no bundle, while the others continue.

    With --by-type DIR the resources themselves are written, with literal ids, as a server would have them after all
    transactions: Patient.ndjson, Device.ndjson and so on. Rows must be in order of the patient's record number; one
    patient is in memory at a time.

    Exits with 0 if everything was written, 1 if a bundle has faults, 2 if a record cannot be read.

    Example: lda-notes bundle episode.yaml --out bundles.ndjson
    """
    from lda_notes.fhir.config import load

    refuse_dash("--by-type", by_type)
    refuse_dash("--package", package)
    config = load(config_path)
    if definitions:
        from lda_notes.fhir.elements import to_json
        from lda_notes.fhir.extensions import definitions as made

        _put([("definitions", to_json(made(config), spread=True) + "\n")], out)
        return
    if package is not None:
        from lda_notes.commands.package import write

        write(package, config)
        return
    if not paths:
        raise click.UsageError("Missing argument 'FILE|DIR...'.")
    if no_note and docx:
        raise click.UsageError("Give only one of --no-note and --docx.")
    rows = rows_of(paths, how)
    if by_type is not None and (how.asked or out is not None or event is not None):
        raise click.UsageError("--by-type goes without --out, --event, --workers, --from-line and --dask.")
    if rows and by_type is None and (docx or event is not None):
        raise click.UsageError("--docx and --event are for records in files of their own, not for NDJSON.")
    from lda_notes.knowledge import policy_file

    policy = policy_file.in_force(policy_path, [path for path in paths if path.exists()])
    if rows and by_type is None:
        from lda_notes.stream.tasks import Bundle, Rules

        stream(rows, Bundle(Rules.of(policy), config, with_context, not no_note), how, out)
    from lda_notes.fhir.build.bundle import Options
    from lda_notes.fhir.build.notes import note_writer

    notes = None if no_note else note_writer(policy, docx=docx, templates=templates)
    options = Options(with_context=with_context or by_type is not None, notes=notes)
    if by_type is not None:
        from lda_notes.commands import by_type as typed

        sys.exit(typed.write(paths, rows, policy, config, options, by_type))
    _write(paths, event, config, policy, options, out)


def _write(
    paths: tuple[Path, ...], event: str | None, config: Config, policy: Policy, options: Options, out: Path | None
) -> None:
    """Write the bundles of records in files of their own, or of one event; with any fault none is written.

    Each has a name for its file: the record's own, its number, its event.
    """
    from lda_notes import pipeline
    from lda_notes.commands.reading import files, read_all
    from lda_notes.fhir.elements import to_json

    given = files(paths)
    read, beside = read_all(given)
    _refuse_unread(read)
    texts: list[tuple[str, str]] = []
    faults: list[str] = []
    resources = 0
    for path, record, line in zip(given, read, pipeline.stays(read, beside, policy, pipeline.FAR), strict=True):
        made = pipeline.bundled(record, policy, config, options, line)
        chosen = (one for one in made if event is None or one.made.event == event)
        for number, one in enumerate(chosen, start=1):
            faults += one.sentences(record)
            resources += len(one.made.bundle["entry"])
            text = to_json(one.made.bundle, spread=event is not None) + "\n"
            texts.append((f"{path.stem}-{number:03}-{one.made.event}", text))
    if faults:
        say("\n".join(faults), err=True)
        say("Nothing was written: the bundles have faults.", err=True)
        sys.exit(1)
    if event is not None and not texts:
        raise Failure(f"{paths[0]}: has no event {event}")
    _put(texts, out)
    counted = "1 bundle" if len(texts) == 1 else f"{len(texts)} bundles"
    say(f"{counted} with {resources} resources, verified.", err=True)


def _refuse_unread(read: list[Record]) -> None:
    """Refuse a record of which anything could not be read: it would lose that in silence."""
    broken = [record for record in read if record.findings]
    if broken:
        from lda_notes.commands.reading import why_unreadable

        counted = "1 record" if len(broken) == 1 else f"{len(broken)} records"
        said = [why_unreadable(record) for record in broken]
        raise Failure("\n".join([f"{counted} could not be read whole, so nothing was written:", *said]))


def _put(texts: list[tuple[str, str]], out: Path | None) -> None:
    """Write texts to standard output or a file, one after the other, or each as a JSON file of its own in a folder."""
    from lda_notes.commands.writing import write, write_all

    if out is not None and out.is_dir():
        if len({name for name, _ in texts}) < len(texts):
            raise Failure(f"{out}: records of the same name would overwrite each other; give each a folder of its own")
        write_all([(out / f"{name}.json", text.encode()) for name, text in texts])
        say(f"Written: {len(texts)} files in {out}", err=True)
    else:
        write("".join(text for _, text in texts).encode(), out)
