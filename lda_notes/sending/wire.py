"""One request, one answer or a plain reason why there is none: TLS always verified, no redirect followed."""

from __future__ import annotations

import functools
import json
import re
import socket
import ssl
import threading
import zlib
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

from lda_notes import __version__
from lda_notes.fhir.verify.verification import read_json
from lda_notes.files.system import contents
from lda_notes.problems import Failure
from lda_notes.sending.address import Address

if TYPE_CHECKING:
    import httpx

_LARGEST: Final = 16 * 1024 * 1024
"""Most bytes of one answer, as sent and as unpacked: fifty notes with their documents are a quarter of it."""

TOO_LARGE: Final = f"the answer is larger than {_LARGEST >> 20} MiB"

_MOST_VALUES: Final = 1_000_000
"""Most values of one answer: in memory one takes up to twenty times its bytes."""

_HALF_A_SIGN: Final = re.compile(rb"\\u[dD][89a-fA-F]")

_GZIP: Final = 31
"""Window and wrapper of zlib for gzip."""

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
    """A server's answer, read to its end."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        """Return the body as JSON, decimals digit by digit as written; None when it is not JSON or cannot be repeated.

        That is one with half a sign as text, which can be neither printed, kept nor sent back, and one of so many
        values that it would fill the memory.
        """
        if sum(map(self.body.count, (b",", b"[", b"{"))) > _MOST_VALUES:
            return None
        found, _ = read_json(self.body)
        if _HALF_A_SIGN.search(self.body):
            try:
                json.dumps(found, ensure_ascii=False, default=str).encode()
            except ValueError:
                return None
        return found


@functools.cache
def trust(ca_file: Path | None) -> ssl.SSLContext:
    """Whom to trust: the authorities of ``ca_file`` alone, else those of the system and the public ones.

    Raises `Failure` when the file contains no certificate.
    """
    if ca_file is None:
        import certifi

        context = ssl.create_default_context()
        context.load_verify_locations(cafile=certifi.where())
        return context
    try:
        contents(ca_file, 1)  # a pipe would be waited for
        return ssl.create_default_context(cafile=str(ca_file))
    except ssl.SSLError:
        raise Failure(f"{ca_file}: holds no certificate in PEM form; give the authority's own") from None
    except OSError as error:
        raise Failure(f"{ca_file}: cannot be read ({error.strerror or error}); check name and permissions") from None


class Connection:
    """Speaks HTTP. ``timeout_s`` limits the wait for each step and, ten times over, one exchange from end to end.

    Proxies named by the environment serve https only: what goes to this machine's own loopback stays on it.
    """

    def __init__(self, address: Address, *, timeout_s: float, ca_file: Path | None) -> None:
        import httpx

        self._whole_s = timeout_s * 10
        self._sockets: list[socket.socket] = []
        self._is_late = False
        trusted = trust(ca_file)
        try:
            self._http = httpx.Client(
                verify=trusted,
                timeout=httpx.Timeout(timeout_s, connect=min(timeout_s, 10.0)),
                follow_redirects=False,
                trust_env=not address.is_local,
                headers={"User-Agent": USER_AGENT, "Accept-Encoding": "gzip"},
            )
        except (ValueError, ImportError, httpx.InvalidURL):  # not repeated: it may contain a password
            raise Failure(
                "a proxy that the environment names (HTTPS_PROXY, HTTP_PROXY or ALL_PROXY) cannot be used; give the "
                "address of an http or https proxy, or name the server in NO_PROXY"
            ) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def ask(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None = None) -> Answer:
        """Send one request and read its answer, whatever its status. Raises `NoAnswer`."""
        import httpx

        try:
            traced = {"trace": self._remember}
            request = self._http.build_request(method, url, headers=headers, content=content, extensions=traced)
        except (httpx.InvalidURL, ValueError):
            raise NoAnswer("the address is no web address", may_have_arrived=False, again=False) from None
        self._is_late = False
        alarm = threading.Timer(self._whole_s, self._cut_off)
        alarm.daemon = True
        alarm.start()
        try:
            with closing(self._http.send(request, stream=True)) as response:
                return Answer(response.status_code, response.headers, _body(response))
        except httpx.TransportError as error:
            if self._is_late:
                raise NoAnswer("the answer comes too slowly", may_have_arrived=True, again=True) from None
            raise _no_answer(error) from None
        except (httpx.HTTPError, httpx.InvalidURL):  # the latter where a redirect leads to no address
            raise NoAnswer("the answer cannot be read", may_have_arrived=True, again=True) from None
        finally:
            alarm.cancel()

    def _remember(self, event: str, told: Mapping[str, Any]) -> None:
        """Keep the socket of each new connection: to end an exchange, headers included, it must be shut down."""
        if event in ("connection.connect_tcp.complete", "connection.start_tls.complete", "proxy.start_tls.complete"):
            self._sockets = [one for one in self._sockets if one.fileno() >= 0]
            found = told["return_value"].get_extra_info("socket")
            if isinstance(found, socket.socket):
                self._sockets.append(found)

    def _cut_off(self) -> None:
        self._is_late = True
        for one in self._sockets:
            with suppress(OSError):
                socket.socket.shutdown(one, socket.SHUT_RDWR)


def _body(response: httpx.Response) -> bytes:
    """Return the body of an answer, unpacked piece by piece, never more than an answer may have.

    Only gzip is asked for, so only that is unpacked: packed again, two kilobytes contain gigabytes.
    """
    coding = response.headers.get("Content-Encoding", "identity").strip().lower()
    if coding not in ("identity", "gzip"):
        raise NoAnswer("the answer is packed in a way that was not asked for", may_have_arrived=True, again=False)
    unpacking = zlib.decompressobj(_GZIP) if coding == "gzip" else None
    body, received = bytearray(), 0
    for part in response.iter_raw():
        received += len(part)
        try:
            body += unpacking.decompress(part, _LARGEST + 1 - len(body)) if unpacking else part
        except zlib.error:
            raise NoAnswer("the answer cannot be read", may_have_arrived=True, again=True) from None
        if max(len(body), received) > _LARGEST:
            raise NoAnswer(TOO_LARGE, may_have_arrived=True, again=False)
    if unpacking and received and not unpacking.eof:
        raise NoAnswer("the connection broke off", may_have_arrived=True, again=True)
    return bytes(body)


def _no_answer(error: httpx.TransportError) -> NoAnswer:
    import httpx

    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, ssl.SSLCertVerificationError):
            return NoAnswer(
                f"its certificate is not trusted ({cause.verify_message}); give the authority with --ca-file, or "
                "check the address and the clock of this machine",
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
