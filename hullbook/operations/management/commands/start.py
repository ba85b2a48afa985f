import getpass
import os
import sys
from argparse import ArgumentParser
from functools import partial
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import segno
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import get_random_string

from hullbook.hulls.models import Hull
from hullbook.operations.addresses import HostRefused, shed_hosts
from hullbook.operations.certificates import (
    RENEWED_WITH_LESS_THAN,
    SERVER_LIVES,
    CertificateRefused,
    certificates_for,
    days_left,
    fingerprint_words,
)
from hullbook.operations.demo import DEMO_HULL, issue_demo_dossier, tell_demo_yard
from hullbook.operations.engine import unsafe_settings
from hullbook.operations.serving import (
    EVERY_ADDRESS,
    THIS_COMPUTER,
    CertificatesAt,
    PortRefused,
    refuse_taken_port,
    serve,
)
from hullbook.operations.trust_door import open_door
from hullbook.operations.trust_page import door_answers
from hullbook.records.guards import missing_guards
from hullbook.records.models import Entry
from hullbook.records.services import Refused, Told
from hullbook.yard.enums import Role
from hullbook.yard.models import Person
from hullbook.yard.services import add_person, name_yard


class Command(BaseCommand):
    help = "Prepare the book and serve it to this computer. The first start asks for the quality lead."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8300)
        parser.add_argument(
            "--lan", action="store_true", help="serve the shed network over https, with the yard's own certificate"
        )
        parser.add_argument(
            "--trust-port",
            type=int,
            help="with --lan: where tablets find the page of steps; the port after --port if not given",
        )
        parser.add_argument(
            "--host",
            action="append",
            default=[],
            metavar="NAME_OR_IP",
            help="with --lan: a name or address of this computer on the shed network; may be given again",
        )
        parser.add_argument("--demo", action="store_true", help="fill an empty book with the invented demo yard")
        parser.add_argument(
            "--no-serve", action="store_true", help="prepare and end; with --demo, issue and check a dossier as well"
        )

    def handle(
        self,
        *,
        port: int,
        lan: bool,
        trust_port: int | None,
        host: list[str],
        demo: bool,
        no_serve: bool,
        **options: Any,
    ) -> None:
        if not lan and (host or trust_port is not None):
            raise CommandError("--host and --trust-port go with --lan; without it only this computer is served.")
        self._make_data_folder()
        trust_port = port + 1 if trust_port is None else trust_port
        certificates_at = self._prepare_the_shed_network(host, port, trust_port) if lan else None
        call_command("migrate", verbosity=0)
        self._refuse_unsafe()
        call_command("check", databases=["default"])
        call_command("collectstatic", interactive=False, verbosity=0)
        if demo:
            self._tell_demo()
        elif not Person.objects.exists():
            self._ask_for_the_first_quality_lead()
        if no_serve:
            if demo:
                self._demo_dossier()
            return
        if certificates_at:
            self._serve_the_shed(certificates_at, port, trust_port)
        else:
            self._serve(port)

    def _make_data_folder(self) -> None:
        for folder in (settings.DATA, settings.MEDIA_ROOT, settings.STATIC_ROOT):
            Path(folder).mkdir(parents=True, exist_ok=True, mode=0o700)
        if not settings.SECRET_KEY_FILE.exists():
            handle = os.open(settings.SECRET_KEY_FILE, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w") as key:
                key.write(settings.SECRET_KEY)

    def _refuse_unsafe(self) -> None:
        if unsafe := unsafe_settings(connection):
            raise CommandError(f"The database would not keep what it is given: {'; '.join(unsafe)}.")
        if missing := missing_guards():
            raise CommandError(f"The book is not guarded against change: {', '.join(missing)} missing.")
        if settings.DEBUG:
            raise CommandError("DEBUG is on; a yard's book is never served so.")

    def _ask_for_the_first_quality_lead(self) -> None:
        if not sys.stdin.isatty():
            raise CommandError(
                "Nobody is named in this book yet. Start once in a terminal to name the first quality lead, "
                "or add --demo to look at the invented yard."
            )
        self.stdout.write("A new book. Who keeps it?")
        yard = input("Name of the yard: ").strip()
        initials = input("Initials of the first quality lead (two to four capitals): ").strip().upper()
        full_name = input("Full name: ").strip()
        sign_in_name = input("Signs in as: ").strip()
        password = getpass.getpass("Password (12 characters or more): ")
        now = timezone.now()

        def told() -> Told:
            return Told(
                entry_id=uuid4(),
                fingerprint="",
                person=initials,
                account=sign_in_name,
                device="server",
                tapped_at=now,
                happened_at=now,
            )

        try:
            validate_password(password)
            add_person(
                initials=initials,
                full_name=full_name,
                sign_in_name=sign_in_name,
                password=password,
                roles=[Role.QUALITY_LEAD],
                told=told(),
            )
            name_yard(name=yard, place="", altitude_m=0.0, builder_codes="", told=told())
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except Refused as refused:
            raise CommandError(str(refused)) from refused

    def _tell_demo(self) -> None:
        if Entry.objects.exists():
            self.stdout.write("The book is not empty; nothing is told again.")
            return
        passwords = {}

        def password_for(sign_in_name: str) -> str:
            passwords[sign_in_name] = get_random_string(16)
            return passwords[sign_in_name]

        tell_demo_yard(password_for)
        self.stdout.write("The invented Merrowby Boatworks is in the book. Sign in as (shown this once):")
        for sign_in_name, password in passwords.items():
            self.stdout.write(f"  {sign_in_name:<8} {password}")

    def _demo_dossier(self) -> None:
        hull = Hull.objects.get(number=DEMO_HULL)
        issue = hull.dossier_issues.order_by("-number").first() or issue_demo_dossier(hull)
        path = settings.MEDIA_ROOT / issue.file.path
        call_command("check_dossier", str(path))
        self.stdout.write(str(path))

    def _prepare_the_shed_network(self, given: list[str], port: int, trust_port: int) -> CertificatesAt:
        if trust_port == port:
            raise CommandError(
                f"--port and --trust-port are both {port}; the book and the page of steps need one each."
            )
        try:
            refuse_taken_port(EVERY_ADDRESS, port, asked_with="--port")
            refuse_taken_port(EVERY_ADDRESS, trust_port, asked_with="--trust-port")
            certificates_at = partial(certificates_for, shed_hosts(given), settings.DATA / "tls")
            certificates_at(timezone.now())
        except (PortRefused, HostRefused, CertificateRefused) as refused:
            raise CommandError(str(refused)) from refused
        return certificates_at

    def _serve_the_shed(self, certificates_at: CertificatesAt, port: int, trust_port: int) -> None:
        now = timezone.now()
        certificates = certificates_at(now)
        host = certificates.answers_to[0]
        book, steps = f"https://{host}:{port}", f"http://{host}:{trust_port}/"
        answers = door_answers(
            certificates,
            book_address=book,
            enrol_path=reverse("yard:tablet-enrol"),
            static=settings.ROOT / "static",
        )
        with open_door(EVERY_ADDRESS, trust_port, answers):
            self.stdout.write(f"Open {book}/ on the shed network. Ctrl-C ends it.")
            self.stdout.write(
                f"A tablet that does not trust this yard yet opens {steps} first. The certificate it takes"
            )
            self.stdout.write("there must show these sixteen words as its fingerprint (SHA-256):")
            self.stdout.write(f"  {fingerprint_words(certificates.root)}")
            self.stdout.write(
                f"The server certificate is good for {days_left(certificates.server, now)} days and is renewed by "
                f"itself when fewer than {RENEWED_WITH_LESS_THAN.days} are left; the yard's root for "
                f"{days_left(certificates.root, now)} days, until {certificates.root.not_valid_after_utc:%Y-%m-%d}."
            )
            if days_left(certificates.root, now) < SERVER_LIVES.days:
                self.stdout.write(
                    "The yard's root ends within thirteen months. Choose a day before that: a new root means all the "
                    "steps again on every tablet."
                )
            if self.stdout.isatty():
                drawn = StringIO()
                segno.make(steps, error="m", micro=False).terminal(out=drawn, compact=True)
                self.stdout.write(drawn.getvalue())
            self.stdout.flush()
            serve(EVERY_ADDRESS, port, certificates_at)

    def _serve(self, port: int) -> None:
        try:
            refuse_taken_port(THIS_COMPUTER, port, asked_with="--port")
        except PortRefused as refused:
            raise CommandError(str(refused)) from refused
        scheme = "https" if settings.HTTPS else "http"
        self.stdout.write(f"Open {scheme}://127.0.0.1:{port}/ on this computer. Ctrl-C ends it.")
        self.stdout.flush()
        serve(THIS_COMPUTER, port)
