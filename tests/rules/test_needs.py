"""The table of needs is sound, and `missing` tells each gap once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import BaseModel
from rule_cases import episode_of, judged, local_policy, rules_found

from lda_notes.check import conditions, needs
from lda_notes.check.conditions import Need
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.knowledge.sources import SOURCES
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS
from lda_notes.record.parts import NotAssessed, NotDone, asked_of

ROWS = [(kind, need) for kind, rows in needs.NEEDS.items() for need in rows]


def models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        if annotation not in (NotAssessed, NotDone):
            yield annotation
        return
    for inner in getattr(annotation, "__args__", ()):
        yield from models(inner)


def unknown_step(part: type[BaseModel], path: tuple[str, ...]) -> str | None:
    """Return the first step of ``path`` that the models do not have."""
    annotation: Any = part
    for step in path:
        if step == "*":
            if "tuple" not in str(annotation):
                return step
            continue
        holders = [model for model in models(annotation) if step in model.model_fields]
        if not holders:
            return step
        annotation = holders[0].model_fields[step].annotation
    return None


def test_every_kind_has_needs() -> None:
    assert set(needs.NEEDS) == set(KINDS)
    assert len(ROWS) > 300


@pytest.mark.parametrize("kind", KINDS)
def test_every_path_exists_in_the_models(kind: str) -> None:
    assert {need.name: unknown_step(KINDS[kind], need.path) for need in needs.NEEDS[kind]} == {
        need.name: None for need in needs.NEEDS[kind]
    }


def test_every_path_of_the_episode_exists() -> None:
    assert [need.name for need in needs.EPISODE_NEEDS if unknown_step(Episode, need.path)] == []


def test_the_walk_over_the_models_finds_a_wrong_path() -> None:
    assert unknown_step(KINDS["access"], ("needle", "colour")) == "colour"
    assert unknown_step(KINDS["access"], ("needle", "*", "gauge")) == "*"


@pytest.mark.parametrize("kind", KINDS)
def test_a_part_stands_before_its_facts_and_no_fact_stands_twice(kind: str) -> None:
    seen: set[tuple[str, ...]] = set()
    for need in needs.NEEDS[kind]:
        assert need.path not in seen, need.name
        whole = need.path[:-2] if need.path[-2:-1] == ("*",) else need.path[:-1]
        assert not whole or whole in seen, f"{need.name} has no row for the part that holds it"
        seen.add(need.path)


def test_questions_are_short_and_cited() -> None:
    for kind, need in [*ROWS, *(("episode", need) for need in needs.EPISODE_NEEDS)]:
        assert need.asks.endswith("?") and need.asks.count("?") == 1, (kind, need.name)
        assert len(need.asks) <= 75, (kind, need.name)
        assert need.citations, (kind, need.name)
        assert all(citation.source in SOURCES for citation in need.citations)
        assert need.option is None or DEFAULT.choice(need.option) in ("yes", "no")


def test_every_label_can_be_named_without_an_event() -> None:
    named = {(kind, need.name): needs.label(need, kind) for kind, need in ROWS}
    assert named["access", "needle.gauge"] == "needle gauge"
    assert named["access", "flushes.*.volume_ml"] == "flush volume"
    assert named["access", "by.credential"] == "credential of author"
    assert named["evaluation", "cleared_by.name"] == "name of who evaluated"
    assert all(named.values())


# -- missing --


def gaps(**changes: Any) -> list[tuple[Any, ...]]:
    episode = episode_of({"kind": "access", "at": "2031-04-02T09:00-05:00", **changes})
    return [gap.path for gap in needs.missing(episode.events[0], episode)]


def test_a_full_access_lacks_nothing() -> None:
    assert gaps() == []


def test_an_absent_part_is_one_gap() -> None:
    assert gaps(needle=None) == [("needle",)]


def test_each_absent_fact_of_a_part_is_a_gap() -> None:
    needle = {"gauge": None, "length_mm": None}
    assert gaps(needle=needle) == [("needle", "gauge"), ("needle", "length_mm")]


def test_each_item_of_a_list_is_looked_at() -> None:
    assert gaps(flushes=[{}, {"volume_ml": None}]) == [("flushes", 1, "volume_ml")]


@pytest.mark.parametrize(
    "changes",
    [
        {
            "needle": {
                "gauge": {"not_assessed": "label torn"},
                "length_mm": 19,
                "non_coring": True,
                "power_rated": False,
            }
        },
        {"site": {"not_assessed": "patient refused"}},
        {"dressing": {"not_done": "needle removed within the hour"}},
        {"flushes": {"not_done": "no blood return"}},
        {"identifiers_checked": {"not_assessed": "emergency"}},
        {"anesthetic": "none used"},
        {"blood_return": {"not_assessed": "line in use"}},
    ],
)
def test_a_reason_why_not_is_an_answer(changes: dict[str, Any]) -> None:
    assert gaps(**changes) == []


def test_an_empty_list_is_no_answer_but_no_known_allergies_is() -> None:
    assert gaps(identifiers_checked=[]) == [("identifiers_checked",)]
    assert needs.missing_in_episode(episode_of()) == ()


def test_zero_and_no_are_answers() -> None:
    assert gaps(pain=0, extension_primed=False, discard_ml=0) == []


def test_no_blood_return_asks_for_what_was_tried_and_who_was_told() -> None:
    assert gaps(blood_return="none", blood_looks=None, discard_ml=None) == [("steps_tried",), ("problems",)]


def test_gaps_keep_the_order_of_the_work() -> None:
    found = gaps(by=None, identifiers_checked=None, blood_return=None, needle=None)
    assert found == [("identifiers_checked",), ("needle",), ("blood_return",), ("by",)]


def needs_named(kind: str, name: str) -> Need:
    return next(need for need in needs.NEEDS[kind] if need.name == name)


def test_levels_follow_the_table_of_the_documents() -> None:
    required = ("identifiers_checked", "site", "needle.gauge", "blood_return", "lock")
    recommended = ("reason", "anesthetic", "technique.masks", "antisepsis.dry_s", "discard_ml", "attempts", "teaching")
    assert {needs_named("access", name).level for name in required} == {"required"}
    assert {needs_named("access", name).level for name in recommended} == {"recommended"}
    assert not any(need.path[0] == "next_due" for need in needs.NEEDS["access"]), "computed, so not asked"


# -- needs and rules --


def holder(kind: str, need: Need) -> type[BaseModel]:
    part: type[BaseModel] = KINDS[kind]
    for step in need.path[:-1]:
        if step != "*":
            part = next(iter(models(part.model_fields[step].annotation)))
    return part


def test_every_need_says_why() -> None:
    """What cannot be missing has nothing to say; all else is published with its reason."""
    for kind, need in ROWS:
        field = holder(kind, need).model_fields[need.path[-1]]
        assert need.why or field.is_required() or need.path[0] in ("of", "on"), (kind, need.name)


def test_every_condition_that_a_declaration_names_exists() -> None:
    said = [asked for model in models_of_facts() for name in model.model_fields if (asked := asked_of(model, name))]
    assert len(said) > 150
    for asked in said:
        for name in (asked.when, asked.given, asked.suits):
            for kind in KINDS:
                assert conditions.named(name, kind) is None or callable(conditions.named(name, kind))


def models_of_facts() -> set[type[BaseModel]]:
    found: set[type[BaseModel]] = set()
    waiting: list[type[BaseModel]] = [*KINDS.values(), Episode]
    while waiting:
        model = waiting.pop()
        found.add(model)
        inner = {one for field in model.model_fields.values() for one in models(field.annotation)}
        waiting += inner - found
    return found


def test_gaps_of_one_event_are_told_in_one_finding_in_the_order_of_the_work() -> None:
    technique = {"masks": None, "hand_hygiene": None, "sterile_field": None}
    episode = episode_of({"kind": "access", "at": "2031-04-02T09:00-05:00", "technique": technique, "attempts": None})
    found = [f for f in judged(episode) if f.rule == "facts-recommended"]
    assert [f.message for f in found] == [
        "not recorded for this access: hand hygiene, sterile field, number of attempts"
    ]
    assert found[0].event == "access-1"


def test_a_fact_of_a_list_says_which_item() -> None:
    episode = episode_of({"kind": "access", "at": "2031-04-02T09:00-05:00", "flushes": [{}, {"volume_ml": None}]})
    assert [f.message for f in judged(episode)] == ["not recorded for this access: flush volume (item 2)"]


def test_a_fact_supplied_by_an_addendum_is_no_gap() -> None:
    access = {"kind": "access", "at": "2031-04-02T09:00-05:00", "attempts": None}
    addendum = {"kind": "addendum", "at": "2031-04-02T10:00-05:00", "of": "access-1", "adds": {"attempts": 1}}
    assert {f.rule for f in judged(episode_of(access))} == {"facts-recommended"}
    assert judged(episode_of(access, addendum)) == ()


def test_a_policy_option_turns_a_need_off() -> None:
    access = {"kind": "access", "at": "2031-04-02T09:00-05:00", "order": None}
    assert rules_found(access) == {"facts-not-recorded"}
    assert rules_found(access, policy=local_policy(order_reference_required="no")) == set()
