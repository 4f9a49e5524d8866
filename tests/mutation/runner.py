"""Runs tests against mutants: pytest collects once, each mutant lives in a forked child whose functions are changed.

For a mutant of a module's own level (a table, a constant) the values from there on are made again; where no test
notices that, or a class changes, pytest starts anew, with :mod:`tests.mutation.fresh` as a plugin.
"""

from __future__ import annotations

import ast
import gc
import os
import pickle
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from types import CodeType, FunctionType
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from lda_notes.check import rule_table
from tests.mutation.mutants import ROOT, Mutant

Rows = dict[str, set[tuple[str, int]]]
"""For each test the rows of the mutated modules that it runs."""


@dataclass
class Runner:
    """A plugin of pytest that runs no test by itself but, for each mutant, those that reach its row."""

    mutants: Sequence[Mutant]
    budget: float
    told: Callable[[Mutant, str], None]
    """Is called with each mutant and the test that killed it; "" if it survived, "-" if no test reaches it."""

    rows: Rows = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run the tests once with a trace, then against every mutant."""
        assert not session.testsfailed, "a test could not be collected"
        items = {item.nodeid: item for item in session.items}
        rule_table.load()  # what is loaded late must be there to be changed
        for module in {one.module for one in self.mutants}:
            import_module(_name(module))
        with TemporaryDirectory() as folder:
            traced = Path(folder, "rows")
            in_child(lambda: self._trace(list(items.values()), traced), limit=3600)
            self.rows, self.seconds = pickle.loads(traced.read_bytes())
        counts = Counter(row for rows in self.rows.values() for row in rows)
        for mutant in self.mutants:
            tests = [name for name in self._chosen(mutant, counts) if name in items]
            self.told(mutant, self._killer(mutant, [items[name] for name in tests]) if tests else "-")
        return True

    def _trace(self, items: list[pytest.Item], traced: Path) -> str:
        targets = {str(one.path): one.module for one in self.mutants}
        rows: Rows = {}
        seconds: dict[str, float] = {}
        for item, following in pairwise([*items, None]):
            assert item is not None
            seen: set[tuple[str, int]] = set()

            def local(frame: Any, event: str, _: Any, seen: set[tuple[str, int]] = seen) -> Any:
                seen.add((targets[frame.f_code.co_filename], frame.f_lineno))
                return local

            start = time.process_time()
            sys.settrace(lambda frame, *_: local if frame.f_code.co_filename in targets else None)
            failed = _failed(item, following)
            sys.settrace(None)
            seconds[item.nodeid], rows[item.nodeid] = time.process_time() - start, seen
            if failed:
                rows[item.nodeid] = set()
                print(f"fails without any mutant, left out: {item.nodeid}", file=sys.__stderr__)
        traced.write_bytes(pickle.dumps((rows, seconds)))
        return ""

    def _chosen(self, mutant: Mutant, counts: Counter[tuple[str, int]]) -> list[str]:
        """Return the tests that reach the mutant, as many as the budget allows; first those that reach rare rows."""
        if not mutant.row:
            return list(self.rows)
        near = _rows_of(mutant)
        reach = {
            name: sum(1 / counts[row] for row in rows if row[0] == mutant.module and row[1] in near)
            for name, rows in self.rows.items()
            if not mutant.function or (mutant.module, mutant.row) in rows
        }
        if not any(reach.values()):  # a row that no trace names, such as the second of a condition
            reach = {
                name: sum(1 / counts[row] for row in rows if row[0] == mutant.module and row[1] in near)
                for name, rows in self.rows.items()
            }
        chosen: list[str] = []
        spent = 0.0
        for name in sorted(filter(reach.get, reach), key=lambda name: -reach[name] / (0.1 + self.seconds[name])):
            chosen.append(name)
            spent += self.seconds[name]
            if spent > self.budget:
                break
        return chosen

    def _killer(self, mutant: Mutant, items: list[pytest.Item]) -> str:
        pairs = changed_functions(mutant)
        values = changed_values(mutant) if pairs is None else None

        def run() -> str:
            try:
                for function, code in pairs or ():
                    function.__code__ = code
            except ValueError:
                return "the code does not fit"
            if values is not None:
                exec(values, sys.modules[_name(mutant.module)].__dict__)
            return next((one.nodeid for one, following in pairwise([*items, None]) if _failed(one, following)), "")

        killer = in_child(run, limit=5 * self.budget + 20) if pairs is not None or values is not None else ""
        # What another module has imported keeps its old value: who lives through new values is tried in a new process.
        return killer if killer or pairs is not None else _anew(mutant, [item.nodeid for item in items])


def _name(module: str) -> str:
    return module.removesuffix(".py").replace("/", ".")


def _failed(item: Any, following: Any) -> bool:
    return any(report.failed for report in runtestprotocol(item, log=False, nextitem=following))


def in_child(run: Callable[[], str], limit: float) -> str:
    """Return what ``run`` returns in a forked process that may use ``limit`` seconds of the processor."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        signal.setitimer(signal.ITIMER_PROF, limit)
        try:
            said = run()
        except BaseException as crash:  # a mutant may raise anything, even at import
            said = f"crash: {type(crash).__name__}: {crash}"
        os.write(writing, said.encode()[:4000])
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    return said if os.WIFEXITED(status) else "runs for ever"


def _rows_of(mutant: Mutant) -> set[int]:
    """Return the rows of the mutant's function, or for the module's level of what names the thing that it changes."""
    text = mutant.path.read_text()
    rows: set[int] = set()
    if mutant.function:
        for code in _functions(compile(text, str(mutant.path), "exec")):
            if code.co_qualname.replace(".<locals>", "") == mutant.function:
                rows |= _all_rows(code)
        return rows
    said = text.splitlines()
    begin = next(at for at in range(mutant.row - 1, -1, -1) if said[at][:1].strip() and said[at][0] not in ")]}")
    names = {said[begin].split("=")[0].split(":")[0].split("(")[0].strip()} | set(said[mutant.row - 1].split("(")[0:])
    names |= {word.strip(" ,()[]") for word in said[mutant.row - 1].split()}
    for code in _functions(compile(text, str(mutant.path), "exec")):
        if code.co_name in names or names & _all_names(code):
            rows |= _all_rows(code)
    return rows or set(range(1, len(said) + 1))


def _nested(code: CodeType) -> list[CodeType]:
    return [one for one in code.co_consts if isinstance(one, CodeType)]


def _functions(code: CodeType) -> Iterator[CodeType]:
    for one in _nested(code):
        yield one
        yield from _functions(one)


def _all_rows(code: CodeType) -> set[int]:
    own = {row for *_, row in code.co_lines() if row is not None and row != code.co_firstlineno}
    return own.union(*map(_all_rows, _nested(code)))


def _all_names(code: CodeType) -> set[str]:
    return set(code.co_names).union(*map(_all_names, _nested(code)))


# -- the change --

_FUNCTION = 0x1  # CO_OPTIMIZED: bodies of modules and classes lack it


def changed_functions(mutant: Mutant) -> list[tuple[FunctionType, CodeType]] | None:
    """Return the functions as they live, each with its new code; None if more than functions changes."""
    file = str(mutant.path)
    pairs = list(_pairs(*(compile(text, file, "exec") for text in (mutant.path.read_text(), mutant.source))))
    live = [one for one in gc.get_objects() if isinstance(one, FunctionType) and one.__code__.co_filename == file]
    found: list[tuple[FunctionType, CodeType]] = []
    for old, new in pairs:
        same = [one for one in live if one.__code__ == old]
        if not old.co_flags & _FUNCTION or not same:
            return None
        found += [(one, new) for one in same]
    return found


def changed_values(mutant: Mutant) -> CodeType | None:
    """Return the module's tables and values from the changed one on, to be made again; None if a class changes."""
    old, new = (ast.parse(text).body for text in (mutant.path.read_text(), mutant.source))
    same = [ast.dump(one) == ast.dump(other) for one, other in zip(old, new, strict=True)]
    changed = [one for one, alike in zip(new, same, strict=True) if not alike]
    if not changed or not all(isinstance(one, ast.Assign | ast.AnnAssign) for one in changed):
        return None
    later = [one for one in new[same.index(False) :] if isinstance(one, ast.Assign | ast.AnnAssign)]
    future = [one for one in new if isinstance(one, ast.ImportFrom) and one.module == "__future__"]
    return compile(ast.Module([*future, *later], []), str(mutant.path), "exec")


def _pairs(old: CodeType, new: CodeType) -> Iterator[tuple[CodeType, CodeType]]:
    """Yield the outermost functions that differ, or the body of a module or class that does."""
    function = old.co_flags & _FUNCTION
    if not _alike(old, new) or (function and not all(map(_same, _nested(old), _nested(new)))):
        yield old, new
    elif not function:
        for one, other in zip(_nested(old), _nested(new), strict=True):
            yield from _pairs(one, other)


def _alike(one: CodeType, other: CodeType) -> bool:
    """Tell whether two pieces of code do the same but for what is nested in them; their places do not matter."""
    consts = [[(type(c), c) for c in code.co_consts if not isinstance(c, CodeType)] for code in (one, other)]
    shape = [(code.co_code, code.co_names, code.co_varnames, len(_nested(code))) for code in (one, other)]
    return bool(shape[0] == shape[1] and consts[0] == consts[1])


def _same(one: CodeType, other: CodeType) -> bool:
    return _alike(one, other) and all(map(_same, _nested(one), _nested(other)))


def _anew(mutant: Mutant, names: list[str]) -> str:
    """Return the first test that fails in a new process in which the module has the mutant's source."""
    with TemporaryDirectory() as folder, suppress(subprocess.TimeoutExpired):
        source, tests = Path(folder, "source.py"), Path(folder, "tests.txt")
        source.write_text(mutant.source)
        tests.write_text("\n".join(names))
        env = {**os.environ, "MUTATED": str(mutant.path), "MUTANT": str(source)}
        options = ["-x", "-q", "-p", "tests.mutation.fresh", "-p", "no:cacheprovider", "-p", "no:xdist", "--tb=no"]
        command = [sys.executable, "-m", "pytest", *options, f"@{tests}"]
        done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=300)
        said = [row for row in done.stdout.splitlines() if row.startswith(("FAILED", "ERROR"))]
        return "" if done.returncode == 0 else (said or ["at import"])[0].removeprefix("FAILED ")
    return "runs for ever"
