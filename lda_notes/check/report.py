"""Findings as text for a terminal, and as JSON for machines. The JSON's shape is versioned: `JSON_VERSION`.

JSON: ``version`` (1), ``asof``, ``policy`` (the facility's policy or null), ``summary`` (count by severity) and
``files``, each with ``file``, ``error`` (a sentence when it could not be opened, else null), ``readable`` (false when
it contains no episode), ``events`` (count of readable events), ``unread`` (``position`` from 0, ``id``, ``kind``) and
``findings``. A finding has ``rule``, ``severity``, ``row``, ``column``, ``event`` (identifier or null), ``path``
(keys and positions), ``message``, ``todo``, ``sources`` (``source``, ``title``, ``edition``, ``address``, ``place``,
``mark``, ``text``) and ``related`` (``row``, ``column``, ``path``, ``says``).
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any, Final, NamedTuple

from lda_notes.check.judged import Judged
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import SOURCES, Citation
from lda_notes.problems import SEVERITIES, Finding, Place, Related, Severity

JSON_VERSION: Final = 1

_CONTROLS: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_PLURAL: Final[dict[Severity, tuple[str, str]]] = {
    "unsafe": ("unsafe", "unsafe"),
    "wrong": ("wrong", "wrong"),
    "gap": ("gap", "gaps"),
    "advice": ("advice", "advice"),
}
_COLORS: Final[dict[Severity, str]] = {"unsafe": "1;31", "wrong": "35", "gap": "33", "advice": "36"}
_INDENT: Final = "    "


class Checked(NamedTuple):
    """One file after the check: what was judged, or the sentence that says why it could not be opened."""

    file: str
    judged: Judged | None
    error: str | None = None

    @property
    def readable(self) -> bool:
        """Return whether the file contains an episode."""
        return self.judged is not None and self.judged.timeline is not None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding of this file, in file order."""
        return self.judged.findings if self.judged is not None else ()

    @property
    def events(self) -> int:
        """How many events could be read."""
        episode = self.judged.record.episode if self.judged is not None else None
        return len(episode.events) if episode is not None else 0


def counts(files: Iterable[Checked]) -> dict[Severity, int]:
    """Return how many findings there are of each severity, worst first."""
    found = [finding.severity for file in files for finding in file.findings]
    return {severity: found.count(severity) for severity in SEVERITIES}


# -- text --


def sentence(text: str) -> str:
    """Return ``text`` with a capital, unless it begins with a name of the record, and with one full stop."""
    text = text.strip().removesuffix(".")
    first = text.split(" ", 1)[0]
    if re.fullmatch(r"[a-z]+(-[a-z]+)*[,;:]?", first):
        text = text[0].upper() + text[1:]
    return f"{text}."


def visible(text: str) -> str:
    """Return ``text`` with control and direction marks replaced, so that a record cannot steer a terminal."""
    return _CONTROLS.sub("?", text)


def wrapped(text: str, width: int, indent: str = "", hanging: str | None = None) -> Iterator[str]:
    """Yield ``text`` in rows of at most ``width``, where words allow it."""
    yield from _rows(text, max(width, 20), indent, indent if hanging is None else hanging)


@lru_cache(maxsize=1000)  # advice and sources are the same for many findings
def _rows(text: str, width: int, indent: str, hanging: str) -> tuple[str, ...]:
    return tuple(
        textwrap.wrap(
            visible(text),
            width,
            initial_indent=indent,
            subsequent_indent=hanging,
            break_long_words=False,
            break_on_hyphens=False,
        )
    )


def text(files: Iterable[Checked], width: int = 80, color: bool = False) -> str:
    """Return every finding of ``files`` as text, empty when there is none."""
    blocks = ["\n".join(_block(finding, width, color)) for file in files for finding in file.findings]
    return "".join(f"{block}\n\n" for block in blocks)


def _block(finding: Finding, width: int, color: bool) -> Iterator[str]:
    severity: str = finding.severity
    if color:
        severity = f"\033[{_COLORS[finding.severity]}m{severity}\033[0m"
    yield f"{visible(_where(finding.place))}  {severity}  {finding.rule}"
    yield from wrapped(sentence(finding.message), width, _INDENT)
    yield from wrapped(f"Do: {_small(sentence(finding.todo))}", width, _INDENT, f"{_INDENT}    ")
    for related in finding.related:
        yield from wrapped(f"See {_spot(related, finding.place)}: {related.says}", width, _INDENT, f"{_INDENT}    ")
    for citation in finding.citations:
        yield from wrapped(f"Source: {citation.text()}", width, _INDENT, f"{_INDENT}    ")


def _small(text: str) -> str:
    return text[0].lower() + text[1:] if text[1:2].islower() else text


def _where(place: Place | None) -> str:
    return str(place) if place is not None else "?:1:1"


def _spot(related: Related, beside: Place | None) -> str:
    place = related.place
    if place is None:
        return "also"
    return f"{place.row}:{place.column}" if beside is not None and place.file == beside.file else str(place)


def summary(files: Iterable[Checked]) -> str:
    """Return one sentence on all files: how many, how many events, and the findings by severity."""
    files = list(files)
    found = counts(files)
    said = ", ".join(f"{number} {_PLURAL[name][number != 1]}" for name, number in found.items() if number)
    events = sum(file.events for file in files)
    unreadable = sum(not file.readable for file in files)
    # Of a file that was not read nobody can say that nothing was found in it.
    parts = [said] if said else ["nothing found"] if unreadable < len(files) else []
    if unreadable:
        parts.append(f"{_count(unreadable, 'file')} could not be read")
    return f"{_count(len(files), 'file')}, {_count(events, 'event')}: {'; '.join(parts)}."


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


# -- JSON --


def as_json(files: Iterable[Checked], asof: datetime, policy: Policy) -> dict[str, Any]:
    """Return the result of a check in its versioned shape, for `json.dumps`."""
    files = list(files)
    return {
        "version": JSON_VERSION,
        "asof": asof.isoformat(),
        "policy": policy.facility.place if policy.facility is not None else None,
        "summary": {**counts(files), "files": len(files), "unreadable": sum(not file.readable for file in files)},
        "files": [file_as_json(file) for file in files],
    }


def file_as_json(file: Checked) -> dict[str, Any]:
    """Return the result of one file, or of one row of a file, as it is under ``files``."""
    unread = file.judged.record.unread_events if file.judged is not None else ()
    return {
        "file": _writable(file.file),
        "error": _writable(file.error) if file.error is not None else None,
        "readable": file.readable,
        "events": file.events,
        "unread": [{"position": event.index, "id": event.id, "kind": event.kind} for event in unread],
        "findings": [_finding_as_json(finding) for finding in file.findings],
    }


def _writable(name: str) -> str:
    """Return a file's name with what is not UTF-8 in it replaced, since JSON text cannot contain it."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _finding_as_json(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        **_place_as_json(finding.place),
        "event": finding.event,
        "path": list(finding.path),
        "message": sentence(finding.message),
        "todo": sentence(finding.todo),
        "sources": [source_as_json(citation) for citation in finding.citations],
        "related": [
            {**_place_as_json(related.place), "path": list(related.path), "says": related.says}
            for related in finding.related
        ],
    }


def _place_as_json(place: Place | None) -> dict[str, int | None]:
    return {"row": place.row if place else None, "column": place.column if place else None}


def source_as_json(citation: Citation) -> dict[str, str]:
    """Return one source as findings and rules give it in JSON."""
    source = SOURCES[citation.source]
    return {
        "source": source.key,
        "title": source.title,
        "edition": source.edition,
        "address": source.address,
        "place": citation.place,
        "mark": citation.mark,
        "text": citation.text(),
    }
