"""Docstrings in American technical English: words that none has, and functions described in the imperative."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]

IN_DOCSTRINGS: dict[str, str] = {
    r"\btells\b": "says, reports, distinguishes",
    r"\b[Tt]ell whether\b": "Return whether",
    r"\b(record|file|bundle|key|value|page|table|text|list|row|part|server|sheet|JSON) holds\b": "contains, has",
    r"\bwhat (it|they|a server|the server) holds?\b": "contains, has",
    r"\bis no (bundle|folder|pair|count|fact|mapping|fault|number|gap|place|bracket|part of)\b": "is not a ...",
    r"\bmend(s|ed)?\b": "fix",
    r"\bpass(es)? over\b": "ignore",
    r"\bstands? there\b": "is there, exists",
    r"\bonce more\b|\banew\b": "again",
    r"\bgoes on (where|after|key)\b": "continues",
    r"\blaid over\b": "applied over",
    r"judgement": "judgment",
}
"""What no docstring says; rules are published and are read above."""


def docstrings() -> Iterator[tuple[str, ast.AST, str]]:
    """Yield each docstring of the package but those of rules, with its place and what it is of."""
    for path in sorted((ROOT / "lda_notes").rglob("*.py")):
        if "rules" in path.relative_to(ROOT).parts:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            body = getattr(node, "body", None)
            for owner, one in zip([node, *body], body, strict=False) if isinstance(body, list) else ():
                text = one.value.value if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant) else None
                if isinstance(text, str):
                    yield f"{path.relative_to(ROOT)}:{one.lineno}", owner, text


def test_no_docstring_says() -> None:
    read_here = list(docstrings())
    assert len(read_here) > 2000
    found = [
        f"{place}: write {instead}: {text[:100]!r}"
        for pattern, instead in IN_DOCSTRINGS.items()
        for place, _, text in read_here
        if re.search(pattern, text)
    ]
    assert found == []


def test_functions_are_described_in_the_imperative() -> None:
    """A property is a noun, and so is a context; whatever returns something says "Return", "Yield" or what it does."""
    nouns = ("The", "A", "An", "Every", "Each", "Whether", "What", "Where", "When", "Who", "Why", "How", "Which")
    found = [
        f"{place}: {text.splitlines()[0]}"
        for place, owner, text in docstrings()
        if isinstance(owner, ast.FunctionDef) and text.split()[0] in nouns
        if not any(word in ast.dump(one) for one in owner.decorator_list for word in ("property", "contextmanager"))
    ]
    assert found == []
