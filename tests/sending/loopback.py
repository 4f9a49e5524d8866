"""A small HTTP server on the loopback address that answers as a test tells it, also badly."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import httpx


@dataclass(frozen=True)
class Request:
    method: str
    path: str
    headers: Mapping[str, str]
    body: bytes


@dataclass(frozen=True)
class Reply:
    """An answer; with ``cut`` the connection is closed after that many bytes of the body, -1 before the first byte."""

    status: int = 200
    body: bytes = b"{}"
    headers: Mapping[str, str] = field(default_factory=dict)
    cut: int | None = None
    wait_s: float = 0.0


Answer = Callable[[Request], Reply]


@dataclass
class Loopback:
    base_url: str
    requests: list[Request]


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Clients break off on purpose here."""


@contextmanager
def serving(answer: Answer, *, tls: ssl.SSLContext | None = None, host: str = "127.0.0.1") -> Iterator[Loopback]:
    """Serve until the block ends. ``answer`` may be called from several threads."""
    requests: list[Request] = []
    stopping = threading.Event()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        disable_nagle_algorithm = True

        def _do(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            request = Request(self.command, self.path, dict(self.headers), self.rfile.read(length))
            requests.append(request)
            reply = answer(request)
            stopping.wait(reply.wait_s)
            if reply.cut == -1:
                self.close_connection = True
                self.connection.shutdown(socket.SHUT_RDWR)
                return
            self.send_response(reply.status)
            for name, value in reply.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(reply.body)))
            self.end_headers()
            self.wfile.write(reply.body if reply.cut is None else reply.body[: reply.cut])
            if reply.cut is not None:
                self.close_connection = True

        do_GET = do_POST = do_PUT = _do

        def log_message(self, format: str, *args: Any) -> None:
            """Nothing is said."""

    server = _Server((host, 0), Handler)
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        scheme = "http" if tls is None else "https"
        yield Loopback(f"{scheme}://{host}:{server.server_address[1]}", requests)
    finally:
        stopping.set()
        server.shutdown()
        server.server_close()
        thread.join()


class Forward:
    """Passes requests on to a server. ``fault`` may answer in its place; ``after`` may change what it answered."""

    def __init__(self, base_url: str) -> None:
        self._origin = "/".join(base_url.split("/")[:3])
        self._client = httpx.Client(timeout=120, trust_env=False)
        self.fault: Callable[[Request], Reply | None] = lambda request: None
        self.after: Callable[[Request, Reply], Reply] = lambda request, reply: reply

    def __call__(self, request: Request) -> Reply:
        reply = self.fault(request)
        if reply is not None:
            return reply
        passed = {name: value for name, value in request.headers.items() if name in _PASSED}
        answer = self._client.request(
            request.method, self._origin + request.path, headers=passed, content=request.body or None
        )
        headers = {"Content-Type": answer.headers["content-type"]} if "content-type" in answer.headers else {}
        return self.after(request, Reply(answer.status_code, answer.content, headers))

    def close(self) -> None:
        self._client.close()


_PASSED = ("Host", "Content-Type", "Accept", "Prefer", "Cache-Control")


@contextmanager
def proxy(port: int, passing: Callable[[int, bytes], bytes | None]) -> Iterator[Proxy]:
    """A relay of bytes to a local port that can be told to fail.

    ``passing`` sees each piece that the server sends, with the number of its connection, and gives what the client
    shall get; None cuts both sides at once.
    """
    relay = Proxy(port, passing)
    thread = threading.Thread(target=relay.run, daemon=True)
    thread.start()
    try:
        yield relay
    finally:
        relay.close()
        thread.join()


class Proxy:
    def __init__(self, port: int, passing: Callable[[int, bytes], bytes | None]) -> None:
        self._to = port
        self._passing = passing
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._open: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._closed = False
        self.connections = 0
        self.cut = 0
        self.port: int = self._listening.getsockname()[1]

    def run(self) -> None:
        while True:
            try:
                client, _ = self._listening.accept()
            except OSError:
                return
            if self._closed:
                client.close()
                return
            number = self.connections
            self.connections += 1
            server = socket.create_connection(("127.0.0.1", self._to))
            self._open += [client, server]
            for source, target, inward in ((client, server, True), (server, client, False)):
                thread = threading.Thread(target=self._pump, args=(number, source, target, inward), daemon=True)
                thread.start()
                self._threads.append(thread)

    def _pump(self, number: int, source: socket.socket, target: socket.socket, inward: bool) -> None:
        try:
            while piece := source.recv(65536):
                passed: bytes | None = piece
                if not inward:
                    passed = self._passing(number, piece)
                if passed is None:
                    self.cut += 1
                    break
                target.sendall(passed)
        except OSError:
            pass
        for one in (source, target):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._closed = True
        with suppress(OSError):  # wakes the thread that waits for a connection
            socket.create_connection(("127.0.0.1", self.port), timeout=5).close()
        self._listening.close()
        for one in self._open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()
        for one in self._open:
            one.close()
