"""The code system of our own: every concept and every word that records may say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final, Literal, get_args, get_origin

from lda_notes.fhir.concepts import CONCEPTS, slug
from lda_notes.record import vocabulary
from lda_notes.record.events import KINDS
from lda_notes.record.exchange import members


def _vocabulary() -> Iterator[str]:
    """Yield every word of the closed vocabularies of records."""
    for name, words in vars(vocabulary).items():
        if not name.startswith("_") and get_origin(words) is Literal:
            yield from get_args(words)
    for kind in KINDS.values():
        for field in kind.model_fields.values():
            for member in members(field.annotation):
                if get_origin(member) is Literal and field.title is not None:
                    yield from get_args(member)
    yield from ("dry", "moist")  # of Antisepsis.skin, whose pattern has no list


WORDS: Final[Mapping[str, str]] = MappingProxyType({word: f"word.{slug(word)}" for word in _vocabulary()})
"""The code of every word that records may say, in the code system of our own."""

DRUGS: Final = frozenset(
    WORDS[word]
    for names in (
        vocabulary.FlushSolution,
        vocabulary.LockDrug,
        vocabulary.AnestheticAgent,
        vocabulary.ThrombolyticDrug,
    )
    for word in get_args(names)
)
"""The codes of drugs and solutions: a facility may put its own code beside them."""

LOCAL: Final[Mapping[str, str]] = MappingProxyType(
    {concept.local: concept.text for concept in CONCEPTS.values()} | {code: word for word, code in WORDS.items()}
)
"""Every code of our own with its display: concepts and words; none can be forgotten, since these tables are all."""
