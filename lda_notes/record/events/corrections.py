"""Corrections: what a later entry adds, replaces or takes out of view, and co-signatures."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from lda_notes.knowledge.askers import AHIMA, CP, REVISION
from lda_notes.record import vocabulary as words
from lda_notes.record.events.shapes import Correcting
from lda_notes.record.parts import Text, fact, required


class Addendum(Correcting, rank=160, asks="of text reason by"):
    """Adds omitted facts to an event; nothing recorded changes."""

    kind: Literal["addendum"]
    adds: dict[str, Any] = Field(
        default_factory=dict, title="added facts", description="Facts of the event that were left out, by key."
    )
    text: Text | None = fact(
        "added text",
        "What is added, in the nurse's own words.",
        must=("What is added?", AHIMA, REVISION),
        why="An addendum that adds nothing leaves the reader to guess what was left out.",
        when="adds_nothing",
    )


class Amendment(Correcting, rank=170, asks="of sets reason by"):
    """Replaces wrong facts of an event after signing; the original stays readable."""

    kind: Literal["amendment"]
    sets: dict[str, Any] = required(
        "corrected facts", "The right facts, by key.", must=("What is right?", AHIMA, REVISION)
    )


class Retraction(Correcting, rank=180, asks="of reason by"):
    """Takes a wrong entry out of view, such as one made on the wrong patient."""

    kind: Literal["retraction"]


class CoSignature(Correcting, rank=190, asks="of role by"):
    """A second person signs for an entry; nothing recorded changes. ``by`` is the co-signer."""

    kind: Literal["co-signature"]
    role: words.CoSigner | None = fact(
        "role of the co-signer",
        "preceptor, instructor or second nurse.",
        must=("As what: preceptor, instructor or second nurse?", CP),
        why="A preceptor answers for a student, a second nurse for a double check.",
    )
