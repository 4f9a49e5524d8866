"""The well-known vesicants by name: what a record that calls a drug no vesicant is compared with."""

from __future__ import annotations

import re
from typing import Final

from lda_notes.knowledge.sources import Citation

SOURCE: Final = Citation("vesicant-lists", "M-H")

_TABLE: Final = """
amsacrine dactinomycin daunorubicin doxorubicin epirubicin idarubicin mechlorethamine mitomycin streptozocin
trabectedin vinblastine vincristine vindesine vinorelbine norepinephrine phenytoin promethazine vasopressin
"""
_NAMES: Final = frozenset(_TABLE.split())
_LIPOSOMAL: Final = re.compile(r"liposom", re.IGNORECASE)
_WORD: Final = re.compile(r"[a-z]+")


def named(*texts: str | None) -> str | None:
    """Return the well-known vesicant that one of ``texts`` names; a liposomal form is a product of its own."""
    for text in texts:
        if text and not _LIPOSOMAL.search(" ".join(filter(None, texts))):
            found = sorted(_NAMES.intersection(_WORD.findall(text.casefold())))
            if found:
                return found[0]
    return None
