import ast
import http.client
import re
import socket
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from ipaddress import IPv4Address
from pathlib import Path
from wsgiref.util import setup_testing_defaults
from wsgiref.validate import validator

import pytest
import segno
from bs4 import BeautifulSoup
from cryptography import x509
from django.conf import settings
from hypothesis import given
from hypothesis import strategies as st

from hullbook.operations import trust_door
from hullbook.operations.addresses import Hosts
from hullbook.operations.certificates import Certificates, certificates_for, fingerprint_words
from hullbook.operations.trust_door import Answer, door_application, open_door
from hullbook.operations.trust_page import door_answers

NOW = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
BOOK, ENROL_PATH = "https://192.168.1.20:8300", "/yard/tablets/enrol/"
ENROL = BOOK + ENROL_PATH
HOSTS = Hosts(given=(IPv4Address("192.168.1.20"),), found=("yard-pc", "yard-pc.local", "localhost"))


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return certificates_for(HOSTS, tmp_path_factory.mktemp("yard") / "tls", NOW)


@pytest.fixture(scope="module")
def answers(certificates: Certificates) -> dict[str, Answer]:
    return door_answers(certificates, book_address=BOOK, enrol_path=ENROL_PATH, static=settings.ROOT / "static")


@pytest.fixture(scope="module")
def door(answers: dict[str, Answer]) -> Iterator[int]:
    with open_door("127.0.0.1", 0, answers) as port:
        yield port


def asked(port: int, path: str, method: str = "GET") -> tuple[http.client.HTTPResponse, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    with closing(connection):
        connection.request(method, path)
        answer = connection.getresponse()
        return answer, answer.read()


def answered(answers: dict[str, Answer], path: str, method: str = "GET") -> tuple[str, list[tuple[str, str]], bytes]:
    environ: dict[str, object] = {"PATH_INFO": path, "REQUEST_METHOD": method, "QUERY_STRING": "", "SCRIPT_NAME": ""}
    setup_testing_defaults(environ)
    said: list[tuple[str, list[tuple[str, str]]]] = []
    chunks = validator(door_application(answers))(environ, lambda *begun: said.append(begun[:2]))  # type: ignore[arg-type]
    body = b"".join(chunks)
    chunks.close()  # type: ignore[attr-defined]
    return said[0][0], said[0][1], body


def test_the_root_is_handed_out_as_a_tablet_takes_it(door: int, certificates: Certificates) -> None:
    answer, body = asked(door, "/yard-root.crt")
    assert answer.status == 200
    assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(body) == certificates.root


def test_the_page_shows_the_four_steps_and_where_they_were_not_tried(door: int) -> None:
    answer, body = asked(door, "/")
    assert answer.status == 200
    page = BeautifulSoup(body, "html.parser")
    heads = [head.get_text() for head in page.select("h2")]
    assert [head[:2] for head in heads if head[0].isdigit()] == ["1.", "2.", "3.", "4."]
    said = page.get_text()
    assert "not on real tablets, not with Android, iPadOS, Windows, Firefox or WebKit" in said
    assert "good until 23 Nov 2036" in said
    assert "yard-pc.local" in said


def test_the_page_does_not_vouch_for_itself(door: int, certificates: Certificates) -> None:
    """Whoever hands out another root could show its fingerprint beside it: it is compared with the window's."""
    said = asked(door, "/")[1].decode().upper()
    assert not any(word in said for word in fingerprint_words(certificates.root).split())


def test_what_the_page_asks_for_is_there_and_all_of_it_from_this_door(door: int) -> None:
    page = BeautifulSoup(asked(door, "/")[1], "html.parser")
    wanted = {tag["href"] for tag in page.select("link[href]")} | {tag["src"] for tag in page.select("img[src]")}
    style = "".join(asked(door, str(path))[1].decode() for path in wanted if str(path).endswith(".css"))
    wanted |= {path.replace("../", "/") for path in re.findall(r'url\("([^"]*)"\)', style)}
    assert len(wanted) == 9
    assert {path: asked(door, str(path))[0].status for path in wanted} == dict.fromkeys(wanted, 200)


def test_the_only_way_out_is_a_link_to_where_the_tablet_is_enrolled(door: int) -> None:
    page = BeautifulSoup(asked(door, "/")[1], "html.parser")
    assert {link["href"] for link in page.select("a[href]")} == {"#page", "/yard-root.crt", ENROL}
    assert page.select("form, script, style, iframe, [style], meta[http-equiv]") == []


def squares(path: str) -> set[tuple[int, int]]:
    """Column and row of every dark square of a drawing that moves (M, m) and draws to the right (h)."""
    dark, across, down = set(), 0, 0
    for letter, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        steps = [float(number) for number in re.findall(r"-?[0-9.]+", numbers)]
        if letter == "h":
            dark |= {(across + step, down) for step in range(int(steps[0]))}
        if letter == "M":
            across, down = 0, 0
        across += int(steps[0])
        down += int(steps[1]) if letter != "h" else 0
    return dark


def test_the_code_on_the_page_is_where_the_tablet_is_enrolled(door: int) -> None:
    body = asked(door, "/enrol.svg")[1].decode()
    drawing = ElementTree.fromstring(body)  # noqa: S314 - our own drawing
    # 45 characters at level M fit version 4, 33 squares to a side with four of quiet around (ISO/IEC 18004, from
    # memory).
    assert drawing.attrib["viewBox"] == "0 0 41 41"
    wanted = segno.make(ENROL, error="m", micro=False).matrix
    drawn = squares(drawing[1].attrib["d"])
    assert drawn == {(x + 4, y + 4) for y, row in enumerate(wanted) for x, dark in enumerate(row) if dark}
    assert "style" not in body


@pytest.mark.parametrize(
    "path",
    ["/sign-in/", "/hulls/", "/static/css/base.css", "/css/office.css", "/css/", "/css/../css/base.css", "/index.html",
     "/yard-root.crt/", "/../tls/root.key", "/tls/root.key", "/%2e%2e/tls/root.key", "/css/%2e%2e/%2e%2e/manage.py"],
)  # fmt: skip
def test_nothing_else_is_there(path: str, door: int) -> None:
    answer, body = asked(door, path)
    assert answer.status == 404
    assert body == b"Nothing is kept here. The steps are on the first page.\n"


@given(st.text(max_size=60).map("/".__add__))
def test_whatever_is_asked_for_is_an_answer_or_nothing(path: str) -> None:
    answers = {"/": Answer("text/plain", b"steps")}
    status, headers, body = answered(answers, path)
    assert (status, body) == (
        ("200 OK", b"steps") if path == "/" else ("404 Not Found", trust_door.NOTHING_HERE.content)
    )
    names = {name.lower() for name, _ in headers}
    assert not names & {"set-cookie", "location"}
    assert {"content-security-policy", "x-content-type-options", "x-frame-options", "referrer-policy"} <= names


@pytest.mark.parametrize("method", ["HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE"])
def test_it_only_hands_out(method: str, answers: dict[str, Answer]) -> None:
    assert answered({"/": answers["/"]}, "/", method)[0] == "404 Not Found"


def test_what_is_no_question_gets_no_answer_and_the_door_stays_open(door: int) -> None:
    for noise in (
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
        b"GET\r\n\r\n",
        b"\0" * 2000 + b"\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
    ):
        with socket.create_connection(("127.0.0.1", door), timeout=10) as connection:
            connection.sendall(noise)
            assert b"200" not in connection.recv(200).partition(b"\r\n")[0]
    assert asked(door, "/")[0].status == 200


def test_tablets_that_say_nothing_do_not_shut_the_door(
    answers: dict[str, Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trust_door._Request, "timeout", 0.5)
    with open_door("127.0.0.1", 0, answers) as port:
        silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(trust_door.MOST_AT_ONCE)]
        assert all(connection.recv(1) == b"" for connection in silent)
        assert asked(port, "/")[0].status == 200
        for connection in silent:
            connection.close()


def test_a_port_in_use_is_an_error_and_a_closed_door_frees_it(answers: dict[str, Answer]) -> None:
    with (
        open_door("127.0.0.1", 0, answers) as port,
        pytest.raises(OSError, match="in use"),
        open_door("127.0.0.1", port, answers),
    ):
        pytest.fail("two doors on one port")
    with open_door("127.0.0.1", port, answers):
        assert asked(port, "/")[0].status == 200


def test_the_door_knows_nothing_of_the_book() -> None:
    tree = ast.parse(Path(trust_door.__file__).read_text())
    imported = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)} | {
        name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names
    }
    assert [name for name in imported if name and name.startswith(("django", "hullbook", "os", "pathlib"))] == []
