"""A pytest plugin: takes away what Windows does not have, once pytest itself no longer needs it."""

from __future__ import annotations

import os
import sys
from typing import Any

import portalocker  # noqa: F401 -- on a real Windows it locks by other means; here it keeps its own

MODULES = ("fcntl", "pwd", "grp", "termios", "tty", "pty", "resource")
NAMES = (
    "getuid", "geteuid", "getgid", "getegid", "chown", "fchown", "lchown", "fchmod", "getxattr", "setxattr",
    "listxattr", "O_NOFOLLOW", "O_CLOEXEC", "sync", "setsid", "getpgid", "killpg",
)  # fmt: skip


def take_away() -> None:
    for name in MODULES:
        sys.modules[name] = None  # type: ignore[assignment]
    for name in NAMES:
        if hasattr(os, name):
            delattr(os, name)


def pytest_collection_finish(session: Any) -> None:
    session.config._tmp_path_factory.getbasetemp()  # asks for the user
    for name in [name for name in sys.modules if name.startswith("lda_notes")]:
        del sys.modules[name]
    take_away()
