"""The shell that a tablet keeps, the worker that keeps it, and what puts hullbook on a home screen."""

import json
import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse
from PIL import Image

from hullbook.web import shell
from tests.architecture.test_house_rules import WORDS_NOT_USED

pytestmark = pytest.mark.django_db


def test_the_worker_stands_at_the_root_answers_everybody_and_is_never_kept_itself() -> None:
    answer = Client().get(reverse("web:service-worker"))
    assert answer.status_code == 200
    assert answer["Service-Worker-Allowed"] == "/"
    assert "no-cache" in answer["Cache-Control"]
    assert answer["Content-Type"].startswith("text/javascript")
    assert reverse("web:service-worker") == "/sw.js"


def test_the_shell_holds_every_file_that_the_pages_name() -> None:
    kept = set(shell.shell())
    root = Path(__file__).resolve().parents[2]
    named = set()
    for template in (root / "templates").rglob("*.html"):
        named |= set(re.findall(r"{% static '([^']+)' %}", template.read_text()))
    assert len(named) > 6
    assert {f"/static/{name}" for name in named} <= kept
    for script in (root / "static" / "js").glob("*.js"):
        for other in re.findall(r'from "\./([^"]+)"', script.read_text()):
            assert f"/static/js/{other}" in kept, f"{script.name} imports {other}"


def test_the_generation_changes_with_the_files(monkeypatch: pytest.MonkeyPatch) -> None:
    before = shell.generation.__wrapped__()
    monkeypatch.setattr(shell, "shell", lambda: ("/static/css/base.2.css",))
    assert shell.generation.__wrapped__() != before
    assert f"self.GENERATION = '{shell.generation()}'" in shell.service_worker()


def test_the_manifest_names_icons_that_are_there_at_the_sizes_it_says() -> None:
    answer = Client().get(reverse("web:manifest"))
    assert answer["Content-Type"] == "application/manifest+json"
    said = json.loads(answer.content)
    assert (said["start_url"], said["scope"], said["display"]) == ("/", "/", "standalone")
    for icon in said["icons"]:
        found = finders.find(icon["src"].removeprefix("/static/"))
        with Image.open(str(found)) as drawn:
            assert f"{drawn.width}x{drawn.height}" == icon["sizes"]
    assert {icon["sizes"] for icon in said["icons"]} == {"192x192", "512x512"}


SCRIPTS = sorted((Path(__file__).resolve().parents[2] / "static" / "js").glob("*.js"))


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_a_script_speaks_the_words_of_the_trade(script: Path) -> None:
    code = re.sub(r"/\*.*?\*/|^\s*//.*$", "", script.read_text(), flags=re.DOTALL | re.MULTILINE)
    sentences = [said for said in re.findall(r'"([^"\n]*)"|`([^`]*)`', code) for said in said if said.count(" ") > 1]
    shown = " ".join(re.sub(r"\$\{[^}]*\}", " ", said) for said in sentences if not re.search(r"[\[\]=#{}]", said))
    assert WORDS_NOT_USED.findall(shown) == []
