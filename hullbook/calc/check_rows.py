"""Runs a row of a check-value table through the sum it names, so that anyone can watch the two agree.

A row names a function of this package ("laminate.ply"), its inputs by name, and the quantity read from the result
("thickness_mm", or "grooves.kg_m2"; the bare result where the function gives a number). An input may itself be a
call: {"call": "laminate.ply", ...its inputs}, with "quantity" where a part of its result is wanted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import is_dataclass
from functools import reduce
from importlib import import_module
from typing import Any, get_args, get_type_hints


def found(row: Mapping[str, Any]) -> float:
    """What the function named in the row gives for its inputs. Raises whatever the function raises."""
    result = _call(row["check"], row["inputs"])
    return float(result if isinstance(result, (int, float)) else reduce(getattr, row["quantity"].split("."), result))


def agrees(row: Mapping[str, Any], value: float) -> bool:
    """True when `value` lies within the row's tolerance: relative, or absolute where 0 is expected."""
    expected: float = row["expected"]
    allowed: float = row["tolerance"] * (abs(expected) or 1.0)
    return abs(value - expected) <= allowed


def _call(name: str, inputs: Mapping[str, Any]) -> Any:
    module, function_name = name.split(".")
    function = getattr(import_module(f"hullbook.calc.{module}"), function_name)
    return function(**_built_all(get_type_hints(function), inputs))


def _built_all(hints: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _built(hints.get(name), value) for name, value in given.items()}


def _built(hint: Any, given: Any) -> Any:
    if isinstance(given, list):
        item_hint = next(iter(get_args(hint)), None)
        return tuple(_built(item_hint, one) for one in given)
    if not isinstance(given, Mapping):
        return given
    if "call" in given:
        result = _call(
            given["call"], {name: value for name, value in given.items() if name not in ("call", "quantity")}
        )
        return reduce(getattr, given["quantity"].split("."), result) if "quantity" in given else result
    kind: Any = next(option for option in (hint, *get_args(hint)) if is_dataclass(option))
    return kind(**_built_all(get_type_hints(kind), given))
