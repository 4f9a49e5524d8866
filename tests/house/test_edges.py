"""The edges of the house: which module may know what. The source is read, not trusted."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "lda_notes"
MODULES = {path.relative_to(PACKAGE.parent).with_suffix("").as_posix(): path for path in PACKAGE.rglob("*.py")}

ONLY_IN: dict[str, tuple[str, ...]] = {
    "jinja2": ("lda_notes/narrative/", "lda_notes/documents/render/"),
    "docx": ("lda_notes/documents/render/",),
    "typst": ("lda_notes/documents/render/pdf",),
    "fhir": ("lda_notes/fhir/",),
    "yaml": ("lda_notes/files/syntax/",),
    "ruamel": ("lda_notes/record/writer", "lda_notes/chart/"),
    "httpx": ("lda_notes/send", "lda_notes/sending/"),
    "authlib": ("lda_notes/send", "lda_notes/sending/"),
    "socket": ("lda_notes/send", "lda_notes/sending/"),
    "urllib.request": ("lda_notes/send", "lda_notes/sending/"),
    "biip": ("lda_notes/udi/",),
    "click": ("lda_notes/cli", "lda_notes/commands/"),
    "zstandard": ("lda_notes/stream/",),
    "distributed": ("lda_notes/stream/cluster",),
    "fsspec": ("lda_notes/stream/cluster",),
    "multiprocessing": ("lda_notes/stream/",),
}
"""Each outside module and the only rooms that may import it."""

ROOMS = (
    "udi",
    "files",
    "knowledge",
    "record",
    "line",
    "check",
    "narrative",
    "documents",
    "fhir",
    "chart",
    "sending",
    "stream",
)
"""The rooms from the ground up: a room imports itself, `problems`, and rooms listed before it."""

SPINE = frozenset({("fhir", "pipeline"), ("stream", "pipeline"), ("sending", "pipeline"), ("chart", "pipeline")})
"""Who may call the spine besides the commands."""

NO_SHELL = ("lda_notes/cli", "lda_notes/commands/")
"""What the core must not import: the shell stands on the core, never the other way round."""


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@cache
def imports(path: Path) -> frozenset[str]:
    """Return every module that a file imports, at its head or inside a function."""
    found: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return frozenset(found)


def test_there_are_modules_to_check() -> None:
    assert {"lda_notes/cli", "lda_notes/record/reading", "lda_notes/line/timeline", "lda_notes/pipeline"} <= set(
        MODULES
    )


def room_of(module: str) -> str:
    """Return the room of a module named with dots or slashes; a file at the top is a room of its own."""
    return module.replace("/", ".").split(".")[1] if module.count(".") + module.count("/") else ""


def test_a_room_imports_only_rooms_below_it() -> None:
    edges = {
        (room_of(name), room_of(target), f"{name} imports {target}")
        for name, path in MODULES.items()
        for target in imports(path)
        if target.startswith("lda_notes.")
    }
    assert {"record", "line", "documents"} <= {room for room, _, _ in edges}, "the rooms were read"
    strays = [
        says
        for room, target, says in edges
        if room in ROOMS
        and target not in (room, "problems", "__version__")
        and (room, target) not in SPINE
        and (target not in ROOMS or ROOMS.index(target) > ROOMS.index(room))
    ]
    assert sorted(strays) == []


def test_every_package_is_a_room() -> None:
    packages = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert packages == {*ROOMS, "commands"}


@pytest.mark.parametrize("outside", ONLY_IN)
def test_outside_module_stays_in_its_room(outside: str) -> None:
    strays = [
        name
        for name, path in MODULES.items()
        if any(found == outside or found.startswith(f"{outside}.") for found in imports(path))
        and not name.startswith(ONLY_IN[outside])
    ]
    assert strays == []


def test_every_guarded_module_is_used_somewhere() -> None:
    """A guard over a module that nobody imports would guard nothing."""
    everything = frozenset[str]().union(*(imports(path) for path in MODULES.values()))
    used = {name for name in ONLY_IN if any(f == name or f.startswith(f"{name}.") for f in everything)}
    assert {"docx", "typst", "jinja2", "fhir", "yaml", "biip", "click"} <= used


def test_the_core_does_not_import_the_shell() -> None:
    strays = {
        name: sorted(found)
        for name, path in MODULES.items()
        if not name.startswith((*NO_SHELL, "lda_notes/__main__"))
        and (found := {i for i in imports(path) if i.startswith(("lda_notes.cli", "lda_notes.commands"))})
    }
    assert strays == {}


def test_only_the_shell_asks_the_clock() -> None:
    strays = []
    for name, path in MODULES.items():
        if name.startswith(NO_SHELL):
            continue
        for node in ast.walk(tree_of(path)):
            if (
                isinstance(node, ast.Attribute)
                and node.attr in ("now", "utcnow", "today")
                and isinstance(node.ctx, ast.Load)
            ):
                owner = ast.unparse(node.value)
                if owner.split(".")[-1] in ("datetime", "date"):
                    strays.append(f"{name}:{node.lineno}")
    assert strays == []


def test_sheets_do_not_import_rules_or_render() -> None:
    sheets = {
        name: path
        for name, path in MODULES.items()
        if name.startswith("lda_notes/documents/") and not name.startswith("lda_notes/documents/render")
    }
    assert len(sheets) > 1
    for name, path in sheets.items():
        assert not {
            i for i in imports(path) if i.startswith(("lda_notes.check.rules", "lda_notes.documents.render"))
        }, name


def test_there_is_no_import_cycle() -> None:
    """Imports at the head of modules form no circle (imports inside functions may point anywhere)."""
    graph: dict[str, set[str]] = {}
    for name, path in MODULES.items():
        module = name.replace("/", ".").removesuffix(".__init__")
        tree = tree_of(path)
        graph[module] = set()
        for node in tree.body:
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("lda_notes"):
                graph[module].add(node.module)
                graph[module].update(f"{node.module}.{alias.name}" for alias in node.names)
    graph = {module: {t for t in targets if t in graph and t != module} for module, targets in graph.items()}
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join((*trail, module))
        if module not in done:
            for target in graph[module]:
                # a package's own __init__ is read before any of its modules: not a circle by itself
                if not module.startswith(f"{target}."):
                    visit(target, (*trail, module))
            done.add(module)

    for module in graph:
        visit(module, ())


HEAVY = (
    "docx",
    "typst",
    "jinja2",
    "httpx",
    "fhir",
    "biip",
    "ruamel",
    "lxml",
    "jsonschema",
    "authlib",
    "orjson",
    "dask",
)


@pytest.mark.parametrize("arguments", [["--version"], ["--help"]])
def test_the_door_loads_nothing_but_click(arguments: list[str]) -> None:
    assert loaded_by(arguments) & {*HEAVY, "pydantic", "yaml", "zoneinfo", "asyncio", "difflib"} == set()


def test_check_loads_nothing_heavy() -> None:
    demo = PACKAGE.parent / "demo_episodes" / "uncomplicated-week.yaml"
    loaded = loaded_by(["check", str(demo)])
    assert {"pydantic", "yaml"} <= loaded, "the probe saw the command run"
    assert loaded & {*HEAVY, "asyncio", "difflib", "http"} == set()
    rooms = {name.split(".")[1] for name in loaded if name.startswith("lda_notes.")}
    assert "check" in rooms and rooms & {"fhir", "documents", "sending"} == set()
    assert "lda_notes.chart.talk" not in loaded, "it looks for drafts, and charts nothing"


def loaded_by(arguments: list[str]) -> set[str]:
    """Return the top-level modules in memory after a command ended, and all of ours."""
    probe = (
        "import sys, atexit\n"
        "name = lambda n: n if n.startswith('lda_notes') else n.partition('.')[0]\n"
        "atexit.register(lambda: print(*sorted(set(map(name, sys.modules))), file=sys.stderr))\n"
        "from lda_notes.cli import main\n"
        f"sys.argv = ['lda-notes', *{arguments!r}]\n"
        "main()\n"
    )
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return set(run.stderr.split("\n")[-2].split())
