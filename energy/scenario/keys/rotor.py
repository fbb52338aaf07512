"""The rotor, its blade, and what it drives: belt and generator."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Table, quantity_list
from vehicle.quantity import Uncertain, Way, quantity


class RotorTable(Table):
    """The rotor and how it sits on the vehicle."""

    diameter: Uncertain = quantity(
        "m", "rotor diameter", plausible=("0.3 m", "6 m"), required=True, above=0, measured=Way(0.01, "a tape measure")
    )
    curves: str | None = Field(default=None, description="CSV of power (and thrust) coefficient over tip-speed ratio")
    blade: str | None = Field(
        default=None, description="CSV of the blade's radius, chord and twist, with a table [blade]"
    )
    measured_power: str | None = Field(default=None, description="CSV of measured electrical watts over air speed")
    pitch: Uncertain | None = quantity(
        "deg",
        "blade pitch, positive towards feather (with [blade]: as its dial reads)",
        plausible=("-110 deg", "110 deg"),
        at_least=-180,
        at_most=180,
        measured=Way(0.3, "a protractor at the blade"),
    )
    turbine_mass: Uncertain = quantity(
        "kg",
        "mass of rotor, generator and mount together",
        plausible=("2 kg", "400 kg"),
        default="40 kg",
        low="20 kg",
        high="80 kg",
        at_least=0,
        source=NO_SOURCE,
        measured=Way(1.0, "a scale"),
        called="the turbine's mass",
    )
    local_speed_factor: Uncertain = quantity(
        "dimensionless",
        "air speed where the rotor sits over that of the free air (roof speed-up above 1, shelter below); working and "
        "stowed blades feel it, and above 1 their drag on the vehicle is their own force times this factor",
        plausible=(0.02, 1.5),
        default=1.0,
        low=0.85,
        high=1.1,
        above=0,
        at_most=1.5,
        source=f"free air; range: {NO_SOURCE}",
        called="the air speed where the rotor sits",
        measured=Way(0.03, "two anemometers: one on the mount, one in free air", of="of the free air speed"),
        such_as="0.9",
    )
    mount_speed_factor: Uncertain | None = quantity(
        "dimensionless",
        "air speed where mount, mast and generator sit over that of the free air, as local_speed_factor; left out: "
        "that of the rotor, with a range that reaches free air",
        plausible=(0.02, 1.5),
        above=0,
        at_most=1.5,
        called="the air speed where the mount sits",
        measured=Way(0.03, "two anemometers: one half-way up the mount, one in free air", of="of the free air speed"),
    )
    interaction_factor: Uncertain = quantity(
        "dimensionless",
        "drag that the vehicle feels over the rotor's own thrust (the interaction of rotor and body)",
        plausible=(0.5, 2),
        default=1.0,
        low=0.85,
        high=1.2,
        at_least=0.3,
        at_most=3,
        source=f"no interaction; range: {NO_SOURCE}",
        called="the interaction of rotor and body drag",
        measured=Way(0.08, "a road test with the rotor working and stowed", of="of the rotor's own thrust"),
    )
    yaw_exponent: Uncertain = quantity(
        "dimensionless",
        "n in power ~ cos^n of the yaw angle",
        plausible=(0.5, 5),
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
        "m",
        "height of the hub above ground, used with air.wind_measured_at",
        plausible=("0.3 m", "20 m"),
        above=0,
        such_as='"2.4 m" or "8 ft"',
    )
    power_factor: Uncertain = quantity(
        "dimensionless",
        "real over tabulated or computed power coefficient",
        plausible=(0.1, 2.5),
        default=1.0,
        low=0.8,
        high=1.1,
        above=0,
        at_most=3,
        source=f"the curves as they are; range: {NO_SOURCE}, hand-made blades rather fall short",
        called="the real rotor's power",
        measured=Way(0.04, "a wattmeter at a known air speed", of="of the power by its curves"),
        such_as="0.9",
    )
    thrust_factor: Uncertain = quantity(
        "dimensionless",
        "real over tabulated or computed thrust coefficient",
        plausible=(0.2, 2.5),
        default=1.0,
        low=0.85,
        high=1.15,
        above=0,
        at_most=3,
        source=f"the curves as they are; range: {NO_SOURCE}",
        called="the real rotor's thrust",
        measured=Way(0.05, "a load cell under the mount", of="of the thrust by its curves"),
    )
    thrust_in_stall: Uncertain = quantity(
        "dimensionless",
        "k in thrust ~ 1 + k (1 - Cp/best)^3 below the best tip-speed ratio, used only with curves that have no "
        "thrust_coefficient: how much more thrust a stalled rotor has than its power lets expect",
        plausible=(0, 10),
        default=1.5,
        low=0.0,
        high=6.0,
        at_least=0,
        at_most=20,
        source="own computation by blade-element momentum over 14 blades, no measurement",
        called="the thrust of the stalled rotor",
        measured=Way(0.5, "a load cell under the mount with the rotor slowed down"),
    )
    thrust_coefficient: Uncertain = quantity(
        "dimensionless",
        "thrust coefficient at work, used only with measured_power that has neither thrust nor rotor_speed; never "
        "less than the measured power needs",
        plausible=(0.03, 1.4),
        default=0.525,
        low=0.15,
        high=0.9,
        shape="uniform",
        above=0,
        at_most=2,
        source=f"unknown; range: from a lightly loaded rotor to the Betz point's 8/9, {NO_SOURCE}",
        called="the thrust of the rotor",
        measured=Way(0.05, "a load cell under the mount, as a column thrust_n of the table"),
        such_as="0.5",
    )
    mean_lift_coefficient: Uncertain = quantity(
        "dimensionless",
        "mean lift coefficient of the working blades, used only with measured_power that has rotor_speed but no "
        "thrust: with solidity and tip-speed ratio it gives the thrust",
        plausible=(0.1, 2),
        default=0.8,
        low=0.3,
        high=1.6,
        above=0,
        at_most=3,
        source="range: nine in ten of the working points of 14 blades by blade-element momentum (own computation)",
        called="the lift of the working blades",
        measured=Way(0.08, "a load cell under the mount, as a column thrust_n of the table"),
    )
    mount_drag_area: Uncertain = quantity(
        "m**2",
        "drag area Cd·A of mount, mast and generator",
        plausible=("0 m^2", "1.5 m^2"),
        default="0.10 m^2",
        low="0.04 m^2",
        high="0.25 m^2",
        at_least=0,
        at_most=10,
        source=f"{NO_SOURCE}: two metres of 50 mm round tube at Cd about 1",
        called="the mount's drag area",
        measured=Way(0.03, "a coast-down with and without the mount"),
        such_as='"0.1 m^2" or "1.1 ft^2"',
    )
    stowed: Literal["stopped", "feathered", "spinning"] = Field(
        default="stopped", description="how the blades rest while stowed: stopped, feathered or spinning without load"
    )
    solidity: Uncertain = quantity(
        "dimensionless",
        "blade area over swept area (with [blade]: that of its file)",
        plausible=(0.01, 0.7),
        default=0.10,
        low=0.06,
        high=0.18,
        above=0,
        at_most=1,
        source=f"{NO_SOURCE}: two or three narrow hand-made blades",
        measured=Way(0.01, "a tape measure along the blades", of="of the swept area"),
    )
    stowed_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of stopped blades on their own area",
        plausible=(0.1, 2.2),
        default=1.2,
        low=0.9,
        high=1.5,
        at_least=0,
        at_most=2.5,
        source="flat plate across the flow, about 1.2 (from memory)",
        measured=Way(0.2, "a coast-down with the rotor stowed and without it"),
    )
    feathered_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of feathered blades on their own area",
        plausible=(0.005, 1),
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
        plausible=(0.1, 0.95),
        default="65 %",
        low="45 %",
        high="85 %",
        above=0,
        at_most=1,
        source=f"{NO_SOURCE}: small belt-driven permanent-magnet generators",
        measured=Way(0.05, "torque and speed at the shaft together with the wattmeter", of="of the shaft power"),
    )
    highest_rotor_speed: Uncertain | None = quantity(
        "rad/s", "highest rotor speed allowed", plausible=("30 rpm", "6000 rpm"), above=0, such_as='"900 rpm"'
    )
    highest_tip_speed: Uncertain = quantity(
        "m/s",
        "highest blade tip speed allowed",
        plausible=("10 m/s", "150 m/s"),
        us="ft/s",
        own="m/s",
        default="80 m/s",
        above=0,
        at_most=340,
        source=f"{NO_SOURCE}: hand-made blades are kept below 60 to 80 m/s (200 to 260 ft/s)",
        such_as='"80 m/s" or "260 ft/s"',
    )
    highest_thrust: Uncertain | None = quantity(
        "N",
        "maximum thrust that mount and bearing are rated for",
        plausible=("10 N", "20 kN"),
        above=0,
        such_as='"600 N" or "135 lbf"',
    )


class BladeTable(Table):
    """The blade whose geometry file `rotor.blade` names: section, pitch convention, corrections."""

    number_of_blades: Uncertain = quantity(
        "dimensionless", "number of blades", plausible=(1, 24), required=True, at_least=1, at_most=60, such_as="3"
    )
    polar: str | list[str] | None = Field(
        default=None, description="CSV of the section's lift and drag, or a list of them at several Reynolds numbers"
    )
    polar_reynolds_numbers: tuple[Uncertain, ...] | None = quantity_list(
        "dimensionless",
        "Reynolds numbers of the polar files, where they carry none",
        plausible=(10000.0, 10000000.0),
        at_least=1e3,
        such_as="200000",
    )
    camber: Uncertain | None = quantity(
        "dimensionless",
        "height of a bent plate's arc over its chord, where there is no polar",
        plausible=(0, 0.12),
        at_least=0,
        at_most=0.15,
        such_as="0.06",
    )
    tube_radius: Uncertain | None = quantity(
        "m", "radius of the tube that the blade is cut from", plausible=("20 mm", "0.5 m"), above=0
    )
    thickness: Uncertain = quantity(
        "m", "thickness of plate or tube wall", plausible=("0.5 mm", "60 mm"), default="4 mm", above=0, source=NO_SOURCE
    )
    hub_radius: Uncertain | None = quantity(
        "m",
        "radius at which the root begins (first station by default)",
        plausible=("0 m", "1 m"),
        us="inch",
        at_least=0,
        such_as='"90 mm" or "3.5 in"',
    )
    aerofoil_start: Uncertain | None = quantity(
        "m",
        "radius at which the aerofoil begins",
        plausible=("0 m", "2 m"),
        us="inch",
        at_least=0,
        such_as='"150 mm" or "6 in"',
    )
    root_diameter: Uncertain = quantity(
        "m",
        "diameter of the bare root between hub and aerofoil",
        plausible=("0 m", "0.3 m"),
        us="inch",
        default="0 m",
        at_least=0,
        source="no bare root",
        such_as='"25 mm" or "1 in"',
    )
    root_drag_coefficient: Uncertain = quantity(
        "dimensionless",
        "drag coefficient of the bare root",
        plausible=(0, 2),
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
        plausible=(0.05, 1),
        above=0,
        at_most=1,
        such_as="0.75",
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
    stall_delay: bool = Field(default=True, description="stall delay of inboard sections (Snel, Houwink and Bosschers)")
    stall_delay_share: Uncertain = quantity(
        "dimensionless",
        "share of the stall delay that the real blade has; without effect where stall_delay is false",
        plausible=(0, 1),
        default=1.0,
        low=0.0,
        high=1.0,
        at_least=0,
        at_most=1,
        source="all of it meets a wind-tunnel rotor in deep stall within 6 % of its power, none of it misses half; "
        f"range: {NO_SOURCE}",
        called="the lift of stalled sections",
        measured=Way(0.3, "a wattmeter at a known air speed with the rotor slowed down", of="of the whole stall delay"),
    )
    stalled_power_factor: Uncertain = quantity(
        "dimensionless",
        "real over computed power of the sections that have stalled",
        plausible=(0.2, 10),
        default=1.0,
        low=0.7,
        high=2.4,
        above=0,
        at_most=10,
        source="a wind-tunnel rotor in deep stall gives 1.06 to 2.3 times the power computed with stall delay, by "
        f"polar (tests/data/two_blade_rotor); low end: {NO_SOURCE}",
        called="the power of stalled sections",
        measured=Way(0.15, "a wattmeter at a known air speed with the rotor slowed down", of="of the computed power"),
    )
    blockage_area_ratio: Uncertain = quantity(
        "dimensionless",
        "rotor area over the cross-section of a duct or tunnel around it",
        plausible=(0, 0.25),
        default=0.0,
        at_least=0,
        at_most=0.3,
        source="free air",
        such_as="0.1",
    )


class Drive(Table):
    """Belt or gear between rotor and generator."""

    ratio: Uncertain = quantity(
        "dimensionless",
        "generator turns per rotor turn",
        plausible=(0.05, 30),
        default=1.0,
        above=0,
        at_most=200,
        source="direct drive, no belt",
        such_as="2.5",
    )
    efficiency: Uncertain = quantity(
        "dimensionless",
        "efficiency of belt or gear",
        plausible=(0.5, 1),
        default="95 %",
        low="91 %",
        high="98 %",
        above=0,
        at_most=1,
        source=f"V-belt 95 to 98 % new, about 93 % slack: {NO_SOURCE}",
        measured=Way(0.02, "torque before and after the belt", of="of the shaft power"),
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
        plausible=("1 V/krpm", "1000 V/krpm"),
        required=True,
        above=0,
        measured=Way(0.02, "a voltmeter at a known speed", relative=True),
        such_as='"60 V/krpm"',
    )
    winding_resistance: Uncertain = quantity(
        "ohm",
        "resistance between two terminals, cold (20 degC)",
        plausible=("5 mohm", "100 ohm"),
        required=True,
        at_least=0,
        measured=Way(0.05, "a four-wire ohmmeter", relative=True),
        such_as='"0.8 ohm"',
    )
    winding_temperature: Uncertain = quantity(
        "K",
        "temperature of the winding at work (copper has 31 % more resistance at 100 °C (212 °F) than at 20 °C (68 °F))",
        plausible=("-40 degC", "180 degC"),
        default="60 degC",
        low="20 degC",
        high="120 degC",
        at_least=200,
        at_most=500,
        source=NO_SOURCE,
        such_as='"60 degC" or "140 degF"',
    )
    winding_inductance: Uncertain = quantity(
        "H",
        "inductance between two terminals",
        plausible=("0 mH", "200 mH"),
        default="1 mH",
        low="0 mH",
        high="4 mH",
        at_least=0,
        at_most=10,
        source=f"{NO_SOURCE}; with 0 instead of 3 mH the generator holds the rotor back more: 2 to 4 % less heat, and "
        "up to 16 % less extra fuel than there is",
        measured=Way(0.1, "an inductance meter between two terminals", relative=True),
        such_as='"1 mH"',
    )
    pole_pairs: Uncertain = quantity(
        "dimensionless",
        "pole pairs (matters with inductance)",
        plausible=(1, 60),
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
        plausible=("0 N*m", "5 N*m"),
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
        plausible=("0 N*m", "10 N*m"),
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
        plausible=("0 W", "500 W"),
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
        plausible=(0, 1),
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
        plausible=("0 V", "5 V"),
        default="1.8 V",
        low="1.4 V",
        high="2.2 V",
        at_least=0,
        at_most=20,
        source=f"{NO_SOURCE}: 0.7 to 1.1 V a silicon diode under load",
        such_as='"1.8 V"',
    )
    highest_current: Uncertain | None = quantity(
        "A", "largest current through the element", plausible=("0.5 A", "500 A"), above=0
    )
    load_connected: Literal["always", "after_spin_up"] = Field(
        default="always",
        description="always, or after_spin_up where a switch or relay connects the element once it turns",
    )
