"""Stands here so that every test folder can import what is shared from this one, such as ``made_records``."""

from __future__ import annotations

import functools
import gc
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# In CI a generated case that fails must fail again for whoever looks; at a desk new cases are sought. Nowhere does a
# case fail because the machine is busy.
settings.register_profile("desk", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("desk"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Golden files are rewritten only when asked for."""
    parser.addoption("--update-golden", action="store_true", help="Write the golden files anew instead of comparing.")


NOT_YET = Path(__file__).with_name("NOT_YET.txt")
"""What is known to be red, each with its reason; it is run, reported as an expected failure, and must end empty."""


LONGEST_FIRST = (
    "server",
    "handoff",
    "fhir",
    "stream",
    "properties",
    "outside",
    "chart",
    "sending",
    "files",
    "second_hand",
)
"""Folders whose files take long: begun last, they would leave one worker alone at the end."""

STARTED_ONCE = {
    "server": ("tests/server/",),
    "oracles": ("tests/fhir/test_bundle_oracles.py", "tests/fhir/test_fhir_oracles.py"),
}
"""Files that stay on one worker together, for one real server and for one start of the outside validators."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep a file on one of several workers, for what its fixtures make, and files that share what takes long to start.

    Groups by mark would do it, and are passed over where pytest keeps the name of a test in another way.
    """
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            return next((name for name, start in STARTED_ONCE.items() if file.startswith(start)), file)

    return ByFile(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is known to be red; for several workers, begin with what takes long."""
    if config.pluginmanager.hasplugin("xdist"):
        root = Path(__file__).parent
        order = {name: place for place, name in enumerate(LONGEST_FIRST)}
        items.sort(key=lambda item: order.get(item.path.relative_to(root).parts[0], len(order)))
    rows = [row.split(" # ", 1) for row in NOT_YET.read_text().splitlines() if " # " in row]
    for item in items:
        for name, reason in rows:
            if f"tests/{item.nodeid.removeprefix('tests/')}".startswith(name.strip()):
                item.add_marker(pytest.mark.xfail(reason=reason, strict=False))


def pytest_unconfigure() -> None:
    """Let go of the records that tests keep: pydantic-core may crash where the interpreter frees their times last."""
    gc.unfreeze()
    for kept in [one for one in gc.get_objects() if isinstance(one, functools._lru_cache_wrapper)]:
        kept.cache_clear()
    gc.collect()
