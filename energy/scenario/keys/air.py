"""The air of the day and the winds of a year."""

from __future__ import annotations

import math
from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Table
from vehicle.quantity import Uncertain, Way, quantity


class Air(Table):
    """The air of the day."""

    temperature: Uncertain = quantity(
        "K",
        "air temperature",
        plausible=("-40 degC", "50 degC"),
        default="15 degC",
        low="5 degC",
        high="25 degC",
        at_least=173.15,  # colder than any weather; the formula of the vapour pressure ends far below
        at_most=340,
        source="US Standard Atmosphere 1976 at sea level; the range is a guess at the season",
        measured=Way(1.0, "a thermometer"),
    )
    pressure: Uncertain | None = quantity(
        "Pa",
        "air pressure at the place (not reduced to sea level)",
        plausible=("50 kPa", "108 kPa"),
        at_least=3e4,
        at_most=1.2e5,
        measured=Way(200.0, "a barometer"),
    )
    altitude: Uncertain = quantity(
        "m",
        "altitude, when no pressure is given",
        plausible=("-430 m", "5500 m"),
        default="0 m",
        low="0 m",
        high="500 m",
        at_least=-500,
        at_most=9000,
        source="sea level, as no place is given (pressure by the US Standard Atmosphere 1976)",
        measured=Way(20.0, "a map"),
        such_as='"350 m" or "1150 ft"',
    )
    relative_humidity: Uncertain = quantity(
        "dimensionless",
        "relative humidity",
        plausible=(0, 1),
        default="60 %",
        low="30 %",
        high="95 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
        measured=Way(0.05, "a hygrometer", of="of relative humidity"),
    )
    wind_speed: Uncertain = quantity(
        "m/s",
        "wind speed at rotor height",
        plausible=("0 m/s", "35 m/s"),
        default="0 m/s",
        at_least=0,
        at_most=60,
        source="still air: the case that the ledger answers when nothing else is said",
        measured=Way(0.5, "an anemometer on the day"),
        such_as='"25 km/h" or "15 mph"',
    )
    turbulence: Uncertain = quantity(
        "dimensionless",
        "standard deviation of the air speed at the rotor over its mean, with rotor curves: gusts that the rotor "
        "follows raise the mean of the cube, by 12 % at 20 % and 27 % at 30 %",
        plausible=(0, 0.5),
        default=0.0,
        low=0.0,
        high=0.2,
        at_least=0,
        at_most=1,
        source=f"{NO_SOURCE}: none; range: behind a vehicle or in gusts, and a rotor too heavy to follow gains nothing",
        called="the gusts at the rotor",
        measured=Way(0.03, "a logging anemometer on the mount", of="of the mean air speed"),
        such_as='"20 %" or 0.2',
    )
    wind_measured_at: Uncertain | None = quantity(
        "m",
        "height at which the wind was measured (weather stations: 10 m (33 ft)), to bring it to rotor.hub_height",
        plausible=("0.5 m", "200 m"),
        above=0,
        such_as='"10 m" or "33 ft"',
    )
    shear_exponent: Uncertain = quantity(
        "dimensionless",
        "exponent of the wind's profile over height, used with wind_measured_at",
        plausible=(0, 0.45),
        default=1 / 7,
        low=0.1,
        high=0.25,
        at_least=0,
        at_most=0.6,
        source=f"{NO_SOURCE}: 1/7 over open ground",
        such_as="0.14",
    )
    wind_from: Uncertain = quantity(
        "rad",
        "where the wind comes from, against the way the vehicle points: 0 deg ahead, 90 deg side, 180 deg behind",
        plausible=("-360 deg", "360 deg"),
        default="0 deg",
        at_least=-2 * math.pi,
        at_most=2 * math.pi,
        source="a head wind, if any",
    )


class WindClimate(Table):
    """The wind of a year, where it is driven or parked: for payback, and for trips without a wind of their own."""

    mean_speed: Uncertain = quantity(
        "m/s",
        "mean wind speed at rotor height over the year",
        plausible=("0.5 m/s", "15 m/s"),
        required=True,
        above=0,
        at_most=30,
        such_as='"4.5 m/s" or "10 mph"',
    )
    shape: Uncertain = quantity(
        "dimensionless",
        "Weibull shape of the wind speeds",
        plausible=(1.2, 4),
        default=2.0,
        low=1.6,
        high=2.4,
        above=0.8,
        at_most=6,
        source="Rayleigh distribution, common for open country; pattern factors as in Troen & Petersen (1989); range: "
        + NO_SOURCE,
    )
    direction: Literal["any", "given"] = Field(
        default="any",
        description="any: from all sides alike, as on roads of every direction; given: always air.wind_from",
    )
