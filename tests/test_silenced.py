"""A facility's policy may silence a rule, with reason and date; the foot of a sheet says so."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

sys.path.append(str(Path(__file__).parent / "rules"))

from rule_cases import episode_of, judged

from lda_notes.check.rule_table import silenced_words
from lda_notes.commands import worksheet
from lda_notes.knowledge.policy import DEFAULT, Policy, apply


def silencing(*rules: str) -> Policy:
    """Return the published policy with ``rules`` silenced."""
    data = {
        "source": {"title": "Ward policy (invented)", "date": "2031-01-01"},
        "silence": [{"rule": rule, "reason": "discarded by protocol", "date": "2031-01-15"} for rule in rules],
    }
    policy, faults = apply(DEFAULT, data)
    assert not faults, faults
    return policy


def found(policy: Policy) -> set[str]:
    """Return what is found in a small discard and a vesicant without blood return."""
    access = {"kind": "access", "at": "2031-04-02T09:00-05:00", "discard_ml": 4}
    use = {"kind": "line use", "at": "2031-04-02T10:00-05:00", "vesicant": "yes", "blood_return_before": "none"}
    return {finding.rule for finding in judged(episode_of(access, use), policy)}


def test_a_silenced_rule_is_quiet_and_the_foot_says_so() -> None:
    assert "discard-too-small" in found(DEFAULT)
    policy = silencing("discard-too-small")
    assert "discard-too-small" not in found(policy)
    assert silenced_words(policy) == (
        'Not checked, by facility policy since 2031-01-15: discard-too-small ("discarded by protocol").',
    )


def test_a_vesicant_without_proof_is_never_silenced() -> None:
    policy = silencing("vesicant-without-blood-return", "no-such-rule")
    assert "vesicant-without-blood-return" in found(policy)
    assert silenced_words(policy) == (
        "The policy may not silence vesicant-without-blood-return; it was checked.",
        "The policy may not silence no-such-rule; it was checked.",
    )


def test_retired_names_are_reported_and_ignored() -> None:
    data = {
        "source": {"title": "Ward policy (invented)", "date": "2031-01-01"},
        "limits": {"blood_product_gauge_adult": 20, "needle_dwell_days": 5},
    }
    policy, faults = apply(DEFAULT, data)
    assert not faults
    assert policy.value("needle_dwell_days") == 5
    assert len(policy.ignored) == 1 and "blood_product_gauge_adult" in policy.ignored[0]


def test_a_silenced_rule_needs_its_reason_and_date() -> None:
    source = {"title": "Ward policy (invented)", "date": "2031-01-01"}
    for row in (
        {"rule": "x"},
        {"rule": "x", "reason": "", "date": "2031-01-15"},
        {"rule": "x", "reason": "y", "date": 3},
    ):
        assert apply(DEFAULT, {"source": source, "silence": [row]})[1]


def test_every_worksheet_says_what_the_policy_silences() -> None:
    path = Path(__file__).parents[1] / "demo_episodes" / "uncomplicated-week.yaml"
    asof = datetime.fromisoformat("2031-03-05T07:00-06:00")
    views, _, _ = worksheet._views((path,), silencing("discard-too-small"), asof)
    for work in ("line check", "access", None):
        assert any("discard-too-small" in said for said in worksheet._made(views, work, None).cautions)
