"""How a fact is declared: its label, what it says, how it is asked, who asks for it and why."""

from __future__ import annotations

from typing import Any, Final, Literal, NamedTuple, TypedDict, Unpack

from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from lda_notes.knowledge.sources import Citation


class Model(BaseModel):
    """A frozen, closed part of a record: unknown keys are refused."""

    # Values are not cached: in a stream the cache would only fill, with what other patients' records said. Validators
    # are built at first use: that of the record contains all others, and is as a rule the only one that is used.
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, cache_strings="keys", defer_build=True)


Level = Literal["required", "recommended"]
"""How much a fact is needed: for want of a required one a reviewer would send the chart back."""


class Asked(NamedTuple):
    """How a fact is asked for, how much it is needed, by whom, and why.

    ``when``, ``given`` and ``suits`` name what decides that it is asked of an event at all, ``option`` a choice of the
    policy that must be "yes", ``reported`` what decides that the check reports its absence, nothing: always (see
    lda_notes/check/conditions.py). ``who`` says of a person what to call them and what is asked of them, with a
    question mark where the check does not report it.
    """

    asks: str
    level: Level
    citations: tuple[Citation, ...]
    why: str = ""
    when: str = ""
    given: str = ""
    option: str = ""
    suits: str = ""
    reported: str = ""
    who: str = ""


Question = tuple[str, *tuple[Citation, ...]]
"""A question and who asks it."""


def fact(label: str, says: str, *, renamed: str = "", **asked: Unpack[_Asking]) -> Any:
    """Declare an optional fact: ``label`` names it in lists of gaps, ``says`` explains it in the schema.

    What ``must`` be asked of it is required, what ``should`` be is recommended; what ``may`` be is asked at the bedside
    and on the worksheet, and its absence is not reported. For the rest see `Asked`. ``renamed`` is its key where it had
    another one in an earlier version of the layout: both are read for ever.
    """
    return _declared(Field(default=None, title=label, description=says, **_former(renamed)), asked)


def required(label: str, says: str, *, renamed: str = "", **asked: Unpack[_Asking]) -> Any:
    """Declare a fact without which the part cannot be placed at all."""
    return _declared(Field(title=label, description=says, **_former(renamed)), asked)


def several(label: str, says: str, **asked: Unpack[_Asking]) -> Any:
    """Declare a list of facts; an empty list says no more than a missing key."""
    return _declared(Field(default=(), title=label, description=says), asked)


class _Asking(TypedDict, total=False):
    must: Question
    should: Question
    may: Question
    why: str
    when: str
    given: str
    option: str
    suits: str
    reported: str
    who: str


_LEVELS: Final[dict[str, Level]] = {"must": "required", "should": "recommended", "may": "recommended"}


def _declared(field: Any, asked: Any) -> Any:
    for how, level in _LEVELS.items():
        if how in asked:
            question, *citations = asked.pop(how)
            unreported = {"reported": "never"} if how == "may" else {}
            field.metadata.append(Asked(question, level, tuple(citations), **unreported, **asked))
    return field


def asked_of(model: type[BaseModel], name: str) -> Asked | None:
    """Return how a fact of a model is asked for; None when it is not asked."""
    return next((mark for mark in model.model_fields[name].metadata if isinstance(mark, Asked)), None)


FORMER_KEYS: Final = {"anesthetic": "anaesthetic", "substance": "to"}
"""Keys of version 1 by the keys that stand in their place."""


def _former(key: str) -> dict[str, Any]:
    return {"validation_alias": AliasChoices(key, FORMER_KEYS[key])} if key else {}
