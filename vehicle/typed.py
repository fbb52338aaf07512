"""What a user types as one quantity, into an option of a command or a field of the app."""

from __future__ import annotations

import re

from vehicle import units
from vehicle.problems import InputError, Problem


def read_quantity(option: str, text: str, unit: str) -> float:
    """Return the quantity given to an option as a float in `unit`. Raises InputError that names the option."""
    try:
        return units.parse(text, unit)
    except units.QuantityError as error:
        raise InputError(Problem("command line", option, str(error), units.example(unit))) from None


_GROUPED = re.compile(r"\d{1,3}(,\d{3})+(?![\d,])")
_RATIO = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(?:([:/])\s*(\d+(?:\.\d+)?))\s*")


def as_people_type(text: str, *, thousands_comma: bool) -> str:
    """Return a quantity without the forms that a field of numbers does not know: "2.5:1" and "45/15" become 2.5 and 3.

    Where `thousands_comma`, as in US and UK usage, or where a unit of that usage stands behind it, "4,600 lb" becomes
    4600 lb; elsewhere a comma may be a decimal one and is left to be refused.
    """
    ratio = _RATIO.fullmatch(text)
    if ratio and float(ratio[3]) > 0:
        return f"{float(ratio[1]) / float(ratio[3]):.10g}"
    plain = _GROUPED.sub(lambda group: group[0].replace(",", ""), text)
    return plain if thousands_comma or _is_of_us_usage(plain) else text


def _is_of_us_usage(text: str) -> bool:
    try:
        return units.split(text)[1].removesuffix("s") in units.OF_US_USAGE
    except units.QuantityError:
        return False
