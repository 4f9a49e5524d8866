"""The decorators of rules, the table that it fills, and the loop that runs the table over a timeline.

A rule is a generator. ``check(step, event, case)`` sees one step of the timeline, for each event of the classes that
``event`` is annotated with; ``check(case)`` sees the whole case once. Either yields a `Found` for each fault. The
docstring is the published explanation: what is checked, why it matters, and where there is more to do than ``todo``
says, what else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Set
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property, partial
from inspect import cleandoc
from itertools import groupby, pairwise
from typing import Any, Final, NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from lda_notes.check.needs import Missing, missing_in_events
from lda_notes.check.report import sentence
from lda_notes.knowledge.one_row import on_one_row
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import Citation
from lda_notes.line import due
from lda_notes.line.corrections import Entry
from lda_notes.line.states import Step
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding, Gap, Path, Related, Severity
from lda_notes.record import events as ev
from lda_notes.record.parts import DayOnly, Model
from lda_notes.record.unread import about

T = TypeVar("T")


class Found(NamedTuple):
    """A fault as a rule yields it. ``todo`` and ``severity`` replace the rule's own when they depend on the case.

    ``fact`` names with dots, or by its keys, the fact at which it shows: of the event that the rule judges; in a rule
    about the whole case of ``entry``, or where that is None of the record, such as ``patient.weight_kg``.
    ``lacks`` names the facts of the event whose absence it rests on, with dots: one that was written and could not be
    read is not an absence, and the fault is dropped. The lists of what is missing leave out what is so reported. A
    name that begins with ``patient`` leads from the record.
    """

    fact: str | Path
    message: str
    entry: Entry | None = None
    todo: str | None = None
    related: tuple[Related, ...] = ()
    citations: tuple[Citation, ...] | None = None
    severity: Severity | None = None
    lacks: tuple[str, ...] = ()
    gap: Gap | None = None


def whose(event: str, fact: str) -> str | None:
    """Return the event that a fact is of by its name with dots; None for one of the patient."""
    return None if fact.startswith("patient.") else event


def _names(path: Path) -> tuple[str, ...]:
    return tuple(step for step in path if isinstance(step, str))


Printed = Callable[[datetime, ZoneInfo], str]
"""How a moment is printed, in a zone."""


def in_digits(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as the check prints it: 2031-03-04 09:40."""
    return moment.astimezone(zone).strftime("%Y-%m-%d" if isinstance(moment, DayOnly) else "%Y-%m-%d %H:%M")


@dataclass(frozen=True)
class Case:
    """The record as every rule sees it. ``about``: only what is found of these entries, by position, is asked for.

    ``printed`` prints the moments that findings name.
    """

    timeline: Timeline
    policy: Policy
    about: Set[int] | None = None
    printed: Printed = in_digits
    reported: dict[tuple[str | None, str], Severity] = field(default_factory=dict)
    """Facts whose absence a rule about their event has reported, by event and name with dots, and how gravely."""

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """The standing entries that are asked about: all of them, or those of ``about``."""
        return self._asked_about(self.timeline.entries)

    @cached_property
    def entries_and_corrections(self) -> tuple[Entry, ...]:
        """The same, with the corrections that are asked about."""
        return (*self.entries, *self._asked_about(self.timeline.corrections))

    def _asked_about(self, entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
        about = self.about
        return entries if about is None else tuple(entry for entry in entries if entry.index in about)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The stay's time zone."""
        return due.zone_of(self.timeline)

    @cached_property
    def gaps(self) -> tuple[tuple[Entry, tuple[Missing, ...]], ...]:
        """Each entry that lacks facts worth reporting, with these; what could not be read is not missing."""
        asked = [one for part in self._by_knowledge(self.entries_and_corrections) for one in part]
        found = ((entry, self.unwritten(entry.event.id, gaps)) for entry, gaps in asked)
        return tuple((entry, gaps) for entry, gaps in found if gaps)

    def _by_knowledge(self, entries: tuple[Entry, ...]) -> Iterator[Iterator[tuple[Entry, tuple[Missing, ...]]]]:
        """Yield what entries lack, for each run of them that rests on the same facts of patient and port."""
        for episode, run in groupby(entries, key=lambda entry: self.timeline.episode_at(entry.event.at)):
            part = tuple(run)
            # what was retracted charts nothing for the events around it, and what was amended charts the right fact
            valid = episode.model_copy(update={"events": tuple(entry.event for entry in self.timeline.entries)})
            asked = missing_in_events((entry.event for entry in part), valid, self.policy)
            yield (
                (entry, tuple(gap for gap in gaps if gap.need.missed(entry.event, valid)))
                for entry, (_, gaps) in zip(part, asked, strict=True)
            )

    def unwritten(self, event: str | None, gaps: tuple[Missing, ...]) -> tuple[Missing, ...]:
        """Return the gaps of an event (None: of patient, stay and port) without those that could not be read."""
        unread = self.timeline.unread
        return tuple(gap for gap in gaps if not about(unread, event, *_names(gap.path))) if unread else gaps

    def could_not_read(self, event: str, facts: tuple[str, ...]) -> bool:
        """Return whether one of an event's facts, named with dots, was written and could not be read."""
        return any(about(self.timeline.unread, whose(event, fact), *fact.split(".")) for fact in facts)

    @cached_property
    def waits(self) -> tuple[tuple[Entry, timedelta], ...]:
        """Each entry with the time from event to entry, where the time of entry is known; corrections last."""
        return tuple(
            (entry, entry.event.charted_at - entry.event.at)
            for entry in self.entries_and_corrections
            if entry.event.charted_at is not None
        )

    @cached_property
    def same_minute(self) -> tuple[tuple[Step, Step], ...]:
        """Neighbors in time that carry the same minute."""
        return tuple(
            (before, after)
            for before, after in pairwise(self.timeline.steps)
            if after.entry.event.at - before.entry.event.at < _MINUTE
            and int(after.entry.event.at.timestamp()) // 60 == int(before.entry.event.at.timestamp()) // 60
        )

    @cached_property
    def _made(self) -> dict[Any, Any]:
        return {}

    def once(self, make: Callable[[Case], T]) -> T:
        """Return ``make(case)``, worked out once for all rules that ask for it."""
        if make not in self._made:
            self._made[make] = make(self)
        made: T = self._made[make]
        return made

    def span(self, limit: str) -> timedelta:
        """Return a limit as a length of time, worked out once for the case."""
        found: timedelta | None = self._made.get(limit)
        if found is None:
            found = self._made[limit] = self.policy.span(limit)
        return found

    def say(self, moment: datetime) -> str:
        """Return a moment as findings print it, in the stay's zone."""
        return self.printed(moment, self.zone)

    def local(self, moment: datetime) -> datetime:
        """Return ``moment`` in the stay's zone."""
        return moment.astimezone(self.zone)


Check = Callable[..., Iterable[Found]]
_MINUTE: Final = timedelta(minutes=1)


class Rule(NamedTuple):
    """One row of the table. ``on``, the classes of events that it judges, is empty for a rule that sees the whole case;
    ``limits`` name policy rows.
    """

    name: str
    family: str
    severity: Severity
    todo: str
    citations: tuple[Citation, ...]
    limits: tuple[str, ...]
    on: tuple[type[Model], ...]
    check: Check = field(repr=False)
    text: Callable[[], str] = field(repr=False)

    @property
    def explanation(self) -> str:
        """The published explanation, in three paragraphs: what is checked, why it matters, what to do."""
        what, why, *more = self.text().split("\n\n")
        return "\n\n".join((what, why, " ".join((sentence(self.todo), *more))))


RULES: Final[dict[str, Rule]] = {}


def _rule(severity: Severity, todo: str, *cites: Citation, limits: tuple[str, ...] = ()) -> Callable[[Check], Check]:
    """Enter a generator into the table under its own name, underscores as dashes; ``cites`` are its own sources."""

    def decorate(check: Check) -> Check:
        classes = check.__annotations__.get("event")
        on = tuple(getattr(ev, one.removeprefix("ev.")) for one in classes.split(" | ")) if classes else ()
        name, text = check.__name__.replace("_", "-"), partial(cleandoc, check.__doc__ or "")
        enter(check.__module__, name, severity, todo, check, text, cites, limits, on)
        return check

    return decorate


unsafe, wrong = partial(_rule, "unsafe"), partial(_rule, "wrong")
gap, advice = partial(_rule, "gap"), partial(_rule, "advice")
"""Decorators of rules, by severity, with what to do, the rule's own sources, and the limits that it reads."""


def enter(
    module: str,
    name: str,
    severity: Severity,
    todo: str,
    check: Check,
    text: Callable[[], str],
    cites: tuple[Citation, ...] = (),
    limits: tuple[str, ...] = (),
    on: tuple[type[Model], ...] = (),
) -> None:
    """Enter a rule into the table, in the family that its module is named after. Raises `ValueError` for a name twice.

    ``text`` returns in paragraphs what is checked, why it matters, and what else there is to do than ``todo`` says.
    """
    if name in RULES:
        raise ValueError(f"two rules are named {name}")
    family = module.rpartition(".")[2].replace("_", " ")
    RULES[name] = Rule(name, family, severity, todo, cites, limits, on, check, text)


def load() -> dict[str, Rule]:
    """Return the full table, every family read."""
    from lda_notes.check import rules

    rules.load()
    return RULES


_SAY_OF_THE_PATIENT: Final = frozenset({"patency treatment"})
"""Kinds of whose rules one reports that a fact of the patient is missing: the record's own list then leaves it out."""

_BY_KIND: Final[dict[str, tuple[tuple[Check, Rule], ...]]] = {}
_WHOLE: Final[list[Rule]] = []


def _dispatch() -> None:
    for kind, event_class in ev.KINDS.items():
        shapes = frozenset(event_class.__mro__)
        _BY_KIND[kind] = tuple((row.check, row) for row in RULES.values() if not shapes.isdisjoint(row.on))
    _WHOLE.extend(row for row in RULES.values() if not row.on)


NEVER_SILENT: Final[dict[str, str]] = {
    "D1": "heparin-history heparin-allergy heparin-before-known lock-not-aspirated",
    "D2": "coring-needle",
    "D3": "treatment-strength-heparin ethanol-lock taurolidine-lock",
    "D4": "thrombolytic-check-missing held-line-used held-line-flushed",
    "D5": "vesicant-without-blood-return vesicant-not-flagged use-against-limit infusion-on-held-line "
    "infusion-on-unproven-line extravasation-suspected flushed-into-swelling",
    "D6": "facts-not-recorded",
    "D7": "failed-dressing-left",
    "D8": "unknown-age-left",
    "D9": "chlorhexidine-allergy iodine-allergy isopropyl-alcohol-allergy adhesive-allergy latex-allergy "
    "anesthetic-allergy vapocoolant-allergy alteplase-allergy benzyl-alcohol-allergy other-allergy",
    "holds": "needle-not-whole accessed-despite-site cleared-by-other-role discharged-on-hold",
}
"""Rules that no policy silences, by the standing danger that they speak of; vesicants without proof are D5."""

_NEVER_SILENT: Final = frozenset(name for names in NEVER_SILENT.values() for name in names.split())


def may_be_silenced(rule: str) -> bool:
    """Return whether a facility's policy may silence a rule: a known one that speaks of no standing danger."""
    return rule in load() and rule not in _NEVER_SILENT


def silenced_words(policy: Policy) -> tuple[str, ...]:
    """Return what the foot of a sheet says of each rule that the facility's policy silences or tries to."""
    return tuple(
        one.text() if may_be_silenced(one.rule) else f"The policy may not silence {one.rule}; it was checked."
        for one in policy.silenced
    )


def check(
    timeline: Timeline, policy: Policy, about: Set[int] | None = None, printed: Printed = in_digits
) -> tuple[Finding, ...]:
    """Return every fault that the rules find in ``timeline``, in no particular order, moments as ``printed``.

    With ``about``, the positions of some entries, it returns at least what is found of these and of the record as a
    whole, and costs little more than these entries do.
    """
    if not _BY_KIND:
        load()
        _dispatch()
    case = Case(timeline, policy, about, printed)
    found: list[Finding] = []
    silent = {one.rule for one in policy.silenced if may_be_silenced(one.rule)} if policy.silenced else frozenset()
    for step in timeline.steps:
        event: Any = step.entry.event
        if about is not None and step.entry.index not in about and event.kind not in _SAY_OF_THE_PATIENT:
            continue
        for look, row in _BY_KIND[event.kind]:
            if silent and row.name in silent:
                continue
            for fault in look(step, event, case):
                if not (fault.lacks and case.could_not_read(event.id, fault.lacks)):
                    found.append(_finding(row, fault, policy, step.entry))
                    case.reported.update({(whose(event.id, fact), fact): found[-1].severity for fact in fault.lacks})
    for row in _WHOLE:
        for fault in row.check(case) if row.name not in silent else ():
            if not (fault.lacks and fault.entry and case.could_not_read(fault.entry.event.id, fault.lacks)):
                found.append(_finding(row, fault, policy, fault.entry))
    return _once(found)


SAYS_MORE: Final = {
    "flush-below-usual": "flush-below-minimum",
    "heparin-allergy": "heparin-history",
    "heparin-lock-units": "treatment-strength-heparin",
    "heparin-lock-volume": "heparin-lock-units",
    "chlorhexidine-dressing-age": "chlorhexidine-dressing-premature",
    "chlorhexidine-under-age": "chlorhexidine-small-newborn",
}
"""For a rule the one that says more of the same cause: where both find it at one fact, the first is left out."""


def _once(found: list[Finding]) -> tuple[Finding, ...]:
    """Return ``found`` with one finding for one cause; a fact is known by its event and its name there."""
    said = {(one.rule, one.path[:3]) for one in found}
    return tuple(one for one in found if (SAYS_MORE.get(one.rule), one.path[:3]) not in said)


def _finding(row: Rule, fault: Found, policy: Policy, entry: Entry | None) -> Finding:
    fact = fault.fact
    keys = fact if isinstance(fact, tuple) else tuple(int(key) if key.isdigit() else key for key in fact.split("."))
    return Finding(
        row.name,
        fault.severity or row.severity,
        on_one_row(fault.message),
        fault.todo or row.todo,
        entry.path(*keys) if entry is not None else keys,
        fault.citations if fault.citations is not None else tuple(citations(row, policy)),
        entry.event.id if entry is not None else None,
        fault.related,
        gap=fault.gap,
    )


def citations(row: Rule, policy: Policy) -> Iterator[Citation]:
    """Yield where a rule's expectation comes from: its own sources, then those of the limits it uses."""
    seen: set[Citation] = set()
    for citation in (*row.citations, *(c for name in row.limits for c in policy.citations(name))):
        if citation not in seen:
            seen.add(citation)
            yield citation


__all__ = ["RULES", "Case", "Entry", "Found", "Rule", "Step", "check", "citations", "load"]
