"""A visit, needle in and out within the hour, charts each thing once; what it never charted is asked.

Written from these sentences alone, by a second hand that had not read the conditions of the check:

1 A visit is an access and the removal of that needle at one septum within 60 minutes (policy: needle_change_minutes).
2 An access whose needle is out again within the visit is not asked for a lock or a dressing.
3 The removal of a visit is not asked again for patient identifiers, the reason, blood return or a flush when the visit
  (access or flush event between) charted them.
4 If blood return was never charted in the visit, it is asked.
5 If the last thing before the needle came out is no flush (and no reason why not), it is asked.
6 If the line was left unlocked at removal without a word, it is asked once, at the removal.
7 A needle that stays in longer than 60 minutes is asked for its lock or infusion and its dressing.
8 At a port with two septa, an access of one septum and the removal at the other are no visit.
9 The note of a visit prints no needle or dressing change as due, and says the next flush.
"""

from __future__ import annotations

import re

import pytest
from bedside import Json, access, check, double, event, later, record, run, t

IN = t("09:00")
OUT = t("09:20")
HEPARIN = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
LEFT_OPEN: Json = {
    "lock": None,
    "infusion": None,
    "dressing": None,
    "next_due": None,
}  # what only a needle left in needs
NO_PROOF: Json = {"blood_return": None, "blood_looks": None}
CHARTED_BEFORE: Json = {"identifiers_checked": None, "reason": None, "flushes": None, **NO_PROOF}


def enter(at: str = IN, **facts: object) -> Json:
    """Return an access that charts all but a lock, an infusion and a dressing."""
    return access(at, **{**LEFT_OPEN, **facts})


def leave(at: str = OUT, **facts: object) -> Json:
    """Return a removal that charts its lock, and nothing that an access of the same visit charts."""
    return event("de-access", at, **{**CHARTED_BEFORE, **facts})


def asked(*records: Json, policy: Json | None = None) -> set[tuple[str, str]]:
    """Return each fact that is asked with its event; nothing else may be found in these records."""
    findings = check(*records, policy=policy)[1]
    assert {one["rule"] for one in findings} <= {"facts-not-recorded"}, findings
    return {
        (str(one["event"]), fact)
        for one in findings
        for fact in one["message"].split(": ", 1)[1].rstrip(".").split(", ")
    }


NEEDLE_STAYS = {("access-1", "lock"), ("access-1", "dressing")}
NOT_OF_THE_ACCESS = {
    ("de-access-1", "patient identifiers checked"),
    ("de-access-1", "blood return"),
    ("de-access-1", "flush"),
}


# 1 and 7. Within 60 minutes, or as the policy says


@pytest.mark.parametrize("minutes", [20, 60])
def test_1_in_and_out_within_the_hour_is_a_visit(minutes: int) -> None:
    assert asked(record(enter(), leave(later(IN, minutes=minutes)))) == set()


def test_1_a_minute_more_than_an_hour_is_no_visit() -> None:
    assert asked(record(enter(), leave(later(IN, minutes=61)))) == NEEDLE_STAYS | NOT_OF_THE_ACCESS


@pytest.mark.parametrize(("limit", "minutes", "visit"), [(30, 30, True), (30, 31, False), (90, 90, True)])
def test_1_the_policy_sets_the_minutes(limit: int, minutes: int, visit: bool) -> None:
    found = asked(record(enter(), leave(later(IN, minutes=minutes))), policy={"needle_change_minutes": limit})
    assert found == (set() if visit else NEEDLE_STAYS | NOT_OF_THE_ACCESS)


def test_1_the_removal_of_another_needle_is_no_visit() -> None:
    """A needle change: the old needle out at nine, the new one in ten minutes later."""
    first = access(t("06:00"))
    change = enter(t("09:10"), follows_removal="de-access-1")
    found = asked(record(first, leave(t("09:00")), change))
    assert found == {("access-2", "lock"), ("access-2", "dressing")} | NOT_OF_THE_ACCESS


# 2. The access


def test_2_the_access_of_a_visit_is_not_asked_for_lock_or_dressing() -> None:
    assert asked(record(enter(), event("de-access", OUT))) == set()


def test_2_a_needle_that_is_still_in_is_asked_for_lock_and_dressing() -> None:
    assert asked(record(enter())) == NEEDLE_STAYS


def test_7_a_needle_that_stays_in_is_asked_for_lock_and_dressing() -> None:
    assert asked(record(enter(), event("de-access", t("13:00")))) == NEEDLE_STAYS


@pytest.mark.parametrize("running", [{"lock": HEPARIN}, {"infusion": "0.9% sodium chloride at 50 mL per hour"}])
def test_7_a_needle_that_stays_in_has_a_lock_or_an_infusion_and_a_dressing(running: Json) -> None:
    dressed = access(IN, **{**LEFT_OPEN, "dressing": {"type": "transparent"}, **running})
    assert not asked(record(dressed, event("de-access", t("13:00")))) & NEEDLE_STAYS


def test_2_a_retracted_removal_ends_no_visit() -> None:
    gone = event("retraction", t("09:50"), of="de-access-1")
    assert asked(record(enter(), event("de-access", OUT), gone)) == NEEDLE_STAYS


# 3. The removal is not asked again


def test_3_the_removal_is_not_asked_for_what_a_flush_between_charted() -> None:
    """The flush charts what the access did not; the removal comes right after it."""
    whole = record(enter(**CHARTED_BEFORE), event("flush", t("09:10")), leave())
    assert not {fact for where, fact in asked(whole) if where == "de-access-1"}


@pytest.mark.parametrize("fact", ["identifiers_checked", "reason"])
def test_3_either_the_access_or_the_flush_charts_it(fact: str) -> None:
    whole = record(enter(**{fact: None}), event("flush", t("09:10")), leave())
    assert not {fact for where, fact in asked(whole) if where == "de-access-1"}


def test_3_what_no_entry_of_the_visit_charted_is_asked() -> None:
    whole = record(enter(**CHARTED_BEFORE), leave())
    assert {fact for _, fact in asked(whole)} == {"patient identifiers checked", "blood return", "flush"}


def test_3_a_retracted_flush_charted_nothing() -> None:
    gone = event("retraction", t("09:50"), of="flush-1")
    whole = record(enter(**CHARTED_BEFORE), event("flush", t("09:10")), leave(), gone)
    assert ("de-access-1", "blood return") in asked(whole)


# 4. Blood return


@pytest.mark.parametrize("where", ["access", "removal"])
def test_4_blood_return_once_in_the_visit_is_enough_for_the_removal(where: str) -> None:
    proof = {"blood_return": "present", "blood_looks": "like whole blood"}
    whole = record(enter(**({} if where == "access" else NO_PROOF)), leave(**({} if where == "access" else proof)))
    assert ("de-access-1", "blood return") not in asked(whole)


def test_4_blood_return_that_was_never_charted_is_asked() -> None:
    assert "blood return" in {fact for _, fact in asked(record(enter(**NO_PROOF), leave()))}


# 5. The last thing before the needle comes out is a flush

USE = event("line use", t("09:10"))


def test_5_a_use_after_the_flush_asks_for_a_flush_and_not_for_blood_return() -> None:
    assert asked(record(enter(), USE, leave())) == {("de-access-1", "flush")}


@pytest.mark.parametrize(
    "flushed",
    [
        [event("flush", t("09:15")), leave()],
        [leave(flushes=[{"solution": "0.9% sodium chloride", "volume_ml": 10, "syringe_ml": 10}])],
        [leave(flushes={"not_done": "the needle came out by itself"})],
    ],
    ids=["flush event", "at the removal", "reason why not"],
)
def test_5_a_flush_after_the_use_or_a_reason_is_enough(flushed: list[Json]) -> None:
    assert "flush" not in {fact for _, fact in asked(record(enter(), USE, *flushed))}


# 6. Left unlocked


def test_6_a_line_left_unlocked_without_a_word_is_asked_once_at_the_removal() -> None:
    assert asked(record(enter(), leave(lock=None))) == {("de-access-1", "lock")}
    between = event("flush", t("09:10"), lock=None)
    assert asked(record(enter(), between, leave(lock=None))) == {("de-access-1", "lock")}


def test_6_a_lock_at_the_removal_or_a_reason_is_enough() -> None:
    for lock in (HEPARIN, {"not_done": "port comes out today"}):
        assert asked(record(enter(), leave(lock=lock))) == set()
        assert asked(record(enter(), event("flush", t("09:10"), lock=None), leave(lock=lock))) == set()


def test_6_a_flush_between_that_locked_the_line_is_enough() -> None:
    assert asked(record(enter(), event("flush", t("09:10")), leave(lock=None))) == set()


def test_6_a_lock_that_a_later_use_flushed_away_is_asked() -> None:
    whole = record(enter(lock=HEPARIN), USE, leave(lock=None))
    assert ("de-access-1", "lock") in asked(whole)


# 8. Two septa


def test_8_one_septum_of_two_is_a_visit() -> None:
    assert asked(double(enter(septum="medial"), leave(septum="medial"))) == set()


def test_8_a_removal_at_the_other_septum_is_no_visit() -> None:
    both = double(
        access(t("06:00"), septum="lateral"),
        enter(septum="medial"),
        leave(septum="lateral"),
    )
    assert asked(both) == NOT_OF_THE_ACCESS | {("access-2", "lock"), ("access-2", "dressing")}


# 9. The note

NEEDLE_OR_DRESSING_DUE = re.compile(r"(needle|dressing) change[^.]* due", re.IGNORECASE)


def words(whole: Json, name: str) -> str:
    """Return the note of an event in one row of words."""
    return " ".join(run("note", whole, event=name).stdout.split())


@pytest.mark.parametrize("name", ["access-1", "de-access-1"])
@pytest.mark.parametrize("charted", [True, False])
def test_9_the_note_of_a_visit_names_the_next_flush_alone(name: str, charted: bool) -> None:
    due = {} if charted else {"next_due": None}
    note = words(record(enter(), leave(**due)), name)
    assert not NEEDLE_OR_DRESSING_DUE.search(note), note
    assert re.search(r"Next flush is due by 30 April 2031", note), note
    assert "DRAFT" not in note


def test_9_the_note_of_a_needle_that_stays_in_names_its_change() -> None:
    note = words(record(access(IN)), "access-1")
    assert NEEDLE_OR_DRESSING_DUE.search(note), note
