"""What every resource of an episode's bundles shares: patient, stay, organisation, port, and how people are named."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final, Literal
from urllib.parse import quote

from lda_notes.record.episode import Episode, Port
from lda_notes.fhir.codes import codeable
from lda_notes.fhir.config import FHIR_ID, Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.build.naming import Names, port_role
from lda_notes.problems import Failure
from lda_notes.record.parts import Person

Style = Literal["literal", "conditional", "context"]
"""How resources that are not ours are referred to; ``context``: they stand in the bundle, created on condition."""

NOT_NAMED: Final = "not named"
"""Stands for the name of somebody of whom nothing is recorded."""

_PLAIN: Final = re.compile(r"[A-Za-z0-9._~:/-]*")


def token(system: str, value: str) -> str:
    """A search token ``system|value``; what a query cannot hold as it is, is percent-encoded."""
    return f"{system}|{value if _PLAIN.fullmatch(value) else quote(value, safe='')}"


@dataclass(frozen=True, slots=True)
class Frame:
    """The constants of one episode. References are shared objects: they are read, never changed."""

    config: Config
    names: Names
    episode: Episode
    style: Style
    subject: Json
    encounter: Json
    organization: Json
    port_name: str
    port: Json
    site: Json | None
    us_core: bool = False

    def reference(self, name: str) -> Json:
        """A reference to a resource of ours that stands in the same bundle."""
        return {"reference": f"urn:uuid:{name}"}

    def elsewhere(self, kind: str, name: str) -> Json:
        """A reference to a resource of ours that stands in another bundle, by its identity alone.

        It holds whether that bundle was ever sent or not.
        """
        return {"type": kind, "identifier": {"system": self.names.system, "value": name}}

    def entry(self, event: str) -> Json:
        """The identifier of an entry of the record."""
        return {"system": self.config.systems.entry, "value": f"{self.episode.id}/{event}"}

    def person(self, who: Person | None) -> Json | None:
        """A reference to somebody, or their name alone; None when nobody is recorded."""
        if who is None:
            return None
        if not who.id:
            return {"display": who.name or NOT_NAMED}
        return {"reference": self.practitioner(who.id)} if self._has_address(who.id) else self._by_number(who.id)

    def agent(self, who: Person) -> Json:
        """The fullest reference to somebody: address, staff identifier and name."""
        made: Json = {}
        if who.id:
            if self._has_address(who.id):
                made["reference"] = self.practitioner(who.id)
            made["identifier"] = {"system": self.config.systems.staff, "value": who.id}
        if who.name or not who.id:
            made["display"] = who.name or NOT_NAMED
        return made

    def _by_number(self, number: str) -> Json:
        return {"type": "Practitioner", "identifier": {"system": self.config.systems.staff, "value": number}}

    def _has_address(self, number: str) -> bool:
        return self.style != "literal" or number in self.config.staff or FHIR_ID.fullmatch(number) is not None

    def practitioner(self, number: str) -> str:
        """The address of somebody by staff identifier."""
        match self.style:
            case "literal":
                return self.config.staff.get(number) or f"Practitioner/{number}"
            case "conditional":
                return f"Practitioner?identifier={token(self.config.systems.staff, number)}"
            case "context":
                return f"urn:uuid:{self.names.of(f'staff/{number}')}"


def body_site(port: Port) -> Json | None:
    """Where the port lies: side and place in words, the code of the place without its side."""
    said = " ".join(word for word in (port.side, port.area) if word)
    words = ", ".join(word for word in (said, port.site_detail) if word)
    if not words:
        return None
    words = words[:1].upper() + words[1:]
    if port.area == "chest":
        return codeable("infraclavicular" if "infraclavicular" in (port.site_detail or "") else "chest", words)
    return codeable("upper arm", words) if port.area == "upper arm" else {"text": words}


def frame(episode: Episode, config: Config, style: Style, *, us_core: bool = False) -> Frame:
    """The constants of ``episode``. Raises `Failure` when the patient cannot be referred to as configured."""
    names = Names(config.systems.identity)
    port_name = names.of(port_role(episode.patient, episode.port))
    return Frame(
        config=config,
        names=names,
        episode=episode,
        style=style,
        subject=_subject(episode, config, style, names),
        encounter=_encounter(episode, config, style, names),
        organization=(
            {"reference": f"urn:uuid:{names.of(f'facility/{episode.stay.facility}')}"}
            if style == "context"
            else {"reference": config.organization}
        ),
        port_name=port_name,
        port={"reference": f"urn:uuid:{port_name}"},
        site=body_site(episode.port),
        us_core=us_core,
    )


def patient_role(episode: Episode) -> str:
    """The role of the patient, by the first identifier."""
    first = episode.patient.identifiers[0]
    return f"patient/{first.system}|{first.value}"


def _subject(episode: Episode, config: Config, style: Style, names: Names) -> Json:
    first = episode.patient.identifiers[0]
    match style:
        case "context":
            return {"reference": f"urn:uuid:{names.of(patient_role(episode))}"}
        case "conditional":
            return {"reference": f"Patient?identifier={token(first.system, first.value)}"}
        case "literal":
            known = config.patients.get(first.value)
            if known is None and not FHIR_ID.fullmatch(first.value):
                raise Failure(
                    f"episode {episode.id}: the patient's first identifier cannot stand in a reference such as "
                    "Patient/123; name the patient's reference under patients in the FHIR configuration, or set "
                    "references to conditional"
                )
            return {"reference": known or f"Patient/{first.value}"}


def _encounter(episode: Episode, config: Config, style: Style, names: Names) -> Json:
    match style:
        case "context":
            return {"reference": f"urn:uuid:{names.of(f'stay/{episode.id}')}"}
        case "conditional":
            return {"reference": f"Encounter?identifier={token(config.systems.visit, episode.id)}"}
        case "literal":
            known: Any = config.stays.get(episode.id)
            if known is None and not FHIR_ID.fullmatch(episode.id):
                return {"type": "Encounter", "identifier": {"system": config.systems.visit, "value": episode.id}}
            return {"reference": known or f"Encounter/{episode.id}"}
