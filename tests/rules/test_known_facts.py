"""What is known of patient and port, from when, and what an earlier stay hands on: facts are dated, nothing is lost."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from rule_cases import episode_of
from scenes import AT, access, after, event

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.against import adhesive_against
from lda_notes.line.known import carried, condition, substance
from lda_notes.line.timeline import Timeline, build
from lda_notes.record.episode import Episode

HOUR = timedelta(hours=1)
HIT = "heparin-induced thrombocytopenia"


def line(*events: dict[str, Any], **parts: Any) -> Timeline:
    return build(episode_of(access(), *events, **parts), DEFAULT, datetime.fromisoformat(after(30 * 24 * 60)))


def allergies(made: Timeline, at: datetime) -> list[str]:
    return [substance(one) for one in made.patient_at(at).allergies or ()]


def test_an_allergy_is_known_from_the_event_that_found_it_until_one_withdraws_it() -> None:
    found = event("patient facts", 60, allergies=[{"to": "latex", "reaction": "hives"}])
    gone = event("patient facts", 120, allergies_withdrawn=[{"substance": "adhesive", "reason": "tolerated"}])
    made = line(found, gone, patient={"allergies": [{"to": "adhesive", "reaction": "itching"}]})
    assert [allergies(made, AT + HOUR * at) for at in (0, 1, 2)] == [["adhesive"], ["adhesive", "latex"], ["latex"]]


def test_what_an_event_does_not_say_stays_as_it_was() -> None:
    made = line(event("patient facts", 60, allergies=[{"to": "latex", "reaction": "hives"}]))
    assert made.patient_at(AT + HOUR).weight_kg == Decimal(70)


@pytest.mark.parametrize("film", [True, False])
def test_adhesive_over_a_barrier_film_is_no_danger_to_a_sensitive_skin(film: bool) -> None:
    itching = {"allergies": [{"to": "adhesive", "reaction": "itching"}]}
    made = build(episode_of(access(dressing={"barrier_film": film}), patient=itching), DEFAULT, AT + HOUR)
    assert (made.now("single").danger("D9") is None) is film


def test_a_line_on_hold_for_two_reasons_is_held_for_each() -> None:
    seen = event("line check", 60, site={"swelling": "present"}, blood_return="none", blood_looks=None)
    state = line(seen).now("single")
    assert state.held_for("swelling") and state.held_for("no blood return") and not state.held_for("pus")


def test_facts_of_the_port_are_known_from_their_event_on() -> None:
    made = line(event("port facts", 60, power={"rated": False}, catheter_volume_ml="1.2", valved=True))
    before, later = made.port_at(AT), made.port_at(AT + HOUR)
    assert before.power is not None and later.power is not None
    assert (before.power.rated, before.catheter_volume_ml, before.valved) == (True, Decimal("0.9"), False)
    assert (later.power.rated, later.catheter_volume_ml, later.valved) == (False, Decimal("1.2"), True)
    assert made.episode_at(AT + HOUR).port.valved is True


def test_a_condition_is_known_from_the_day_on_which_it_was_found() -> None:
    made = line(patient={"history": ["cold intolerance", {"condition": HIT, "found_on": "2031-04-04"}]})
    days = [[condition(one) for one in made.patient_at(AT + day * 24 * HOUR).history] for day in (1, 2)]
    assert days == [["cold intolerance"], ["cold intolerance", HIT]]


def _stay(**parts: Any) -> Episode:
    return episode_of(access(), **parts)


def test_an_earlier_stay_hands_on_what_this_one_does_not_say() -> None:
    silent = {"allergies": None}
    earlier = _stay(patient={"allergies": [{"to": "latex", "reaction": "hives"}]}, port={"side": "left"})
    none_known = _stay(patient={"allergies": []})
    assert carried(_stay(patient=silent, port={"side": None}), [earlier]).port.side == "left"
    assert carried(_stay(port={"side": "right"}), [earlier]).port.side == "right"
    assert [substance(one) for one in carried(_stay(patient=silent), [earlier]).patient.allergies or ()] == ["latex"]
    assert carried(_stay(patient=silent), [none_known]).patient.allergies == ()
    assert [substance(one) for one in carried(earlier, [none_known]).patient.allergies or ()] == ["latex"]


@pytest.mark.parametrize(
    ("reaction", "film", "against"),
    [
        ("itching", True, False),  # a barrier film answers a sensitivity
        ("itching", False, True),
        ("hives", True, True),  # an allergy stays
        (None, True, True),  # what nobody recorded may be either
    ],
)
def test_a_barrier_film_answers_a_sensitivity_and_no_allergy(reaction: str | None, film: bool, against: bool) -> None:
    patient = _stay(patient={"allergies": [{"to": "adhesive", "reaction": reaction}]}).patient
    assert adhesive_against(patient, film) is against
    assert not adhesive_against(_stay().patient, film)
