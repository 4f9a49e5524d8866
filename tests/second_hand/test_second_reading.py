"""Corrections in one list, what runs and is not locked, holds that continue, a rating nobody could read, told times.

Written from the table of line states, the clinical facts and the printed notes alone, by a second hand that has not
read the program. Each row is tried with the record changed so that it must come out otherwise.
"""

from __future__ import annotations

import re

import pytest
from bedside import (
    FREE,
    NO_BLOOD,
    Json,
    access,
    access_none,
    double,
    evaluation,
    event,
    found,
    holds,
    later,
    look,
    look_proof,
    needle_out,
    record,
    run,
    sheet,
    sign,
    site,
    state,
    t,
    treatment,
)

WREN = {"name": "Tobias Wren", "credential": "RN", "id": "CASE-N2"}


def note(whole: Json, name: str) -> str:
    """Return the note of an event in one row of words."""
    return " ".join(run("note", whole, event=name, width="1000").stdout.split())


# Addendum and amendment: one list, each fact once, and who changed the entry

FORGOTTEN: Json = {"pain": 3, "response": "tolerated with discomfort", "order": "CASE-ORDER-9"}
IN_WORDS = ("pain score: 3", "tolerated with discomfort", "CASE-ORDER-9")


def added(*facts: str, **more: object) -> Json:
    """Return an access to which ``facts`` were added two hours later, by another nurse unless ``more`` differs."""
    later_on = event(
        "addendum", t("11:00"), **{"of": "access-1", "by": WREN, "adds": {key: FORGOTTEN[key] for key in facts}, **more}
    )
    return record(access(t("09:00"), **dict.fromkeys(FORGOTTEN)), later_on)


def added_list(whole: Json, name: str) -> str:
    """Return the one list of what was added, up to the sentence's end."""
    (one,) = re.findall(r"\bAdded: (.*?)\.(?= |$)", note(whole, name))
    return str(one)


@pytest.mark.parametrize("name", ["addendum-1", "access-1"])
def test_all_added_facts_are_in_one_list_each_once(name: str) -> None:
    said = added_list(added(*FORGOTTEN), name)
    assert [said.count(words) for words in IN_WORDS] == [1, 1, 1], said


@pytest.mark.parametrize("left_out", FORGOTTEN)
def test_a_fact_that_was_not_added_is_not_in_the_list(left_out: str) -> None:
    said = added_list(added(*(key for key in FORGOTTEN if key != left_out)), "addendum-1")
    gone = IN_WORDS[list(FORGOTTEN).index(left_out)]
    assert [words in said for words in IN_WORDS] == [words != gone for words in IN_WORDS]


def test_words_of_her_own_are_said_once_beside_the_list() -> None:
    said = note(added("pain", text="The patient's daughter was present."), "addendum-1")
    assert said.count("The patient's daughter was present.") == said.count("pain score: 3") == 1


CHANGED: Json = {"of": "access-1", "sets": {"pain": 4}}


@pytest.mark.parametrize("kind", ["addendum", "amendment"])
@pytest.mark.parametrize("name", ["access-1", "correction"])
def test_it_says_who_corrected_the_entry(kind: str, name: str) -> None:
    facts: Json = {"of": "access-1", "adds": {"pain": 3}} if kind == "addendum" else CHANGED
    charted: Json = access(t("09:00"), **({"pain": None} if kind == "addendum" else {}))
    whole = record(charted, event(kind, t("11:00"), by=WREN, **facts))
    said = note(whole, f"{kind}-1" if name == "correction" else name)
    _, _, part = said.partition(f"{kind.upper()} of 2 April 2031, 11:00")
    assert re.match(r".*?Charted by: Tobias Wren, RN", part), said
    assert "author" not in said.lower()


@pytest.mark.parametrize("name", ["access-1", "amendment-1"])
def test_an_amendment_without_an_author_says_so(name: str) -> None:
    said = note(record(access(t("09:00")), event("amendment", t("11:00"), by=None, **CHANGED)), name)
    _, _, part = said.partition("AMENDMENT of 2 April 2031, 11:00")
    assert re.match(r".*?Charted by: _{4,}", part), said
    assert re.search("not recorded:.{0,60}author", said, re.IGNORECASE), said
    assert "DRAFT" in run("note", record(access(t("09:00")), event("amendment", t("11:00"), by=None, **CHANGED))).output


def test_who_charted_the_entry_is_not_asked_because_the_amendment_has_no_author() -> None:
    """The nurse of the access signed it; whose name is missing must be read without guessing."""
    said = note(record(access(t("09:00")), event("amendment", t("11:00"), by=None, **CHANGED)), "access-1")
    assert re.search(r"(amendment[^-]{0,60}author|author[^-]{0,40}amendment)", said, re.IGNORECASE), said


# A sign among signs that are absent


@pytest.mark.parametrize("there", ["erythema", "swelling", "tenderness"])
def test_a_sign_that_is_there_is_never_read_into_the_no_before_it(there: str) -> None:
    said = note(record(access(t("09:00")), look(t("10:00"), site=site(**{there: "present"}))), "line-check-1")
    assert re.search(rf"Site: [^.]*\b{there} present\b", said), said
    for absent in {"erythema", "swelling", "tenderness"} - {there}:
        assert f"no {absent}" in said


# What runs, and a line that was not locked

SALINE = "0.9% sodium chloride at 50 mL per hour"
CONNECTED: Json = {"lock": {"not_done": "infusion connected"}, "infusion": SALINE}
LOCKED: Json = {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}}


def narrative(whole: Json, name: str) -> str:
    """Return what the note says, without what it asks of the writer."""
    return note(whole, name).partition("For the writer")[0]


@pytest.mark.parametrize("reason", ["infusion connected", "line in use", "infusion runs on"])
def test_running_and_not_locked_are_said_once_each(reason: str) -> None:
    said = narrative(record(access(t("09:00"), lock={"not_done": reason}, infusion=SALINE)), "access-1")
    assert said.count(SALINE) == 1
    assert len(re.findall("not locked", said, re.IGNORECASE)) == 1
    assert not re.search(r"\blocked with\b|accessed,? (flushed,? )?and locked", said, re.IGNORECASE), said


def test_a_line_that_was_locked_says_so_and_nothing_runs() -> None:
    said = narrative(record(access(t("09:00"), infusion=None, **LOCKED)), "access-1")
    assert re.search("locked with", said, re.IGNORECASE)
    assert not re.search("not locked|infusion", said, re.IGNORECASE), said


@pytest.mark.parametrize("kind", ["access", "flush", "de-access"])
def test_nothing_recorded_about_a_lock_says_nothing(kind: str) -> None:
    bare: Json = {"lock": None, **({"infusion": None} if kind == "access" else {})}
    events = [event(kind, t("11:00"), **bare)]
    if kind != "access":
        events.insert(0, access(t("09:00")))
    said = narrative(record(*events), f"{kind}-1")
    assert not re.search(r"\b(not |un)?locked (with|:)|the line was (not )?locked|and locked", said, re.IGNORECASE), (
        said
    )
    assert "infusion connected" not in said.lower()


@pytest.mark.parametrize("facts", [{"infusion": SALINE}, {"nothing_runs": True, "infusion": None}])
def test_a_look_says_what_runs_and_nothing_about_a_lock(facts: Json) -> None:
    whole = narrative(record(access(t("09:00"), **CONNECTED), look(t("10:30"), **facts)), "line-check-1")
    said = whole.partition("implanted port and line checked")[2]  # a caution above it may warn of an unlocked line
    assert said.count(SALINE) == (1 if facts["infusion"] else 0)
    assert "locked" not in said.lower(), said


def test_the_sheet_of_a_line_that_runs_never_calls_it_locked() -> None:
    said = sheet(record(access(t("09:00"), **CONNECTED)))
    assert not re.search(r"(?<!not )\blocked\b|lock: (?!not locked)", said, re.IGNORECASE), said
    assert re.search("lock: (heparin|5 mL)", sheet(record(access(t("09:00"), infusion=None, **LOCKED))), re.IGNORECASE)


# Holds that continue: one sentence, all reasons in it

TWO_AT_ONCE: Json = {**NO_BLOOD, "flushes": [{**FREE, "resistance": "some"}]}
FEVER = look(t("11:00"), signs=sign("fever", temperature_c=39, began_at=t("10:40")))
REMAINS = re.compile(r"remains? ON HOLD[^.]*\.")


def continues(whole: Json, name: str) -> list[str]:
    """Return the sentences of a note that say that a hold continues."""
    return REMAINS.findall(note(whole, name))


@pytest.mark.parametrize(
    ("before", "reasons"),
    [
        ([access_none()], ("no blood return",)),
        ([access(t("09:00"), **TWO_AT_ONCE)], ("no blood return", "resistance")),
        ([access_none(), FEVER], ("no blood return", "fever")),
        ([access(t("09:00"), **TWO_AT_ONCE), FEVER], ("no blood return", "resistance", "fever")),
    ],
    ids=["one", "two-at-once", "two-times", "three"],
)
def test_holds_that_continue_are_one_sentence_with_every_reason(before: list[Json], reasons: tuple[str, ...]) -> None:
    whole = record(*before, look(t("13:00"), blood_return="none", blood_looks=None))
    last = whole["events"][-1]["id"]
    (one,) = continues(whole, last)
    for reason in ("no blood return", "resistance", "fever"):
        assert one.count(reason) == (1 if reason in reasons else 0), one
    assert one.count("since") == len({"11:00" if reason == "fever" else "09:00" for reason in reasons})
    stops = re.findall(r"STOP: LINE ON HOLD[^!]*?\. ", note(whole, last))
    assert len(stops) == 1
    assert all(reason in stops[0] for reason in reasons)


def test_a_hold_that_ended_or_was_withdrawn_does_not_continue() -> None:
    cleared = evaluation(t("12:00"), ends=["no blood return"])
    (one,) = continues(record(access_none(), FEVER, cleared, look(t("13:00"))), "line-check-2")
    assert "no blood return" not in one
    gone = event("retraction", t("12:00"), of="line-check-1")
    (one,) = continues(record(access_none(), FEVER, gone, look(t("13:00"), blood_return="none")), "line-check-2")
    assert "fever" not in one
    assert not continues(record(access(t("09:00")), look(t("13:00"))), "line-check-1")


def test_the_hold_of_the_other_septum_does_not_continue_here() -> None:
    whole = double(
        access_none(septum="medial"),
        access(t("09:30"), septum="lateral"),
        look(t("13:00"), septum="lateral"),
        look(t("13:05"), septum="medial", blood_return="none", blood_looks=None),
    )
    assert not continues(whole, "line-check-1")
    assert len(continues(whole, "line-check-2")) == 1


def test_the_sheet_names_each_hold_that_continues_once_in_the_patients_block() -> None:
    _, _, block = sheet(record(access(t("09:00"), **TWO_AT_ONCE), FEVER, look(t("13:00")))).partition("Room 4:")
    for reason in ("no blood return", "resistance to the flush", "fever of 39"):
        assert block.count(f"HOLD: {reason}") == 1, block


# A power rating that was written and could not be read

INJECTION = event(
    "line use", t("09:20"), purpose="power injection", what="contrast medium", flow_ml_per_s=2.5, pressure_psi=200
)
LACKING = re.compile(r"[^.;]*\brating[^.;]*(not recorded|not on record|unknown|missing)[^.;]*", re.IGNORECASE)
UNREAD = [
    pytest.param({"needle": {"power_rated": "certainly"}}, {}, id="needle"),
    pytest.param({"needle": {"rated_flow_ml_per_s": "three"}}, {}, id="flow-of-the-needle"),
    pytest.param({}, {"power": {"rated": "certainly"}}, id="port"),
    pytest.param({}, {"power": {"max_flow_ml_per_s": "five"}}, id="flow-of-the-port"),
]


@pytest.mark.parametrize(("facts", "port"), UNREAD)
def test_a_rating_that_could_not_be_read_is_never_called_not_recorded(facts: Json, port: Json) -> None:
    whole = record(access(t("09:00"), **facts), INJECTION, port=port)
    for said in (note(whole, "access-1"), note(whole, "line-use-1"), sheet(whole)):
        assert not LACKING.search(said), said
    assert not found(whole, words="power rating[^.]*not recorded|power rating unknown")
    assert "could not be read" in sheet(whole).lower()


@pytest.mark.parametrize("facts", [{"needle": {"power_rated": None}}])
def test_a_rating_that_was_not_written_is_called_not_recorded(facts: Json) -> None:
    whole = record(access(t("09:00"), **facts), INJECTION)
    assert LACKING.search(note(whole, "line-use-1"))
    assert found(whole, event="line-use-1", words="power rating unknown")


def test_a_rating_of_the_port_that_was_not_written_is_asked() -> None:
    whole = record(access(t("09:00")), INJECTION)
    del whole["port"]["power"]
    assert found(whole, event="line-use-1", words="power rating unknown")


# What ends a hold, and what does not (line states 5 and 13, 23, 28, 30 and D2)

PROOF_BY_THIS_NEEDLE = (look(t("10:00")), event("flush", t("10:05")))
NEW_NEEDLE = (needle_out(t("12:00")), access(t("13:00")))
DISSOLVED = (treatment(t("14:00")), look_proof(t("14:30")))
CLEARED = (evaluation(t("15:00"), ends=["all"]),)
ARM = look(t("09:30"), signs=sign("swelling", where="arm", change="new"))
ARM_IS_THIN = (look(t("11:00"), site=site(swelling="none"), signs=None),)
CORING = access(t("09:00"), needle={"non_coring": False})
TIP_WRONG = event(
    "port facts", t("09:30"), source="radiograph", tip={"location": "azygos vein", "method": "chest radiograph"}
)
TIP_RIGHT = event(
    "port facts",
    t("16:00"),
    source="radiograph",
    tip={"location": "cavoatrial junction", "method": "chest radiograph", "on": "2031-04-02"},
)

ENDS = [
    pytest.param([access(t("09:00"), blood_looks="thin")], "not proven", PROOF_BY_THIS_NEEDLE, True, id="5-needle"),
    pytest.param([access(t("09:00"), blood_looks="thin")], "not proven", DISSOLVED, True, id="5-thrombolytic"),
    pytest.param([access(t("09:00"), blood_looks="thin")], "not proven", NEW_NEEDLE, False, id="5-access"),
    pytest.param([access(t("09:00"), blood_looks="thin")], "not proven", CLEARED, False, id="5-evaluation"),
    pytest.param([access(t("09:00")), ARM], "arm", ARM_IS_THIN, True, id="23-gone-at-a-look"),
    pytest.param([access(t("09:00")), ARM], "arm", NEW_NEEDLE, True, id="23-access"),
    pytest.param([access(t("09:00")), ARM], "arm", DISSOLVED, True, id="23-thrombolytic"),
    pytest.param([access(t("09:00")), ARM], "arm", CLEARED, False, id="23-evaluation"),
    pytest.param([access(t("09:00")), TIP_WRONG], "tip", NEW_NEEDLE, True, id="28-access"),
    pytest.param([access(t("09:00")), TIP_WRONG], "tip", PROOF_BY_THIS_NEEDLE, True, id="28-proof"),
    pytest.param([access(t("09:00")), TIP_WRONG], "tip", (TIP_RIGHT,), False, id="28-confirmed"),
    pytest.param([CORING], "coring", NEW_NEEDLE, True, id="D2-access"),
    pytest.param([CORING], "coring", (needle_out(t("12:00")),), True, id="D2-needle-out"),
    pytest.param([CORING], "coring", CLEARED, False, id="D2-evaluation"),
]


@pytest.mark.parametrize(("begins", "words", "then", "held"), ENDS)
def test_what_ends_a_hold_and_what_does_not(begins: list[Json], words: str, then: tuple[Json, ...], held: bool) -> None:
    assert holds(state(record(*begins)), words)
    assert bool(holds(state(record(*begins, *then)), words)) is held


# Due times as the nurse told them, against the limits (clinical facts 1, 2 and 5; CP15, CP16)

WEEK = later(t("09:00"), days=7)


def too_late(whole: Json) -> set[str]:
    """Return which of the told times are found to be too late."""
    rows = found(whole, words="told due too late")
    return {what for what in ("needle change", "dressing change", "flush") for row in rows if what in row["message"]}


def told(*, dressing: Json | None = None, **due: str) -> Json:
    """Return an access at nine with ``dressing`` after which the nurse told these times."""
    on = {} if dressing is None else {"dressing": {**dressing, "site_visible": None}}
    return record(access(t("09:00"), next_due={"needle_change": WEEK, "dressing_change": None, **due}, **on))


@pytest.mark.parametrize(("days", "late"), [(1, False), (6, False), (7, False), (8, True), (28, True)])
def test_the_needle_may_stay_seven_days(days: int, late: bool) -> None:
    assert too_late(told(needle_change=later(t("09:00"), days=days))) == ({"needle change"} if late else set())


@pytest.mark.parametrize(
    ("kind", "days"),
    [
        ("transparent", 7),
        ("transparent with chlorhexidine", 7),
        ("gauze", 2),
        ("gauze under transparent", 2),
        ("gauze under wings", 7),
    ],
)
def test_the_dressing_is_due_by_its_type(kind: str, days: int) -> None:
    on = {"type": kind}
    assert too_late(told(dressing=on, dressing_change=later(t("09:00"), days=days))) == set()
    assert too_late(told(dressing=on, dressing_change=later(t("09:00"), days=days + 1))) == {"dressing change"}


def test_gauze_is_counted_by_the_hour_and_a_week_by_its_day() -> None:
    """One day late is overdue; gauze that is counted by day could near 72 hours (amounts, line states)."""
    gauze, film = {"type": "gauze"}, {"type": "transparent"}
    assert too_late(told(dressing=gauze, dressing_change=later(t("09:00"), days=2, hours=8))) == {"dressing change"}
    assert too_late(told(dressing=film, dressing_change=later(t("09:00"), days=7, hours=8))) == set()


@pytest.mark.parametrize(("what", "days"), [("needle_change", 6), ("dressing_change", 6)])
def test_a_needle_that_came_with_the_patient_counts_from_its_insertion(what: str, days: int) -> None:
    """Needle and dressing of the arrival are a day old."""

    def arrival(days: int) -> Json:
        due = {"needle_change": None, "dressing_change": None, what: later(t("09:00"), days=days)}
        return record(event("arrival accessed", t("09:00"), next_due=due))

    assert too_late(arrival(days)) == set()
    assert too_late(arrival(days + 1)) == {what.replace("_", " ")}


def test_a_new_dressing_has_a_week_of_its_own_and_the_needle_has_not() -> None:
    fresh = t("09:00", day=5)
    for days, late in ((7, set()), (8, {"dressing change"})):
        due = {"dressing_change": later(fresh, days=days)}
        whole = record(access(t("09:00")), event("dressing change", fresh, next_due=due))
        assert too_late(whole) == late
    both = {"dressing_change": later(fresh, days=7), "needle_change": later(fresh, days=7)}
    whole = record(access(t("09:00")), event("dressing change", fresh, next_due=both))
    assert found(whole, event="dressing-change-1", words="needle")


@pytest.mark.parametrize(("days", "late"), [(28, False), (30, True)])
def test_a_port_without_a_needle_is_told_the_flush_within_28_days(days: int, late: bool) -> None:
    out = event("de-access", t("12:00"), next_due={"flush": later(t("12:00"), days=days)})
    assert bool(too_late(record(access(t("09:00")), out))) is late


def test_a_policy_of_five_days_for_the_needle_is_the_limit_then() -> None:
    whole = told(needle_change=later(t("09:00"), days=6))
    assert not found(whole, words="told due too late")
    assert found(whole, words="told due too late", policy={"needle_dwell_days": 5})
