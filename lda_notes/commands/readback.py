"""``lda-notes readback``: bundles back to the record that they were made from."""

from __future__ import annotations

import sys
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lda_notes.check.report import visible
from lda_notes.commands.connecting import Access, connected, server_options
from lda_notes.commands.fhir_options import bundle_texts, config_option, folder_rows
from lda_notes.commands.options import out_option
from lda_notes.commands.printing import say
from lda_notes.problems import Failure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lda_notes.fhir.config import Config
    from lda_notes.fhir.readback.reading import Readback


@click.command()
@click.argument("paths", metavar="[BUNDLE]...", nargs=-1, type=click.Path(path_type=Path, allow_dash=True))
@server_options
@click.option(
    "--patient", metavar="SYSTEM|VALUE", help="With --server: the patient's record number, as the server has it."
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["yaml", "json"]),
    default="yaml",
    show_default=True,
    help="Format of the record.",
)
@config_option
@out_option
def command(
    paths: tuple[Path, ...],
    server: str | None,
    access: Access,
    patient: str | None,
    form: str,
    config_path: Path | None,
    out: Path | None,
) -> None:
    """Read FHIR bundles back into an episode record.

    Reads each BUNDLE: our own transactions, or the results of a search on a server; JSON, NDJSON, or - for standard
    input; or a folder that bundle --by-type wrote. With --server and --patient, reads what that server has about the
    patient instead. Facts come from the standard elements. Anything that could not be read is reported on standard
    error, with exit code 1. Several episodes in one run go to a folder (--out), one file each, or to standard output as
    JSON, one per row.

    Example: lda-notes readback bundles.ndjson --out episode.yaml
    """
    from lda_notes.fhir.config import load
    from lda_notes.fhir.readback.reading import readback

    config = load(config_path)
    if patient is None:
        if not paths:
            raise click.UsageError("Missing argument 'BUNDLE...'; or give --server and --patient.")
        bundles, where = _from_files(paths), str(paths[0])
    else:
        if paths or server is None:
            raise click.UsageError("--patient is for reading from a server: give --server, and no BUNDLE.")
        bundles, where = _from_server(server, access, patient, config), server
    read = readback(bundles, config)
    found = read.episodes
    if patient is not None:
        _refuse_another_patient(found, patient, where)
    for remark in read.remarks:
        say(visible(remark), err=True)
    if not found:
        raise Failure(
            f"{where}: no Provenance found there names an entry of a record under {config.systems.entry}; "
            "give the configuration that they were made with"
        )
    texts = [(str(one.data["id"]), _text(one.data, form)) for one in found]
    _write(texts, form, out)
    for one in found:
        for remark in one.remarks:
            say(visible(f"{one.data['id']}: {remark}"), err=True)
    sys.exit(1 if read.remarks or any(one.remarks or one.episode is None for one in found) else 0)


def _refuse_another_patient(found: Sequence[Readback], asked: str, where: str) -> None:
    """Raise `Failure` when a server answered with a record of anybody but the patient who was asked for."""
    for one in found:
        numbers = one.data.get("patient", {}).get("identifiers", ())
        if asked not in {f"{number.get('system')}|{number.get('value')}" for number in numbers}:
            raise Failure(
                f"{where}: answered with a record that is not of the patient asked for, so nothing was written; "
                "tell whoever keeps the server"
            )


def _from_files(paths: tuple[Path, ...]) -> list[Any]:
    """Return the bundles of files, and resources that stand in rows of their own as one bundle more."""
    from lda_notes.fhir.verify.verification import misshapen, read_json

    bundles: list[Any] = []
    rows: list[Any] = []
    for path in paths:
        for name, row, data in folder_rows(path) if path.is_dir() else bundle_texts(path):
            read, faults = read_json(data, row)
            if faults or not isinstance(read, dict) or "resourceType" not in read:
                said = faults[0].message if faults else "it is not a FHIR bundle"
                raise Failure(f"{name}: cannot be read as a bundle: {said.rstrip('.')}")
            _refuse_misshapen(name, misshapen(read))
            (bundles if read["resourceType"] == "Bundle" else rows).append(read)
    if rows:
        bundles.append(_collection(rows))
    return bundles


def _collection(resources: list[Any]) -> dict[str, Any]:
    return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}


def _from_server(server: str, access: Access, patient: str, config: Config) -> list[Any]:
    """Return what a server has of a patient, as one bundle. Raises `Failure` when it cannot.

    One search finds everything; a server that cuts its answer off is asked type by type.
    """
    from lda_notes.fhir.searches import by_type, everything, is_cut_off, relevant
    from lda_notes.fhir.verify.verification import misshapen
    from lda_notes.sending.pace import Pace

    system, mark, value = patient.partition("|")
    if not (system and mark and value):
        raise click.UsageError("--patient needs a system and a number, as in https://example.org/mrn|LB-1.")
    ours = config.systems.identity
    with connected(server, access, Pace()) as client:
        found = relevant(client.search("Patient", everything(system, value)), ours)
        if found and is_cut_off(found, ours):
            parts = (client.search(kind, query) for kind, query in by_type(system, value, ours))
            found = relevant([*found, *(resource for part in parts for resource in part)], ours)
    if not found:
        raise Failure(f"{server}: has no patient with that record number, or shows none to you")
    bundle = _collection(found)
    _refuse_misshapen(server, misshapen(bundle))
    return [bundle]


def _refuse_misshapen(name: str, faults: tuple[Any, ...]) -> None:
    """Raise `Failure` on a bundle that is not in the shape of FHIR: nothing in it can be relied on."""
    if faults:
        more = f" ({len(faults) - 1} more: `lda-notes verify` lists them)" if len(faults) > 1 else ""
        raise Failure(f"{name}: cannot be read as a bundle: {faults[0].where}: {faults[0].message.rstrip('.')}{more}")


def _text(data: dict[str, Any], form: str) -> bytes:
    if form == "json":
        from lda_notes.fhir.elements import to_json

        return f"{to_json(data)}\n".encode()
    from lda_notes.record.writer_text import full_record_text

    return full_record_text(_plain(data))


def _plain(value: Any) -> Any:
    """Numbers as YAML is written here; a record reads 2.50 and 2.5 as the same amount."""
    match value:
        case Decimal():
            return int(value) if value == value.to_integral_value() else float(value)
        case dict():
            return {key: _plain(one) for key, one in value.items()}
        case list():
            return [_plain(one) for one in value]
        case _:
            return value


def _write(texts: list[tuple[str, bytes]], form: str, out: Path | None) -> None:
    if out is not None and out.is_dir():
        files = [(out / f"{name}.{form}", text) for name, text in texts]
    elif out is not None and (len(texts) == 1 or form == "json"):
        files = [(out, b"".join(text for _, text in texts))]
    elif len(texts) == 1 or form == "json":
        say(b"".join(text for _, text in texts), nl=False)
        return
    else:
        where = "give a folder with --out" if out is None else f"{out} is not a folder: create it, give another folder"
        raise Failure(f"the bundles contain {len(texts)} episodes, one file each: {where}, or --format json")
    from lda_notes.commands.writing import write_all

    write_all(files)
    for path, _ in files:
        say(f"Written: {path}", err=True)
