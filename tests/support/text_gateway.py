"""A real HTTP server that stands in for a text gateway: it writes down every request and answers as it is told."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the server says to the next request; ``hang_up`` closes the connection without a word."""

    status: int = 200
    body: bytes = b""
    headers: Mapping[str, str] = field(default_factory=dict)
    hang_up: bool = False
    promised_length: int | None = None
    """A Content-Length other than the true one: the body then breaks off."""
    held_until: threading.Event | None = None
    """Say nothing before this is set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One request as it arrived."""

    method: str
    path: str
    headers: Mapping[str, str]
    body: bytes


class PretendGateway(ThreadingHTTPServer):
    """Listens on a free port of this machine only."""

    daemon_threads = True
    request_queue_size = 64

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.asked: list[Asked] = []
        self.answer = Answer()
        self.says: Callable[[Asked], bytes] = lambda _: b""
        """The body of an answer that has none of its own."""
        self.lists: dict[str, Answer] = {}
        """What is said at paths that begin so, instead of ``answer``: such as lists of texts that came in."""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


class _Handler(BaseHTTPRequestHandler):
    server: PretendGateway
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        length = int(self.headers.get("Content-Length") or 0)
        lists = self.server.lists
        answer = next((lists[path] for path in lists if self.path.startswith(path)), self.server.answer)
        body = self.rfile.read(length)
        asked = Asked(method=self.command, path=self.path, headers=dict(self.headers), body=body)
        self.server.asked.append(asked)
        if answer.held_until is not None:
            answer.held_until.wait(timeout=10)
        self.close_connection = True
        if not answer.hang_up:
            self._say(answer, answer.body or self.server.says(asked))

    do_POST = do_PUT = do_GET  # noqa: N815

    def _say(self, answer: Answer, body: bytes) -> None:
        self.send_response(answer.status)
        for name, value in answer.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(answer.promised_length or len(body)))
        with suppress(ConnectionError):  # The client may have gone, or stop reading a long answer.
            self.end_headers()
            self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class's name
        """Say nothing: the tests look at ``asked``."""


@contextmanager
def pretend_gateway() -> Iterator[PretendGateway]:
    with PretendGateway() as gateway:
        thread = threading.Thread(target=gateway.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield gateway
        finally:
            gateway.shutdown()
            thread.join()
