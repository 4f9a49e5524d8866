"""The script that lends servers: what was answered survives a kill, and a taken port is told at once."""

from __future__ import annotations

import os
import socket
import urllib.request
from pathlib import Path

import pytest
import run_server

PATIENT = b'{"resourceType": "Patient", "active": true}'


def test_what_was_answered_survives_a_kill(tmp_path: Path) -> None:
    first = run_server.start(data=tmp_path)
    try:
        request = urllib.request.Request(
            f"{first.base_url}/Patient", data=PATIENT, headers={"Content-Type": "application/fhir+json"}
        )
        with urllib.request.urlopen(request) as answer:
            assert answer.status == 201
            where = answer.headers["Location"].partition("/fhir/")[2].partition("/_history")[0]
    finally:
        first.kill()
    second = run_server.start(data=tmp_path)
    try:
        with urllib.request.urlopen(f"{second.base_url}/{where}") as answer:
            assert b'"active":true' in answer.read()
    finally:
        second.stop()
    assert second.process.returncode == 0


def test_a_taken_port_is_told_at_once() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(RuntimeError, match="Failed to bind"):
        run_server.start(port=taken.getsockname()[1])


def test_stopping_leaves_foreign_processes_alone() -> None:
    assert not run_server._is_our_server(os.getpid())
