"""Which fact of an event stands in which Observation: one table, read in both directions.

A *panel* is one Observation. Its ``value`` fact is the Observation's own value, the others are components. The
builder walks the table from facts to elements, the reader from elements to facts, so neither can forget a fact.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from lda_notes.record.events import KINDS
from lda_notes.record.exchange import Form, Said, said
from lda_notes.record.parts import Antisepsis, Dressing, Model, NextDue, Problem, Site, Teaching

DERIVED: Final = " ["
"""Separates a label from its suffix in a concept's key, where the key comes from a fact's declaration and not from the
table."""


def observation(label: str) -> str:
    """Return the key of the concept of an Observation that is called as the record calls the fact."""
    return f"{label}{DERIVED}observation]"


def component(label: str) -> str:
    """Return the key of the concept of a component that is called as the record calls the fact."""
    return f"{label}{DERIVED}component]"


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: where it stands in the part, which concept says it, in which form, in which unit (UCUM)."""

    path: tuple[str, ...]
    concept: str
    form: Form
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Panel:
    """One Observation. ``part`` is the field whose parts are the facts, empty when they are the event's own.

    ``many``: the part is a list, with one Observation for each item. ``note``: the fact that is sent as a note.
    ``bare``: the component that says why the value is absent when there are components as well.
    """

    concept: str
    value: Fact | None = None
    components: tuple[Fact, ...] = ()
    part: str = ""
    part_type: type[Model] | None = None
    many: bool = False
    note: str = ""
    bare: str = ""

    @property
    def role(self) -> str:
        """The part of the identity that distinguishes this Observation from the event's others."""
        return self.concept.partition(DERIVED)[0].replace(" ", "-")

    def facts(self) -> tuple[Fact, ...]:
        """Return the value fact and the components."""
        return (self.value, *self.components) if self.value else self.components

    def fields(self) -> frozenset[str]:
        """Return the fields of an event that it carries."""
        return frozenset([self.part] if self.part else [fact.path[0] for fact in self.facts()])


def _fact(field: str, concept: str, form: Form = "word", unit: str = "") -> Fact:
    return Fact(tuple(field.split(".")), concept, form, unit)


def _one(field: str, concept: str, form: Form = "word", unit: str = "") -> Panel:
    """Return a panel of a single fact."""
    return Panel(concept, value=_fact(field, concept, form, unit))


def _derived(part: type[Model], name: str) -> Fact:
    return as_fact(said(part, name))


def as_fact(said: Said) -> Fact:
    """Return a fact as its declaration says it is exchanged."""
    return Fact(said.path, component(said.label), said.form, said.unit)


PERSON: Final[tuple[tuple[str, str, Form], ...]] = (
    ("credential", "credential", "text"),
    ("id", "staff identifier", "text"),
    ("new_to_procedure", "new to procedure", "yes"),
)
"""The details of a person beyond the name, by field, concept and form."""

PANELS: Final[tuple[Panel, ...]] = (
    Panel(
        "care checks",
        components=(
            _fact("septum", "septum", "text"),
            _fact("reason", "reason for look", "text"),
            _fact("identifiers_checked", "identifier checked", "words"),
            _fact("allergies_checked", "allergies checked", "yes"),
            _fact("technique.hand_hygiene", "hand hygiene", "yes"),
            _fact("technique.masks", "masks", "yes"),
            _fact("technique.sterile_gloves", "sterile gloves", "yes"),
            _fact("technique.sterile_field", "sterile field", "yes"),
            _fact("extension_primed", "extension primed", "yes"),
            _fact("hub_scrub_s", "hub scrub time", "quantity", "s"),
            _fact("connector_changed", "connector changed", "yes"),
            _fact("disinfecting_caps", "disinfecting caps", "yes"),
            _fact("follows_removal", "follows removal", "text"),
            _fact("treatment", "treatment checked", "text"),
            _fact("came_from", "came from", "text"),
            _fact("inserted_at", "time of insertion", "absence"),
        ),
    ),
    Panel(
        "site",
        part="site",
        part_type=Site,
        note="detail",
        components=(
            _fact("skin", "skin"),
            _fact("erythema", "erythema"),
            _fact("erythema_mm", "erythema extent", "quantity", "mm"),
            _fact("swelling", "swelling"),
            _fact("tenderness", "tenderness"),
            _fact("drainage", "drainage"),
            _fact("port", "port feel"),
            _fact("scale.score", "scale score", "whole"),
            _fact("scale.name", "scale name", "text"),
            *(_derived(Site, name) for name in ("incision", "swelling_where", "swelling_change")),
        ),
    ),
    _one("tip_confirmed", "tip position", "yes"),
    Panel(
        "antisepsis",
        part="antisepsis",
        part_type=Antisepsis,
        value=_fact("agent", "antiseptic agent"),
        components=(
            _fact("started_at", "prep started", "moment"),
            _fact("skin", "skin moisture"),
            _fact("scrub_s", "scrub time", "quantity", "s"),
            _fact("dry_s", "dry time", "quantity", "s"),
            _fact("fully_dry", "fully dry", "yes"),
            _fact("lot", "lot", "text"),
            _fact("expires", "expiry", "day"),
        ),
    ),
    _one("attempts", "attempts", "whole"),
    Panel(
        "blood return",
        value=_fact("blood_return", "blood return"),
        bare="return not assessed",
        components=(
            _fact("blood_looks", "blood looks"),
            _fact("steps_tried", "step tried", "words"),
            _fact("samples", "sample", "texts"),
        ),
    ),
    _one("blood_return_before", "return before use"),
    _one("discard_ml", "waste volume", "quantity", "mL"),
    _one("withdrawn_ml", "withdrawn volume", "quantity", "mL"),
    Panel(
        "dressing found",
        components=(
            _fact("dressing_found", "dressing condition", "words"),
            _fact("dressed_at", "dressing put on", "moment"),
        ),
    ),
    Panel(
        "dressing",
        part="dressing",
        part_type=Dressing,
        components=(
            _fact("type", "dressing type"),
            _fact("chlorhexidine_disc", "chlorhexidine disc", "yes"),
            _fact("site_visible", "site visible", "yes"),
            _fact("without_tension", "without tension", "yes"),
            _fact("labelled", "labelled", "yes"),
            _derived(Dressing, "barrier_film"),
            _fact("securement", "securement", "text"),
            _fact("lot", "lot", "text"),
            _fact("expires", "expiry", "day"),
            _fact("latex", "latex", "yes"),
        ),
    ),
    _one("infusion", "infusion", "text"),
    _one("connections_secure", "connections", "yes"),
    _one("needle_intact", "needle whole", "yes"),
    _one("safety_engaged", "safety device", "yes"),
    _one("bleeding", "bleeding"),
    _one("cover", "cover", "text"),
    Panel(
        "use of line",
        components=(
            _fact("purpose", "purpose"),
            _fact("action", "use action"),
            _fact("what", "substance", "text"),
            _fact("vesicant", "vesicant", "yes"),
        ),
    ),
    _one("flow_ml_per_s", "injection rate", "quantity", "mL/s"),
    _one("pressure_psi", "injection pressure", "quantity", "[psi]"),
    _one("patency_before", "patency"),
    Panel(
        "evaluation",
        value=_fact("decision", "evaluation"),
        components=(
            _fact("evidence", "evidence", "words"),
            _fact("finding", "evaluation finding", "text"),
            _fact("cleared_by", "evaluator", "person"),
        ),
    ),
    Panel(
        "transfer",
        components=(
            _fact("to_unit", "new unit", "text"),
            _fact("to_room", "new room", "text"),
            _fact("to_setting", "new setting"),
            _fact("handed_to", "taken over by", "person"),
        ),
    ),
    Panel(
        "discharge",
        components=(
            _fact("destination", "destination"),
            _fact("needle_in", "needle left in", "yes"),
            _fact("handed_to", "taken over by", "person"),
        ),
    ),
    Panel(
        "tip after implantation",
        components=(_fact("tip_location", "tip location", "text"), _fact("tip_method", "confirmed by", "text")),
    ),
    _one("complete", "port whole", "yes"),
    Panel(
        "problem",
        part="problems",
        part_type=Problem,
        many=True,
        value=_fact("what", "problem", "text"),
        components=(
            _fact("action", "action taken", "text"),
            _fact("told", "person told", "person"),
            _fact("told_at", "told at", "moment"),
            _fact("reply", "reply", "text"),
        ),
    ),
    _one("pain", "pain", "whole"),
    _one("response", "response"),
    Panel(
        "teaching",
        part="teaching",
        part_type=Teaching,
        value=_fact("about", "teaching", "text"),
        components=(_fact("to", "learner", "text"), _fact("understanding", "understanding")),
    ),
    Panel(
        "next due",
        part="next_due",
        part_type=NextDue,
        components=(
            _fact("needle_change", "needle change told", "moment"),
            _fact("dressing_change", "dressing change told", "moment"),
            _fact("flush", "flush told", "moment"),
        ),
    ),
    _one("weight_kg", "weight", "quantity", "kg"),
    _one("remarks", "remark", "text"),
    _one("text", "addendum", "text"),
)
"""Every Observation that events can give rise to, in the order in which they are sent."""

_ELSEWHERE: Final = frozenset(
    {
        *("id", "kind", "at", "charted_at", "by", "verified_by", "late_entry", "seal", "order", "supplies"),
        *("anesthetic", "needle", "flushes", "lock", "drug", "dose_mg", "dose_units", "volume_ml", "lumen_ml"),
        *("reconstituted_at", "second_dose_of", "drug_lot", "of", "adds", "sets"),
    }
)
"""Fields that Procedures, administrations, devices and Provenances carry."""


def derived_fields(kind: str) -> Iterator[str]:
    """Yield the fields of a kind that no row above and no other resource carries: each is an Observation of its own."""
    carried = _ELSEWHERE.union(*(panel.fields() for panel in PANELS))
    for name in KINDS[kind].model_fields:
        if name not in carried or (kind, name) == ("flushed elsewhere", "lock"):
            yield name
