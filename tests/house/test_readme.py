"""README.md and DEVELOPERS.md tell the truth."""

from __future__ import annotations

import re
from pathlib import Path

from readme import README, commands, filled

from lda_notes.cli import COMMANDS
from lda_notes.knowledge.limits import Choice
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import holds

ROOT = README.parent
DEVELOPERS = ROOT / "DEVELOPERS.md"


def test_examples_print_what_the_page_shows() -> None:
    page = README.read_text()
    assert len([c for block in re.findall(r"```console\n(.*?)```", page, re.DOTALL) for c in commands(block)]) >= 7
    assert filled(page) == page, "run `python tests/house/readme.py`"


def test_every_command_is_named() -> None:
    page = README.read_text()
    assert [name for name in COMMANDS if f"`{name}" not in page and f"lda-notes {name}" not in page] == []


def test_developers_page_names_files_that_exist() -> None:
    names = re.findall(r"`((?:lda_notes|tests|note_templates|demo_episodes|\.ci)[\w./-]*)`", DEVELOPERS.read_text())
    assert len(names) > 30
    assert [name for name in names if not (ROOT / name).exists()] == []


def test_every_module_has_its_room_on_the_developers_page() -> None:
    page = DEVELOPERS.read_text()
    rooms = {
        p.name + "/" if p.is_dir() else p.name for p in (ROOT / "lda_notes").iterdir() if not p.name.startswith("__")
    }
    rooms = {room for room in rooms if room.endswith((".py", "/"))}
    assert sorted(room for room in rooms if f"`lda_notes/{room}`" not in page) == []


def test_links_lead_somewhere() -> None:
    for page in (README, DEVELOPERS, ROOT / "CHANGELOG.md"):
        links = re.findall(r"\]\(([^)#]+)\)", page.read_text())
        assert [link for link in links if "://" not in link and not (ROOT / link).exists()] == [], page.name


def test_top_level_holds_what_the_commission_names() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "NOTICE", "pyproject.toml"}
    allowed |= {"lda_notes", "note_templates", "demo_episodes", "tests"}
    import subprocess

    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )
    top = {Path(name).parts[0] for name in tracked if name}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_every_test_file_has_a_name_of_its_own() -> None:
    """Two test files of one name cannot be read in one run."""
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py") if ".venv" not in path.parts]
    assert len(names) > 40
    assert sorted({name for name in names if names.count(name) > 1}) == []


def _reason(row: holds.Row) -> str:
    return row.reason if row.shown_by else f"{row.reason}: a fact could not be read"


def _ends(row: holds.Row) -> str:
    """Return what ends a hold by the published policy, as the page says it."""
    if isinstance(row.ends_by, tuple):
        return ", ".join(row.ends_by)
    without = "treatment" if row.ends_by == holds.AS_POLICY_SAYS_WITHOUT_TREATMENT else ""
    ends = [end for end in holds.ends_by_policy(DEFAULT) if end != without]
    return f"{', '.join(ends).replace('new access', 'proof at a new access')} (as policy says)"


def test_the_page_has_the_table_of_holds() -> None:
    rows = re.findall(r"^\| ([^|]+) \| (its septum|the whole port) \| ([^|]+) \|$", DEVELOPERS.read_text(), re.M)
    assert rows == [
        (_reason(row), "the whole port" if row.whole_port else "its septum", _ends(row)) for row in holds.TABLE
    ]


def test_policy_and_holds_name_the_same_ends() -> None:
    """The options of the limit are the keys of what they mean, and its words name every hold that it ends."""
    row = DEFAULT.rows["hold_ends_with"]
    assert isinstance(row, Choice) and set(row.options) == set(holds.ENDS_BY_OPTION)
    assert all(reason in row.says for reason in holds.PROVABLE)
