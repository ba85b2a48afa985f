"""A yard's server as `manage.py start` runs it, in processes of its own, for the tests that talk to it from outside."""

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "only for this test"
NAME_A_PERSON = f"""
from uuid import uuid4
from django.utils import timezone
from hullbook.records.services import Told
from hullbook.yard.enums import Role
from hullbook.yard.services import add_person, name_yard
now = timezone.now()
def told():
    return Told(entry_id=uuid4(), fingerprint="", person="KJ", account="kester", device="server", tapped_at=now,
                happened_at=now)
add_person(initials="KJ", full_name="Kester Jory", sign_in_name="kester", password="{PASSWORD}",
           roles=[Role.QUALITY_LEAD], told=told())
name_yard(name="Merrowby Boatworks", place="", altitude_m=0.0, builder_codes="", is_invented=True, told=told())
"""


def environment(data: Path) -> dict[str, str]:
    env = {**os.environ, "HULLBOOK_DATA": str(data), "DATABASE_URL": "", "PYTHONUNBUFFERED": "1"}
    for name in ("DJANGO_SETTINGS_MODULE", "HULLBOOK_HTTPS", "HULLBOOK_HOSTS"):
        env.pop(name, None)
    return env


def manage(data: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=environment(data),
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=120,
        check=False,
    )


def new_yard(data: Path) -> Path:
    """A book in which one person is named, Kester Jory of the invented Merrowby Boatworks."""
    data.mkdir(parents=True, exist_ok=True)
    for words in (("migrate", "--verbosity", "0"), ("shell", "-c", NAME_A_PERSON)):
        done = manage(data, *words)
        assert done.returncode == 0, done.stderr
    return data


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@dataclass(frozen=True)
class Shed:
    process: subprocess.Popen[bytes]
    data: Path
    port: int
    trust_port: int
    told: Path

    @property
    def root(self) -> Path:
        return self.data / "tls" / "root.pem"

    def trusting(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=str(self.root))


@contextmanager
def shed_served(data: Path, *words: str) -> Iterator[Shed]:
    """`start --lan` on loopback addresses; gone, with all its processes, when the test is."""
    port, trust_port = free_port(), free_port()
    told = data / f"told-{port}.txt"
    hosts = ("--host", "127.0.0.1", "--host", "localhost")
    ports = ("--port", str(port), "--trust-port", str(trust_port))
    with told.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "start", "--lan", *ports, *hosts, *words],
            cwd=ROOT,
            env=environment(data),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    shed = Shed(process, data, port, trust_port, told)
    try:
        _wait_until_served(shed)
        yield shed
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=30)


def _wait_until_served(shed: Shed) -> None:
    give_up = time.monotonic() + 60
    while True:
        assert shed.process.poll() is None, shed.told.read_text()
        try:
            with (
                socket.create_connection(("127.0.0.1", shed.port), timeout=5) as plain,
                shed.trusting().wrap_socket(plain, server_hostname="localhost") as wrapped,
            ):
                wrapped.sendall(b"GET /sign-in/ HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
                if wrapped.recv(12) == b"HTTP/1.1 200":
                    return
        except OSError:
            assert time.monotonic() < give_up, shed.told.read_text()
        time.sleep(0.1)


def processes_under(pid: int) -> set[int]:
    """Every living process that this one started, and those that they started."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            after_name = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # ended while we looked
        if after_name[0] != "Z":
            parents[int(stat.parent.name)] = int(after_name[1])
    found: set[int] = set()
    while more := {child for child, parent in parents.items() if parent in {pid, *found}} - found:
        found |= more
    return found


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
