"""Findings between records: whose they are, and who could be taken for someone else.

A record is judged alone; these faults show when a folder is read. Each is named in every record that has it, by the
other file and never by the other patient's name: that stands on the unit's own sheet alone.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from lda_notes.check.rules.unreadable import Explained
from lda_notes.line.folding import letters, person
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding, Path
from lda_notes.record.episode import Episode

EPISODE: Final = "episode-in-two-records"
NUMBER: Final = "number-of-two-patients"
PERSON: Final = "patient-with-two-numbers"
NAMES: Final = "similar-names"
PORTS: Final = "two-ports-in-one-patient"

_SHORT: Final = 4
"""Names of fewer letters are alerted to only when they are the same: one letter is too much of them."""

AMONG: Final[tuple[Explained, ...]] = (
    Explained(
        EPISODE,
        "Two records have the same episode identifier.",
        "Anyone who looks up notes, totals or exports by that identifier takes two stays for one.",
        "give one of them its own identifier; if one is a copy, remove it",
        "wrong",
    ),
    Explained(
        NUMBER,
        "One record number has two names or birth dates.",
        "One of the two patients has the other's allergies, holds and drugs filed under that number.",
        "compare with the wristbands and correct the wrong number; if a name changed, use the same name in all records",
        "unsafe",
    ),
    Explained(
        PERSON,
        "One name and birth date has two record numbers.",
        "If it is one patient, holds and allergies in one record are missing from the other.",
        "ask patient registration; if it is one patient, add the second number to both records",
        "wrong",
    ),
    Explained(
        PORTS,
        "One patient has two port identifiers, and no removal is recorded.",
        "Most often it is one port under two names, and a hold is known to only one record; until this is settled, "
        "what is true of one port is taken to be true of the other.",
        "find out whether it is one port, and give it one name; or chart the removal of the other",
        "wrong",
    ),
    Explained(
        NAMES,
        "Two patients of a unit have the same or a similar family name.",
        "Similar names on one unit are a known cause of care given to the wrong patient.",
        "identify the patient by record number and birth date before each act",
        "advice",
    ),
)
"""Everything that is found between records. Common practice, no source."""

_BY_NAME: Final = {explained.name: explained for explained in AMONG}


class Doubt(NamedTuple):
    """A fault between records. ``members`` are positions of records; ``said`` names the fault, without names."""

    rule: str
    members: tuple[int, ...]
    said: str
    path: Path


def doubts(lines: Sequence[Timeline]) -> tuple[Doubt, ...]:
    """Return every fault between records."""
    episodes = [line.episode for line in lines]
    between = (*_one_episode(episodes), *_one_number(episodes), *_one_person(episodes))
    return (*between, *_two_ports(lines), *_similar(lines))


def finding(doubt: Doubt, member: int, files: Sequence[str], events: Episode) -> Finding:
    """Return the finding of one member; ``files`` are the names of all records, ``events`` is its episode."""
    explained = _BY_NAME[doubt.rule]
    others = [files[one] for one in doubt.members if one != member]
    named = ", ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return Finding(
        doubt.rule, explained.severity, f"{doubt.said}: see also {named}", explained.todo, _path(doubt, events)
    )


def _path(doubt: Doubt, episode: Episode) -> Path:
    if doubt.rule != NUMBER:
        return doubt.path
    listed = [f"{one.system}|{one.value}" for one in episode.patient.identifiers]
    return ("patient", "identifiers", listed.index(str(doubt.path[0])), "value")


def _one_episode(episodes: Sequence[Episode]) -> Iterator[Doubt]:
    for name, members in _groups(episodes, lambda episode: [episode.id]):
        yield Doubt(EPISODE, members, f"the episode identifier {name} is that of {len(members)} records", ("id",))


def _one_number(episodes: Sequence[Episode]) -> Iterator[Doubt]:
    for number, members in _groups(episodes, lambda e: [f"{one.system}|{one.value}" for one in e.patient.identifiers]):
        names = {person(episodes[one]) for one in members}
        births = {episodes[one].patient.birth_date for one in members} - {None}
        what = "names" if len(names) > 1 else "birth dates" if len(births) > 1 else None
        if what is not None:
            yield Doubt(NUMBER, members, f"this record number has two {what}", (str(number),))


def _one_person(episodes: Sequence[Episode]) -> Iterator[Doubt]:
    for _, members in _groups(episodes, lambda e: [_person(e)] if e.patient.birth_date is not None else []):
        known = _joined(members, [_numbers(episodes[one]) for one in members])
        if len(known) > 1:
            said = f"a patient of this name and birth date has {len(known)} record numbers"
            yield Doubt(PERSON, members, said, ("patient", "identifiers"))


def _two_ports(lines: Sequence[Timeline]) -> Iterator[Doubt]:
    members = [index for index, line in enumerate(lines) if line.others.ports]
    for group in _joined(members, [_numbers(lines[one].episode) for one in members]):
        ports = list(dict.fromkeys(lines[one].episode.port.id for one in group))
        if len(ports) > 1:
            said = f"this patient's records name the ports {' and '.join(ports)}, and no removal"
            yield Doubt(PORTS, group, said, ("port", "id"))


def _similar(lines: Sequence[Timeline]) -> Iterator[Doubt]:
    here: dict[tuple[str, str], list[int]] = {}
    for index, line in enumerate(lines):
        if line.discharge is None:
            here.setdefault((line.episode.stay.facility, line.units[-1].unit), []).append(index)
    for members in here.values():
        for people in _of_one_name(lines, members):
            same = len({letters(lines[one[0]].episode.patient.family_name) for one in people}) == 1
            said = f"another patient of the unit has {'the same' if same else 'a similar'} family name"
            yield Doubt(NAMES, tuple(same_person[0] for same_person in people), said, ("patient", "family_name"))


def alike(lines: Sequence[Timeline]) -> frozenset[int]:
    """Return the places of patients on one sheet, of whatever unit, whose family names are the same or similar.

    Those who left are not among them.
    """
    here = [place for place, line in enumerate(lines) if line.discharge is None]
    return frozenset(one for people in _of_one_name(lines, here) for person in people for one in person)


def _of_one_name(lines: Sequence[Timeline], members: Sequence[int]) -> Iterator[list[tuple[int, ...]]]:
    """Yield the people, each with the places of the own records, of whom several share a name."""
    for group in _joined(members, [_alike(lines[one].episode.patient.family_name) for one in members]):
        people = list(_joined(group, [{*_numbers(lines[one].episode), _person(lines[one].episode)} for one in group]))
        if len(people) > 1:
            yield people


def _alike(name: str) -> set[Hashable]:
    """Return keys of which two names share one when they are equal, or differ by one letter (or two side by side)."""
    own = letters(name)
    if len(own) < _SHORT:
        return {own}
    return {own, *(own[:at] + own[at + 1 :] for at in range(len(own)))}


def _person(episode: Episode) -> Hashable:
    return *person(episode), episode.patient.birth_date


def _numbers(episode: Episode) -> set[Hashable]:
    return {(one.system, one.value) for one in episode.patient.identifiers}


def _groups(
    episodes: Sequence[Episode], keys: Callable[[Episode], Iterable[Hashable]]
) -> Iterator[tuple[Hashable, tuple[int, ...]]]:
    """Yield each key that two or more episodes have, with their positions."""
    found: dict[Hashable, list[int]] = {}
    for index, episode in enumerate(episodes):
        for key in dict.fromkeys(keys(episode)):
            found.setdefault(key, []).append(index)
    return ((key, tuple(members)) for key, members in found.items() if len(members) > 1)


def _joined(members: Sequence[int], keys: Sequence[set[Hashable]]) -> list[tuple[int, ...]]:
    """Return the members in groups: those that share a key, directly or through others, are in one."""
    groups: list[tuple[list[int], set[Hashable]]] = []
    for member, own in zip(members, keys, strict=True):
        touching = [group for group in groups if group[1] & own]
        groups = [group for group in groups if not group[1] & own]
        joined = [one for group in touching for one in group[0]]
        groups.append(([*joined, member], own.union(*(group[1] for group in touching))))
    return [tuple(group) for group, _ in groups]
