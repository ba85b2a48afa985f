"""A tablet that trusts the yard's root: it opens the book over https without a warning, and signs in."""

import base64
import hashlib
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import BrowserType, Error, Page

from tests.operations.serving import PASSWORD, Shed, new_yard, shed_served

# A worker registers over https only where the browser trusts the certificate; it is ready once one is at work.
SERVICE_WORKER = """navigator.serviceWorker.ready
    .then((registration) => [registration.scope, registration.active.scriptURL])"""
SIZES = ({"width": 1280, "height": 800}, {"width": 800, "height": 1280})


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shed]:
    with shed_served(new_yard(tmp_path_factory.mktemp("yard"))) as served:
        yield served


@pytest.fixture
def tablet(
    shed: Shed, tmp_path: Path, browser_type: BrowserType, browser_type_launch_args: dict[str, Any]
) -> Iterator[Page]:
    """A browser with a certificate store of its own, into which a person has taken the yard's root."""
    arguments = list(browser_type_launch_args["args"])
    if shutil.which("certutil"):
        store = tmp_path / ".pki" / "nssdb"
        store.mkdir(parents=True)
        for words in (("-N", "--empty-password"), ("-A", "-n", "the yard", "-t", "C,,", "-i", str(shed.root))):
            subprocess.run(["certutil", "-d", f"sql:{store}", *words], check=True, capture_output=True)
    else:
        # Without a tool to fill a certificate store, trust is given to the server's own key and to no other.
        server = x509.load_pem_x509_certificate((shed.data / "tls" / "server.pem").read_bytes())
        key = server.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
        digest = base64.b64encode(hashlib.sha256(key).digest()).decode()
        arguments.append(f"--ignore-certificate-errors-spki-list={digest}")
    context = browser_type.launch_persistent_context(
        str(tmp_path / "profile"),
        **{**browser_type_launch_args, "args": arguments},
        env={**os.environ, "HOME": str(tmp_path)},
    )
    yield context.pages[0]
    context.close()


def test_a_tablet_that_trusts_the_root_signs_in_over_https(shed: Shed, tablet: Page) -> None:
    for host in ("localhost", "127.0.0.1"):
        here = f"https://{host}:{shed.port}/"
        answer = tablet.goto(f"{here}sign-in/")
        assert answer is not None
        assert answer.status == 200
        tablet.locator("#id_username").fill("kester")
        tablet.locator("#id_password").fill(PASSWORD)
        tablet.get_by_role("button", name="Sign in").last.click()
        tablet.wait_for_url(here)
        assert tablet.evaluate("window.isSecureContext && 'serviceWorker' in navigator") is True
        scope, script = tablet.evaluate(SERVICE_WORKER)
        assert (scope, script) == (here, f"{here}sw.js")
        cookies = {cookie["name"]: cookie for cookie in tablet.context.cookies(here)}
        assert cookies["__Host-hullbook"]["secure"]
        assert cookies["__Host-hullbook"]["httpOnly"]


def test_the_last_step_enrols_the_tablet(shed: Shed, tablet: Page) -> None:
    tablet.goto(f"http://127.0.0.1:{shed.trust_port}/")
    tablet.get_by_role("link", name="QR code of").click()
    tablet.locator("#id_username").fill("kester")
    tablet.locator("#id_password").fill(PASSWORD)
    tablet.get_by_role("button", name="Sign in").last.click()
    tablet.wait_for_url(f"https://127.0.0.1:{shed.port}/yard/tablets/enrol/")
    tablet.get_by_label("Name of the tablet").fill("Bay 1")
    tablet.get_by_role("button", name="Enrol").click()
    tablet.wait_for_url(f"https://127.0.0.1:{shed.port}/tablet/crew/")
    cookies = {cookie["name"]: cookie for cookie in tablet.context.cookies()}
    assert cookies["__Host-hullbook-tablet"]["secure"]
    assert [name for name in cookies if not name.startswith("__Host-")] == []


def test_a_tablet_that_does_not_is_warned(shed: Shed, page: Page) -> None:
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(f"https://localhost:{shed.port}/sign-in/")


def test_the_page_of_steps_fits_a_tablet_both_ways_and_the_browser_is_content(
    shed: Shed, page: Page, trouble: list[str]
) -> None:
    for size in SIZES:
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.goto(f"http://127.0.0.1:{shed.trust_port}/")
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
        assert page.evaluate("document.fonts.ready.then(fonts => [...fonts].some(font => font.status === 'loaded'))")
        code = page.get_by_role("img", name=f"QR code of https://127.0.0.1:{shed.port}/yard/tablets/enrol/")
        assert code.evaluate("drawing => drawing.complete && drawing.naturalWidth > 0")
    with page.expect_download() as taken:
        page.get_by_role("link", name="Take the root certificate").click()
    assert x509.load_der_x509_certificate(taken.value.path().read_bytes()) == x509.load_pem_x509_certificate(
        shed.root.read_bytes()
    )
    assert trouble == []
