"""Common parts of the commands that use a server: which server, how it knows us, and how records become bundles."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from lda_notes import pipeline
from lda_notes.commands.options import together
from lda_notes.commands.printing import say
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import Failure

if TYPE_CHECKING:
    from lda_notes.check.judged import Judged
    from lda_notes.pipeline import Bundled
    from lda_notes.sending.address import Address
    from lda_notes.sending.auth import Credentials
    from lda_notes.sending.client import Server
    from lda_notes.sending.making import Made
    from lda_notes.sending.pace import Pace
    from lda_notes.sending.wire import Connection

SERVER_VARIABLE: Final = "LDA_NOTES_SERVER"
TOKEN_VARIABLE: Final = "LDA_NOTES_TOKEN"


@dataclass(frozen=True, slots=True)
class Access:
    """How a server is to be reached, as given; nothing of it is secret but what the files hold."""

    ca_file: Path | None
    token_file: Path | None
    client_id: str | None
    key_file: Path | None
    token_url: str | None
    scope: str | None
    timeout: float


server_options = together(
    "access",
    Access,
    click.option("--server", metavar="URL", envvar=SERVER_VARIABLE, show_envvar=True, help="FHIR R4 server."),
    click.option(
        "--ca-file",
        type=click.Path(path_type=Path),
        envvar="LDA_NOTES_CA_FILE",
        show_envvar=True,
        help="Certificate of the authority that vouches for the server (PEM), instead of the public ones.",
    ),
    click.option(
        "--token-file",
        type=click.Path(path_type=Path),
        help=f"File with a bearer token, readable by you alone; else {TOKEN_VARIABLE} is used.",
    ),
    click.option(
        "--client-id",
        envvar="LDA_NOTES_CLIENT_ID",
        show_envvar=True,
        help="Client identifier for SMART Backend Services; needs --key-file.",
    ),
    click.option(
        "--key-file",
        type=click.Path(path_type=Path),
        envvar="LDA_NOTES_KEY_FILE",
        show_envvar=True,
        help="Private key of that client, PEM or JWK, readable by you alone.",
    ),
    click.option(
        "--token-url", envvar="LDA_NOTES_TOKEN_URL", help="Token service. Default: the one that the server names."
    ),
    click.option("--scope", envvar="LDA_NOTES_SCOPE", help="Scopes to request. Default: the fewest that are needed."),
    click.option(
        "--timeout",
        type=click.FloatRange(min=0, min_open=True, max=3600),
        default=60.0,
        show_default=True,
        help="Seconds to wait for an answer.",
    ),
)
"""``--server``, passed as ``server``, and what is needed to reach it, all together as ``access``."""

context_option = click.option(
    "--with-context",
    is_flag=True,
    help="Also create patient, staff and stay where the server lacks them: for test servers.",
)
delivery_options = click.option(
    "--documents-only", is_flag=True, help="Only the notes (DocumentReference), for servers that accept nothing else."
)


def made_of(
    paths: tuple[Path, ...],
    policy: Policy,
    config_path: Path | None,
    asof: datetime,
    *,
    with_context: bool,
    despite: str | None = None,
    documents_only: bool = False,
) -> list[Made]:
    """Return the parcels of every record within its line and of every bundle file, also NDJSON with a bundle a row.

    ``documents_only``: the notes alone.
    Raises `Failure` for a file that cannot be opened.
    """
    from lda_notes.commands.fhir_options import bundle_texts
    from lda_notes.commands.reading import read_all
    from lda_notes.fhir.build.bundle import Options
    from lda_notes.fhir.build.notes import note_writer
    from lda_notes.fhir.config import load
    from lda_notes.sending.making import documents_alone, from_bundle, from_record, is_bundle, sharing

    if documents_only and with_context:
        raise click.UsageError("--documents-only sends no patient, staff or stay; leave out --with-context.")
    config = load(config_path)
    options = Options(with_context=with_context, notes=note_writer(policy), despite=despite)
    made: list[Made] = []
    given = dict.fromkeys(pipeline.record_files(paths))
    records = [path for path in given if not is_bundle(path)]
    read, beside = read_all(records)
    judged = dict(zip(records, pipeline.judge_given(read, beside, policy, asof), strict=True))
    readable = [record for record in read if record.episode is not None]
    stays = pipeline.stays(readable, beside, policy, pipeline.FAR)
    lines = {id(record): stay for record, stay in zip(readable, stays, strict=True)}

    def make(one: Judged) -> Iterator[Bundled]:
        return pipeline.bundled(one.record, policy, config, options, lines[id(one.record)])

    for path in given:
        if path in judged:
            made.append(from_record(judged[path], make, config))
        else:
            made.extend(from_bundle(name, data, despite, row) for name, row, data in bundle_texts(path))
    return sharing(documents_alone(made) if documents_only else made)


@contextmanager
def connected(server: str, access: Access, pace: Pace, written: Iterable[str] = ()) -> Iterator[Server]:
    """A server to speak to; ``written`` are the resource types that will be sent to it.

    Raises `Failure` when the address, the token or the key is not fit for it.
    """
    from lda_notes.sending.address import address
    from lda_notes.sending.client import Server
    from lda_notes.sending.wire import Connection

    where = address(server)
    with Connection(where, timeout_s=access.timeout, ca_file=access.ca_file) as connection:
        made = Server(connection, where, _credentials(where, access, connection, pace, frozenset(written)), pace)
        try:
            yield made
        finally:
            for words in made.said:
                say(f"{where.base} reports: {words}", err=True)


def _credentials(
    server: Address, access: Access, connection: Connection, pace: Pace, written: frozenset[str]
) -> Credentials:
    from lda_notes.fhir.identity import EMITTED
    from lda_notes.sending import auth
    from lda_notes.sending.secret_files import read_secret, token_text

    if access.client_id is not None or access.key_file is not None:
        if access.client_id is None or access.key_file is None:
            raise click.UsageError("--client-id and --key-file belong together; give both or none.")
        if not (access.client_id + (access.scope or "")).isprintable():
            raise click.UsageError("--client-id and --scope are text in one row, without control characters.")
        if access.token_file is not None:
            raise click.UsageError("Give either --token-file or --client-id, not both.")
        return auth.BackendService(
            connection,
            server,
            access.client_id,
            auth.signing_key(access.key_file),
            access.scope or auth.scopes(written, EMITTED - written),
            auth.token_address(access.token_url, server) if access.token_url else None,
            pace,
        )
    if access.token_file is not None:
        data = read_secret(access.token_file, "the token")
        return auth.Bearer(token_text(data.decode(errors="replace"), str(access.token_file)))
    token = os.environ.get(TOKEN_VARIABLE)
    return auth.Bearer(token_text(token, TOKEN_VARIABLE) if token else None)


def default_outbox() -> Path:
    """Return where bundles wait when no folder is named: in the user's own state folder."""
    root = os.environ.get("XDG_STATE_HOME", "")
    try:
        state = Path(root) if root.startswith("/") else Path.home() / ".local" / "state"
    except RuntimeError:
        raise Failure("you have no home folder, so name an outbox with --outbox") from None
    return state / "lda-notes" / "outbox"
