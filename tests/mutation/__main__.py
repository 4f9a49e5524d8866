"""Change one place at a time and see whether a test notices: ``python -m tests.mutation [MODULE ...]``.

Only rules are asked: tests that hold a whole document to itself are not among :data:`TESTS`. The sample is drawn by a
hash of each mutant and the seed. What survives and why is written in SURVIVORS.txt; a survivor that is not in it is
new, and ends the command with 1.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import defaultdict
from pathlib import Path

import pytest

from tests.mutation.mutants import ROOT, Mutant, mutants, named, sample, words
from tests.mutation.runner import Runner

HERE = Path(__file__).parent
KNOWN = HERE / "SURVIVORS.txt"

MODULES = (
    "lda_notes/line/timeline.py",
    "lda_notes/line/walk.py",
    "lda_notes/line/transitions.py",
    "lda_notes/line/holds.py",
    "lda_notes/line/signs.py",
    "lda_notes/line/proof.py",
    "lda_notes/line/contents.py",
    "lda_notes/line/dangers.py",
    "lda_notes/line/due.py",
    "lda_notes/line/corrections.py",
    "lda_notes/line/states.py",
    "lda_notes/line/known.py",
    "lda_notes/line/against.py",
    "lda_notes/line/folding.py",
    "lda_notes/record/merging.py",
    "lda_notes/check/rules/corrections.py",
    "lda_notes/check/rules/hold_use.py",
    "lda_notes/check/rules/vesicants.py",
    "lda_notes/check/rules/hold_end.py",
    "lda_notes/check/rules/dwell_limits.py",
    "lda_notes/check/rules/interval_limits.py",
    "lda_notes/check/rules/flush_limits.py",
    "lda_notes/check/rules/lock_limits.py",
    "lda_notes/check/rules/needle_limits.py",
    "lda_notes/check/rules/skin_limits.py",
    "lda_notes/check/rules/thrombolytic_limits.py",
    "lda_notes/knowledge/suitability.py",
    "lda_notes/knowledge/amounts.py",
    "lda_notes/knowledge/ages.py",
    "lda_notes/fhir/build/devices.py",
    "lda_notes/fhir/build/due.py",
    "lda_notes/fhir/build/procedures.py",
    "lda_notes/fhir/build/administrations.py",
    "lda_notes/fhir/build/given.py",
    "lda_notes/fhir/build/corrections.py",
    "lda_notes/fhir/build/standing.py",
    "lda_notes/fhir/build/fold.py",
    "lda_notes/fhir/build/known.py",
    "lda_notes/fhir/build/observations.py",
    "lda_notes/fhir/build/context.py",
)
NAMED_TESTS = ("tests/rules/test_named_mutations.py", "tests/handoff/test_handoff.py")
FHIR_TESTS = (
    "tests/rules/test_named_mutations.py",
    "tests/fhir/test_what_is_held.py",
    "tests/fhir/test_what_is_due.py",
    "tests/fhir/test_what_was_done.py",
    "tests/fhir/test_what_was_corrected.py",
    "tests/fhir/test_what_is_known.py",
    "tests/fhir/test_named_and_placed.py",
    "tests/fhir/test_over_time.py",
    "tests/fhir/test_whose_bundle.py",
    "tests/fhir/test_bundle.py",
)
TESTS = (
    "tests/rules/test_cases.py::test_case",
    "tests/rules/test_named_mutations.py",
    "tests/rules/test_what_mutants_showed.py",
    "tests/rules/test_hold_rows.py",
    "tests/rules/test_hold_ends.py",
    "tests/rules/test_danger_rows.py",
    "tests/rules/test_due_rows.py",
    "tests/rules/test_state_rows.py",
    "tests/rules/test_hold_rules.py",
    "tests/rules/test_dwell_rules.py",
    "tests/rules/test_flush_rules.py",
    "tests/rules/test_skin_rules.py",
    "tests/rules/test_line_over_records.py",
    "tests/rules/test_corrected_entries.py",
    "tests/rules/test_absence.py",
    "tests/rules/test_suitability_rows.py",
    "tests/rules/test_known_facts.py",
    "tests/rules/test_boundaries.py",
    "tests/rules/test_amount_boundaries.py",
    "tests/rules/test_age_boundaries.py",
    "tests/second_hand/test_line_states.py",
    "tests/second_hand/test_standing_dangers.py",
    "tests/second_hand/test_clinical_facts.py",
    "tests/outside/test_clinical_rules.py",
    "tests/outside/test_amounts.py",
    "tests/handoff/test_handoff.py",
    "tests/test_corrections.py",
    "tests/test_earlier_stays.py",
    "tests/test_between_records.py",
    "tests/test_unread.py",
)


def known() -> dict[str, str]:
    """Return the survivors that are accounted for, each with the reason that stands indented under it."""
    found: dict[str, str] = {}
    key = ""
    for row in KNOWN.read_text().splitlines():
        if row.startswith("    "):
            found[key] = row.strip()
        elif row and not row.startswith("#"):
            key = row
    return found


def main() -> int:
    """Try the mutants, print each survivor and the score."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", default=MODULES)
    parser.add_argument("--per-module", type=int, default=20, help="How many mutants of each module; 0 is all.")
    parser.add_argument("--together", type=int, help="How many of all modules together, each mutant as likely.")
    parser.add_argument("--seed", default="13")
    parser.add_argument("--seconds", type=float, default=20, help="How long the tests of one mutant may take.")
    parser.add_argument("--only", type=Path, help="Only the mutants in this file, one a row, as they are printed.")
    parser.add_argument("--tests", nargs="+", help="Only these tests, such as the one that is to kill a survivor.")
    parser.add_argument("--named", action="store_true", help="Only those of named.py, which once went unnoticed.")
    chosen = parser.parse_args()
    os.nice(10)
    os.chdir(ROOT)
    every: dict[str, list[Mutant]] = {}
    for one in named() if chosen.named else ():
        every.setdefault(one.module, []).append(one)
    every = every or {module: mutants(module, words()) for module in chosen.modules}
    size = 0 if chosen.named else chosen.per_module
    tried = {module: sample(found, size or len(found), chosen.seed) for module, found in every.items()}
    if chosen.together:
        drawn = sample([one for found in every.values() for one in found], chosen.together, chosen.seed)
        tried = {module: [one for one in drawn if one.module == module] for module in every}
    if chosen.only:
        keys = set(chosen.only.read_text().splitlines())
        tried = {module: [one for one in found if one.key in keys] for module, found in every.items()}
    reasons = known()
    survived: dict[str, list[Mutant]] = defaultdict(list)

    def told(mutant: Mutant, killer: str) -> None:
        if killer in ("", "-"):
            survived[mutant.module].append(mutant)
            row = f"{mutant.key}\n    {reasons.get(mutant.key, 'NEW') if killer == '' else 'no test reaches it'}"
            print(row, flush=True)
        else:
            print(f"# killed: {mutant.key} # {killer.splitlines()[0]}", file=sys.stderr, flush=True)

    options = ["-s", "-o", "addopts=", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:terminal", "-W", "ignore"]
    for tests, of_fhir in ((NAMED_TESTS, None),) if chosen.named else ((TESTS, False), (FHIR_TESTS, True)):
        some = [one for found in tried.values() for one in found if of_fhir in (None, "/fhir/" in one.module)]
        tests = chosen.tests or tests
        if some and pytest.main([*options, *tests], plugins=[Runner(some, chosen.seconds, told)]):
            raise SystemExit("the tests could not be collected or do not pass: run them by themselves first")
    new = [one for found in survived.values() for one in found if one.key not in reasons]
    print(f"\n{'module':<48} {'mutants':>8} {'tried':>6} {'killed':>7}")
    for module, found in tried.items():
        print(f"{module:<48} {len(every[module]):>8} {len(found):>6} {len(found) - len(survived[module]):>7}")
    total, lost = sum(map(len, tried.values())), sum(map(len, survived.values()))
    print(
        f"{'all':<48} {sum(map(len, every.values())):>8} {total:>6} {total - lost:>7}  {1 - lost / max(total, 1):.1%}"
    )
    print(f"{len(new)} of {lost} survivors are not in {KNOWN.relative_to(ROOT)}")
    return 1 if new else 0


if __name__ == "__main__":
    sys.exit(main())
