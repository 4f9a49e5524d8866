"""One line over all its records: those of one patient and one port, in order of time, folded together."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NamedTuple

from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import corrected
from lda_notes.line.states import Hold
from lda_notes.line.timeline import Beside, Others, Timeline, build
from lda_notes.record import events as ev

if TYPE_CHECKING:
    from lda_notes.record.episode import Episode
    from lda_notes.record.reading import Record


class Line(NamedTuple):
    """One line over all its stays.

    ``records`` are in order of time, ``stays`` the timeline of each: its own events, in the states of the whole line.
    ``timeline`` is the whole line as the latest stay knows it, with the events of every record.
    """

    records: tuple[Record, ...]
    stays: tuple[Timeline, ...]
    timeline: Timeline


def begins(record: Record) -> datetime | None:
    """Return when a stay begins: admission, or the first event that stands if that is earlier; None when not known.

    The port may have been implanted long before. An event that could not be read may be earlier than all others.
    """
    episode = record.episode
    if episode is None:
        return None
    admitted = episode.stay.admitted_at
    if admitted is None and record.unread_events:
        return None
    standing: tuple[ev.Event, ...] = episode.events
    if any(isinstance(event, ev.Correcting) for event in standing):
        standing = tuple(entry.event for entry in corrected(episode)[0])
    cared = (event.at for event in standing if not isinstance(event, ev.PortImplanted))
    return min((*([admitted] if admitted else []), *cared), default=None)


def _in_time(record: Record) -> tuple[bool, datetime, str]:
    since = begins(record)
    return since is not None, (since or datetime.min.replace(tzinfo=UTC)).astimezone(UTC), record.file


def fold(
    records: Sequence[Record], policy: Policy, asof: datetime, elsewhere: Sequence[Hold] = (), *ports: str
) -> Line:
    """Fold the records of one line, each with an episode, judged from ``asof``.

    ``elsewhere`` are holds of another port of the same patient that nobody recorded as removed, ``ports`` the names of
    such ports.
    """
    ordered = tuple(sorted(records, key=_in_time))
    stays = [_stay(ordered, place, policy, asof, elsewhere, ports, whole=False) for place in range(len(ordered))]
    last = len(ordered) - 1
    whole = stays[last] if not last else _stay(ordered, last, policy, asof, elsewhere, ports, whole=True)
    return Line(ordered, tuple(stays), whole)


def _stay(
    records: Sequence[Record],
    place: int,
    policy: Policy,
    asof: datetime,
    elsewhere: Sequence[Hold],
    ports: Sequence[str],
    *,
    whole: bool,
) -> Timeline:
    record = records[place]
    assert record.episode is not None
    earlier = [(other, None) for other in reversed(records[:place])]
    later = [(other, begins(other)) for other in records[place + 1 :]]
    beside = tuple(
        Beside(other.episode, other.file, other.unread_facts, since)
        for other, since in (*earlier, *later)
        if other.episode is not None
    )
    others = Others(beside, tuple(elsewhere), tuple(ports))
    return build(record.episode, policy, asof, record.unread_facts, others, whole=whole)


def lines(records: Sequence[Record]) -> list[list[int]]:
    """Return the records, by position, that are one line each: one patient, and one port."""
    return _joined(records, lambda record: record.episode.port.id if record.episode is not None else "")


def patients(records: Sequence[Record]) -> list[list[int]]:
    """Return the records, by position, that are of one patient each: they share a record number, name and birth date.

    One number under two names or birth dates is two patients until somebody has compared them: neither takes over the
    other's hold or allergy, and neither leaves the sheet.
    """
    return _joined(records, lambda _: "")


def _joined(records: Sequence[Record], also: Callable[[Record], str]) -> list[list[int]]:
    groups: list[list[int]] = []
    group_of: dict[tuple[object, ...], list[int]] = {}
    for position, record in enumerate(records):
        if record.episode is None:
            continue
        port = also(record)
        who = person(record.episode)
        keys = [(one.system, one.value, port, who) for one in record.episode.patient.identifiers]
        found = {id(group_of[key]): group_of[key] for key in keys if key in group_of}
        group = next(iter(found.values()), None)
        if group is None:
            group = []
            groups.append(group)
        for other in list(found.values())[1:]:  # one record that carries two numbers joins what stood apart
            group.extend(other)
            groups.remove(other)
            group_of.update({key: group for key, value in group_of.items() if value is other})
        group.append(position)
        for key in keys:
            group_of[key] = group
    return [part for group in groups for part in _by_birth(records, group)]


def _by_birth(records: Sequence[Record], group: list[int]) -> list[list[int]]:
    """Return the group apart by birth date; records without one stay with the first."""
    born = {at: episode.patient.birth_date for at in group if (episode := records[at].episode) is not None}
    dates = list(dict.fromkeys(date for date in born.values() if date is not None))
    if len(dates) < 2:
        return [group]
    return [[at for at in group if (born[at] or dates[0]) == date] for date in dates]


def person(episode: Episode) -> tuple[str, str]:
    """Return family and given name for comparing."""
    return letters(episode.patient.family_name), letters(episode.patient.given_name)


def letters(name: str) -> str:
    """Return a name for comparing: letters and digits alone, without case and accents."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", name.casefold()) if sign.isalnum())


def fold_all(records: Sequence[Record], policy: Policy, asof: datetime) -> list[Line]:
    """Fold every line of ``records``; those without an episode are left out.

    Where one patient has two ports and none is recorded as removed, what holds one holds the other: it may be one
    port under two names.
    """
    groups = lines(records)
    folded = [fold([records[at] for at in group], policy, asof) for group in groups]
    of_record = {at: number for number, group in enumerate(groups) for at in group}
    for members in patients(records):
        numbers = list(dict.fromkeys(of_record[at] for at in members))
        if len(numbers) > 1:
            still_in = [number for number in numbers if _port_in(folded[number].timeline)]
            for number in still_in if len(still_in) > 1 else ():
                others = [folded[other].timeline for other in still_in if other != number]
                held = [hold for other in others for hold in _of_line(other)]
                ports = [other.episode.port.id for other in others]
                group = groups[number]
                folded[number] = fold([records[at] for at in group], policy, asof, held, *ports)
    return folded


def _port_in(timeline: Timeline) -> bool:
    return any(timeline.now(septum).port_in for septum in timeline.episode.port.septa)


def _of_line(timeline: Timeline) -> Iterable[Hold]:
    for holds in timeline.holds.values():
        for hold in holds:
            yield hold._replace(sign=f"{hold.sign} (port {timeline.episode.port.id})")
