"""One request, one answer or a plain reason why there is none: TLS always verified, no redirect followed."""

from __future__ import annotations

import functools
import json
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

from lda_notes import __version__
from lda_notes.problems import Failure
from lda_notes.sending.address import Address

if TYPE_CHECKING:
    import httpx

_LARGEST: Final = 64 * 1024 * 1024
"""Most bytes of one answer."""

USER_AGENT: Final = f"lda-notes/{__version__}"


class NoAnswer(Exception):
    """No answer came. ``str()`` says why, without any content of the request.

    ``may_have_arrived``: the request, or enough of it, may have reached the server. ``again``: trying again may help.
    """

    def __init__(self, sentence: str, *, may_have_arrived: bool, again: bool) -> None:
        super().__init__(sentence)
        self.may_have_arrived = may_have_arrived
        self.again = again


@dataclass(frozen=True, slots=True)
class Answer:
    """What a server answered, read whole."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        """The body as JSON, decimals digit by digit as written; None when it is no JSON."""
        from decimal import Decimal

        try:
            return json.loads(self.body, parse_float=Decimal)
        except (ValueError, RecursionError):
            return None


@functools.cache
def trust(ca_file: Path | None) -> ssl.SSLContext:
    """Whom to trust: the authorities of ``ca_file`` alone, else those of the system and the public ones.

    Raises `Failure` when the file holds no certificate.
    """
    if ca_file is None:
        import certifi

        context = ssl.create_default_context()
        context.load_verify_locations(cafile=certifi.where())
        return context
    try:
        return ssl.create_default_context(cafile=str(ca_file))
    except ssl.SSLError:
        raise Failure(f"{ca_file}: holds no certificate in PEM form; give the authority's own") from None
    except OSError as error:
        raise Failure(f"{ca_file}: cannot be read ({error.strerror or error}); check name and permissions") from None


class Connection:
    """Speaks HTTP. ``timeout_s`` limits the wait for each step and, ten times over, the whole of one answer.

    Proxies named by the environment serve https only: what goes to this machine's own loopback stays on it.
    ``clock`` counts seconds.
    """

    def __init__(self, address: Address, *, timeout_s: float, ca_file: Path | None, clock: Callable[[], float]) -> None:
        import httpx

        self._clock = clock
        self._whole_s = timeout_s * 10
        self._http = httpx.Client(
            verify=trust(ca_file),
            timeout=httpx.Timeout(timeout_s, connect=min(timeout_s, 10.0)),
            follow_redirects=False,
            trust_env=not address.is_local,
            headers={"User-Agent": USER_AGENT, "Accept-Encoding": "gzip"},
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def ask(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None = None) -> Answer:
        """Send one request and read its answer, whatever its status. Raises `NoAnswer`."""
        import httpx

        until = self._clock() + self._whole_s
        try:
            with self._http.stream(method, url, headers=headers, content=content) as response:
                body = self._body(response, until)
                return Answer(response.status_code, response.headers, body)
        except httpx.TransportError as error:
            raise _no_answer(error) from None
        except httpx.HTTPError:
            raise NoAnswer("the answer cannot be read", may_have_arrived=True, again=True) from None
        except httpx.InvalidURL:
            raise NoAnswer("the address is no web address", may_have_arrived=False, again=False) from None

    def _body(self, response: httpx.Response, until: float) -> bytes:
        parts, size = [], 0
        for part in response.iter_bytes():
            parts.append(part)
            size += len(part)
            if size > _LARGEST:
                raise NoAnswer("the answer has no end", may_have_arrived=True, again=False)
            if self._clock() > until:
                raise NoAnswer("the answer comes too slowly", may_have_arrived=True, again=True)
        return b"".join(parts)


def _no_answer(error: httpx.TransportError) -> NoAnswer:
    import httpx

    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, ssl.SSLCertVerificationError):
            return NoAnswer(
                f"its certificate is not trusted ({cause.verify_message}); give the authority with --ca-file, or "
                "check that the address is right",
                may_have_arrived=False,
                again=False,
            )
        cause = cause.__cause__ or cause.__context__
    match error:
        case httpx.ConnectTimeout() | httpx.PoolTimeout():
            return NoAnswer("no connection in time", may_have_arrived=False, again=True)
        case httpx.ProxyError():
            return NoAnswer("the proxy lets nothing through", may_have_arrived=False, again=True)
        case httpx.ConnectError():
            return NoAnswer("no connection", may_have_arrived=False, again=True)
        case httpx.UnsupportedProtocol() | httpx.LocalProtocolError():
            return NoAnswer("the request cannot be sent there", may_have_arrived=False, again=False)
        case httpx.TimeoutException():
            return NoAnswer("no answer in time", may_have_arrived=True, again=True)
        case _:
            return NoAnswer("the connection broke off", may_have_arrived=True, again=True)
