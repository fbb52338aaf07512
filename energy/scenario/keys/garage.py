"""What the parts must stand: gusts, mount, bearing, blades, linkage."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from energy.scenario.keys.base import NO_SOURCE, Table, quantity_list
from vehicle.quantity import Uncertain, quantity


class Gust(Table):
    """The worst air that mount and blades must stand: a gust ahead, a passing truck, and the load cut meanwhile."""

    road_speed: Uncertain | None = quantity(
        "m/s",
        "highest road speed ever driven with the rotor",
        plausible=("0 km/h", "180 km/h"),
        at_least=0,
        at_most=100,
    )
    speed: Uncertain = quantity(
        "m/s",
        "head gust on top of road speed and wind",
        plausible=("0 m/s", "40 m/s"),
        default="10 m/s",
        at_least=0,
        at_most=60,
        source=f"{NO_SOURCE}: a gusty day",
        such_as='"10 m/s" or "22 mph"',
    )
    passing_factor: Uncertain = quantity(
        "dimensionless",
        "air speed next to an oncoming truck over that without it",
        plausible=(1, 1.6),
        default=1.2,
        at_least=1,
        at_most=2,
        source=NO_SOURCE,
    )
    overspeed_stop: Uncertain | None = quantity(
        "rad/s",
        "rotor speed at which a brake that needs no electricity stops it (left out: it runs free)",
        plausible=("30 rpm", "7000 rpm"),
        above=0,
        such_as='"900 rpm"',
    )


class Mount(Table):
    """Feet and bolts that hold the turbine on the vehicle."""

    height: Uncertain = quantity(
        "m",
        "height of the rotor axis above the mount's feet",
        plausible=("0.05 m", "6 m"),
        required=True,
        above=0,
        at_most=20,
        such_as='"0.6 m" or "24 in"',
    )
    bolt_distances: tuple[Uncertain, ...] | None = quantity_list(
        "m",
        "distance of each bolt, along the vehicle, from the rear edge of the feet",
        plausible=("0 m", "3 m"),
        us="inch",
        at_least=0,
        such_as='"250 mm" or "10 in"',
    )
    bolt_rating: Uncertain | None = quantity(
        "N",
        "pull that one bolt and what it is screwed into may carry",
        plausible=("100 N", "500 kN"),
        above=0,
        such_as='"4 kN" or "900 lbf"',
    )
    highest_moment: Uncertain | None = quantity(
        "N*m",
        "maximum overturning moment the frame or roof may carry",
        plausible=("10 N*m", "100 kN*m"),
        above=0,
        such_as='"900 N*m" or "660 lbf*ft"',
    )


class Bearing(Table):
    """The bearing that takes the thrust, ratings from its maker's sheet."""

    kind: Literal["deep_groove_ball", "angular_contact_ball", "tapered_roller", "thrust_ball"] = Field(
        description="deep_groove_ball, angular_contact_ball (40 deg), tapered_roller or thrust_ball"
    )
    static_rating: Uncertain = quantity(
        "N", "basic static load rating C0", plausible=("300 N", "1000 kN"), required=True, above=0
    )
    dynamic_rating: Uncertain = quantity(
        "N", "basic dynamic load rating C", plausible=("300 N", "1000 kN"), required=True, above=0, such_as='"30 kN"'
    )
    bore: Uncertain | None = quantity(
        "m", "bore; up to 12 mm a deep-groove bearing takes half the axial load", plausible=("4 mm", "200 mm"), above=0
    )
    light_series: bool = Field(default=False, description="true for a thin-section (light series) deep-groove bearing")
    radial_load: Uncertain = quantity(
        "N",
        "radial load on this bearing: rotor weight, belt pull",
        plausible=("0 N", "20 kN"),
        default="150 N",
        at_least=0,
        source=f"{NO_SOURCE}: some kilograms of rotor and a belt",
        such_as='"150 N" or "34 lbf"',
    )
    spacing: Uncertain | None = quantity(
        "m",
        "distance between the two bearings of the rotor shaft (they share its moment)",
        plausible=("10 mm", "3 m"),
        above=0,
        at_most=5,
        such_as='"150 mm" or "6 in"',
    )
    axial_factor: Uncertain | None = quantity(
        "dimensionless", "Y of the equivalent load, from the maker's sheet", plausible=(0.3, 4), above=0, such_as="1.9"
    )
    static_axial_factor: Uncertain | None = quantity(
        "dimensionless",
        "Y0 of the static equivalent load, from the maker's sheet",
        plausible=(0.2, 4),
        above=0,
        such_as="0.5",
    )
    required_static_safety: Uncertain = quantity(
        "dimensionless",
        "static safety factor wanted",
        plausible=(0.5, 10),
        default=2.0,
        above=0,
        source="1.5 to 2 and more under shock: common practice, no source",
    )
    required_life: Uncertain = quantity(
        "s",
        "basic life wanted at the operating point",
        plausible=("10 h", "200000 h"),
        default="1000 h",
        above=0,
        source=NO_SOURCE,
    )


class BladeLoads(Table):
    """The blades as masses, and as sections that the pitch linkage must turn."""

    number_of_blades: Uncertain | None = quantity(
        "dimensionless",
        "number of blades (left out: that of [blade])",
        plausible=(1, 24),
        at_least=1,
        at_most=60,
        such_as="3",
    )
    mass: Uncertain | None = quantity(
        "kg", "mass of one blade outside the hub", plausible=("10 g", "60 kg"), above=0, such_as='"800 g" or "28 oz"'
    )
    centre_of_mass: Uncertain | None = quantity(
        "m",
        "radius of one blade's centre of mass, from the rotor axis",
        plausible=("20 mm", "2.5 m"),
        above=0,
        such_as='"350 mm" or "14 in"',
    )
    piece_masses: tuple[Uncertain, ...] | None = quantity_list(
        "kg",
        "instead of mass: the masses of one blade's pieces, root to tip",
        plausible=("0 kg", "30 kg"),
        at_least=0,
        such_as='"250 g" or "9 oz"',
    )
    piece_radii: tuple[Uncertain, ...] | None = quantity_list(
        "m",
        "radius of the middle of each piece, root to tip",
        plausible=("0 m", "3 m"),
        us="inch",
        at_least=0,
        such_as='"300 mm" or "12 in"',
    )
    root_radius: Uncertain = quantity(
        "m",
        "radius of the fastening that carries the blade",
        plausible=("0 m", "1 m"),
        us="inch",
        default="0.1 m",
        at_least=0,
        source=NO_SOURCE,
        such_as='"100 mm" or "4 in"',
    )
    root_pull_rating: Uncertain | None = quantity(
        "N",
        "pull that one blade's fastening may carry",
        plausible=("50 N", "1000 kN"),
        above=0,
        such_as='"6 kN" or "1350 lbf"',
    )
    root_bending_rating: Uncertain | None = quantity(
        "N*m",
        "bending moment that one blade's root may carry",
        plausible=("0.5 N*m", "50 kN*m"),
        above=0,
        such_as='"60 N*m" or "44 lbf*ft"',
    )
    spar_diameter: Uncertain | None = quantity(
        "m", "outer diameter of a round spar at the blade's root", plausible=("4 mm", "200 mm"), above=0
    )
    spar_bore: Uncertain = quantity(
        "m",
        "inner diameter of the spar, 0 for a solid one",
        plausible=("0 mm", "190 mm"),
        default="0 mm",
        at_least=0,
        source="a solid spar",
        such_as='"20 mm"',
    )
    shell_thickness: Uncertain | None = quantity(
        "m",
        "instead of a spar: thickness of the laminated shell that carries the root",
        plausible=("0.2 mm", "30 mm"),
        above=0,
    )
    root_chord: Uncertain | None = quantity(
        "m", "chord of that shell at the root (left out: chord)", plausible=("10 mm", "0.8 m"), above=0
    )
    root_strength: Uncertain | None = quantity(
        "Pa",
        "strength of spar or shell: the lower of pull and push",
        plausible=("1 MPa", "3000 MPa"),
        us="psi",
        own="MPa",
        above=0,
        such_as='"240 MPa"',
    )
    root_stiffness: Uncertain | None = quantity(
        "Pa",
        "modulus of elasticity of spar or shell",
        plausible=("100 MPa", "400 GPa"),
        us="psi",
        own="GPa",
        above=0,
        such_as='"70 GPa"',
    )
    required_root_safety: Uncertain = quantity(
        "dimensionless",
        "safety factor wanted at the root against its strength",
        plausible=(1, 20),
        default=5.0,
        above=0,
        source=f"{NO_SOURCE}: hand-made blades, fatigue not computed",
    )
    chord: Uncertain | None = quantity(
        "m",
        "chord of the blade, a mean over the outer half (with [blade]: that of its file)",
        plausible=("10 mm", "0.8 m"),
        above=0,
    )
    thickness_ratio: Uncertain = quantity(
        "dimensionless",
        "thickness over chord",
        plausible=(0.005, 0.6),
        default=0.14,
        above=0,
        at_most=1,
        source=NO_SOURCE,
    )
    pitch_axis: Uncertain = quantity(
        "dimensionless",
        "where the pitch axis crosses the chord, from the leading edge",
        plausible=(0, 0.75),
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
        plausible=(0.2, 0.7),
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
        plausible=(-0.25, 0.15),
        default=-0.05,
        low=-0.10,
        high=0.0,
        at_least=-0.5,
        at_most=0.5,
        source="cambered low-speed sections −0.05 to −0.10, symmetric ones 0: from memory",
    )
    mean_twist: Uncertain = quantity(
        "deg",
        "chord angle of the blade's middle mass over the pitch setting, positive towards feather (with [blade]: that "
        "of its file)",
        plausible=("-30 deg", "40 deg"),
        default="4 deg",
        low="0 deg",
        high="8 deg",
        at_least=-45,
        at_most=45,
        source=NO_SOURCE,
        such_as='"4 deg"',
    )
    pitch_bearing_diameter: Uncertain | None = quantity(
        "m", "mean diameter of the blade's pitch bearing or bush", plausible=("4 mm", "200 mm"), above=0
    )
    pitch_bearing_friction: Uncertain = quantity(
        "dimensionless",
        "friction coefficient of the pitch bearing under the blade's centrifugal pull",
        plausible=(0.0005, 0.5),
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
        plausible=("0.4 mm/s", "630 mm/s"),
        own="mm/s",
        default="16 mm/s",
        above=0,
        at_most=4,
        source="G 16, parts of farm machinery: ISO 21940-11, from memory",
    )
    rotor_mass: Uncertain | None = quantity(
        "kg", "mass of all that turns on the rotor shaft: blades, hub, pulley", plausible=("0.1 kg", "200 kg"), above=0
    )
    residual_imbalance: Uncertain | None = quantity(
        "kg*m", "imbalance left after balancing", plausible=("0 kg*m", "0.5 kg*m"), at_least=0
    )


class Linkage(Table):
    """The linkage and the actuator that set the pitch."""

    arm: Uncertain = quantity(
        "m",
        "lever of the pitch horn, from pitch axis to rod",
        plausible=("5 mm", "500 mm"),
        required=True,
        above=0,
        at_most=2,
    )
    travel_from: Uncertain = quantity(
        "deg",
        "lowest pitch of the travel",
        plausible=("-20 deg", "100 deg"),
        required=True,
        at_least=-20,
        at_most=100,
        such_as='"0 deg"',
    )
    travel_to: Uncertain = quantity(
        "deg",
        "highest pitch of the travel",
        plausible=("-20 deg", "100 deg"),
        required=True,
        at_least=-20,
        at_most=100,
        such_as='"30 deg"',
    )
    square_at: Uncertain | None = quantity(
        "deg",
        "pitch at which rod and horn are at right angles (left out: mid-travel)",
        plausible=("-20 deg", "100 deg"),
        at_least=-20,
        at_most=100,
        such_as='"15 deg"',
    )
    actuator_rating: Uncertain | None = quantity(
        "N",
        "force that the actuator can push, pull and hold",
        plausible=("2 N", "20 kN"),
        above=0,
        such_as='"300 N" or "67 lbf"',
    )
    rod_rating: Uncertain | None = quantity(
        "N",
        "force that one blade's rod and its joints may carry",
        plausible=("5 N", "100 kN"),
        above=0,
        such_as='"300 N" or "67 lbf"',
    )
    self_locking: bool = Field(default=False, description="true where a screw or worm holds the pitch without power")
