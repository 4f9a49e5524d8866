"""Every text that a user may read: sentences in the code, help of commands, rules as published, templates, README."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
_TAGS = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
_CODE = re.compile(r"```.*?```|`[^`]*`", re.DOTALL)


def sentences() -> Iterator[tuple[str, str]]:
    """Yield each text with its place: more than one word, so that keys of records and options are left out."""
    for path in sorted((ROOT / "lda_notes").rglob("*.py")):
        for row, text in _of_code(path):
            if " " in text.strip():
                yield f"{path.relative_to(ROOT)}:{row}", text
    for path in sorted((ROOT / "note_templates").rglob("*.jinja")):
        yield str(path.relative_to(ROOT)), _TAGS.sub(" ", path.read_text(encoding="utf-8"))
    for path in (ROOT / "README.md", ROOT / "CHANGELOG.md"):
        yield str(path.relative_to(ROOT)), _CODE.sub(" ", path.read_text(encoding="utf-8"))


def _of_code(path: Path) -> Iterator[tuple[int, str]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    unread = {id(node) for node in _docstrings(tree, rules="rules" in path.parts)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in unread:
            yield node.lineno, node.value


def _docstrings(tree: ast.Module, rules: bool) -> Iterator[ast.Constant]:
    """Yield the docstrings that no user reads: all but those of rules and commands."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        first = node.body[0] if node.body else None
        decorated = getattr(node, "decorator_list", []) if isinstance(node, ast.FunctionDef) else []
        published = any("rule" in ast.dump(one) if rules else "command" in ast.dump(one) for one in decorated)
        if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and not published:
            yield first.value
    for node in ast.walk(tree):  # strings that stand alone are comments on what is above them
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and not rules:
            parent_is_command = False
            if not parent_is_command:
                continue
