"""How a row of the table of needs becomes a rule: one rule for each fact, or for facts that belong together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

from lda_notes.check import needs
from lda_notes.check.conditions import Need
from lda_notes.check.rule_table import Case, Entry, Found, rule
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.knowledge.sources import Citation
from lda_notes.problems import Path, Severity
from lda_notes.record.events import KINDS
from lda_notes.record.parts import NotAssessed, NotDone

RECORD: Final = "record"
"""Stands for the kind of what is asked of patient, stay and port."""

COVERED: Final[dict[tuple[str, str], str]] = {}
"""Rule of each need, by kind and dotted path."""


def gap_rule(name: str, facts: str, todo: str, why: str, family: str) -> None:
    """Enter a rule that finds ``facts`` missing: dotted paths, each for every kind that needs it or ``kind:path``.

    Severity and citations come from the needs: required facts are gaps, recommended ones advice. ``why`` is the
    middle paragraph of the published explanation; the others are made from the table.
    """
    rows = list(_rows(facts.split("|")))
    levels = {need.level for _, need in rows}
    if len(levels) != 1:
        raise ValueError(f"{name} mixes levels: {sorted((kind, need.name, need.level) for kind, need in rows)}")
    for kind, need in rows:
        if (kind, need.name) in COVERED:
            raise ValueError(f"{kind} {need.name} stands in {COVERED[kind, need.name]} and {name}")
        COVERED[kind, need.name] = name
    wanted = frozenset((kind, need.name) for kind, need in rows)
    names = frozenset(need.name for _, need in rows)

    def check(case: Case) -> Iterable[Found]:
        return _found(case, names, wanted)

    check.__name__ = name.replace("-", "_")
    check.__module__ = family
    # Only those who read the rules pay for the words.
    check.explain = lambda: f"{_expects(rows)}\n\n{why}\n\n{todo[0].upper()}{todo[1:]}.{_or_why_not(rows)}"  # type: ignore[attr-defined]
    severity: Severity = "gap" if levels == {"required"} else "advice"
    shared = {id(citation): citation for _, need in rows for citation in need.citations}
    cites: tuple[Citation, ...] = tuple(shared.values())
    rule(severity, todo, cites=cites, facts=names)(check)


_NEEDED: Final[dict[str, list[tuple[str, Need]]]] = {}
"""Rows of the table of needs by dotted path, each with its kind."""
for _kind_of_row, _table_of_kind in ((RECORD, needs.EPISODE_NEEDS), *needs.NEEDS.items()):
    for _need in _table_of_kind:
        _NEEDED.setdefault(_need.name, []).append((_kind_of_row, _need))


def _rows(facts: list[str]) -> Iterator[tuple[str, Need]]:
    for fact in facts:
        only, _, path = fact.strip().rpartition(":")
        rows = [(kind, need) for kind, need in _NEEDED.get(path, ()) if only in ("", kind)]
        if not rows:
            raise ValueError(f"nothing needs {fact}")
        yield from rows


def _found(case: Case, names: frozenset[str], wanted: frozenset[tuple[str, str]]) -> Iterator[Found]:
    """Yield one fault for each part of each event that lacks some of the facts."""
    parts: dict[tuple[int, Path], tuple[Entry | None, list[needs.Missing]]] = {}
    for name in names & case.gaps.keys():
        for entry, gap in case.gaps[name]:
            if (_kind(entry), name) in wanted:
                index = -1 if entry is None else entry.index
                parts.setdefault((index, gap.path[:-1]), (entry, []))[1].append(gap)
    for entry, lacking in parts.values():
        order = [need.name for need in _table(_kind(entry))]
        lacking.sort(key=lambda gap: order.index(gap.need.name))
        labels = ", ".join(gap.label for gap in lacking)
        first = lacking[0].path
        if entry is None:
            yield Found(first, f"not recorded for the {first[0]}: {labels}")
        else:
            item = next((f" of item {step + 1}" for step in first if isinstance(step, int)), "")
            said = KINDS[_kind(entry)].noun
            yield Found(entry.path(*first), f"not recorded for this {said}: {labels}{item}", event=entry.event.id)


def _kind(entry: Entry | None) -> str:
    if entry is None:
        return RECORD
    event: Any = entry.event
    kind: str = event.kind
    return kind


def _table(kind: str) -> tuple[Need, ...]:
    return needs.EPISODE_NEEDS if kind == RECORD else needs.NEEDS[kind]


# -- the explanation --


def _expects(rows: list[tuple[str, Need]]) -> str:
    labels = dict.fromkeys(_label(kind, need) for kind, need in rows)
    kinds = dict.fromkeys(KINDS[kind].noun for kind, _ in rows if kind != RECORD)
    where = f"the record of {_listed([_with_article(kind) for kind in kinds])}" if kinds else "the record"
    said = f"Expects in {where}: {', '.join(labels)}."
    if any(need.when or need.given or need.suits for _, need in rows):
        said += " Asked only where it applies to what was done."
    for option in dict.fromkeys(need.option for _, need in rows if need.option):
        now = "as published" if DEFAULT.choice(option) == "yes" else "which as published it is not"
        said += f" Asked only where the policy option {option} is yes, {now}."
    return said


def _label(kind: str, need: Need) -> str:
    if kind == RECORD:
        return " ".join(need.path[1:]).replace("_", " ").removesuffix(" ml").removesuffix(" kg")
    return needs.label(need, kind)


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _with_article(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeio' else 'a'} {kind}"


def _or_why_not(rows: list[tuple[str, Need]]) -> str:
    """Say which reasons why not the layout takes for a fact at the top of an event."""
    reasons: dict[str, None] = {}
    for kind, need in rows:
        if kind == RECORD or len(need.path) > 1:
            continue
        members = getattr(KINDS[kind].model_fields[need.path[0]].annotation, "__args__", ())
        if NotAssessed in members:
            reasons["not_assessed"] = None
        if NotDone in members:
            reasons["not_done"] = None
    return f" Where that could not be, record {' or '.join(reasons)} with the reason." if reasons else ""
