"""What the turbine and other ways to its heat cost to build, and how much they are used: for payback in money."""

from __future__ import annotations

from energy.scenario.keys.base import NO_SOURCE, Table
from vehicle.quantity import Uncertain, quantity


class CostsTable(Table):
    """What building and using it costs, in the currency of [prices]: plain numbers."""

    turbine_parts: Uncertain = quantity(
        "dimensionless",
        "price of all parts of the turbine, in the currency of [prices]",
        plausible=(0, 50000),
        default=900,
        low=400,
        high=2500,
        at_least=0,
        at_most=1e10,  # in small coins
        source=NO_SOURCE,
    )
    turbine_hours: Uncertain = quantity(
        "dimensionless",
        "hours of work to build and fit the turbine",
        plausible=(0, 5000),
        default=80,
        low=30,
        high=200,
        at_least=0,
        at_most=10000,
        source=NO_SOURCE,
    )
    alternator_parts: Uncertain = quantity(
        "dimensionless",
        "price of a larger alternator, or of an inverter or converter with wiring, for the same heat, in the "
        "currency of [prices]",
        plausible=(0, 50000),
        default=500,
        low=200,
        high=1200,
        at_least=0,
        at_most=1e10,  # in small coins
        source=NO_SOURCE,
    )
    alternator_hours: Uncertain = quantity(
        "dimensionless",
        "hours of work to fit them",
        plausible=(0, 5000),
        default=8,
        low=4,
        high=16,
        at_least=0,
        at_most=10000,
        source=NO_SOURCE,
    )
    battery_parts: Uncertain = quantity(
        "dimensionless",
        "price of a second battery with charger and converter, in the currency of [prices]",
        plausible=(0, 50000),
        default=900,
        low=400,
        high=2000,
        at_least=0,
        at_most=1e10,  # in small coins
        source=NO_SOURCE,
    )
    battery_hours: Uncertain = quantity(
        "dimensionless",
        "hours of work to fit them",
        plausible=(0, 5000),
        default=8,
        low=4,
        high=16,
        at_least=0,
        at_most=10000,
        source=NO_SOURCE,
    )
    gas_parts: Uncertain = quantity(
        "dimensionless",
        "price of a gas burner or heater with bottle and pipe, in the currency of [prices]",
        plausible=(0, 50000),
        default=250,
        low=100,
        high=600,
        at_least=0,
        at_most=1e10,  # in small coins
        source=NO_SOURCE,
    )
    gas_hours: Uncertain = quantity(
        "dimensionless",
        "hours of work to fit them",
        plausible=(0, 5000),
        default=6,
        low=3,
        high=12,
        at_least=0,
        at_most=10000,
        source=NO_SOURCE,
    )
    hour_value: Uncertain = quantity(
        "dimensionless",
        "what an hour of your work is worth, in the currency of [prices]",
        plausible=(0, 500),
        default=10,
        low=0,
        high=30,
        at_least=0,
        at_most=1e8,
        source=NO_SOURCE,
    )
    life_years: Uncertain = quantity(
        "dimensionless",
        "years until turbine or other source is worn out",
        plausible=(0.5, 40),
        default=8,
        low=3,
        high=15,
        above=0,
        at_most=100,
        source=NO_SOURCE,
    )
    driving_hours: Uncertain = quantity(
        "dimensionless",
        "hours a year driven with the turbine working and its heat wanted",
        plausible=(0, 4000),
        default=200,
        low=50,
        high=500,
        at_least=0,
        at_most=8766,
        source=NO_SOURCE,
    )
    parked_hours: Uncertain = quantity(
        "dimensionless",
        "hours a year parked in the wind with the turbine working and its heat wanted",
        plausible=(0, 8766),
        default=100,
        low=0,
        high=500,
        at_least=0,
        at_most=8766,
        source=NO_SOURCE,
    )
    carried_hours: Uncertain = quantity(
        "dimensionless",
        "hours a year driven with the turbine carried stowed",
        plausible=(0, 4000),
        default=100,
        low=0,
        high=400,
        at_least=0,
        at_most=8766,
        source=NO_SOURCE,
    )
    energy_price_factor: Uncertain = quantity(
        "dimensionless",
        "mean price of fuel, gas and electricity over the life, as a multiple of the stated one",
        plausible=(0.3, 4),
        default=1.0,
        low=0.8,
        high=1.4,
        above=0,
        at_most=10,
        source=NO_SOURCE,
    )
