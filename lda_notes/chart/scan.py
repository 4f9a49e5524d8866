"""A label scanned or typed at a question: what its device identifier says of the supply, in plain words."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Final

from lda_notes.chart.heard import Heard, Unclear
from lda_notes.chart.times import Frame
from lda_notes.knowledge import supplies
from lda_notes.knowledge.supplies import ScanFault
from lda_notes.narrative import phrasing
from lda_notes.problems import Path

_LABEL: Final = re.compile(r"(?:\][A-Za-z]\d)?(?:[({]\d{2,4}[)}]|\*?\+(?=.*[A-Z])[A-Z0-9].{5,}|=[/,>]|\d{16,})")


def looks_like_label(text: str) -> bool:
    """Tell whether a text begins as a device identifier does, so that it is no answer and no command."""
    return bool(_LABEL.match(text.strip()))


def read(text: str, part: Path, frame: Frame, takes: Callable[[Path], bool]) -> Heard | Unclear:
    """Return the facts that a label gives about ``part``; ``takes`` tells which facts the part can hold.

    An expired label is read and says so: if the supply was used, that is a fact; a label that cannot be read is not.
    """
    here = frame.now.astimezone(frame.zone)
    label = supplies.parse(text, here.date())
    if isinstance(label, ScanFault):
        return Unclear(f"The label was not read. {label.message} {label.todo}")
    found: list[tuple[str, Any]] = [("udi", label.carrier), ("lot", label.lot)]
    found.append(("expires", label.expires.isoformat() if label.expires else None))
    # What the label does not carry is taken out: it would be left from another label scanned before.
    facts = tuple(((*part, key), value) for key, value in found if takes((*part, key)))
    if all(value is None for _, value in facts):
        return Unclear("That label says nothing that is recorded of this supply. Answer the question.")
    said = [f"product {label.device}"]
    said.append(f"lot {label.lot}" if label.lot else "no lot on it")
    if label.expires is None:
        said.append("no expiry on it")
    elif label.expired(here):
        said.append(f"EXPIRED on {phrasing.day(label.expires)}: do not use it")
    else:
        said.append(f"usable until {phrasing.day(label.expires)}")
    return Heard(facts, ", ".join((*said, *(note.rstrip(".") for note in label.notes))))
