"""Circular garbage: where many records are read one after the other, looked for rarely."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def rare_collection(*, first: bool = True) -> Iterator[None]:
    """Look for circular garbage rarely: a record leaves next to none, and every look walks all that was imported.

    ``first`` takes out what is there already, which would else be kept until the end. On a worker of a cluster that
    look takes as long as some fifty records, for every part.
    """
    before = gc.get_threshold()
    if first:
        gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
        gc.unfreeze()
