"""Which kind of bearing suits: life and static safety of each kind under the scenario's thrust and moment."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from energy.scenario.read import Scenario
from energy.strength import equations
from energy.strength.cases import Conditions, both_cases, rig_of
from energy.strength.table import gyroscopic_n_m
from vehicle.arrays import Values
from vehicle.problems import InputError, Problem

PAIR_DYNAMIC, PAIR_STATIC = 2.0**0.7, 2.0
"""Ratings of two equal ball bearings side by side over those of one: ISO 281 and ISO 76, from memory."""
USUAL_AXIAL_FACTOR, USUAL_STATIC_AXIAL_FACTOR = 1.6, 0.9
"""Y and Y0 of a tapered roller bearing where the maker's sheet is not given: common sizes, from memory."""
KINDS = ("deep_groove_ball", "angular_contact_ball", "angular_contact_pair", "tapered_roller", "thrust_ball")


@dataclass(frozen=True)
class KindOfBearing:
    """One kind with the scenario's ratings: lives (s) at the operating point, thrust alone and with the moment of bumps
    all the time; static safety in the worst case; the axial load over what it takes (NaN without such a rule)."""

    kind: str
    chosen: bool
    life_s: float
    life_with_moment_s: float
    static_safety: float
    axial_share: float
    takes_radial: bool


@dataclass(frozen=True)
class Bearings:
    """All kinds, and the loads (N) on the bearing nearest to the rotor; what is wanted."""

    kinds: tuple[KindOfBearing, ...]
    thrust_n: float
    radial_n: float
    worst_thrust_n: float
    worst_radial_n: float
    moment_n_m: float
    spacing_m: float | None
    wanted_life_s: float
    wanted_safety: float


def pair_dynamic_load_n(radial_n: float, axial_n: float) -> float:
    """Return the equivalent dynamic load of a pair of 40° angular-contact bearings (ISO 281, from memory).

    P = Fr + 0.55·Fa where Fa/Fr ≤ 1.14, else 0.57·Fr + 0.93·Fa; loads and result in N.
    """
    return radial_n + 0.55 * axial_n if axial_n <= 1.14 * radial_n else 0.57 * radial_n + 0.93 * axial_n


def pair_static_load_n(radial_n: Values, axial_n: Values) -> np.ndarray:
    """Return the equivalent static load of such a pair, Fr + 0.52·Fa (ISO 76, from memory); N."""
    return np.asarray(radial_n) + 0.52 * np.asarray(axial_n)


def bearings(scenario: Scenario) -> Bearings:
    """Return the kinds of bearing for a scenario. Raises InputError without [bearing]."""
    table = scenario.bearing
    if table is None:
        keys = "[bearing] kind, static_rating, dynamic_rating; spacing for the moment"
        raise InputError(Problem(scenario.name, "[bearing]", "no such table", keys))
    rig = rig_of(scenario)
    cases = both_cases(rig)
    corners = cases.corners
    spacing = rig.maybe("bearing.spacing")

    def radial(at: Conditions, *, moving: bool) -> np.ndarray:
        if not moving or spacing is None:
            return np.asarray(rig.taken("bearing.radial_load", at))
        apart = rig.taken("bearing.spacing", at, least=True)
        return rig.taken("bearing.radial_load", at) + np.asarray(gyroscopic_n_m(rig, at)) / apart

    ratings = float(table.static_rating.low), float(table.dynamic_rating.low)
    steady = float(radial(cases.operating, moving=False)), abs(float(cases.operating.thrust_n))
    bumpy = float(radial(cases.operating, moving=True)), steady[1]
    worst_radial = np.broadcast_to(radial(corners, moving=True), np.shape(corners.thrust_n))
    worst_axial = np.abs(np.asarray(corners.thrust_n))
    k = int(np.nanargmax(worst_radial + worst_axial))
    factors = (rig.maybe("bearing.axial_factor"), rig.maybe("bearing.static_axial_factor"))
    bore = rig.maybe("bearing.bore")
    speed = float(cases.operating.rotor_speed_rad_s)
    kinds = []
    for kind in KINDS:
        own = table.kind == kind
        y, y0 = factors if own else (None, None)
        most = equations.highest_axial_load_n(ratings[0], kind, bore, table.light_series)
        lives = [_life_s(kind, loads, ratings, y, speed) for loads in (steady, bumpy)]
        safety = _static_safety(kind, worst_radial, worst_axial, ratings[0], y0)
        share = math.nan if most is None else float(np.nanmax(worst_axial)) / most
        kinds.append(KindOfBearing(kind, own, lives[0], lives[1], safety, share, kind != "thrust_ball"))
    return Bearings(
        tuple(kinds),
        steady[1],
        steady[0],
        float(worst_axial[k]),
        float(worst_radial[k]),
        float(np.max(np.asarray(gyroscopic_n_m(rig, corners)))),
        spacing,
        rig.taken("bearing.required_life", cases.worst),
        rig.taken("bearing.required_static_safety", cases.worst),
    )


def _life_s(
    kind: str, loads: tuple[float, float], ratings: tuple[float, float], axial_factor: float | None, speed: float
) -> float:
    radial, axial = loads
    if kind == "angular_contact_pair":
        turns = equations.basic_life_revolutions(
            PAIR_DYNAMIC * ratings[1], pair_dynamic_load_n(radial, axial), "angular_contact_ball"
        )
    else:
        usual = USUAL_AXIAL_FACTOR if kind == "tapered_roller" else None
        load = equations.equivalent_dynamic_load_n(kind, radial, axial, ratings[0], axial_factor or usual)
        turns = equations.basic_life_revolutions(ratings[1], load, kind)
    return float(equations.basic_life_s(turns, speed))


def _static_safety(
    kind: str, radial_n: np.ndarray, axial_n: np.ndarray, rating: float, axial_factor: float | None
) -> float:
    """Return the lowest static safety over all corners of the worst case (N each); each kind has its own worst one."""
    if kind == "angular_contact_pair":
        loads, rating = pair_static_load_n(radial_n, axial_n), PAIR_STATIC * rating
    else:
        usual = USUAL_STATIC_AXIAL_FACTOR if kind == "tapered_roller" else None
        loads = equations.equivalent_static_load_n(kind, radial_n, axial_n, axial_factor or usual)
    return rating / max(float(np.nanmax(loads)), 1e-9)
