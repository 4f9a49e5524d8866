"""Facts that must be recorded and are not: one finding for each event and severity, with the list of what is missing.

What is asked, how much and why stands at the declaration of each fact.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Final

from lda_notes.check.conditions import Need, never
from lda_notes.check.needs import EPISODE_NEEDS, NEEDS, Missing, label, missing_in_episode
from lda_notes.check.rule_table import Case, Found, enter
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.knowledge.sources import Citation
from lda_notes.problems import SEVERITIES, Gap, Severity
from lda_notes.record import events as ev
from lda_notes.record.parts import Level

_SEVERITY: Final[dict[Level, Severity]] = {"required": "gap", "recommended": "advice"}
_OR_WHY_NOT: Final = "record it, or the reason it was not assessed or not done"

ABOUT_THE_RECORD: Final = frozenset({"record-facts-not-recorded"})
"""Rules about patient, stay and port rather than events."""


def _events(case: Case, level: Level) -> Iterator[Found]:
    for entry, gaps in case.gaps:
        event = entry.event
        lacking = [gap for gap in gaps if gap.need.level == level and not _reported(case, event.id, gap)]
        if lacking:
            said = Gap(entry.event.noun, _labels(lacking))
            words = f"not recorded for this {said.of}: {', '.join(said.facts)}"
            yield Found(lacking[0].path, words, entry, citations=_cited(lacking), gap=said)


def _reported(case: Case, event: str | None, gap: Missing) -> bool:
    """Return whether a rule has reported the same gap, saying more of it, and no less gravely than the list does."""
    severity = case.reported.get((event, ".".join(map(str, gap.path))))
    return severity is not None and SEVERITIES.index(severity) <= SEVERITIES.index(_SEVERITY[gap.need.level])


def _record(case: Case, level: Level) -> Iterator[Found]:
    episode = case.timeline.episode
    gaps = case.once(_of_the_record)
    lacking = [
        gap
        for gap in gaps
        if gap.need.level == level and gap.need.missed(episode, episode) and not _reported(case, None, gap)
    ]
    if lacking:
        said = Gap("patient, stay or port", _labels(lacking))
        words = f"not recorded for {said.of}: {', '.join(said.facts)}"
        yield Found(lacking[0].path, words, citations=_cited(lacking), gap=said)


def _of_the_record(case: Case) -> tuple[Missing, ...]:
    return case.unwritten(None, missing_in_episode(case.timeline.episode, case.policy))


def _labels(gaps: list[Missing]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_named(gap) for gap in gaps))


def _named(gap: Missing) -> str:
    """Return the label of a missing fact, with the item of a list that lacks it."""
    item = next((f" (item {step + 1})" for step in gap.path if isinstance(step, int)), "")
    return gap.label + item


def _cited(gaps: list[Missing]) -> tuple[Citation, ...]:
    return tuple(dict.fromkeys(citation for gap in gaps for citation in gap.need.citations))


# -- the published explanation --


def _explained(level: Level, about: str, tables: Mapping[str, tuple[Need, ...]]) -> str:
    facts: dict[tuple[str, str], list[str]] = {}
    for kind, needs in tables.items():
        for need in needs:
            if need.level == level and need.reported is not never:
                noun = ev.KINDS[kind].noun if kind in ev.KINDS else ""
                name = label(need, kind) if noun else " ".join(need.path).replace("_", " ")
                facts.setdefault((name, _asked(need)), []).append(noun)
    return (
        f"Lists in one finding what is {level} and missing in the record of {about}.\n\n"
        "Asked where it applies to what was done, each for its own reason. "
        + " / ".join(f"{name}{_of(kinds)}: {why}" for (name, why), kinds in facts.items())
    )


def _asked(need: Need) -> str:
    option = f" (asked where the policy option {need.option} is yes)" if need.option else ""
    now = ", as published" if need.option and DEFAULT.choice(need.option) == "yes" else ""
    return (need.why or need.asks) + (option[:-1] + now + ")" if option else "")


def _of(kinds: list[str]) -> str:
    named = [kind for kind in dict.fromkeys(kinds) if kind]
    return f" ({', '.join(named)})" if named and len(named) < 5 else ""


def _enter(
    name: str,
    todo: str,
    level: Level,
    look: Callable[[Case, Level], Iterator[Found]],
    about: str,
    tables: Mapping[str, tuple[Need, ...]],
) -> None:
    def check(case: Case) -> Iterator[Found]:
        return look(case, level)

    needs = (need for table in tables.values() for need in table if need.level == level)
    cites = tuple(dict.fromkeys(cite for need in needs for cite in need.citations))
    enter(__name__, name, _SEVERITY[level], todo, check, partial(_explained, level, about, tables), cites)


_enter("facts-not-recorded", _OR_WHY_NOT, "required", _events, "events", NEEDS)
_enter("facts-recommended", _OR_WHY_NOT, "recommended", _events, "events", NEEDS)
_enter(
    "record-facts-not-recorded",
    "record it from the patient's papers",
    "required",
    _record,
    "patient, stay and port",
    {"record": EPISODE_NEEDS},
)
