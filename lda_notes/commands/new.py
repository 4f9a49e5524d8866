"""``lda-notes new``: starts a record by asking for patient, stay and port."""

from __future__ import annotations

import base64
import os
import secrets
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lda_notes.commands.charting_options import charting_options, clock, given
from lda_notes.commands.options import asof_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import Failure

if TYPE_CHECKING:
    from lda_notes.line.timeline import Timeline

_ENDINGS = (".yaml", ".yml", ".json")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--from-bundle",
    "bundle",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="FHIR R4 bundle with Patient, Encounter and Device; what it contains is not asked.",
)
@charting_options
@asof_option
@policy_option
def command(
    file: Path,
    bundle: Path | None,
    pairs: tuple[str, ...],
    answers: Path | None,
    no_input: bool,
    sign: str | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Start the record of one patient's stay with one port, then chart in it.

    What the records beside it have in common (facility, unit, time zone, the system of record numbers) is offered. If
    one of them is an earlier record of the same patient, patient and port are taken from it; what is taken is shown,
    and so is a hold. The file is readable by you alone. Nothing is written until you confirm.

    Example: lda-notes new episode.yaml --from-bundle admission.json
    """
    from lda_notes.chart.new_record import RecordForm
    from lda_notes.commands.charting import Desk, Means
    from lda_notes.commands.console import plain
    from lda_notes.record.writer import Again, Changed, Written, create, look, refuse_unless_writable
    from lda_notes.record.writer_text import record_text

    if file.suffix.lower() not in _ENDINGS:
        raise click.UsageError(f"{file} does not end in one of {', '.join(_ENDINGS)}.")
    if file.exists():
        raise Failure(f"{file}: already exists; choose another name, or add to it with `chart`")
    refuse_unless_writable(file)
    policy = policy_file.in_force(policy_path, (file,))
    now = clock(asof)
    known: dict[str, Any] = {}
    notes: tuple[str, ...] = ()
    if bundle is not None:
        from lda_notes.fhir.readback.admission import read

        known, notes = read(bundle)
    sign = sign or ("y" if no_input else None)
    desk = Desk("new record", file, Means(policy, now, given(pairs, answers), not no_input, sign, None))
    for note in notes:
        desk.show(note)
    desk.show("A new record. It is kept in this file alone, readable by you alone.")
    usual = {"port.id": "port-1", "port.septa": "single", **_usual(file)}
    form = RecordForm(_name(), policy, now, known, usual, _earlier(file, policy, now, desk.show))

    def write(record: dict[str, Any], again: Again | None) -> Written | Changed:
        create(file, record_text(record, file.suffix.lower() == ".json"))
        return Written(look(file), file)

    if desk.run(form, write) is not None:
        say(plain(f"{file}: written; chart in it with `lda-notes chart {file} access`"))


def _earlier(
    file: Path, policy: Policy, now: Callable[[], datetime], show: Callable[[str], None]
) -> Callable[[str, str], Timeline | None]:
    """Return what finds the line of the patient of a record number in the records beside the new one."""
    from lda_notes import pipeline

    @cache
    def find(system: str, number: str) -> Timeline | None:
        beside = pipeline.of_numbers([file.parent], {(system, number)})
        for words in beside.unreadable:
            show(f"!! May be an earlier stay of this patient, and is not known here: {words}")
        known = pipeline.begun(beside.records, now())
        if not known:
            return None
        last = max(known, key=lambda record: pipeline.begins(record) or datetime.min.replace(tzinfo=UTC))
        return pipeline.stays([last], [one for one in known if one is not last], policy, now())[0].as_known()

    return find


def _name() -> str:
    """Return an episode identifier that no other record of any patient has: 80 random bits, 16 signs.

    A file's name is not one: every patient may have an ``episode.yaml``.
    """
    return "stay-" + base64.b32encode(secrets.token_bytes(10)).decode().lower()


def _usual(file: Path) -> dict[str, str]:
    """Return what most of the records beside the new one say of their place, and this machine's time zone."""
    from lda_notes import pipeline
    from lda_notes.record import reading as records

    said: dict[str, Counter[str]] = {}
    for path in list(pipeline.record_files((file.parent,)))[:50]:
        episode = records.read(path).episode
        if episode is None:
            continue
        facts = {
            "stay.facility": episode.stay.facility,
            "stay.unit": episode.stay.unit,
            "stay.time_zone": episode.stay.time_zone,
            "stay.setting": episode.stay.setting,
            "patient.identifiers.0.system": episode.patient.identifiers[0].system,
        }
        for name, value in facts.items():
            if value:
                said.setdefault(name, Counter())[value] += 1
    usual = {name: counted.most_common(1)[0][0] for name, counted in said.items()}
    zone = _zone()
    return usual if zone is None else {"stay.time_zone": zone, **usual}


def _zone() -> str | None:
    """Return the time zone that this machine is set to, where it has a name."""
    from zoneinfo import available_timezones

    named = os.environ.get("TZ", "").removeprefix(":")
    if not named:
        target = str(Path("/etc/localtime").resolve())
        named = target.partition("zoneinfo/")[2]
    place = "/" in named and not named.startswith("Etc/")  # a machine that keeps universal time stands anywhere
    return named if place and named in available_timezones() else None
