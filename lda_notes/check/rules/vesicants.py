"""Vesicants: which drug is one, and what must be seen before it is given."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, unsafe, wrong
from lda_notes.knowledge import vesicants
from lda_notes.knowledge.sources import Citation
from lda_notes.record import events as ev

_ONS: Final = Citation("ons", "R")


@unsafe("stop the drug, aspirate what can be aspirated, and notify the prescriber at once", _ONS)
def vesicant_without_blood_return(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a vesicant given while blood return was none, sluggish or not assessed.

    Blood return is the only proof at the bedside that the needle lies in the reservoir and the catheter in the vein. A
    vesicant beside them destroys tissue.

    Give no vesicant without free blood return. If it was given, follow the extravasation protocol.
    """
    if event.vesicant is not True or event.action == "stopped":
        return
    before = event.blood_return_before
    if before is None:
        before = event.blood_return
    if before is None or before == "present":
        return
    said = "blood return not assessed"
    if isinstance(before, str):
        said = f"{'no' if before == 'none' else before} blood return"
    says = f"a vesicant was given with {said}; it must be present"
    yield Found("blood_return_before" if event.blood_return_before is not None else "blood_return", says)


@wrong("read the product's label again, and record whether it is a vesicant", vesicants.SOURCE)
def vesicant_not_flagged(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a well-known vesicant by name whose entry does not say that it is one, or says that it is not.

    What is asked before a vesicant is given depends on that answer. A liposomal form is a different product and is not
    meant.

    The product may also be named as on its label.
    """
    drug = vesicants.named(event.what, event.product)
    if drug is None or event.vesicant is True:
        return
    if event.vesicant is False:
        yield Found("vesicant", f"{drug} is a vesicant, and the entry says that it is not one")
    else:
        yield Found(
            "what", f"{drug} is a vesicant, and whether it is one is not recorded", lacks=("vesicant",), severity="gap"
        )
