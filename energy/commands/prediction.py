"""The effect that the model expects, for the commands that hold a road test against it."""

from __future__ import annotations

import re
from pathlib import Path

from vehicle.problems import InputError, Problem
from vehicle.units import QuantityError, parse

ACCEPTED = '"4 %", "-1.5 %" (a saving) or "4 % +- 1 %"'


def predicted_effect(effect: str | None, scenario: Path | None) -> tuple[float, float] | None:
    """Return the predicted change of fuel and its half-width as shares (0.04: 4 % more), or None where none is asked
    for.

    `effect` is what the user typed. Raises InputError for text that is no percentage, or a scenario without an effect.
    """
    if effect is not None:
        return typed_effect(effect, "--effect")
    if scenario is not None:
        raise InputError(Problem(str(scenario), "", "the predicted effect is not known here", f"--effect {ACCEPTED}"))
    return None


def typed_effect(text: str, where: str) -> tuple[float, float]:
    """Return value and half-width of "4 % +- 1 %" as shares; InputError for anything that is no percentage."""
    parts = re.split(r"\+-|\+/-|±", text, maxsplit=1)
    try:
        numbers = [_share(part) for part in parts]
    except QuantityError as error:
        raise InputError(Problem(where, "", str(error), ACCEPTED)) from None
    value, error_share = numbers[0], abs(numbers[1]) if len(numbers) > 1 else 0.0
    if not abs(value) < 2:
        raise InputError(Problem(where, "", f"{100 * value:g} %", f"an effect within ±200 %, such as {ACCEPTED}"))
    return value, error_share


def _share(text: str) -> float:
    if "%" not in text and "percent" not in text:
        raise QuantityError(f"{text.strip()!r} has no % sign")
    return parse(text.replace("−", "-"), "dimensionless")
