"""The known word most like a mistyped one, or what a word of the bedside is called here: hints, never read as answers.

What a nurse may type for a word and is read as that word is in `synonyms`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

SYNONYMS: Final[Mapping[str, tuple[str, ...]]] = {
    "absent": ("none",),
    "no": ("none", "intact"),
    "nil": ("none",),
    "neg": ("none",),
    "negative": ("none",),
    "not present": ("none",),
    "no blood return": ("none",),
    "yes": ("present",),
    "pos": ("present",),
    "positive": ("present",),
    "good": ("present", "tolerated well"),
    "brisk": ("present",),
    "slow": ("sluggish",),
    "partial": ("sluggish",),
    "free": ("none",),
    "easy": ("none",),
    "flushes freely": ("none",),
    "resistance": ("some",),
    "occluded": ("cannot flush",),
    "blocked": ("cannot flush",),
    "unable to flush": ("cannot flush",),
    "pulsatile": ("push-pause",),
    "clean": ("intact",),
    "clear": ("intact", "clear", "none"),
    "cdi": ("intact",),
    "wet": ("damp",),
    "lifting": ("loose",),
    "peeling": ("loose",),
    "pus": ("purulent",),
    "bloody drainage": ("bloody",),
    "serous": ("clear",),
    "red": ("present",),
    "reddened": ("present", "irritated"),
    "redness": ("present", "irritated"),
    "chg": ("chlorhexidine", "chlorhexidine in alcohol"),
    "chlorhexidine gluconate": ("chlorhexidine", "chlorhexidine in alcohol"),
    "chlorhexidine": ("chlorhexidine", "chlorhexidine in alcohol"),
    "povidone": ("povidone-iodine",),
    "pvp-i": ("povidone-iodine",),
    "alcohol": ("isopropyl alcohol", "70% isopropyl alcohol"),
    "ipa": ("isopropyl alcohol", "70% isopropyl alcohol"),
    "tape": ("adhesive",),
    "plaster": ("adhesive",),
    "rubber": ("latex",),
    "contrast": ("contrast medium",),
    "dye": ("contrast medium",),
    "seafood": ("shellfish",),
    "tpa": ("alteplase",),
    "t-pa": ("alteplase",),
    "rt-pa": ("alteplase",),
    "ns": ("0.9% sodium chloride",),
    "nss": ("0.9% sodium chloride",),
    "saline": ("0.9% sodium chloride",),
    "normal saline": ("0.9% sodium chloride",),
    "d5w": ("5% dextrose",),
    "hit": ("heparin-induced thrombocytopenia",),
    "hitt": ("heparin-induced thrombocytopenia",),
    "g6pd": ("G6PD deficiency",),
    "premature": ("premature birth",),
    "preterm": ("premature birth",),
    "prematurity": ("premature birth",),
    "rt": ("right",),
    "lt": ("left",),
    "r": ("right",),
    "l": ("left",),
    "deaccess": ("de-access",),
    "cleared": ("cleared for use",),
    "on hold": ("remains on hold",),
    "dob": ("birth date",),
    "date of birth": ("birth date",),
    "mrn": ("record number",),
}
"""Words that nurses write, each with the words of the layout that it may mean. Common practice, no source."""

NO_KNOWN_ALLERGIES: Final = frozenset({"nkda", "nka", "nkfa", "nkma", "none", "none known", "no known allergies"})
"""Written where allergies stand. Most of them speak of drugs alone: whether latex, adhesive and antiseptics were asked
about, only the writer knows."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that ``word`` stands for or is most like, if there is one."""
    from difflib import get_close_matches

    words = list(known)
    plain = " ".join(word[:100].lower().replace("_", " ").split())
    said = [meant for meant in SYNONYMS.get(plain, ()) if meant in words]
    if said:
        return said[0]
    same = [each for each in words if each.lower() == plain]
    close = same or get_close_matches(word[:100], words, n=1, cutoff=0.6)
    return close[0] if close else None
