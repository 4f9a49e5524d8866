"""The result of checking a record."""

from __future__ import annotations

from typing import NamedTuple

from lda_notes.line.folding import Line
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding
from lda_notes.record.reading import Record


class Judged(NamedTuple):
    """A record that was read, folded and checked.

    ``timeline`` is None when the record has no readable episode; ``line`` is the line that it belongs to, None where a
    record was judged by itself.
    """

    record: Record
    timeline: Timeline | None
    findings: tuple[Finding, ...]
    line: Line | None = None
