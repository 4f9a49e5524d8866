"""Handoffs made from invented records, the way the command makes them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from made_records import event, moment, unit_of_patients

from lda_notes import pipeline
from lda_notes.commands.handoff import _sources
from lda_notes.documents.blocks import Sheet
from lda_notes.documents.handoff.page import Handoff, Printing, Source, handoff, sheet
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
        read.file,
        judged.timeline,
        judged.findings,
        read.unread_events,
        pipeline.begins(read),
        judged.record.unread_facts,
    )


def handed(
    records: Sequence[dict[str, Any]], asof: datetime = ASOF, policy: Policy = DEFAULT, **options: Any
) -> Handoff:
    """Return the handoff as the command makes it: the records of one patient and port are one line."""
    read = [
        read_bytes(
            json.dumps(data, default=lambda value: value.isoformat()).encode(), f"{data['id']}.json", as_json=True
        )
        for data in records
    ]
    return handoff(list(_sources(read, policy, asof)), policy, asof, **options)


def ward(count: int) -> Sheet:
    """Return the sheet of a ward of ``count`` patients."""
    return sheet(handed(unit_of_patients(count, ASOF)))


FAMILIES = (
    "Quillfeather", "Ambershaw", "Dunmorrow", "Thistlecombe", "Vanderholt", "Ockleby", "Marrowfield", "Sedgewinter",
    "Bramblecote", "Ilkhurst", "Pennywhistle", "Tolliver",
)  # fmt: skip


def twelve() -> list[dict[str, Any]]:
    """Return a unit of twelve: three holds, a child, two septa, a long and two foreign names, one of 40 events more."""
    made = unit_of_patients(12, ASOF)
    for data, family in zip(made, FAMILIES, strict=True):
        data["patient"]["family_name"] = family
    for data in (made[1], made[11]):  # an adhesive against an allergy is a danger, and a dressing change due now
        data["patient"]["allergies"][1] = {"to": "latex", "reaction": "blisters"}
    made[2]["patient"].update(birth_date="2026-08-01", weight_kg=16.2, given_name="Ferris")
    made[7]["patient"].update(
        family_name="Wolkenstein-Abercrombie-Featherstonehaugh", given_name="Maximiliana Theodora Philippa"
    )
    made[8]["patient"].update(family_name="כהן", given_name="דנה")
    made[9]["patient"].update(family_name="王", given_name="小明")
    drug = {"purpose": "infusion", "action": "started", "what": "doxorubicin", "vesicant": True}
    made[9]["events"].append(event("line use", "2031-03-05 06:00", **drug, blood_return_before="present"))
    for number in range(40):
        at = ASOF - timedelta(hours=3, minutes=7 * number)
        made[11]["events"].append(event("line check", at, dressing_found=["intact"], blood_return="present"))
    return made


def rows(found: Handoff, width: int = 400, full: bool = False) -> list[str]:
    """Return the sheet as rows of text, wide enough that nothing is wrapped; ``full``: with every limit."""
    return text.render(sheet(found, Printing(full_sources=full)), width).splitlines()
