"""Sending to a real server while everything goes wrong: nothing lost, nothing doubled, receipts true."""

from __future__ import annotations

import contextlib
import json
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import made_records
import pytest
import yaml
from certificates import authority
from loopback import Forward, Loopback, Reply, Request, proxy, serving
from send_cases import LATER, Case, client, held, raw, stored, value_of
from stand_ins import receipts_of
from tokens import TokenService, ec_jwk, private

from lda_notes.sending.address import address
from lda_notes.sending.auth import BackendService, Bearer, signing_key, token_address
from lda_notes.sending.client import NotAllowed, Server
from lda_notes.sending.deliver import Delivered
from lda_notes.sending.drain import Passed, drain
from lda_notes.sending.entries import Identity, entries
from lda_notes.sending.outbox import FILE, Outbox
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.status import GOOD, standing

BUNDLES = 20
FEW = 8
KILLS = int(os.environ.get("LDA_NOTES_TEST_KILLS", "8"))
"""How often a sending process is killed; test_sending_crashes.py ends one at every step by itself."""
SEED = 20311


def week(bundles: int = BUNDLES) -> Case:
    """An access, looks at the line and a removal: one bundle each, some of which close what others opened."""
    hours = [f"2031-03-{3 + n // 4:02} {6 * (n % 4):02}:00" for n in range(1, bundles - 1)]
    events = [
        made_records.event("access", "2031-03-03 00:30", needle=made_records.NEEDLE, blood_return="present"),
        *(made_records.event("line check", hour, blood_return="present") for hour in hours),
        made_records.event("de-access", "2031-03-20 09:00", needle_intact=True, lock=made_records.HEPARIN),
    ]
    text = yaml.safe_dump(json.loads(json.dumps(made_records.record(*events), default=str)))
    case = Case(text.replace("https://made.example/", "https://lantern-bay.example/"))
    assert len(case.parcels()) == bundles
    return case


@dataclass
class Sending:
    """Parcels on their way from an outbox, and what must be true of them at every moment."""

    case: Case
    parcels: tuple[Parcel, ...]
    box: Outbox

    def nothing_lost(self) -> int:
        """How many still wait; each of the others has its receipt."""
        waiting = {slip.digest for slip in self.box.waiting()}
        receipts = [receipt.bundle for receipt in receipts_of(self.box)]
        assert len(receipts) == len(set(receipts)), "one receipt for each bundle"
        assert {one.digest for one in self.parcels} == waiting | set(receipts)
        assert self.box.set_aside() == []
        return len(waiting)

    def arrived(self, base_url: str) -> None:
        """All of it is there, once, as if nothing had gone wrong; and the receipts say what is there."""
        assert self.nothing_lost() == 0
        with client(base_url) as server:
            assert [one for one in standing(server, self.parcels) if one.state not in GOOD] == []
            found = stored(server, self.parcels)
        expected = undisturbed(self.parcels)
        assert {identity: one["meta"]["versionId"] for identity, one in found.items()} == expected
        by_digest = {one.digest: one for one in self.parcels}
        for receipt in receipts_of(self.box):
            listed = entries(value_of(by_digest[receipt.bundle]))
            assert receipt.about == by_digest[receipt.bundle].about
            for entry, told in zip(listed, receipt.resources, strict=True):
                assert (told.kind, told.id) == (entry.identity.kind, found[entry.identity]["id"])
                assert int(told.version) <= int(expected[entry.identity])
        latest = {one.kind + one.id: one for receipt in receipts_of(self.box) for one in receipt.resources}
        newest = {(one["resourceType"], one["id"], one["meta"]["versionId"]) for one in found.values()}
        for kind, number, version in {(one.kind, one.id, one.version) for one in latest.values()} - newest:
            older = json.loads(raw(base_url, f"{kind}/{number}/_history/{version}"))
            assert older["meta"]["versionId"] == version


def undisturbed(parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    """The versions that sending once, in order, leaves: an update of what was created makes the second."""
    listed = [entry for parcel in parcels for entry in entries(value_of(parcel))]
    by_method = {method: {e.identity for e in listed if e.method == method} for method in ("POST", "PUT")}
    both = by_method["POST"] & by_method["PUT"]
    return {entry.identity: "2" if entry.identity in both else "1" for entry in listed}


@pytest.fixture
def sending(tmp_path: Path) -> Sending:
    return begin(tmp_path, week())


@pytest.fixture
def brief(tmp_path: Path) -> Sending:
    """As many bundles as it takes to see that each is treated like the one before."""
    return begin(tmp_path, week(FEW))


def begin(folder: Path, case: Case) -> Sending:
    parcels = case.parcels()
    box = Outbox(folder / "box")
    box.put(parcels)
    return Sending(case, parcels, box)


def drained(box: Outbox, server: Server) -> list[Passed]:
    """Send what waits, by an outbox of this thread's own: SQLite keeps a connection to the thread that opened it."""
    return list(drain(Outbox(box.folder), server, lambda: datetime.now(UTC)))


@contextlib.contextmanager
def before(base_url: str) -> Iterator[tuple[Forward, Loopback, str]]:
    """Something that stands before a server and can fail."""
    forward = Forward(base_url)
    try:
        with serving(forward) as here:
            yield forward, here, f"{here.base_url}/fhir"
    finally:
        forward.close()


def is_transaction(request: Request) -> bool:
    return request.path == "/fhir"


QUICK: dict[str, Any] = {"first_s": 0.01, "longest_s": 0.2}


# -- connections --


def test_every_answer_is_lost_after_the_server_has_done_it(fhir_server: str, brief: Sending) -> None:
    with before(fhir_server) as (forward, here, url):
        forward.after = lambda request, reply: Reply(200, b"", cut=-1) if is_transaction(request) else reply
        with client(url, **QUICK) as server:
            results = [one.result for one in drained(brief.box, server)]
        sent = sum(is_transaction(request) for request in here.requests)
    assert all(isinstance(one, Delivered) and one.asked for one in results)
    assert len(results) == sent == FEW, "nothing is sent twice"
    brief.arrived(fhir_server)


def test_connections_break_at_random(fhir_server: str, sending: Sending) -> None:
    chance = random.Random(SEED)

    def passing(number: int, piece: bytes) -> bytes | None:
        return None if chance.random() < 0.15 else piece

    port = int(fhir_server.split(":")[2].partition("/")[0])
    with proxy(port, passing) as relay:
        url = f"http://127.0.0.1:{relay.port}/fhir"
        with client(url, tries=40, **QUICK) as server:
            assert len(drained(sending.box, server)) == BUNDLES
        assert relay.cut >= 10
    sending.arrived(fhir_server)


@pytest.mark.parametrize(("status", "asked"), [(429, "2"), (503, "2"), (503, None), (502, None), (504, None)])
def test_a_busy_server_gets_the_time_that_it_asks_for(
    fhir_server: str, brief: Sending, status: int, asked: str | None
) -> None:
    slept: list[float] = []
    seen: dict[bytes, int] = {}

    def busy(request: Request) -> Reply | None:
        if not is_transaction(request):
            return None
        seen[request.body] = seen.get(request.body, 0) + 1
        headers = {"Retry-After": asked} if asked else {}
        return Reply(status, b"<html>busy</html>", headers) if seen[request.body] == 1 else None

    with before(fhir_server) as (forward, _, url):
        forward.fault = busy
        with client(url, sleep=slept.append) as server:
            assert len(drained(brief.box, server)) == FEW
    assert len(slept) == FEW
    assert all(one >= (2 if asked else 0.25) for one in slept)
    brief.arrived(fhir_server)


def test_slow_answers(fhir_server: str, brief: Sending) -> None:
    slow = iter([True, False, True] + [False] * 1000)

    def after(request: Request, reply: Reply) -> Reply:
        if is_transaction(request) and next(slow):
            return Reply(reply.status, reply.body, reply.headers, wait_s=60)
        return reply

    with before(fhir_server) as (forward, here, url):
        forward.after = after
        with client(url, timeout_s=4.0, **QUICK) as server:
            results = [one.result for one in drained(brief.box, server)]
        assert sum(is_transaction(request) for request in here.requests) == FEW
    asked = [isinstance(one, Delivered) and one.asked for one in results]
    assert asked[0] and asked[2]
    assert not all(asked), "a busy machine may be slow of itself, but not every time"
    assert all(isinstance(one, Delivered) for one in results)
    brief.arrived(fhir_server)


def test_two_runs_with_the_same_bundles_at_once(fhir_server: str, tmp_path: Path) -> None:
    case = week()
    both = []
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        both.append(begin(tmp_path / name, case))

    def run(sending: Sending) -> int:
        with client(fhir_server, tries=12) as server:
            return len(drained(sending.box, server))

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(run, both)) == [BUNDLES, BUNDLES]
    for sending in both:
        sending.arrived(fhir_server)


# -- who is who --


def test_a_wrong_certificate_and_the_right_one(fhir_server: str, tmp_path: Path) -> None:
    sending = begin(tmp_path, week(4))
    known = authority(tmp_path)
    forward = Forward(fhir_server)
    try:
        with serving(forward, tls=known.server(tmp_path)) as here:
            url = f"{here.base_url}/fhir"
            refused = command(tmp_path, "send", "--server", url)
            assert refused.returncode == 4, refused.stderr
            assert "certificate is not trusted" in refused.stderr
            assert sending.nothing_lost() == 4
            assert here.requests == []
            done = command(tmp_path, "send", "--server", url, "--ca-file", known.file)
            assert done.returncode == 0, done.stderr
    finally:
        forward.close()
    sending.arrived(fhir_server)


def command(folder: Path, *arguments: str | Path, limit: int | None = None) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LDA_NOTES_")}

    def small() -> None:
        assert limit is not None
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    return subprocess.run(
        [sys.executable, "-m", "lda_notes", *map(str, arguments)],
        env={**environment, "LDA_NOTES_OUTBOX": str(folder / "box")},
        preexec_fn=small if limit else None,
        capture_output=True,
        text=True,
        check=False,
    )


def test_tokens_that_run_out_on_the_way(fhir_server: str, sending: Sending, tmp_path: Path) -> None:
    """The server stops taking each token after nine requests, long before its end."""
    service = TokenService()
    key = signing_key(private(tmp_path / "key.json", json.dumps(ec_jwk(kid="mine"))))
    uses: dict[str, int] = {}

    def strict(request: Request) -> Reply | None:
        shown = request.headers.get("Authorization", "")
        uses[shown] = uses.get(shown, 0) + 1
        return Reply(401, b"{}") if shown != f"Bearer t{service.given}" or uses[shown] > 9 else None

    with serving(service) as tokens, before(fhir_server) as (forward, _, url):
        forward.fault = strict
        with client(url) as server:
            where = token_address(f"{tokens.base_url}/token", address(fhir_server))
            server._credentials = BackendService(
                server._connection, server.address, "client-1", key, "system/*.crus", where, server.pace
            )
            assert len(drained(sending.box, server)) == BUNDLES
    assert service.given >= 3
    sending.arrived(fhir_server)


def test_a_token_that_ran_out_for_good_leaves_all_waiting(fhir_server: str, sending: Sending) -> None:
    with before(fhir_server) as (forward, here, url):
        forward.fault = lambda r: Reply(401, b"{}") if len(here.requests) > 8 else None
        with client(url, Bearer("Secret99")) as server, pytest.raises(NotAllowed, match="run out"):
            drained(sending.box, server)
        assert 0 < sending.nothing_lost() < BUNDLES
        forward.fault = lambda request: None
        with client(url, Bearer("new")) as server:
            drained(sending.box, server)
    sending.arrived(fhir_server)


# -- full disks --


def test_no_room_for_the_outbox_sends_nothing_and_leaves_nothing(fhir_server: str, tmp_path: Path) -> None:
    case = week()
    record, config = case.files(tmp_path)
    common = ("send", record, "--server", fhir_server, "--config", config, "--with-context", "--despite", "full disk")
    full = command(tmp_path, *common, "--asof", LATER.isoformat(), limit=6000)
    assert full.returncode == 2, full.stderr
    assert "outbox.sqlite3: cannot be read or written" in full.stderr
    assert Outbox(tmp_path / "box").waiting() == []
    with client(fhir_server) as server:
        assert not any(held(server, case.parcels()).values())


def test_no_room_for_receipts_stops_and_loses_nothing(fhir_server: str, brief: Sending) -> None:
    full = "CREATE TRIGGER full BEFORE INSERT ON receipt WHEN (SELECT count(*) FROM receipt) > 4"
    with closing(sqlite3.connect(brief.box.folder / FILE)) as data:
        data.execute(f"{full} BEGIN SELECT RAISE(ABORT, 'no room'); END")
        stopped = command(brief.box.folder.parent, "send", "--server", fhir_server)
        assert stopped.returncode == 4, stopped.stdout + stopped.stderr
        assert "nothing is doubled" in stopped.stderr
        data.execute("DROP TRIGGER full")
    assert 0 < brief.nothing_lost() < FEW
    assert command(brief.box.folder.parent, "send", "--server", fhir_server).returncode == 0
    brief.arrived(fhir_server)


# -- killed --


def test_killed_at_random_moments(fhir_server: str, tmp_path: Path) -> None:
    """Twenty bundles are drained by a process that is killed again and again."""
    chance = random.Random(SEED)
    (tmp_path / "calm").mkdir()
    start_s = timed(tmp_path / "calm", fhir_server)
    calm = begin(tmp_path / "calm", week())
    bundle_s = (timed(tmp_path / "calm", fhir_server) - start_s) / BUNDLES
    calm.arrived(fhir_server)
    passed: list[int] = []
    rounds = 0
    while len(passed) < KILLS:
        rounds += 1
        folder = tmp_path / f"round-{rounds}"
        folder.mkdir()
        sending = begin(folder, week())
        while left := sending.nothing_lost():
            running = start_draining(folder, fhir_server)
            if len(passed) < KILLS:
                # One in five at any time after the start, the others after some bundles have left the outbox.
                through = 0 if chance.random() < 0.2 else chance.randint(1, left)
                wait_until_left(folder, left - through, running)
                time.sleep(chance.uniform(0, 1.5 * bundle_s if through else start_s + bundle_s))
            else:
                running.wait()
            if running.poll() is None:
                running.send_signal(signal.SIGKILL)
                running.wait()
                passed.append(left - len(sending.box.waiting()))
            out, err = running.communicate()
            assert running.returncode in (0, -signal.SIGKILL), out + err
        sending.arrived(fhir_server)
    assert sum(some > 0 for some in passed) >= KILLS // 2, "enough kills fell after the first bundle of their run"


def wait_until_left(folder: Path, count: int, running: subprocess.Popen[str]) -> None:
    box = Outbox(folder / "box")
    while running.poll() is None and len(box.waiting()) > count:
        time.sleep(0.001)


def timed(folder: Path, base_url: str) -> float:
    """How long one run takes, in seconds."""
    began = time.monotonic()
    running = start_draining(folder, base_url)
    _, err = running.communicate()
    assert running.returncode == 0, err
    return time.monotonic() - began


def start_draining(folder: Path, base_url: str) -> subprocess.Popen[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LDA_NOTES_")}
    return subprocess.Popen(
        [sys.executable, "-m", "lda_notes", "send", "--server", base_url],
        env={**environment, "LDA_NOTES_OUTBOX": str(folder / "box")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
