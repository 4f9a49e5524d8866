"""The worksheet: a blank for exactly what the check will ask, in the order of the work, with what is known."""

from __future__ import annotations

import json
import re
from copy import deepcopy
from typing import Any

import pytest
from made_records import CHICAGO, HEPARIN, event, moment, needle_event, policy, record, removal_event
from pydantic import ValidationError
from ward import ASOF, source

from lda_notes.check import needs
from lda_notes.documents.blocks import Blanks, Block, Bullets, Columns, Form, Heading, Sheet, Table, Together
from lda_notes.documents.handoff.view import View
from lda_notes.documents.render import render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.blanks import CONDITIONS, blanks
from lda_notes.documents.worksheet.page import Work, sheet
from lda_notes.documents.worksheet.steps import TITLES
from lda_notes.documents.worksheet.unit import unit_sheet
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS
from lda_notes.record.validation import misfits

WORKS: tuple[Work, ...] = ("access", "de-access", "dressing change")


def view(data: dict[str, Any], limits: Policy = DEFAULT) -> View:
    timeline = source(data, policy=limits).timeline
    words = Wording(CHICAGO, ASOF)
    return View(timeline, limits, words, ASOF, ASOF)


def made(data: dict[str, Any], work: Work = "access", limits: Policy = DEFAULT, septum: str = "single") -> Sheet:
    return sheet(view(data, limits), work, septum)


def told(data: dict[str, Any], work: Work = "access", limits: Policy = DEFAULT) -> str:
    return render(made(data, work, limits), "text", 2000).decode()


def flat(blocks: tuple[Block, ...]) -> list[Block]:
    found: list[Block] = []
    for block in blocks:
        found.extend(flat(block.blocks) if isinstance(block, Together | Columns) else [block])
    return found


def drawn(made: Sheet) -> list[Blanks]:
    """Return every blank of a worksheet, in its order."""
    return [blank for block in flat(made.blocks) if isinstance(block, Form) for blank in block.blanks]


PLAIN = record(number=3)


@pytest.mark.parametrize("work", WORKS)
def test_every_need_that_comes_up_has_its_blank_in_the_order_of_the_table(work: Work) -> None:
    """Left out: what policy does not ask, what the record rules out, and parts whose facts have blanks."""
    drawn = [blank.need for blank in blanks(view(PLAIN), work)]
    table = list(needs.NEEDS[work])
    assert [need for need in table if need in drawn] == drawn
    left_out = {need.name for need in table} - {need.name for need in drawn}
    parts = {need.name for need in table if any(other.name.startswith(f"{need.name}.") for other in table)}
    by_policy = {"site.scale", "site.scale.name", "site.scale.score", "needle.lot", "needle.expires"}
    by_policy |= {"needle.set_volume_ml", "needle.connector_volume_ml"}
    by_record = {"septum", "needle.power_rated"}
    by_record |= {need.name for need in table if need.path[0] in ("signs", "despite_hold")}
    assert left_out <= parts | by_policy | by_record
    assert drawn


@pytest.mark.parametrize("work", WORKS)
def test_an_event_with_nothing_in_it_lacks_nothing_that_the_worksheet_does_not_ask(work: Work) -> None:
    data = record(event(work, "2031-03-05 06:00"), number=3)
    data["events"][0].pop("by")
    timeline = source(data).timeline
    lacking = needs.missing(timeline.entries[0].event, timeline.episode)
    drawn = {blank.need.name for blank in blanks(view(PLAIN), work)}
    asked = {name: {other for other in drawn if other == name or other.startswith(f"{name}.")} for name in drawn}
    for gap in lacking:
        inside = [name for name in drawn if name == gap.need.name or name.startswith(f"{gap.need.name}.")]
        assert inside, f"{gap.need.name} has no blank"
    assert len(lacking) > 5 and asked


def filled(work: Work) -> dict[str, Any]:
    """Return an event of ``work`` that lacks nothing, from the demo that shows everything."""
    from pathlib import Path

    from lda_notes.files.syntax import read_yaml

    demos = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
    for demo in demos:
        parsed = read_yaml(demo.read_bytes())
        for found in (parsed.data or {}).get("events", []):
            if found.get("kind") == work:
                episode = source(PLAIN).timeline.episode
                whole = KINDS[work].model_validate_json(json.dumps(found))
                if not [gap for gap in needs.missing(whole, episode) if gap.need.level == "required"]:
                    return dict(found)
    raise AssertionError(f"no demo holds a full {work}")


def asked_for(work: Work, bare: dict[str, Any], episode: Episode) -> set[str]:
    """Return what the check misses in an event, and what the layout itself cannot do without."""
    try:
        found = KINDS[work].model_validate_json(json.dumps(bare))
    except ValidationError as error:
        return {".".join(map(str, fault.path)) for fault in misfits(error, bare) if fault.missing}
    return {gap.need.name for gap in needs.missing(found, episode)}


@pytest.mark.parametrize("work", WORKS)
def test_a_blank_left_empty_is_what_the_check_asks_for(work: Work) -> None:
    """Each fact of a full event taken out in turn: the check asks for it, and the worksheet has its blank."""
    whole = filled(work)
    episode = source(PLAIN).timeline.episode
    tried = 0
    for blank in blanks(view(PLAIN), work):
        path = blank.need.path
        if "*" in path or len(path) > 2 or blank.need.level != "required":
            continue
        bare = deepcopy(whole)
        holder = bare.get(path[0]) if len(path) == 2 else bare
        if not isinstance(holder, dict) or path[-1] not in holder or "not_done" in holder:
            continue
        del holder[path[-1]]
        if blank.need.when is None and blank.need.given is None and blank.need.visit is None:
            tried += 1
            assert blank.need.name in asked_for(work, bare, episode), blank.need.name
    assert tried >= 8


@pytest.mark.parametrize("work", WORKS)
def test_every_fact_has_its_step_and_its_condition_in_words(work: Work) -> None:
    assert needs.NEEDS[work][0].path[0] in TITLES, "facts without a row of their own follow the one before"
    for blank in blanks(view(PLAIN), work):
        assert "if it applies" not in blank.drawn.hint, blank.need.name
    assert len(CONDITIONS) == len(set(CONDITIONS.values()))


WHY_NOT = {"not assessed", "not done"}


@pytest.mark.parametrize("work", WORKS)
def test_every_blank_is_drawn_once_with_its_sign_its_choices_and_its_conditions(work: Work) -> None:
    """Shared conditions stand before the group, reasons why not once at the end of the step; nothing else is lost."""
    sheet_made = made(PLAIN, work)
    on_paper = {blank.label: blank for blank in drawn(sheet_made)}
    leads = {b.label: form.lead for form in flat(sheet_made.blocks) if isinstance(form, Form) for b in form.blanks}
    seen = 0
    for blank in blanks(view(PLAIN), work):
        sign = "*" if blank.need.level == "required" else ""
        only_why_not = bool(blank.drawn.choices) and set(blank.drawn.choices) <= WHY_NOT
        assert (f"{sign}{blank.drawn.label}" in on_paper) != only_why_not, blank.need.name
        if only_why_not:
            continue
        there = on_paper[f"{sign}{blank.drawn.label}"]
        seen += 1
        assert there.choices == tuple(choice for choice in blank.drawn.choices if choice not in WHY_NOT)
        said = f"{leads[there.label]} {there.hint}".casefold()
        assert all(condition.casefold() in said for condition in blank.conditions)
    assert seen > 25
    labels = [blank.label for blank in drawn(sheet_made)]
    repeated = {label for label in labels if labels.count(label) > 1}
    assert repeated == set()


def test_what_was_not_done_has_its_room_once_before_the_signature() -> None:
    rows = told(PLAIN).splitlines()
    (place,) = (number for number, row in enumerate(rows) if "what, and why" in row)
    assert rows[place].startswith("Not assessed or not done: what, and why")
    assert rows.index("Sign") > place > rows.index("The patient")
    assert not any("[ ] not assessed" in row for row in rows)
    assert sum("* Required" in row for row in rows) == 1


def test_what_shares_a_condition_stands_under_it() -> None:
    rows = told(PLAIN).splitlines()
    start = rows.index("If something is wrong:")
    assert [row[:2] for row in rows[start + 1 : start + 7]] == ["  "] * 6
    assert not any("(if something is wrong" in row for row in rows)


def test_a_septum_is_ticked() -> None:
    data = record(number=3)
    data["port"]["septa"] = ["medial", "lateral"]
    assert "*Septum: [ ] medial  [ ] lateral" in render(made(data, septum="lateral"), "text", 2000).decode()


def test_two_reasons_for_the_same_care_are_told_together() -> None:
    data = record(number=3)
    data["patient"].update(allergies=[{"to": "heparin"}], history=["heparin-induced thrombocytopenia"])
    text = told(data)
    assert "Allergy to heparin, heparin-induced thrombocytopenia: no heparin in flush or lock" in text
    assert "[A6, H1]" in text


def test_policy_decides_what_is_asked() -> None:
    strict = policy(needle_lot_required="yes", scale_score_required="yes")
    names = {blank.need.name for blank in blanks(view(PLAIN, strict), "access")}
    assert {"needle.lot", "needle.expires", "site.scale.name", "site.scale.score"} <= names
    lax = policy(order_reference_required="no")
    assert "order" not in {blank.need.name for blank in blanks(view(PLAIN, lax), "access")}


def test_choices_are_the_words_of_the_record() -> None:
    drawn = {blank.need.name: blank.drawn for blank in blanks(view(PLAIN), "access")}
    assert drawn["blood_return"].choices == ("present", "sluggish", "none", "not assessed")
    assert drawn["needle.non_coring"].choices == ("yes", "no", "not assessed")
    assert drawn["anesthetic"].choices == ("none used", "not assessed")
    assert drawn["needle.gauge"].choices == ()
    assert drawn["steps_tried"].hint == "if no blood came"
    assert "needle" not in drawn, "its gauge, length and kind have blanks of their own"


def test_the_last_needle_that_worked() -> None:
    worked = needle_event("2031-02-01 09:00", needle={"gauge": 19, "length_mm": 25.4, "non_coring": True}, attempts=1)
    failed = needle_event("2031-02-20 09:00", blood_return="none", attempts=3)
    data = record(worked, removal_event("2031-02-05 09:00"), failed, removal_event("2031-02-21 09:00"), number=3)
    text = told(data)
    assert "Needle that worked: 19 gauge, 25.4 mm (1 inch), 1 attempt (1 Feb 09:00, Marisol Tamm RN)" in text
    assert "last time 19 gauge, 25.4 mm (1 inch)" in text
    assert "- 3 attempts (20 Feb 09:00, Marisol Tamm RN)" in text
    assert "- no blood return (20 Feb 09:00, Marisol Tamm RN)" in text
    assert "!! HOLD: no blood return" in text


@pytest.mark.parametrize(("work", "most"), [("access", 4), ("flush", 2)])
def test_difficulties_beyond_what_the_pages_have_room_for_are_counted(work: Work, most: int) -> None:
    looks = [event("line check", f"2031-02-{day:02} 09:00", blood_return="sluggish") for day in range(1, 10)]
    text = told(record(needle_event("2031-01-31 09:00"), *looks), work)
    assert text.count("- sluggish blood return") == most
    assert f"- and {9 - most} earlier" in text


@pytest.mark.parametrize(
    ("allergies", "agent", "absent"),
    [
        (["chlorhexidine"], "Povidone-iodine, because of allergies or age", "[ ] Chlorhexidine"),
        (["isopropyl alcohol"], "Povidone-iodine, because of allergies or age", "[ ] Chlorhexidine in alcohol\n"),
        (["chlorhexidine", "iodine"], "70% isopropyl alcohol, because of allergies or age", "[ ] Povidone"),
        (["chlorhexidine", "iodine", "isopropyl alcohol"], "Antiseptic: ask the prescriber", "[ ] Povidone"),
        (["shellfish"], "Chlorhexidine in alcohol", "[ ] Povidone"),
        (["iodine"], "Chlorhexidine in alcohol", "[ ] Povidone"),
    ],
)
def test_allergies_change_the_antiseptic(allergies: list[str], agent: str, absent: str) -> None:
    data = record(number=3)
    data["patient"]["allergies"] = [{"to": name} for name in allergies]
    supplies = told(data).split("The access, step by step")[0].split("Supplies to gather")[1]
    assert f"[ ] {agent}" in supplies
    assert absent not in supplies
    assert ("NO chlorhexidine disc: allergy" in supplies) == ("chlorhexidine" in allergies)


def test_no_heparin_for_whom_it_is_ruled_out() -> None:
    data = record(number=3)
    data["patient"]["history"] = ["heparin-induced thrombocytopenia"]
    text = told(data)
    assert "[ ] Lock without heparin" in text
    assert "Heparin for a lock is" not in text
    steps = text.split("Lock or connect")[1].split("Dress and label")[0]
    assert "Heparin-induced thrombocytopenia: no heparin in flush or lock" in steps, "the caution stands at its step"
    assert "[ ] heparin" not in steps and "[ ] 0.9% sodium chloride" in steps, "what is ruled out is not offered"
    assert "Heparin for a lock is 100 units per mL" in told(PLAIN)
    assert "[ ] heparin" in told(PLAIN)


def test_cautions_use_the_limits_in_force() -> None:
    text = told(PLAIN, limits=policy(cream_contact_minutes=45, syringe_ml=20, flush_ml=15))
    assert "on for at least 45 minutes" in text
    assert "barrel of 20 mL or more" in text
    assert "At least 15 mL, push-pause" in text
    cream, syringe, flush = (
        list(DEFAULT.rows).index(name) + 1 for name in ("cream_contact_minutes", "syringe_ml", "flush_ml")
    )
    assert f"[{cream}, {syringe}, {flush}] Port care policy (invented), 2024-01-15 (LP)." in text
    assert re.search(rf"\[{cream}\] [^\[]*: at least 45 minutes \(looser than published", text)
    assert "Changed by facility policy" not in told(PLAIN)


def test_the_volume_of_the_system_is_computed() -> None:
    data = record(
        needle_event("2031-02-01 09:00", needle={"gauge": 20, "length_mm": 19, "set_volume_ml": 0.4}), number=3
    )
    data["port"]["catheter_volume_ml"] = 0.9
    text = told(data)
    assert "Catheter and recorded add-ons: 1.3 mL; 2 times that is 2.6 mL" in text
    assert "A lock of 1.56 mL fills catheter and recorded add-ons" in text


def test_a_needle_in_or_out_is_said_first() -> None:
    there = record(needle_event("2031-03-04 09:00", lock=HEPARIN))
    assert "A needle is in already: 20 gauge, 19 mm (3/4 inch)" in told(there)
    assert "No needle is in, as recorded" in told(PLAIN, "de-access")
    assert "No needle is in" not in told(there, "de-access")


def test_what_would_be_due_is_computed() -> None:
    assert moment("2031-03-05 07:00") == ASOF
    assert "Done at 5 Mar 07:00: needle due by 12 Mar 08:00" in told(PLAIN)
    assert "flush of the port due by 2 Apr 08:00" in told(PLAIN, "de-access")


def test_steps_stand_in_the_order_of_the_work() -> None:
    titles = [block.text for block in flat(made(PLAIN).blocks) if isinstance(block, Heading) and block.level == 3]
    assert titles == list(dict.fromkeys(titles))
    order = [
        "Before you begin", "Look at the site", "Numb the skin", "Keep it sterile", "Prepare the skin",
        "Put the needle in", "Confirm patency", "Flush", "Lock or connect", "Dress and label", "The patient",
        "What is due next", "Sign",
    ]  # fmt: skip
    assert titles == order
    assert drawn(made(PLAIN))[0].label == "Date and time"
    assert any(isinstance(block, Bullets) and block.boxes for block in flat(made(PLAIN).blocks))


@pytest.mark.parametrize("work", WORKS)
def test_no_error_prone_abbreviation(work: Work) -> None:
    assert [hit for row in told(PLAIN, work).splitlines() for hit in unsafe_forms(row)] == []


def test_urokinase_is_not_timed_by_the_alteplase_label() -> None:
    for drug, minutes in (("alteplase", True), ("urokinase", False)):
        put_in = event("patency treatment", ASOF.replace(minute=0), drug=drug, volume_ml=2)
        said = told(record(needle_event("2031-03-04 08:00"), put_in), "patency check")
        assert ("120 minutes" in said) is minutes, drug


HELD = needle_event("2031-02-01 09:00", blood_return="none")
OUT = removal_event("2031-02-01 15:00", flushes={"not_done": "on hold"})
ALTEPLASE = event("patency treatment", "2031-03-05 06:30", drug="alteplase", dose_mg=2, volume_ml=2)


@pytest.mark.parametrize(
    ("events", "work", "says"),
    [
        ((HELD,), "flush", "On hold: no flush, lock, or drug, except work on the reason for the hold"),
        ((HELD,), "arrival accessed", "On hold: no flush"),
        ((HELD,), "patency check", "On hold: no flush"),
        ((HELD,), "dressing change", None),
        ((HELD, OUT), "flush", "No needle is in, as recorded: a flush needs an access first"),
        ((needle_event("2031-03-04 09:00"),), "patency check", "No thrombolytic is in the line, as recorded"),
        ((needle_event("2031-03-04 09:00"),), "arrival accessed", "this sheet is for one that was put in elsewhere"),
        ((needle_event("2031-03-04 09:00"),), "flush", None),
        ((needle_event("2031-03-04 09:00"), ALTEPLASE), "flush", "nothing else goes in before it is aspirated"),
        ((needle_event("2031-03-04 09:00"), ALTEPLASE), "patency check", None),
    ],
)
def test_a_worksheet_that_does_not_suit_the_line_says_so(events: Any, work: Work, says: str | None) -> None:
    text = told(record(*events, number=3), work)
    cautions = [row for row in text.splitlines() if row.startswith("!! ") and not re.match("!! (HOLD|DANGER)", row)]
    assert any(says in row for row in cautions) if says else not cautions, cautions


def test_an_arrival_is_looked_at_flushed_and_locked_and_no_needle_is_put_in() -> None:
    sheet = made(record(number=3), "arrival accessed")
    steps = [block.text for block in flat(sheet.blocks) if isinstance(block, Heading) and block.level == 3]
    assert not {"Put the needle in", "Dress and label", "What is due next"} & set(steps)
    assert steps[steps.index("Confirm patency") :][:3] == ["Confirm patency", "Flush", "Lock or connect"]
    labels = [blank.label for blank in drawn(sheet)]
    for label in ("*Flush volume, mL", "*Lock drug", "*Lock volume, mL", "*Needle gauge", "*Dressing type"):
        assert label in labels
    assert "Chart flush and lock as a flush of their own" in told(record(number=3), "arrival accessed")


def test_the_line_check_of_a_unit_has_boxes_for_blood_return_and_two_identifiers() -> None:
    page = unit_sheet([view(record(needle_event("2031-03-04 09:00"), number=3))])
    text = render(page, "text", 4000).decode().replace("\u00a0", " ")
    assert "[ ] MD-0003" in text and "[ ] born 3 February 1980" in text
    assert "Blood return: [ ] present [ ] sluggish [ ] none" in text


@pytest.mark.parametrize(
    ("units", "head", "places"),
    [
        (["Ward Heron"] * 2, "Room", ["4", "5"]),
        (["Ward Heron", "Ward Plover"], "Unit, room", ["Ward Heron, 4", "Ward Plover, 5"]),
    ],
)
def test_the_room_of_a_line_check_names_the_ward_where_there_are_several(
    units: list[str], head: str, places: list[str]
) -> None:
    records = [record(needle_event("2031-03-04 09:00"), number=4 + n, unit=unit) for n, unit in enumerate(units)]
    (table,) = (block for block in unit_sheet([view(one) for one in records]).blocks if isinstance(block, Table))
    assert table.columns[0] == head
    assert [row[0] for row in table.rows] == places


OFFERED = re.compile(
    r"heparin of [\d,]+ units|Cream of lidocaine|Cold spray|^\[ \] Chlorhexidine disc \[", re.MULTILINE
)
SKIN = re.compile(r"^\[ \] (Chlorhexidine in alcohol|Povidone|70%)|cap for every connector", re.MULTILINE)


@pytest.mark.parametrize(
    ("fact", "written", "skin"),
    [("allergies", [{"substance": "heprin"}], False), ("history", ["heparin induced thrombocytopenia"], True)],
)
def test_what_an_unread_allergy_or_history_may_forbid_is_asked_and_not_offered(
    fact: str, written: list[Any], skin: bool
) -> None:
    """A history speaks against no antiseptic; an allergy may be one to anything."""
    said = told(PLAIN)
    assert len(set(OFFERED.findall(said))) == 4
    assert SKIN.search(said)
    data = {**PLAIN, "patient": {**PLAIN["patient"], fact: written}}
    said = told(data)
    assert not OFFERED.findall(said)
    assert bool(SKIN.search(said)) is skin
    for what in ("Lock: ask before any heparin", "Chlorhexidine disc: ask first", "Ask before numbing"):
        assert what in said
    learned = event("patient facts", "2031-03-04 08:00", **{fact: written})
    assert not OFFERED.findall(told(record(learned, number=3)))


def test_contents_that_must_not_be_flushed_in_come_out_first() -> None:
    found = event("patient facts", "2031-03-04 12:00", history=[{"condition": "heparin-induced thrombocytopenia"}])
    data = record(needle_event("2031-03-04 09:00", lock=HEPARIN), found, number=3)
    assert "Before any flush: aspirate and discard what is in the line" in told(data, "flush")
    assert "Before any flush" not in told(data, "dressing change")


def test_a_flush_with_a_needle_in_starts_no_interval_of_an_idle_port() -> None:
    assert "flush of a port without a needle due by" not in told(
        record(needle_event("2031-03-04 09:00"), number=3), "flush"
    )
    assert "flush of a port without a needle due by" in told(PLAIN, "flush")


def test_the_line_check_names_allergies_in_short() -> None:
    one = record(needle_event("2031-03-04 09:00"), number=3)
    one["patient"]["allergies"] = [
        {"substance": "latex", "reaction": "itching"},
        {"substance": "chlorhexidine", "reaction": "anaphylaxis"},
    ]
    one["patient"]["history"] = ["heparin-induced thrombocytopenia"]
    text = render(unit_sheet([view(one)]), "text", 4000).decode().replace("\u00a0", " ")
    assert "Allergy: latex, chlorhexidine (anaphylaxis); heparin-induced thrombocytopenia" in text
