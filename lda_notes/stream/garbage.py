"""Circular garbage: where many records are read one after the other, looked for rarely."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def rare_collection() -> Iterator[None]:
    """Look for circular garbage rarely: a record leaves next to none, and every look walks all that was imported.

    What is there already is kept until the end: a look at it takes as long as some fifty records.
    """
    before = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
