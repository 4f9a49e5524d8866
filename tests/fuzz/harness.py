"""Feeds every command damaged input, from a fixed seed, and counts what ends in anything but a sentence.

python tests/fuzz/harness.py --inputs 300000 --seed 14     on demand, for hours
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import click

from lda_notes.cli import group
from lda_notes.files.syntax import read_yaml
from lda_notes.problems import Failure
from lda_notes.sending.pace import Pace

ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "demo_episodes").glob("*.yaml"))
JUNK: tuple[Any, ...] = (
    None, True, False, 0, -1, 2**70, 1.5, -0.0, 1e308, "", " ", "x", "\x1b[2J", "\u202e", "no", "yes", [], {}, [[]],
    [{}], [None], {"": None}, {"not_done": 1}, {"not_assessed": ""}, "9999-12-31T23:59+00:00", "0001-01-01T00:00+00:00",
    "2031-02-30", "2026-05-04T09:30", "access", ["access"], {"kind": "access"}, "é" * 300, "-" * 5000,
)  # fmt: skip
MARKS = (b"[", b"]", b"{", b"}", b":", b"- ", b"\0", b"\xff", b"\n", b"&a ")
SAID = (Failure, click.exceptions.ClickException, click.exceptions.Exit, click.exceptions.Abort, SystemExit)
ASOF = ("2026-05-08T07:00-05:00",) * 6 + (
    "0001-01-01T00:00+00:00", "0001-01-01T00:00+14:00", "9999-12-31T23:59-12:00", "1850-01-01T00:00+00:00",
    "2199-12-31T23:59+00:00", "2026-05-08",
)  # fmt: skip


@dataclass
class Found:
    """What a run found: inputs by command, and one trace for each place where something unforeseen arose."""

    inputs: Counter[str] = field(default_factory=Counter)
    faults: dict[str, str] = field(default_factory=dict)

    def table(self) -> str:
        rows = [f"{number:>9,}  {name}" for name, number in sorted(self.inputs.items())]
        return "\n".join([*rows, f"{self.inputs.total():>9,}  inputs, {len(self.faults)} faults"])


def _places(value: Any, above: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [above] if above else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found += _places(inner, (*above, key))
    return found


def mutated(data: Any, chance: random.Random) -> Any:
    """Return data with a few values replaced, removed, doubled, moved, or wrapped."""
    data = deepcopy(data)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 8))):
        places = _places(data)
        if not places:
            return data
        *above, key = chance.choice(places)
        at = data
        for step in above:
            at = at[step]
        match chance.randrange(7):
            case 0 | 1 | 2:
                at[key] = deepcopy(chance.choice(JUNK))
            case 3:
                del at[key]
            case 4:
                at[key] = [at[key]]
            case 5 if isinstance(at, list):
                at.insert(chance.randrange(len(at) + 1), deepcopy(at[key]))
            case 5:
                at[str(chance.choice(("extra", "kind", "id", "at", "of", "resourceType")))] = deepcopy(at[key])
            case _:
                other = data
                for step in chance.choice(places):
                    if not isinstance(other, dict | list) or (isinstance(other, dict) and step not in other):
                        break
                    if isinstance(other, list) and not (isinstance(step, int) and step < len(other)):
                        break
                    other = other[step]
                at[key] = deepcopy(other)
    return data


def damaged(raw: bytes, chance: random.Random) -> bytes:
    """Return bytes with some cut out, put in, or changed."""
    raw = bytes(raw)
    for _ in range(chance.choice((1, 2, 5))):
        at = chance.randrange(len(raw) + 1)
        match chance.randrange(5):
            case 0:
                raw = raw[:at]
            case 1:
                raw = raw[:at] + raw[at + chance.randrange(40) :]
            case 2:
                raw = raw[:at] + chance.randbytes(chance.randrange(1, 6)) + raw[at:]
            case 3:
                raw = raw[:at] + chance.choice(MARKS) + raw[at:]
            case _:
                other = chance.randrange(len(raw) + 1)
                raw = raw[:at] + raw[min(at, other) : max(at, other)][:300] + raw[at:]
    return raw


class Endless(BaseException):
    """A command that still works on one input after `MOST_SECONDS` of processor time."""


MOST_SECONDS = 30.0


def _endless(*_: object) -> None:
    raise Endless


class Harness:
    """Everything that a run needs: the sound inputs, a folder, and the commands as functions of a damaged file."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.records = [read_yaml(path.read_bytes()).data for path in DEMOS]
        self.raw = [path.read_bytes() for path in DEMOS]
        said, _ = self.run(["bundle", str(DEMOS[0]), "--no-note", "--with-context"])
        self.bundles = [json.loads(row) for row in said.splitlines() if row.startswith("{")]
        self.found = Found()

    def run(self, arguments: list[str]) -> tuple[str, BaseException | None]:
        out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="surrogateescape")
        err = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="surrogateescape")
        error: BaseException | None = None
        kept = sys.stdin
        sys.stdin = io.TextIOWrapper(io.BytesIO(b""), encoding="utf-8")
        signal.signal(signal.SIGVTALRM, _endless)
        signal.setitimer(signal.ITIMER_VIRTUAL, MOST_SECONDS)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                group.main(arguments, prog_name="lda-notes", standalone_mode=False)
            except SAID:
                pass
            except BaseException as raised:
                if isinstance(raised, KeyboardInterrupt):
                    raise
                error = raised
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        sys.stdin = kept
        out.flush()
        assert isinstance(out.buffer, io.BytesIO)
        return out.buffer.getvalue().decode("utf-8", "replace"), error

    def record(self) -> Path:
        chance, number = self.chance, self.chance.randrange(len(DEMOS))
        way = chance.randrange(4)
        path = self.folder / ("ep.json" if way in (1, 3) else "ep.yaml")
        if path.is_dir():  # made by `demo` before any record was
            shutil.rmtree(path)
        if way == 0:
            path.write_bytes(damaged(self.raw[number], chance))
        elif way == 1:
            path.write_bytes(damaged(json.dumps(self.records[number]).encode(), chance))
        else:
            data = json.dumps(mutated(self.records[number], chance))  # JSON is YAML too
            path.write_bytes(data.encode())
        return path

    def rows(self) -> Path:
        """Write a file of a few records, one to a row, of which some are damaged."""
        chance = self.chance
        path = self.folder / "rows.ndjson"
        rows = [
            json.dumps(mutated(chance.choice(self.records), chance)).encode() for _ in range(chance.randrange(1, 4))
        ]
        rows[0] = damaged(rows[0], chance) if chance.random() < 0.5 else rows[0]
        path.write_bytes(b"\n".join(rows))
        return path

    def bundle(self) -> Path:
        chance = self.chance
        path = self.folder / "bundle.json"
        bundle = chance.choice(self.bundles)
        text = json.dumps(mutated(bundle, chance)).encode()
        path.write_bytes(damaged(text, chance) if chance.random() < 0.2 else text)
        return path

    def option_file(self, sound: str) -> Path:
        path = self.folder / "option.yaml"
        chance = self.chance
        if chance.random() < 0.5:
            path.write_bytes(damaged(sound.encode(), chance))
        else:
            path.write_text(json.dumps(mutated(read_yaml(sound.encode()).data, chance)))
        return path

    def commands(self) -> dict[str, Callable[[], list[str]]]:
        chance, demo = self.chance, str(DEMOS[0])
        policy = "source: {title: Port care policy, date: 2026-01-15}\nlimits: {needle_dwell_days: 5}\n"
        answers = "at: '0940'\npain: 2\nsite: a\n"
        write, outbox = str(self.folder / "write.yaml"), str(self.folder / "outbox")

        def asof() -> list[str]:
            return ["--asof", chance.choice(ASOF)]

        return {
            "check": lambda: ["check", str(self.record()), *asof()],
            "note": lambda: ["note", str(self.record()), "--all", *asof()],
            "handoff": lambda: ["handoff", str(self.record()), "--format", chance.choice(("text", "json")), *asof()],
            "worksheet": lambda: ["worksheet", str(self.record()), "--for", "access", *asof()],
            "bundle": lambda: ["bundle", str(self.record()), "--no-note"],
            "days": lambda: ["days", str(self.record()), "--from", "2026-05-01", "--to", "2026-05-31", *asof()],
            "amounts": lambda: ["amounts", str(self.record()), *asof()],
            "verify": lambda: ["verify", str(self.bundle())],
            "readback": lambda: ["readback", str(self.bundle())],
            "policy": lambda: ["policy", "--policy", str(self.option_file(policy))],
            "config": lambda: ["bundle", demo, "--event", "access-1", "--no-note", "--config",
                               str(self.option_file("systems: {identity: 'urn:x:y'}\n"))],
            "new": lambda: ["new", str(self.folder / "none.yaml"), "--no-input", "--from-bundle", str(self.bundle())],
            "chart": lambda: ["chart", write, "check", "--no-input", "--sign", "y", "--by", "Marisol Tamm, RN",
                              "--answers", str(self.option_file(answers)), *asof()],
            "check of rows": lambda: ["check", str(self.rows()), *asof()],
            "bundle of rows": lambda: ["bundle", str(self.rows()), "--no-note"],
            "days of rows": lambda: ["days", str(self.rows()), "--from", "2026-05-01", "--to", "2026-05-31", *asof()],
            "send": lambda: ["send", str(chance.choice((self.record, self.bundle))()), "--outbox", outbox, *asof()],
            "send what waits": lambda: ["send", "--outbox", outbox],
            "status": lambda: ["status", str(self.record()), "--server", "http://127.0.0.1:9/fhir", *asof()],
            "demo": lambda: ["demo", str(self.folder / chance.choice(("ep.yaml", "ep.yaml/demo", "x" * 300)))],
            "rules": lambda: ["rules", chance.choice(("needle-coring", "", "\x1b[2J", "x" * 300, "--format"))],
            "schema": lambda: ["schema", "--out", str(self.folder / chance.choice(("schema.json", "ep.json", "demo")))],
            "amend": lambda: ["amend", str(self.record()), "access-1", "--as", "retraction", "--no-input",
                              *asof()],
        }  # fmt: skip

    def go(self, most: int, seconds: float) -> Found:
        until = time.monotonic() + seconds
        os.environ["XDG_STATE_HOME"] = str(self.folder / "state")
        commands = self.commands()
        names = list(commands)
        for turn in range(most):
            if time.monotonic() > until:
                break
            name = names[turn % len(names)]
            if name == "send" and self.found.inputs[name] % 100 == 0:  # an outbox that grows would be all the work
                shutil.rmtree(self.folder / "outbox", ignore_errors=True)
            if name == "chart":
                (self.folder / "write.yaml").write_bytes(self.raw[0])
            arguments = commands[name]()
            self.found.inputs[name] += 1
            with (
                patch("lda_notes.sending.pace.Pace", partial(Pace, sleep=lambda _: None)),
                patch("gc.collect"),  # a stream's first step; in a long process it would be half of the work
            ):
                _, error = self.run(arguments)
            if error is not None:
                trace = traceback.extract_tb(error.__traceback__)
                spot = next((f"{f.filename}:{f.lineno}" for f in reversed(trace) if "lda_notes" in f.filename), "?")
                key = f"{name}: {type(error).__name__} at {spot}"
                said = "".join(traceback.format_exception(error))[-3000:]
                self.found.faults.setdefault(key, f"{said}{' '.join(arguments)}")
        return self.found


def run(inputs: int, seed: int, seconds: float = float("inf")) -> Found:
    with tempfile.TemporaryDirectory() as folder:
        return Harness(seed, Path(folder)).go(inputs, seconds)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=300_000)
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    given = parser.parse_args()
    found = run(given.inputs, given.seed, given.seconds)
    print(found.table())
    for place, trace in found.faults.items():
        print(f"\n{place}\n{trace}")
    sys.exit(bool(found.faults))


if __name__ == "__main__":
    main()
