"""The script that lends servers: a taken port is told at once. That data survive a kill: test_send_faults.py."""

from __future__ import annotations

import os
import socket

import pytest
import run_server


def test_a_taken_port_is_told_at_once() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(RuntimeError, match="Failed to bind"):
        run_server.start(port=taken.getsockname()[1])


def test_stopping_leaves_foreign_processes_alone() -> None:
    assert not run_server._is_our_server(os.getpid())
