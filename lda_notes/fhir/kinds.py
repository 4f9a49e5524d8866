"""The Observations that each kind of event sends, and the name of its Procedure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from lda_notes.fhir.panels import PANELS, Fact, Panel, as_fact, component, derived_fields, observation
from lda_notes.record import events as ev
from lda_notes.record.exchange import part_of, said, said_of_part


def _panel_of(kind: type[ev.Event], name: str) -> Panel:
    """Return the Observation of a field that no row above names: as its declaration says it."""
    part, many = part_of(kind.model_fields[name].annotation)
    concept = observation(str(kind.model_fields[name].title))
    if part is not None:
        rows = tuple(as_fact(one) for one in said_of_part(part))
        return Panel(concept, components=rows, part=name, part_type=part, many=many)
    one = said(kind, name)
    if one.form in ("words", "texts", "person"):
        return Panel(concept, components=(as_fact(one),))
    return Panel(concept, value=Fact(one.path, concept, one.form, one.unit))


_OF_ONE_KIND: Final = frozenset({"transfer", "discharge"})
"""Panels whose fields several kinds have; only the kind of the same name sends them."""


@dataclass(frozen=True, slots=True)
class Act:
    """The name of a kind's Procedure, and what it does to the port (``focalDevice.action``)."""

    procedure: str
    action: str


ACTS: Final[Mapping[str, Act]] = MappingProxyType(
    {
        "access": Act("access", "accessed"),
        "de-access": Act("de-access", "de-accessed"),
        "dressing change": Act("dressing change", "dressing exchanged"),
        "flush": Act("flush", "flushed"),
        "line use": Act("line use", "used"),
        "patency treatment": Act("patency treatment", "flushed"),
        "port implanted": Act("port implanted", "implanted"),
        "port removed": Act("port removed", "removed"),
    }
)
"""The kinds that are Procedures. The others are looks, moves and corrections: Observations alone."""

_REASON_ELSEWHERE: Final = frozenset({*ACTS, "addendum", "amendment", "retraction"})
"""Kinds whose reason stands in the Procedure or in the Provenance."""


def _kept(panel: Panel, kind: str) -> Panel | None:
    """Return the panel with the facts that a kind can have; None when it has none of them."""
    fields = ev.KINDS[kind].model_fields
    if panel.concept in _OF_ONE_KIND and panel.concept != kind:
        return None
    if panel.part:
        return panel if panel.part in fields else None

    def has(fact: Fact) -> bool:
        return fact.path[0] in fields and not (fact.path == ("reason",) and kind in _REASON_ELSEWHERE)

    value = panel.value if panel.value is not None and has(panel.value) else None
    components = tuple(fact for fact in panel.components if has(fact))
    return replace(panel, value=value, components=components) if value or components else None


PANELS_OF: Final[Mapping[str, tuple[Panel, ...]]] = MappingProxyType(
    {
        kind: (
            *(kept for panel in PANELS if (kept := _kept(panel, kind))),
            *(_panel_of(ev.KINDS[kind], name) for name in derived_fields(kind)),
        )
        for kind in ev.KINDS
    }
)
"""The panels of each kind of event."""

EMPTY_INNER: Final[Mapping[str, str]] = MappingProxyType(
    {"technique": "technique", "needle": component("needle of the puncture")}
)
"""The component that says of an inner part that it was opened but contains nothing."""
