"""The process dies at every single effect on disk or network, and the next run makes good."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

from crash_driver import SYSTEM, parcels
from test_sending_deliver import Fake

from lda_notes.sending.entries import entries


def test_a_death_at_any_moment_loses_and_doubles_nothing(fake: Fake, tmp_path: Path) -> None:
    server, url = fake
    driver = Path(__file__).with_name("crash_driver.py")
    done = subprocess.run(
        [sys.executable, str(driver), url, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert said["wrong"] == []
    assert said["moments"] > 60
    held: Counter[str] = Counter()
    versions: dict[str, str] = {}
    for one in server.resources.values():
        [(system, value)] = [
            (each["system"], each.get("value") or each["code"])
            for each in (*one.get("identifier", ()), *one.get("meta", {}).get("tag", ()))
            if each["system"].startswith(SYSTEM)
        ]
        name = f"{system.removeprefix(SYSTEM)}/{one['resourceType']}/{value}"
        held[name] += 1
        versions[name] = one["meta"]["versionId"]
    assert set(held.values()) == {1}
    calm = {name.split("/", 1)[1]: version for name, version in versions.items() if name.startswith("-0/")}
    assert len(calm) == len({entry.identity for one in parcels(0) for entry in entries(json.loads(one.bundle))})
    for number in range(1, said["moments"] + 1):
        mine = {name.split("/", 1)[1]: v for name, v in versions.items() if name.startswith(f"-{number}/")}
        assert mine == calm, number
