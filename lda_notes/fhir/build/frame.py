"""Elements common to all resources of an episode: patient, stay, organization, port, and how people are named."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

from lda_notes.fhir.build.naming import Names, event_role, port_role, record_role
from lda_notes.fhir.coder import Coder, coder
from lda_notes.fhir.config import FHIR_ID, US_CORE, Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.tokens import token
from lda_notes.problems import Failure
from lda_notes.record.episode import Episode, PatientIdentifier, Port
from lda_notes.record.events import CareEvent, Event
from lda_notes.record.parts import Person

Style = Literal["literal", "conditional", "context"]
"""How resources that are not ours are referred to; ``context``: they stand in the bundle, created on condition."""

SEPTUM: Final = "septum"
"""Name of our own extension that says which septum a resource is about."""

NOT_NAMED: Final = "not named"
"""Stands for the name of somebody of whom nothing is recorded."""


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
    say: Coder

    @property
    def claims_us_core(self) -> bool:
        """Whether resources claim US Core, so that they must keep to it."""
        return US_CORE in self.config.profiles

    def septum(self, name: str | None) -> list[Json]:
        """Return the extension that names the septum that a resource is about."""
        return [{"url": f"{self.config.extensions}/{SEPTUM}", "valueString": name}] if name is not None else []

    def septum_of(self, event: Event) -> str | None:
        """Return the septum that an event names, or the only one; None where that is not known or asked."""
        if not isinstance(event, CareEvent):
            return None
        septa = self.episode.port.septa
        return event.septum if event.septum in septa else septa[0] if len(septa) == 1 else None

    def unit(self, unit: str) -> Json:
        """Return a reference to a unit of the facility."""
        number = place_number(self.episode, unit)
        if self.style == "context":
            return {"reference": f"urn:uuid:{self.names.of(f'place/{number}')}"}
        known = self.config.units.get(unit)
        if known is not None:
            return {"reference": known}
        return {
            "type": "Location",
            "identifier": {"system": self.config.systems.place, "value": number},
            "display": unit,
        }

    def reference(self, name: str) -> Json:
        """Return a reference to a resource of ours that stands in the same bundle."""
        return {"reference": f"urn:uuid:{name}"}

    def elsewhere(self, kind: str, name: str) -> Json:
        """Return a reference to a resource of ours that stands in another bundle, by its identity alone.

        It is valid whether that bundle was ever sent or not.
        """
        return {"type": kind, "identifier": {"system": self.names.system, "value": name}}

    def entry(self, event: str) -> Json:
        """Return the identifier of an entry of the record: the identity of the port, the episode, the event."""
        return {"system": self.config.systems.entry, "value": f"{self.port_name}/{self.episode.id}/{event}"}

    def event_name(self, event: str, part: str) -> str:
        """Return the identity of one part of an event."""
        return self.names.of(event_role(self.port_name, self.episode.id, event, part))

    def record_name(self, part: str) -> str:
        """Return the identity of a part of the record that belongs to no event."""
        return self.names.of(record_role(self.port_name, self.episode.id, part))

    def person(self, who: Person | None) -> Json | None:
        """Return a reference to somebody, or their name alone; None when nobody is recorded."""
        if who is None:
            return None
        if not who.id:
            return {"display": who.name or NOT_NAMED}
        return {"reference": self.practitioner(who.id)} if self._has_address(who.id) else self._by_number(who.id)

    def agent(self, who: Person) -> Json:
        """Return the fullest reference to somebody: address, staff identifier and name."""
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
        """Return the address of somebody by staff identifier."""
        if self.style == "context":
            return f"urn:uuid:{self.names.of(f'staff/{number}')}"
        by_number = f"Practitioner?identifier={token(self.config.systems.staff, number)}"
        return self.config.staff.get(number) or (by_number if self.style == "conditional" else f"Practitioner/{number}")


def place_number(episode: Episode, unit: str, room: str | None = None) -> str:
    """Return the number of a unit, or of a room on it: facility, unit and room, by name."""
    return "/".join(part for part in (episode.stay.facility, unit, room) if part is not None)


def body_site(port: Port, say: Coder) -> Json | None:
    """Return where the port lies: side and place in words, the code of the place without its side."""
    said = " ".join(word for word in (port.side, port.area) if word)
    words = ", ".join(word for word in (said, port.site_detail) if word)
    if not words:
        return None
    words = words[:1].upper() + words[1:]
    if port.area == "chest":
        return say.worded("infraclavicular" if "infraclavicular" in (port.site_detail or "") else "chest", words)
    return say.worded("upper arm", words) if port.area == "upper arm" else {"text": words}


def frame(episode: Episode, config: Config, style: Style) -> Frame:
    """Return the constants of ``episode``. Raises `Failure` when the patient cannot be referred to as configured."""
    names = Names(config.systems.identity)
    say = coder(config.codes)
    port_name = names.of(port_role(episode.patient, episode.port))
    return Frame(
        config=config,
        names=names,
        episode=episode,
        style=style,
        subject=_subject(episode, config, style, names),
        encounter=_encounter(episode, config, style, names.of(stay_role(port_name, episode))),
        organization=_organization(episode, config, style, names),
        port_name=port_name,
        port={"reference": f"urn:uuid:{port_name}"},
        site=body_site(episode.port, say),
        say=say,
    )


def of_stay(frame: Frame, other: Episode) -> Frame:
    """Return the frame of another stay of the same line, to name what that stay's own bundles contain."""
    encounter = frame.encounter
    if other.id != frame.episode.id:
        encounter = (
            {"type": "Encounter", "identifier": {"system": frame.config.systems.visit, "value": other.id}}
            if frame.style == "context"
            else _encounter(other, frame.config, frame.style, "")
        )
    port_name = frame.names.of(port_role(other.patient, other.port))
    return replace(frame, episode=other, encounter=encounter, port_name=port_name)


def patient_role(episode: Episode) -> str:
    """Return the role of the patient, by the first identifier."""
    first = episode.patient.identifiers[0]
    return f"patient/{first.system}|{first.value}"


def stay_role(port: str, episode: Episode) -> str:
    """Return the role of the stay; ``port`` is the identity of the port."""
    return f"stay/{port}/{episode.id}"


def number_in_use(episode: Episode) -> PatientIdentifier:
    """Return the record number by which the patient is found today: the first that was not replaced by another one."""
    listed = episode.patient.identifiers
    return next((one for one in listed if not one.replaced), listed[0])


def _subject(episode: Episode, config: Config, style: Style, names: Names) -> Json:
    number = number_in_use(episode)
    known = config.patients.get(number.value)
    if style == "context":
        return {"reference": f"urn:uuid:{names.of(patient_role(episode))}"}
    if style == "conditional" and known is None:
        return {"reference": f"Patient?identifier={token(number.system, number.value)}"}
    if known is None and not FHIR_ID.fullmatch(number.value):
        raise Failure(
            f"episode {episode.id}: the patient's record number cannot stand in a reference such as Patient/123; name "
            "the patient's reference under patients in the FHIR configuration, or set references to conditional"
        )
    # With the number: an id alone may be somebody else's on that server.
    return {
        "reference": known or f"Patient/{number.value}",
        "identifier": {"system": number.system, "value": number.value},
    }


def _encounter(episode: Episode, config: Config, style: Style, name: str) -> Json:
    known = config.stays.get(episode.id)
    if style == "context":
        return {"reference": f"urn:uuid:{name}"}
    if style == "conditional" and known is None:
        return {"reference": f"Encounter?identifier={token(config.systems.visit, episode.id)}"}
    if known is None and not FHIR_ID.fullmatch(episode.id):
        return {"type": "Encounter", "identifier": {"system": config.systems.visit, "value": episode.id}}
    return {"reference": known or f"Encounter/{episode.id}"}


def _organization(episode: Episode, config: Config, style: Style, names: Names) -> Json:
    facility = episode.stay.facility
    if style == "context":
        return {"reference": f"urn:uuid:{names.of(f'facility/{facility}')}"}
    by_name = f"Organization?identifier={token(config.systems.facility, facility)}"
    return {"reference": config.organization or by_name}
