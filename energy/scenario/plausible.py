"""Values that physics allows but no road vehicle with a home-made turbine has: refused unless said to be meant.

Each key declares its plausible range (energy/scenario/keys); here the values that a file gives are held to it, and
values that are plausible each by itself but cannot stand together.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.aero.momentum import BETZ_LIMIT
from energy.scenario.keys import UNUSUAL, Table, quantity_keys, spec_of
from vehicle.problems import Problem, nearest, shown
from vehicle.quantity import Spec, Uncertain, shown_value
from vehicle.units import UnitSystem, figures

if TYPE_CHECKING:
    from energy.scenario.keys.vehicle import EngineTable
    from energy.scenario.read import Scenario

LANE_WIDTH_M = 3.5  # a lane of a main road is 3.5 to 3.7 m wide: from memory
DENSEST_AIR_KG_M3 = 1.5  # dry air of -40 degC at sea level
GREATEST_THRUST_COEFFICIENT = 2.5  # the bound of thrust curves too; a flat plate has about 1.2
_LEAST_TO_JUDGE_W, _LEAST_TO_JUDGE_N = 20.0, 20.0  # below them a reading is mostly its error: own choice, no source
# Mean effective pressure at peak torque: an old engine has 8 bar, a turbocharged one 25 to 30 (from memory).
_PEAK_PRESSURE_PA = (4e5, 45e5)
SLOWEST_SOUND_M_S = 295.0  # of air at -55 degC: sqrt(1.4 · 287 J/(kg K) · 218 K)
_RAD_S_PER_1000_RPM = 1000 * 2 * math.pi / 60


def plausible_words(spec: Spec, system: UnitSystem = "metric") -> str:
    """Return the plausible range of a key in words, "" where it has none: "-40 °C to 50 °C"."""
    ends = spec.plausible_ends()
    return "" if ends is None else f"{spec.shown(ends[0], system)} to {spec.shown(ends[1], system)}"


def unusual_keys(name: str, raw: object) -> tuple[frozenset[str], list[Problem]]:
    """Return the keys that a file calls unusual, and the faults of that list (None: the file has no such line)."""
    accepted = f'a list of keys, such as {UNUSUAL} = ["air.temperature"]'
    if raw is None:
        return frozenset(), []
    if not isinstance(raw, list):
        return frozenset(), [Problem(name, UNUSUAL, f"{shown(raw)} is no list", accepted)]
    keys, problems = quantity_keys(), []
    for entry in raw:
        if not isinstance(entry, str) or entry not in keys:
            near = nearest(entry, keys) if isinstance(entry, str) else None
            problems.append(
                Problem(
                    name,
                    UNUSUAL,
                    f"unknown key {shown(entry)}",
                    f"a known key, perhaps {near} (nearest)" if near else accepted,
                )
            )
    return frozenset(entry for entry in raw if isinstance(entry, str) and entry in keys), problems


def outside(
    name: str, tables: Mapping[str, Table | None], meant: Collection[str]
) -> tuple[list[Problem], tuple[str, ...]]:
    """Return the faults of values that the file `name` gives outside their plausible range.

    For those that it says are `meant`, a sentence each instead, which an answer repeats.
    """
    problems, sentences = [], []
    for key, value, spec in _given(tables):
        beyond = _beyond(value, spec)
        if beyond is None:
            continue
        if key in meant:
            sentences.append(f"unusual and meant: {key} is {beyond}; usual is {plausible_words(spec)}")
        else:
            problems.append(Problem(name, key, beyond, _if_meant(key, f"{spec.meaning}, {plausible_words(spec)}")))
    return problems, tuple(sentences)


def _if_meant(key: str, accepted: str) -> str:
    return f'{accepted}; if it is meant, the line {UNUSUAL} = ["{key}"] at the top of the file'


def _given(tables: Mapping[str, Table | None]) -> Iterator[tuple[str, Uncertain, Spec]]:
    """Give the key, value and rules of each quantity that the file states, those in lists one by one."""
    for table_name, table in tables.items():
        if table is None:
            continue
        for field in type(table).model_fields:
            value: Any = getattr(table, field)
            if field not in table.model_fields_set or not isinstance(value, (Uncertain, tuple)):
                continue
            key = f"{table_name}.{field}"
            for entry in value if isinstance(value, tuple) else (value,):
                yield key, entry, spec_of(key)


def _beyond(value: Uncertain, spec: Spec) -> str | None:
    """Return in words the value, or the end of its range, that is not plausible; None where all are."""
    ends = spec.plausible_ends()
    if ends is None:
        return None
    slack = 1e-9 * max(1e-6, abs(ends[0]), abs(ends[1]))  # of a conversion of units
    for number in (value.value, value.low, value.high):
        if not ends[0] - slack <= number <= ends[1] + slack:
            what = "" if number == value.value else " (an end of its range)"
            return f"{spec.shown(number)}{what}"
    return None


# Together


def impossible_together(scenario: Scenario, meant: Collection[str]) -> list[Problem]:
    """Return faults of values that are plausible each by itself but cannot stand together."""
    return [
        *_pushed_by_the_road(scenario),
        *_engine_too_fast(scenario),
        *_tips_beyond_sound(scenario),
        *_wider_than_the_road(scenario, meant),
        *_more_than_the_wind_has(scenario, meant),
        *_engine_speeds_in_disorder(scenario),
        *_torque_of_another_engine(scenario, meant),
    ]


def _pushed_by_the_road(scenario: Scenario) -> Iterator[Problem]:
    """Give a fault where coast-down coefficients push a coasting vehicle on: A + B·v + C·v² below zero on the trip."""
    vehicle, fastest = scenario.vehicle, scenario.fastest_road_speed_m_s
    if vehicle.coastdown_a is None or vehicle.coastdown_b is None or vehicle.coastdown_c is None:
        return
    a, b, c = vehicle.coastdown_a.value, vehicle.coastdown_b.value, vehicle.coastdown_c.value
    weakest_at = min(max(-b / (2 * c), 0.0), fastest)
    force = a + b * weakest_at + c * weakest_at**2
    if force < 0:
        yield Problem(
            scenario.name,
            "vehicle.coastdown_b",
            f"{shown_value(b, 'N*s/m')}: with A {shown_value(a, 'N')} and C {shown_value(c, 'N*s**2/m**2')} the road "
            f"would push the coasting vehicle on at {3.6 * weakest_at:.0f} km/h ({shown_value(force, 'N')})",
            "coefficients whose force A + B·v + C·v² is above zero at every speed of the trip",
        )


def _top_gear_m_per_rad(engine: EngineTable) -> tuple[str, float] | None:
    """Return the key that states the gears and the road per radian of the engine in the longest of them."""
    if engine.speed_per_1000_rpm is not None:
        longest = max(entry.value for entry in engine.speed_per_1000_rpm)
        return "engine.speed_per_1000_rpm", longest / _RAD_S_PER_1000_RPM
    if engine.gear_ratios is None or engine.final_drive_ratio is None or engine.tyre_radius is None:
        return None
    longest = engine.tyre_radius.value / min(entry.value for entry in engine.gear_ratios)
    return "engine.gear_ratios", longest / engine.final_drive_ratio.value


def _engine_too_fast(scenario: Scenario) -> Iterator[Problem]:
    """Give a fault where the engine would turn beyond its limit in every gear at the greatest road speed."""
    engine, speed = scenario.engine, scenario.fastest_road_speed_m_s
    gear = None if engine is None else _top_gear_m_per_rad(engine)
    if engine is None or gear is None:
        return
    key, m_per_rad = gear
    limit = engine.highest_speed.high
    if speed / m_per_rad > limit:
        yield Problem(
            scenario.name,
            key,
            f"in its longest gear the engine would turn at {shown_value(speed / m_per_rad, 'rad/s')} at "
            f"{3.6 * speed:.0f} km/h, beyond engine.highest_speed ({shown_value(limit, 'rad/s')})",
            "gears, road speed and highest engine speed that fit each other",
        )


def _tips_beyond_sound(scenario: Scenario) -> Iterator[Problem]:
    """Give a fault where the rotor speed that is allowed takes the blade tips beyond the speed of sound."""
    limit, radius = scenario.rotor.highest_rotor_speed, scenario.rotor.diameter.value / 2
    if limit is not None and limit.value * radius > SLOWEST_SOUND_M_S:
        yield Problem(
            scenario.name,
            "rotor.highest_rotor_speed",
            f"{shown_value(limit.value, 'rad/s')}: the tips of a {2 * radius:.3g} m rotor would move at "
            f"{limit.value * radius:.0f} m/s, the speed of sound or more",
            f"at most {shown_value(SLOWEST_SOUND_M_S / radius, 'rad/s')} with this diameter, and far below it in use",
        )


def _wider_than_the_road(scenario: Scenario, meant: Collection[str]) -> Iterator[Problem]:
    """Give a fault where a vehicle drives with a rotor wider than a lane, unless its diameter is called unusual."""
    diameter = scenario.rotor.diameter.value
    if diameter > LANE_WIDTH_M and scenario.fastest_road_speed_m_s > 0 and "rotor.diameter" not in meant:
        accepted = _if_meant("rotor.diameter", f"a rotor narrower than a lane ({LANE_WIDTH_M:g} m), or one that parks")
        yield Problem(scenario.name, "rotor.diameter", f"{diameter:.3g} m, wider than a lane", accepted)


def _more_than_the_wind_has(scenario: Scenario, meant: Collection[str]) -> Iterator[Problem]:
    """Give a fault where measured watts exceed what the wind gives an ideal disc, or a thrust that of any plate."""
    table, diameter = scenario.measured, scenario.rotor.diameter.value
    if table is None or "rotor.diameter" in meant:
        return
    pressure = 0.5 * DENSEST_AIR_KG_M3 * math.pi / 4 * diameter**2 * table.air_speed_m_s**2
    checked = [("electrical_power", "W", table.electrical_power_w, BETZ_LIMIT * pressure * table.air_speed_m_s)]
    if table.thrust_n is not None:
        checked.append(("thrust", "N", table.thrust_n, GREATEST_THRUST_COEFFICIENT * pressure))
    least = {"W": _LEAST_TO_JUDGE_W, "N": _LEAST_TO_JUDGE_N}
    for column, unit, values, given in checked:
        most = np.maximum(given, least[unit])
        worst = int(np.argmax(values / most))
        if values[worst] > most[worst]:
            yield Problem(
                scenario.rotor.measured_power or scenario.name,
                f"rotor.measured_power: column {column}",
                f"{figures(float(values[worst]), 3)} {unit} at {3.6 * table.air_speed_m_s[worst]:.3g} km/h",
                _if_meant(
                    "rotor.diameter",
                    f"at most {figures(float(most[worst]), 2)} {unit} there (no wind gives a rotor of {diameter:.3g} m "
                    "more): check the units of the columns and the diameter",
                ),
            )


def _engine_speeds_in_disorder(scenario: Scenario) -> Iterator[Problem]:
    """Give a fault where stated idle, shift-down and highest speed do not rise in that order."""
    engine = scenario.engine
    if engine is None:
        return
    names = ("idle_speed", "lowest_driving_speed", "highest_speed")
    for slow, fast in itertools.combinations(names, 2):
        if {slow, fast} <= engine.model_fields_set and getattr(engine, slow).value >= getattr(engine, fast).value:
            yield Problem(
                scenario.name,
                f"engine.{slow}",
                f"{shown_value(getattr(engine, slow).value, 'rad/s')}, not below engine.{fast} "
                f"({shown_value(getattr(engine, fast).value, 'rad/s')})",
                "idle_speed below lowest_driving_speed below highest_speed",
            )


def _torque_of_another_engine(scenario: Scenario, meant: Collection[str]) -> Iterator[Problem]:
    """Give a fault where peak torque and displacement are not of one engine (mean effective pressure, four strokes)."""
    engine = scenario.engine
    if engine is None or {"engine.peak_torque", "engine.displacement"} & set(meant):
        return
    curve, stated = scenario.torque_curve, engine.peak_torque
    if curve is not None:
        peak = float(np.max(curve.torque_n_m))
    elif stated is not None:
        peak = stated.value
    else:
        return
    volume = engine.displacement.value
    low, high = (pressure * volume / (4 * math.pi) for pressure in _PEAK_PRESSURE_PA)
    if not low <= peak <= high:
        yield Problem(
            scenario.name if curve is None else engine.torque_curve or scenario.name,
            "engine.peak_torque" if curve is None else "engine.torque_curve: column torque",
            f"{shown_value(peak, 'N*m')} from an engine of {shown_value(volume, 'm**3')}",
            _if_meant("engine.peak_torque", f"{shown_value(low, 'N*m')} to {shown_value(high, 'N*m')} for that size"),
        )
