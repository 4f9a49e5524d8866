"""Handoffs made from invented records, the way the command makes them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from made_records import moment, unit_of_patients

from lda_notes import pipeline
from lda_notes.documents.blocks import Sheet
from lda_notes.documents.handoff.page import Handoff, Source, handoff, sheet
from lda_notes.documents.render import text
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.record.reading import read_bytes

ASOF = moment("2031-03-05 07:00")


def source(data: dict[str, Any], asof: datetime = ASOF, policy: Policy = DEFAULT) -> Source:
    raw = json.dumps(data, default=lambda value: value.isoformat()).encode()
    read = read_bytes(raw, f"{data['id']}.json", as_json=True)
    judged = pipeline.judge(pipeline.upto(read, asof), policy, asof)
    assert judged.timeline is not None, judged.findings
    return Source(
        read.file, judged.timeline, judged.findings, read.unread, pipeline.begins(read), judged.record.unread_facts
    )


def handed(
    records: Sequence[dict[str, Any]], asof: datetime = ASOF, policy: Policy = DEFAULT, **options: Any
) -> Handoff:
    return handoff([source(data, asof, policy) for data in records], policy, asof, **options)


def ward(count: int) -> Sheet:
    """Return the sheet of a ward of ``count`` patients."""
    return sheet(handed(unit_of_patients(count, ASOF)))


def rows(found: Handoff, width: int = 400) -> list[str]:
    """Return the sheet as rows of text, wide enough that nothing is wrapped."""
    return text.render(sheet(found), width).splitlines()
