"""Messages about sending: refusals entry by entry, what a server kept, how records and server compare."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterable, Iterator
from difflib import unified_diff
from typing import Any, Final

from lda_notes.fhir.elements import to_json
from lda_notes.sending.compare import Difference
from lda_notes.sending.deliver import Kept, Refused
from lda_notes.sending.entries import called, events
from lda_notes.sending.outcome import Issue, plain
from lda_notes.sending.parcel import Parcel

_ADVICE: Final = {
    400: "the server cannot use the bundle as it is; a patient, stay or person that it refers to may be unknown there",
    404: "something that the bundle refers to is not on the server",
    412: "the server holds more than one resource under one identity, so it cannot tell which is meant",
    413: "the bundle is too large for the server",
    422: "the server finds the bundle at fault",
}
_LONGEST: Final = 160
_MOST_ROWS: Final = 100
_DATA: Final = ".attachment.data"


def _where(parcel: Parcel, bundle: Any, entry: int | None) -> str:
    """Return the event and the file row of an entry, as far as they are known."""
    parts = []
    known = events(bundle)
    listed = bundle["entry"] if isinstance(bundle, dict) else []
    event = parcel.about
    if entry is not None and entry < len(listed):
        event = known.get(str(listed[entry].get("fullUrl")), event)
    if event is not None:
        parts.append(f"event {plain(event)}")
    if parcel.file is not None:
        row = parcel.row(entry)
        parts.append(f"{plain(parcel.file)}:{row}" if row else plain(parcel.file))
    return ", ".join(parts) or "a bundle without an event"


def _entry_words(bundle: Any, entry: int | None) -> str:
    listed = bundle["entry"] if isinstance(bundle, dict) else []
    if entry is None or entry >= len(listed):
        return "The bundle"
    return f"Entry {entry + 1}, {plain(called(listed[entry].get('resource') or {}))}"


def refusal(parcel: Parcel, bundle: Any, refused: Refused) -> str:
    """Return why a server did not take a bundle, one row for each fault."""
    why = _ADVICE.get(refused.status, "the server does not take the bundle")
    listed = bundle["entry"] if isinstance(bundle, dict) else []
    what = f"{refused.stored} of {len(listed)} entries were stored" if refused.stored else "nothing of it was stored"
    rows = [f"{_where(parcel, bundle, None)}: {what} (status {refused.status}): {why}."]
    rows += [_issue(parcel, bundle, issue) for issue in refused.issues]
    rows += [
        f"  {_entry_words(bundle, two.entry)} ({_where(parcel, bundle, two.entry)}): the server holds "
        f"{' and '.join(plain(one) for one in two.found)} under this identity; one of them must go before this can "
        "be sent."
        for two in refused.doubled
    ]
    return "\n".join(rows) + "\n"


def _issue(parcel: Parcel, bundle: Any, issue: Issue) -> str:
    element = f", element {issue.element}" if issue.element else ""
    place = f" ({_where(parcel, bundle, issue.entry)})" if issue.entry is not None else ""
    return f"  {_entry_words(bundle, issue.entry)}{element}{place}: {issue.words}"


def warned(parcel: Parcel, bundle: Any, said: Iterable[Issue]) -> str:
    """Return what a server that took a bundle warned of, one row for each."""
    rows = [f"{_where(parcel, bundle, None)}: the server took it and warns:"]
    return "\n".join([*rows, *dict.fromkeys(_issue(parcel, bundle, one) for one in said)])


def kept(parcel: Parcel, bundle: Any, found: Iterable[Kept]) -> str:
    """Return what a server has already and did not change, although the record says otherwise."""
    rows = []
    for one in found:
        rows.append(
            f"{_where(parcel, bundle, one.entry.index)}: the server keeps its {plain(called(one.entry.resource))}, "
            "which differs; a record that was sent is changed by an amendment."
        )
        rows += [f"  {row}" for row in differences(one.differences)]
    return "\n".join(rows)


def differences(found: Iterable[Difference]) -> Iterator[str]:
    """Yield each element with both values; of a note the rows of text that differ, without its size and digest.

    A server may have anything of any size: after so many rows the rest is counted.
    """
    rows = list(_differences(list(found)))
    yield from rows[:_MOST_ROWS]
    if len(rows) > _MOST_ROWS:
        yield f"and {len(rows) - _MOST_ROWS:,} more rows of differences"


def _differences(found: list[Difference]) -> Iterator[str]:
    notes = {one.path.removesuffix(".data") for one in found if one.path.endswith(_DATA)}
    for one in found:
        where, _, element = one.path.rpartition(".")
        if where in notes and element in ("size", "hash"):
            continue
        texts = note_texts(one)
        if texts is None:
            yield f"{one.path}: record {value(one.sent)}, server {value(one.stored)}"
            continue
        yield f"{where}: the text differs"
        sent, stored = texts
        for row in list(unified_diff(sent.splitlines(), stored.splitlines(), n=0, lineterm=""))[2:]:
            if row[0] in "-+":
                yield f"  {'record' if row[0] == '-' else 'server'}: {plain(row[1:])}"


def note_texts(one: Difference) -> tuple[str, str] | None:
    """Both texts of a note that differs; None for another element, or for a document that is not text."""
    if not one.path.endswith(_DATA):
        return None
    try:
        sent, stored = (b64decode(data or "", validate=True).decode() for data in (one.sent, one.stored))
    except (ValueError, TypeError):
        return None
    return sent, stored


def value(stored: Any) -> str:
    """Return a value of an element, shortened."""
    if stored is None:
        return "nothing"
    text = plain(to_json(stored))
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."
