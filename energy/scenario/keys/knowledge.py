"""What is known of the inputs beyond their own ranges, and how good the instruments of a drive are."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Table
from vehicle.quantity import Uncertain, quantity


class CorrelatedPair(Table):
    """Two uncertain inputs that tend to err together."""

    first: str = Field(description='key of one input, such as "rotor.local_speed_factor"')
    second: str = Field(description="key of the other")
    coefficient: Uncertain = quantity(
        "dimensionless", "correlation coefficient of the two", required=True, at_least=-0.99, at_most=0.99
    )


class UncertaintyTable(Table):
    """What is known of the uncertain inputs beyond their own ranges."""

    correlated: list[CorrelatedPair] = Field(
        default_factory=list,
        description='pairs that err together: [{ first = "rotor.power_factor", second = "rotor.thrust_factor", '
        "coefficient = 0.7 }]",
    )


class MeasurementTable(Table):
    """How good the instruments of a drive are; half-widths that hold 19 times out of 20."""

    air_speed_at: Literal["rotor", "free_air"] = Field(
        default="rotor", description="where logged air speed was measured: at the rotor, or in free_air"
    )
    air_speed_noise: Uncertain = quantity(
        "dimensionless",
        "scatter of the air speed from row to row, half-width of a 95 % interval",
        plausible=(0, 0.6),
        default="6 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    air_speed_calibration: Uncertain = quantity(
        "dimensionless",
        "error of the air speed that all rows share, ±",
        plausible=(0, 0.5),
        default="4 %",
        at_least=0,
        at_most=1,
        source=f"{NO_SOURCE}: hand-held anemometers",
    )
    power_accuracy: Uncertain = quantity(
        "dimensionless",
        "error of wattmeter and losses that all rows share, ±",
        plausible=(0, 0.5),
        default="4 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    thrust_accuracy: Uncertain = quantity(
        "dimensionless",
        "error of the load cell that all rows share, ±",
        plausible=(0, 0.5),
        default="10 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
