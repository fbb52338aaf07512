"""`windtoll balance`: how many grams at which radius and angle bring a rotor into balance."""

from __future__ import annotations

import cmath

import click

from energy.commands import common
from vehicle.problems import InputError, Problem
from vehicle.typed import read_quantity
from vehicle.units import QuantityError, parse


@click.command("balance", short_help="How many grams where: from blades, a knife edge, or a trial weight.")
@click.option("--blade", "blades", multiple=True, metavar='"1.20 kg, 0.52 m"', help="A blade: mass, centre of mass.")
@click.option(
    "--knife-edge", metavar='"12 g, 300 mm, 90 deg"', help="The weight that makes the rotor stay in any position."
)
@click.option(
    "--before", metavar='"4.2 mm/s, 30 deg"', help="Vibration without the trial weight: size, phase from the mark."
)
@click.option("--trial", metavar='"20 g, 150 mm, 0 deg"', help="The trial weight: mass, radius, angle from the mark.")
@click.option("--after", metavar='"5.1 mm/s, 80 deg"', help="Vibration with it, at the same speed.")
@click.option("--radius", default="100 mm", show_default=True, help="Radius of the holes for weights.")
@click.option("--holes", type=click.IntRange(3, 72), default=12, show_default=True, help="Holes around the hub.")
@click.option("--step", default="1 g", show_default=True, help="Weights come in steps of this.")
@click.option("--rotor-mass", metavar='"11 kg"', help="Mass of all that turns, for the permissible imbalance.")
@click.option("--speed", metavar='"900 rpm"', help="Highest rotor speed in service.")
@click.option("--grade", default="16 mm/s", show_default=True, help="Balance grade G (ISO 21940-11).")
@common.json_option
def command(
    blades: tuple[str, ...],
    knife_edge: str | None,
    before: str | None,
    trial: str | None,
    after: str | None,
    as_json: bool,
    **places: str | int | None,
) -> None:
    """Calculate how many grams at which radius and angle balance a rotor, and which two bolts come nearest.

    \b
    One of three ways:
      windtoll balance --blade "1.20 kg, 0.52 m" --blade "1.22 kg, 0.52 m" --blade "1.19 kg, 0.53 m"
      windtoll balance --knife-edge "12 g, 300 mm, 90 deg"
      windtoll balance --before "4.2 mm/s, 30 deg" --trial "20 g, 150 mm, 0 deg" --after "5.1 mm/s, 80 deg"
    """
    from energy.strength.balance import balance
    from energy.words import balance as words

    imbalance, change, other_way = _imbalance(blades, knife_edge, (before, trial, after))
    radius = _above_zero("--radius", str(places["radius"]), "m")
    step = _above_zero("--step", str(places["step"]), "kg")
    holes = int(places["holes"] or 12)
    weights = balance(imbalance, radius, holes, step, _permitted(places), change, other_way)
    said = words.said(weights)
    if as_json:
        common.print_json(words.as_data(weights))
    else:
        common.print_said(common.console(), said)
    if said.unsafe:
        raise SystemExit(common.UNSAFE)


_SUCH_AS = {
    "--blade": '"1.20 kg, 0.52 m"',
    "--knife-edge": '"12 g, 300 mm, 90 deg"',
    "--before": '"4.2 mm/s, 30 deg"',
    "--trial": '"20 g, 150 mm, 0 deg"',
    "--after": '"5.1 mm/s, 80 deg"',
}


def _permitted(places: dict[str, str | int | None]) -> tuple[float, float, float] | None:
    if places["rotor_mass"] is None or places["speed"] is None:
        return None
    return (
        _above_zero("--grade", str(places["grade"]), "m/s"),
        _above_zero("--rotor-mass", str(places["rotor_mass"]), "kg"),
        _above_zero("--speed", str(places["speed"]), "rad/s"),
    )


def _imbalance(
    blades: tuple[str, ...], knife_edge: str | None, by_trial: tuple[str | None, str | None, str | None]
) -> tuple[complex, float | None, complex | None]:
    """Return the imbalance (kg·m); of a trial weight also by how much it changed the reading, and the imbalance (kg·m)
    if the phases were read against the rotation."""
    import numpy as np

    from energy.strength.balance import imbalance_of_blades_kg_m

    ways = [bool(blades), knife_edge is not None, any(text is not None for text in by_trial)]
    if sum(ways) != 1:
        read = "none of the three ways" if not any(ways) else "more than one way"
        raise InputError(Problem("balance", "", read, "--blade ..., or --knife-edge, or --before, --trial and --after"))
    if blades:
        if len(blades) < 2:
            raise InputError(Problem("--blade", "", "one blade", "every blade, in their order around the hub"))
        read_blades = [_numbers("--blade", text, ("kg", "m")) for text in blades]
        masses, radii = np.array(read_blades).T
        return imbalance_of_blades_kg_m(masses, radii), None, None
    if knife_edge is not None:
        mass, radius, angle = _numbers("--knife-edge", knife_edge, ("kg", "m", "rad"))
        return -cmath.rect(mass * radius, angle), None, None  # the weight stands opposite to what is too heavy
    before, trial, after = by_trial
    if before is None or trial is None or after is None:
        raise InputError(Problem("balance", "", "not all of --before, --trial, --after", "all three"))
    return _of_trial(before, trial, after)


def _of_trial(before: str, trial: str, after: str) -> tuple[complex, float, complex]:
    from energy.strength.balance import LEAST_CHANGE, imbalance_by_trial_kg_m
    from energy.words.balance import too_little_change

    unit = _unit_of_vibration(before, after)
    first, second = (
        cmath.rect(*_numbers(name, text, (unit, "rad"))) for name, text in (("--before", before), ("--after", after))
    )
    mass, radius, angle = _numbers("--trial", trial, ("kg", "m", "rad"))
    change = abs(second - first) / max(abs(first), 1e-12)
    if change < LEAST_CHANGE:
        raise InputError(Problem("--trial", "", *too_little_change(change)))
    weight = cmath.rect(mass * radius, angle)
    try:
        imbalance = imbalance_by_trial_kg_m(first, second, weight)
        other_way = imbalance_by_trial_kg_m(first.conjugate(), second.conjugate(), weight)
    except ValueError as error:
        raise InputError(Problem("--trial", "", str(error), "a heavier trial weight, or another angle")) from None
    return imbalance, change, other_way


VIBRATION_UNITS = ("dimensionless", "m/s", "m/s**2", "m")


def _unit_of_vibration(before: str, after: str) -> str:
    """Return the SI unit in which both vibrations can be read: a velocity, an acceleration, a travel, or bare numbers.

    Raises InputError where there is none, as for bare numbers next to a unit.
    """
    sizes = [text.split(",")[0].strip() for text in (before, after)]
    for unit in VIBRATION_UNITS:
        try:
            for size in sizes:
                parse(size, unit)
        except QuantityError:
            continue
        return unit
    accepted = 'both in units of one kind, "4.2 mm/s", "0.3 g_0" or "0.1 mm", or both bare numbers'
    raise InputError(Problem("--before, --after", "", " and ".join(f'"{size}"' for size in sizes), accepted))


def _numbers(option: str, text: str, units: tuple[str, ...]) -> list[float]:
    """Return the quantities of a text with commas between (SI). Raises InputError."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != len(units):
        wanted = f"{len(units)} values with commas between, such as {_SUCH_AS[option]}"
        raise InputError(Problem(option, "", text, wanted))
    numbers = [read_quantity(option, part, unit) for part, unit in zip(parts, units, strict=True)]
    if any(value < 0 for value, unit in zip(numbers, units, strict=True) if unit != "rad"):
        raise InputError(Problem(option, "", text, "0 or more"))
    return numbers


def _above_zero(option: str, text: str, unit: str) -> float:
    value = read_quantity(option, text, unit)
    if not value > 0:
        raise InputError(Problem(option, "", text, "more than 0"))
    return value
