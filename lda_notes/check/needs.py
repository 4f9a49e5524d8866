"""What must be recorded for each kind, in the order of the work: one table for the check, the worksheet and the chart.

`NEEDS` holds the table, `missing` tells which of its facts an event lacks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from operator import itemgetter
from typing import Any, Final, NamedTuple

from pydantic import BaseModel

from lda_notes.check import conditions as asked
from lda_notes.check import needs_rows as row
from lda_notes.check.conditions import Need
from lda_notes.check.needs_rows import must, only, should
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import NotAssessed, NotDone, Person

NEEDS: Final[Mapping[str, tuple[Need, ...]]] = {
    "access": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ALLERGIES, row.ORDER, row.REASON),
        *row.SITE,
        must("tip_confirmed", "Is the tip position confirmed?", row.OPEN_RN, row.INS, when=asked.first_access),
        *row.ANESTHETIC,
        *row.ASEPSIS,
        *row.NEEDLE,
        *row.BLOOD,
        row.DISCARD,
        *row.FLUSH,
        *only(asked.nothing_runs, *row.LOCK),
        should("infusion", "What runs through it?", row.CP, when=asked.unlocked),
        *row.DRESSING,
        row.CAPS,
        *row.CLOSING,
        *(row.DUE, row.DUE_NEEDLE, row.DUE_DRESSING),
        *row.WHO,
    ),
    "arrival accessed": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ALLERGIES),
        should("came_from", "Where did the patient come from?", row.CP),
        *row.SITE,
        must("needle", "Which needle is in?", row.INS, row.HOME, row.OPEN_RN),
        *(need for need in row.NEEDLE if need.name in ("needle.gauge", "needle.length_mm", "needle.non_coring")),
        must("inserted_at", "When was the needle put in?", row.CDC, row.INS),
        must("dressing", "Which dressing is on?", row.CDC, row.INS),
        must("dressing.type", "Which kind of dressing?", row.CDC, row.INS),
        must("dressing_found", "How was the dressing found?", row.INS),
        must("dressed_at", "When was the dressing put on?", row.CDC, row.INS),
        *row.BLOOD,
        *row.PROBLEMS,
        *(row.DUE, row.DUE_NEEDLE, row.DUE_DRESSING),
        *row.WHO,
    ),
    "de-access": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ORDER, row.REASON),
        *row.SITE,
        *row.BLOOD,
        *row.FLUSH,
        *row.LOCK,
        must("needle_intact", "Did the needle come out whole?", row.INS),
        must("safety_engaged", "Did the safety device lock?", row.INS),
        should("bleeding", "Did it bleed?", row.INS),
        should("cover", "What covers the puncture?", row.INS),
        *row.CLOSING,
        *only(asked.no_needle_follows, row.DUE, row.DUE_FLUSH),
        *row.WHO,
    ),
    "dressing change": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ALLERGIES),
        must("dressing_found", "How was the old dressing found?", row.INS),
        *row.SITE,
        *row.FRICTION,
        *row.DRESSING,
        *(row.CONNECTOR, row.CAPS),
        *row.CLOSING,
        *(row.DUE, row.DUE_DRESSING),
        *row.WHO,
    ),
    "line check": (
        row.SEPTUM,
        *row.SITE,
        must("dressing_found", "How is the dressing?", row.INS, when=asked.needle_in),
        should("connections_secure", "Are connections tight and clamps right?", row.CP, when=asked.needle_in),
        *row.PROBLEMS,
        *row.WHO,
    ),
    "flush": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ALLERGIES, row.ORDER, row.REASON),
        *row.SITE,
        *row.BLOOD,
        row.DISCARD,
        *row.FLUSH,
        *row.LOCK,
        *row.CLOSING,
        *(row.DUE, row.DUE_FLUSH),
        *row.WHO,
    ),
    "line use": (
        must("purpose", "What was the line used for?", row.INS),
        row.SEPTUM,
        *only(asked.under_way, row.IDENTIFIERS, row.ALLERGIES),
        must(
            "action", "Started, stopped or given?", row.CP, when=lambda e, _: e.purpose in ("infusion", "transfusion")
        ),
        must("what", "What was given or drawn?", row.INS, when=lambda e, _: e.purpose != "blood sampling"),
        should("vesicant", "Does it harm tissue outside the vein?", row.ONS, when=asked.may_harm),
        must("blood_return_before", "Blood return right before?", row.ONS, row.INS, when=asked.under_way),
        must("steps_tried", "What was tried to get blood?", row.INS, row.ONS, when=asked.no_blood),
        should(
            "discard_ml",
            "How much of the first aspirate was discarded, in mL?",
            row.AYRSHIRE,
            row.INS,
            when=asked.sampling,
        ),
        must("samples", "Which samples were drawn?", row.AYRSHIRE, row.INS, when=asked.sampling),
        must("flow_ml_per_s", "Injection rate, in mL per second?", row.POWER, when=asked.injection),
        must("pressure_psi", "Pressure limit set on the injector, in psi?", row.POWER, when=asked.injection),
        *row.PROBLEMS,
        must("response", "How did the patient take it?", row.INS, when=asked.drug_given),
        *row.WHO,
    ),
    "patency treatment": (
        *(row.SEPTUM, row.IDENTIFIERS, row.ALLERGIES, row.ORDER),
        *row.SITE,
        must("patency_before", "How was the line before the dose?", row.LABEL),
        must("drug", "Which thrombolytic?", row.LABEL),
        must("lumen_ml", "Internal volume of the lumen, in mL?", row.LABEL, when=asked.dose_by_lumen),
        should("reconstituted_at", "When was it mixed?", row.LABEL),
        must("dose_mg", "Dose, in mg?", row.LABEL, when=lambda e, _: e.drug == "alteplase"),
        must("dose_units", "Dose, in units?", row.INS, when=lambda e, _: e.drug == "urokinase"),
        must("volume_ml", "Volume put in, in mL?", row.LABEL),
        *row.PROBLEMS,
        row.RESPONSE,
        *row.WHO,
    ),
    "patency check": (
        must("treatment", "Which treatment is checked?", row.LABEL),
        *(row.SEPTUM, row.IDENTIFIERS),
        must("blood_return", "Blood return: present, sluggish or none?", row.LABEL, row.INS, row.ONS),
        should("blood_looks", "How did the blood look?", row.INS, row.ONS, when=asked.blood),
        must(
            "withdrawn_ml", "How much was withdrawn, in mL?", row.LABEL, when=lambda e, _: e.blood_return == "present"
        ),
        *only(lambda e, _: e.blood_return == "present", *row.FLUSH, *row.LOCK),
        *row.WHO,
    ),
    "evaluation": (
        row.SEPTUM,
        must("cleared_by", "Who evaluated the line?", row.CP),
        must("cleared_by.name", "Name of the one who evaluated?", row.CP),
        must("cleared_by.credential", "Role of the one who evaluated?", row.CP),
        must("decision", "What was decided?", row.CP),
        must("evidence", "What does it rest on?", row.CP, when=asked.cleared),
        should("finding", "What did the evaluation show?", row.CP),
        *row.WHO,
    ),
    "needle dislodged": (
        *(row.SEPTUM, row.IDENTIFIERS),
        *row.SITE,
        *row.PROBLEMS,
        *row.WHO,
    ),
    "extravasation care": (
        *(row.SEPTUM, row.IDENTIFIERS),
        *row.SITE,
        *row.PROBLEMS,
        *row.WHO,
    ),
    "patient facts": row.WHO,
    "port facts": row.WHO,
    "flushed elsewhere": (
        row.SEPTUM,
        *row.WHO,
    ),
    "transfer": (
        must("to_unit", "Which unit?", row.CP),
        should("to_setting", "What kind of unit is it?", row.NHSN),
        should("handed_to", "Who took over the line?", row.CP),
        should("handed_to.name", "Name of the nurse who took over?", row.CP),
        *row.WHO,
    ),
    "discharge": (
        must("destination", "Where does the patient go?", row.HOME),
        must("needle_in", "Does the patient leave with the needle in?", row.HOME),
        must("handed_to", "Who looks after the line from here?", row.HOME, when=asked.leaves_accessed),
        must("handed_to.name", "Name of the one who takes over?", row.HOME),
        *row.TEACHING,
        must("next_due", "What is due next?", row.HOME, row.AYRSHIRE),
        must("next_due.needle_change", "When is the needle due out?", row.HOME, when=asked.leaves_accessed),
        must("next_due.dressing_change", "When is the dressing due?", row.HOME, when=asked.leaves_accessed),
        must("next_due.flush", "When is the next flush due?", row.AYRSHIRE, when=lambda e, _: e.needle_in is False),
        *row.WHO,
    ),
    "port implanted": (
        must("tip_location", "Where does the tip lie?", row.OPEN_RN, row.INS),
        should("tip_method", "How was the tip position confirmed?", row.OPEN_RN, row.INS),
        *row.WHO,
    ),
    "port removed": (
        should("reason", "Why was it removed?", row.INS),
        must("complete", "Did port and catheter come out whole?", row.INS),
        *row.WHO,
    ),
    "addendum": (
        must("of", "Which entry is added to?", row.AHIMA),
        must("text", "What is added?", row.AHIMA, row.REVISION, when=asked.adds_nothing),
        row.WHY,
        *row.SIGNED,
    ),
    "amendment": (
        must("of", "Which entry is amended?", row.AHIMA),
        must("sets", "What is right?", row.AHIMA, row.REVISION),
        row.WHY,
        *row.SIGNED,
    ),
    "retraction": (must("of", "Which entry is retracted?", row.AHIMA), row.WHY, *row.SIGNED),
    "co-signature": (
        must("of", "Which entry is co-signed?", row.AHIMA),
        *row.SIGNED,
    ),
}
"""Needs of each kind by its tag, in the order of the work."""


EPISODE_NEEDS: Final[tuple[Need, ...]] = (
    must("patient.birth_date", "When was the patient born?", row.GOAL),
    must("patient.weight_kg", "Weight, in kg?", row.LABEL, when=asked.small_or_treated),
    must("patient.allergies", "Which allergies are known?", row.OPEN_RN, row.INS),
    should("stay.admitted_at", "When did the stay begin?", row.NHSN),
    should("stay.setting", "What kind of unit is it?", row.NHSN),
    must("port.side", "Which side of the body?", row.INS, row.HOME, row.OPEN_RN),
    must("port.area", "Which part of the body?", row.INS, row.HOME, row.OPEN_RN),
    should("port.implanted_on", "When was the port implanted?", row.INS, row.HOME),
    must("port.power", "Is the port rated for power injection?", row.OPEN_RN, row.HOME, when=asked.injected),
    must("port.catheter_volume_ml", "Volume of catheter and port, in mL?", row.CP, option="catheter_volume_required"),
    should("port.tip", "How is the tip position known?", row.OPEN_RN, row.INS),
)
"""Needs of the record outside its events; paths lead from the episode, and ``when`` is asked with the episode twice."""


class Missing(NamedTuple):
    """A needed fact that an event lacks: ``path`` leads to it inside the event, ``label`` names it in a list."""

    need: Need
    path: Path
    label: str


# -- what is missing --

_ANSWERS: Final = frozenset({NotAssessed, NotDone, str})
_EMPTY_IS_AN_ANSWER: Final = frozenset({"patient.allergies"})


@dataclass(slots=True)
class _Node:
    """A need with those of the facts inside its part, so that an absent part is told once."""

    key: str
    need: Need | None
    children: list[_Node]


def _tree(needs: tuple[Need, ...]) -> list[_Node]:
    top: list[_Node] = []
    for need in needs:
        level = top
        for position, key in enumerate(need.path):
            node = next((node for node in level if node.key == key), None)
            if node is None:
                node = _Node(key, None, [])
                level.append(node)
            if position == len(need.path) - 1:
                node.need = need
            level = node.children
    return top


_Rows = tuple[tuple[str, Need | None, "_Level | None"], ...]


class _Level(NamedTuple):
    """What is asked of one part, sorted by what it costs to look: nearly every record is full.

    ``always`` are the keys asked for in any case, for one look at all of them; ``rows`` holds everything.
    """

    always: Callable[[dict[str, Any]], tuple[Any, ...]]
    others: _Rows
    rows: _Rows


def _level(nodes: list[_Node]) -> _Level:
    rows: list[tuple[str, Need | None, _Level | None]] = []
    plain: list[str] = []
    others: list[tuple[str, Need | None, _Level | None]] = []
    for node in nodes:
        below = node.children
        inner = _level(below[0].children if below[0].key == "*" else below) if below else None
        row = (node.key, node.need, inner)
        rows.append(row)
        need = node.need
        conditional = need is None or need.when or need.given or need.suits or need.name in _LISTS
        if inner is None and not conditional:
            plain.append(node.key)
        else:
            others.append(row)
    keys = [*plain, *plain[:1]] if len(plain) == 1 else plain  # itemgetter of one key gives no tuple
    return _Level(itemgetter(*keys) if keys else lambda _: (), tuple(others), tuple(rows))


_LISTS: Final = frozenset({"identifiers_checked", "dressing_found", "samples", "evidence", "steps_tried", "actions"})
"""Needed facts that are lists: empty ones are missing too."""

_RECORD: Final = "record"
_BY_KIND: Final = {**NEEDS, _RECORD: EPISODE_NEEDS}
_OPTIONS: Final = tuple(dict.fromkeys(need.option for needs in _BY_KIND.values() for need in needs if need.option))


@cache
def _levels(on: frozenset[str]) -> dict[str, _Level]:
    """What is asked of each kind, and of the record, while these options of the policy are "yes"."""
    return {
        kind: _level(_tree(tuple(need for need in needs if need.option is None or need.option in on)))
        for kind, needs in _BY_KIND.items()
    }


def _asked(policy: Policy) -> dict[str, _Level]:
    return _levels(frozenset(option for option in _OPTIONS if policy.choice(option) == "yes"))


class _About(NamedTuple):
    event: Any
    episode: Episode
    policy: Policy


def missing(event: ev.Event, episode: Episode, policy: Policy = DEFAULT) -> tuple[Missing, ...]:
    """Return every needed fact that ``event`` lacks, in the order of the work.

    A part that is absent is one gap, not one for each of its facts; a part that was not done or not assessed is an
    answer. Rows whose policy option is not "yes" are no gaps.
    """
    ((_, found),) = missing_in_events((event,), episode, policy)
    return found


def missing_in_events(
    events: Iterable[ev.Event], episode: Episode, policy: Policy = DEFAULT
) -> Iterator[tuple[ev.Event, tuple[Missing, ...]]]:
    """Yield each event with every needed fact that it lacks."""
    asked_of = _asked(policy)
    for event in events:
        found: list[Missing] = []
        kind: str = event.kind  # type: ignore[attr-defined]
        _walk(event, asked_of[kind], (), None, _About(event, episode, policy), found)
        yield event, tuple(found)


def missing_in_episode(episode: Episode, policy: Policy = DEFAULT) -> tuple[Missing, ...]:
    """Return every needed fact of patient, stay and port that the record lacks; paths lead from the episode."""
    found: list[Missing] = []
    _walk(episode, _asked(policy)[_RECORD], (), None, _About(episode, episode, policy), found)
    return tuple(found)


def _walk(
    part: BaseModel,
    level: _Level,
    path: Path,
    held_by: tuple[type[BaseModel], str] | None,
    about: _About,
    found: list[Missing],
) -> None:
    values = part.__dict__
    for key, need, inner in level.rows if None in level.always(values) else level.others:
        value = values[key]
        if value is None:
            if need is not None and _is_gap(need, part, about):
                found.append(Missing(need, (*path, key), _title(type(part), key, held_by)))
        elif value.__class__ is tuple:
            if value:
                if inner is not None:
                    for position, item in enumerate(value):
                        _walk(item, inner, (*path, key, position), (type(part), key), about, found)
            elif need is not None and need.name not in _EMPTY_IS_AN_ANSWER and _is_gap(need, part, about):
                found.append(Missing(need, (*path, key), _title(type(part), key, held_by)))
        elif inner is None or value.__class__ in _ANSWERS:
            continue
        elif inner.others or None in inner.always(value.__dict__):
            _walk(value, inner, (*path, key), (type(part), key), about, found)


def _is_gap(need: Need, part: Any, about: _About) -> bool:
    return (need.given is None or need.given(part)) and need.applies(about.event, about.episode, about.policy)


# -- how gaps are named --


def _title(part: type[BaseModel], key: str, held_by: tuple[type[BaseModel], str] | None) -> str:
    title = part.model_fields[key].title or key.replace("_", " ")
    if part is Person and held_by is not None:
        holder, held_as = held_by
        return f"{title} of {holder.model_fields[held_as].title}"
    return title


def label(need: Need, kind: str) -> str:
    """Return how lists of gaps name the fact that ``need`` asks of an event of ``kind``."""
    part: type[BaseModel] = ev.KINDS[kind]
    held_by: tuple[type[BaseModel], str] | None = None
    for key in need.path[:-1]:
        if key != "*":
            held_by = (part, key)
            part = next(_parts(part.model_fields[key].annotation))
    return _title(part, need.path[-1], held_by)


def _parts(annotation: Any) -> Iterator[type[BaseModel]]:
    """Yield the models inside an annotation that hold facts, not a reason why there are none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        if annotation not in _ANSWERS:
            yield annotation
        return
    for inner in getattr(annotation, "__args__", ()):
        yield from _parts(inner)
