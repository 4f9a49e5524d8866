"""Blanks for exactly the facts that the check asks of an event, from the table of needs, in the order of the work."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Annotated, Any, Final, Literal, get_args, get_origin

from lda_notes.check.conditions import OF_PART, Need, named
from lda_notes.check.needs import NEEDS
from lda_notes.documents.blocks import Blanks
from lda_notes.documents.handoff.view import View
from lda_notes.knowledge.suitability import Use, suits
from lda_notes.narrative.facts import fields_at
from lda_notes.narrative.phrasing import printed
from lda_notes.record.events import KINDS
from lda_notes.record.parts import NotAssessed, NotDone

_MOST_CHOICES: Final = 8

ABOUT_THE_EPISODE: Final = frozenset(map(named, ("two_septa", "first_access", "injection_possible", "injected")))
"""Conditions that are known before the work begins, from the record so far."""

CONDITIONS: Final[Mapping[Callable[..., bool] | None, str]] = {
    named("in_trouble"): "if something is wrong",
    named("no_blood"): "if no blood came",
    named("blood"): "if blood came",
    named("needs_verifier"): "if new to the procedure",
    named("lock_due"): "if nothing runs and the needle stays in",
    named("stays_in"): "if the needle stays in",
    named("not_identified"): "unless charted at this visit",
    named("not_proved"): "unless confirmed at this visit",
    named("not_flushed"): "unless just flushed at this visit",
    named("not_locked"): "unless just locked at this visit",
    named("unlocked"): "if not locked",
    named("is_cream"): "for cream",
    named("is_injected"): "for an injection",
    named("is_spray"): "for a spray",
    named("has_heparin"): "for heparin",
    named("no_built_in_disc"): "if the dressing contains none",
    named("no_needle_follows"): "if no needle follows",
    named("has_redness"): "if there is redness",
    named("painful"): "if it hurts",
    named("several_attempts"): "after more than one attempt",
    named("not_whole"): "if not whole",
    named("discarded_some"): "if samples were drawn",
    named("old_lock_in"): "if the old lock must not be flushed in",
    named("return_present"): "if blood return is present",
}
"""Conditions that only the work itself decides, as the blank says them."""

_PLAIN: Final = frozenset({named("somebody_told")})
"""Conditions that the blank beside it says already: who was told is asked in the same row."""

ONLY_IF_CHARTED: Final = frozenset({named("signs_told"), named("despite_hold")})
"""Conditions of parts that are there or not; paper asks for them under problems."""


@dataclass(frozen=True, slots=True)
class Blank:
    """One blank: the need it is for, the conditions under which it is filled in, and how it is drawn."""

    need: Need
    conditions: tuple[str, ...]
    drawn: Blanks


def blanks(view: View, kind: str) -> tuple[Blank, ...]:
    """Return a blank for each fact that the check will ask of an event of ``kind``, given the record and the policy.

    A part whose facts have blanks of their own gets one only for the reason why it was not done.
    """
    left_out = {need.path[0] for need in NEEDS[kind] if need.when in ONLY_IF_CHARTED}
    needs = [need for need in NEEDS[kind] if need.path[0] not in left_out and _comes_up(need, view)]
    parents = {need.path[:-1] for need in needs} | {need.path[:-2] for need in needs if need.path[-2:-1] == ("*",)}
    return tuple(drawn for need in needs if (drawn := _blank(need, kind, view, need.path in parents)) is not None)


def _comes_up(need: Need, view: View) -> bool:
    if need.option is not None and view.policy.choice(need.option) != "yes":
        return False
    parent_option = _option_of_part(need)
    if parent_option is not None and view.policy.choice(parent_option) != "yes":
        return False
    stub: Any = SimpleNamespace(at=view.asof)
    if need.given is OF_PART["has_heparin"] and not any(_suits("lock", lock, view) for lock in _WITH_HEPARIN):
        return False
    if need.suits is not None and not need.suits(stub, view.timeline.episode, view.policy):
        return False
    return need.when not in ABOUT_THE_EPISODE or need.applies(stub, view.timeline.episode, view.policy)


def _option_of_part(need: Need) -> str | None:
    """Return the option of the part that a fact belongs to: no part, no fact."""
    for table in NEEDS.values():
        for other in table:
            if (
                other.option is not None
                and len(other.path) < len(need.path)
                and need.path[: len(other.path)] == other.path
            ):
                return other.option
    return None


def conditions(need: Need, kind: str) -> tuple[str, ...]:
    """Return when a fact of ``kind`` is asked for, in words, its part's conditions first; nothing when always."""
    parts = [other for other in NEEDS[kind] if need.path[: len(other.path)] == other.path]
    return tuple(dict.fromkeys(words for part in parts for words in _conditions(part)))


def _conditions(need: Need) -> Iterator[str]:
    for test in (need.when, need.given, need.visit):
        if test is not None and test not in ABOUT_THE_EPISODE | _PLAIN:
            yield CONDITIONS.get(test, "if it applies")


def _blank(need: Need, kind: str, view: View, parent: bool) -> Blank | None:
    keys = tuple(key for key in need.path if key != "*")
    field = fields_at(KINDS[kind], keys[:-1]).get(keys[-1])
    choices = tuple(dict.fromkeys(_choices(field.annotation))) if field is not None else ()
    if parent and not choices:
        return None
    if not parent and (len(choices) > _MOST_CHOICES or all(choice.startswith("not ") for choice in choices)):
        choices = ()  # a line has room for the answer, and for why there is none
    use = _USES.get(need.name)
    if use is not None:  # what is ruled out for this patient is offered on no sheet
        choices = tuple(choice for choice in choices if _suits(use, choice, view))
    if need.name == "septum":
        choices = view.timeline.episode.port.septa
    when = conditions(need, kind)
    letters = _letters(field.annotation) if field is not None else _LONG
    letters = min(letters, _FEW) if keys[-1] in ("credential", "id", "to") else letters
    title = field.title if field is not None and field.title else need.asks
    return Blank(need, when, Blanks(_label(need, title), ", ".join(when), choices, letters=letters))


_USES: Final[Mapping[str, Use]] = {
    "antisepsis.agent": "antiseptic",
    "anesthetic.agent": "anesthetic",
    "dressing.type": "dressing",
    "flushes.*.solution": "flush",
    "lock.drug": "lock",
}


def _suits(use: Use, what: str, view: View) -> bool:
    preservative = "benzyl alcohol" if "benzyl alcohol" in what else None
    return what in _WHY_NOT or suits(use, what, view.subject, view.policy, preservative=preservative).safe


_WITH_HEPARIN: Final = ("heparin", "taurolidine with citrate and heparin")
_WHY_NOT: Final = ("not assessed", "not done")
_LABELS: Final[Mapping[str, str]] = {
    "identifiers_checked": "Identified by",
    "treatment": "Thrombolytic that is checked: drug, dose, time put in",
    "problems.*.told.name": "Notified",
    "problems.*.told.credential": "Role",
    "problems.*.told_at": "Notified at",
    "teaching.about": "Taught about",
    "teaching.to": "Taught to",
    "charted_at": "Charted at",
    "by.name": "Nurse",
    "by.credential": "Credential",
    "by.id": "Staff identifier",
    "verified_by.name": "Verifier",
    "verified_by.credential": "Verifier's credential",
    "technique.masks": "Masks on all present",
    "extension_primed": "Extension primed with saline and clamped",
    "connections_secure": "Connections tight, clamps correct",
    "site.port": "Port on palpation",
    "blood_looks": "Appearance of the blood",
    "discard_method": "First aspirate was",
    "needle_wings": "Needle wings",
}
"""Labels of facts whose own names do not say whose they are."""
_UNIT: Final = re.compile(r", in ([^,?]+)\?$")


def _label(need: Need, title: str) -> str:
    """Return what the blank is called: the fact's name with its unit, shorter at the bedside than the question."""
    unit = _UNIT.search(need.asks)
    said = _LABELS.get(need.name, f"{title[:1].upper()}{title[1:]}")
    return f"{said}, {unit[1]}" if unit and need.name not in _LABELS else said


_LONG: Final = 24
_FEW: Final = 10
"""Letters of a credential, an identifier of staff, or who was taught."""


def _letters(annotation: Any) -> int:
    """Return about how many letters an answer takes: a number few, a time more, words most."""
    if isinstance(annotation, type):
        return 8 if issubclass(annotation, int | Decimal) else 14 if issubclass(annotation, date) else _LONG
    if get_origin(annotation) is Annotated:
        return _letters(get_args(annotation)[0])
    parts = [part for part in get_args(annotation) if part not in (type(None), NotAssessed, NotDone)]
    return max(map(_letters, parts), default=_LONG)


def _choices(annotation: Any) -> Iterator[str]:
    """Yield the answers that a field's annotation closes off: its words, yes and no, and the reasons why not."""
    if annotation is bool:
        yield from ("yes", "no")
    elif annotation is NotAssessed:
        yield "not assessed"
    elif annotation is NotDone:
        yield "not done"
    elif get_origin(annotation) is Literal:
        yield from (printed(value) for value in get_args(annotation) if isinstance(value, str))
    else:
        for part in get_args(annotation):
            if not isinstance(part, type) or part in (bool, NotAssessed, NotDone):
                yield from _choices(part)
