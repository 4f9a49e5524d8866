"""``lda-notes verify``: whether a strict FHIR R4 server can take a bundle, and if not, why."""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import click

from lda_notes.check.report import visible
from lda_notes.commands.fhir_options import bundle_texts, folder_rows
from lda_notes.commands.options import out_option
from lda_notes.commands.printing import say
from lda_notes.commands.streaming import Streaming, rows_of, stream, streaming_options
from lda_notes.commands.writing import write
from lda_notes.stream.names import STANDARD_INPUT, is_rows

JSON_VERSION = 1
"""Of the shape that ``--format json`` prints."""


@click.command()
@click.argument("paths", metavar="BUNDLE...", nargs=-1, required=True, type=click.Path(path_type=Path, allow_dash=True))
@click.option("--r4-only", is_flag=True, help="Check against R4 only, not against the profile of our own bundles.")
@click.option("--models", is_flag=True, help="Also validate each bundle with the fhir.resources models.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    help="Text or JSON. Default: text; for NDJSON, a row of JSON for each row.",
)
@streaming_options
@out_option
def command(
    paths: tuple[Path, ...],
    r4_only: bool,
    models: bool,
    form: str | None,
    how: Streaming,
    out: Path | None,
) -> None:
    """Verify FHIR R4 bundles: shapes, codes, invariants, references, units, identities.

    Reads each BUNDLE: a JSON file, NDJSON with one bundle per row, - for standard input, or a folder that bundle
    --by-type wrote. In such a folder each row is checked, as is that each id is used once and each reference leads to a
    row. Every fault names entry, path, rule and value; a claimed profile that is not checked is named. No network is
    used.

    A file that ends in .ndjson or .jsonl (also .gz or .zst) contains one bundle per row, and so does standard input
    with any option for NDJSON: bundles are read one at a time, with one row of JSON for each.

    Exits with 0 if there are no faults, 1 if there are, 2 if a file cannot be read.

    JSON: version (1) and files, each with file, faults and not_judged, the profiles that resources claim and that
    were not looked at (of a folder, the rows of which there is something to report); a fault has entry (from 0, or
    null), path, rule, value, message and todo.

    Example: lda-notes verify bundle.json
    """
    from lda_notes.fhir.verify.rows import Rows
    from lda_notes.fhir.verify.verification import not_judged, read_json, verify_json

    rows = rows_of(paths, how) if how.asked or all(is_rows(path) and path != STANDARD_INPUT for path in paths) else []
    if rows:
        from lda_notes.stream.tasks import Verify

        stream(rows, Verify(not r4_only, models, form == "text"), how, out)
    found: list[tuple[str, tuple[Any, ...], tuple[str, ...]]] = []
    counted: Counter[str] = Counter()
    for path in paths:
        together = Rows() if path.is_dir() else None
        for name, row, data in bundle_texts(path) if together is None else folder_rows(path):
            faults = verify_json(data, house=not r4_only, row=row, rows=together is not None)
            bundle, not_json = read_json(data, row)
            if models:
                from lda_notes.fhir.verify.models import model_check

                faults += model_check(bundle) if not not_json else ()
            if together is not None:
                faults += together.take(name, bundle)
            counted["bundle" if together is None else "row"] += 1
            unjudged = not_judged(bundle, house=not r4_only)
            if together is None or faults or unjudged:  # a folder may have millions of rows
                found.append((name, faults, unjudged))
        found += [(name, (fault,), ()) for name, fault in (together.unresolved() if together is not None else ())]
    total = sum(len(faults) for _, faults, _ in found)
    if form == "json":
        text = json.dumps(_as_json(found), indent=2, ensure_ascii=False) + "\n"
    else:
        said = (f"{name}: {fault} Found: {fault.value}" for name, faults, _ in found for fault in faults)
        text = "".join(f"{visible(one)}\n" for one in said)
    write(text.encode("utf-8", "replace"), out)
    for profile in dict.fromkeys(one for _, _, profiles in found for one in profiles):
        say(
            f"Not judged: the profile {visible(profile)}, which resources claim; only R4 and our own rules are.",
            err=True,
        )
    judged = ", ".join(f"{number:,} {noun}{'' if number == 1 else 's'}" for noun, number in counted.items())
    say(f"{judged}: {f'{total} fault' + ('s' if total != 1 else '') if total else 'no faults'}.", err=True)
    sys.exit(1 if total else 0)


def _as_json(found: list[tuple[str, tuple[Any, ...], tuple[str, ...]]]) -> dict[str, Any]:
    return {
        "version": JSON_VERSION,
        "files": [
            {
                "file": name,
                "faults": [fault.as_json() for fault in faults],
                "not_judged": list(profiles),
            }
            for name, faults, profiles in found
        ],
    }
