"""Templates: what a sentence does when a fact is missing, and what no template can do."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from note_reading import judged

from lda_notes.documents.note import page as note
from lda_notes.documents.trace import sentences
from lda_notes.files.resources import folder
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.narrative.narrator import Narrator, narrator
from lda_notes.narrative.sentences import Sentence
from lda_notes.problems import Failure

RECORD = """
record_version: 1
id: made
patient: {{identifiers: [{{system: "https://made.example/mrn", value: M-1}}], family_name: Made, given_name: Una}}
stay: {{facility: Lantern Bay Hospital (fictional), unit: Ward Heron, time_zone: America/Chicago}}
port: {{id: port-1, side: right, area: chest}}
events:
  - id: check-1
    kind: line check
    at: 2026-04-01T09:00-05:00
{facts}
"""

Say = Callable[..., list[Sentence]]


@pytest.fixture
def say(tmp_path: Path) -> Say:
    """Write the note of a line check with a template of one's own; return its sentences."""

    def write(template: str, facts: str = "", **others: str) -> list[Sentence]:
        (tmp_path / "line-check.jinja").write_text(template)
        for name, text in others.items():
            (tmp_path / "parts").mkdir(exist_ok=True)
            (tmp_path / "parts" / f"{name}.jinja").write_text(text)
        found = judged(RECORD.format(facts="".join(f"    {row}\n" for row in facts.split("\n"))))
        assert found.timeline is not None
        assert not found.record.findings, found.record.findings
        sheet = note.sheet(found, DEFAULT, note.Choice(every=True), Narrator(tmp_path))
        return list(sentences(sheet.blocks))

    return write


def in_paragraph(body: str) -> str:
    return "{% paragraph %}" + body + "{% endparagraph %}"


def sentence(text: str) -> str:
    return in_paragraph("{% sentence %}" + text + "{% endsentence %}")


# -- what is not recorded is not said --


def test_a_sentence_keeps_the_facts_it_names(say: Say) -> None:
    (found,) = say(sentence("Blood return was {{ event['blood_return'] }}."), "blood_return: present")
    assert found == Sentence("Blood return was present.", (("events", 0, "blood_return"),))


@pytest.mark.parametrize("facts", ["", "blood_return: null", "blood_return: {not_assessed: asleep}"])
def test_a_sentence_is_not_written_when_its_fact_is_missing(say: Say, facts: str) -> None:
    assert say(sentence("Blood return was {{ event['blood_return'] }}."), facts) == []


def test_a_sentence_is_not_written_when_one_of_two_facts_is_missing(say: Say) -> None:
    body = "Pain {{ event['pain'] }}, blood return {{ event['blood_return'] }}."
    assert say(sentence(body), "pain: 3") == []


def test_a_reason_why_not_has_a_sentence_of_its_own(say: Say) -> None:
    body = sentence("Not assessed: {{ why(event)['blood_return'] | typed }}.")
    (found,) = say(body, "blood_return: {not_assessed: patient declined}")
    assert found.text == "Not assessed: patient declined."
    assert found.facts == (("events", 0, "blood_return", "not_assessed"),)
    assert say(body, "blood_return: present") == []
    assert say(body) == []


def test_otherwise_is_tried_in_order(say: Say) -> None:
    body = sentence(
        "{{ event['pain'] }}{% otherwise %}{{ event['blood_return'] }}{% otherwise %}{{ event['response'] }}"
    )
    assert [s.text for s in say(body, "pain: 2\nblood_return: none")] == ["2"]
    assert [s.text for s in say(body, "blood_return: none")] == ["none"]
    assert [s.text for s in say(body, "response: tolerated well")] == ["tolerated well"]


def test_a_part_alone_is_left_out_and_its_facts_with_it(say: Say) -> None:
    body = sentence("Pain {{ event['pain'] }}{% part %}, blood return {{ event['blood_return'] }}{% endpart %}.")
    (found,) = say(body, "pain: 0")
    assert found == Sentence("Pain 0.", (("events", 0, "pain"),))


def test_a_series_joins_what_is_known(say: Say) -> None:
    body = sentence(
        "Seen: {% series %}{% part %}pain {{ event['pain'] }}{% endpart %}"
        "{% part %}{{ event['blood_return'] }}{% part %} ({{ event['blood_looks'] }}){% endpart %}{% endpart %}"
        "{% part %}{{ event['response'] }}{% endpart %}{% endseries %}."
    )
    assert say(body) == []
    assert [s.text for s in say(body, "pain: 1")] == ["Seen: pain 1."]
    full = "pain: 1\nblood_return: present\nblood_looks: thin\nresponse: tolerated well"
    assert [s.text for s in say(body, full)] == ["Seen: pain 1, present (thin) and tolerated well."]


def test_typed_words_cannot_pass_for_a_row_of_the_note(say: Say) -> None:
    forged = r'remarks: "seen\r\nCharted by: Rolf Quill, MD\n----------\nSTOP"'
    (found,) = say(sentence("Remarks: {{ event['remarks'] | typed }}."), forged)
    assert found.text == "Remarks: seen / charted by Rolf Quill, MD / -- / stop."


def test_typed_words_stay_on_one_row(say: Say) -> None:
    (found,) = say(sentence("Said:\n   {{ event['remarks'] | typed }}."), r'remarks: "two  spaces \n next  row "')
    assert found.text == "Said: two spaces / next row."


def test_what_no_sentence_told_can_be_told(say: Say) -> None:
    body = in_paragraph(
        "{% for f in facts_left() %}{% sentence %}{{ f['what'] }}: {{ f['value'] }}{% endsentence %}{% endfor %}"
        "{% for f in reasons_left() %}"
        "{% sentence %}{{ f['what'] }}: {{ f['why'] | typed }}{% endsentence %}"
        "{% endfor %}"
    )
    found = say(body, "pain: {not_assessed: asleep}\nsite: {erythema_mm: 4.50}")
    assert [s.text for s in found] == ["extent of erythema (site assessment): 4.5 mm", "pain score: asleep"]


# -- what a template gets wrong is told with its place --


def fault(say: Say, template: str, facts: str = "", **others: str) -> str:
    with pytest.raises(Failure) as caught:
        say(template, facts, **others)
    said = str(caught.value)
    assert "\n" not in said
    return said


def test_a_mistyped_fact_is_told_with_template_row_and_the_nearest_name(say: Say) -> None:
    said = fault(say, "\n\n" + sentence("{{ event['blod_return'] }}"), "blood_return: none")
    assert "line-check.jinja row 3: there is no fact named blod_return; did you mean blood_return?" in said


def test_a_fact_outside_a_sentence_is_told_by_name(say: Say) -> None:
    said = fault(say, in_paragraph("\n{% if event['pain'] == 3 %}{% endif %}"))
    assert "line-check.jinja row 2: names pain outside a sentence, and it was not recorded" in said


@pytest.mark.parametrize(
    ("template", "says"),
    [
        ("The patient is well.", "row 1: text stands outside a sentence"),
        (in_paragraph("\nThe patient is well."), "row 1: text stands outside a sentence"),
        (in_paragraph("{{ event['pain'] }}"), "row 1: text stands outside a sentence"),
        ("{% sentence %}x{{ event['at'] | moment }}{% endsentence %}", "the tag sentence may not stand here"),
        (sentence("{% sentence %}{{ event['pain'] }}{% endsentence %}"), "the tag sentence may not stand here"),
        (in_paragraph("{% part %}{{ event['pain'] }}{% endpart %}"), "the tag part may not stand here"),
        (sentence("No fact at all."), "row 1: a sentence names no fact"),
        (sentence("{{ event['kind'] }}{{ computed['needle'] }}"), "there is no computed value named needle"),
        (sentence("{{ nothing['pain'] }}"), "'nothing' is undefined"),
        (sentence("{{ event['kind'] | shout }}"), "No filter named 'shout'"),
        (sentence("{{ event['kind']"), "row 1"),
        (sentence("{{ event['at'] }}"), "prints a time or date, which needs a filter"),
        (sentence("{{ event }}"), "prints a group"),
        (sentence("{{ event['at'] | quantity('mL') }}"), "gives a filter or a comparison what it cannot take"),
        (sentence("{{ {'access': 'x'}[event['kind']] }}"), "has no words for line check"),
        ("{% paragraph %}", "row 1"),
    ],
)
def test_a_mistake_is_one_sentence_with_its_row(say: Say, template: str, says: str) -> None:
    said = fault(say, template)
    assert "line-check.jinja row 1" in said
    assert says in said


def test_free_text_is_not_printed_bare(say: Say) -> None:
    said = fault(say, sentence("{{ event['remarks'] }}"), "remarks: 5 U given")
    assert "prints free text of the record bare" in said
    assert "5 U" not in said


def test_yes_and_no_need_words(say: Say) -> None:
    assert "prints yes or no" in fault(say, sentence("{{ event['connections_secure'] }}"), "connections_secure: yes")


def test_a_fault_in_a_part_names_the_part(say: Say) -> None:
    said = fault(
        say, in_paragraph("{% include 'parts/mine.jinja' %}"), mine="\n{% sentence %}{{ event['x'] }}{% endsentence %}"
    )
    assert "parts/mine.jinja row 2" in said


def test_a_template_that_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "line-check.jinja").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Failure, match=r"line-check\.jinja: is not UTF-8 text"):
        note.sheet(judged(RECORD.format(facts="")), DEFAULT, note.Choice(), Narrator(tmp_path))


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    with pytest.raises(Failure, match="is not a folder"):
        Narrator(tmp_path / "nowhere")


# -- what no template can do --


@pytest.mark.parametrize(
    "body",
    [
        "{{ ''.__class__.__mro__ }}",
        "{{ ''['__class__'] }}",
        "{{ event.path }}",
        "{{ event['_data'] }}",
        "{{ event['get'] }}",
        "{{ event.get('pain') }}",
        "{{ event['kind'].upper() }}",
        "{{ '%s' | format(event) }}",
        "{{ event['kind'] | attr('__class__') }}",
        "{{ self }}",
        "{{ _gathering }}",
        "{{ _gathering['told'] }}",
        "{{ why.__globals__ }}",
        "{{ each('x', 'y') }}",
        "{{ range(10 ** 9) | count }}",
        "{{ lipsum() }}",
        "{{ cycler() }}",
        "{{ 'x' * 1000000000 }}",
        "{{ 9 ** 9 ** 9 }}",
        "{{ 'a' ~ 'b' }}",
        "{{ 'a' + 'b' }}",
        "{{ event['kind'][0:2] }}",
        "{{ event is defined }}",
        "{% for a in 'abc' %}{{ event['kind'] }}{% endfor %}",
        "{% for a in [1, 2, 3] %}{{ event['kind'] }}{% endfor %}",
        "{% for a in range(99999) %}{% for b in range(99999) %}{{ event['kind'] }}{% endfor %}{% endfor %}",
        "{% set a %}{{ event['kind'] }}{% endset %}",
        "{% macro m() %}{{ m() }}{{ m() }}{% endmacro %}{{ m() }}",
        "{% call each(event, 'problems') %}x{% endcall %}",
        "{% filter capital %}x{% endfilter %}",
        "{% import 'parts/late.jinja' as x %}",
        "{% extends 'access.jinja' %}",
        "{% block x %}{% endblock %}",
        "{% include '/etc/passwd' %}",
        "{% include 'access.jinja' %}",
        "{% include event['kind'] %}",
        "{% with x = 1 %}{{ x }}{% endwith %}",
        "{% autoescape true %}x{% endautoescape %}",
        "{% do event %}",
        "{% set event['kind'] = 'x' %}",
        "{% set ns.x = 1 %}",
    ],
)
def test_out_of_reach(say: Say, body: str) -> None:
    assert "line-check.jinja row 1" in fault(say, sentence(body), "pain: 1")


def test_a_part_cannot_include_itself(say: Say) -> None:
    said = fault(say, in_paragraph("{% include 'parts/mine.jinja' %}"), mine="{% include 'parts/mine.jinja' %}")
    assert "may include templates of parts/ only, and those none" in said


def test_templates_outside_the_folders_are_out_of_reach(say: Say) -> None:
    said = fault(say, in_paragraph("{% include 'parts/../../../../etc/passwd' %}"))
    assert "there is no such template" in said


def test_doubling_text_ends(say: Say) -> None:
    doubling = "{% set a = event['kind'] %}" + "{% set a = (a, a) | listed %}" * 60
    assert "writes too much text" in fault(say, sentence(doubling + "{{ a }}"))


def test_loops_end(say: Say) -> None:
    facts = "problems: [" + ", ".join("{what: x}" for _ in range(30)) + "]"
    body = "{% for a in each(event, 'problems') %}" * 5 + "{% endfor %}" * 5
    assert "take too many turns" in fault(say, in_paragraph(body), facts)


def test_too_long_a_note_ends(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lda_notes.narrative.tags.MOST_TEXT", 100)
    assert "writes too much text" in fault(say, sentence("{{ event['kind'] }}") * 20)


# -- our own templates --


def test_there_is_a_template_for_every_kind() -> None:
    from lda_notes.record.events import KINDS

    names = {path.name for path in folder("note_templates").glob("*.jinja")} - {"page.html.jinja", "brief.jinja"}
    assert names == {f"{kind.replace(' ', '-')}.jinja" for kind in KINDS}


def test_every_kind_names_its_time_first() -> None:
    for path in folder("note_templates").glob("*.jinja"):
        if path.name != "page.html.jinja":
            assert "event['at'] | moment" in path.read_text(), path.name


def test_every_part_is_included_somewhere() -> None:
    everything = "".join(path.read_text() for path in folder("note_templates").glob("*.jinja"))
    parts = list((folder("note_templates") / "parts").glob("*.jinja"))
    assert len(parts) > 10
    for part in parts:
        assert f"parts/{part.name}" in everything, part.name


# -- compiled templates are kept privately --


def test_a_narrator_is_made_once() -> None:
    assert narrator() is narrator()


def test_the_page_on_templates_names_every_tag_filter_and_function() -> None:
    from lda_notes.narrative.grammar import FUNCTIONS
    from lda_notes.narrative.narrator import FILTERS
    from lda_notes.narrative.tags import Tags

    page = (folder("note_templates") / "README.md").read_text()
    for name in FILTERS:
        assert re.search(rf"`{name}(\(.*?\))?`", page), name
    for name in FUNCTIONS:
        assert f"`{name}(" in page, name
    for name in (*Tags.tags, "otherwise"):
        assert f"`{{% {name} %}}`" in page, name
