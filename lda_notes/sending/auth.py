"""How a server knows who sends: nothing, a bearer token, or SMART Backend Services.

SMART App Launch 2, "Backend Services": a token is asked for with an assertion that the client's private key signed
(RS384 or ES384, RFC 7523), and renewed before it runs out. joserfc signs: it is typed, kept up, by the people of
Authlib, and contains no HTTP of its own, so that tokens go over the same verified connections as everything else.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from lda_notes.problems import REFUSED, UNREACHABLE, Failure
from lda_notes.sending.address import Address, address
from lda_notes.sending.pace import Pace, steadily
from lda_notes.sending.secret_files import read_secret, token_text
from lda_notes.sending.wire import Answer, Connection, NoAnswer

if TYPE_CHECKING:
    from joserfc.jwk import ECKey, RSAKey

_ASSERTION_S: Final = 240
"""Life of an assertion; the standard allows five minutes, clocks differ."""

_EARLY_S: Final = 30.0
"""How long before its end a token counts as run out."""

_UNSAID_S: Final = 300.0
"""Life of a token whose end the server does not tell; the standard wants no longer one."""

_LONGEST_S: Final = 86_400
"""Longest life of a token that is believed."""

_FEWEST_RSA_BITS: Final = 2048


@dataclass(frozen=True, slots=True, repr=False)
class Bearer:
    """One token, as given; None where nothing is shown."""

    token: str | None

    def header(self) -> str | None:
        """Return the value of the header ``Authorization``; None for none."""
        return None if self.token is None else f"Bearer {self.token}"

    def renew(self) -> bool:
        """Return whether the server can be shown another one: only its owner can get it."""
        return False


@dataclass(frozen=True, slots=True, repr=False)
class SigningKey:
    """A private key with the algorithm that it serves and the name under which the server knows it."""

    key: RSAKey | ECKey
    algorithm: str
    name: str

    def header(self) -> dict[str, str]:
        """Return the header of an assertion that this key signs."""
        return {"alg": self.algorithm, "kid": self.name, "typ": "JWT"}


def signing_key(path: Path) -> SigningKey:
    """Read a private key: PEM, JWK or a JWK set.

    Raises `Failure` for a file that others may read or that contains none. The name (``kid``) is the JWK's
    own, else the thumbprint of the key (RFC 7638).
    """
    data = read_secret(path, "the private key")
    try:
        parsed = json.loads(data) if data.lstrip()[:1] == b"{" else None
    except (ValueError, RecursionError):
        raise Failure(f"{path}: is neither JSON nor PEM; give a private key as JWK or PEM") from None
    listed: Any = parsed.get("keys", [parsed]) if isinstance(parsed, dict) else [data]
    for one in listed if isinstance(listed, list) else ():
        found = _usable(one)
        if found is not None:
            return found
    raise Failure(
        f"{path}: holds no usable private key; expected RSA of {_FEWEST_RSA_BITS} bits or more, or EC on the curve "
        "P-384, unencrypted, as JWK or PEM"
    )


def _usable(data: Any) -> SigningKey | None:
    import warnings

    from joserfc import jwt
    from joserfc.jwk import ECKey, JWKRegistry, RSAKey

    kinds = (None,) if isinstance(data, dict) else ("RSA", "EC")
    for kind in kinds:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # the library's advice on weak keys: they are refused below
                key = JWKRegistry.import_key(data, kind)
                if not key.is_private:
                    continue
                if isinstance(key, RSAKey) and key.private_key and key.private_key.key_size >= _FEWEST_RSA_BITS:
                    found = SigningKey(key, "RS384", key.kid or key.thumbprint())
                elif isinstance(key, ECKey) and key.curve_name == "P-384":
                    found = SigningKey(key, "ES384", key.kid or key.thumbprint())
                else:
                    continue
                jwt.encode(found.header(), {}, key, algorithms=[found.algorithm])  # a JWK may be for something else
                return found
        except Exception:  # two libraries, each with errors of many types: the file contains no key for this
            continue
    return None


class BackendService:
    """SMART Backend Services: fetches a token when one is due, keeps it until shortly before its end.

    ``clock`` counts seconds for the token's life; ``now`` gives seconds since 1970 for the assertion.
    """

    def __init__(
        self,
        connection: Connection,
        server: Address,
        client_id: str,
        key: SigningKey,
        scope: str,
        token_service: Address | None,
        pace: Pace,
    ) -> None:
        self._connection = connection
        self._server = server
        self._client_id = client_id
        self._key = key
        self._scope = scope
        self._where = token_service
        self._pace = pace
        self._token: str | None = None
        self._until = 0.0

    def header(self) -> str | None:
        """Return a token that is still valid. Raises `Failure` when the server gives none."""
        if self._token is None or self._pace.clock() >= self._until:
            self._fetch()
        return f"Bearer {self._token}"

    def renew(self) -> bool:
        """Forget the present token, since the server did not take it; another one can be had."""
        self._token = None
        return True

    def _fetch(self) -> None:
        where = self._where = self._where or self._discovered()
        headers = {"Content-Type": "application/x-www-form-urlencoded", "Accept": "application/json"}
        answer = self._asked(lambda: ("POST", where.exact, headers, self._form(where)), "the token service")
        said = answer.json()
        if answer.status != 200 or not isinstance(said, dict):
            raise Failure(f"the token service refuses this client ({_reason(answer, said)}); {_ADVICE}", REFUSED)
        if str(said.get("token_type", "")).lower() != "bearer" or not isinstance(said.get("access_token"), str):
            raise Failure("the token service gives no bearer token; check --token-url", REFUSED)
        self._token = token_text(said["access_token"], "the answer of the token service")
        life = said.get("expires_in")
        seconds = float(min(life, _LONGEST_S)) if isinstance(life, int | Decimal) and life > 0 else _UNSAID_S
        self._until = self._pace.clock() + max(seconds - _EARLY_S, seconds / 2)

    def _form(self, where: Address) -> bytes:
        """Return the request for a token, with a fresh assertion: one may be used once."""
        from joserfc import jwt

        claims = {
            "iss": self._client_id,
            "sub": self._client_id,
            "aud": where.exact,
            "exp": int(self._pace.now()) + _ASSERTION_S,
            "jti": str(uuid.uuid4()),
        }
        assertion = jwt.encode(self._key.header(), claims, self._key.key, algorithms=[self._key.algorithm])
        form = {
            "grant_type": "client_credentials",
            "scope": self._scope,
            "client_assertion_type": "urn:ietf:params:oauth:client-assertion-type:jwt-bearer",
            "client_assertion": assertion,
        }
        return urlencode(form).encode()

    def _discovered(self) -> Address:
        """Return the token service that the server names in its SMART configuration."""
        url = self._server.at(".well-known", "smart-configuration")
        answer = self._asked(lambda: ("GET", url, {"Accept": "application/json"}, None), "the server")
        said = answer.json()
        found = said.get("token_endpoint") if isinstance(said, dict) else None
        if answer.status != 200 or not isinstance(found, str):
            raise Failure("the server does not say where its token service is; name it with --token-url", REFUSED)
        return token_address(found, self._server, "the token service that the server names")

    def _asked(self, request: Callable[[], tuple[str, str, dict[str, str], bytes | None]], who: str) -> Answer:
        try:
            return steadily(self._pace, lambda: self._connection.ask(*request()))
        except NoAnswer as none:
            raise Failure(f"{who} cannot be reached: {none}", UNREACHABLE) from None


Credentials = Bearer | BackendService
"""The ways in which a client identifies itself with each request."""

_ADVICE: Final = "check --client-id, --key-file and --scope against what is registered there"


def _reason(answer: Answer, said: Any) -> str:
    error = said.get("error") if isinstance(said, dict) else None
    if isinstance(error, str) and error.isascii() and error.replace("_", "").isalnum() and len(error) < 64:
        return f"{error}, status {answer.status}"  # one of the words of RFC 6749, section 5.2
    return f"status {answer.status}"


def token_address(text: str, server: Address, what: str = "--token-url") -> Address:
    """Return the address of a token service, exactly as given: it is also the audience of assertions. Raises `Failure`.

    Plain http goes to this machine alone and only where the server is on it too: what is sent to a server elsewhere
    may go by way of a proxy, which would read the signed request and the token.
    """
    found = address(text, what, may_have_query=True)
    if not server.is_local and found.origin.startswith("http:"):
        raise Failure(f"{what} is plain http and could be sent to a proxy that reads it; give an https address")
    return found


def scopes(written: Iterable[str], read: Iterable[str]) -> str:
    """Return the least that sending asks for, in the words of SMART 2: crus is create, read, update, search."""
    mine, others = sorted(set(written)), sorted(set(read))
    return " ".join([*(f"system/{kind}.crus" for kind in mine), *(f"system/{kind}.rs" for kind in others)])
