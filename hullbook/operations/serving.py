"""The web server, on this computer alone or for the shed network over https."""

import logging
import multiprocessing
import os
import signal
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime

from cryptography import x509
from granian import Granian
from granian.constants import Interfaces
from granian.log import LogLevels

from hullbook.operations.certificates import CertificateRefused, Certificates

logger = logging.getLogger(__name__)

THIS_COMPUTER = "127.0.0.1"
EVERY_ADDRESS = "0.0.0.0"  # noqa: S104 - asked for with --lan only
# Each upload in hand holds one. Each also keeps a way into the book open, with memory of its own: more are not free.
THREADS = 64
SECONDS_TO_FINISH = 10
SECONDS_BETWEEN_LOOKS = 24 * 60 * 60.0

# The certificates that are good at a time, renewed where that is due.
CertificatesAt = Callable[[datetime], Certificates]


class PortRefused(Exception):
    """Says which port cannot be served and what to do."""


def refuse_taken_port(address: str, port: int, *, asked_with: str) -> None:
    if not 0 < port < 65536:
        raise PortRefused(f"{asked_with} {port} is not a port; give a number from 1 to 65535.")
    with socket.socket() as trial:
        # A port that was served a moment ago is free; one that is being served is not.
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except PermissionError:
            raise PortRefused(f"Port {port} is kept for the system; give another with {asked_with}.") from None
        except OSError:
            raise PortRefused(f"Port {port} is taken on this computer; give another with {asked_with}.") from None


def serve(address: str, port: int, certificates_at: CertificatesAt | None = None) -> None:
    """Serve the book until the process is told to end; over https if there are certificates, renewed as it goes."""
    certificates = certificates_at(datetime.now(UTC)) if certificates_at else None
    if certificates_at and certificates:
        # The server's own process reads its settings anew from these.
        os.environ["HULLBOOK_HTTPS"] = "1"
        os.environ["HULLBOOK_HOSTS"] = ",".join(str(host) for host in certificates.answers_to)
        looking = (certificates_at, certificates.server)
        threading.Thread(target=renew_in_time, args=looking, name="renew in time", daemon=True).start()
    multiprocessing.set_start_method("spawn", force=True)
    Granian(
        "hullbook.operations.server_process:book_while_started",
        factory=True,
        address=address,
        port=port,
        interface=Interfaces.WSGI,
        workers=1,
        blocking_threads=THREADS,
        workers_kill_timeout=SECONDS_TO_FINISH,
        log_level=LogLevels.error,
        log_access=False,
        ssl_cert=certificates.server_file if certificates else None,
        ssl_key=certificates.server_key_file if certificates else None,
    ).serve()


def renew_in_time(certificates_at: CertificatesAt, serving: x509.Certificate) -> None:
    """Look every day, for as long as the process lives, whether the server certificate is to be made anew."""
    while True:
        time.sleep(SECONDS_BETWEEN_LOOKS)
        try:
            found = certificates_at(datetime.now(UTC)).server
        except (CertificateRefused, OSError) as error:
            logger.warning("The server certificate could not be looked after: %s", error)
            continue
        if found != serving:
            serving = found
            # At this signal the server starts its process anew, which reads the new files; the old one finishes first.
            os.kill(os.getpid(), signal.SIGHUP)
