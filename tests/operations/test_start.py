"""`manage.py start` as a person runs it: in a process of its own, with a data folder of its own."""

import os
import signal
import socket
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def manage(data: Path, *words: str, **changes: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "HULLBOOK_DATA": str(data), "DATABASE_URL": "", **changes}
    env.pop("DJANGO_SETTINGS_MODULE", None)
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    data = tmp_path_factory.mktemp("demo")
    return data, manage(data, "start", "--demo", "--no-serve")


def test_the_demo_is_prepared_and_its_dossier_is_the_last_line(
    demo: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    data, done = demo
    assert done.returncode == 0, done.stderr
    path = Path(done.stdout.strip().splitlines()[-1])
    assert path.is_relative_to(data)
    assert path.read_bytes().startswith(b"%PDF-")
    passwords = [line.split()[1] for line in done.stdout.splitlines() if line.startswith("  ")]
    assert len(passwords) == len(set(passwords)) == 5


def test_what_the_demo_keeps_is_for_its_owner_only(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    data, _ = demo
    assert stat.S_IMODE((data / "secret_key").stat().st_mode) == 0o600


def test_the_demo_book_is_whole(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    data, _ = demo
    done = manage(data, "check_book")
    assert done.returncode == 0, done.stderr
    assert "The book is whole" in done.stdout


def test_told_twice_the_demo_makes_the_same_book_and_the_same_dossier(
    demo: tuple[Path, subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    data, first = demo
    second = manage(tmp_path, "start", "--demo", "--no-serve", HULLBOOK_TIME_ZONE="Pacific/Auckland")
    assert second.returncode == 0, second.stderr
    one, other = (Path(done.stdout.strip().splitlines()[-1]) for done in (first, second))
    assert one.read_bytes() == other.read_bytes()
    heads = [manage(folder, "check_book").stdout for folder in (data, tmp_path)]
    assert heads[0] == heads[1]


def test_started_again_the_demo_is_not_told_twice(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    data, _ = demo
    before = manage(data, "check_book").stdout
    assert "nothing is told again" in manage(data, "start", "--demo", "--no-serve").stdout
    after = manage(data, "check_book").stdout
    assert before.split()[5] <= after.split()[5]


def test_a_new_book_wants_somebody_to_keep_it(tmp_path: Path) -> None:
    done = manage(tmp_path, "start", "--no-serve")
    assert done.returncode == 1
    assert "name the first quality lead" in done.stderr


def test_the_yard_is_served_to_this_computer_with_its_headers(
    demo: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    data, _ = demo
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = {**os.environ, "HULLBOOK_DATA": str(data), "DATABASE_URL": ""}
    env.pop("DJANGO_SETTINGS_MODULE", None)
    server = subprocess.Popen(
        [sys.executable, "manage.py", "start", "--port", str(port)],
        cwd=ROOT,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        answer = _first_answer(f"http://127.0.0.1:{port}/sign-in/")
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(timeout=30)
    assert answer.status == 200
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"


def _first_answer(url: str) -> urllib.request.addinfourl:  # type: ignore[name-defined]
    give_up = time.monotonic() + 60
    while True:
        try:
            return urllib.request.urlopen(url, timeout=5)  # noqa: S310 - our own server on this computer
        except (urllib.error.URLError, ConnectionError):
            if time.monotonic() > give_up:
                raise
            time.sleep(0.2)
