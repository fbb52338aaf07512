"""The scenario file: one TOML file, one table a thing, every quantity with its unit.

`load` reads it with the CSV files it names and tells every fault at once, one line each. Keys that are left out take the
defaults below, each with its source; an answer lists those it used.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, TypeVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator
from pydantic_core import ErrorDetails

from energy.blade import PitchConvention, to_rotor_curves
from energy.quantity import FieldError, Spec, Uncertain, quantity, read_quantity
from energy.rotor import RotorCurves, read_curves
from vehicle.engine import FuelMap, TorqueCurve
from vehicle.fuels import FUELS
from vehicle.problems import InputError, Problem, nearest, shown
from vehicle.tables import increasing, read_table
from vehicle.trip import Profile, Schedule, read_profile, read_schedule
from vehicle.units import QuantityError, parse, split

MOST_BYTES = 1024 * 1024
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
        if isinstance(raw, str) and not _is_plain(raw):
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


M = TypeVar("M", bound=Table)


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
    )
    pressure: Uncertain | None = quantity(
        "Pa", "air pressure at the place (not reduced to sea level)", at_least=3e4, at_most=1.2e5
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
    )
    wind_speed: Uncertain = quantity(
        "m/s",
        "wind speed at rotor height",
        default="0 m/s",
        at_least=0,
        at_most=60,
        source="still air: the case that the ledger answers when nothing else is said",
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

    diameter: Uncertain = quantity("m", "rotor diameter", required=True, above=0)
    curves: str | None = Field(default=None, description="CSV of power (and thrust) coefficient over tip-speed ratio")
    blade: str | None = Field(
        default=None, description="CSV of the blade's radius, chord and twist, with a table [blade]"
    )
    measured_power: str | None = Field(default=None, description="CSV of measured electrical watts over air speed")
    pitch: Uncertain | None = quantity(
        "deg", "blade pitch, positive towards feather (with [blade]: as its dial reads)", at_least=-180, at_most=180
    )
    turbine_mass: Uncertain = quantity(
        "kg",
        "mass of rotor, generator and mount together",
        default="40 kg",
        low="20 kg",
        high="80 kg",
        at_least=0,
        source=NO_SOURCE,
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
    )


class GeneratorTable(Table):
    """The permanent-magnet generator and its rectifier."""

    connection: Literal["rectifier", "three_phase", "direct_current"] = Field(
        default="rectifier",
        description="rectifier (six diodes, one element), three_phase (three elements in star) or direct_current",
    )
    voltage_constant: Uncertain = quantity(
        "V*s/rad", "open-circuit rms volts between two terminals per turning speed", required=True, above=0
    )
    winding_resistance: Uncertain = quantity("ohm", "resistance between two terminals", required=True, at_least=0)
    winding_inductance: Uncertain = quantity(
        "H",
        "inductance between two terminals",
        default="0 mH",
        low="0 mH",
        high="4 mH",
        at_least=0,
        at_most=10,
        source="left out: watts come out somewhat high at high speed; range: common practice, no source",
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
    )
    friction_torque: Uncertain = quantity(
        "N*m",
        "friction torque at the generator shaft",
        default="0.1 N*m",
        low="0.03 N*m",
        high="0.3 N*m",
        at_least=0,
        source=NO_SOURCE,
    )
    cogging_torque: Uncertain = quantity(
        "N*m",
        "torque at the generator shaft that holds it at standstill",
        default="0.2 N*m",
        low="0.05 N*m",
        high="0.6 N*m",
        at_least=0,
        source=NO_SOURCE,
    )
    iron_loss: Uncertain = quantity(
        "W",
        "iron loss at 1000 rpm of the generator",
        default="15 W",
        low="5 W",
        high="40 W",
        at_least=0,
        source=NO_SOURCE,
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


class Heater(Table):
    """The element and what it heats."""

    what: str = Field(default="the load", description="what is heated, in words ('the tank')", max_length=60)
    resistance: Uncertain | None = quantity(
        "ohm", "element resistance at 20 degC (each of three, for three_phase)", above=0
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
        "kg", "mass on the road, with load and people, without the turbine", required=True, above=0, at_most=100_000
    )
    drag_area: Uncertain | None = quantity("m**2", "drag coefficient times frontal area, Cd·A", above=0, at_most=30)
    rolling_resistance: Uncertain = quantity(
        "dimensionless",
        "rolling resistance coefficient of the tyres",
        default=0.010,
        low=0.007,
        high=0.017,
        above=0,
        at_most=0.2,
        source="mean about 0.010, range 0.007-0.017: a US report on passenger tyres, quoted second-hand",
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
        "dimensionless", "share of the next drop of fuel that becomes work", above=0, at_most=0.65
    )
    friction_mean_pressure: Uncertain | None = quantity(
        "Pa", "friction, pumping and accessories as a mean effective pressure", at_least=0, at_most=1e6
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


class Trip(Table):
    """How it is driven, and what it is compared with."""

    road_speed: Uncertain | None = quantity(
        "m/s", "road speed of a steady drive (or a schedule instead)", at_least=0, at_most=100
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


class Credit(Table):
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


class OtherSources(Table):
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


class Measurement(Table):
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
    "heater": Heater,
    "load": LoadTable,
    "vehicle": VehicleTable,
    "engine": EngineTable,
    "battery": BatteryTable,
    "trip": Trip,
    "wind_climate": WindClimate,
    "credit": Credit,
    "other_sources": OtherSources,
    "prices": Prices,
    "uncertainty": UncertaintyTable,
    "gust": Gust,
    "mount": Mount,
    "bearing": Bearing,
    "blade_loads": BladeLoads,
    "linkage": Linkage,
    "measurement": Measurement,
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


@dataclass(frozen=True)
class MeasuredPower:
    """Measured electrical watts over air speed (m/s, rising); thrust (N) and rotor speed (rad/s) where measured."""

    air_speed_m_s: np.ndarray
    electrical_power_w: np.ndarray
    thrust_n: np.ndarray | None
    rotor_speed_rad_s: np.ndarray | None


@dataclass(frozen=True)
class Scenario:
    """A checked scenario: its tables, the files it names, and warnings that do not stop an answer."""

    name: str
    title: str
    note: str
    air: Air
    rotor: RotorTable
    blade: BladeTable | None
    drive: Drive
    generator: GeneratorTable | None
    heater: Heater
    load: LoadTable
    vehicle: VehicleTable
    engine: EngineTable | None
    battery: BatteryTable | None
    trip: Trip
    wind_climate: WindClimate | None
    credit: Credit
    other_sources: OtherSources
    prices: Prices
    uncertainty: UncertaintyTable
    curves: RotorCurves | None
    measured: MeasuredPower | None
    torque_curve: TorqueCurve | None
    fuel_map: FuelMap | None
    gust: Gust
    mount: Mount | None
    bearing: Bearing | None
    blade_loads: BladeLoads | None
    linkage: Linkage | None
    measurement: Measurement
    schedule: Schedule | None = None
    profile: Profile | None = None
    warnings: tuple[str, ...] = field(default=())
    pitch_convention: PitchConvention = field(default_factory=PitchConvention)
    reasons: Mapping[str, str] = field(default_factory=dict)  # key -> why its default differs from the usual one

    @property
    def fastest_road_speed_m_s(self) -> float:
        """The road speed, or the greatest of the schedule."""
        if self.schedule is not None:
            return float(self.schedule.speed_m_s.max())
        return 0.0 if self.trip.road_speed is None else self.trip.road_speed.value

    def table(self, name: str) -> Table | None:
        """Return one of the scenario's tables by name, None where it has none."""
        found = getattr(self, name)
        assert found is None or isinstance(found, Table)
        return found


def load(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the scenario of a TOML file, with `overrides` ("trip.road_speed=65 mph") laid over it.

    Raises InputError with every fault that can be told at once.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    try:
        return _build(data, path.name, path.parent, problems)
    except InputError as error:
        raise InputError([_told_as_override(problem, overrides) for problem in error.problems]) from None


@dataclass(frozen=True)
class RotorOnly:
    """The rotor of a scenario by itself: its table, curves, pitch of the curves (degrees) and the air's density."""

    rotor: RotorTable
    curves: RotorCurves
    pitch_deg: float
    density_kg_m3: float


def load_rotor(path: Path, overrides: Sequence[str] = ()) -> RotorOnly:
    """Return only the rotor of a scenario file: [air], [rotor] and [blade] are read, other tables are not needed.

    Raises InputError, also for a rotor that is known only by measured watts.
    """
    data = _read_toml(path)
    problems = _apply(data, overrides)
    kept = {key: value for key, value in data.items() if key in ("air", "rotor", "blade")}
    unknown = [key for key in data if key not in TABLES and key not in TEXTS]
    problems += [Problem(path.name, key, "unknown key", f"the tables {', '.join(TABLES)}") for key in unknown]
    tables: dict[str, Table | None] = {"air": Air(), "rotor": None, "blade": None}
    for key, value in kept.items():
        if not isinstance(value, dict):
            problems.append(Problem(path.name, key, f"{shown(value)} is no table", f"a table [{key}]"))
            continue
        tables[key], faults = _validate(path.name, key, value)
        problems += faults
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if "rotor" not in kept:
        problems.append(Problem(path.name, "[rotor]", "missing", "a table [rotor] with diameter and curves or blade"))
    else:
        raw = kept["rotor"] if isinstance(kept["rotor"], dict) else {}
        problems += _rotor_either_or(path.name, raw, kept)
        if "measured_power" in raw:
            problems.append(
                Problem(path.name, "rotor.measured_power", "given", "curves or blade: measured watts have no curves")
            )
    curves, convention = None, PitchConvention()
    try:
        if not problems and isinstance(rotor, RotorTable) and isinstance(air, Air):
            if isinstance(blade, BladeTable):
                speed = _nominal_speed(data)
                curves, convention = _curves_of_blade(rotor, blade, air, path.parent, speed)
            elif rotor.curves:
                curves = read_curves(path.parent / rotor.curves)
    except InputError as error:
        problems += error.problems
    if problems or curves is None or not isinstance(rotor, RotorTable) or not isinstance(air, Air):
        raise InputError([_told_as_override(problem, overrides) for problem in _unique(problems)])
    from energy.air import density_kg_m3, standard_atmosphere

    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = float(density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value))
    dial = float(convention.setting_deg(curves.pitch_deg[:1])[0]) if rotor.pitch is None else rotor.pitch.value
    return RotorOnly(rotor, curves, float(convention.chord_angle_deg(np.asarray(dial))), density)


def _nominal_speed(data: Mapping[str, Any]) -> float:
    """Return the road speed of a scenario where it has a right one, else 0: it sets Reynolds numbers only."""
    trip = data.get("trip")
    if not isinstance(trip, dict):
        return 0.0
    table, _ = _validate("", "trip", trip)
    return table.road_speed.value if isinstance(table, Trip) and table.road_speed is not None else 0.0


def _told_as_override(problem: Problem, overrides: Sequence[str]) -> Problem:
    """Return the problem under "--set" where the faulty value came from there and not from the file."""
    keys = {text.partition("=")[0].strip() for text in overrides}
    if problem.key in keys or problem.key.partition(":")[0] in keys:
        return Problem("--set", problem.key, problem.read, problem.accepted)
    return problem


def toml_data(path: Path) -> dict[str, Any]:
    """Return what a TOML file holds; InputError for one that is missing, no TOML, or too large."""
    return _read_toml(path)


def _read_toml(path: Path) -> dict[str, Any]:
    name = str(path)
    try:
        if path.is_dir():
            inside = path / "scenario.toml"
            hint = f"a TOML file, perhaps {inside}" if inside.is_file() else "a TOML scenario file"
            raise InputError(Problem(name, "", "a folder", hint))
        raw = path.read_bytes()
    except FileNotFoundError:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")]) if path.parent.is_dir() else None
        accepted = f"an existing TOML file{f', perhaps {near}' if near else ''} (windtoll example FOLDER makes some)"
        raise InputError(Problem(name, "", "no such file", accepted)) from None
    except OSError as error:
        raise InputError(Problem(name, "", f"cannot be read ({error.strerror})", "a readable TOML file")) from None
    except ValueError:  # a NUL in the path
        raise InputError(Problem(shown(name), "", "no file name", "an existing TOML file")) from None
    if len(raw) > MOST_BYTES:
        raise InputError(Problem(name, "", f"{len(raw)} bytes", f"a scenario of at most {MOST_BYTES} bytes"))
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(Problem(name, f"byte {error.start}", "not UTF-8 text", "a TOML file saved as UTF-8")) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(Problem(name, "", f"not TOML: {error}", 'lines such as road_speed = "100 km/h"')) from None
    except RecursionError:
        raise InputError(Problem(name, "", "tables nested too deeply", "one level of tables")) from None


def _apply(data: dict[str, Any], overrides: Sequence[str]) -> list[Problem]:
    """Lay "table.key=value" settings over `data`; return the faulty ones."""
    problems: list[Problem] = []
    for text in overrides:
        key, sign, raw = text.partition("=")
        parts = key.strip().split(".")
        if not sign or not 1 <= len(parts) <= 2 or not all(re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", p) for p in parts):
            problems.append(
                Problem("--set", "", shown(text), '--set table.key="value unit", as in --set trip.road_speed="65 mph"')
            )
            continue
        target = data
        if len(parts) == 2:
            target = data.setdefault(parts[0], {})
            if not isinstance(target, dict):
                problems.append(Problem("--set", parts[0], "is not a table in the file", "table.key"))
                continue
        target[parts[-1]] = override_value(raw.strip())
    return problems


def override_value(raw: str) -> Any:
    """Return the value of a setting "table.key=value" as TOML would have it; text that is no TOML value is a text."""
    try:
        return tomllib.loads(f"x = {raw}")["x"] if "\n" not in raw else raw
    except (tomllib.TOMLDecodeError, RecursionError):
        return raw  # the shell has eaten the quotes: 65 mph


def _build(data: dict[str, Any], name: str, folder: Path, problems: list[Problem]) -> Scenario:
    texts = {key: data.pop(key, "") for key in TEXTS}
    problems += [
        Problem(name, k, f"{shown(v)} is no text", "a text in quotes")
        for k, v in texts.items()
        if not isinstance(v, str)
    ]
    problems += [
        Problem(name, k, f"{shown(v)} with control characters", "plain text")
        for k, v in texts.items()
        if isinstance(v, str) and not _is_plain(v)
    ]
    tables: dict[str, Table | None] = dict.fromkeys(TABLES)
    for key, value in data.items():
        if key not in TABLES:
            near = nearest(key, [*TABLES, *TEXTS]) or _table_that_has(key)
            hint = f"{near} (nearest)" if near else f"the tables {', '.join(TABLES)}"
            problems.append(Problem(name, shown(key).strip("'"), "unknown key", hint))
        elif not isinstance(value, dict):
            problems.append(Problem(name, key, f"{shown(value)} is no table", f"a table [{key}]"))
        else:
            table, faults = _validate(name, key, value)
            tables[key] = table
            problems += faults
    for key in MAY_BE_LEFT_OUT:
        if tables[key] is None and key not in data:
            tables[key] = TABLES[key]()
    problems += _either_or(name, data)
    files, faults = _read_files(data, folder)
    problems += faults
    curves, measured, torque_curve, fuel_map, schedule, profile = files
    convention = PitchConvention()
    rotor, blade, air = tables["rotor"], tables["blade"], tables["air"]
    if isinstance(rotor, RotorTable) and isinstance(blade, BladeTable) and isinstance(air, Air) and rotor.blade:
        trip = tables["trip"]
        speed = trip.road_speed.value if isinstance(trip, Trip) and trip.road_speed is not None else 0.0
        if schedule is not None:
            speed = schedule.mean_moving_speed_m_s
        try:
            curves, convention = _curves_of_blade(rotor, blade, air, folder, speed)
        except InputError as error:
            problems += [
                Problem(name if p.where == "scenario" else p.where, p.key, p.read, p.accepted) for p in error.problems
            ]
    if problems:
        raise InputError(_unique(problems))
    scenario = Scenario(
        name=name,
        title=str(texts["title"]),
        note=str(texts["note"]),
        **tables,  # type: ignore[arg-type]
        curves=curves,
        measured=measured,
        torque_curve=torque_curve,
        fuel_map=fuel_map,
        schedule=schedule,
        profile=profile,
        pitch_convention=convention,
    )
    problems = _cross_checks(scenario)
    if problems:
        raise InputError(problems)
    return _with_load_defaults(_widened_where_doubtful(replace(scenario, warnings=tuple(_warnings(scenario)))))


def _curves_of_blade(
    rotor: RotorTable, blade: BladeTable, air: Air, folder: Path, road_speed_m_s: float
) -> tuple[RotorCurves, PitchConvention]:
    """Return the curves computed from the blade's files, and what the pitch means."""
    from energy.air import (
        density_kg_m3,
        dynamic_viscosity_pa_s,
        rotor_air_speed_m_s,
        standard_atmosphere,
        wind_triangle,
    )
    from energy.blade_scenario import computed_curves, pitch_convention

    met = wind_triangle(road_speed_m_s, air.wind_speed.value, air.wind_from.value)
    speed = float(rotor_air_speed_m_s(met, 0.0, rotor.local_speed_factor.value))
    pressure = standard_atmosphere(air.altitude.value)[1] if air.pressure is None else air.pressure.value
    density = density_kg_m3(air.temperature.value, pressure, air.relative_humidity.value)
    viscosity = float(dynamic_viscosity_pa_s(air.temperature.value) / density)
    # Rounded, so that a change of weather or speed within 5 % finds the kept curves.
    curves = computed_curves(rotor, blade, folder, _rounded(speed), _rounded(viscosity))
    return to_rotor_curves(curves), pitch_convention(blade)


def _rounded(value: float) -> float:
    """Return a value rounded to steps of 5 %: Reynolds numbers matter by their order."""
    return math.exp(round(math.log(max(value, 1e-9)) / 0.05) * 0.05)


def _widened_where_doubtful(scenario: Scenario) -> Scenario:
    """Return the scenario with a wider range of rotor.power_factor where its curves deserve it.

    That is where the rotor works on stalled sections, or its polar is an estimate.
    """
    curves, key = scenario.curves, "power_factor"
    if curves is None or curves.stalled_torque_share is None or key in scenario.rotor.model_fields_set:
        return scenario
    from energy.blade import STALL_SHARE_LIMIT
    from energy.inputs import inputs_of
    from energy.ledger import turbine_at_work

    share = float(turbine_at_work(inputs_of(scenario)).stalled_torque_share)
    if share > STALL_SHARE_LIMIT:
        ends = (0.5, 2.0)
        reason = (
            f"{share:.0%} of the torque comes from stalled sections, where power from two-dimensional polars can be wrong "
            "by a factor of two (common practice, no source)"
        )
    elif scenario.blade is not None and scenario.blade.polar is None:
        ends = (0.55, 1.05)
        reason = (
            "curves of a polar estimated by formula; hand-made rotors reach power coefficients of 0.25 to 0.35 (common "
            "practice, no source)"
        )
    else:
        return scenario
    wide = scenario.rotor.model_copy(update={key: Uncertain(1.0, *ends, "triangular")})
    wide.model_fields_set.discard(key)  # the user did not set it: it stays an assumption
    return replace(scenario, rotor=wide, reasons={**scenario.reasons, f"rotor.{key}": reason})


def _with_load_defaults(scenario: Scenario) -> Scenario:
    """Return the scenario with the heat capacity and loss that go with load.kind, where the user gave none."""
    table = scenario.load
    if table.second_node == "walls" and table.loss is None:
        table = table.model_copy(update={"loss": Uncertain(0.0, 0.0, 0.0)})
        scenario = replace(scenario, load=table)
    if table.kind is None:
        return scenario
    from energy.heated_loads import load_of_kind

    litres = 0.0 if table.volume is None else table.volume.value * 1e3
    named = load_of_kind(table.kind, litres, full=table.filled.value, insulation_mm=table.insulation.value * 1e3)
    values = {
        "heat_capacity": (named.heat_capacity_j_k, named.capacity_source),
        "loss": (named.loss_w_k, named.loss_source),
    }
    left = {key: pair for key, pair in values.items() if key not in table.model_fields_set}
    filled = table.model_copy(
        update={key: Uncertain(r.value, r.low, r.high, "triangular") for key, (r, _) in left.items()}
    )
    filled.model_fields_set.difference_update(left)  # the user did not set them: they stay assumptions
    reasons = {f"load.{key}": f"{named.name}: {source}" for key, (_, source) in left.items()}
    return replace(scenario, load=filled, reasons={**scenario.reasons, **reasons})


def _is_plain(text: str) -> bool:
    """Return whether a text can be shown in a terminal: no escape sequences, at most line breaks."""
    return all(c.isprintable() or c in "\n\t" for c in text)


def _table_that_has(key: str) -> str | None:
    for table, model in TABLES.items():
        if key in model.model_fields:
            return f"{table}.{key}"
    return None


def _unique(problems: Sequence[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


def _validate(name: str, key: str, value: Mapping[str, Any]) -> tuple[Table | None, list[Problem]]:
    return validated(name, key, TABLES[key], value)


def validated(name: str, place: str, model: type[M], value: Mapping[str, Any]) -> tuple[M | None, list[Problem]]:
    """Return a table of a model from what TOML holds, or None and its faults, told at `place` of the file `name`."""
    try:
        return model(**{str(k): v for k, v in value.items()}), []
    except ValidationError as error:
        return None, [_problem(name, place, model, fault) for fault in error.errors(include_url=False)]


def _problem(name: str, table: str, model: type[Table], fault: ErrorDetails) -> Problem:
    """Return one of pydantic's faults in our words."""
    key = ".".join(str(part) for part in fault["loc"][:1])
    place = f"{table}.{key}" if key else table
    field_info = model.model_fields.get(key)
    extra = field_info.json_schema_extra if field_info else None
    spec = extra.get("spec") if isinstance(extra, dict) else None
    if fault["type"] == "extra_forbidden":
        near = nearest(key, model.model_fields)
        elsewhere = _table_that_has(key)
        hint = near or elsewhere
        accepted = f"{hint} (nearest)" if hint else f"the keys {', '.join(model.model_fields)}"
        return Problem(name, f"{table}.{shown(key, 40).strip(chr(39))}", "unknown key", accepted)
    if fault["type"] == "missing":
        meaning = spec.accepted() if isinstance(spec, Spec) else (field_info.description if field_info else "")
        return Problem(name, place, "missing", meaning or "")
    own = fault.get("ctx", {}).get("error")
    if isinstance(own, FieldError):
        return Problem(name, place, own.read, own.accepted)
    if fault["type"] == "literal_error":
        expected = str(fault["ctx"]["expected"])
        near = nearest(str(fault["input"]), re.findall(r"'([^']*)'", expected))
        return Problem(name, place, shown(fault["input"]), expected + (f" (nearest: {near})" if near else ""))
    return Problem(name, place, shown(fault["input"]), fault["msg"])


def _either_or(name: str, data: Mapping[str, Any]) -> list[Problem]:
    """Return faults of presence: what must be there, and what excludes what. Works on the raw tables."""

    def table(key: str) -> Mapping[str, Any]:
        found = data.get(key, {})
        return found if isinstance(found, dict) else {}

    problems = []
    for key, words in (
        ("rotor", "diameter and curves"),
        ("vehicle", "mass and drag_area"),
        ("trip", "road_speed or schedule"),
    ):
        if key not in data:
            problems.append(Problem(name, f"[{key}]", "missing", f"a table [{key}] with at least {words}"))
    if ("engine" in data) == ("battery" in data):
        read = "both given" if "engine" in data else "missing"
        problems.append(Problem(name, "[engine]", read, "either a table [engine] or a table [battery]"))
    rotor, vehicle, engine = table("rotor"), table("vehicle"), table("engine")
    problems += _rotor_either_or(name, rotor, data)
    if "measured_power" not in rotor:
        if "generator" not in data:
            problems.append(
                Problem(
                    name, "[generator]", "missing", "a table [generator] with voltage_constant and winding_resistance"
                )
            )
        if "resistance" not in table("heater"):
            problems.append(Problem(name, "heater.resistance", "missing", 'the element, such as "12 ohm"'))
    if "trip" in data:
        problems += _trip_problems(name, table("trip"))
    coastdown = [key for key in ("coastdown_a", "coastdown_c") if key in vehicle]
    if "vehicle" in data and len(coastdown) == 1:
        problems.append(
            Problem(name, "vehicle.coastdown_a", "coastdown_a and coastdown_c go together", "both, or drag_area")
        )
    if "vehicle" in data and bool(coastdown) == ("drag_area" in vehicle):
        read = "both given" if coastdown else "missing"
        problems.append(
            Problem(
                name, "vehicle.drag_area", read, "either drag_area or the coast-down coefficients coastdown_a, _b, _c"
            )
        )
    if "engine" in data:
        if ("peak_torque" in engine) == ("torque_curve" in engine):
            read = "both given" if "peak_torque" in engine else "missing"
            problems.append(Problem(name, "engine.peak_torque", read, "either peak_torque or torque_curve"))
        by_ratio = [key for key in ("gear_ratios", "final_drive_ratio", "tyre_radius") if key in engine]
        if ("speed_per_1000_rpm" in engine) == bool(by_ratio):
            read = "both given" if by_ratio else "missing"
            problems.append(
                Problem(
                    name,
                    "engine.speed_per_1000_rpm",
                    read,
                    "either speed_per_1000_rpm or gear_ratios, final_drive_ratio and tyre_radius",
                )
            )
        elif 0 < len(by_ratio) < 3:
            problems.append(
                Problem(
                    name,
                    "engine.gear_ratios",
                    f"only {', '.join(by_ratio)} given",
                    "gear_ratios, final_drive_ratio and tyre_radius together",
                )
            )
    problems += _load_either_or(name, table("load"))
    if "pressure" in table("air") and "altitude" in table("air"):
        problems.append(Problem(name, "air.altitude", "given beside pressure", "either pressure or altitude"))
    return problems


def _load_either_or(name: str, load: Mapping[str, Any]) -> list[Problem]:
    """Return faults of presence in [load]."""
    problems = []

    def missing(key: str, accepted: str) -> None:
        problems.append(Problem(name, f"load.{key}", "missing", accepted))

    if load.get("kind") in ("water_tank", "insulated_box") and "volume" not in load:
        missing("volume", f'how much the {load["kind"]} holds, such as "30 L" or "8 gal"')
    if load.get("second_node") in ("element", "walls"):
        walls = ("second_loss",) if load["second_node"] == "walls" else ()
        for key in ("second_heat_capacity", "second_coupling", *walls):
            if key not in load:
                missing(key, f'with second_node = "{load["second_node"]}", a value such as {_load_example(key)}')
    of_contents = [key for key in ("contents", "contents_specific_heat", "contents_water_share") if key in load]
    accepted = "one of contents (a name), contents_specific_heat and contents_water_share, with contents_mass"
    if len(of_contents) > 1:
        problems.append(Problem(name, f"load.{of_contents[1]}", f"given beside {of_contents[0]}", accepted))
    if of_contents and "contents_mass" not in load:
        missing("contents_mass", accepted)
    if "contents_mass" in load and not of_contents:
        missing("contents", accepted)
    return problems


def _load_example(key: str) -> str:
    return '"1.2 kJ/K"' if key.endswith("capacity") else '"8 W/K"'


def _rotor_either_or(name: str, rotor: Mapping[str, Any], data: Mapping[str, Any]) -> list[Problem]:
    problems = []
    shapes = [key for key in ("curves", "blade", "measured_power") if key in rotor]
    if "rotor" in data and len(shapes) != 1:
        read = f"{' and '.join(shapes)} given" if shapes else "missing"
        accepted = "one of curves, blade and measured_power: a CSV file beside the scenario"
        problems.append(Problem(name, "rotor.curves", read, accepted))
    if "blade" in rotor and "blade" not in data:
        problems.append(
            Problem(
                name,
                "[blade]",
                "missing",
                "a table [blade] with number_of_blades and polar (or camber, or tube_radius)",
            )
        )
    if "blade" in data and "blade" not in rotor and "rotor" in data:
        problems.append(
            Problem(name, "rotor.blade", "missing beside [blade]", "the CSV file with radius, chord and twist")
        )
    blade = data.get("blade")
    if isinstance(blade, dict):
        sections = [key for key in ("polar", "camber", "tube_radius") if key in blade]
        if len(sections) != 1:
            read = f"{' and '.join(sections)} given" if sections else "missing"
            accepted = "one of polar (CSV), camber (bent plate) and tube_radius (blade cut from a tube)"
            problems.append(Problem(name, "blade.polar", read, accepted))
    return problems


_Files = tuple[
    RotorCurves | None, MeasuredPower | None, TorqueCurve | None, FuelMap | None, Schedule | None, Profile | None
]


def _read_files(data: Mapping[str, Any], folder: Path) -> tuple[_Files, list[Problem]]:
    problems: list[Problem] = []

    def read(table: str, key: str, reader: Any) -> Any:
        entry = data.get(table)
        value = entry.get(key) if isinstance(entry, dict) else None
        if not isinstance(value, str):
            return None
        try:
            return reader(folder / value)
        except InputError as error:
            problems.extend(
                Problem(p.where, f"{table}.{key}: {p.key}" if p.key else f"{table}.{key}", p.read, p.accepted)
                for p in error.problems
            )
        except ValueError:  # a NUL in the name
            problems.append(Problem(shown(value), f"{table}.{key}", "no file name", "a CSV file beside the scenario"))
        return None

    files = (
        read("rotor", "curves", read_curves),
        read("rotor", "measured_power", read_measured_power),
        read("engine", "torque_curve", read_torque_curve),
        read("engine", "fuel_map", None if not isinstance(data.get("engine"), dict) else _map_reader(data["engine"])),
        read("trip", "schedule", read_schedule),
        read("trip", "profile", read_profile),
    )
    return files, problems


def read_measured_power(path: Path) -> MeasuredPower:
    """Return measured watts over air speed; columns air_speed_*, electrical_power_*, optional thrust_*, rotor_speed_*."""
    data = read_table(
        path, {"air_speed": "m/s", "electrical_power": "W"}, optional={"thrust": "N", "rotor_speed": "rad/s"}
    )
    increasing(path, "air_speed", data["air_speed"])
    for name, values in data.items():
        if (values < 0).any():
            raise InputError(Problem(path.name, f"column {name}", f"{values.min():g}", "no negative value"))
    return MeasuredPower(data["air_speed"], data["electrical_power"], data.get("thrust"), data.get("rotor_speed"))


def read_torque_curve(path: Path) -> TorqueCurve:
    """Return the greatest torque over engine speed; columns engine_speed_rpm, torque_nm (other units in the header)."""
    data = read_table(path, {"engine_speed": "rad/s", "torque": "N*m"})
    increasing(path, "engine_speed", data["engine_speed"])
    if (data["torque"] <= 0).any() or data["engine_speed"][0] < 0:
        raise InputError(Problem(path.name, "column torque", f"{data['torque'].min():g} N*m", "positive torques"))
    return TorqueCurve(data["engine_speed"], data["torque"])


def _map_reader(engine: Mapping[str, Any]) -> Any:
    def reader(path: Path) -> FuelMap:
        fuel = FUELS.get(str(engine.get("fuel")))
        return read_fuel_map(path, fuel.heating_value_j_per_kg if fuel else 42e6)

    return reader


def read_fuel_map(path: Path, heating_value_j_per_kg: float) -> FuelMap:
    """Return a brake-specific map as fuel power; columns engine_speed_rpm, torque_nm, fuel_g_kwh, every pair once.

    Raises InputError for holes in the grid, and where more torque would need less fuel at the same speed.
    """
    data = read_table(path, {"engine_speed": "rad/s", "torque": "N*m", "fuel": "kg/J"}, least_rows=4)
    speeds, torques = np.unique(data["engine_speed"]), np.unique(data["torque"])
    if len(speeds) < 2 or len(torques) < 2:
        raise InputError(Problem(path.name, "", "one speed or one torque only", "at least two of each"))
    if speeds[0] <= 0 or torques[0] <= 0 or (data["fuel"] <= 0).any():
        raise InputError(Problem(path.name, "", "a speed, torque or consumption of 0 or less", "positive values only"))
    power = np.full((len(speeds), len(torques)), np.nan)
    row, column = np.searchsorted(speeds, data["engine_speed"]), np.searchsorted(torques, data["torque"])
    if len(data["fuel"]) != power.size or len(set(zip(row.tolist(), column.tolist(), strict=True))) != power.size:
        raise InputError(
            Problem(
                path.name,
                "",
                f"{len(data['fuel'])} rows for {len(speeds)} speeds and {len(torques)} torques",
                "every torque at every speed, each once",
            )
        )
    power[row, column] = data["fuel"] * heating_value_j_per_kg * data["engine_speed"] * data["torque"]
    shaft = speeds[:, None] * torques
    if (power < shaft / 0.65).any():
        i, j = np.unravel_index(np.argmin(power / shaft), power.shape)
        raise InputError(
            Problem(
                path.name,
                f"{speeds[i] * 30 / np.pi:.0f} rpm, {torques[j]:.0f} N*m",
                f"an efficiency of {shaft[i, j] / power[i, j]:.2f}",
                "at most 0.65",
            )
        )
    if (np.diff(power, axis=1) <= 0).any():
        i, j = np.argwhere(np.diff(power, axis=1) <= 0)[0]
        raise InputError(
            Problem(
                path.name,
                f"{speeds[i] * 30 / np.pi:.0f} rpm",
                f"more torque than {torques[j]:.0f} N*m with less fuel",
                "fuel that rises with torque",
            )
        )
    return FuelMap(speeds, torques, power)


def _cross_checks(scenario: Scenario) -> list[Problem]:
    problems = []
    curves, pitch = scenario.curves, scenario.rotor.pitch
    if curves is not None and len(curves.pitch_deg) > 1:
        convention = scenario.pitch_convention
        ends = sorted(float(v) for v in convention.setting_deg(curves.pitch_deg[[0, -1]]))
        accepted = f"a pitch within the curves, {ends[0]:g} to {ends[1]:g} deg"
        if pitch is None:
            problems.append(Problem(scenario.name, "rotor.pitch", "missing", accepted))
        elif not ends[0] - 1e-9 <= pitch.value <= ends[1] + 1e-9:
            problems.append(Problem(scenario.name, "rotor.pitch", f"{pitch.value:g} deg", accepted))
    problems += _pair_problems(scenario)
    engine = scenario.engine
    if engine is not None:
        for key, falling in (("speed_per_1000_rpm", False), ("gear_ratios", True)):
            entries = getattr(engine, key)
            if entries is not None:
                values = [entry.value for entry in entries]
                if values != sorted(values, reverse=falling) or len(set(values)) != len(values):
                    problems.append(
                        Problem(scenario.name, f"engine.{key}", "not in order", "lowest gear first, each gear once")
                    )
    return problems + _garage_checks(scenario)


def _garage_checks(scenario: Scenario) -> list[Problem]:
    """Return faults between the keys that the loads need."""
    problems = []
    blades, mount, linkage, bearing = scenario.blade_loads, scenario.mount, scenario.linkage, scenario.bearing
    radius = scenario.rotor.diameter.value / 2
    if blades is not None:
        count = blades.number_of_blades
        if count is not None and count.value != round(count.value):
            problems.append(
                Problem(scenario.name, "blade_loads.number_of_blades", f"{count.value:g}", "a whole number")
            )
        if count is None and scenario.blade is None:
            problems.append(
                Problem(scenario.name, "blade_loads.number_of_blades", "missing", "the number of blades, such as 3")
            )
        for one, other in (("mass", "centre_of_mass"), ("piece_masses", "piece_radii")):
            if (getattr(blades, one) is None) != (getattr(blades, other) is None):
                problems.append(
                    Problem(scenario.name, f"blade_loads.{one}", f"without {other}, or the other way", "both")
                )
        if blades.mass is not None and blades.piece_masses is not None:
            problems.append(Problem(scenario.name, "blade_loads.mass", "given beside piece_masses", "either of them"))
        masses, radii = blades.piece_masses or (), blades.piece_radii or ()
        if masses and radii and len(masses) != len(radii):
            problems.append(
                Problem(
                    scenario.name, "blade_loads.piece_radii", f"{len(radii)} radii for {len(masses)} masses", "one each"
                )
            )
        if masses and not sum(entry.value for entry in masses) > 0:
            problems.append(
                Problem(scenario.name, "blade_loads.piece_masses", "all zero", "a blade that weighs something")
            )
        for key, values in (
            ("centre_of_mass", [blades.centre_of_mass]),
            ("piece_radii", radii),
            ("root_radius", [blades.root_radius]),
        ):
            for entry in values:
                if entry is not None and entry.value > radius:
                    problems.append(
                        Problem(
                            scenario.name,
                            f"blade_loads.{key}",
                            f"{entry.value:g} m",
                            f"at most the rotor radius, {radius:g} m",
                        )
                    )
    if mount is not None and mount.bolt_distances is not None and not any(d.value > 0 for d in mount.bolt_distances):
        problems.append(
            Problem(scenario.name, "mount.bolt_distances", "all zero", "at least one bolt ahead of the rear edge")
        )
    if linkage is not None and linkage.travel_from.value >= linkage.travel_to.value:
        problems.append(
            Problem(scenario.name, "linkage.travel_to", f"{linkage.travel_to.value:g} deg", "above travel_from")
        )
    if linkage is not None:
        square = linkage.square_at
        middle = (linkage.travel_from.value + linkage.travel_to.value) / 2 if square is None else square.value
        if max(linkage.travel_to.value - middle, middle - linkage.travel_from.value) > 80:
            problems.append(
                Problem(
                    scenario.name,
                    "linkage.square_at",
                    f"{middle:g} deg",
                    "a right angle within 80 deg of both ends of the travel: beyond that the rod lies dead on the horn",
                )
            )
    if bearing is not None and bearing.kind == "tapered_roller":
        problems += [
            Problem(
                scenario.name, f"bearing.{key}", "missing", "the factor of a tapered roller bearing's maker's sheet"
            )
            for key in ("axial_factor", "static_axial_factor")
            if getattr(bearing, key) is None
        ]
    return problems


def _trip_problems(name: str, trip: Mapping[str, Any]) -> list[Problem]:
    """Return faults of what stands together in [trip]."""
    problems = []
    if ("road_speed" in trip) == ("schedule" in trip):
        read = "both given" if "schedule" in trip else "missing"
        problems.append(
            Problem(
                name,
                "trip.road_speed",
                read,
                'either road_speed, such as "100 km/h", or schedule, a CSV of speed over time',
            )
        )
    if "schedule" not in trip:
        problems += [
            Problem(name, f"trip.{key}", "given without a schedule", "trip.schedule, a CSV of speed over time")
            for key in ("profile", "works", "works_speed", "longest_idle")
            if key in trip
        ]
    else:
        problems += [
            Problem(name, f"trip.{key}", "given beside a schedule", "the schedule alone: it tells this itself")
            for key in ("acceleration", "distance")
            if key in trip
        ]
        by_speed = trip.get("works") in ("below_speed", "above_speed")
        if by_speed != ("works_speed" in trip):
            problems.append(
                Problem(
                    name,
                    "trip.works_speed",
                    "missing" if by_speed else "given",
                    'a speed such as "50 km/h" together with works = "below_speed" or "above_speed"',
                )
            )
    return problems


def _pair_problems(scenario: Scenario) -> list[Problem]:
    """Return faults of the correlated pairs: keys that do not exist or hold no quantity, pairs that contradict others."""
    quantities = [
        f"{table}.{key}"
        for table, model in TABLES.items()
        for key, info in model.model_fields.items()
        if isinstance(info.json_schema_extra, dict) and isinstance(info.json_schema_extra.get("spec"), Spec)
    ]
    pairs = scenario.uncertainty.correlated
    named = list(dict.fromkeys(key for pair in pairs for key in (pair.first, pair.second)))
    problems = [
        Problem(
            scenario.name,
            "uncertainty.correlated",
            f"unknown key {shown(key)}",
            f"{near} (nearest)" if (near := nearest(key, quantities)) else "a key such as rotor.power_factor",
        )
        for key in named
        if key not in quantities
    ]
    matrix = np.eye(len(named))
    for pair in pairs:
        i, j = named.index(pair.first), named.index(pair.second)
        matrix[i, j] = matrix[j, i] = pair.coefficient.value
        if i == j:
            problems.append(Problem(scenario.name, "uncertainty.correlated", f"{pair.first} twice", "two inputs"))
    if not problems and pairs and np.linalg.eigvalsh(matrix)[0] < 1e-6:
        problems.append(
            Problem(
                scenario.name,
                "uncertainty.correlated",
                "coefficients that contradict each other",
                "a positive definite set of correlations",
            )
        )
    return problems


def _warnings(scenario: Scenario) -> list[str]:
    found = []
    if (
        scenario.schedule is not None
        and scenario.wind_climate is not None
        and "wind_speed" in scenario.air.model_fields_set
    ):
        found.append("air.wind_speed is given, so the trip does not use wind_climate")
    diameter = scenario.rotor.diameter.value
    if diameter > 10:
        found.append(f"rotor.diameter is {diameter:g} m: wider than 10 m on a vehicle looks like a slip of the pen")
    width = scenario.vehicle.width
    if width is not None and diameter > width.value:
        found.append(f"the rotor ({diameter:g} m) stands out beyond the vehicle ({width.value:g} m wide)")
    elif 2.55 < diameter <= 10:
        found.append(f"the rotor ({diameter:g} m) is wider than 2.55 m, the greatest vehicle width in many countries")
    if scenario.vehicle.mass.value < 150:
        found.append(f"vehicle.mass is {scenario.vehicle.mass.value:g} kg: light for a road vehicle")
    return found
