"""House rules that imports cannot show, read from the syntax trees and templates."""

import ast
import re
from pathlib import Path

import pytest
from django.template.loader import get_template
from django.urls import URLPattern, URLResolver, get_resolver

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "hullbook"
WRITES = {"save", "create", "update", "delete", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
MAY_WRITE = re.compile(r"(services\.py|/records/|/migrations/|/yard/models\.py)")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "pyproject.toml",
    "hullbook",
    "templates",
    "static",
    "tests",
    "fixtures",
    "shared",
}
LEFT_BY_TOOLS = {"data", "build", "hullbook.egg-info", "__pycache__"}
WORDS_NOT_USED = re.compile(
    r"\b(dashboard|workflow|submit|admin|sync|entity|entities|module|records?|items?|user|status|save)\b",
    re.IGNORECASE,
)


def sources() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "migrations" not in path.parts)


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - LEFT_BY_TOOLS
    assert found == TOP_LEVEL


def test_only_services_write() -> None:
    found = []
    for path in sources():
        if MAY_WRITE.search(path.as_posix()):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in WRITES
                and "objects" in ast.dump(node.func.value)
            ):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno} .{node.func.attr}(")
    assert found == []


def test_the_sums_never_ask_for_the_time() -> None:
    for path in (PACKAGE / "calc").rglob("*.py"):
        calls = [node.func for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)]
        asked = [
            call.attr for call in calls if isinstance(call, ast.Attribute) and call.attr in ("now", "today", "time")
        ]
        assert asked == [], path


def test_every_public_function_of_the_sums_says_what_it_does() -> None:
    for path in (PACKAGE / "calc").rglob("*.py"):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path.name}: {node.name}"


TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_template_obeys_the_content_security_policy(path: Path) -> None:
    text = re.sub(r"{[{%#].*?[}%#]}", " ", path.read_text(), flags=re.DOTALL)
    for banned in (r"\sstyle=", r"\son\w+=", r"hx-on", r"js:", r"<style", r"<script(?![^>]*src=)"):
        assert not re.search(banned, text), f"{banned} in {path.name}"
    for trigger in re.findall(r'hx-trigger="([^"]*)"', text):
        assert "[" not in trigger


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_template_loads_and_speaks_the_words_of_the_trade(path: Path) -> None:
    get_template(str(path.relative_to(ROOT / "templates")))
    text = re.sub(r"{[{%#].*?[}%#]}", " ", path.read_text(), flags=re.DOTALL)
    text = re.sub(r"<[^>]*>", " ", text)
    assert WORDS_NOT_USED.findall(text) == []


def _names(resolver: URLResolver, prefix: str = "") -> list[str]:
    found = []
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            found += _names(pattern, f"{pattern.namespace}:" if pattern.namespace else prefix)
        elif isinstance(pattern, URLPattern) and pattern.name:
            found.append(f"{prefix}{pattern.name}")
    return found


def test_every_page_has_a_test_that_names_it() -> None:
    def is_named(name: str) -> bool:
        app, _, page = name.partition(":")
        tests = (path.read_text() for path in (ROOT / "tests" / app).rglob("test_*.py"))
        return any(f'"{name}"' in test or f'"{page}"' in test for test in tests)

    assert [name for name in _names(get_resolver()) if not is_named(name)] == []


def test_every_service_that_makes_an_entry_has_a_test_that_calls_it() -> None:
    tests = "\n".join(path.read_text() for path in (ROOT / "tests").rglob("*.py"))
    services = [
        f"{path.parent.name}.{node.name}"
        for path in PACKAGE.glob("*/services.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef) and "logs" in [ast.unparse(mark) for mark in node.decorator_list]
    ]
    assert len(services) > 25
    assert [name for name in services if not re.search(rf"\b{name.split('.')[1]}\b", tests)] == []
