"""The tables of the scenario file: what each key means, its unit, limits, default and source.

A key added here appears in `windtoll keys`; `energy.inputs` reads it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from vehicle.problems import shown
from vehicle.quantity import FieldError, Spec, Uncertain, Way, quantity, read_quantity
from vehicle.units import QuantityError, parse, split


def is_plain(text: str) -> bool:
    """Return whether a text can be shown in a terminal: no escape sequences, at most line breaks."""
    return all(c.isprintable() or c in "\n\t" for c in text)


NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Price:
    """Money per litre (fuels) or per kWh, in the currency the user named."""

    amount: float
    currency: str


def read_price(raw: object, per: str) -> Price:
    """Return a price such as "1.75 EUR/L" or "3.40 USD/gal" per litre, or "0.30 EUR/kWh" per kWh (`per`: "L" or "kWh")."""
    accepted = f'a price such as "1.75 EUR/{per}"' + (' or "3.40 USD/gal"' if per == "L" else "")
    if not isinstance(raw, str):
        raise FieldError(f"{shown(raw)} is no price", accepted)
    try:
        amount, rest = split(raw)
        currency, slash, unit = rest.partition("/")
        if not slash or not re.fullmatch(r"\s*([A-Za-z]{3}|[€$£¥])\s*", currency):
            raise QuantityError(f"{shown(raw)} is no price")
        size = parse(f"1 {unit}", "m**3" if per == "L" else "J")
    except QuantityError as fault:
        raise FieldError(str(fault), accepted) from None
    if amount < 0:
        raise FieldError(f"{shown(raw)} is negative", accepted)
    return Price(amount * (1e-3 if per == "L" else 3.6e6) / size, currency.strip())


class Table(BaseModel):
    """One table of the scenario file; turns what people write into SI."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, strict=True)

    @field_validator("*", mode="before")
    @classmethod
    def _read(cls, raw: Any, info: ValidationInfo) -> Any:
        extra = cls.model_fields[info.field_name or ""].json_schema_extra
        if isinstance(raw, str) and not is_plain(raw):
            raise FieldError(f"{shown(raw)} with control characters", "plain text")
        if not isinstance(extra, dict):
            return raw
        if "price_per" in extra:
            return read_price(raw, str(extra["price_per"]))
        spec = extra.get("spec")
        if not isinstance(spec, Spec):
            return raw
        if extra.get("list"):
            if not isinstance(raw, list) or not raw:
                raise FieldError(f"{shown(raw)} is no list", f"a list [...] of {spec.accepted()}")
            return tuple(read_quantity(entry, spec) for entry in raw)
        return read_quantity(raw, spec)


def quantity_list(unit: str, meaning: str, **limits: float) -> Any:
    """Return a pydantic field for a list of quantities."""
    spec = Spec(unit, meaning, limits.get("at_least"), limits.get("above"), limits.get("at_most"))
    return Field(default=None, description=meaning, json_schema_extra={"spec": spec, "list": True})  # type: ignore[dict-item]


def price(per: str, meaning: str) -> Any:
    """Return a pydantic field for a price per litre or per kWh."""
    return Field(default=None, description=meaning, json_schema_extra={"price_per": per})


class Air(Table):
    """The air of the day."""

    temperature: Uncertain = quantity(
        "K",
        "air temperature",
        default="15 degC",
        low="5 degC",
        high="25 degC",
        at_most=340,
        source="US Standard Atmosphere 1976 at sea level; the range is a guess at the season",
        measured=Way(1.0, "a thermometer"),
    )
    pressure: Uncertain | None = quantity(
        "Pa",
        "air pressure at the place (not reduced to sea level)",
        at_least=3e4,
        at_most=1.2e5,
        measured=Way(200.0, "a barometer"),
    )
    altitude: Uncertain = quantity(
        "m",
        "altitude, when no pressure is given",
        default="0 m",
        low="0 m",
        high="500 m",
        at_least=-500,
        at_most=9000,
        source="sea level, for want of a place (pressure by the US Standard Atmosphere 1976)",
        measured=Way(20.0, "a map"),
    )
    relative_humidity: Uncertain = quantity(
        "dimensionless",
        "relative humidity",
        default="60 %",
        low="30 %",
        high="95 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
        measured=Way(0.05, "a hygrometer"),
    )
    wind_speed: Uncertain = quantity(
        "m/s",
        "wind speed at rotor height",
        default="0 m/s",
        at_least=0,
        at_most=60,
        source="still air: the case that the ledger answers when nothing else is said",
        measured=Way(0.5, "an anemometer on the day"),
    )
    wind_measured_at: Uncertain | None = quantity(
        "m", "height at which the wind was measured (weather stations: 10 m), to bring it to rotor.hub_height", above=0
    )
    shear_exponent: Uncertain = quantity(
        "dimensionless",
        "exponent of the wind's profile over height, used with wind_measured_at",
        default=1 / 7,
        low=0.1,
        high=0.25,
        at_least=0,
        at_most=0.6,
        source=f"{NO_SOURCE}: 1/7 over open ground",
    )
    wind_from: Uncertain = quantity(
        "rad",
        "where the wind comes from, against the way the vehicle points: 0 deg ahead, 90 deg side, 180 deg behind",
        default="0 deg",
        at_least=-2 * math.pi,
        at_most=2 * math.pi,
        source="a head wind, if any",
    )


class RotorTable(Table):
    """The rotor and how it sits on the vehicle."""

    diameter: Uncertain = quantity("m", "rotor diameter", required=True, above=0, measured=Way(0.01, "a tape measure"))
    curves: str | None = Field(default=None, description="CSV of power (and thrust) coefficient over tip-speed ratio")
    blade: str | None = Field(
        default=None, description="CSV of the blade's radius, chord and twist, with a table [blade]"
    )
    measured_power: str | None = Field(default=None, description="CSV of measured electrical watts over air speed")
    pitch: Uncertain | None = quantity(
        "deg",
        "blade pitch, positive towards feather (with [blade]: as its dial reads)",
        at_least=-180,
        at_most=180,
        measured=Way(0.3, "a protractor at the blade"),
    )
    turbine_mass: Uncertain = quantity(
        "kg",
        "mass of rotor, generator and mount together",
        default="40 kg",
        low="20 kg",
        high="80 kg",
        at_least=0,
        source=NO_SOURCE,
        measured=Way(1.0, "a scale"),
    )
    local_speed_factor: Uncertain = quantity(
        "dimensionless",
        "air speed where the rotor sits over that of the free air (roof speed-up above 1, shelter below)",
        default=1.0,
        low=0.85,
        high=1.1,
        above=0,
        at_most=1.5,
        source=f"free air; range: {NO_SOURCE}",
        called="the air speed where the rotor sits",
        measured=Way(0.03, "an anemometer on the mount beside one in free air"),
    )
    interaction_factor: Uncertain = quantity(
        "dimensionless",
        "drag that the vehicle feels over the rotor's own thrust (what rotor and body do to each other)",
        default=1.0,
        low=0.85,
        high=1.2,
        at_least=0.3,
        at_most=3,
        source=f"no interaction; range: {NO_SOURCE}",
        called="what rotor and body do to each other's drag",
        measured=Way(0.08, "a road test with the rotor working and stowed"),
    )
    yaw_exponent: Uncertain = quantity(
        "dimensionless",
        "n in power ~ cos^n of the yaw angle",
        default=2.5,
        low=1.5,
        high=3.5,
        at_least=0,
        at_most=6,
        source="no single exponent exists (Tamaro et al., Wind Energy Science 9 (2024) 1547); 3 is the axial "
        "component alone; the value is a middle, from memory",
        measured=Way(0.5, "a wattmeter in wind from the side"),
    )
    turns_into_wind: bool = Field(default=False, description="true where the rotor swivels freely into the air flow")
    hub_height: Uncertain | None = quantity(
        "m", "height of the hub above ground, used with air.wind_measured_at", above=0
    )
    power_factor: Uncertain = quantity(
        "dimensionless",
        "real over tabulated or computed power coefficient",
        default=1.0,
        low=0.8,
        high=1.1,
        above=0,
        at_most=3,
        source=f"the curves as they are; range: {NO_SOURCE}, hand-made blades rather fall short",
        called="how far the real rotor's power falls from its curves",
        measured=Way(0.04, "a wattmeter at a known air speed"),
    )
    thrust_factor: Uncertain = quantity(
        "dimensionless",
        "real over tabulated or computed thrust coefficient",
        default=1.0,
        low=0.85,
        high=1.15,
        above=0,
        at_most=3,
        source=f"the curves as they are; range: {NO_SOURCE}",
        called="how far the real rotor's thrust falls from its curves",
        measured=Way(0.05, "a load cell under the mount"),
    )
    mount_drag_area: Uncertain = quantity(
        "m**2",
        "drag area Cd·A of mount, mast and generator",
        default="0.10 m^2",
        low="0.04 m^2",
        high="0.25 m^2",
        at_least=0,
        at_most=10,
        source=f"{NO_SOURCE}: two metres of 50 mm round tube at Cd about 1",
        called="mount drag area",
        measured=Way(0.03, "a coast-down with and without the mount"),
    )
    stowed: Literal["stopped", "feathered", "spinning"] = Field(
        default="stopped", description="how the blades rest while stowed: stopped, feathered or spinning without load"
    )
    solidity: Uncertain = quantity(
        "dimensionless",
        "blade area over swept area",
        default=0.10,
        low=0.06,
        high=0.18,
        above=0,
        at_most=1,
        source=f"{NO_SOURCE}: two or three narrow hand-made blades",
        measured=Way(0.01, "a tape measure along the blades"),
    )
    stowed_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of stopped blades on their own area",
        default=1.2,
        low=0.9,
        high=1.5,
        at_least=0,
        at_most=2.5,
        source="flat plate across the flow, about 1.2 (fluid-dynamics handbooks, from memory)",
        measured=Way(0.2, "a coast-down with the rotor stowed and without it"),
    )
    feathered_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of feathered blades on their own area",
        default=0.1,
        low=0.03,
        high=0.3,
        at_least=0,
        at_most=2.5,
        source=NO_SOURCE,
        measured=Way(0.05, "a coast-down with the rotor stowed and without it"),
    )
    chain_efficiency: Uncertain = quantity(
        "dimensionless",
        "electrical over shaft power, used only with measured_power",
        default="65 %",
        low="45 %",
        high="85 %",
        above=0,
        at_most=1,
        source=f"{NO_SOURCE}: small belt-driven permanent-magnet generators",
        measured=Way(0.05, "torque and speed at the shaft beside the wattmeter"),
    )
    highest_rotor_speed: Uncertain | None = quantity("rad/s", "greatest rotor speed allowed", above=0)
    highest_tip_speed: Uncertain = quantity(
        "m/s",
        "greatest blade tip speed allowed",
        default="80 m/s",
        above=0,
        at_most=340,
        source=f"{NO_SOURCE}: hand-made blades are kept below 60 to 80 m/s",
    )
    highest_thrust: Uncertain | None = quantity("N", "greatest thrust that mount and bearing may see", above=0)


class BladeTable(Table):
    """The blade whose geometry file `rotor.blade` names: section, pitch convention, corrections."""

    number_of_blades: Uncertain = quantity("dimensionless", "number of blades", required=True, at_least=1, at_most=60)
    polar: str | list[str] | None = Field(
        default=None, description="CSV of the section's lift and drag, or a list of them at several Reynolds numbers"
    )
    polar_reynolds_numbers: tuple[Uncertain, ...] | None = quantity_list(
        "dimensionless", "Reynolds numbers of the polar files, where they carry none", at_least=1e3
    )
    camber: Uncertain | None = quantity(
        "dimensionless",
        "height of a bent plate's arc over its chord, where there is no polar",
        at_least=0,
        at_most=0.15,
    )
    tube_radius: Uncertain | None = quantity("m", "radius of the tube that the blade is cut from", above=0)
    thickness: Uncertain = quantity("m", "thickness of plate or tube wall", default="4 mm", above=0, source=NO_SOURCE)
    hub_radius: Uncertain | None = quantity(
        "m", "radius at which the root begins (first station by default)", at_least=0
    )
    aerofoil_start: Uncertain | None = quantity("m", "radius at which the aerofoil begins", at_least=0)
    root_diameter: Uncertain = quantity(
        "m", "diameter of the bare root between hub and aerofoil", default="0 m", at_least=0, source="no bare root"
    )
    root_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of the bare root",
        default=1.2,
        at_least=0,
        at_most=3,
        source="cylinder below its critical Reynolds number, from memory",
    )
    twist_positive_towards: Literal["feather", "flat"] = Field(
        default="feather", description="which way the file's twist counts: towards feather or flat (fine)"
    )
    pitch_measured_at: Uncertain | None = quantity(
        "dimensionless",
        "where along the radius the pitch is measured: 1 is the tip; left out: the chord of zero twist",
        above=0,
        at_most=1,
    )
    pitch_zero_is: Literal["flat", "feather"] = Field(
        default="flat",
        description="what the dial's 0 means: that chord in the rotor plane (flat) or along the axis (feather)",
    )
    pitch_positive_towards: Literal["feather", "flat"] = Field(
        default="feather", description="which way the dial counts up: towards feather or flat (fine)"
    )
    tip_loss: bool = Field(default=True, description="Prandtl's tip loss")
    root_loss: bool = Field(default=True, description="Prandtl's root loss")
    wake_rotation: bool = Field(default=True, description="rotation of the wake")
    root_drag: bool = Field(default=True, description="drag of the bare root")
    stall_delay: bool = Field(
        default=False, description="stall delay of inboard sections (Snel, Houwink and Bosschers)"
    )
    blockage_area_ratio: Uncertain = quantity(
        "dimensionless",
        "rotor area over the cross-section of a duct or tunnel around it",
        default=0.0,
        at_least=0,
        at_most=0.3,
        source="free air",
    )


class Drive(Table):
    """Belt or gear between rotor and generator."""

    ratio: Uncertain = quantity(
        "dimensionless",
        "generator turns per rotor turn",
        default=1.0,
        above=0,
        at_most=200,
        source="direct drive, no belt",
    )
    efficiency: Uncertain = quantity(
        "dimensionless",
        "efficiency of belt or gear",
        default="95 %",
        low="91 %",
        high="98 %",
        above=0,
        at_most=1,
        source="V-belt 95-98 % new, about 93 % slack: ACHR News, belt drive article",
        measured=Way(0.02, "torque before and after the belt"),
    )


class GeneratorTable(Table):
    """The permanent-magnet generator and its rectifier."""

    connection: Literal["rectifier", "three_phase", "direct_current"] = Field(
        default="rectifier",
        description="rectifier (six diodes, one element), three_phase (three elements in star) or direct_current",
    )
    voltage_constant: Uncertain = quantity(
        "V*s/rad",
        "open-circuit rms volts between two terminals per turning speed",
        required=True,
        above=0,
        measured=Way(0.02, "a voltmeter at a known speed", relative=True),
    )
    winding_resistance: Uncertain = quantity(
        "ohm",
        "resistance between two terminals",
        required=True,
        at_least=0,
        measured=Way(0.05, "a four-wire ohmmeter", relative=True),
    )
    winding_inductance: Uncertain = quantity(
        "H",
        "inductance between two terminals",
        default="0 mH",
        low="0 mH",
        high="4 mH",
        at_least=0,
        at_most=10,
        source="left out: watts come out somewhat high at high speed; range: common practice, no source",
        measured=Way(0.1, "an inductance meter between two terminals", relative=True),
    )
    pole_pairs: Uncertain = quantity(
        "dimensionless",
        "pole pairs (matters with inductance)",
        default=8,
        low=4,
        high=14,
        at_least=1,
        at_most=200,
        source=NO_SOURCE,
        measured=Way(0.01, "counting the detents of one turn"),
    )
    friction_torque: Uncertain = quantity(
        "N*m",
        "friction torque at the generator shaft",
        default="0.1 N*m",
        low="0.03 N*m",
        high="0.3 N*m",
        at_least=0,
        source=NO_SOURCE,
        measured=Way(0.02, "a spring scale at the belt, turned by hand"),
    )
    cogging_torque: Uncertain = quantity(
        "N*m",
        "torque at the generator shaft that holds it at standstill",
        default="0.2 N*m",
        low="0.05 N*m",
        high="0.6 N*m",
        at_least=0,
        source=NO_SOURCE,
        measured=Way(0.05, "a spring scale at the belt"),
    )
    iron_loss: Uncertain = quantity(
        "W",
        "iron loss at 1000 rpm of the generator",
        default="15 W",
        low="5 W",
        high="40 W",
        at_least=0,
        source=NO_SOURCE,
        measured=Way(3.0, "torque at 1000 rpm with nothing connected"),
    )
    eddy_share: Uncertain = quantity(
        "dimensionless",
        "share of the iron loss at 1000 rpm that grows with the square of speed",
        default="50 %",
        low="20 %",
        high="80 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    rectifier_drop: Uncertain = quantity(
        "V",
        "voltage drop of the two diodes that conduct, together",
        default="1.8 V",
        low="1.4 V",
        high="2.2 V",
        at_least=0,
        at_most=20,
        source=f"{NO_SOURCE}: 0.7 to 1.1 V a silicon diode under load",
    )
    highest_current: Uncertain | None = quantity("A", "greatest current through the element", above=0)
    load_connected: Literal["always", "after_spin_up"] = Field(
        default="always",
        description="always, or after_spin_up where a switch or relay connects the element once it turns",
    )


class HeaterTable(Table):
    """The element and what it heats."""

    what: str = Field(default="the load", description="what is heated, in words ('the tank')", max_length=60)
    resistance: Uncertain | None = quantity(
        "ohm",
        "element resistance at 20 degC (each of three, for three_phase)",
        above=0,
        measured=Way(0.02, "an ohmmeter", relative=True),
    )
    temperature_coefficient: Uncertain = quantity(
        "1/K",
        "rise of the element's resistance per kelvin",
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
        default="20 degC",
        low="20 degC",
        high="400 degC",
        at_most=1700,
        source=f"cold element; range: {NO_SOURCE}",
    )
    lead_resistance: Uncertain = quantity(
        "ohm",
        "resistance of both leads together",
        default="0.05 ohm",
        low="0.02 ohm",
        high="0.15 ohm",
        at_least=0,
        source=f"{NO_SOURCE}: some metres of 2.5 to 6 mm² copper",
        measured=Way(0.01, "a four-wire ohmmeter"),
    )
    rated_power: Uncertain | None = quantity("W", "rated power of the element", above=0)
    rated_voltage: Uncertain | None = quantity("V", "rated voltage of the element", above=0)
    surface_limit: Uncertain | None = quantity(
        "K", "highest temperature that the element's surface stands", at_least=273.15, at_most=1700
    )


class LoadTable(Table):
    """What is heated: its heat capacity and loss, what is in it, how hot it shall get."""

    kind: Literal["water_tank", "insulated_box", "small_electric_oven", "domestic_oven"] | None = Field(
        default=None,
        description="a load to start from, with ranges for heat_capacity and loss until you have fitted your own "
        "(windtoll fit heater): water_tank, insulated_box (both with volume), small_electric_oven or domestic_oven",
    )
    volume: Uncertain | None = quantity("m**3", "volume of tank or box, inside", above=0, at_most=10)
    filled: Uncertain = quantity(
        "dimensionless", "share of the tank that is full", default=1.0, above=0, at_most=1, source="a full tank"
    )
    vented: bool = Field(
        default=True,
        description="true: water can boil away through an open vent; false: closed under pressure with a relief "
        "valve, boiling is not modelled",
    )
    insulation: Uncertain = quantity(
        "m", "thickness of the box's insulation", default="40 mm", above=0, at_most=0.5, source=NO_SOURCE
    )
    heat_capacity: Uncertain | None = quantity(
        "J/K", "heat capacity of what is heated, a tank's water included; contents come on top", above=0
    )
    loss: Uncertain | None = quantity(
        "W/K", "loss per kelvin above the ambient, in still air (with walls: what gets past them)", at_least=0
    )
    radiating_area: Uncertain = quantity(
        "m**2",
        "area that radiates besides the loss above (with walls: theirs)",
        default="0 m^2",
        at_least=0,
        at_most=100,
        source="the loss per kelvin holds the radiation",
    )
    emissivity: Uncertain = quantity(
        "dimensionless",
        "emissivity of the radiating area",
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
        default="0 m^2",
        at_least=0,
        at_most=100,
        source="sheltered from the road wind",
    )
    open_water_area: Uncertain = quantity(
        "m**2", "open surface of the water, without a lid", default="0 m^2", at_least=0, at_most=10, source="a lid"
    )
    second_node: Literal["none", "element", "walls"] = Field(
        default="none",
        description="none: all at one temperature; element: the element is hotter than what it heats; walls: the walls "
        "are cooler than what is inside",
    )
    second_heat_capacity: Uncertain | None = quantity("J/K", "heat capacity of element or walls", above=0)
    second_coupling: Uncertain | None = quantity(
        "W/K", "heat flow between element or walls and what is heated, per kelvin between them", above=0
    )
    second_loss: Uncertain = quantity(
        "W/K",
        "loss of element or walls to the ambient, in still air",
        default="0 W/K",
        at_least=0,
        source="all loss is that of what is heated",
    )
    contents: (
        Literal[
            "water", "vegetables", "fruit", "herbs", "potatoes", "meat", "dough", "oil", "wood", "aluminium", "stone",
            "steel",
        ]
        | None
    ) = Field(default=None, description="what is put in, with contents_mass")  # fmt: skip
    contents_mass: Uncertain | None = quantity("kg", "mass of what is put in", at_least=0, at_most=20_000)
    contents_specific_heat: Uncertain | None = quantity(
        "J/kg/K", "its specific heat, instead of a name", above=0, at_most=20_000
    )
    contents_water_share: Uncertain | None = quantity(
        "dimensionless", "its share of water by mass, instead of a name (food)", at_least=0, at_most=1
    )
    target_temperature: Uncertain | None = quantity("K", "temperature that is wanted", at_least=200, at_most=1500)
    start_temperature: Uncertain | None = quantity(
        "K", "temperature at the start; left out: the ambient", at_least=200, at_most=1500
    )
    ambient_temperature: Uncertain | None = quantity(
        "K", "temperature around the load; left out: air.temperature", at_least=200, at_most=400
    )
    thermostat: Uncertain | None = quantity(
        "K", "temperature that the thermostat is set to", at_least=200, at_most=1500
    )
    hysteresis: Uncertain = quantity(
        "delta_degC",
        "temperature difference between the thermostat's opening and closing, half above its setting, half below",
        default="4 K",
        at_least=0.1,
        at_most=200,
        source=f"{NO_SOURCE}: 2 to 10 K",
    )


class VehicleTable(Table):
    """The vehicle's road load, by coast-down coefficients or by drag area and tyres."""

    mass: Uncertain = quantity(
        "kg",
        "mass on the road, with load and people, without the turbine",
        required=True,
        above=0,
        at_most=100_000,
        measured=Way(20.0, "a weighbridge"),
    )
    drag_area: Uncertain | None = quantity(
        "m**2",
        "drag coefficient times frontal area, Cd·A",
        above=0,
        at_most=30,
        called="the vehicle's drag area",
        measured=Way(0.04, "a coast-down", relative=True),
    )
    rolling_resistance: Uncertain = quantity(
        "dimensionless",
        "rolling resistance coefficient of the tyres",
        default=0.010,
        low=0.007,
        high=0.017,
        above=0,
        at_most=0.2,
        source="mean about 0.010, range 0.007-0.017: a US report on passenger tyres, quoted second-hand",
        measured=Way(0.0006, "a coast-down"),
    )
    coastdown_a: Uncertain | None = quantity("N", "coast-down coefficient A", at_least=0)
    coastdown_b: Uncertain | None = quantity("N*s/m", "coast-down coefficient B")
    coastdown_c: Uncertain | None = quantity("N*s**2/m**2", "coast-down coefficient C", above=0)
    coastdown_air_density: Uncertain = quantity(
        "kg/m**3",
        "air density in the coast-down test",
        default="1.20 kg/m^3",
        low="1.12 kg/m^3",
        high="1.28 kg/m^3",
        at_least=0.5,
        at_most=1.6,
        source=f"{NO_SOURCE}: about 20 degC near sea level",
    )
    rotating_mass_factor: Uncertain = quantity(
        "dimensionless",
        "effective over real mass while accelerating",
        default=1.03,
        low=1.02,
        high=1.06,
        at_least=1,
        at_most=2,
        source=f"{NO_SOURCE}: wheels and drivetrain add 2 to 6 %",
    )
    width: Uncertain | None = quantity(
        "m", "vehicle width, to tell a rotor that stands out beside it", above=0, at_most=20
    )


class EngineTable(Table):
    """The combustion engine with its gears."""

    fuel: Literal["petrol", "e10", "diesel", "lpg"] = Field(description="petrol, e10, diesel or lpg")
    displacement: Uncertain = quantity("m**3", "engine displacement", required=True, above=0, at_most=0.1)
    peak_torque: Uncertain | None = quantity("N*m", "greatest torque", above=0)
    torque_curve: str | None = Field(default=None, description="CSV of greatest torque over engine speed")
    fuel_map: str | None = Field(
        default=None, description="CSV of brake-specific consumption over engine speed, torque"
    )
    indicated_efficiency: Uncertain | None = quantity(
        "dimensionless",
        "share of the next drop of fuel that becomes work",
        above=0,
        at_most=0.65,
        called="the engine's efficiency",
        measured=Way(0.012, "a logged fuel flow at two known loads"),
    )
    friction_mean_pressure: Uncertain | None = quantity(
        "Pa",
        "friction, pumping and accessories as a mean effective pressure",
        at_least=0,
        at_most=1e6,
        measured=Way(15e3, "a logged fuel flow at idle"),
    )
    idle_speed: Uncertain = quantity(
        "rad/s", "idle speed", default="750 rpm", low="650 rpm", high="850 rpm", above=0, source=NO_SOURCE
    )
    speed_per_1000_rpm: tuple[Uncertain, ...] | None = quantity_list(
        "m/s", "road speed at 1000 rpm of the engine in each gear, lowest gear first", above=0
    )
    gear_ratios: tuple[Uncertain, ...] | None = quantity_list(
        "dimensionless", "engine turns per output-shaft turn in each gear, lowest gear first", above=0
    )
    final_drive_ratio: Uncertain | None = quantity("dimensionless", "output-shaft turns per wheel turn", above=0)
    tyre_radius: Uncertain | None = quantity("m", "rolling radius of the driven tyres", above=0)
    drivetrain_efficiency: Uncertain = quantity(
        "dimensionless",
        "efficiency from flywheel to wheels",
        default="92 %",
        low="87 %",
        high="95 %",
        above=0,
        at_most=1,
        source="gearbox 85-95 %, axle 95-97 %: handbook collections",
        measured=Way(0.015, "a roller test bench"),
    )
    lowest_driving_speed: Uncertain = quantity(
        "rad/s",
        "engine speed below which one shifts down",
        default="1200 rpm",
        low="1000 rpm",
        high="1500 rpm",
        above=0,
        source=NO_SOURCE,
    )
    highest_speed: Uncertain = quantity(
        "rad/s", "greatest engine speed", default="5500 rpm", low="4500 rpm", high="6500 rpm", above=0, source=NO_SOURCE
    )
    overrun_cut_off: bool = Field(default=True, description="fuel is cut while the wheels drive the engine")
    runs_when_parked: bool = Field(default=False, description="the engine idles while the vehicle stands")
    accessory_power: Uncertain = quantity(
        "W",
        "mechanical power of alternator, air conditioning and pumps beyond those of an idling engine",
        default="0 W",
        low="0 W",
        high="800 W",
        at_least=0,
        at_most=50_000,
        source="none beyond what the friction default holds",
    )


class BatteryTable(Table):
    """A battery-electric drive instead of an engine."""

    drive_efficiency: Uncertain = quantity(
        "dimensionless", "pack to wheels", default="85 %", low="78 %", high="91 %", above=0, at_most=1, source=NO_SOURCE
    )
    regeneration_efficiency: Uncertain = quantity(
        "dimensionless",
        "wheels to pack",
        default="70 %",
        low="55 %",
        high="82 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    regeneration_limit: Uncertain = quantity(
        "W",
        "greatest power at the wheels that can be taken back",
        default="50 kW",
        low="20 kW",
        high="80 kW",
        at_least=0,
        source=NO_SOURCE,
    )
    auxiliary_power: Uncertain = quantity(
        "W", "lights, pumps, electronics", default="300 W", low="150 W", high="600 W", at_least=0, source=NO_SOURCE
    )


class TripTable(Table):
    """How it is driven, and what it is compared with."""

    road_speed: Uncertain | None = quantity(
        "m/s",
        "road speed of a steady drive (or a schedule instead)",
        at_least=0,
        at_most=100,
        measured=Way(0.2, "satellite positioning"),
    )
    schedule: str | None = Field(
        default=None, description="CSV of speed over time, for a whole trip (columns time_s, speed_km_h; grade_percent)"
    )
    profile: str | None = Field(
        default=None, description="CSV of altitude_m (or grade_percent) and wind over distance_km, with a schedule"
    )
    works: Literal["always", "below_speed", "above_speed", "braking_or_descending", "only_parked"] = Field(
        default="always",
        description="when the turbine works on a schedule; at other times it is stowed. braking_or_descending: while the "
        "road or the vehicle's momentum drives the wheels",
    )
    works_speed: Uncertain | None = quantity(
        "m/s", "the road speed of below_speed and above_speed", above=0, at_most=100
    )
    longest_idle: Uncertain = quantity(
        "s",
        "stops on a schedule through which the engine idles; in longer ones it is off",
        default="5 min",
        low="2 min",
        high="10 min",
        at_least=0,
        source=NO_SOURCE,
    )
    grade: Uncertain = quantity(
        "dimensionless",
        "rise over run, negative downhill",
        default="0 %",
        at_least=-0.4,
        at_most=0.4,
        source="a flat road",
        measured=Way(0.001, "a map or a level"),
    )
    acceleration: Uncertain = quantity(
        "m/s**2", "acceleration along the road", default="0 m/s^2", at_least=-10, at_most=10, source="a steady speed"
    )
    distance: Uncertain | None = quantity("m", "length of the trip, for totals", above=0)
    compared_with: Literal["absent", "stowed"] = Field(
        default="absent",
        description="the trip without: turbine absent (left at home) or stowed (carried, blades still)",
    )


class WindClimate(Table):
    """The wind of a year, where it is driven or parked: for payback, and for trips without a wind of their own."""

    mean_speed: Uncertain = quantity(
        "m/s", "mean wind speed at rotor height over the year", required=True, above=0, at_most=30
    )
    shape: Uncertain = quantity(
        "dimensionless",
        "Weibull shape of the wind speeds",
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


class CreditTable(Table):
    """What the turbine's power replaces."""

    replaces_alternator: bool = Field(
        default=False,
        description="true: without the turbine the engine's alternator would make the same watts, and is credited",
    )
    alternator_efficiency: Uncertain = quantity(
        "dimensionless",
        "shaft to electricity",
        default="60 %",
        low="50 %",
        high="70 %",
        above=0,
        at_most=1,
        source="67 %: Commission Implementing Decision (EU) 2017/785; 55 %: Bradfield, High-efficiency generators",
    )
    alternator_belt_efficiency: Uncertain = quantity(
        "dimensionless",
        "belt of the alternator",
        default="98 %",
        low="95 %",
        high="99 %",
        above=0,
        at_most=1,
        source="Bradfield, High-efficiency generators",
    )
    inverter_efficiency: Uncertain = quantity(
        "dimensionless",
        "inverter or converter between alternator and element",
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


class Gust(Table):
    """The worst air that mount and blades must stand: a gust ahead, a passing truck, and the load cut meanwhile."""

    road_speed: Uncertain | None = quantity(
        "m/s", "greatest road speed ever driven with the rotor", at_least=0, at_most=100
    )
    speed: Uncertain = quantity(
        "m/s",
        "head gust on top of road speed and wind",
        default="10 m/s",
        at_least=0,
        at_most=60,
        source=f"{NO_SOURCE}: a gusty day",
    )
    passing_factor: Uncertain = quantity(
        "dimensionless",
        "air speed beside an oncoming truck over that without it",
        default=1.2,
        at_least=1,
        at_most=2,
        source=NO_SOURCE,
    )
    overspeed_stop: Uncertain | None = quantity(
        "rad/s", "rotor speed at which a brake that needs no electricity stops it (left out: it runs free)", above=0
    )


class Mount(Table):
    """Feet and bolts that hold the turbine on the vehicle."""

    height: Uncertain = quantity(
        "m", "height of the rotor axis above the mount's feet", required=True, above=0, at_most=20
    )
    bolt_distances: tuple[Uncertain, ...] | None = quantity_list(
        "m", "distance of each bolt, along the vehicle, from the rear edge of the feet", at_least=0
    )
    bolt_rating: Uncertain | None = quantity("N", "pull that one bolt and what it is screwed into may carry", above=0)
    highest_moment: Uncertain | None = quantity(
        "N*m", "greatest overturning moment the frame or roof may carry", above=0
    )


class Bearing(Table):
    """The bearing that takes the thrust, ratings from its maker's sheet."""

    kind: Literal["deep_groove_ball", "angular_contact_ball", "tapered_roller", "thrust_ball"] = Field(
        description="deep_groove_ball, angular_contact_ball (40 deg), tapered_roller or thrust_ball"
    )
    static_rating: Uncertain = quantity("N", "basic static load rating C0", required=True, above=0)
    dynamic_rating: Uncertain = quantity("N", "basic dynamic load rating C", required=True, above=0)
    bore: Uncertain | None = quantity("m", "bore; up to 12 mm a deep-groove bearing takes half the axial load", above=0)
    light_series: bool = Field(default=False, description="true for a thin-section (light series) deep-groove bearing")
    radial_load: Uncertain = quantity(
        "N",
        "radial load on this bearing: rotor weight, belt pull",
        default="150 N",
        at_least=0,
        source=f"{NO_SOURCE}: some kilograms of rotor and a belt",
    )
    axial_factor: Uncertain | None = quantity(
        "dimensionless", "Y of the equivalent load, from the maker's sheet", above=0
    )
    static_axial_factor: Uncertain | None = quantity(
        "dimensionless", "Y0 of the static equivalent load, from the maker's sheet", above=0
    )
    required_static_safety: Uncertain = quantity(
        "dimensionless",
        "static safety factor wanted",
        default=2.0,
        above=0,
        source="1.5 to 2 and more under shock: catalogue text on ISO 76",
    )
    required_life: Uncertain = quantity(
        "s", "basic life wanted at the operating point", default="1000 h", above=0, source=NO_SOURCE
    )


class BladeLoads(Table):
    """The blades as masses, and as sections that the pitch linkage must turn."""

    number_of_blades: Uncertain | None = quantity(
        "dimensionless", "number of blades (left out: that of [blade])", at_least=1, at_most=60
    )
    mass: Uncertain | None = quantity("kg", "mass of one blade outside the hub", above=0)
    centre_of_mass: Uncertain | None = quantity(
        "m", "radius of one blade's centre of mass, from the rotor axis", above=0
    )
    piece_masses: tuple[Uncertain, ...] | None = quantity_list(
        "kg", "instead of mass: the masses of one blade's pieces, root to tip", at_least=0
    )
    piece_radii: tuple[Uncertain, ...] | None = quantity_list(
        "m", "radius of the middle of each piece, root to tip", at_least=0
    )
    root_radius: Uncertain = quantity(
        "m",
        "radius of the fastening that carries the blade",
        default="0.1 m",
        at_least=0,
        source=NO_SOURCE,
    )
    root_pull_rating: Uncertain | None = quantity("N", "pull that one blade's fastening may carry", above=0)
    root_bending_rating: Uncertain | None = quantity("N*m", "bending moment that one blade's root may carry", above=0)
    chord: Uncertain | None = quantity("m", "chord of the blade, a mean over the outer half", above=0)
    thickness_ratio: Uncertain = quantity(
        "dimensionless", "thickness over chord", default=0.14, above=0, at_most=1, source=NO_SOURCE
    )
    pitch_axis: Uncertain = quantity(
        "dimensionless",
        "where the pitch axis crosses the chord, from the leading edge",
        default=0.30,
        low=0.25,
        high=0.40,
        at_least=0,
        at_most=1,
        source=f"{NO_SOURCE}: near the thickest place",
    )
    mass_axis: Uncertain = quantity(
        "dimensionless",
        "where the centre of mass lies on the chord, from the leading edge",
        default=0.42,
        low=0.35,
        high=0.50,
        at_least=0,
        at_most=1,
        source="solid sections about 0.42, a flat plate 0.50: from memory",
    )
    section_moment_coefficient: Uncertain = quantity(
        "dimensionless",
        "moment coefficient of the section about its quarter chord, negative nose down",
        default=-0.05,
        low=-0.10,
        high=0.0,
        at_least=-0.5,
        at_most=0.5,
        source="cambered low-speed sections −0.05 to −0.10, symmetric ones 0: from memory",
    )
    mean_twist: Uncertain = quantity(
        "deg",
        "chord angle of the blade's middle mass over the pitch setting, positive towards feather",
        default="4 deg",
        low="0 deg",
        high="8 deg",
        at_least=-45,
        at_most=45,
        source=NO_SOURCE,
    )
    pitch_bearing_diameter: Uncertain | None = quantity(
        "m", "mean diameter of the blade's pitch bearing or bush", above=0
    )
    pitch_bearing_friction: Uncertain = quantity(
        "dimensionless",
        "friction coefficient of the pitch bearing under the blade's centrifugal pull",
        default=0.10,
        low=0.003,
        high=0.20,
        at_least=0,
        at_most=1,
        source="greased bush about 0.1 to 0.2, rolling bearing 0.002 to 0.005: from memory",
    )
    balance_grade: Uncertain = quantity(
        "m/s",
        "balance quality grade as a speed (G 6.3 is 6.3 mm/s)",
        default="16 mm/s",
        above=0,
        at_most=4,
        source="G 16, parts of farm machinery: ISO 21940-11 as summarised in texts",
    )
    rotor_mass: Uncertain | None = quantity(
        "kg", "mass of all that turns on the rotor shaft: blades, hub, pulley", above=0
    )
    residual_imbalance: Uncertain | None = quantity(
        "kg*m", "imbalance left after balancing, such as '900 g*mm'", at_least=0
    )


class Linkage(Table):
    """The linkage and the actuator that set the pitch."""

    arm: Uncertain = quantity("m", "lever of the pitch horn, from pitch axis to rod", required=True, above=0, at_most=2)
    travel_from: Uncertain = quantity("deg", "lowest pitch of the travel", required=True, at_least=-20, at_most=100)
    travel_to: Uncertain = quantity("deg", "highest pitch of the travel", required=True, at_least=-20, at_most=100)
    square_at: Uncertain | None = quantity(
        "deg", "pitch at which rod and horn are at right angles (left out: mid-travel)", at_least=-20, at_most=100
    )
    actuator_rating: Uncertain | None = quantity("N", "force that the actuator can push, pull and hold", above=0)
    rod_rating: Uncertain | None = quantity("N", "force that one blade's rod and its joints may carry", above=0)
    self_locking: bool = Field(default=False, description="true where a screw or worm holds the pitch without power")


class MeasurementTable(Table):
    """How good the instruments of a drive are; half-widths that hold 19 times out of 20."""

    air_speed_at: Literal["rotor", "free_air"] = Field(
        default="rotor", description="where logged air speed was measured: at the rotor, or in free_air"
    )
    air_speed_noise: Uncertain = quantity(
        "dimensionless",
        "scatter of the air speed from row to row, ± (19 times out of 20)",
        default="6 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    air_speed_calibration: Uncertain = quantity(
        "dimensionless",
        "error of the air speed that all rows share, ±",
        default="4 %",
        at_least=0,
        at_most=1,
        source=f"{NO_SOURCE}: hand-held anemometers",
    )
    power_accuracy: Uncertain = quantity(
        "dimensionless",
        "error of wattmeter and losses that all rows share, ±",
        default="4 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    thrust_accuracy: Uncertain = quantity(
        "dimensionless",
        "error of the load cell that all rows share, ±",
        default="10 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )


TABLES: dict[str, type[Table]] = {
    "air": Air,
    "rotor": RotorTable,
    "blade": BladeTable,
    "drive": Drive,
    "generator": GeneratorTable,
    "heater": HeaterTable,
    "load": LoadTable,
    "vehicle": VehicleTable,
    "engine": EngineTable,
    "battery": BatteryTable,
    "trip": TripTable,
    "wind_climate": WindClimate,
    "credit": CreditTable,
    "other_sources": OtherSourcesTable,
    "prices": Prices,
    "uncertainty": UncertaintyTable,
    "gust": Gust,
    "mount": Mount,
    "bearing": Bearing,
    "blade_loads": BladeLoads,
    "linkage": Linkage,
    "measurement": MeasurementTable,
}
TEXTS = ("title", "note")
# May be left out: all their keys have defaults.
MAY_BE_LEFT_OUT = (
    "air",
    "drive",
    "heater",
    "load",
    "credit",
    "other_sources",
    "prices",
    "gust",
    "measurement",
    "uncertainty",
)
