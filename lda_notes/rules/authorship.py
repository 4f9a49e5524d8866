"""Who signs, when, and for which patient."""

from __future__ import annotations
