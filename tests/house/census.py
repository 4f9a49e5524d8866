"""Counts the house: ``python -m tests.house.census [FOLDER]``, of this checkout or of another one.

Files at the top of the package, floors (the longest chain of imports between modules or, where rooms are folders,
between rooms), circles of imports, places that name a kind or a fact, and lines by room.
"""

from __future__ import annotations

import ast
import sys
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Final

KIND: Final = ("patency treatment", "patency-treatment", "PatencyTreatment")
FACT: Final = ("safety_engaged",)
PACKAGE: Final = "lda_notes"


def modules(root: Path) -> dict[str, Path]:
    """Return every module of the package by its dotted name."""
    found = {}
    for path in sorted((root / PACKAGE).rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(root: Path) -> dict[str, set[str]]:
    """Return, for each module, the modules of the package that it imports when it is loaded."""
    known = modules(root)
    edges: dict[str, set[str]] = {}
    for name, path in known.items():
        edges[name] = set()
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.ImportFrom) and node.module:
                both = [f"{node.module}.{alias.name}" for alias in node.names]
                edges[name] |= {one if one in known else node.module for one in both} & set(known)
            elif isinstance(node, ast.Import):
                edges[name] |= {alias.name for alias in node.names} & set(known)
        edges[name].discard(name)
    return edges


def floors(edges: dict[str, set[str]]) -> tuple[int, int]:
    """Return the longest chain of imports and the number of imports that close a circle."""
    circles = 0
    climbing: list[str] = []

    @cache
    def height(name: str) -> int:
        nonlocal circles
        climbing.append(name)
        below = 0
        for other in sorted(edges[name]):
            if other in climbing:
                circles += 1
            else:
                below = max(below, height(other))
        climbing.pop()
        return below + 1

    return max(height(name) for name in edges), circles


def room_of(name: str) -> str:
    """Return the room of a module: the folder right under the package, or the top."""
    parts = name.split(".")
    return parts[1] if len(parts) > 1 and name not in _TOPS else "(top)"


_TOPS: set[str] = set()


def places(root: Path, words: tuple[str, ...]) -> list[str]:
    """Return the files of program and templates that name one of ``words`` (generated pages left out)."""
    found = []
    for folder in (PACKAGE, "note_templates"):
        for path in sorted((root / folder).rglob("*")):
            if path.suffix in (".py", ".jinja"):
                text = path.read_text() + path.name
                if any(word in text for word in words):
                    found.append(str(path.relative_to(root)))
    return found


def main(root: Path) -> None:
    """Print the table."""
    known = modules(root)
    top = [path for path in (root / PACKAGE).glob("*.py") if not path.name.startswith("__")]
    _TOPS.clear()
    _TOPS.update(f"{PACKAGE}.{path.stem}" for path in (root / PACKAGE).glob("*.py"))
    _TOPS.add(PACKAGE)
    edges = imports(root)
    rooms: dict[str, set[str]] = {}
    for name, others in edges.items():
        rooms.setdefault(room_of(name), set()).update(room_of(other) for other in others if name not in _TOPS)
    between = {room: others - {room, "(top)"} for room, others in rooms.items() if room != "(top)"}
    high, circles = floors(edges)
    levels, around = floors(between)
    print("| counted | |\n|---|---|")
    print(f"| files at the top of the package | {len(top)} |")
    print(f"| modules | {len(known)} |")
    print(f"| rooms | {len(between)} |")
    print(f"| floors of modules | {high} |")
    print(f"| circles of imports between modules | {circles} |")
    print(f"| floors of rooms | {levels} |")
    print(f"| circles between rooms | {around} |")
    print(f"| files that name the kind {KIND[0]!r} | {len(places(root, KIND))} |")
    print(f"| files that name the fact {FACT[0]!r} | {len(places(root, FACT))} |")
    lines: Counter[str] = Counter()
    for name, path in known.items():
        lines[room_of(name)] += len(path.read_text().splitlines())
    print("\n| room | lines of Python |\n|---|---|")
    for room, count in sorted(lines.items()):
        print(f"| {room} | {count} |")
    print(f"| all | {sum(lines.values())} |")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2])
