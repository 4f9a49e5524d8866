"""Servers, token services, keys and outbox files of somebody who wants to break it: each ended in an error, a hang or
a gigabyte once."""

from __future__ import annotations

import json
import os
import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from loopback import Reply, serving
from stand_ins import Waits
from test_sending_commands import WEEK, Type, typed
from test_sending_deliver import ACCESS
from test_sending_outbox import parcel
from test_sending_strange import server
from tokens import ec_jwk, pem, private

from lda_notes.fhir.elements import to_json_bytes
from lda_notes.fhir.verify.verification import verify_json
from lda_notes.problems import Failure
from lda_notes.sending import status
from lda_notes.sending.address import address
from lda_notes.sending.auth import BackendService, signing_key
from lda_notes.sending.client import NotAllowed, Unreadable
from lda_notes.sending.deliver import Refused, deliver
from lda_notes.sending.outbox import FILE, Damaged, Outbox
from lda_notes.sending.outcome import issues
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.secret_files import read_secret
from lda_notes.sending.wire import Answer, Connection, NoAnswer

__all__ = ["typed"]


def answer(value: Any, status: int = 200) -> Answer:
    return Answer(status, {}, json.dumps(value).encode())


# -- what a server answers --


@pytest.mark.parametrize(
    "body",
    [
        b'{"value": 1e999999999}',
        b'{"value": -1E-999999999}',
        b'{"value": NaN}',
        b'{"value": "\\ud800"}',
        b'{"\\udc00": 1}',
        b'{"value": "\xed\xa0\x80"}',
        b'{"value": 1, "value": 2}',
        b"[" + b"[]," * 600_000 + b"[]]",
        b'{"value": ' + b"9" * 5000 + b"}",
    ],
    ids=lambda body: body[:30].decode("ascii", "replace"),
)
def test_what_could_not_be_written_again_is_not_taken_for_an_answer(body: bytes) -> None:
    assert Answer(200, {}, body).json() is None
    with pytest.raises(Unreadable, match="does not answer in FHIR JSON"):
        server([Answer(200, {}, body)]).ability()


def test_a_sign_of_two_halves_is_text() -> None:
    assert Answer(200, {}, b'{"value": "\\ud83d\\ude00"}').json() == {"value": "\U0001f600"}


def test_a_bundle_file_with_an_endless_number_is_one_fault() -> None:
    [fault] = verify_json(b'{"resourceType": "Bundle", "total": 1e999999999}')
    assert "more digits than can be read" in fault.message


def test_a_fault_that_is_placed_nowhere() -> None:
    for text in (f"Bundle.entry[{'9' * 5000}].status", "entry[\u00b2].status"):
        issue = {"severity": "error", "diagnostics": "no", "expression": [text]}
        [found] = issues(answer({"resourceType": "OperationOutcome", "issue": [issue]}, 422))
        assert (found.entry, found.words) == (None, "no")


@pytest.mark.parametrize("status", ["\u00b2\u00b2\u00b2", "\u0664\u0660\u0660", "40", "4000"])
def test_a_status_that_is_no_number(status: str) -> None:
    bundle = {**ACCESS, "entry": [one for one in ACCESS["entry"] if one["request"]["method"] == "POST"][:1]}
    stored = {**bundle["entry"][0]["resource"], "id": "1", "meta": {"versionId": "1"}}
    said = answer({"resourceType": "Bundle", "entry": [{"response": {"status": status}, "resource": stored}]})
    result = deliver(server([said]), bundle)
    assert isinstance(result, Refused) == (status == "4000")


def test_what_a_server_says_of_itself_is_cut() -> None:
    version = "9" * 100_000 + "\x1b[2J"
    said = answer({"resourceType": "CapabilityStatement", "fhirVersion": version})
    [lacks, *_] = server([said, said]).ability().lacks((), ())
    assert len(lacks) < 600
    assert lacks.isprintable()
    listed = [{"severity": "error", "diagnostics": f"{number} " + "x" * 300} for number in range(60)]
    with pytest.raises(NotAllowed) as refused:
        server([answer({"resourceType": "OperationOutcome", "issue": listed}, 403)]).ability()
    assert len(str(refused.value)) < 600


def test_a_flood_of_warnings_is_cut() -> None:
    issues = ([{"severity": "warning", "diagnostics": str(number)}] for number in range(500))
    listed = [{"resource": {"resourceType": "OperationOutcome", "issue": one}} for one in issues]
    asked = server([answer({"resourceType": "Bundle", "entry": listed})])
    asked.search("Task", {})
    assert len(asked.said) == 50


def test_pages_that_take_too_long_end() -> None:
    page = {"resourceType": "Bundle", "link": [{"relation": "next", "url": "https://fhir.example.org/r4/next"}]}
    asked = server([answer(page)] * 3)
    waits = Waits()

    def later(*_: object) -> Answer:
        waits.seconds += 1000
        return answer(page)

    asked.pace = waits.pace()
    asked._connection.ask = later  # type: ignore[method-assign, assignment]  # replaced on purpose
    with pytest.raises(Unreadable, match="more than 30 minutes"):
        asked.search("Task", {})
    assert waits.seconds < 4000


def test_a_key_twice_among_many_is_found_by_counting() -> None:
    """To count each key among all took hours."""
    keys = ", ".join(f'"{number}": 1' for number in range(100_000))
    [fault] = verify_json(f'{{{keys}, "99999": 2}}'.encode())
    assert "'99999'" in fault.message


def test_a_redirect_to_what_is_no_address_is_an_answer() -> None:
    """The request has arrived: the sentence was that it has no address."""
    with serving(lambda request: Reply(307, b"", {"Location": "javascript:alert(1)"})) as here:
        connection = Connection(address(here.base_url), timeout_s=5, ca_file=None)
        with pytest.raises(NoAnswer, match="the answer cannot be read") as none:
            connection.ask("GET", here.base_url, {})
        connection.__exit__()
    assert none.value.may_have_arrived


def test_sources_times_targets_are_not_walked(monkeypatch: pytest.MonkeyPatch) -> None:
    parcel = Parcel(to_json_bytes(ACCESS), "port", "week/access-1", "a.yaml", (1,))
    entity = [{"role": "source", "what": {"identifier": {"value": f"port/week/{number}"}}} for number in range(500)]
    made = {"resourceType": "Provenance", "id": "1", "entity": entity, "target": [{"reference": "Task/1"}]}
    asked = server([])
    monkeypatch.setattr(asked, "find", lambda wanted: {one: [] for one in wanted})
    monkeypatch.setattr(asked, "resolved", lambda reference: "Patient/1")
    monkeypatch.setattr(asked, "search", lambda kind, query: [made])
    walked: list[object] = []
    monkeypatch.setattr(status, "references", lambda value: walked.append(value) or [])
    assert list(status.left_over(asked, [parcel])) == []
    assert 0 < len(walked) < 100


# -- where it is, and who asks --


@pytest.mark.parametrize("host", ["a..b", "a" * 300 + ".example", "\udcff.example", "127.0.0.1:0"])
def test_what_is_no_host(host: str) -> None:
    with pytest.raises(Failure, match="no web address"):
        address(f"https://{host}/r4")


def test_an_address_of_bytes_that_are_no_text(typed: Type) -> None:
    run = typed("status", WEEK, "--server", "http://127.0.0.1:9/\udcff")
    assert (run.code, "no web address" in run.err) == (4, True)


@pytest.mark.parametrize(
    "proxy", ["foo://u:Secret99@h:1", "socks5://u:Secret99@h:1", "http://u:Secret99@[::1", "http://u:Secret99@h\n"]
)
def test_a_proxy_that_cannot_be_used(monkeypatch: pytest.MonkeyPatch, proxy: str) -> None:
    for name in ("HTTPS_PROXY", "https_proxy"):
        monkeypatch.setenv(name, proxy)
    with pytest.raises(Failure, match="a proxy that the environment names") as failure:
        Connection(address("https://fhir.example.org/r4"), timeout_s=1, ca_file=None)
    assert "Secret99" not in str(failure.value)


def test_a_pipe_in_the_place_of_a_secret_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "token", 0o600)
    said: list[Failure] = []

    def read() -> None:
        try:
            read_secret(tmp_path / "token", "the token")
        except Failure as failure:
            said.append(failure)

    reading = threading.Thread(target=read, daemon=True)
    reading.start()
    reading.join(10)
    assert "is not a regular file" in str(said[0])


@pytest.mark.parametrize(
    "content",
    [
        '{"keys":' * 20_000,
        pem(ec.generate_private_key(ec.BrainpoolP384R1())),
        json.dumps({**ec_jwk(), "alg": "ES256"}),
        json.dumps({**ec_jwk(), "key_ops": ["verify"]}),
    ],
    ids=["nested", "brainpool", "another algorithm", "another use"],
)
def test_a_key_that_cannot_sign(tmp_path: Path, content: str) -> None:
    with pytest.raises(Failure, match="private key"):
        signing_key(private(tmp_path / "key", content))


@pytest.mark.parametrize("life", [10**400, -(10**400), 0, True, None, "300"])
def test_a_token_of_any_life(tmp_path: Path, life: object) -> None:
    class Service:
        asked = 0

        def ask(self, *_: object) -> Answer:
            self.asked += 1
            return answer({"token_type": "bearer", "access_token": "t", "expires_in": life})

    service, waits, where = Service(), Waits(), address("https://login.example.org/token")
    key = signing_key(private(tmp_path / "key", json.dumps(ec_jwk())))
    backend = BackendService(service, where, "c", key, "s", where, waits.pace())  # type: ignore[arg-type]  # a stand-in of the test
    assert backend.header() == "Bearer t"
    waits.seconds += 90_000
    assert backend.header() == "Bearer t"
    assert service.asked == 2


def test_a_client_of_bytes_that_are_no_text(typed: Type, tmp_path: Path) -> None:
    key = private(tmp_path / "key", json.dumps(ec_jwk()))
    run = typed("status", WEEK, "--server", "http://127.0.0.1:9/", "--client-id", "\udcff", "--key-file", key)
    assert (run.code, "text in one row" in run.err) == (2, True)


# -- the outbox --


def changed(folder: Path, statement: str, *values: object) -> None:
    data = sqlite3.connect(folder / FILE)
    data.execute(statement, values)
    data.commit()
    data.close()


HEADS = ["", "{}", "[1]", "[" * 5000, '{"file": 1, "rows": [], "shared": [], "creates": [], "updates": []}',
         '{"file": "x", "rows": "ab", "shared": ["x"], "creates": [{}], "updates": [[1]]}', b"\x00\xff", 5]  # fmt: skip


@pytest.mark.parametrize("head", HEADS, ids=range(len(HEADS)))
def test_a_damaged_parcel_does_not_hold_up_the_others(tmp_path: Path, head: object) -> None:
    box = Outbox(tmp_path / "box")
    box.put([parcel("one", "week/access-1"), parcel("two", "week/access-2")])
    changed(box.folder, "UPDATE parcel SET head = ? WHERE number = 1", head)
    first, second = box.waiting()
    with pytest.raises(Damaged):
        box.take(first)
    assert box.take(second) is not None


@pytest.mark.parametrize("column", ["digest", "line", "about", "server", "bundle", "reason"])
@pytest.mark.parametrize("value", [b"\x00\xff", 10**12, 1.5, "\x1b[2J"])
def test_a_row_of_another_type_is_listed_and_sent_or_set_aside(
    typed: Type, tmp_path: Path, column: str, value: object
) -> None:
    folder = tmp_path / "box"
    Outbox(folder).put([parcel("one", "week/access-1")])
    changed(folder, f"UPDATE parcel SET {column} = ?", value)
    run = typed("send", "--outbox", folder)
    assert (run.code, "1 bundle" in run.err or "0 bundles" in run.err) == (0, True)
    [slip] = [*Outbox(folder).waiting(), *Outbox(folder).set_aside()]
    try:
        Outbox(folder).take(slip)
    except Damaged:
        assert column in ("digest", "bundle")


def test_a_lock_that_is_no_lock_is_named(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "box")
    (box.folder / "sending.sqlite3").write_bytes(b"no database" * 1000)
    with pytest.raises(Failure, match="cannot keep other runs from sending") as failure, box.draining():
        pass
    assert failure.value.code == 4
    (box.folder / "sending.sqlite3").unlink()
    with Outbox(box.folder).draining():
        pass
