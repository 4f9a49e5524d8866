"""The standing dangers of a line as a table: what begins each, what ends it, what it forbids meanwhile.

They stay on every sheet until something ends them, whatever shift or stay it is; no policy silences them. D11, a fact
that could not be read, comes from the reading and not from an event: the timeline adds it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any, Final, NamedTuple

from lda_notes.knowledge.one_row import on_one_row
from lda_notes.knowledge.policy import Policy, number
from lda_notes.line.contents import flushed, lock_of, no_heparin, pushed_in, removed, told
from lda_notes.line.corrections import Entry
from lda_notes.line.holds import CLEARING_DECISIONS, may_clear
from lda_notes.line.proof import VISIT, fact_of, proved, whole_blood
from lda_notes.line.states import Danger, DangerCode, Exposure, State
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient
from lda_notes.record.parts import Lock, NotDone

TREATMENT_STRENGTH: Final = Decimal(1000)
"""Heparin of so many units per mL or more is a drug for treatment, never flushed in (label strengths of a lock are 10
and 100; common practice, no source)."""

EXPOSURE: Final = "flushed in"
"""The phase of a danger that is in the line no more, and in the patient."""

_NOT_OUT: Final = ("could not be aspirated", "none")
"""Words charted of an old lock, or of the blood return, where nothing can be aspirated."""

_HEPARIN: Final = ("heparin", "taurolidine with citrate and heparin")
_NOT_FLUSHED_IN: Final = ("70% ethanol", "taurolidine with citrate", "taurolidine with citrate and heparin")


class Around(NamedTuple):
    """The input of the table: an event, the states before and after it, and what is known of the patient then."""

    entry: Entry
    before: State
    after: State
    patient: Patient
    policy: Policy
    against: tuple[str, ...] = ()

    @property
    def event(self) -> Any:
        """The event, of whatever kind."""
        return self.entry.event


class Row(NamedTuple):
    """One danger. ``begins`` returns it in words, ``ends`` whether this event ends it; ``phase`` may change it."""

    code: DangerCode
    forbids: str
    ends_with: str
    begins: Callable[[Around], str | None]
    ends: Callable[[Danger, Around], bool]
    changes: Callable[[Danger, Around], Danger] = lambda danger, _: danger


def _decided(around: Around) -> bool:
    event = around.event
    return (
        isinstance(event, ev.Evaluation)
        and event.decision is not None
        and event.decision != "remains on hold"
        and may_clear(event, around.policy)
    )


# -- the rows --


def _heparin_begins(around: Around) -> str | None:
    why = no_heparin(around.patient)
    left = around.after.inside
    if why is None or left is None or left is around.before.settled or settled(around):
        return None
    lock = lock_of(left.event)
    if lock is None or lock.drug not in _HEPARIN:
        return None
    return f"heparin in the line of a patient with {why}"


def _strength(lock: Lock) -> str:
    return f" {number(lock.units_per_ml)} units per mL" if lock.units_per_ml is not None else ""


def _lock_begins(around: Around) -> str | None:
    if around.after.inside is not around.entry:
        return None
    lock = lock_of(around.event)
    if lock is None:
        return None
    if lock.drug == "heparin" and lock.units_per_ml is not None and lock.units_per_ml >= TREATMENT_STRENGTH:
        return f"heparin{_strength(lock)} in the line, a treatment strength"
    return f"{lock.drug} in the line" if lock.drug in _NOT_FLUSHED_IN else None


def settled(around: Around) -> bool:
    """Return whether a prescriber decided about what is in the line, which could not be aspirated."""
    cleared = _decided(around) and around.event.decision in CLEARING_DECISIONS
    return cleared and any(one.tried for one in around.before.dangers)


def _contents_change(danger: Danger, around: Around) -> Danger:
    event = around.event
    if danger.phase == "" and (fact_of(event, "old_lock") or fact_of(event, "blood_return")) in _NOT_OUT:
        return danger._replace(tried=True)
    if danger.phase == "" and removed(event):
        return danger._replace(phase="aspirated")
    if danger.phase == "" and pushed_in(event):
        what = danger.what.split(" in the line")[0]
        rest = danger.what[len(what) + len(" in the line") :]
        said = f"{what} was flushed in: exposure{rest}"
        return danger._replace(phase=EXPOSURE, what=said, forbids="", exposure=Exposure(what, event.at))
    return danger


def _contents_end(danger: Danger, around: Around) -> bool:
    event = around.event
    cleared = _decided(around) and event.decision in CLEARING_DECISIONS
    if isinstance(event, ev.PortRemoved) or (cleared and (danger.tried or danger.phase)):
        return True  # what is in the line and was not tried to be aspirated is not what was decided about
    if danger.code == "D1" and no_heparin(around.patient) is None:
        return True  # what forbade the heparin was withdrawn
    if danger.exposure is not None:
        return told(event, danger.exposure)
    return danger.phase == "aspirated" and flushed(event)


def _coring_begins(around: Around) -> str | None:
    stay = around.after.needle
    cored = stay is not None and stay.needle is not None and stay.needle.non_coring is False
    return "ordinary (coring) needle in the port" if cored else None


def _needle_gone(_: Danger, around: Around) -> bool:
    return around.after.needle is None or (
        around.after.needle is not around.before.needle and not _coring_begins(around)
    )


def _thrombolytic_begins(around: Around) -> str | None:
    event = around.event
    return f"{event.drug} in the line" if isinstance(event, ev.PatencyTreatment) else None


def _thrombolytic_ends(danger: Danger, around: Around) -> bool:
    event = around.event
    if isinstance(event, ev.PortRemoved):
        return True
    if isinstance(event, ev.PatencyTreatment):
        return False
    cleared = isinstance(event, ev.Evaluation) and event.decision != "thrombolytic ordered" and _decided(around)
    return removed(event) or cleared


VESICANT_RUNS: Final = "vesicant running"
_UNPROVEN: Final = " without proof of blood return"
_NOT_THROUGH: Final = "line not yet flushed through after proof"


def _vesicant_begins(around: Around) -> str | None:
    event = around.event
    if fact_of(event, "vesicant") is not True:
        return None
    unproven = "" if _blood_seen(around) else _UNPROVEN
    if isinstance(event, ev.LineUse) and event.action == "started":
        return f"{VESICANT_RUNS}{unproven}{_quoted(event.what)}"
    if isinstance(event, ev.LineUse) and event.action != "stopped":
        return f"vesicant given{unproven}, {_NOT_THROUGH}{_quoted(event.what)}"
    running = fact_of(event, "infusion")
    return f"{VESICANT_RUNS}{_quoted(running)}" if isinstance(event, ev.LineCheck) and running else None


def _blood_seen(around: Around) -> bool:
    """Return whether blood that looks like blood returned in the visit of this event."""
    blood = around.after.blood
    return blood is not None and whole_blood(blood.event) and around.event.at - blood.event.at <= VISIT


def _quoted(text: object) -> str:
    return f': "{on_one_row(str(text))}"' if text else ""


def _vesicant_changes(danger: Danger, around: Around) -> Danger:
    if danger.phase == "" and around.after.infusion is None:
        what = danger.what.replace(
            f"{VESICANT_RUNS}{_UNPROVEN}", f"vesicant that ran{_UNPROVEN} stopped, {_NOT_THROUGH}", 1
        )
        what = what.replace(VESICANT_RUNS, f"vesicant stopped, {_NOT_THROUGH}", 1)
        return danger._replace(phase="stopped", what=what)
    return danger


def _vesicant_ends(danger: Danger, around: Around) -> bool:
    if isinstance(around.event, ev.PortRemoved):
        return True
    return danger.phase == "stopped" and flushed(around.event) and proved(around.after, around.entry)


def _unlocked_begins(around: Around) -> str | None:
    after, event = around.after, around.event
    if after.needle is None or after.infusion is not None or isinstance(event, ev.Moving):
        return None
    locked = flushed(event) and lock_of(event) is not None
    used = isinstance(event, ev.LineUse) and (event.action in ("given", "stopped") or event.purpose == "blood sampling")
    untouched = isinstance(event, ev.Access) and not (
        fact_of(event, "infusion") or flushed(event) or lock_of(event) is not None or after.holds
    )
    ended = around.before.infusion is not None and not locked
    return "nothing runs, and the line is neither flushed nor locked" if ended or used or untouched else None


def _unlocked_ends(_: Danger, around: Around) -> bool:
    after, event = around.after, around.event
    if after.needle is None or after.infusion is not None:
        return True
    lock = fact_of(event, "lock")
    return isinstance(event, ev.PatencyTreatment) or (flushed(event) and isinstance(lock, Lock | NotDone))


def _dressing_begins(around: Around) -> str | None:
    on = around.after.dressing
    if on is None or on.found is not around.entry:
        return None
    found = fact_of(around.event, "dressing_found")
    bad = [word for word in found if word != "intact"] if isinstance(found, tuple) else []
    return f"dressing not yet changed, found {' and '.join(bad)}" if bad else None


def _dressing_ends(_: Danger, around: Around) -> bool:
    on = around.after.dressing
    return on is None or on.put_on is around.entry


def _unknown_begins(around: Around) -> str | None:
    after = around.after
    words = []
    if after.needle is not None and after.needle.since is None:
        words.append("needle")
    if after.dressing is not None and after.dressing.since is None:
        words.append("dressing")
    return f"{' and '.join(words)} of unknown age" if words else None


def _unknown_ends(_: Danger, around: Around) -> bool:
    return _unknown_begins(around) is None


def _against_begins(around: Around) -> str | None:
    return f"on the patient: {'; '.join(around.against)}" if around.against else None


def _against_ends(_: Danger, around: Around) -> bool:
    return not around.against


def _alone_begins(around: Around) -> str | None:
    event = around.event
    if not isinstance(event, ev.Discharge) or event.destination == "died":
        return None
    if around.after.needle is None and event.needle_in is not True:
        return None
    plan = fact_of(event, "needle_removal")
    by, at = getattr(plan, "by", None), getattr(plan, "at", None)
    missing = [
        *([] if by is not None else ["who takes it out is not named"]),
        *([] if at is not None else ["when is not named"]),
        *([] if event.teaching is not None and not isinstance(event.teaching, NotDone) else ["no teaching"]),
    ]
    return f"needle in at discharge: {', '.join(missing)}" if missing else None


def _alone_ends(danger: Danger, around: Around) -> bool:
    event = around.event
    if isinstance(event, ev.Closing | ev.PortRemoved) or (
        event.kind == "needle dislodged" and around.after.needle is None
    ):
        return True
    return isinstance(event, ev.Opening) or (isinstance(event, ev.Discharge) and _alone_begins(around) is None)


def _as_now(begins: Callable[[Around], str | None]) -> Callable[[Danger, Around], Danger]:
    """Return what says a danger in the words of each later event at which it would begin again."""

    def changes(danger: Danger, around: Around) -> Danger:
        return danger._replace(what=begins(around) or danger.what)

    return changes


TABLE: Final[tuple[Row, ...]] = (
    Row(
        "D1",
        "flushing the heparin in",
        "aspirated and discarded, then flushed without heparin; a prescriber's decision where nothing can be "
        "aspirated; port removed; once flushed in, reported to somebody named, as a problem that names the medicine",
        _heparin_begins,
        _contents_end,
        _contents_change,
    ),
    Row(
        "D2",
        "any use beyond what must be finished by order",
        "needle out; the septum stays on hold until evaluated",
        _coring_begins,
        _needle_gone,
    ),
    Row(
        "D3",
        "flushing the lock in",
        "aspirated and discarded, then flushed; a prescriber's decision; port removed",
        _lock_begins,
        _contents_end,
        _contents_change,
    ),
    Row("D4", "any use", "aspirated, or evaluated", _thrombolytic_begins, _thrombolytic_ends),
    Row(
        "D5",
        "a vesicant without proof of blood return",
        "stopped, and flushed through after proof",
        _vesicant_begins,
        _vesicant_ends,
        _vesicant_changes,
    ),
    Row("D6", "", "flushed and locked, or an infusion started", _unlocked_begins, _unlocked_ends),
    Row("D7", "waiting for the due date", "dressing changed", _dressing_begins, _dressing_ends),
    Row("D8", "assuming a date", "changed", _unknown_begins, _unknown_ends, _as_now(_unknown_begins)),
    Row("D9", "reuse", "taken off or changed", _against_begins, _against_ends, _as_now(_against_begins)),
    Row("D10", "", "who takes the needle out and when is named, and taught; or needle out", _alone_begins, _alone_ends),
)
"""Every standing danger that an event begins, by its number."""

UNREAD_FORBIDS: Final = "stating its opposite"
"""Forbidden by D11, a fact that was written and could not be read, until it is corrected."""

LEFT_BEHIND: Final = "a problem of the patient that stays although the port is out"


def after(around: Around) -> tuple[tuple[Danger, ...], tuple[Danger, ...]]:
    """Return the dangers that stand after the event, and those that it ended.

    What was aspirated, flushed in or stopped may stand on; it does not keep the next lock or drug from being a danger.
    """
    standing: list[Danger] = []
    over: list[Danger] = []
    for row in TABLE:
        kept: list[Danger] = []
        for danger in (row.changes(one, around) for one in around.before.dangers if one.code == row.code):
            if row.ends(danger, around):
                over.append(danger._replace(ended=around.entry))
            else:
                kept.append(danger)
        if all(one.phase for one in kept) and (said := row.begins(around)) is not None:
            standing.append(Danger(row.code, around.after.septum, said, around.entry, row.forbids))
        standing += kept
    for danger in around.before.dangers:
        if danger.code == "P":  # what outlives the port ends with a judgment of whoever may give one
            if _decided(around):
                over.append(danger._replace(ended=around.entry))
            else:
                standing.append(danger)
    return tuple(standing), tuple(over)


def left_behind(state: State, signs: Iterator[tuple[str, Entry]]) -> tuple[Danger, ...]:
    """Return the problems of the patient that stay when the port is removed."""
    return tuple(Danger("P", state.septum, f"{sign}; {LEFT_BEHIND}", began, "") for sign, began in signs)
