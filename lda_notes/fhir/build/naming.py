"""Names of resources: every identity is computed from what it stands for, so that a second run builds the same.

An identity is a version 5 UUID (RFC 9562, section 5.5) over a role, in the name space of the configured identifier
system. The same UUID is the ``fullUrl`` of the entry in a bundle. The role of a port names the patient by system and
value of the first record number; the role of everything else names the port by its identity, then episode, event and
part. So two patients never share an identity, whatever their episodes are called.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.tokens import token
from lda_notes.record.episode import Episode, Patient, Port

_VARIANT: Final = {digit: "89ab"[int(digit, 16) & 3] for digit in "0123456789abcdef"}


class Names:
    """Makes identities in one identifier system (an absolute URI)."""

    __slots__ = ("_space", "system")

    def __init__(self, system: str) -> None:
        self.system = system
        self._space = uuid.uuid5(uuid.NAMESPACE_URL, system).bytes

    def of(self, role: str) -> str:
        """Return the identity of a role: ``uuid.uuid5`` of it, at a third of its cost."""
        digest = hashlib.sha1(self._space + role.encode(), usedforsecurity=False).hexdigest()
        return f"{digest[:8]}-{digest[8:12]}-5{digest[13:16]}-{_VARIANT[digest[16]]}{digest[17:20]}-{digest[20:32]}"

    def identifier(self, name: str) -> list[dict[str, Any]]:
        """Return the ``identifier`` element of the resource with that identity."""
        return [{"system": self.system, "value": name}]

    def condition(self, name: str) -> str:
        """Return the search that finds the resource with that identity."""
        return f"identifier={self.system}|{name}"

    def tag_condition(self, name: str) -> str:
        """Return the search for a Provenance, which has no identifier in R4 and carries its identity as a tag."""
        return f"_tag={self.system}|{name}"


def port_role(patient: Patient, port: Port) -> str:
    """Return the role of a port: it stays the same port in every stay of the patient.

    The first record number is the one that identities keep: a corrected or merged number is added behind it.
    """
    owner = patient.identifiers[0]
    return port_role_of(owner.system, owner.value, port.id)


def port_role_of(system: str, value: str, port: str) -> str:
    """Return the role of a port by the record number that identities keep and its id."""
    return f"port/{token(system, value)}/{port}"


def port_identities(episode: Episode, config: Config) -> Iterator[str]:
    """Yield the identity of the port, then those that it would have under each further record number."""
    names = Names(config.systems.identity)
    for number in episode.patient.identifiers:
        owner = episode.patient.model_copy(update={"identifiers": (number,)})
        yield names.of(port_role(owner, episode.port))


def event_role(port: str, episode: str, event: str, part: str) -> str:
    """Return the role of one part of an event; ``port`` is the identity of the port, and with it of the patient."""
    return f"{port}/{episode}/{event}/{part}"


def record_role(port: str, episode: str, part: str) -> str:
    """Return the role of a part of a record that no event says; no event is called so, since names have no ``/``."""
    return f"{port}/{episode}//{part}"
