"""How a fact goes to other programs, in neutral words: its form, its unit and what it is called, from its declaration.

No standard is named here. The rooms that speak one choose their elements by these words.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from types import UnionType
from typing import Annotated, Any, Final, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import AwareDatetime

from lda_notes.record.parts import Model, NotAssessed, NotDone, Person

Form = Literal["word", "words", "yes", "text", "texts", "whole", "moment", "day", "quantity", "person", "absence"]
"""The form of a fact.

``word``, ``words``: of a closed vocabulary, one or several. ``text``, ``texts``: own words. ``yes``: yes or no.
``whole``: a whole number. ``moment``, ``day``: a time. ``quantity``: a number with a unit. ``person``: somebody.
``absence``: only why it is not known; the value itself goes another way.
"""

_UNITS: Final = (
    ("_ml_per_s", "mL/s"),
    ("_10e9_per_l", "10*9/L"),
    ("_psi", "[psi]"),
    ("_ml", "mL"),
    ("_mm", "mm"),
    ("_kg", "kg"),
    ("_s", "s"),
    ("_c", "Cel"),
)
"""Unit (UCUM) of a quantity by the end of its key."""

_FORMS: Final[dict[Any, Form]] = {
    bool: "yes",
    int: "whole",
    Decimal: "quantity",
    AwareDatetime: "moment",
    datetime: "moment",
    date: "day",
    str: "text",
}


class Said(NamedTuple):
    """One fact as it is exchanged: ``path`` leads to it inside its part, ``label`` is what it is called."""

    path: tuple[str, ...]
    label: str
    form: Form
    unit: str


def members(annotation: Any) -> Iterator[Any]:
    """Yield what a value may be, unions taken apart and marks taken off; None is left out."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from members(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for member in get_args(annotation):
            yield from members(member)
    elif annotation is not type(None):
        yield annotation


def part_of(annotation: Any) -> tuple[type[Model] | None, bool]:
    """Return the class of the part that a field contains, if any, and whether it is a list of them."""
    for member in members(annotation):
        listed = get_origin(member) is tuple
        for inner in members(get_args(member)[0]) if listed else (member,):
            if isinstance(inner, type) and issubclass(inner, Model) and inner not in (NotAssessed, NotDone, Person):
                return inner, listed
    return None, False


def form_of(annotation: Any) -> Form:
    """Return the form of a fact that contains no facts of its own. Raises `TypeError` for any other."""
    for member in members(annotation):
        if member is Person:
            return "person"
        if get_origin(member) is Literal:
            return "word"
        if get_origin(member) is tuple:
            return "words" if form_of(get_args(member)[0]) == "word" else "texts"
        if member in _FORMS:
            return _FORMS[member]
    raise TypeError(f"no form for {annotation}")


def unit_of(name: str) -> str:
    """Return the unit (UCUM) of a quantity by its key. Raises `KeyError` for a key that names none."""
    for end, unit in _UNITS:
        if name.endswith(end):
            return unit
    raise KeyError(name)


def said(model: type[Model], name: str) -> Said:
    """Return how one field of a model is exchanged; it must not contain facts of its own."""
    field = model.model_fields[name]
    form = form_of(field.annotation)
    return Said((name,), str(field.title), form, unit_of(name) if form == "quantity" else "")


def said_of_part(part: type[Model]) -> Iterator[Said]:
    """Yield how the facts of a part are exchanged, those of parts within it too."""
    for name, field in part.model_fields.items():
        inner, listed = part_of(field.annotation)
        if inner is None:
            yield said(part, name)
        elif not listed:
            yield from (said(inner, key)._replace(path=(name, key)) for key in inner.model_fields)
