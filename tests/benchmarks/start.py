"""Figures 1 to 4: starting up, checking files, reading YAML."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import yaml

from tests.benchmarks.episodes import made
from tests.benchmarks.measure import HERE, Bench, Figure, environment, ours, process, python, seconds

DEMO = HERE / "demo_episodes" / "uncomplicated-week.yaml"
ASOF = "2032-01-01T00:00Z"
_HEAVY = ("docx", "jinja2", "httpx", "fhir", "biip", "pydantic", "yaml", "lxml", "orjson", "zstandard", "distributed")
_BARE = (
    "import click, yaml, pydantic\nfrom yaml._yaml import CParser\nimport lda_notes.record.episode\n"
    "from pydantic import BaseModel\n"
    "lda_notes.record.episode.Episode.model_rebuild()\n"
)


def figures(bench: Bench) -> Iterator[Figure]:
    """Measure them."""
    for option in ("--version", "--help"):
        ratios = bench.paired(lambda option=option: ours(option).cpu, lambda: python("import click").cpu)
        yield Figure("1", f"{option} / import click", 1.25, True, ratios, note=_loads(option))
    bare = bench.paired(lambda: ours("check", str(DEMO), "--asof", "2026-05-12T20:00Z").cpu, lambda: python(_BARE).cpu)
    yield Figure("2", "check one YAML / bare imports of parser, click, built models", 1.25, True, bare)
    schema = bench.folder / "schema.json"
    ours("schema", out=schema)
    peer = [sys.executable, "-m", "check_jsonschema", "--schemafile", str(schema)]
    one = bench.paired(
        lambda: ours("check", str(DEMO), "--asof", "2026-05-12T20:00Z").cpu,
        lambda: process([*peer, str(DEMO)], (0, 1)).cpu,
    )
    yield Figure("2", "check one YAML / check-jsonschema", 0.55, True, one)
    files = _json_files(bench)
    many = bench.paired(
        lambda: ours("check", str(files), "--asof", ASOF).cpu,
        lambda: process([*peer, *map(str, sorted(files.iterdir()))], (0, 1)).cpu,
    )
    yield Figure("3", f"check {len(list(files.iterdir()))} JSON files / check-jsonschema", 0.10, True, many)
    yield _yaml(bench)


def _loads(option: str) -> str:
    program = (
        "import sys, atexit\n"
        f"atexit.register(lambda: print(*[m for m in {_HEAVY!r} if m in sys.modules], file=sys.stderr))\n"
        f"from lda_notes.cli import main\nsys.argv = ['lda-notes', {option!r}]\nmain()\n"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environment(), cwd=HERE)
    return f"heavy modules loaded: {run.stderr.strip() or 'none'}"


def _json_files(bench: Bench) -> Path:
    folder = bench.folder / "records"
    folder.mkdir(exist_ok=True)
    for number in range(1, bench.size(1000) + 1):
        (folder / f"{number:05}.json").write_text(json.dumps(made(number).record))
    return folder


def _yaml(bench: Bench) -> Figure:
    from lda_notes.files.syntax import read_yaml

    raw = DEMO.read_bytes()

    def read() -> None:
        parsed = read_yaml(raw)
        assert parsed.data is not None and not parsed.faults
        parsed.place(("events", 3, "at"))

    ratios = bench.paired(
        lambda: seconds(lambda: yaml.load(raw, yaml.CSafeLoader), 10),
        lambda: seconds(read, 20),
    )
    return Figure("4", "CSafeLoader / reading YAML with places", 2, False, ratios)
