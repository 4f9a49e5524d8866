"""Lets outside checks run whole records through the rules with the builder that the case files use."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "rules"))
