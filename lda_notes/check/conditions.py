"""Needs, and the conditions under which a fact is asked for."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from lda_notes.check import visits
from lda_notes.check.visits import (
    blood,
    lock_due,
    not_flushed,
    not_identified,
    not_locked,
    not_proved,
    said_lately,
    stays_in,
)
from lda_notes.check.whole import at_of, last_before, whole
from lda_notes.knowledge import suitability
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.sources import Citation
from lda_notes.line.against import subject
from lda_notes.line.holds import CLEARING_DECISIONS, OWN_RULES
from lda_notes.line.transitions import trouble
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import Dressing, Level, Lock, NotDone

Condition = Callable[[Any, Episode], bool]


class Need(NamedTuple):
    """One fact that a record of its kind should contain.

    ``path`` leads to it inside the event (keys; ``"*"`` stands for every item of a list); ``asks`` is the question a
    nurse is asked; ``when`` says whether it applies to an event as recorded so far (None: always); ``given`` the
    same, seen from the part that contains the fact, such as the one flush of several. ``option`` names a choice of the
    policy: unless it is "yes", a missing fact is not a gap. ``suits`` says whether patient and policy leave room for
    the fact, ``visit`` whether the other events of the visit leave it to be said, ``reported`` whether the check
    reports its absence (None: always). A fact inside a part that is absent is not asked for; the part itself is, by a
    row of its own that stands before its facts.
    """

    path: tuple[str, ...]
    asks: str
    level: Level
    citations: tuple[Citation, ...]
    why: str = ""
    when: Callable[[Any, Episode], bool] | None = None
    given: Callable[[Any], bool] | None = None
    option: str | None = None
    suits: Callable[[Any, Episode, Policy], bool] | None = None
    reported: Callable[[Any, Episode], bool] | None = None
    visit: Callable[[Any, Episode, Policy], bool] | None = None

    @property
    def name(self) -> str:
        """Return the dotted path, such as ``needle.gauge``."""
        return ".".join(self.path)

    def applies(self, event: Any, episode: Episode, policy: Policy) -> bool:
        """Return whether the fact is asked of this event (the episode itself for the rows of `EPISODE_NEEDS`)."""
        return (
            (self.when is None or self.when(event, episode))
            and (self.suits is None or self.suits(event, episode, policy))
            and (self.visit is None or self.visit(event, episode, policy))
        )

    def missed(self, event: Any, episode: Episode) -> bool:
        """Return whether the check reports its absence: what the bedside is asked is not all that a chart lacks."""
        return self.reported is None or self.reported(event, episode)


_ASKED_ELSEWHERE: Final = OWN_RULES | {"blood return not proven"}


def in_trouble(event: ev.Event, _: Episode) -> bool:
    """Return whether the event itself gives a reason to keep the line out of use."""
    return bool(troubles(event))


def troubles(event: ev.Event) -> tuple[str, ...]:
    """Return the troubles of an event for which it has to say what was done, who was told, what they answered."""
    if isinstance(event, ev.NeedleDislodged | ev.ExtravasationCare):
        return ()  # what was done is asked by facts of their own
    return tuple(reason for reason in trouble(event) if reason not in _ASKED_ELSEWHERE)


def first_access(event: ev.Access, episode: Episode) -> bool:
    """Return whether the tip position must be known now: the first access on record, or no confirmation on record."""
    first = whole(episode).first_access
    return episode.port.tip is None or first is None or event.at <= first


def injection_possible(_: Any, episode: Episode) -> bool:
    """Return whether a power injection is on record or the port is rated for one."""
    power = episode.port.power
    return (power is not None and power.rated) or whole(episode).injected


def old_lock_in(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether the last lock on record is one that must not be flushed in."""
    last = last_before(whole(episode).locks, event.at)
    lock = last[1] if last is not None else None
    drug = getattr(lock, "drug", "")
    strength = getattr(lock, "units_per_ml", None)
    return drug in ("70% ethanol", "taurolidine with citrate and heparin") or (strength is not None and strength > 100)


def taught_on_leaving(event: ev.Discharge, episode: Episode) -> bool:
    """Return whether the patient is taught about the line on leaving: in the emergency room only with a needle in."""
    return event.destination != "died" and (setting_at(episode, event.at) != "emergency" or event.needle_in is True)


def taught_now(event: ev.Event, episode: Episode) -> bool:
    """Return whether the patient is to know what to look for from now on: the needle is out for good, or they leave."""
    if isinstance(event, ev.Deaccess):
        return no_needle_follows(event, episode) and setting_at(episode, event.at) != "emergency"
    return isinstance(event, ev.Discharge) and taught_on_leaving(event, episode)


def drug_or_skin(event: ev.CareEvent, _: Episode) -> bool:
    """Return whether a drug is given or the skin is worked on: a plain flush rests on allergies checked before it."""
    if isinstance(event, ev.LineUse):
        return event.action != "stopped" and event.purpose not in ("blood sampling", "removal of lock")
    if isinstance(event, ev.FlushOrLock):
        return isinstance(event.lock, Lock) and event.lock.drug != "0.9% sodium chloride"
    return True


def setting_at(episode: Episode, moment: datetime) -> str | None:
    """Return the kind of place that the patient is in at a moment, as far as it is recorded."""
    last = last_before(whole(episode).settings, moment)
    setting: str | None = last[1] if last is not None else episode.stay.setting
    return setting


def needle_in(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether a needle is in at the time of ``event``, so that a dressing and connections can be looked at."""
    moves = whole(episode).needles.get(event.septum or episode.port.septa[0], [])
    position = bisect_right(moves, (event.at, True))
    return position > 0 and moves[position - 1][1]


def no_needle_follows(event: ev.Deaccess, episode: Episode) -> bool:
    """Return whether the port stays without a needle: no access belongs to this removal, or follows within the hour."""
    record = whole(episode)
    opened = record.opened.get(event.septum or episode.port.septa[0], [])
    position = bisect_left(opened, event.at)
    soon = position < len(opened) and opened[position] - event.at <= DEFAULT.span("needle_change_minutes")
    return event.id not in record.followed and not soon


def dose_by_lumen(event: ev.PatencyTreatment, episode: Episode) -> bool:
    """Return whether the alteplase dose may depend on the lumen: under the full-dose weight, or weight unknown."""
    weight = episode.patient.weight_kg
    return event.drug == "alteplase" and (weight is None or weight < DEFAULT.value("alteplase_full_dose_kg"))


def disc_suits(event: ev.Event, episode: Episode, policy: Policy) -> bool:
    """Return whether neither age nor allergy speaks against a chlorhexidine disc on the local day of the event."""
    today = event.at.astimezone(ZoneInfo(episode.stay.time_zone)).date()
    return suitability.disc_suits(subject(episode.patient, episode.port, today), policy)


def small_or_treated(_: Any, episode: Episode) -> bool:
    """Return whether a dose depends on the weight: a child, or a patient given a thrombolytic."""
    born = episode.patient.birth_date
    first = min((event.at for event in episode.events), default=None)
    child = born is not None and first is not None and (first.year - born.year) < DEFAULT.value("adult_years")
    return child or any(isinstance(event, ev.PatencyTreatment) for event in episode.events)


# -- what the check leaves alone, because the chart says it already --


def allergies_not_checked_lately(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether a drug is given or the skin is worked on, and the same nurse did not check allergies already."""
    return drug_or_skin(event, episode) and not said_lately(event, episode, "allergies_checked")


def not_told_before(event: ev.CareEvent, episode: Episode) -> bool:
    """Return whether the trouble is news: no earlier event with this needle showed the same and says who was told."""
    shown = set(troubles(event))
    care = whole(episode).care
    for other in reversed(care[: bisect_left(care, event.at, key=at_of)]):
        if any(problem.told is not None for problem in other.problems) and shown <= set(troubles(other)):
            return False
        if isinstance(other, ev.Opening | ev.Evaluation):
            return True
    return True


# -- conditions by name --


def never(_: Any, __: Episode) -> bool:
    """Return False: the fact is not asked of this kind."""
    return False


OF_EVENT: Final[Mapping[str, Condition]] = {
    "two_septa": lambda _, episode: len(episode.port.septa) > 1,
    "tip_unknown": lambda _, episode: episode.port.tip is None,
    "injected": lambda _, episode: whole(episode).injected,
    "from_elsewhere": lambda event, episode: setting_at(episode, event.at) != "inpatient",
    "needs_verifier": lambda event, _: event.by is not None and event.by.new_to_procedure is True,
    "signs_told": lambda event, _: bool(event.signs),
    "painful": lambda event, _: isinstance(event.pain, int) and event.pain > 3,
    "despite_hold": lambda event, _: event.despite_hold is not None,
    "no_blood": lambda event, _: "none" in (event.blood_return, event.__dict__.get("blood_return_before")),
    "return_present": lambda event, _: event.blood_return == "present",
    "proves_the_line": lambda event, _: isinstance(event, ev.Access | ev.PatencyCheck),
    "discarded_some": lambda event, _: bool(event.samples),
    "several_attempts": lambda event, _: event.attempts is not None and event.attempts > 1,
    "unlocked": lambda event, episode: isinstance(event.lock, NotDone) and blood(event, episode),
    "not_whole": lambda event, _: event.needle_intact is False,
    "under_way": lambda event, _: event.action != "stopped",
    "drug_given": lambda event, _: event.action != "stopped" and event.purpose not in ("infusion", "blood sampling"),
    "may_harm": lambda event, _: event.action != "stopped" and event.purpose in ("infusion", "medication"),
    "begins_or_ends": lambda event, _: event.purpose in ("infusion", "transfusion"),
    "sampling": lambda event, _: event.purpose == "blood sampling",
    "not_sampling": lambda event, _: event.purpose != "blood sampling",
    "injection": lambda event, _: event.purpose == "power injection",
    "may_be_liposomal": lambda event, _: event.what is not None and "liposom" in event.what.lower(),
    "culturing": lambda event, _: any("culture" in sample.lower() for sample in event.samples),
    "is_alteplase": lambda event, _: event.drug == "alteplase",
    "is_urokinase": lambda event, _: event.drug == "urokinase",
    "cleared": lambda event, _: event.decision == "cleared for use",
    "cleared_with_limits": lambda event, _: event.decision == "cleared with limits",
    "cleared_of_several": lambda event, episode: event.decision in CLEARING_DECISIONS and len(episode.port.septa) > 1,
    "leaves_accessed": lambda event, _: event.needle_in is True and event.destination != "died",
    "leaves_without": lambda event, _: event.needle_in is False,
    "adds_nothing": lambda event, _: not event.adds,
}
"""Conditions of an event and its record that fit on one row; a longer one is a function of that name."""

OF_PART: Final[Mapping[str, Callable[[Any], bool]]] = {
    "has_redness": lambda site: site.erythema == "present",
    "has_place": lambda sign: (
        sign.what in ("pain", "burning", "swelling", "redness", "leak", "pus", "fluid collection")
    ),
    "is_fever": lambda sign: sign.what == "fever",
    "is_cream": lambda anesthetic: str(anesthetic.agent).endswith("cream"),
    "is_injected": lambda anesthetic: str(anesthetic.agent).startswith("intradermal"),
    "is_spray": lambda anesthetic: str(anesthetic.agent).endswith("spray"),
    "has_heparin": lambda lock: "heparin" in lock.drug,
    "no_built_in_disc": lambda dressing: (
        isinstance(dressing, Dressing) and dressing.type != "transparent with chlorhexidine"
    ),
    "somebody_told": lambda problem: problem.told is not None,
}
"""Conditions of the part that contains the fact."""

VARIES: Final[Mapping[str, Mapping[str, Condition]]] = {
    "under way": {"line use": OF_EVENT["under_way"]},
    "why due": {},
    "proof due": {},
    "dressing due": {},
    "blood drawn": {"line use": OF_EVENT["sampling"], "access": blood, "flush": blood},
    "flush due": {"patency check": OF_EVENT["return_present"]},
    "lock due": {"patency check": OF_EVENT["return_present"]},
    "response due": {"line use": OF_EVENT["drug_given"]},
    "not a use": {"line use": never},
    "before puncture": {"dressing change": never},
    "put in here": {"arrival accessed": never},
    "put on here": {"arrival accessed": never},
    "rating matters": {"arrival accessed": never, "access": injection_possible},
}
"""Conditions that differ by kind; a fact is asked in any case of a kind that is not named."""

VISIT: Final[Mapping[str, Mapping[str, Callable[[Any, Episode, Policy], bool]]]] = {
    "under way": {"de-access": not_identified},
    "why due": {"de-access": not_identified},
    "proof due": {"de-access": not_proved},
    "dressing due": {"access": stays_in},
    "flush due": {"de-access": not_flushed},
    "lock due": {"access": lock_due, "flush": stays_in, "de-access": not_locked},
}
"""By the same names: what the other events of a visit, as long as the policy lets one be, leave to be said."""


def named(name: str, kind: str = "") -> Condition | None:
    """Return the condition of a name for a kind; None when a fact is asked in any case. Raises `KeyError`."""
    if name in VARIES:
        return VARIES[name].get(kind)
    found: Condition | None = _NAMED[name] if name else None
    return found


_NAMED: Final[Mapping[str, Any]] = {**vars(visits), **globals(), **OF_PART, **OF_EVENT}
