"""Run all figures, print a table, write JSON: ``python -m tests.benchmarks [--quick] [--group fhir] [--json FILE]``."""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import sys
from pathlib import Path

from tests.benchmarks import bulk, core, fhir, start
from tests.benchmarks.measure import Bench, Figure

GROUPS = {"start": start.figures, "core": core.figures, "fhir": fhir.figures, "bulk": bulk.figures}


def line(figure: Figure) -> str:
    """Return a figure as one row of the table."""
    goal = f"{'at most' if figure.most else 'at least'} {figure.goal:g}"
    measured = f"{figure.median:.3g}{figure.unit if figure.unit != 'x' else ''}"
    verdict = "met" if figure.met else "MISSED"
    note = f"  ({figure.note})" if figure.note else ""
    return f"{figure.number:>3} {figure.name:<66} {goal:>14} {measured:>9}  {figure.spread:<18} {verdict}{note}"


def main() -> None:
    """Measure and print."""
    sys.dont_write_bytecode = False
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="A tenth of the sizes; growth and memory say less then.")
    parser.add_argument("--group", action="append", choices=tuple(GROUPS), help="Only this group; may be repeated.")
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--json", type=Path, help="Write the figures here as well.")
    chosen = parser.parse_args()
    bench = Bench(chosen.pairs, 0.1 if chosen.quick else 1.0)
    print(f"{'#':>3} {'figure (ratio of CPU times unless said otherwise)':<66} {'goal':>14} {'median':>9}  spread")
    found: list[Figure] = []
    try:
        for group in chosen.group or GROUPS:
            for figure in GROUPS[group](bench):
                found.append(figure)
                print(line(figure), flush=True)
    finally:
        shutil.rmtree(bench.folder, ignore_errors=True)
        if chosen.json is not None:
            machine = {"python": platform.python_version(), "processors": os.cpu_count(), "load": os.getloadavg()}
            told = {"machine": machine, "pairs": chosen.pairs, "figures": [figure.as_json() for figure in found]}
            chosen.json.write_text(json.dumps(told, indent=1) + "\n")
    met = sum(figure.met for figure in found)
    print(f"{met} of {len(found)} met.")


if __name__ == "__main__":
    main()
