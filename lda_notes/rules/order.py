"""The order of events: what may follow what."""

from __future__ import annotations
