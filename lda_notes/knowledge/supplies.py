"""The label of a supply (device identifier, lot, expiry), and its materials, for the allergy check."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import Final

from lda_notes.udi import SEPARATOR, SHOWN_SEPARATOR, DeviceIdentifier, Issuer, Refused, ScanFault, shown

__all__ = ["CONTAINS", "DeviceIdentifier", "Issuer", "ScanFault", "contains", "parse"]

_LONGEST: Final = 400
_SYMBOLOGY: Final = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_SPELLED: Final = str.maketrans({SHOWN_SEPARATOR: SEPARATOR, "\N{NO-BREAK SPACE}": " ", "\N{BOM}": ""})


def parse(text: str, today: date) -> DeviceIdentifier | ScanFault:
    """Read a device identifier as scanned or typed; what cannot be read comes back as a fault, never as an error.

    Takes GS1 in brackets, braces or raw with separators, HIBC and ISBT 128, each with or without the symbology
    prefix that scanners send; a label whose identifier is spread over several bar codes is given as one row each.
    ``today`` decides the century of two-digit years. GS1 in brackets and HIBC are read without heavy imports;
    raw GS1 scans, and GS1 parts that supply labels rarely carry, import biip, which takes about 90 ms once.
    """
    try:
        return _read(text, today)
    except Refused as refused:
        return refused.fault


def _read(text: str, today: date) -> DeviceIdentifier:
    if len(text) > _LONGEST:
        raise Refused(
            f"The text has {len(text)} characters; a device identifier has at most {_LONGEST}.", "Scan one label only."
        )
    rows = [row for row in re.split(r"[\r\n]+", text.translate(_SPELLED)) if row.strip()]
    rows = [_SYMBOLOGY.sub("", row.lstrip(" \t"), count=1) if row.lstrip().startswith("]") else row for row in rows]
    rows = [row for row in rows if row.strip()]
    if not rows:
        raise Refused("The device identifier is empty.", "Scan or type it from the label.")
    strange = [c for row in rows for c in row if not (" " <= c <= "~" or c in (SEPARATOR, "\t"))]
    if strange:
        raise Refused(
            f"The device identifier holds the character {shown(strange[0])}; only plain letters, digits and signs were "
            "expected.",
            "Scan it again, or type it from the label.",
        )
    first = rows[0].lstrip(" \t" + SEPARATOR)
    if first.startswith(("+", "*+")):
        from lda_notes.udi import hibc

        return hibc.read(rows, today)
    if first.startswith(("=", "&")):
        from lda_notes.udi import isbt128

        return isbt128.read("".join(rows))
    if first[:1] in ("(", "{") or first[:1].isdigit():
        from lda_notes.udi import gs1

        return gs1.read(rows, today)
    raise Refused(
        f"The text begins with {shown(first[:8])}; a device identifier begins with (01) or digits for GS1, with a plus "
        "sign for HIBC, or with an equals sign for ISBT 128.",
        "Scan the bar code beside the letters UDI on the label.",
    )


_ALCOHOLIC_CHLORHEXIDINE: Final = frozenset({"chlorhexidine", "isopropyl alcohol"})

CONTAINS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        # Skin antiseptics. Iodine tincture is iodine in ethanol (USP, from memory): no isopropyl alcohol.
        "chlorhexidine in alcohol": _ALCOHOLIC_CHLORHEXIDINE,
        "aqueous chlorhexidine": frozenset({"chlorhexidine"}),
        "povidone-iodine": frozenset({"iodine"}),
        "iodine tincture": frozenset({"iodine"}),
        "70% isopropyl alcohol": frozenset({"isopropyl alcohol"}),
        # Dressings. Gauze and wings are held by tape or film (common practice, no source): adhesive.
        "transparent": frozenset({"adhesive"}),
        "transparent with chlorhexidine": frozenset({"adhesive", "chlorhexidine"}),
        "gauze": frozenset({"adhesive"}),
        "gauze under transparent": frozenset({"adhesive"}),
        "gauze under wings": frozenset({"adhesive"}),
        "chlorhexidine disc": frozenset({"chlorhexidine"}),
        "disinfecting cap": frozenset({"isopropyl alcohol"}),
        "tape": frozenset({"adhesive"}),
        # Anesthetics.
        "lidocaine 2.5% with prilocaine 2.5% cream": frozenset({"lidocaine", "prilocaine"}),
        "lidocaine 4% cream": frozenset({"lidocaine"}),
        "intradermal lidocaine": frozenset({"lidocaine"}),
        "intradermal lidocaine 1%": frozenset({"lidocaine"}),
        "vapocoolant spray": frozenset({"vapocoolant"}),
        # Flushes, locks and thrombolytics. Multi-dose vials may add benzyl alcohol: the record says so apart.
        "0.9% sodium chloride": frozenset(),
        "0.9% sodium chloride with benzyl alcohol": frozenset({"benzyl alcohol"}),
        "5% dextrose": frozenset(),
        "heparin": frozenset({"heparin"}),
        "heparin with benzyl alcohol": frozenset({"heparin", "benzyl alcohol"}),
        "taurolidine with citrate": frozenset(),
        "taurolidine with heparin": frozenset({"heparin"}),
        "taurolidine with citrate and heparin": frozenset({"heparin"}),
        "citrate": frozenset(),
        "4% citrate": frozenset(),
        "70% ethanol": frozenset(),
        "alteplase": frozenset({"alteplase"}),
        "urokinase": frozenset(),
        "benzyl alcohol": frozenset({"benzyl alcohol"}),
        "none": frozenset(),
        "parabens": frozenset(),
    }
)
"""From the words of the record to the allergens they contain; an empty set means that none of the allergens the record
can name is in it. Contents follow from the names of the preparations; what does not is marked beside its row."""


def contains(supply: str) -> frozenset[str] | None:
    """Give the allergens in a supply named in the record's words, or None when the supply is not known here.

    None is not "nothing": the caller must say that the supply could not be checked against the allergies.
    """
    return CONTAINS.get(" ".join(supply.split()).casefold())
