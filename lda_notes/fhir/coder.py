"""CodeableConcepts with a code of our own, under the facility's address, beside the verified codes of others."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from lda_notes.fhir.concepts import CONCEPTS, OUTSIDE_ALONE, codeable
from lda_notes.fhir.config import DrugCode
from lda_notes.fhir.elements import Json
from lda_notes.fhir.local import LOCAL, WORDS

_NONE: Final[Mapping[str, DrugCode]] = {}


class Coder:
    """Makes concepts of one code system. What it returns is shared: whoever changes it must copy it first."""

    __slots__ = ("_concepts", "_words", "system")

    def __init__(self, system: str) -> None:
        self.system = system
        self._concepts: dict[str, Json] = {}
        self._words: dict[str, Json] = {
            word: {"coding": [self._own(code)], "text": word} for word, code in WORDS.items()
        }

    def _own(self, code: str) -> Json:
        return {"system": self.system, "code": code, "display": LOCAL[code]}

    def concept(self, key: str) -> Json:
        """Return what a concept of the table says."""
        made = self._concepts.get(key)
        if made is None:
            made = self._concepts[key] = self.worded(key, CONCEPTS[key].text)
        return made

    def worded(self, key: str, text: str) -> Json:
        """Return what a concept says, in words that say more."""
        known = CONCEPTS[key]
        made = codeable(key, text)
        if known.use in OUTSIDE_ALONE and known.codes:
            return made
        return {"coding": [*made.get("coding", ()), self._own(known.local)], "text": text}

    def word(self, word: str) -> Json:
        """Return a word of the record's vocabularies; any other text has no code."""
        return self._words.get(word) or {"text": word}

    def drug(self, word: str, text: str, drugs: Mapping[str, DrugCode] = _NONE) -> Json:
        """Return a drug or solution by its word in records, called ``text``, with the facility's own code for it."""
        known = drugs.get(word)
        codings = [known.model_dump(exclude_none=True)] if known is not None else []
        if word in WORDS:
            codings.append(self._own(WORDS[word]))
        return {"coding": codings, "text": text} if codings else {"text": text}


@lru_cache(maxsize=8)
def coder(system: str) -> Coder:
    """Return the coder of a code system's address: the same one each time."""
    return Coder(system)
