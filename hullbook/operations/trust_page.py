"""What the plain-http door answers: the page of steps with its look, the root certificate, the code to enrol by."""

from io import BytesIO
from pathlib import Path

import segno
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from django.template.loader import render_to_string

from hullbook.operations.certificates import Certificates
from hullbook.operations.trust_door import Answer

ROOT_PATH = "/yard-root.crt"
# The page brings its own look: the book's style sheets and fonts stay behind https.
LOOK = {
    "css/base.css": "text/css; charset=utf-8",
    "css/floor.css": "text/css; charset=utf-8",
    "css/trust.css": "text/css; charset=utf-8",
    "fonts/b612-latin-400-normal.woff2": "font/woff2",
    "fonts/b612-latin-700-normal.woff2": "font/woff2",
    "fonts/signika-latin-400-normal.woff2": "font/woff2",
    "fonts/signika-latin-600-normal.woff2": "font/woff2",
    "marks/hullbook.svg": "image/svg+xml",
}


def door_answers(certificates: Certificates, *, book_address: str, enrol_path: str, static: Path) -> dict[str, Answer]:
    """Every answer of the door, by path."""
    look = {f"/{name}": Answer(kind, (static / name).read_bytes()) for name, kind in LOOK.items()}
    return {
        "/": Answer("text/html; charset=utf-8", _page(certificates, book_address, enrol_path).encode()),
        ROOT_PATH: Answer("application/x-x509-ca-cert", certificates.root.public_bytes(Encoding.DER)),
        "/enrol.svg": Answer("image/svg+xml", _qr_code(book_address + enrol_path)),
        **look,
    }


def _page(certificates: Certificates, book_address: str, enrol_path: str) -> str:
    root = certificates.root
    constraints = root.extensions.get_extension_for_class(x509.NameConstraints).value
    return render_to_string(
        "operations/trust.html",
        {
            "book_address": book_address,
            "enrol_path": enrol_path,
            "root_path": ROOT_PATH,
            "root_name": root.subject.rfc4514_string().removeprefix("CN="),
            "root_until": root.not_valid_after_utc,
            "permitted_names": [
                name.value for name in constraints.permitted_subtrees or () if isinstance(name, x509.DNSName)
            ],
        },
    )


def _qr_code(address: str) -> bytes:
    drawn = BytesIO()
    segno.make(address, error="m", micro=False).save(
        drawn, kind="svg", dark="#182024", light="#FFFFFF", border=4, omitsize=True, svgclass=None, lineclass=None
    )
    return drawn.getvalue()
