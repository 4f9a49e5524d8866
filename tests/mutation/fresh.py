"""A plugin of pytest under which one module has another source: file ``MUTATED`` is read from file ``MUTANT``."""

from __future__ import annotations

import os
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import CodeType

_read = SourceFileLoader.get_code


def _code(self: SourceFileLoader, fullname: str) -> CodeType | None:
    if self.path != os.environ["MUTATED"]:
        return _read(self, fullname)
    return compile(Path(os.environ["MUTANT"]).read_text(), self.path, "exec")


SourceFileLoader.get_code = _code  # type: ignore[method-assign]  # replaced on purpose
