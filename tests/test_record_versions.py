"""Records of version 1 are read for ever, under their own keys and words."""

from __future__ import annotations

from pathlib import Path

import yaml

from lda_notes import pipeline
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading
from lda_notes.record.episode import RECORD_VERSION, Episode
from lda_notes.record.schema import record_schema

NOW = Path(__file__).parents[1] / "demo_episodes" / "heparin-history.yaml"
RENAMED = {
    "record_version: 2": "record_version: 1",
    "{substance: ": "{to: ",
    "    anesthetic: none used": "    anaesthetic: none used",
    "touch: raised marks on the rim": "touch: three palpation points",
    "touch: smooth": "touch: round top",
    "heparin-induced thrombocytopenia]": "heparin-induced thrombocytopenia, methaemoglobinaemia]",
}


def old_spelling() -> str:
    text = NOW.read_text()
    for new, old in RENAMED.items():
        text = text.replace(new, old)
    return text


def test_a_record_of_version_1_reads_as_the_same_record() -> None:
    now, then = reading.read(NOW), reading.read_bytes(old_spelling().encode(), "old.yaml")
    assert now.episode is not None and then.episode is not None and then.findings == ()
    assert then.episode.record_version == 1 and now.episode.record_version == RECORD_VERSION
    assert then.episode.events == now.episode.events
    assert then.episode.port == now.episode.port
    assert then.episode.patient.allergies == now.episode.patient.allergies
    assert "methemoglobinemia" in then.episode.patient.conditions


def test_a_fault_under_an_old_key_is_placed_at_that_key() -> None:
    text = old_spelling().replace("    anaesthetic: none used", "    anaesthetic: {agent: rum}", 1)
    (finding,) = reading.read_bytes(text.encode(), "old.yaml").findings
    row = 1 + text.splitlines().index("    anaesthetic: {agent: rum}")
    assert finding.place is not None and finding.place.row == row


def test_both_keys_at_once_are_one_too_many() -> None:
    text = old_spelling().replace(
        "    anaesthetic: none used", "    anaesthetic: none used\n    anesthetic: none used", 1
    )
    (finding,) = reading.read_bytes(text.encode(), "old.yaml").findings
    assert '"anaesthetic" is not a key that belongs here' in finding.message


def test_a_correction_may_use_the_old_key() -> None:
    data = yaml.safe_load(old_spelling().replace("!", ""))
    text = old_spelling() + (
        "  - {id: amend-1, kind: amendment, at: 2031-03-09T09:00-06:00, of: access-1, reason: was wrong,\n"
        "     sets: {anaesthetic: {agent: lidocaine 4% cream, amount_g: 2}}}\n"
    )
    assert data["events"][0]["id"] == "access-1"
    record = reading.read_bytes(text.encode(), "old.yaml")
    assert record.episode is not None
    judged = pipeline.judge(record, DEFAULT, record.episode.events[-1].at)
    assert judged.timeline is not None
    entry = judged.timeline.entry("access-1")
    assert entry is not None and entry.event.anesthetic.agent == "lidocaine 4% cream"  # type: ignore[attr-defined]  # the kind is known here


def test_the_schema_takes_old_keys_and_words_and_marks_them() -> None:
    import jsonschema

    schema = record_schema()
    assert schema["$defs"]["Access"]["properties"]["anaesthetic"]["deprecated"] is True
    data = Episode.model_validate(reading.read(NOW).episode).model_dump(mode="json", exclude_unset=True)
    data["patient"]["allergies"] = [{"to": "heparin"}]
    data["port"]["touch"] = "round top"
    data["record_version"] = 1
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(data)) == []
    data["patient"]["allergies"] = [{}]
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(data)) != []
