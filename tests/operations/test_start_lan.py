"""`manage.py start --lan` as a yard runs it: https for the book, plain http for the steps, and an end of both."""

import http.client
import http.cookies
import io
import os
import pty
import re
import select
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from ipaddress import IPv4Address
from pathlib import Path
from urllib.parse import urlencode

import pytest
import segno
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from hullbook.operations.addresses import Hosts
from hullbook.operations.certificates import certificates_for, fingerprint_words
from tests.operations.serving import (
    PASSWORD,
    ROOT,
    Shed,
    environment,
    free_port,
    is_running,
    manage,
    new_yard,
    processes_under,
    shed_served,
)


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_yard(tmp_path_factory.mktemp("yard"))


@pytest.fixture(scope="module")
def other_yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Not served by `shed`, so that two servers never keep one book."""
    return new_yard(tmp_path_factory.mktemp("other yard"))


@pytest.fixture(scope="module")
def shed(yard: Path) -> Iterator[Shed]:
    with shed_served(yard) as served:
        yield served


def asked(
    shed: Shed,
    path: str,
    *,
    host: str = "127.0.0.1",
    method: str = "GET",
    keyed: str | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[http.client.HTTPResponse, bytes]:
    connection = http.client.HTTPSConnection(host, shed.port, timeout=20, context=shed.trusting())
    with closing(connection):
        connection.request(method, path, keyed, headers or {})
        answer = connection.getresponse()
        return answer, answer.read()


def is_answered(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=5).close()
    except ConnectionRefusedError:
        return False
    return True


def asked_at_the_door(shed: Shed, path: str) -> tuple[http.client.HTTPResponse, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", shed.trust_port, timeout=20)
    with closing(connection):
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer, answer.read()


def cookies_of(answer: http.client.HTTPResponse) -> dict[str, http.cookies.Morsel[str]]:
    found: http.cookies.SimpleCookie = http.cookies.SimpleCookie()
    for cookie in answer.headers.get_all("Set-Cookie", []):
        found.load(cookie)
    return dict(found)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_the_book_answers_over_https_with_its_headers(host: str, shed: Shed) -> None:
    answer, _ = asked(shed, "/sign-in/", host=host)
    assert answer.status == 200
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert answer.headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_signing_in_gives_cookies_that_never_travel_in_the_open(shed: Shed) -> None:
    answer, page = asked(shed, "/sign-in/")
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.decode())
    assert token
    first = cookies_of(answer)
    keyed = urlencode({"username": "kester", "password": PASSWORD, "csrfmiddlewaretoken": token.group(1)})
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Origin": f"https://127.0.0.1:{shed.port}",
        "Cookie": "; ".join(f"{name}={morsel.value}" for name, morsel in first.items()),
    }
    answer, _ = asked(shed, "/sign-in/", method="POST", keyed=keyed, headers=headers)
    assert (answer.status, answer.headers["Location"]) == (302, "/")
    given = first | cookies_of(answer)
    assert set(given) == {"__Host-hullbook", "__Host-hullbook-csrf"}
    # What __Host- asks of a cookie (RFC 6265bis): Secure, the whole site, no Domain.
    for name, morsel in given.items():
        assert (bool(morsel["secure"]), morsel["path"], morsel["domain"]) == (True, "/", ""), name
    assert given["__Host-hullbook"]["httponly"]


def test_a_form_sent_from_another_site_is_refused(shed: Shed) -> None:
    headers = {"Origin": "https://book.example"}
    answer, _ = asked(shed, "/sign-in/", method="POST", keyed="username=kester", headers=headers)
    assert answer.status == 403


def test_a_name_that_is_not_the_yards_gets_no_page(shed: Shed) -> None:
    answer, _ = asked(shed, "/sign-in/", headers={"Host": "book.example"})
    assert answer.status == 400


def test_one_who_does_not_trust_the_root_is_warned(shed: Shed) -> None:
    stranger = ssl.create_default_context()
    with (
        socket.create_connection(("127.0.0.1", shed.port), timeout=20) as plain,
        pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"),
    ):
        stranger.wrap_socket(plain, server_hostname="127.0.0.1")


def test_plain_http_at_the_books_port_gets_nothing(shed: Shed) -> None:
    with socket.create_connection(("127.0.0.1", shed.port), timeout=20) as plain:
        plain.sendall(b"GET /sign-in/ HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert b"HTTP" not in plain.recv(1000)


def test_the_door_and_the_window_show_the_same_root(shed: Shed) -> None:
    root = x509.load_der_x509_certificate(asked_at_the_door(shed, "/yard-root.crt")[1])
    assert root == x509.load_pem_x509_certificate(shed.root.read_bytes())
    told = shed.told.read_text()
    assert fingerprint_words(root) in told
    assert f"https://127.0.0.1:{shed.port}/" in told
    assert f"http://127.0.0.1:{shed.trust_port}/" in told


def test_the_door_shows_no_page_of_the_book(shed: Shed) -> None:
    for path in ("/sign-in/", "/hulls/", "/static/css/base.css"):
        answer, _ = asked_at_the_door(shed, path)
        assert (answer.status, answer.headers["Set-Cookie"], answer.headers["Location"]) == (404, None, None)


def certificate_shown(shed: Shed) -> bytes:
    with (
        socket.create_connection(("127.0.0.1", shed.port), timeout=20) as plain,
        shed.trusting().wrap_socket(plain, server_hostname="127.0.0.1") as wrapped,
    ):
        shown = wrapped.getpeercert(binary_form=True)
        assert shown
        return shown


def test_a_certificate_renewed_while_the_book_is_served_is_shown_without_a_stop(other_yard: Path) -> None:
    with shed_served(other_yard) as served:
        before = certificate_shown(served)
        hosts = Hosts(given=(IPv4Address("127.0.0.1"), "localhost"), found=(IPv4Address("192.168.250.250"),))
        renewed = certificates_for(hosts, other_yard / "tls", datetime.now(UTC)).server.public_bytes(Encoding.DER)
        assert renewed != before
        served.process.send_signal(signal.SIGHUP)  # as `renew_in_time` does
        give_up = time.monotonic() + 30
        while certificate_shown(served) != renewed:
            assert asked(served, "/sign-in/")[0].status == 200
            assert time.monotonic() < give_up
            time.sleep(0.1)


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_ended_in_any_way_nothing_is_left_running(end: signal.Signals, other_yard: Path) -> None:
    with shed_served(other_yard) as served:
        children = processes_under(served.process.pid)
        assert children
        served.process.send_signal(end)
        code = served.process.wait(timeout=30)
        assert code == (-signal.SIGKILL if end == signal.SIGKILL else 0)
        give_up = time.monotonic() + 20
        while left := {child for child in children if is_running(child)}:
            assert time.monotonic() < give_up, left
            time.sleep(0.1)
        for port in (served.port, served.trust_port):
            with pytest.raises(ConnectionRefusedError):
                socket.create_connection(("127.0.0.1", port), timeout=5)


@pytest.mark.parametrize("asked_with", ["--port", "--trust-port"])
def test_a_taken_port_is_refused_in_words(asked_with: str, tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("0.0.0.0", 0))  # noqa: S104 - as the server would
        taken.listen()
        port = taken.getsockname()[1]
        other = "--trust-port" if asked_with == "--port" else "--port"
        done = manage(tmp_path, "start", "--lan", asked_with, str(port), other, str(free_port()), "--host", "localhost")
    assert done.returncode == 1
    assert f"Port {port} is taken on this computer; give another with {asked_with}." in done.stderr
    assert not (tmp_path / "tls").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--host", "localhost"), "--host and --trust-port go with --lan"),
        (("--trust-port", "8444"), "--host and --trust-port go with --lan"),
        (("--lan", "--host", "203.0.113.9"), "203.0.113.9 is not an address of a private network"),
        (("--lan", "--host", "localhost", "--port", "8443", "--trust-port", "8443"), "need one each"),
        (("--lan", "--host", "localhost", "--trust-port", "70000"), "--trust-port 70000 is not a port"),
    ],
)
def test_what_cannot_be_served_is_refused_in_words(words: tuple[str, ...], says: str, tmp_path: Path) -> None:
    done = manage(tmp_path, "start", *words)
    assert done.returncode == 1
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "book.sqlite3").exists()


def test_prepared_but_not_served_the_certificates_are_there(other_yard: Path) -> None:
    shutil.rmtree(other_yard / "tls", ignore_errors=True)
    ports = ("--port", str(free_port()), "--trust-port", str(free_port()))
    done = manage(other_yard, "start", "--lan", "--no-serve", *ports, "--host", "localhost")
    assert done.returncode == 0, done.stderr
    assert (other_yard / "tls" / "server.pem").exists()


def test_a_person_at_a_terminal_sees_a_code_that_leads_to_the_steps_and_ends_both_with_ctrl_c(other_yard: Path) -> None:
    port, trust_port = free_port(), free_port()
    near, far = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "start", "--lan", "--host", "localhost"]
        + ["--port", str(port), "--trust-port", str(trust_port)],
        cwd=ROOT,
        env=environment(other_yard),
        stdin=far,
        stdout=far,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    os.close(far)  # so that reading ends if the server does
    try:
        seen = b""
        give_up = time.monotonic() + 90
        while seen.partition(b"The server certificate")[2].count(b"\n") < 12:
            assert select.select([near], [], [], give_up - time.monotonic())[0], seen
            seen += os.read(near, 4096)
        while not is_answered(port):
            assert time.monotonic() < give_up
            time.sleep(0.1)
    finally:
        # As a terminal does it: to the server's own process as well.
        os.killpg(process.pid, signal.SIGINT)
        code = process.wait(timeout=30)
        os.close(near)
    assert code == 0
    assert not is_answered(port)
    assert not is_answered(trust_port)
    assert b"is good for 395 days and is renewed by itself when fewer than 60 are left" in seen
    wanted = io.StringIO()
    segno.make(f"http://localhost:{trust_port}/", error="m", micro=False).terminal(out=wanted, compact=True)
    lines = wanted.getvalue().splitlines()
    assert "\n".join(lines[:10]) in seen.decode().replace("\r\n", "\n")
