"""One request, one answer: TLS, redirects, slow and endless answers, connections that break."""

from __future__ import annotations

import gzip
import socket
import ssl
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from certificates import authority
from loopback import Reply, serving

from lda_notes import __version__
from lda_notes.problems import Failure
from lda_notes.sending import wire
from lda_notes.sending.address import address
from lda_notes.sending.wire import Connection, NoAnswer, trust

Open = Callable[..., Connection]


@pytest.fixture
def opened() -> Iterator[Open]:
    made: list[Connection] = []

    def connection(
        base_url: str,
        ca_file: Path | None = None,
        timeout_s: float = 5.0,
    ) -> Connection:
        made.append(Connection(address(base_url), timeout_s=timeout_s, ca_file=ca_file))
        return made[-1]

    yield connection
    trust.cache_clear()  # the next test's folder may have the name of this one's, which is gone by then
    for one in made:
        one.__exit__()


def refused(connection: Connection, url: str, **options: bytes) -> NoAnswer:
    with pytest.raises(NoAnswer) as none:
        connection.ask("POST", url, {}, options.get("content", b"{}"))
    return none.value


def test_an_answer_is_read_whole_and_numbers_keep_their_digits(opened: Open) -> None:
    with serving(lambda request: Reply(201, b'{"a": 2.50}', {"ETag": "x"})) as here:
        answer = opened(here.base_url).ask("POST", f"{here.base_url}/a", {"Accept": "application/fhir+json"}, b"sent")
    assert (answer.status, answer.headers["etag"], str(answer.json()["a"])) == (201, "x", "2.50")
    [request] = here.requests
    assert (request.method, request.path, request.body) == ("POST", "/a", b"sent")
    assert request.headers["User-Agent"] == f"lda-notes/{__version__}"
    assert request.headers["Accept"] == "application/fhir+json"


def test_redirects_are_not_followed(opened: Open) -> None:
    with serving(lambda request: Reply(200, b"{}")) as other:
        with serving(lambda request: Reply(307, b"", {"Location": f"{other.base_url}/there"})) as here:
            assert opened(here.base_url).ask("POST", here.base_url, {}, b"sent").status == 307
        assert other.requests == []


def test_loopback_never_goes_by_way_of_a_proxy(opened: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    with serving(lambda request: Reply(500)) as proxy, serving(lambda request: Reply(204, b"")) as here:
        for name in ("http_proxy", "HTTP_PROXY", "https_proxy", "ALL_PROXY", "all_proxy"):
            monkeypatch.setenv(name, proxy.base_url)
        assert opened(here.base_url).ask("GET", here.base_url, {}).status == 204
        assert proxy.requests == []


# -- TLS --


def test_a_certificate_of_a_known_authority_is_taken(opened: Open, tmp_path: Path) -> None:
    known = authority(tmp_path)
    with serving(lambda request: Reply(200), tls=known.server(tmp_path)) as here:
        assert opened(here.base_url, known.file).ask("GET", here.base_url, {}).status == 200


def test_an_unknown_authority_is_refused_and_nothing_is_sent(opened: Open, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    known, other = authority(tmp_path), authority(tmp_path / "other", "Other authority")
    with serving(lambda request: Reply(200), tls=known.server(tmp_path)) as here:
        for ca_file in (None, other.file):
            none = refused(opened(here.base_url, ca_file), here.base_url)
            assert "certificate is not trusted" in str(none)
            assert "--ca-file" in str(none)
            assert not none.again
            assert not none.may_have_arrived
    assert here.requests == []


@pytest.mark.parametrize(("host", "days", "why"), [("fhir.example.org", 1, "mismatch"), ("127.0.0.1", -1, "expired")])
def test_a_certificate_for_another_host_or_past_its_end_is_refused(
    opened: Open, tmp_path: Path, host: str, days: int, why: str
) -> None:
    known = authority(tmp_path)
    with serving(lambda request: Reply(200), tls=known.server(tmp_path, host, days)) as here:
        none = refused(opened(here.base_url, known.file), here.base_url)
    assert why in str(none)
    assert not none.again
    assert here.requests == []


def test_verification_cannot_be_turned_off_by_the_environment(
    opened: Open, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = authority(tmp_path)
    for name in ("PYTHONHTTPSVERIFY", "SSL_NO_VERIFY"):
        monkeypatch.setenv(name, "0")
    context = wire.trust(None)
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)
    assert wire.trust(known.file).verify_mode == ssl.CERT_REQUIRED
    assert wire.trust(None).minimum_version >= ssl.TLSVersion.TLSv1_2


def test_a_private_authority_replaces_the_public_ones(tmp_path: Path) -> None:
    known = authority(tmp_path)
    assert len(wire.trust(known.file).get_ca_certs()) == 1
    assert len(wire.trust(None).get_ca_certs()) > 50


@pytest.mark.parametrize(
    "content", [b"", b"no certificate", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"]
)
def test_a_file_without_a_certificate_is_told(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "ca.pem"
    file.write_bytes(content)
    with pytest.raises(Failure, match="holds no certificate"):
        wire.trust(file)
    with pytest.raises(Failure, match="cannot be read"):
        wire.trust(tmp_path / "absent.pem")


# -- no answer --


def test_nobody_listening(opened: Open) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    none = refused(opened(f"http://127.0.0.1:{port}"), f"http://127.0.0.1:{port}")
    assert (str(none), none.may_have_arrived, none.again) == ("no connection", False, True)


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (Reply(200, b"{}", cut=-1), "the connection broke off"),
        (Reply(200, b'{"whole": "answer"}', cut=5), "the connection broke off"),
        (Reply(200, b"not gzip", {"Content-Encoding": "gzip"}), "the answer cannot be read"),
        (Reply(200, b"{}", wait_s=30), "no answer in time"),
    ],
)
def test_no_answer_after_the_request(opened: Open, reply: Reply, words: str) -> None:
    with serving(lambda request: reply) as here:
        none = refused(opened(here.base_url, timeout_s=0.2), here.base_url, content=b"sent")
    assert str(none) == words
    assert none.may_have_arrived
    assert none.again
    assert here.requests[0].body == b"sent"


@contextmanager
def dripping(start: bytes, drop: bytes) -> Iterator[str]:
    """A server that sends ``start`` at once and then ``drop`` every twentieth of a second, without end."""

    def serve(listening: socket.socket) -> None:
        peer, _ = listening.accept()
        with peer, suppress(OSError):
            peer.sendall(start)
            while True:
                peer.sendall(drop)
                time.sleep(0.05)

    with socket.create_server(("127.0.0.1", 0)) as listening:
        threading.Thread(target=serve, args=(listening,), daemon=True).start()
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"


@pytest.mark.parametrize(
    ("start", "drop"),
    [
        (b"HTTP/1.1 200 OK\r\nX-Endless: ", b"x"),
        (b"HTTP/1.1 200 OK\r\n", b"X: y\r\n"),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 9000\r\n\r\n", b"x"),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n", b"1\r\nx\r\n"),
    ],
)
def test_an_exchange_that_drips_ends_headers_included(opened: Open, start: bytes, drop: bytes) -> None:
    with dripping(start, drop) as url:
        began = time.monotonic()
        connection = opened(url, timeout_s=2.0)
        connection._whole_s = 1.0
        none = refused(connection, url)
        took = time.monotonic() - began
    assert str(none) == "the answer comes too slowly"
    assert none.again
    assert 0.9 < took < 4


def test_a_late_exchange_does_not_spoil_the_next_one(opened: Open) -> None:
    with serving(lambda request: Reply(200, b"{}")) as here:
        connection = opened(here.base_url, timeout_s=2.0)
        connection._whole_s = 0.5
        with dripping(b"HTTP/1.1 200 OK\r\n", b"X: y\r\n") as url:
            refused(connection, url)
        connection._whole_s = 20.0
        assert connection.ask("GET", here.base_url, {}).status == 200


def bomb(times: int) -> bytes:
    data = gzip.compress(b"0" * 50_000_000)
    for _ in range(times - 1):
        data = gzip.compress(data)
    return data


@pytest.mark.parametrize(
    ("coding", "times", "words"),
    [
        ("gzip", 1, "the answer is larger than 16 MiB"),
        ("gzip, gzip", 2, "the answer is packed in a way that was not asked for"),
        ("gzip, gzip, gzip", 3, "the answer is packed in a way that was not asked for"),
        ("br", 1, "the answer is packed in a way that was not asked for"),
        ("deflate", 1, "the answer is packed in a way that was not asked for"),
    ],
)
def test_a_small_answer_does_not_fill_the_memory(opened: Open, coding: str, times: int, words: str) -> None:
    packed = bomb(times)
    assert len(packed) < 60_000
    with serving(lambda request: Reply(200, packed, {"Content-Encoding": coding})) as here:
        connection = opened(here.base_url)
        tracemalloc.start()
        try:
            none = refused(connection, here.base_url)
            _, most = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
    assert str(none) == words
    assert not none.again
    assert most < 4 * wire._LARGEST


def test_what_is_packed_once_is_unpacked(opened: Open) -> None:
    with serving(lambda request: Reply(200, gzip.compress(b'{"a": 1}'), {"Content-Encoding": "gzip"})) as here:
        assert opened(here.base_url).ask("GET", here.base_url, {}).json() == {"a": 1}
        assert here.requests[0].headers["Accept-Encoding"] == "gzip"
    with serving(lambda request: Reply(200, gzip.compress(b'{"a": 1}')[:-9], {"Content-Encoding": "gzip"})) as here:
        assert str(refused(opened(here.base_url), here.base_url)) == "the connection broke off"


def test_an_endless_answer_is_given_up(opened: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wire, "_LARGEST", 100_000)
    with serving(lambda request: Reply(200, b"x" * 3_000_000)) as here:
        none = refused(opened(here.base_url), here.base_url)
    assert str(none) == "the answer is larger than 16 MiB"
    assert not none.again


def test_what_went_wrong_is_said_without_the_request(opened: Open) -> None:
    with serving(lambda request: Reply(200, b"{}", cut=-1)) as here:
        none = refused(opened(here.base_url), f"{here.base_url}/Patient?identifier=Secret99", content=b"Secret99")
    assert "Secret99" not in f"{none!r} {none.__cause__!r}"
