"""``lda-notes send``: delivers bundles to a FHIR server, by way of an outbox that forgets nothing."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from lda_notes.check import report
from lda_notes.commands.connecting import (
    Access,
    connected,
    context_option,
    default_outbox,
    delivery_options,
    made_of,
    server_options,
)
from lda_notes.commands.fhir_options import config_option
from lda_notes.commands.options import asof_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.problems import FOUND, REFUSED, UNREACHABLE, Failure

if TYPE_CHECKING:
    from lda_notes.sending.drain import Passed
    from lda_notes.sending.making import Made
    from lda_notes.sending.outbox import Outbox

OUTBOX_VARIABLE: Final = "LDA_NOTES_OUTBOX"
_FEW: Final = 5
"""Up to so many bundles are sent without a bar that shows how far it is."""

_LONGEST_REASON: Final = 300


@dataclass(slots=True)
class _Tally:
    """The outcome of everything that was to be sent."""

    files_refused: int = 0
    known: int = 0
    sent: int = 0
    created: int = 0
    updated: int = 0
    unchanged: int = 0
    kept: int = 0
    set_aside: int = 0
    rows: list[str] = field(default_factory=list)
    stopped: Failure | None = None


@click.command()
@click.argument("paths", metavar="[FILE|DIR|BUNDLE]...", nargs=-1, type=click.Path(exists=True, path_type=Path))
@server_options
@click.option(
    "--outbox",
    "folder",
    metavar="DIR",
    is_flag=False,
    flag_value="",
    type=click.Path(path_type=Path, file_okay=False),
    envvar=OUTBOX_VARIABLE,
    show_envvar=True,
    help="Folder where bundles wait and receipts are kept. Default: one in your own state folder.",
)
@click.option(
    "--despite",
    metavar="REASON",
    help="Send despite findings; the reason goes with the bundles, in their Provenance.",
)
@click.option("--resend", is_flag=True, help="Send again what was sent or set aside before.")
@delivery_options
@click.option(
    "--one-by-one",
    is_flag=True,
    help="Each resource separately, after a search for it, for servers without transactions.",
)
@context_option
@config_option
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    server: str | None,
    access: Access,
    folder: Path | None,
    despite: str | None,
    resend: bool,
    documents_only: bool,
    one_by_one: bool,
    with_context: bool,
    config_path: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Deliver records, or bundles made earlier, to a FHIR R4 server.

    Every record is checked and every bundle verified first; anything with findings is refused. BUNDLE is a file that
    the command bundle wrote, for example with notes as docx or with profiles. Bundles go through the outbox: without a
    server, or while it is down, they wait there, and the next run sends them in order, once each. What the receipts in
    the outbox show as sent and unchanged is not sent again; where the server kept something different, the difference
    is reported each time. A bundle that the server refuses is set aside with its reason; the others continue, since
    each is complete on its own. Without files and without a server, what is waiting and what was set aside is listed.

    Exits with 0 if everything was sent (or is waiting, without a server), 1 if the server has something that differs, 3
    if something was refused, 4 if something is still waiting for the server.

    Example: lda-notes send episode.yaml --server https://fhir.example.org/r4
    """
    reason = _reason(despite)
    from lda_notes.sending.address import address
    from lda_notes.sending.outbox import Outbox

    base = address(server).base if server is not None else None
    tally = _Tally()
    made: list[Made] = []
    if paths:
        policy = policy_file.in_force(policy_path, paths)
        made = made_of(
            paths,
            policy,
            config_path,
            asof,
            with_context=with_context,
            despite=reason,
            documents_only=documents_only,
        )
    box = Outbox(folder if folder is not None and folder.name else default_outbox())
    if not paths and server is None:
        _list(box)
        return
    accepted = list(_accepted([_first_number(box, base, one) for one in made], reason, tally))
    if resend:
        box.forget(parcel.digest for one in accepted for parcel in one.parcels)
        if not paths:
            box.put_back(base)
    parcels = [parcel.to(base) for one in accepted for parcel in one.parcels]
    fresh = [parcel for parcel in parcels if base is None or not box.has(base, parcel.digest)]
    tally.known += len(parcels) - len(fresh)
    box.put(fresh)
    if server is not None:
        _send(box, server, access, tally, one_by_one=one_by_one)
    _report(box, base, tally)
    sys.exit(_code(box, base, tally))


def _list(box: Outbox) -> None:
    """Say what waits and what was set aside, with the reasons."""
    waiting, aside = box.waiting(), box.set_aside()
    for slip in waiting:
        to = f" for {slip.server}" if slip.server else ""
        say(f"waits{to}: {report.visible(slip.about or 'a bundle without an event')}")
    for slip in aside:
        say((slip.reason or "").rstrip("\n"))
    said = f"{_bundles(len(waiting))} {_wait(len(waiting))}, {len(aside)} set aside"
    say(f"{said}, in {box.folder}.", err=True)


def _first_number(box: Outbox, base: str | None, made: Made) -> Made:
    """Refuse a record that was sent under another of the patient's numbers: its identities would all be new ones."""
    from dataclasses import replace

    stays = {parcel.about.partition("/")[0] for parcel in made.parcels if parcel.about is not None and made.judged}
    earlier = {line for stay in stays for line in box.first_numbers(base, f"{stay}/")}
    if earlier & set(made.lines[1:]) and made.lines[0] not in earlier:
        why = (
            "it was first sent under another of the patient's record numbers; put that number first again, with "
            "replaced: yes if it is no longer used"
        )
        return replace(made, parcels=(), broken=why)
    return made


def _reason(despite: str | None) -> str | None:
    if despite is None:
        return None
    reason = " ".join(despite.split())
    if not reason or len(reason) > _LONGEST_REASON or not reason.isprintable():
        raise click.UsageError(f"--despite needs a reason in words, of at most {_LONGEST_REASON} characters.")
    return reason


# -- before sending --


def _accepted(made: Iterable[Made], reason: str | None, tally: _Tally) -> Iterator[Made]:
    """Yield what may be sent; say what may not, and why."""
    for one in made:
        if one.is_clean or (reason is not None and one.broken is None):
            yield one
            continue
        tally.files_refused += 1
        for row in _refusal(one):
            say(row)


def _refusal(one: Made) -> Iterator[str]:

    file = report.visible(one.file)
    if one.broken is not None:
        yield f"{file}: refused: {report.visible(one.broken)}."
    if one.findings and one.judged is not None:
        checked = report.Checked(one.file, one.judged._replace(findings=one.findings))
        yield report.text([checked]).rstrip("\n")
    for about, fault in one.faults:
        yield f"{file}{f', event {report.visible(about)}' if about else ''}: {report.visible(str(fault))}"
    if one.broken is None:
        counted = len(one.findings) + len(one.faults)
        found = "1 finding" if counted == 1 else f"{counted} findings"
        yield f"{file}: refused for {found}; correct the record, or give a reason with --despite."


# -- sending --


def _send(box: Outbox, server: str, access: Access, tally: _Tally, *, one_by_one: bool) -> None:
    from lda_notes.sending.drain import drain
    from lda_notes.sending.pace import Pace

    waiting = box.waiting()
    written = {kind for slip in waiting for kind in (*slip.creates, *slip.updates)}
    with connected(server, access, Pace(), written) as client, _progress(len(waiting)) as step:
        try:
            for passed in drain(box, client, lambda: datetime.now(UTC), one_by_one=one_by_one):
                _count(passed, tally)
                step()
        except Failure as failure:
            tally.stopped = failure


@contextmanager
def _progress(waiting: int) -> Iterator[Any]:
    """A bar on a terminal when there is something to wait for; nothing elsewhere."""
    if waiting <= _FEW or not sys.stderr.isatty():
        yield lambda: None
        return
    with click.progressbar(length=waiting, label="Sending", file=sys.stderr, show_pos=True) as bar:
        yield lambda: bar.update(1)


def _count(passed: Passed, tally: _Tally) -> None:
    from lda_notes.fhir.verify.verification import read_json
    from lda_notes.sending.deliver import Delivered
    from lda_notes.sending.drain import SetAside
    from lda_notes.sending.words import kept, warned

    match passed.result:
        case Delivered() as done:
            tally.sent += 1
            tally.created += done.created
            tally.updated += done.updated
            tally.unchanged += done.unchanged
            tally.kept += len(done.kept)
            if passed.parcel is not None and (done.kept or done.warnings):
                bundle, _ = read_json(passed.parcel.bundle)
                tally.rows += [kept(passed.parcel, bundle, done.kept)] if done.kept else []
                tally.rows += [warned(passed.parcel, bundle, done.warnings)] if done.warnings else []
        case SetAside(reason=reason):
            tally.set_aside += 1
            tally.rows.append(reason.rstrip("\n"))
        case _:
            tally.known += 1


# -- what is said --


def _report(box: Outbox, base: str | None, tally: _Tally) -> None:
    for row in tally.rows:
        say(row)
    waiting = [slip for slip in box.waiting() if base is None or slip.server in (None, base)]
    others = len(box.waiting()) - len(waiting)
    if tally.stopped is not None:
        say(f"lda-notes: {tally.stopped}", err=True)
    said = []
    if base is not None:
        said.append(
            f"{_bundles(tally.sent)} sent to {base}: {tally.created} resources created, {tally.updated} updated, "
            f"{tally.unchanged} there already"
        )
    if tally.known:
        said.append(f"{_bundles(tally.known)} unchanged since an earlier run and not sent again")
    if tally.kept:
        said.append(f"{tally.kept} resources kept by the server as they were, though the record differs")
    if tally.files_refused:
        said.append(f"{tally.files_refused} {'file' if tally.files_refused == 1 else 'files'} refused before sending")
    if tally.set_aside:
        said.append(f"{_bundles(tally.set_aside)} refused by the server and set aside in {box.folder}")
    if waiting:
        said.append(f"{_bundles(len(waiting))} {_wait(len(waiting))} in {box.folder}")
    if others:
        said.append(f"{_bundles(others)} {_wait(others)} for another server")
    say("; ".join(said or ["Nothing to send"]) + ".", err=True)


def _bundles(number: int) -> str:
    return "1 bundle" if number == 1 else f"{number} bundles"


def _wait(number: int) -> str:
    return "waits" if number == 1 else "wait"


def _code(box: Outbox, base: str | None, tally: _Tally) -> int:
    if tally.stopped is not None:
        return tally.stopped.code
    if base is not None and any(slip.server in (None, base) for slip in box.waiting()):
        return UNREACHABLE
    if tally.files_refused or tally.set_aside:
        return REFUSED
    return FOUND if tally.kept else 0
