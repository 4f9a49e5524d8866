"""The reference Java validator (HAPI FHIR, R4 definitions on board) as an outside check of FHIR resources."""

from __future__ import annotations

import contextlib
import json
import subprocess
import tempfile
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Literal, Self

from maven_jar import jar, tool

Severity = Literal["fatal", "error", "warning", "information"]
_START_SECONDS = 120
_ANSWER_SECONDS = 60
# Any connection that a library tries to open goes to a closed local port: a run can't lean on the network.
_NO_NETWORK = ("-DsocksProxyHost=127.0.0.1", "-DsocksProxyPort=9")
# The first compiler stage only: half the processor time for a program that lives for a minute.
_SMALL = ("-Xmx1g", "-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1")


@dataclass(frozen=True, slots=True)
class Issue:
    """One message of the validator. `location` is a FHIRPath; `id` names the message or the invariant."""

    severity: Severity
    location: str
    message: str
    id: str

    @property
    def is_error(self) -> bool:
        """Whether a transaction with this issue must not be sent.

        A reference to an entry that is not there counts: the validator only warns of it, since other kinds of
        bundle may point outside themselves.
        """
        return self.severity in ("fatal", "error") or self.id == "Bundle_BUNDLE_Not_Local"


class JavaValidator:
    """A validator process, kept alive until closed. Use it as a context manager, once a session.

    Raises ToolMissing when Java or Maven is not installed, RuntimeError when the program can't be built, does
    not start or stops answering.
    """

    version: str

    def __init__(self, package: Path | None = None) -> None:
        """``package`` is the folder of an unpacked FHIR package whose definitions are loaded."""
        loaded = [str(package)] if package is not None else []
        command = [tool("java"), *_SMALL, *_NO_NETWORK, "-jar", str(jar("validator")), *loaded]
        self._complaints = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 - close() closes it
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            text=True,
            encoding="utf-8",
        )
        try:
            self.version = self._read(_START_SECONDS)["version"]
        except BaseException:
            self.close()
            raise

    def check(self, resources: Iterable[Mapping[str, Any] | str]) -> list[list[Issue]]:
        """The issues of each resource, in order. Text is sent as it is, so that `2.50` stays `2.50`.

        Raises RuntimeError when the validator can't judge a resource at all (text that is not JSON, say).
        """
        return [self._check_one(number, resource) for number, resource in enumerate(resources)]

    def _check_one(self, number: int, resource: Mapping[str, Any] | str) -> list[Issue]:
        text = resource if isinstance(resource, str) else json.dumps(resource, ensure_ascii=False)
        # A row break in JSON text can only stand between tokens, so a blank says the same.
        row = text.replace("\r", " ").replace("\n", " ")
        try:
            print(row, file=_open(self._process.stdin), flush=True)
        except BrokenPipeError:
            raise self._broken() from None
        answer = self._read(_ANSWER_SECONDS)
        if "failed" in answer:
            message = f"the Java validator could not judge resource {number}: {answer['failed']}"
            raise RuntimeError(message)
        return [Issue(**{**issue, "id": issue["id"] or ""}) for issue in answer["issues"]]

    def _read(self, seconds: float) -> dict[str, Any]:
        watch = threading.Timer(seconds, self._process.kill)
        watch.start()
        try:
            row = _open(self._process.stdout).readline()
        finally:
            watch.cancel()
        if not row:
            raise self._broken()
        answer: dict[str, Any] = json.loads(row)
        return answer

    def _broken(self) -> RuntimeError:
        self._process.wait()
        self._complaints.seek(0)
        tail = self._complaints.read()[-3000:]
        return RuntimeError(f"the Java validator ended with code {self._process.returncode}:\n{tail}")

    def close(self) -> None:
        """Stops the process; safe to call twice."""
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(BrokenPipeError):  # nobody is left to read; close it all the same
                _open(pipe).close()
        try:
            self._process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._complaints.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _open(pipe: IO[str] | None) -> IO[str]:
    assert pipe is not None
    return pipe
