"""Which addresses may be spoken to: https anywhere, plain http on this machine alone."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit

from lda_notes.problems import Failure


@dataclass(frozen=True, slots=True)
class Address:
    """The base address of a server, without a slash at its end; ``exact`` is the address as given."""

    base: str
    exact: str
    origin: str
    """Scheme, host and port: what a token may be sent to."""
    is_local: bool
    """True for this machine's own loopback address."""

    def at(self, *steps: str) -> str:
        """Return the address below the base."""
        return "/".join((self.base, *steps))


def address(text: str, what: str = "the server's address", *, may_have_query: bool = False) -> Address:
    """Read an address; ``what`` is how a sentence calls it. Raises `Failure` when it may not be spoken to.

    What is refused is not repeated: an address with a name and password in it contains a secret.
    """
    try:
        parts = urlsplit(text.strip())
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")
    except ValueError:
        raise Failure(f"{what} is no web address; give one such as https://fhir.example.org/r4") from None
    if parts.username is not None or parts.password is not None:
        raise Failure(f"{what} holds a name or password; leave it out and give a token by file or environment")
    if parts.scheme not in ("http", "https") or not host or port == 0 or any(sign.isspace() for sign in text.strip()):
        raise Failure(f"{what} is no web address; give one such as https://fhir.example.org/r4")
    if parts.fragment or (parts.query and not may_have_query):
        raise Failure(f"{what} has a part after ? or #; give the base address alone")
    is_local = _is_loopback(host)
    if parts.scheme == "http" and not is_local:
        raise Failure(f"{what} is plain http, so anybody on the way could read the records; give an https address")
    shown = f"[{host}]" if ":" in host else host
    place = f"{parts.scheme}://{shown}{f':{port}' if port else ''}"
    return Address(place + parts.path.rstrip("/"), text.strip(), str(origin_of(text.strip())), is_local)


def origin_of(url: str) -> str | None:
    """Scheme, host and port of an address that a server named; None when it is none."""
    try:
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            return None
        host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
        return f"{parts.scheme}://{host}:{parts.port or (443 if parts.scheme == 'https' else 80)}"
    except ValueError:
        return None


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
