"""Mutants of a module: its source with one operator, number or word of the record changed.

mutmut's operators say what a node may become. Left out is what says nothing of a rule: annotations, decorators,
docstrings, messages; and what nearly always crashes (an argument or a value replaced by None), which would flatter
the score. Added is the `if` whose condition is turned round.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, islice
from pathlib import Path
from typing import get_args, get_origin

import libcst as cst
import libcst.metadata as meta
from mutmut.mutation import mutators

from tests.mutation.named import NAMED

ROOT = Path(__file__).parents[2]
LEFT_OUT = (
    cst.Annotation,
    cst.Decorator,
    cst.FormattedString,
    cst.ConcatenatedString,
    cst.Import,
    cst.ImportFrom,
    cst.Assert,
    cst.Raise,
)
OPERATORS = (
    (cst.BaseNumber, mutators.operator_number),
    (cst.Name, mutators.operator_name),
    (cst.UnaryOperation, mutators.operator_remove_unary_ops),
    (cst.Lambda, mutators.operator_lambda),
    (cst.CSTNode, mutators.operator_keywords),
    (cst.CSTNode, mutators.operator_swap_op),
    (cst.IfExp, mutators.operator_if_exp),
)
SWAPPED = {"any": "all", "all": "any", "min": "max", "max": "min"}


@dataclass(frozen=True)
class Mutant:
    """One changed place: ``function`` is empty for the module's own level; ``key`` names it whatever row it is on.

    Row 0: every test is run, not only those that reach it.
    """

    module: str
    function: str
    row: int
    key: str
    source: str

    @property
    def path(self) -> Path:
        return ROOT / self.module


def words() -> frozenset[str]:
    """Return the words that a record, a state, a bundle is made of: a string of these is no message."""
    from lda_notes.line import states
    from lda_notes.record import events, parts, vocabulary

    found = {"preparation", "in-progress", "completed", "not-done", "stopped", "active", "inactive", "entered-in-error"}
    found |= {"on-hold", "routine", "urgent", "unknown", "requested", "ready", "cancelled", "revoked", "draft", "final"}
    for module in (vocabulary, states, parts, events):
        for value in vars(module).values():
            if get_origin(value) is not None:
                found |= {one for one in get_args(value) if isinstance(one, str)}
            found |= set(getattr(value, "model_fields", ()))
    return frozenset({*found, *events.KINDS})


class _Visitor(cst.CSTVisitor):
    METADATA_DEPENDENCIES = (meta.PositionProvider,)

    def __init__(self, known: frozenset[str], code: Callable[[cst.CSTNode], str]) -> None:
        super().__init__()
        self.known, self.code = known, code
        self.scope: list[str] = []
        self.found: list[tuple[meta.CodeRange, str, str]] = []
        """Place in the source, what to write there, and the function that it is in."""

    def on_visit(self, node: cst.CSTNode) -> bool:
        if isinstance(node, LEFT_OUT) or self._of_types(node) or self._of_words(node):
            return False
        if isinstance(node, cst.FunctionDef | cst.ClassDef):
            self.scope.append(node.name.value)
        for old, new in self._changes(node):
            self.found.append((self.get_metadata(meta.PositionProvider, old), new, ".".join(self.scope)))
        return True

    def on_leave(self, node: cst.CSTNode) -> None:
        if isinstance(node, cst.FunctionDef | cst.ClassDef):
            self.scope.pop()

    def _of_types(self, node: cst.CSTNode) -> bool:
        of = node.func if isinstance(node, cst.Call) else node.value if isinstance(node, cst.Subscript) else None
        return isinstance(of, cst.Name) and of.value in ("isinstance", "cast", "Literal", "Callable", "Citation")

    def _of_words(self, node: cst.CSTNode) -> bool:
        """Tell whether nothing but words rest on it: a docstring, a choice between two messages."""
        if isinstance(node, cst.IfExp):
            return self._message(node.body) and self._message(node.orelse)
        return isinstance(node, cst.Expr) and isinstance(node.value, cst.BaseString)

    def _message(self, node: cst.CSTNode) -> bool:
        word = isinstance(node, cst.SimpleString) and node.evaluated_value in self.known
        return isinstance(node, cst.BaseString) and not word

    def _changes(self, node: cst.CSTNode) -> Iterator[tuple[cst.CSTNode, str]]:
        for kind, operator in OPERATORS:
            if isinstance(node, kind):
                yield from ((node, self.code(new)) for new in operator(node))
        if isinstance(node, cst.SimpleString) and node.evaluated_value in self.known:
            yield node, f'"not {node.evaluated_value}"'
        if isinstance(node, cst.Name) and node.value in SWAPPED:
            yield node, SWAPPED[node.value]
        if isinstance(node, cst.If) and isinstance(node.test, cst.Call | cst.Name | cst.Attribute | cst.NamedExpr):
            yield node.test, f"(not ({self.code(node.test)}))"
        if isinstance(node, cst.MatchCase) and node.guard is None and self.code(node.pattern) != "_":
            yield node.pattern, f"{self.code(node.pattern)} if False"


def mutants(module: str, known: frozenset[str]) -> list[Mutant]:
    """Return every mutant of a module, in the order of its source; a few do not compile."""
    text = (ROOT / module).read_text()
    wrapper = meta.MetadataWrapper(cst.parse_module(text), unsafe_skip_copy=True)
    visitor = _Visitor(known, wrapper.module.code_for_node)
    wrapper.visit(visitor)
    rows = text.splitlines(keepends=True)
    starts = list(accumulate(map(len, rows), initial=0))
    made: dict[str, Mutant] = {}
    for where, new, scope in visitor.found:
        start, end = (starts[at.line - 1] + at.column for at in (where.start, where.end))
        old = text[start:end]
        start, end = start + len(old) - len(old.lstrip()), start + len(old.rstrip())
        changed = text[:start] + new.strip() + text[end:]
        first, last = where.start.line - 1, starts[where.end.line]
        said = (text[starts[first] : last], changed[starts[first] : len(changed) - len(text) + last])
        key = f"{module} {scope or '-'}: {' => '.join(' '.join(one.split()) for one in said)}"
        while key in made:
            key += " (again)"
        made[key] = Mutant(module, scope, where.start.line, key, changed)
    return list(made.values())


def named() -> list[Mutant]:
    """Return the mutants of the table of those that once went unnoticed."""
    return [
        Mutant(module, "", 0, f"{module} -: {what}", (ROOT / module).read_text().replace(old, new))
        for what, module, old, new in NAMED
    ]


def sample(every: Sequence[Mutant], size: int, seed: str) -> list[Mutant]:
    """Return ``size`` mutants by a hash of what they change: a change elsewhere leaves the sample as it was."""
    chosen = sorted(every, key=lambda one: hashlib.sha256(f"{seed} {one.key}".encode()).digest())
    return sorted(islice(filter(_compiles, chosen), size), key=lambda one: one.row)


def _compiles(mutant: Mutant) -> bool:
    try:
        compile(mutant.source, mutant.module, "exec")
    except SyntaxError:
        return False
    return True
