"""The plain-http door of the shed network: a few fixed answers by which a tablet comes to trust the yard's root.

It knows nothing of the book: no Django, no cookies, no file is opened for a request. What is not among its answers is
not there.
"""

import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from socketserver import TCPServer, ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

HEADERS = [
    (
        "Content-Security-Policy",
        "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'",
    ),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Referrer-Policy", "no-referrer"),
    ("Cache-Control", "no-cache"),
    ("Server", "hullbook"),
]
MOST_AT_ONCE = 64
SECONDS_OF_SILENCE = 10


@dataclass(frozen=True)
class Answer:
    content_type: str
    content: bytes


NOTHING_HERE = Answer("text/plain; charset=utf-8", b"Nothing is kept here. The steps are on the first page.\n")


def door_application(answers: Mapping[str, Answer]) -> WSGIApplication:
    """Answers to GET of these paths, to anything else 404."""

    def application(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        found = answers.get(environ.get("PATH_INFO", "")) if environ["REQUEST_METHOD"] == "GET" else None
        answer = found or NOTHING_HERE
        length = str(len(answer.content))
        start_response(
            "200 OK" if found else "404 Not Found",
            [("Content-Type", answer.content_type), ("Content-Length", length), *HEADERS],
        )
        return [answer.content]

    return application


class _Request(WSGIRequestHandler):
    timeout = SECONDS_OF_SILENCE
    server_version = "hullbook"
    sys_version = ""

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: the terminal shows what a person has to read."""


class _DoorServer(ThreadingMixIn, WSGIServer):
    daemon_threads = True
    request_queue_size = MOST_AT_ONCE

    def server_bind(self) -> None:
        # As the class above does it, without asking a name service what this computer is called.
        TCPServer.server_bind(self)
        self.server_name, self.server_port = "hullbook", self.socket.getsockname()[1]
        self.setup_environ()

    def verify_request(self, request: object, client_address: object) -> bool:
        return threading.active_count() < MOST_AT_ONCE


@contextmanager
def open_door(address: str, port: int, answers: Mapping[str, Answer]) -> Iterator[int]:
    """Answer on this port from a thread of this process, which ends with it. Gives the port; OSError if it is taken."""
    with _DoorServer((address, port), _Request) as server:
        server.set_app(door_application(answers))
        thread = threading.Thread(target=server.serve_forever, name="trust door", daemon=True)
        thread.start()
        try:
            yield server.server_port
        finally:
            server.shutdown()
            thread.join()
