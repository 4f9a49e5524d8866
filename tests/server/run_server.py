"""Starts and stops a FHIR R4 server (HAPI FHIR's JPA server) on the loopback address, for contract tests.

On the command line, `run_server.py` starts one that keeps running, prints its base address once requests are
answered, and exits; `run_server.py --stop` stops every server started so. In Python, `server()` lends one for
the length of a `with` block, and `start()` gives one that can be killed and started again on the same data.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

JAVA_PROJECTS = Path(__file__).resolve().parent.parent / "java"
sys.path.insert(0, str(JAVA_PROJECTS))  # run as a script, this folder alone is on the path

from maven_jar import ToolMissing, jar, tool  # noqa: E402 - needs the path above

RUNNING = JAVA_PROJECTS / "server" / "target" / "running"
_START_SECONDS = 180
_STOP_SECONDS = 30
_DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))  # never by way of a proxy
# The first compiler stage only: half the processor time for a program that lives for minutes.
_SMALL = ("-Xmx1g", "-Xmn400m", "-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1")


@dataclass(frozen=True, slots=True)
class Running:
    """A server that answers at `base_url` until stopped or killed; its own words are in `log`."""

    base_url: str
    process: subprocess.Popen[bytes]
    log: Path

    def stop(self) -> None:
        """Ends the server in good order."""
        if self.process.stdin is not None:
            self.process.stdin.close()
        else:
            self.process.terminate()
        try:
            self.process.wait(timeout=_STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self.kill()
        self.log.unlink(missing_ok=True)

    def kill(self) -> None:
        """Ends the server at once, in the middle of whatever it is doing."""
        self.process.kill()
        self.process.wait()
        if self.process.stdin is not None:
            self.process.stdin.close()


@contextlib.contextmanager
def server(port: int = 0, data: Path | None = None) -> Iterator[str]:
    """Lends the base address of a server that stops with the block, and with this process at the latest."""
    running = start(port=port, data=data)
    try:
        yield running.base_url
    finally:
        running.stop()


def start(port: int = 0, data: Path | None = None, *, detached: bool = False, judged: bool = False) -> Running:
    """Starts a server and waits until it answers.

    `port` 0 picks a free one. Without `data` everything is in memory and gone at the end; with it, resources
    are kept in that folder, also when the server is killed. A `detached` server outlives this process. One that is
    sent what another one has `judged` validates nothing.
    Raises ToolMissing without Java or Maven, RuntimeError when it does not come up.
    """
    command = [tool("java"), *_SMALL]
    if data is not None:
        command.append(f"-Dcontract.database={data.resolve() / 'resources'}")
    if judged:
        command.append("-Dcontract.judged=true")
    command += ["-jar", str(jar("server")), str(port)]
    RUNNING.mkdir(parents=True, exist_ok=True)
    log = RUNNING / f"{os.getpid()}-{time.monotonic_ns()}.log"
    with log.open("wb") as words:
        process = subprocess.Popen(
            command if detached else [*command, "--until-stdin-ends"],
            stdin=subprocess.DEVNULL if detached else subprocess.PIPE,
            stdout=words,
            stderr=subprocess.STDOUT,
            start_new_session=detached,
        )
    try:
        base_url = _wait_until_it_answers(process, log)
        if not judged:
            _load_the_definitions(base_url)
    except BaseException:
        process.kill()
        process.wait()
        if process.stdin is not None:
            process.stdin.close()
        raise
    return Running(base_url, process, log)


def _wait_until_it_answers(process: subprocess.Popen[bytes], log: Path) -> str:
    end = time.monotonic() + _START_SECONDS
    while time.monotonic() < end:
        if process.poll() is not None:
            raise RuntimeError(f"the FHIR server ended with code {process.returncode}:\n{_tail(log)}")
        rows = log.read_text(errors="replace").splitlines()
        base_url = next((row for row in rows if row.startswith("http://127.0.0.1:")), None)
        if base_url is not None:
            return base_url
        time.sleep(0.2)
    raise RuntimeError(f"the FHIR server did not answer within {_START_SECONDS} s:\n{_tail(log)}")


def _load_the_definitions(base_url: str) -> None:
    """Validates something, so that the first real request does not wait seconds for the definitions."""
    request = urllib.request.Request(
        f"{base_url}/Basic/$validate",
        data=b'{"resourceType": "Basic", "code": {"text": "warm-up"}}',
        headers={"Content-Type": "application/fhir+json"},
    )
    with _DIRECT.open(request, timeout=_START_SECONDS) as answer:
        answer.read()


def _tail(log: Path) -> str:
    return log.read_text(errors="replace")[-3000:]


def main(arguments: list[str] | None = None) -> int:
    """The command line; the exit code is 0, or 1 with one sentence on standard error."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--port", type=int, default=0, help="port on 127.0.0.1 (default: a free one)")
    parser.add_argument("--data", type=Path, help="folder to keep resources in (default: in memory)")
    parser.add_argument("--stop", action="store_true", help="stop the servers started by this script")
    options = parser.parse_args(arguments)
    if options.stop:
        _stop_all()
        return 0
    try:
        running = start(options.port, options.data, detached=True)
    except (ToolMissing, RuntimeError) as fault:
        sys.stderr.write(f"{fault}\n")
        return 1
    note = {"pid": running.process.pid, "base_url": running.base_url, "log": str(running.log)}
    (RUNNING / f"{running.process.pid}.json").write_text(json.dumps(note))
    sys.stdout.write(f"{running.base_url}\n")
    return 0


def _stop_all() -> None:
    for note in sorted(RUNNING.glob("*.json")):
        started = json.loads(note.read_text())
        pid = started["pid"]
        if _is_our_server(pid):
            os.kill(pid, signal.SIGTERM)
            end = time.monotonic() + _STOP_SECONDS
            while _is_our_server(pid) and time.monotonic() < end:
                time.sleep(0.1)
            if _is_our_server(pid):
                os.kill(pid, signal.SIGKILL)
        Path(started["log"]).unlink(missing_ok=True)
        note.unlink()


def _is_our_server(pid: int) -> bool:
    """Whether that process is still a server of ours: numbers of ended processes are given out again."""
    try:
        command = Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False
    return str(JAVA_PROJECTS / "server").encode() in command


if __name__ == "__main__":
    sys.exit(main())
