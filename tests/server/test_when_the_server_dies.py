"""The server of all these tests is killed; stands last in its folder, since what comes after finds a cold server."""

from __future__ import annotations

import contextlib
import random
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

from loopback import Request
from send_cases import client
from test_send_faults import BUNDLES, KILLS, QUICK, SEED, Sending, before, begin, drained, is_transaction, week

from lda_notes.sending.client import Unreachable
from lda_notes.sending.outbox import Outbox

if TYPE_CHECKING:
    from conftest import OwnServer

SHARES = (0.4,) if KILLS < 15 else (0.2, 0.6, 0.8)
"""After which share of the bundles the server is killed, each time anew."""


def test_the_server_is_killed_during_requests(own_server: OwnServer, tmp_path: Path) -> None:
    """While a transaction is under way; what it had answered for is still there, what it had not is sent."""
    sending = begin(tmp_path, week())
    for share in SHARES:
        under_way = threading.Event()

        def watched(
            request: Request, until: int = int(BUNDLES * (1 - share)), now: threading.Event = under_way
        ) -> None:
            if is_transaction(request) and len(Outbox(sending.box.folder).waiting()) <= until:
                now.set()

        with before(own_server.base_url) as (forward, _, url):
            forward.fault = watched
            thread = threading.Thread(target=drain_until_unreachable, args=(sending, url))
            thread.start()
            assert under_way.wait(120)
            time.sleep(random.Random(SEED).uniform(0.0, 0.05))
            own_server.kill()
            thread.join()
        left = sending.nothing_lost()
        assert 0 < left <= BUNDLES * (1 - share) + 1
        own_server.start_again()
    with client(own_server.base_url) as server:
        drained(sending.box, server)
    sending.arrived(own_server.base_url)


def drain_until_unreachable(sending: Sending, url: str) -> None:
    with client(url, tries=3, **QUICK) as server, contextlib.suppress(Unreachable):
        drained(sending.box, server)
