"""The vehicle, its engine or battery, and how it is driven."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Table, quantity_list
from vehicle.quantity import Uncertain, Way, quantity


class VehicleTable(Table):
    """The vehicle's road load, by coast-down coefficients or by drag area and tyres."""

    mass: Uncertain = quantity(
        "kg",
        "mass on the road, with load and people, without the turbine",
        plausible=("150 kg", "40000 kg"),
        required=True,
        above=0,
        at_most=100_000,
        measured=Way(20.0, "a weighbridge"),
    )
    drag_area: Uncertain | None = quantity(
        "m**2",
        "drag coefficient times frontal area, Cd·A",
        plausible=("0.2 m^2", "12 m^2"),
        above=0,
        at_most=30,
        called="the vehicle's drag area",
        measured=Way(0.04, "a coast-down", relative=True),
        such_as='"1.3 m^2" or "14 ft^2"',
    )
    rolling_resistance: Uncertain = quantity(
        "dimensionless",
        "rolling resistance coefficient of the tyres",
        plausible=(0.003, 0.06),
        default=0.010,
        low=0.007,
        high=0.017,
        above=0,
        at_most=0.2,
        source=f"passenger tyres 0.007 to 0.017, about 0.010 on average: {NO_SOURCE}",
        measured=Way(0.0006, "a coast-down"),
    )
    coastdown_a: Uncertain | None = quantity("N", "coast-down coefficient A", plausible=("0 N", "4000 N"), at_least=0)
    coastdown_b: Uncertain | None = quantity("N*s/m", "coast-down coefficient B", plausible=("-15 N*s/m", "40 N*s/m"))
    coastdown_c: Uncertain | None = quantity(
        "N*s**2/m**2", "coast-down coefficient C", plausible=("0.08 N*s^2/m^2", "8 N*s^2/m^2"), above=0
    )
    coastdown_air_density: Uncertain = quantity(
        "kg/m**3",
        "air density in the coast-down test",
        plausible=("0.8 kg/m^3", "1.45 kg/m^3"),
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
        plausible=(1, 1.3),
        default=1.03,
        low=1.02,
        high=1.06,
        at_least=1,
        at_most=2,
        source="3 % where not measured: Regulation (EU) 2017/1151, Annex XXI, Sub-Annex 4, 2.5.1; range, 2 to 6 %: "
        f"{NO_SOURCE}",
    )
    width: Uncertain | None = quantity(
        "m", "vehicle width: a rotor wider than that is reported", plausible=("0.5 m", "3.2 m"), above=0, at_most=20
    )


class EngineTable(Table):
    """The combustion engine with its gears."""

    fuel: Literal["petrol", "e10", "diesel", "lpg"] = Field(description="petrol, e10, diesel or lpg")
    displacement: Uncertain = quantity(
        "m**3",
        "engine displacement",
        plausible=("0.05 L", "16 L"),
        us="cubic inch",
        required=True,
        above=0,
        at_most=0.1,
        such_as='"2.2 L" or "135 cubic inch"',
    )
    peak_torque: Uncertain | None = quantity("N*m", "peak torque", plausible=("5 N*m", "3500 N*m"), above=0)
    torque_curve: str | None = Field(
        default=None, description="CSV of the torque at full throttle: columns engine_speed_rpm, torque_nm"
    )
    fuel_map: str | None = Field(
        default=None,
        description="CSV of brake-specific consumption: columns engine_speed_rpm, torque_nm, fuel_g_kwh, every torque "
        "at every speed once; outside it the fuel is extrapolated and the answer says so",
    )
    indicated_efficiency: Uncertain | None = quantity(
        "dimensionless",
        "share of the next drop of fuel that becomes work",
        plausible=(0.2, 0.55),
        above=0,
        at_most=0.65,
        called="the engine's efficiency",
        measured=Way(0.012, "a logged fuel flow at two known loads", of="of the fuel's energy"),
        such_as='"42 %" or 0.42',
    )
    friction_mean_pressure: Uncertain | None = quantity(
        "Pa",
        "friction and pumping as a mean effective pressure",
        plausible=("20 kPa", "500 kPa"),
        us="psi",
        at_least=0,
        at_most=1e6,
        called="the engine's friction",
        measured=Way(15e3, "a logged fuel flow at idle"),
        such_as='"145 kPa"',
    )
    idle_speed: Uncertain = quantity(
        "rad/s",
        "idle speed",
        plausible=("300 rpm", "1500 rpm"),
        default="750 rpm",
        low="650 rpm",
        high="850 rpm",
        above=0,
        source=NO_SOURCE,
        such_as='"750 rpm"',
    )
    speed_per_1000_rpm: tuple[Uncertain, ...] | None = quantity_list(
        "m/s",
        "road speed at 1000 rpm of the engine in each gear, lowest gear first",
        plausible=("2 km/h", "90 km/h"),
        above=0,
        such_as='"8 km/h" or "5 mph"',
    )
    gear_ratios: tuple[Uncertain, ...] | None = quantity_list(
        "dimensionless",
        "engine turns per output-shaft turn in each gear, lowest gear first",
        plausible=(0.4, 20),
        above=0,
        such_as="3.6",
    )
    final_drive_ratio: Uncertain | None = quantity(
        "dimensionless", "output-shaft turns per wheel turn", plausible=(0.8, 12), above=0, such_as="3.7"
    )
    tyre_radius: Uncertain | None = quantity(
        "m", "rolling radius of the driven tyres", plausible=("0.15 m", "0.65 m"), us="inch", above=0
    )
    drivetrain_efficiency: Uncertain = quantity(
        "dimensionless",
        "efficiency of the gear meshes from flywheel to wheels: the part of the loss that grows with torque",
        plausible=(0.6, 1),
        default="96.5 %",
        low="94.5 %",
        high="98 %",
        above=0,
        at_most=1,
        source=f"one or two gear meshes and a final drive: {NO_SOURCE}; an axle alone 95 to 97 %",
        measured=Way(0.015, "a roller test bench", of="of the engine's power"),
    )
    drivetrain_spin_force: Uncertain = quantity(
        "N",
        "drag of oil and seals in gearbox and axle whatever the torque, as a force at the wheels; 0 with coast-down "
        "coefficients, which hold it",
        plausible=("0 N", "600 N"),
        default="25 N",
        low="10 N",
        high="50 N",
        at_least=0,
        at_most=2000,
        source=f"{NO_SOURCE}: with the meshes 92 % overall at 90 km/h and 12 kW",
        such_as='"25 N" or "6 lbf"',
    )
    lowest_driving_speed: Uncertain = quantity(
        "rad/s",
        "engine speed below which one shifts down",
        plausible=("500 rpm", "3000 rpm"),
        default="1200 rpm",
        low="1000 rpm",
        high="1500 rpm",
        above=0,
        source=NO_SOURCE,
    )
    highest_speed: Uncertain = quantity(
        "rad/s",
        "highest engine speed",
        plausible=("1500 rpm", "15000 rpm"),
        default="5500 rpm",
        low="4500 rpm",
        high="6500 rpm",
        above=0,
        source=NO_SOURCE,
    )
    overrun_cut_off: bool = Field(default=True, description="fuel is cut while the wheels drive the engine")
    runs_when_parked: bool = Field(default=False, description="the engine idles while the vehicle stands")
    accessory_power: Uncertain = quantity(
        "W",
        "mechanical power of alternator, pumps and fan (air conditioning on top), warm and idling",
        plausible=("0 W", "15 kW"),
        default="500 W",
        low="200 W",
        high="1000 W",
        at_least=0,
        at_most=50_000,
        source=f"about 350 W on board ({NO_SOURCE}) through an alternator of 67 % (EU 2017/785)",
        such_as='"500 W" or "0.7 hp"',
    )
    torque_follows_air_density: Uncertain | None = quantity(
        "dimensionless",
        "how far peak torque falls with air density: 1 without turbocharger, near 0 with one",
        plausible=(0, 1.2),
        at_least=0,
        at_most=1.2,
    )
    full_load_enrichment: Uncertain | None = quantity(
        "dimensionless",
        "share of fuel more at full torque, growing from none at nine tenths of it",
        plausible=(0, 0.4),
        at_least=0,
        at_most=0.5,
        such_as='"10 %" or 0.1',
    )
    converter_slip: Uncertain = quantity(
        "dimensionless",
        "slip of a torque converter while it is not locked (10 to 20 % in town)",
        plausible=(0, 0.4),
        default="0 %",
        low="0 %",
        high="10 %",
        at_least=0,
        at_most=0.6,
        source=f"a manual gearbox or a locked converter; range: {NO_SOURCE}",
        such_as='"10 %" or 0.1',
    )
    converter_locks_above: Uncertain = quantity(
        "m/s",
        "road speed above which the torque converter is locked",
        plausible=("0 m/s", "40 m/s"),
        default="50 km/h",
        low="30 km/h",
        high="70 km/h",
        at_least=0,
        source=NO_SOURCE,
        such_as='"50 km/h" or "30 mph"',
    )


class BatteryTable(Table):
    """A battery-electric drive instead of an engine."""

    drive_efficiency: Uncertain = quantity(
        "dimensionless",
        "pack to wheels",
        plausible=(0.4, 0.98),
        default="85 %",
        low="78 %",
        high="91 %",
        above=0,
        at_most=1,
        source=NO_SOURCE,
    )
    regeneration_efficiency: Uncertain = quantity(
        "dimensionless",
        "wheels to pack",
        plausible=(0, 0.95),
        default="70 %",
        low="55 %",
        high="82 %",
        at_least=0,
        at_most=1,
        source=NO_SOURCE,
    )
    regeneration_limit: Uncertain = quantity(
        "W",
        "maximum power at the wheels that can be taken back",
        plausible=("0 kW", "400 kW"),
        default="50 kW",
        low="20 kW",
        high="80 kW",
        at_least=0,
        source=NO_SOURCE,
        such_as='"50 kW"',
    )
    auxiliary_power: Uncertain = quantity(
        "W",
        "lights, pumps, electronics",
        plausible=("0 kW", "10 kW"),
        default="300 W",
        low="150 W",
        high="600 W",
        at_least=0,
        source=NO_SOURCE,
        such_as='"300 W"',
    )
    charging_efficiency: Uncertain = quantity(
        "dimensionless",
        "mains to pack through charger and cells, for money and for what the mains supply",
        plausible=(0.5, 1),
        default="88 %",
        low="80 %",
        high="94 %",
        above=0,
        at_most=1,
        source=NO_SOURCE,
    )


class TripTable(Table):
    """How it is driven, and what it is compared with."""

    road_speed: Uncertain | None = quantity(
        "m/s",
        "road speed of a steady drive (or a schedule instead)",
        plausible=("0 km/h", "180 km/h"),
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
        description="when the turbine works on a schedule; at other times it is stowed. braking_or_descending: while "
        "the road or the vehicle's momentum drives the wheels",
    )
    works_speed: Uncertain | None = quantity(
        "m/s",
        "the road speed of below_speed and above_speed",
        plausible=("3 km/h", "180 km/h"),
        above=0,
        at_most=100,
        such_as='"50 km/h" or "30 mph"',
    )
    longest_idle: Uncertain = quantity(
        "s",
        "stops on a schedule through which the engine idles; in longer ones it is off",
        plausible=("0 min", "120 min"),
        default="5 min",
        low="2 min",
        high="10 min",
        at_least=0,
        source=NO_SOURCE,
        such_as='"5 min"',
    )
    grade: Uncertain = quantity(
        "dimensionless",
        "rise over run, negative downhill",
        plausible=(-0.25, 0.25),
        default="0 %",
        at_least=-0.4,
        at_most=0.4,
        source="a flat road",
        such_as='"6 %" or 0.06',
        measured=Way(0.001, "a map or a level", of="of grade"),
    )
    acceleration: Uncertain = quantity(
        "m/s**2",
        "acceleration along the road",
        plausible=("-4 m/s^2", "4 m/s^2"),
        default="0 m/s^2",
        at_least=-10,
        at_most=10,
        source="a steady speed",
    )
    distance: Uncertain | None = quantity(
        "m",
        "length of the trip, for totals",
        plausible=("10 m", "5000 km"),
        us="mile",
        above=0,
        such_as='"40 km" or "25 mi"',
    )
    compared_with: Literal["absent", "stowed"] = Field(
        default="absent",
        description="the trip without: turbine absent (left at home) or stowed (carried, blades still)",
    )
