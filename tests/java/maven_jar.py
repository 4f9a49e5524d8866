"""Builds the small Java programs under this folder, when they are missing or older than their sources."""

from __future__ import annotations

import fcntl
import hashlib
import shutil
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent


class ToolMissing(RuntimeError):
    """Java or Maven is not installed. Tests that need them fail with this; they are never skipped."""


def tool(name: str) -> str:
    """The path of an installed program; raises ToolMissing with what to install."""
    found = shutil.which(name)
    if found is None:
        message = (
            f"{name!r} was not found on the path. These tests run a Java program: install a Java "
            "development kit, 17 or newer, and Maven (on Debian: apt-get install default-jdk-headless maven)."
        )
        raise ToolMissing(message)
    return found


def jar(name: str) -> Path:
    """The runnable jar of the Maven project in the folder of that name, built first if need be.

    The first build fetches the libraries through Maven; later builds and all runs need no network. Safe to call
    from several test processes at once. Raises ToolMissing, or RuntimeError with Maven's own words.
    """
    project = HERE / name
    pom = project / "pom.xml"
    built = project / "target" / f"{name}.jar"
    stamp = project / "target" / "built-from.sha256"
    tool("java")
    with pom.open("rb") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        sources = _digest(project)
        if built.is_file() and stamp.is_file() and stamp.read_text() == sources:
            return built
        _package(pom)
        stamp.write_text(sources)
    return built


def _package(pom: Path) -> None:
    command = [tool("mvn"), "-q", "-B", "-f", str(pom), "package"]
    run = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if run.returncode != 0:
        words = (run.stdout + run.stderr).strip()[-3000:]
        message = f"Maven could not build {pom}:\n{words}"
        raise RuntimeError(message)


def _digest(project: Path) -> str:
    digest = hashlib.sha256()
    for file in [project / "pom.xml", *sorted((project / "src").rglob("*"))]:
        if file.is_file():
            digest.update(str(file.relative_to(project)).encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()
