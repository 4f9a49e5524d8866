"""A facility's policy may silence a rule, with reason and date; the foot of a sheet says so."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent / "rules"))

import pytest
from click.testing import CliRunner
from rule_cases import CASES, case_under, episode_of, judged

from lda_notes.check.rule_table import NEVER_SILENT, silenced_words
from lda_notes.cli import group
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.policy_values import apply


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


def test_what_a_silenced_rule_would_say_more_of_is_still_listed_as_missing() -> None:
    """One cause, one finding: the list leaves out what a rule reports with its reason, and only then."""
    case = CASES / "transferred-on-hold.yaml"
    both = {"transferred-on-hold", "facts-recommended"}
    assert {one.rule for one in case_under(case, DEFAULT).findings} & both == {"transferred-on-hold"}
    quiet = case_under(case, silencing("transferred-on-hold"))
    assert {one.rule for one in quiet.findings} & both == {"facts-recommended"}


def test_a_vesicant_without_proof_is_never_silenced() -> None:
    policy = silencing("vesicant-without-blood-return", "no-such-rule")
    assert "vesicant-without-blood-return" in found(policy)
    assert silenced_words(policy) == (
        "The policy may not silence vesicant-without-blood-return; it was checked.",
        "The policy may not silence no-such-rule; it was checked.",
    )


# The second hand's list: what the table of line states calls a standing danger (D1 to D9; D10 is a fact that was not
# recorded, and D11 found by reading, which no policy reaches), and a vesicant without proof.
DANGEROUS = (
    "heparin-history heparin-allergy heparin-before-known lock-not-aspirated coring-needle "
    "treatment-strength-heparin ethanol-lock taurolidine-lock thrombolytic-check-missing "
    "vesicant-without-blood-return vesicant-not-flagged use-against-limit infusion-on-held-line held-line-used "
    "held-line-flushed facts-not-recorded failed-dressing-left unknown-age-left chlorhexidine-allergy "
    "iodine-allergy isopropyl-alcohol-allergy adhesive-allergy latex-allergy anesthetic-allergy "
    "vapocoolant-allergy alteplase-allergy benzyl-alcohol-allergy other-allergy "
)


@pytest.mark.parametrize("rule", sorted({*DANGEROUS.split(), *" ".join(NEVER_SILENT.values()).split()}))
def test_a_standing_danger_is_found_though_the_policy_silences_it(rule: str) -> None:
    case = case_under(CASES / f"{rule}.yaml", silencing(rule))
    assert rule in {name for _, name in case.found}
    assert case.found == case.expected


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


@pytest.mark.parametrize("work", ["check", "access"])
def test_every_worksheet_says_what_the_policy_silences(work: str, tmp_path: Path) -> None:
    path = Path(__file__).parents[1] / "demo_episodes" / "uncomplicated-week.yaml"
    policy = tmp_path / "policy.yaml"
    policy.write_text(
        "source: {title: Ward policy (invented), date: 2031-01-01}\n"
        "silence: [{rule: discard-too-small, reason: discarded by protocol, date: 2031-01-15}]\n"
    )
    words = ["worksheet", str(path), "--for", work, "--policy", str(policy), "--asof", "2031-03-05T07:00-06:00"]
    assert "discard-too-small" in CliRunner().invoke(group, words).output
