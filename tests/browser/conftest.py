import os
import shutil
from typing import Any

import pytest

# Playwright's own loop makes Django think that the database is asked from asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser/" in str(item.path):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    chromium = shutil.which("chromium")
    assert chromium, "The browser tests need Chromium: apt-get install chromium"
    return {
        **browser_type_launch_args,
        "executable_path": chromium,
        "args": ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"],
    }


@pytest.fixture
def trouble(page: Any) -> list[str]:
    """What the browser complained of: page errors, refused content, failed loads of our own files."""
    heard: list[str] = []
    page.on("pageerror", lambda error: heard.append(f"page error: {error}"))

    def hear(message: Any) -> None:
        # 422 is how a page says that what was keyed is not accepted; the test looks at the words.
        if message.type == "error" and "422" not in message.text:
            heard.append(message.text)

    page.on("console", hear)
    return heard
