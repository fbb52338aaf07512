"""The heater and its load, other ways to the same heat, and what they cost."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Price, Table, price
from vehicle.constants import ZERO_CELSIUS_K
from vehicle.quantity import Uncertain, Way, quantity


class HeaterTable(Table):
    """The element and what it heats."""

    what: str = Field(default="the load", description="what is heated, in words ('the tank')", max_length=60)
    resistance: Uncertain | None = quantity(
        "ohm",
        "element resistance at 20 degC (each of three, for three_phase)",
        plausible=("0.05 ohm", "1000 ohm"),
        above=0,
        measured=Way(0.02, "an ohmmeter", relative=True),
    )
    temperature_coefficient: Uncertain = quantity(
        "1/K",
        "rise of the element's resistance per kelvin",
        plausible=("-0.001 1/K", "0.006 1/K"),
        default="0 1/K",
        low="0 1/K",
        high="0.0002 1/K",
        at_least=-0.01,
        at_most=0.01,
        source="heating alloys: 0 to about 0.0002 per K, from memory",
    )
    element_temperature: Uncertain = quantity(
        "K",
        "temperature of the element at work",
        called="the temperature of the element",
        plausible=("-40 degC", "1100 degC"),
        default="20 degC",
        low="20 degC",
        high="400 degC",
        at_most=1700,
        source=f"cold element; range: {NO_SOURCE}",
        such_as='"300 degC" or "570 degF"',
    )
    lead_resistance: Uncertain = quantity(
        "ohm",
        "resistance of both leads together",
        called="the resistance of the leads",
        plausible=("0 ohm", "5 ohm"),
        default="0.05 ohm",
        low="0.02 ohm",
        high="0.15 ohm",
        at_least=0,
        source=f"{NO_SOURCE}: some metres of 2.5 to 6 mm² copper",
        measured=Way(0.01, "a four-wire ohmmeter"),
    )
    rated_power: Uncertain | None = quantity(
        "W", "rated power of the element", plausible=("20 W", "50 kW"), above=0, such_as='"2 kW"'
    )
    rated_voltage: Uncertain | None = quantity(
        "V", "rated voltage of the element", plausible=("3 V", "1000 V"), above=0, such_as='"120 V"'
    )
    surface_limit: Uncertain | None = quantity(
        "K",
        "highest temperature that the element's surface stands",
        plausible=("40 degC", "1200 degC"),
        at_least=ZERO_CELSIUS_K,
        at_most=1700,
    )


class LoadTable(Table):
    """What is heated: its heat capacity and loss, what is in it, how hot it shall get."""

    kind: Literal["water_tank", "insulated_box", "small_electric_oven", "domestic_oven"] | None = Field(
        default=None,
        description="a load to start from, with ranges for heat_capacity and loss until you have fitted your own "
        "(windtoll fit load): water_tank, insulated_box (both with volume), small_electric_oven or domestic_oven",
    )
    volume: Uncertain | None = quantity(
        "m**3", "volume of tank or box, inside", plausible=("0.2 L", "3000 L"), above=0, at_most=10
    )
    filled: Uncertain = quantity(
        "dimensionless",
        "share of the tank that is full",
        plausible=(0.05, 1),
        default=1.0,
        above=0,
        at_most=1,
        source="a full tank",
        such_as='"80 %" or 0.8',
    )
    vented: bool = Field(
        default=True,
        description="true: water can boil away through an open vent; false: closed under pressure with a relief "
        "valve, boiling is not modelled",
    )
    insulation: Uncertain = quantity(
        "m",
        "thickness of the box's insulation",
        plausible=("2 mm", "400 mm"),
        default="40 mm",
        above=0,
        at_most=0.5,
        source=NO_SOURCE,
    )
    heat_capacity: Uncertain | None = quantity(
        "J/K",
        "heat capacity of what is heated, a tank's water included; contents come on top",
        plausible=("0.1 kJ/K", "20000 kJ/K"),
        above=0,
    )
    loss: Uncertain | None = quantity(
        "W/K",
        "loss per kelvin above the ambient, in still air (with walls: what gets past them)",
        plausible=("0 W/K", "200 W/K"),
        at_least=0,
    )
    radiating_area: Uncertain = quantity(
        "m**2",
        "area that radiates in addition to the loss above (with walls: theirs)",
        plausible=("0 m^2", "20 m^2"),
        default="0 m^2",
        at_least=0,
        at_most=100,
        source="the loss per kelvin holds the radiation",
        such_as='"0.6 m^2" or "6.5 ft^2"',
    )
    emissivity: Uncertain = quantity(
        "dimensionless",
        "emissivity of the radiating area",
        plausible=(0.02, 1),
        default=0.9,
        low=0.8,
        high=0.95,
        above=0,
        at_most=1,
        source="painted or oxidised metal, from memory; bare aluminium has about 0.1",
    )
    outside_area: Uncertain = quantity(
        "m**2",
        "outer surface that stands in the road wind (with walls: theirs)",
        plausible=("0 m^2", "30 m^2"),
        default="0 m^2",
        at_least=0,
        at_most=100,
        source="sheltered from the road wind",
        such_as='"0.6 m^2" or "6.5 ft^2"',
    )
    open_water_area: Uncertain = quantity(
        "m**2",
        "open surface of the water, without a lid",
        plausible=("0 m^2", "3 m^2"),
        default="0 m^2",
        at_least=0,
        at_most=10,
        source="a lid",
        such_as='"0.05 m^2" or "0.5 ft^2"',
    )
    second_node: Literal["none", "element", "walls"] = Field(
        default="none",
        description="none: all at one temperature; element: the element is hotter than what it heats; walls: the walls "
        "are cooler than what is inside",
    )
    second_heat_capacity: Uncertain | None = quantity(
        "J/K", "heat capacity of element or walls", plausible=("10 J/K", "2000 kJ/K"), above=0, such_as='"4 kJ/K"'
    )
    second_coupling: Uncertain | None = quantity(
        "W/K",
        "heat flow between element or walls and what is heated, per kelvin between them",
        plausible=("0.05 W/K", "2000 W/K"),
        above=0,
        such_as='"15 W/K"',
    )
    second_loss: Uncertain = quantity(
        "W/K",
        "loss of element or walls to the ambient, in still air",
        plausible=("0 W/K", "200 W/K"),
        default="0 W/K",
        at_least=0,
        source="all loss is that of what is heated",
        such_as='"0.5 W/K"',
    )
    contents: (
        Literal[
            "water",
            "vegetables",
            "fruit",
            "herbs",
            "potatoes",
            "meat",
            "dough",
            "oil",
            "wood",
            "aluminium",
            "stone",
            "steel",
        ]
        | None
    ) = Field(default=None, description="what is put in, with contents_mass")
    contents_mass: Uncertain | None = quantity(
        "kg",
        "mass of what is put in",
        plausible=("0 kg", "2000 kg"),
        at_least=0,
        at_most=20_000,
        such_as='"3 kg" or "7 lb"',
    )
    contents_specific_heat: Uncertain | None = quantity(
        "J/kg/K",
        "its specific heat, instead of a name",
        plausible=("0.3 kJ/(kg K)", "4.3 kJ/(kg K)"),
        above=0,
        at_most=20_000,
    )
    contents_water_share: Uncertain | None = quantity(
        "dimensionless", "its share of water by mass, instead of a name (food)", plausible=(0, 1), at_least=0, at_most=1
    )
    target_temperature: Uncertain | None = quantity(
        "K",
        "temperature that is wanted",
        plausible=("-30 degC", "500 degC"),
        at_least=200,
        at_most=1500,
        such_as='"60 degC" or "140 degF"',
    )
    start_temperature: Uncertain | None = quantity(
        "K",
        "temperature at the start; left out: the ambient",
        plausible=("-40 degC", "500 degC"),
        at_least=200,
        at_most=1500,
    )
    ambient_temperature: Uncertain | None = quantity(
        "K",
        "temperature around the load; left out: air.temperature",
        plausible=("-40 degC", "60 degC"),
        at_least=200,
        at_most=400,
    )
    thermostat: Uncertain | None = quantity(
        "K",
        "temperature that the thermostat is set to",
        plausible=("0 degC", "550 degC"),
        at_least=200,
        at_most=1500,
        such_as='"65 degC" or "150 degF"',
    )
    hysteresis: Uncertain = quantity(
        "delta_degC",
        "temperature difference between the thermostat's opening and closing, half above its setting, half below",
        plausible=("0.1 K", "60 K"),
        default="4 K",
        at_least=0.1,
        at_most=200,
        source=f"{NO_SOURCE}: 2 to 10 K",
    )


class CreditTable(Table):
    """What the turbine's power replaces."""

    replaces_alternator: bool = Field(
        default=False,
        description="true: without the turbine the engine's alternator would make the same watts, and is credited",
    )
    alternator_efficiency: Uncertain = quantity(
        "dimensionless",
        "shaft to electricity",
        plausible=(0.3, 0.95),
        default="60 %",
        low="50 %",
        high="70 %",
        above=0,
        at_most=1,
        source="67 %: Commission Implementing Decision (EU) 2017/785; 50 to 55 %: common practice, no source",
    )
    alternator_belt_efficiency: Uncertain = quantity(
        "dimensionless",
        "belt of the alternator",
        plausible=(0.8, 1),
        default="98 %",
        low="95 %",
        high="99 %",
        above=0,
        at_most=1,
        source="V-belts 95 to 98 % new: common practice, no source",
    )
    inverter_efficiency: Uncertain = quantity(
        "dimensionless",
        "inverter or converter between alternator and element",
        plausible=(0.5, 1),
        default="90 %",
        low="85 %",
        high="95 %",
        above=0,
        at_most=1,
        source=NO_SOURCE,
    )


class OtherSourcesTable(Table):
    """How else the same heat could be made."""

    burner_efficiency: Uncertain = quantity(
        "dimensionless",
        "gas burner's heat into the load",
        plausible=(0.1, 1),
        default="60 %",
        low="40 %",
        high="80 %",
        above=0,
        at_most=1,
        source=f"{NO_SOURCE}: open flame under a vessel 40-60 %, closed gas heater to 80 %",
    )
    mains_charge_efficiency: Uncertain = quantity(
        "dimensionless",
        "mains to element through charger and battery",
        plausible=(0.3, 1),
        default="82 %",
        low="72 %",
        high="90 %",
        above=0,
        at_most=1,
        source=NO_SOURCE,
    )
    battery_energy_per_mass: Uncertain = quantity(
        "J/kg",
        "energy of a ready battery per mass",
        plausible=("0.01 kWh/kg", "0.4 kWh/kg"),
        default="0.10 kWh/kg",
        low="0.03 kWh/kg",
        high="0.15 kWh/kg",
        above=0,
        source=f"{NO_SOURCE}: lead-acid to lithium iron phosphate, with case",
    )


class Prices(Table):
    """What things cost, in a currency of the user's."""

    fuel: Price | None = price("L", "price of the fuel")
    gas: Price | None = price("L", "price of burner gas (liquid)")
    electricity: Price | None = price("kWh", "price of mains electricity")
