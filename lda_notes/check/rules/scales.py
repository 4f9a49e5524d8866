"""Scores of the site against their scale and the look of the site."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, wrong
from lda_notes.knowledge.sources import Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import Site

_SCALES: Final = (
    # Words that the scale's name contains, and the limit with its highest score.
    ("infiltration", "infiltration_grade"),
    ("ctcae", "ctcae_grade"),
    ("visual", "vip_score"),
    ("vip", "vip_score"),
    ("phlebitis", "phlebitis_grade"),
    ("pinch", "pinch_off_grade"),
)


def scale_limit(name: str) -> str | None:
    """Return the limit with the highest score of the scale of that name; None for a scale that is not known."""
    said = name.casefold()
    return next((limit for word, limit in _SCALES if word in said), None)


@wrong(
    "read the score from the named scale again",
    limits=("phlebitis_grade", "vip_score", "infiltration_grade", "ctcae_grade", "pinch_off_grade"),
)
def scale_out_of_range(step: Step, event: ev.SiteSeen, case: Case) -> Iterable[Found]:
    """Compares a score with the highest grade of the scale that it names.

    A score beyond the scale comes from another scale or is a mistake; the same number means different things on each.

    These scales are made for peripheral lines; on a port pocket they are an adaptation.
    """
    site = event.site
    if type(site) is not Site or site.scale is None:
        return
    limit = scale_limit(site.scale.name)
    if limit is not None and site.scale.score > case.policy.value(limit):
        yield Found(
            "site.scale.score",
            f'the score is {site.scale.score} on the scale "{site.scale.name}", which ends at '
            f"{case.policy.value(limit)}",
            citations=case.policy.citations(limit),
        )


@wrong("correct the score or the site assessment", Citation("ins-phlebitis", "R2"), Citation("ins-infiltration", "M-H"))
def scale_without_its_signs(step: Step, event: ev.SiteSeen, case: Case) -> Iterable[Found]:
    """Finds a phlebitis score of 0 beside redness, or an infiltration score of 0 beside swelling.

    On these scales 0 means no sign at all: redness is at least grade 1 of phlebitis, swelling at least grade 1 of
    infiltration.
    """
    site = event.site
    if type(site) is not Site or site.scale is None or site.scale.score != 0:
        return
    limit = scale_limit(site.scale.name)
    sign = None
    if limit in ("phlebitis_grade", "vip_score") and site.erythema == "present":
        sign = "redness"
    elif limit == "infiltration_grade" and site.swelling == "present":
        sign = "swelling"
    if sign is not None:
        says = f'the score is 0 on the scale "{site.scale.name}", and {sign} is present, which scores at least 1'
        yield Found("site.scale.score", says)
