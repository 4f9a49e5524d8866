"""Circular garbage: where many records are read one after the other, looked for rarely."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def rare_collection() -> Iterator[None]:
    """Look for circular garbage rarely: a record leaves next to none, and every look walks all that was imported."""
    before = gc.get_threshold()
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
