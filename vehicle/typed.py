"""What a user types as one quantity, into an option of a command or a field of the app."""

from __future__ import annotations

from vehicle import units
from vehicle.problems import InputError, Problem


def read_quantity(option: str, text: str, unit: str) -> float:
    """Return the quantity given to an option as a float in `unit`. Raises InputError that names the option."""
    try:
        return units.parse(text, unit)
    except units.QuantityError as error:
        raise InputError(Problem("command line", option, str(error), units.example(unit))) from None
