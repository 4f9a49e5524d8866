"""Addenda, amendments and retractions."""

from __future__ import annotations
