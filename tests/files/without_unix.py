"""Takes away what Windows lacks: as a pytest plugin (``-p without_unix``), before anything of the project is read."""

from __future__ import annotations

import os
import sys

import portalocker  # noqa: F401 -- on a real Windows it locks by other means; here it keeps its own

MODULES = ("fcntl", "pwd", "grp", "termios", "tty", "pty", "resource")
NAMES = (
    "getuid", "geteuid", "getgid", "getegid", "chown", "fchown", "lchown", "fchmod", "getxattr", "setxattr",
    "listxattr", "O_NOFOLLOW", "O_CLOEXEC", "sync", "setsid", "getpgid", "killpg",
)  # fmt: skip


def take_away() -> None:
    for name in MODULES:
        sys.modules[name] = None  # type: ignore[assignment]  # replaced on purpose
    for name in NAMES:
        if hasattr(os, name):
            delattr(os, name)


def pytest_load_initial_conftests() -> None:
    """After the plugins of others have been read, before anything of this project."""
    read = [name for name in sys.modules if name.partition(".")[0] in ("lda_notes", "conftest")]
    assert not read, f"already read with all of Unix: {read}"
    import pexpect  # noqa: F401 -- a tool of the tests, which need it to be read; what it drives is not in this core

    take_away()
