"""What must be recorded and is not."""

from __future__ import annotations
