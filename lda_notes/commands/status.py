"""``lda-notes status``: what a server has of records, resource by resource."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from lda_notes.check import report
from lda_notes.commands.connecting import (
    SERVER_VARIABLE,
    Access,
    connected,
    context_option,
    delivery_options,
    made_of,
    server_options,
)
from lda_notes.commands.fhir_options import config_option
from lda_notes.commands.options import asof_option, policy_option, records_argument
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.problems import Failure

if TYPE_CHECKING:
    from lda_notes.sending.client import Server
    from lda_notes.sending.parcel import Parcel
    from lda_notes.sending.status import Standing

JSON_VERSION: Final = 1


@click.command()
@records_argument
@server_options
@click.option("--all", "every", is_flag=True, help="Also list what is the same.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
@delivery_options
@context_option
@config_option
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    server: str | None,
    access: Access,
    every: bool,
    form: str,
    documents_only: bool,
    with_context: bool,
    config_path: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Compare records with what a FHIR R4 server has, resource by resource.

    Same: as in the record. Missing: not on the server. Different: on the server, with each element that differs and
    both values. Retracted: entered in error, in the record and on the server. Doubled: two resources under one
    identity. Present: patient, staff and stay, which are not compared. Extra: from an entry that is no longer in the
    record. Give --with-context if the records were sent so. Unread: the answer of the server could not be read, with
    the reason.

    Exits with 0 if nothing is missing, different, doubled, extra or unread, 1 if something is, 4 if the server cannot
    be reached.

    Example: lda-notes status episode.yaml --server https://fhir.example.org/r4
    """
    if server is None:
        raise click.UsageError(f"Which server? Give --server, or set {SERVER_VARIABLE}.")
    from lda_notes.sending.entries import NotSafe
    from lda_notes.sending.pace import Pace
    from lda_notes.sending.status import GOOD, standing

    policy = policy_file.in_force(policy_path, paths)
    made = made_of(paths, policy, config_path, asof, with_context=with_context, documents_only=documents_only)
    broken = [f"{one.file}: {one.broken}" for one in made if one.broken is not None]
    if broken:
        raise Failure("\n".join(["what cannot be read cannot be compared:", *broken]))
    with connected(server, access, Pace()) as client:
        try:
            parcels = [parcel for one in made for parcel in one.parcels]
            found = list(standing(client, parcels))
            found += _left_over(client, parcels)
        except NotSafe as why:
            raise Failure(f"the bundles cannot be compared: {why}") from None
    if form == "json":
        document = {"version": JSON_VERSION, "resources": [_as_json(one) for one in found]}
        say(json.dumps(document, indent=2, ensure_ascii=False, default=str))
    else:
        for one in found:
            if every or one.state not in GOOD:
                say("\n".join(_rows(one)))
    counted = Counter(one.state for one in found)
    said = ", ".join(f"{number} {state}" for state, number in sorted(counted.items())) or "nothing to compare"
    say(f"{server.rstrip('/')}: {said}.", err=True)
    sys.exit(0 if all(one.state in GOOD for one in found) else 1)


def _left_over(client: Server, parcels: list[Parcel]) -> list[Standing]:
    """Return what is no longer in the records; say so where the server cannot be asked that."""
    from lda_notes.sending.client import NotAllowed
    from lda_notes.sending.status import left_over

    try:
        return list(left_over(client, parcels))
    except NotAllowed as why:
        say(f"what is no longer in the record could not be looked for: {why}", err=True)
        return []


def _rows(one: Standing) -> Iterator[str]:
    from lda_notes.sending.entries import called
    from lda_notes.sending.words import differences

    place = f"{one.file}:{one.row}" if one.row else one.file
    where = report.visible(", ".join(part for part in (one.event, place) if part))
    stored = " and ".join(f"{each.kind}/{each.id} version {each.version}" for each in one.stored)
    yield (
        f"{one.state:<9}  {report.visible(called(one.entry.resource))}"
        + (f"  [{where}]" if where else "")
        + (f"  {report.visible(stored)}" if stored else "")
    )
    if one.why is not None:
        yield f"           could not be read: {report.visible(one.why)}"
    for row in differences(one.differences):
        yield f"           {row}"


def _as_json(one: Standing) -> dict[str, Any]:
    from lda_notes.fhir.elements import to_json
    from lda_notes.sending.words import note_texts

    return {
        "state": one.state,
        "type": one.entry.identity.kind,
        "identity": one.entry.identity.value,
        "event": one.event,
        "file": one.file,
        "row": one.row,
        "why": one.why,
        "held": [{"id": each.id, "version": each.version} for each in one.stored],
        "differences": [
            {"path": each.path, "record": json.loads(to_json(sent)), "server": json.loads(to_json(stored))}
            for each in one.differences
            for sent, stored in [note_texts(each) or (each.sent, each.stored)]
        ],
    }
