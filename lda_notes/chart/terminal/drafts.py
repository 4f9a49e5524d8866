"""Drafts: answers kept private in the user's state folder until they are signed, under a name that reveals nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

from lda_notes.chart.answers.answered import Answered
from lda_notes.files.system import own_folder
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure
from lda_notes.record.events import KINDS

_VERSION: Final = 1

VISIT: Final = "visit"
"""The subject of a draft of a whole visit."""


class Draft(NamedTuple):
    """Answers given so far. ``signed`` is the event once it was signed, until it is known to be written.

    ``record``, ``about`` and ``by`` say where it will be written, what is charted, and who charts; empty while unknown.
    """

    event_id: str
    began: datetime
    answered: tuple[Answered, ...] = ()
    signed: Mapping[str, Any] | None = None
    record: str = ""
    about: str = ""
    by: str = ""


def folder(environment: Mapping[str, str]) -> Path:
    """Return the folder of drafts: under XDG_STATE_HOME, else under .local/state in the home folder."""
    return own_folder(environment, "XDG_STATE_HOME", ".local/state", "drafts") / "drafts"


def place(drafts: Path, record: Path, about: str) -> Path:
    """Return where the draft of what is charted ``about`` a record lies; its name shows neither."""
    name = hashlib.sha256(f"{record.resolve()}\0{about}".encode(errors="surrogateescape")).hexdigest()[:32]
    return drafts / f"{name}.json"


_BUSY: Final = "the same entry is being charted in another of your windows; finish it there"


@contextmanager
def held(at: Path) -> Iterator[None]:
    """Keep a draft to one session. Raises `Failure` when another one is at it, or the folder cannot be used."""
    from lda_notes.files.locks import locked  # here, since `check` reads drafts and locks nothing

    try:
        at.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise Failure(f"{at.parent}: drafts cannot be kept there ({error.strerror}); set XDG_STATE_HOME") from None
    with locked(at, patience_s=0, busy=_BUSY):
        yield


def save(at: Path, draft: Draft) -> None:
    """Write the draft, whole, readable by its owner alone."""
    from lda_notes.files.output import write_private  # here, since `check` reads drafts and writes none

    data = {
        "version": _VERSION,
        "event": draft.event_id,
        "began": draft.began.isoformat(),
        "answered": [
            {"question": one.question, "facts": [[list(path), value] for path, value in one.facts], "said": one.said}
            for one in draft.answered
        ],
        "signed": draft.signed,
        "record": draft.record,
        "about": draft.about,
        "by": draft.by,
    }
    write_private(at, json.dumps(data, ensure_ascii=False).encode())


def load(at: Path) -> Draft | None:
    """Return the draft kept there; None when there is none, or none that this version can read."""
    try:
        data = json.loads(at.read_bytes())
        answered = tuple(
            Answered(one["question"], tuple((tuple(path), value) for path, value in one["facts"]), one["said"])
            for one in data["answered"]
        )
        if data["version"] == _VERSION:
            whose = (str(data.get(key, "")) for key in ("record", "about", "by"))
            return Draft(data["event"], datetime.fromisoformat(data["began"]), answered, data["signed"], *whose)
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None


def discard(at: Path) -> None:
    """Take a draft away."""
    with suppress(FileNotFoundError):
        at.unlink()


def unsigned(environment: Mapping[str, str]) -> dict[Path, tuple[Draft, ...]]:
    """Return what was begun on this login and not signed, by the whole path of its record: entries and corrections."""
    try:
        kept = sorted(folder(environment).glob("*.json"))
    except (Failure, OSError):
        return {}
    begun: dict[Path, tuple[Draft, ...]] = {}
    for draft in sorted(filter(None, map(load, kept)), key=lambda one: one.began):
        if draft.record and draft.answered and draft.signed is None:
            begun[Path(draft.record)] = (*begun.get(Path(draft.record), ()), draft)
    return begun


def said(draft: Draft) -> str:
    """Return what was begun, by whom: ``access by Marisol Tamm, 12 answers``."""
    by = f" by {draft.by}" if draft.by else ""
    return f"{draft.about}{by}, {phrasing.count(len(draft.answered), 'answer')}"


def reminders(environment: Mapping[str, str], records: Iterable[Path]) -> Iterator[str]:
    """Yield a sentence for each entry of the records that was begun on this login and not signed."""
    begun = unsigned(environment)
    for record in records if begun else ():
        for draft in begun.get(record.resolve(), ()):
            again = "Chart" if draft.about in (VISIT, *KINDS) else "Amend"
            yield f"Not signed: {record}: draft of {said(draft)}. {again} it again to continue and sign."
