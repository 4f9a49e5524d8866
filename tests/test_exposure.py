"""What ends an exposure: somebody named, told of that medicine, when it had gone in or later."""

from __future__ import annotations

from typing import Any

import made_records as made
import pytest

HIT = {"history": ["heparin-induced thrombocytopenia"], "allergies": []}
TOLD = {"name": "Osric Fennimore", "credential": "MD"}
OF_HEPARIN = {"what": "Heparin lock was flushed in", "told": TOLD}


def stands(problem: dict[str, Any], told_with: str = "later") -> bool:
    """Tell whether the exposure of 11:00 stands after ``problem`` was charted with it or with a look at 15:00."""
    problems = {name: [problem] if name == told_with else [] for name in ("before", "same", "later")}
    data = made.record(
        made.needle_event("2031-03-04 09:00", problems=problems["before"]),
        made.event(
            "flush",
            "2031-03-04 11:00",
            old_lock="flushed in",
            flushes=[made.FLUSH],
            lock={"drug": "0.9% sodium chloride", "volume_ml": 5},
            problems=problems["same"],
        ),
        made.event("line check", "2031-03-04 15:00", problems=problems["later"]),
    )
    data["patient"].update(HIT)
    line = made.timeline(data, "2031-03-04 18:00")
    return any(danger.exposure for danger in line.state_at("single", made.moment("2031-03-04 18:00")).dangers)


@pytest.mark.parametrize(
    ("problem", "told_with", "left"),
    [
        (OF_HEPARIN, "later", False),
        (OF_HEPARIN, "same", False),
        ({**OF_HEPARIN, "told_at": made.moment("2031-03-04 11:00")}, "later", False),
        ({**OF_HEPARIN, "told_at": made.moment("2031-03-04 10:59")}, "later", True),
        (OF_HEPARIN, "before", True),
        ({"what": "dressing is lifted at one edge", "told": TOLD}, "later", True),
        ({"what": OF_HEPARIN["what"]}, "later", True),
    ],
    ids=["later", "same-entry", "at-that-moment", "told-before", "charted-before", "something-else", "nobody"],
)
def test_only_who_was_told_of_that_medicine_after_it_went_in_answers(
    problem: dict[str, Any], told_with: str, left: bool
) -> None:
    assert stands(problem, told_with) is left
