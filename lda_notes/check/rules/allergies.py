"""The patient's allergies against what was used."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, gap, unsafe
from lda_notes.check.rules.supplies_used import Unsuited, against, enter_unsuited, subject_at, supplies_used
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.knowledge.supplies import CONTAINS, contains
from lda_notes.line.against import adhesive_against
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient
from lda_notes.record.parts import Dressing, Needle

_INS: Final = Citation("ins-2021", "M-H")
_OPEN_RN: Final = Citation("open-rn", "R")
_NAMEABLE: Final = frozenset(allergen for inside in CONTAINS.values() for allergen in inside)
"""Allergens that the table of contents knows."""
_NUMBING: Final = frozenset({"lidocaine", "prilocaine"})


def _known(case: Case, entry: Entry) -> frozenset[str]:
    """Return the allergies that were known at an event."""
    return subject_at(case, entry).allergies


def _ever(case: Case) -> frozenset[str]:
    """Return every allergy that is or was on record; most records have none, which ends most rules at once."""
    return case.once(_gathered)


def _gathered(case: Case) -> frozenset[str]:
    return frozenset(one.substance for known in case.timeline.known for one in known.patient.allergies or ())


_NAMED: Final = "{said} {contains}, and the allergies name {allergen}"
_TABLE: Final = (
    # rule, message, what to do, what is checked, why it matters, what else to do, sources, limits
    Unsuited(
        "chlorhexidine-allergy",
        _NAMED,
        "take it off the skin and rinse, use povidone-iodine or 70% isopropyl alcohol with its own times, watch for a "
        "reaction and notify the prescriber",
        "Finds chlorhexidine in skin antisepsis, dressing, disc or other supply of a patient allergic to it.",
        "Allergy to chlorhexidine is rare but can kill within minutes; the FDA counted 52 anaphylactic reactions, "
        "two of them fatal. Dressings and discs contain it, not only swabs.",
        "70% isopropyl alcohol takes a minute of friction; the dressing must be without chlorhexidine too.",
        cites=(
            Citation("fda-chg-2017", "R2"),
            Citation("fda-chg-1998", "R2"),
            Citation("nova-scotia", "R", "alternatives"),
            Citation("royal-cornwall", "R2", "alternatives"),
        ),
    ),
    Unsuited(
        "iodine-allergy",
        _NAMED,
        "use an antiseptic without iodine, watch for a reaction and notify the prescriber",
        "Finds an iodine antiseptic on a patient recorded as allergic to iodine.",
        "A reaction to an iodine antiseptic is a reason to avoid it. A reaction to shellfish or to contrast medium "
        "is not: those allergies are not reported.",
        "Use chlorhexidine or 70% isopropyl alcohol, and ask what the recorded allergy really was.",
        cites=(Citation("aaaai-iodine", "M-H"),),
    ),
    Unsuited(
        "isopropyl-alcohol-allergy",
        _NAMED,
        "use a product without isopropyl alcohol, and watch the skin",
        "Finds isopropyl alcohol, alone, with chlorhexidine or in a cap, used on a patient allergic to it.",
        "Most chlorhexidine swabs contain isopropyl alcohol, which the name in the record shows and a glance at the "
        "swab does not.",
        "Use an aqueous antiseptic.",
        cites=(COMMON_PRACTICE,),
    ),
    Unsuited(
        "heparin-allergy",
        _NAMED,
        "lock and flush with saline, take off anything coated with heparin, and notify the prescriber",
        "Finds heparin in flush, lock or another supply of a patient recorded as allergic to it.",
        "Even the small amount of heparin in a lock is enough for a reaction. Taurolidine locks may contain heparin "
        "too.",
        "Use 0.9% sodium chloride, or what the prescriber orders instead.",
        cites=(Citation("heparin-lock-label", "M-H"),),
    ),
    Unsuited(
        "vapocoolant-allergy",
        _NAMED,
        "use another way to numb the skin",
        "Finds cold spray used on a patient allergic to it.",
        "The label names hypersensitivity to the spray as a reason not to use it.",
        cites=(Citation("vapocoolant-label", "M-M"),),
    ),
    Unsuited(
        "alteplase-allergy",
        _NAMED,
        "aspirate the drug at once, watch for a reaction and notify the prescriber",
        "Finds alteplase put into the line of a patient allergic to it.",
        "Known hypersensitivity to alteplase is a contraindication.",
        cites=(Citation("alteplase-label", "M-H", "contraindications"),),
    ),
    Unsuited(
        "benzyl-alcohol-allergy",
        _NAMED,
        "use preservative-free saline or heparin",
        "Finds saline or heparin preserved with benzyl alcohol used on a patient allergic to it.",
        "Multidose vials contain a preservative, single-dose syringes do not; the label tells.",
        cites=(Citation("heparin-lock-label", "R2"),),
    ),
)
enter_unsuited(__name__, _TABLE)


@advice("put a barrier film under the dressing or use a gentler one, and chart the skin under it", _INS)
def adhesive_allergy(case: Case) -> Iterable[Found]:
    """Finds an adhesive dressing on a patient whose skin does not tolerate adhesive.

    Adhesive can blister and strip the skin. A needle must still be secured and covered, so an adhesive dressing is not
    ruled out; a barrier film under it is enough for a sensitivity. An allergic reaction is still a finding.

    Look at the skin at each change.
    """
    for one in against(case, "adhesive", "adhesive"):
        event = one.used.entry.event
        film = getattr(event.__dict__.get("dressing"), "barrier_film", None) is True
        if adhesive_against(case.timeline.patient_at(event.at), film):
            yield one.found(f"{one.used.said} is held on by adhesive, and the allergies name adhesive")


@unsafe(
    "take the cream off, use no lidocaine or prilocaine, and notify the prescriber",
    Citation("cream-label", "R2", "contraindications"),
)
def anesthetic_allergy(case: Case) -> Iterable[Found]:
    """Finds lidocaine or prilocaine, as cream or into the skin, on a patient allergic to one of them.

    Both belong to one family, and a patient who reacts to one may react to the other.

    Watch for a reaction; cold spray is another way to numb the skin.
    """
    seen: set[tuple[str, tuple[str | int, ...]]] = set()
    for one in against(case, "allergy"):
        used, inside = one.used, (contains(one.used.words) or frozenset()) & _NUMBING
        named = sorted(one.who.allergies & _NUMBING)
        if inside and named and (used.entry.event.id, used.keys) not in seen:
            seen.add((used.entry.event.id, used.keys))
            yield one.found(
                f"{used.said} contains {' and '.join(sorted(inside))}, and the allergies name {' and '.join(named)}"
            )


@unsafe("look up what the supply contains before it is used again, and ask the prescriber", _OPEN_RN)
def other_allergy(case: Case) -> Iterable[Found]:
    """Finds an allergen recorded in free text that appears in the name of a supply that was used.

    Allergens outside the list cannot be looked up, but a supply whose name contains the same word was used on a patient
    recorded as allergic to it.
    """
    if "other" not in _ever(case):
        return
    for used in supplies_used(case.entries):
        details = _own_words(case.timeline.patient_at(used.entry.event.at))
        longest = max(map(len, details), default=0)
        for run in _runs(_WORD.findall(used.words.casefold()), longest):
            if run in details:
                yield Found(used.keys, f'"{used.words}" is used, and the allergies name "{details[run]}"', used.entry)


_WORD: Final = re.compile(r"\w+")


def _own_words(patient: Patient) -> dict[tuple[str, ...], str]:
    """Return the allergens that the record names in its own words, by these words."""
    found = {
        tuple(_WORD.findall(allergy.detail.casefold())): allergy.detail
        for allergy in patient.allergies or ()
        if allergy.substance == "other" and allergy.detail is not None
    }
    found.pop((), None)
    return found


def _runs(words: list[str], longest: int) -> Iterator[tuple[str, ...]]:
    """Yield every run of up to ``longest`` neighboring words."""
    for start in range(len(words)):
        for end in range(start + 1, min(start + longest, len(words)) + 1):
            yield tuple(words[start:end])


_LATEX: Final = (Citation("latex-801-437", "M-H"), Citation("latex-ifu", "R2"))


def _latex_labels(entry: Entry) -> Iterator[tuple[str, tuple[str | int, ...], bool | None]]:
    """Yield what the labels say of latex: the supply, its place in the event, yes, no or not recorded."""
    event = entry.event
    if isinstance(event, ev.Access | ev.ArrivalAccessed) and isinstance(event.needle, Needle):
        yield "needle", ("needle",), event.needle.latex
    if isinstance(event, ev.Dressed | ev.ArrivalAccessed) and isinstance(event.dressing, Dressing):
        yield "dressing", ("dressing",), event.dressing.latex
    if isinstance(event, ev.CareEvent):
        for position, supply in enumerate(event.supplies):
            yield f'"{supply.name}"', ("supplies", position), supply.latex


@unsafe("remove it, use one labeled as free of latex, and watch for a reaction", *_LATEX)
def latex_allergy(case: Case) -> Iterable[Found]:
    """Finds a supply whose label says that it contains natural rubber latex, used on a patient allergic to it.

    The US requires the statement on the label of every device that contains natural rubber latex.
    """
    if "latex" not in _ever(case):
        return
    for entry in case.entries:
        for what, keys, latex in _latex_labels(entry):
            if latex and "latex" in _known(case, entry):
                says = f"the label of the {what} says that it contains latex, and the allergies name latex"
                yield Found((*keys, "latex"), says, entry)


@gap("read the label for its latex statement and record it", *_LATEX)
def latex_label_unread(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds a needle used on a patient allergic to latex without a record of what its label says about latex.

    Needle sets and their tubing may contain latex; only the label tells.
    """
    needle = event.needle
    if "latex" not in _ever(case) or type(needle) is not Needle or needle.latex is not None:
        return
    if "latex" in _known(case, step.entry):
        says = "the allergies name latex, and what the needle's label says of latex is not recorded"
        yield Found("needle", says, lacks=("needle.latex",))


@advice("read on its label what the supply contains, and compare it with the allergies", _OPEN_RN)
def supply_not_checked(case: Case) -> Iterable[Found]:
    """Names the supplies whose contents are not known here, for a patient with allergies that a supply may contain.

    The check knows the contents of the supplies in its own lists. A supply under any other name was not compared with
    the allergies, and that must be stated.
    """
    if not _ever(case) & _NAMEABLE:
        return
    seen: set[str] = set()
    for used in supplies_used(case.entries):
        allergens = _known(case, used.entry) & _NAMEABLE
        if allergens and used.words not in seen and contains(used.words) is None:
            seen.add(used.words)
            yield Found(
                used.keys,
                f'what "{used.words}" contains is not known here; it was not compared with the allergies to '
                f"{', '.join(sorted(allergens))}",
                used.entry,
            )
