"""Visits: the needle goes in and comes out again within the hour, and one event may say what another need not."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from datetime import timedelta
from typing import Any, Final

from lda_notes.check.whole import at_of, whole
from lda_notes.knowledge.policy import Policy
from lda_notes.line.proof import VISIT
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import Lock


def one_visit(access: ev.Event, removal: ev.Event, policy: Policy) -> bool:
    """Return whether a needle went in and came out again within the time of one visit."""
    inside = timedelta(0) < removal.at - access.at <= policy.span("needle_change_minutes")
    return inside and isinstance(access, ev.Access) and isinstance(removal, ev.Deaccess)


def blood(event: ev.Proved, _: Episode) -> bool:
    """Return whether blood came back."""
    return event.blood_return in ("present", "sluggish")


def stays_in(event: ev.CareEvent, episode: Episode, policy: Policy) -> bool:
    """Return whether the needle stays in after the visit, so that it is dressed and the line locked at once."""
    return _visit(event, episode, policy) is None


def lock_due(event: ev.Access, episode: Episode, policy: Policy) -> bool:
    """Return whether the line is to be locked now: nothing runs, and the needle does not come out at the same visit."""
    return event.infusion is None and stays_in(event, episode, policy)


def not_identified(event: ev.Deaccess, episode: Episode, policy: Policy) -> bool:
    """Return whether whose port it is, by which order, is still to be said: not by the same nurse at the same visit."""
    before = _before_removal(event, episode, policy)
    return not any(one.identifiers_checked is not None and one.by == event.by for one in before)


def not_proved(event: ev.Deaccess, episode: Episode, policy: Policy) -> bool:
    """Return whether blood return is to be looked for at removal: nothing at the same visit said it."""
    return all(_said(one, "blood_return") is None for one in _before_removal(event, episode, policy))


def not_flushed(event: ev.Deaccess, episode: Episode, policy: Policy) -> bool:
    """Return whether the line is to be flushed at removal: the last thing before it at the same visit was no flush."""
    last = _last_through(event, episode, policy)
    return _said(last, "flushes") is None or blood(event, episode)


def not_locked(event: ev.Deaccess, episode: Episode, policy: Policy) -> bool:
    """Return whether the line is to be locked at removal: no lock that was given at the same visit is still in it."""
    last = _last_through(event, episode, policy)
    return not isinstance(_said(last, "lock"), Lock) or isinstance(event.flushes, tuple) or blood(event, episode)


def _said(event: ev.Event | None, fact: str) -> Any:
    return getattr(event, fact, None)


def _moved(event: ev.CareEvent, episode: Episode) -> list[ev.Opening | ev.Closing]:
    return whole(episode).moved.get(event.septum or episode.port.septa[0], [])


def _visit(event: ev.CareEvent, episode: Episode, policy: Policy) -> tuple[ev.CareEvent, ev.CareEvent] | None:
    """Return the access and the removal of the visit that an event belongs to; None when its needle stays in."""
    moves = _moved(event, episode)
    places = [bisect(moves, event.at, key=at_of) for bisect in (bisect_left, bisect_right)]
    if isinstance(event, ev.Opening | ev.Closing):
        places = places[:1] if isinstance(event, ev.Closing) else places[1:]
    for place in places:
        # a removal that is being charted is not in the record yet
        removals = [event] if isinstance(event, ev.Closing) else moves[place : place + 1]
        for pair in zip(moves[place - 1 : place], removals, strict=False):
            if one_visit(*pair, policy):
                return pair
    return None


def _before_removal(event: ev.Deaccess, episode: Episode, policy: Policy) -> list[ev.CareEvent]:
    """Return the access of the visit that a removal ends and what went through the line since; nothing for no visit."""
    visit = _visit(event, episode, policy)
    if visit is None:
        return []
    access, used = visit[0], whole(episode).used.get(event.septum or episode.port.septa[0], [])
    return [access, *used[bisect_left(used, access.at, key=at_of) : bisect_right(used, event.at, key=at_of)]]


def _last_through(event: ev.Deaccess, episode: Episode, policy: Policy) -> ev.CareEvent | None:
    """Return what of the visit went through the line last before its removal; None when that is an infusion."""
    before = _before_removal(event, episode, policy)
    return before[-1] if before and _said(before[-1], "infusion") is None else None


_MOST: Final = 40
"""How far back a visit is looked through; no visit has so many events, and a file of thousands may not cost more."""


def _lately(event: ev.CareEvent, episode: Episode) -> Iterator[ev.CareEvent]:
    """Yield what was charted of the same septum within a visit's time up to ``event``, the latest first."""
    care = whole(episode).care
    last = bisect_right(care, event.at, key=at_of)
    first = max(bisect_left(care, event.at - VISIT, key=at_of), last - _MOST)
    for other in reversed(care[first:last]):
        if other.id != event.id and other.septum == event.septum:
            yield other


def said_lately(event: ev.CareEvent, episode: Episode, fact: str) -> bool:
    """Return whether the same nurse charted the fact at the same visit: a flush after a dose rests on it."""
    if not isinstance(event, ev.FlushOrLock | ev.PatencyCheck):
        return False
    return any(one.by == event.by and _said(one, fact) is not None for one in _lately(event, episode))


def not_identified_lately(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether the same nurse did not identify the patient at the same visit already."""
    return not said_lately(event, episode, "identifiers_checked")


def site_not_seen_lately(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether the same nurse did not look at the site at the same visit already."""
    return not said_lately(event, episode, "site")


def blood_not_seen_lately(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether blood return is still to be charted: a flush after a dose rests on the blood before the dose."""
    return not said_lately(event, episode, "blood_return_before")


def proof_before_use(event: ev.LineUse, episode: Episode) -> bool:
    """Return whether blood return right before a use is missed: always for what may harm, or an hour after a proof."""
    plain = event.vesicant is False and event.purpose in ("infusion", "medication", "blood sampling")
    seen = (_said(one, "blood_return") or _said(one, "blood_return_before") for one in _lately(event, episode))
    return not plain or next((one for one in seen if one is not None), None) != "present"
