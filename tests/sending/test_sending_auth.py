"""Tokens: from where they come, to whom they are shown, when they are renewed, and that nobody else sees them."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import pytest
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from fake_fhir import FakeFhir
from loopback import Loopback, Reply, Request, serving
from stand_ins import Connect, Waits
from tokens import EC, RSA, TokenService, ec_jwk, pem, private, rsa_jwk, unfold

from lda_notes.problems import Failure
from lda_notes.sending import auth
from lda_notes.sending.address import address
from lda_notes.sending.auth import BackendService, Bearer, scopes, signing_key, token_address
from lda_notes.sending.client import NotAllowed, Server
from lda_notes.sending.secret_files import read_secret, token_text
from lda_notes.sending.wire import Connection

# -- files --


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644, 0o610, 0o666])
def test_a_secret_that_others_may_read_is_refused(tmp_path: Path, mode: int) -> None:
    file = private(tmp_path / "token", "Secret99", mode)
    with pytest.raises(Failure, match="users other than its owner can read the token; run chmod 600"):
        read_secret(file, "the token")
    private(file, "Secret99", 0o400)
    assert read_secret(file, "the token") == b"Secret99"


def test_what_holds_no_secret_is_told(tmp_path: Path) -> None:
    for path in (tmp_path / "absent", tmp_path):
        with pytest.raises(Failure):
            read_secret(path, "the token")
    with pytest.raises(Failure, match="does not hold the token"):
        read_secret(private(tmp_path / "empty", " \n"), "the token")


@pytest.mark.parametrize("token", ["", " ", "two words", "a\nb", "tökén", "a\x07b"])
def test_what_is_no_token_is_not_repeated(token: str) -> None:
    with pytest.raises(Failure) as failure:
        token_text(token, "LDA_NOTES_TOKEN")
    assert not token.strip() or token.strip() not in str(failure.value)
    assert token_text(" abc.def-~+/=\n", "it") == "abc.def-~+/="


def test_secrets_do_not_show_themselves(tmp_path: Path) -> None:
    assert "Secret99" not in repr(Bearer("Secret99"))
    key = signing_key(private(tmp_path / "key.json", json.dumps(rsa_jwk(kid="k"))))
    assert rsa_jwk()["d"][:20] not in f"{key!r} {key.key!r}"


# -- keys --


def test_keys_in_every_form(tmp_path: Path) -> None:
    forms: dict[str, tuple[bytes | str, str, str | None]] = {
        "rsa.pem": (pem(RSA), "RS384", None),
        "ec.pem": (pem(EC), "ES384", None),
        "rsa.json": (json.dumps(rsa_jwk(kid="mine")), "RS384", "mine"),
        "ec.json": (json.dumps(ec_jwk(kid="other")), "ES384", "other"),
        "set.json": (json.dumps({"keys": [{"kty": "oct", "k": "AAAA"}, ec_jwk(kid="third")]}), "ES384", "third"),
    }
    for name, (data, algorithm, called) in forms.items():
        key = signing_key(private(tmp_path / name, data))
        assert key.algorithm == algorithm, name
        assert called is None or key.name == called, name
        assert key.name
    assert signing_key(tmp_path / "ec.pem").name == thumbprint(ec_jwk())


def thumbprint(jwk: dict[str, str]) -> str:
    """RFC 7638, worked out by hand."""
    import hashlib

    needed = {name: jwk[name] for name in sorted(("crv", "kty", "x", "y"))}
    digest = hashlib.sha256(json.dumps(needed, separators=(",", ":")).encode()).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def public_only() -> str:
    return json.dumps({name: value for name, value in ec_jwk().items() if name != "d"})


BAD_KEYS: dict[str, Callable[[], bytes | str]] = {
    "short RSA": lambda: pem(rsa.generate_private_key(public_exponent=65537, key_size=1024)),
    "another curve": lambda: pem(ec.generate_private_key(ec.SECP256R1())),
    "another kind": lambda: pem(ed25519.Ed25519PrivateKey.generate()),
    "behind a password": lambda: pem(EC, b"password"),
    "public": public_only,
    "symmetric": lambda: json.dumps({"kty": "oct", "k": "AAAA"}),
    "broken JSON": lambda: "{",
    "an empty set": lambda: '{"keys": []}',
    "no set": lambda: '{"keys": 3}',
    "nonsense": lambda: "nonsense",
    "half a key": lambda: json.dumps({"kty": "RSA", "n": "AAAA"}),
}


@pytest.mark.parametrize("name", BAD_KEYS)
def test_unfit_keys_are_refused_in_one_sentence(tmp_path: Path, name: str) -> None:
    with pytest.raises(Failure, match=r"key\.json: .*private key"):
        signing_key(private(tmp_path / "key.json", BAD_KEYS[name]()))


# -- SMART Backend Services --


@pytest.fixture
def tokens() -> Iterator[tuple[TokenService, Loopback]]:
    service = TokenService()
    with serving(service) as here:
        yield service, here


Backend = Callable[..., BackendService]


@pytest.fixture
def backend(tmp_path: Path, waits: Waits) -> Iterator[Backend]:
    opened: list[Connection] = []

    def made(server: str, service: str | None, jwk: dict[str, str] | None = None) -> BackendService:
        key = signing_key(private(tmp_path / "key.json", json.dumps(jwk or rsa_jwk(kid="mine"))))
        opened.append(Connection(address(server), timeout_s=5.0, ca_file=None))
        where = token_address(service, address(server)) if service else None
        return BackendService(opened[-1], address(server), "client-1", key, "system/*.crus", where, waits.pace())

    yield made
    for one in opened:
        one.__exit__()


@pytest.mark.parametrize("jwk", [rsa_jwk(kid="mine"), ec_jwk(kid="mine")], ids=["RS384", "ES384"])
def test_a_token_is_asked_for_with_a_signed_assertion(
    backend: Backend, tokens: tuple[TokenService, Loopback], waits: Waits, jwk: dict[str, str]
) -> None:
    service, here = tokens
    credentials = backend("http://127.0.0.1:9/r4", f"{here.base_url}/token", jwk)
    assert credentials.header() == "Bearer t1"
    assert credentials.header() == "Bearer t1"
    assert service.given == 1
    assert service.scope == "system/*.crus"
    assert service.claims["aud"] == f"{here.base_url}/token"
    assert 0 < service.claims["exp"] - waits.pace().now() <= 300
    assert set(service.claims) == {"iss", "sub", "aud", "exp", "jti"}


@pytest.mark.parametrize(("life", "held_s"), [(3600, 3570), (60, 30), (20, 10), (None, 270), (-5, 270), ("x", 270)])
def test_a_token_is_renewed_before_its_end(
    backend: Backend, tokens: tuple[TokenService, Loopback], waits: Waits, life: Any, held_s: float
) -> None:
    service, here = tokens
    service.life = life
    credentials = backend("http://127.0.0.1:9/r4", f"{here.base_url}/token")
    assert credentials.header() == "Bearer t1"
    waits.seconds += held_s - 0.1
    assert credentials.header() == "Bearer t1"
    waits.seconds += 0.2
    assert credentials.header() == "Bearer t2"


def test_the_token_service_is_found_through_the_server(backend: Backend, tokens: tuple[TokenService, Loopback]) -> None:
    _, here = tokens
    said = {"token_endpoint": f"{here.base_url}/auth/token?tenant=a"}
    with serving(lambda request: Reply(200, json.dumps(said).encode())) as fhir:
        assert backend(f"{fhir.base_url}/r4", None).header() == "Bearer t1"
    assert [request.path for request in fhir.requests] == ["/r4/.well-known/smart-configuration"]
    assert here.requests[0].path == "/auth/token?tenant=a"


@pytest.mark.parametrize(
    ("reply", "why"),
    [
        (Reply(404, b"{}"), "name it with --token-url"),
        (Reply(200, b"<html>"), "name it with --token-url"),
        (Reply(200, b"[]"), "name it with --token-url"),
        (Reply(200, b'{"token_endpoint": "http://login.example.org/token"}'), "plain http"),
        (Reply(200, b'{"token_endpoint": "https://a:b@login.example.org/token"}'), "name or password"),
    ],
)
def test_a_server_that_names_no_safe_token_service_is_refused(backend: Backend, reply: Reply, why: str) -> None:
    with serving(lambda request: reply) as fhir, pytest.raises(Failure, match=why):
        backend(fhir.base_url, None).header()


def test_a_busy_token_service_is_asked_again_with_a_fresh_assertion(
    backend: Backend, tokens: tuple[TokenService, Loopback], waits: Waits
) -> None:
    service, here = tokens
    service.replies = [Reply(503, b"", {"Retry-After": "9"}), Reply(200, b"{}", cut=-1), Reply(429, b"")]
    assert backend("http://127.0.0.1:9/r4", f"{here.base_url}/token").header() == "Bearer t1"
    assert len(waits.slept) == 3
    assert waits.slept[0] >= 9
    assertions = [parse_qs(request.body.decode())["client_assertion"][0] for request in here.requests]
    assert len({unfold(one)[1]["jti"] for one in assertions}) == 4


@pytest.mark.parametrize(
    ("reply", "why", "code"),
    [
        (Reply(400, b'{"error": "invalid_client", "error_description": "Secret99"}'), "invalid_client, status 400", 3),
        (Reply(401, b'{"error": "\\u001b[2J"}'), "refuses this client \\(status 401\\)", 3),
        (Reply(403, b"<html>Secret99</html>"), "refuses this client \\(status 403\\)", 3),
        (Reply(302, b"", {"Location": "https://evil.example/"}), "status 302", 3),
        (Reply(200, b'{"access_token": "Secret99", "token_type": "mac"}'), "gives no bearer token", 3),
        (Reply(200, b'{"access_token": ["Secret99"], "token_type": "bearer"}'), "gives no bearer token", 3),
        (Reply(200, b'{"access_token": "Secret99 x", "token_type": "bearer"}'), "no bearer token", 2),
        (Reply(503, b""), "cannot be reached: status 503", 4),
        (Reply(200, b"", cut=-1), "cannot be reached: the connection broke off", 4),
    ],
)
def test_no_token_in_one_sentence(
    backend: Backend, tokens: tuple[TokenService, Loopback], reply: Reply, why: str, code: int
) -> None:
    service, here = tokens
    service.replies = [reply] * 9
    with pytest.raises(Failure, match=why) as failure:
        backend("http://127.0.0.1:9/r4", f"{here.base_url}/token").header()
    assert failure.value.code == code
    assert "Secret99" not in str(failure.value)
    assert str(failure.value).isprintable()


# -- shown to the server --


def authorizations(requests: list[Request]) -> list[str | None]:
    return [request.headers.get("Authorization") for request in requests]


def test_a_token_goes_with_every_request_and_only_to_the_server(connect: Connect) -> None:
    fhir = FakeFhir()
    with serving(fhir) as here:
        connect(f"{here.base_url}/fhir", Bearer("Secret99")).ability()
        connect(f"{here.base_url}/fhir").ability()
    assert authorizations(here.requests) == ["Bearer Secret99", None]


def test_a_redirect_takes_the_token_nowhere(connect: Connect) -> None:
    with serving(lambda request: Reply(200)) as other:
        onward = Reply(302, b"", {"Location": f"{other.base_url}/x?y"})
        why = f"sends us on to {other.base_url}; if that is right"
        with serving(lambda request: onward) as here, pytest.raises(NotAllowed, match=why):
            connect(here.base_url, Bearer("Secret99")).ability()
        assert other.requests == []


def test_the_next_page_on_another_host_is_not_asked_for(connect: Connect) -> None:
    with serving(lambda request: Reply(200)) as other:
        page = {"resourceType": "Bundle", "link": [{"relation": "next", "url": f"{other.base_url}/page2"}]}
        reply = Reply(200, json.dumps(page).encode())
        with serving(lambda request: reply) as here, pytest.raises(NotAllowed, match="on another host"):
            connect(here.base_url, Bearer("Secret99")).search("Task", {"identifier": "a|b"})
        assert other.requests == []


def test_a_token_that_is_not_taken_stops_without_repeating_it(connect: Connect) -> None:
    with serving(lambda request: Reply(401, b"Secret99")) as here:
        server: Server = connect(here.base_url, Bearer("Secret99"))
        with pytest.raises(NotAllowed, match="token is missing, wrong or run out") as failure:
            server.ability()
    assert len(here.requests) == 1
    assert failure.value.code == 3
    assert "Secret99" not in str(failure.value)


def test_a_token_that_ran_out_early_is_replaced_and_the_request_repeated(
    connect: Connect, backend: Backend, tokens: tuple[TokenService, Loopback]
) -> None:
    service, token_server = tokens
    fhir = FakeFhir()
    fhir.fault = lambda r: Reply(401, b"") if r.headers.get("Authorization") == "Bearer t1" else None
    with serving(fhir) as here:
        credentials = backend(here.base_url, f"{token_server.base_url}/token")
        assert connect(f"{here.base_url}/fhir", credentials).ability().version == "4.0.1"
    assert authorizations(here.requests) == ["Bearer t1", "Bearer t2"]
    assert service.given == 2


def test_a_server_that_takes_no_token_at_all_is_asked_twice_alone(
    connect: Connect, backend: Backend, tokens: tuple[TokenService, Loopback]
) -> None:
    service, token_server = tokens
    with serving(lambda request: Reply(401, b"")) as here:
        credentials = backend(here.base_url, f"{token_server.base_url}/token")
        with pytest.raises(NotAllowed, match="401"):
            connect(here.base_url, credentials).ability()
    assert len(here.requests) == 2
    assert service.given == 2


def test_the_least_is_asked_for() -> None:
    assert scopes(["Task", "Device", "Task"], ["Patient"]) == "system/Device.crus system/Task.crus system/Patient.rs"
    assert auth.Bearer(None).header() is None
    assert not auth.Bearer(None).renew()
    assert not Bearer("x").renew()


@pytest.mark.parametrize("where", ["http://127.0.0.1:8080/token", "http://localhost/token", "http://[::1]/token"])
def test_a_token_service_in_plain_text_is_refused_for_a_server_elsewhere(where: str) -> None:
    """What goes to a server elsewhere may go by way of a proxy, and plain text with it."""
    with pytest.raises(Failure, match="is plain http and could be sent to a proxy"):
        token_address(where, address("https://fhir.example.org/r4"))
    assert token_address(where, address("http://127.0.0.1/r4")).exact == where
