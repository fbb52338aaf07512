"""Where the rotor settles, recomputed one condition at a time: torques compared every thousandth of a tip-speed ratio
and closed in on by halving. Balance of torques; Betz (1920) for the limits; no code shared with the solver but the
torque that the chain asks for, which tests/energy/test_electrical.py recomputes.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, fields, replace

import numpy as np
import pytest

from energy.aero.curves import CurveSlope, RotorCurves
from energy.aero.operating_point import (
    Rotor,
    coefficients,
    coefficients_of,
    free_run_is_known,
    free_run_speed_rad_s,
    grid_of,
    solve,
    stalled_torque_share,
)
from energy.electrical import ElectricalChain, idle_torque_n_m, shaft_torque_n_m
from vehicle.arrays import Values

BETZ = 16 / 27
RATIO = np.array([0.0, 1.0, 2.0, 2.5, 3.5, 5.0, 6.0, 7.0])
LOW = np.array([0.0, 0.07, 0.09, 0.20, 0.34, 0.36, 0.22, 0.05])
HIGH = np.array([0.0, 0.08, 0.11, 0.12, 0.10, 0.02, -0.08, -0.2])
CURVES = RotorCurves(
    RATIO,
    np.array([-2.0, 3.0, 12.0]),
    np.stack([LOW, 0.9 * LOW, HIGH]),
    np.stack([0.1 + 0.11 * RATIO, 0.1 + 0.09 * RATIO, 0.15 + 0.01 * RATIO]),
    stalled_torque_share=np.stack([1 - RATIO / 7, 0.8 - RATIO / 10, 0 * RATIO]),
)
CHAIN = ElectricalChain(
    connection="three_phase",
    ratio=2.5,
    belt_efficiency=0.9,
    voltage_constant_v_s=0.8,
    winding_resistance_ohm=1.0,
    winding_inductance_h=2e-3,
    pole_pairs=6,
    friction_torque_n_m=0.05,
    cogging_torque_n_m=0.1,
    iron_loss_w=20.0,
    eddy_share=0.4,
    rectifier_drop_v=1.5,
    lead_resistance_ohm=0.1,
    element_resistance_ohm=9.0,
)


def between(table: np.ndarray, pitch: float, ratio: Values, curves: RotorCurves) -> np.ndarray:
    """Values of a map on the straight lines between its points; pitch and ratio are held at the ends of the table."""
    row = [np.interp(pitch, curves.pitch_deg, table[:, k]) for k in range(table.shape[1])]
    return np.interp(ratio, curves.tip_speed_ratio, row)


def power_of(curves: RotorCurves, pitch: float, ratio: Values) -> np.ndarray:
    """Cp; past the table on along its last slope where that falls."""
    before, last = curves.tip_speed_ratio[-2:]
    low, end = between(curves.power_coefficient, pitch, curves.tip_speed_ratio[-2:], curves)
    beyond = min((end - low) / (last - before), 0.0) * np.maximum(ratio - last, 0.0)
    return between(curves.power_coefficient, pitch, ratio, curves) + beyond


@dataclass
class Found:
    """What a condition comes to."""

    stable: list[float]
    changes: int
    starts: bool
    runs_away: bool


def settle(rotor: Rotor, chain: ElectricalChain) -> Found:
    """Every speed at which the torques agree, by stepping from just above standstill to half past the table's end."""
    curves, air, radius = rotor.curves, float(rotor.air_speed_m_s), float(rotor.radius_m)
    first, end = 1e-3 * curves.tip_speed_ratio[1], 1.5 * curves.tip_speed_ratio[-1]
    stiff = 0.5 * float(rotor.density_kg_m3) * math.pi * radius**3 * air**2
    factor = min(float(rotor.power_factor), BETZ / curves.power_coefficient.max())

    def spare(ratio: Values) -> np.ndarray:
        wind = stiff * factor * power_of(curves, float(rotor.pitch_deg), ratio) / ratio
        return wind - shaft_torque_n_m(chain, ratio * air / radius)

    steps = np.concatenate([[first], np.arange(0.01, end, 0.01), [end]])
    signs = spare(steps) > 0
    stable, changes = [], np.flatnonzero(signs[1:] != signs[:-1])
    for k in changes:
        if signs[k]:
            low, high = steps[k], steps[k + 1]
            for _ in range(50):
                middle = 0.5 * (low + high)
                low, high = (middle, high) if spare(middle) > 0 else (low, middle)
            stable.append(low)
    at_rest = stiff * factor * power_of(curves, float(rotor.pitch_deg), first) / first
    cogging = float(chain.cogging_torque_n_m) * float(chain.ratio) / float(chain.belt_efficiency)
    return Found(stable, len(changes), bool(signs[0]) and at_rest > cogging, not stable and signs[-1])


def wanted_of(rotor: Rotor, chain: ElectricalChain, *, after_spin_up: bool) -> dict[str, object]:
    found = settle(rotor, chain)
    air, radius, density = float(rotor.air_speed_m_s), float(rotor.radius_m), float(rotor.density_kg_m3)
    pick = len(found.stable) - 1 if after_spin_up else 0
    running = bool(found.stable) and (after_spin_up or found.starts)
    last = rotor.curves.tip_speed_ratio[-1]
    ratio = found.stable[pick] if running else 1.5 * last if found.runs_away else 0.0
    factor = min(float(rotor.power_factor), BETZ / rotor.curves.power_coefficient.max())
    power = factor * power_of(rotor.curves, float(rotor.pitch_deg), ratio)
    thrust = between(rotor.curves.thrust_coefficient, float(rotor.pitch_deg), ratio, rotor.curves)
    thrust = max(max(thrust, 0.0) * float(rotor.thrust_factor), power)
    area = math.pi * radius**2
    return {
        "rotor_speed_rad_s": ratio * air / radius,
        "tip_speed_ratio": ratio,
        "power_coefficient": power,
        "thrust_coefficient": thrust,
        "shaft_power_w": 0.5 * density * area * air**3 * power,
        "thrust_n": 0.5 * density * area * air**2 * thrust,
        "solutions": found.changes,
        "stable_speeds_rad_s": [s * air / radius for s in found.stable] + [math.nan] * (6 - len(found.stable)),
        "starts": found.starts,
        "is_stalled": running and len(found.stable) > pick + 1,
        "beyond_table": ratio > last,
    }


UPWARD = replace(
    CURVES,
    tip_speed_ratio=RATIO[:5],
    power_coefficient=CURVES.power_coefficient[:, :5],
    thrust_coefficient=CURVES.thrust_coefficient[:, :5],
)
ROTOR = Rotor(CURVES, 0.8, 1.0, 1.2, 14.0)
CASES = [
    ({}, {}),
    ({"pitch_deg": -9.0, "air_speed_m_s": 9.0}, {"connection": "rectifier", "element_resistance_ohm": 20.0}),
    ({"pitch_deg": 7.0, "power_factor": 0.8, "thrust_factor": 1.2}, {"connection": "direct_current", "ratio": 4.0}),
    ({"pitch_deg": 40.0, "thrust_factor": 0.05}, {"element_resistance_ohm": 25.0}),
    ({"power_factor": 5.0, "air_speed_m_s": 8.0}, {"element_resistance_ohm": 40.0}),
    ({"radius_m": 1.3, "density_kg_m3": 1.0}, {"ratio": 6.0, "element_resistance_ohm": 150.0}),
    ({"pitch_deg": -2.0}, {"element_resistance_ohm": 14.0}),  # three speeds, the slow one is met first
    ({"pitch_deg": -2.0}, {"element_resistance_ohm": 14.0, "cogging_torque_n_m": 9.0}),  # held at standstill
    ({"air_speed_m_s": 2.0}, {"friction_torque_n_m": 1.0, "cogging_torque_n_m": 0.0}),  # too little wind
    ({"power_factor": 0.7, "air_speed_m_s": 6.0}, {"friction_torque_n_m": 0.49, "element_resistance_ohm": 1e3}),
    ({"pitch_deg": 3.0}, {"element_resistance_ohm": np.inf, "iron_loss_w": 0.0, "friction_torque_n_m": 0.0}),
    ({"pitch_deg": 12.0}, {"element_resistance_ohm": np.inf, "iron_loss_w": 5.0}),
    ({"curves": UPWARD}, {"element_resistance_ohm": 1e4, "iron_loss_w": 0.0}),  # nothing holds it
]


@pytest.mark.parametrize("after_spin_up", [False, True])
@pytest.mark.parametrize(("of_rotor", "of_chain"), CASES)
def test_every_figure_of_the_operating_point(
    of_rotor: dict[str, float], of_chain: dict[str, float], after_spin_up: bool
) -> None:
    rotor, chain = replace(ROTOR, **of_rotor), replace(CHAIN, **of_chain)
    point = solve(rotor=rotor, chain=chain, load_connected_after_spin_up=after_spin_up)
    for name, value in wanted_of(rotor, chain, after_spin_up=after_spin_up).items():
        assert getattr(point, name) == pytest.approx(value, rel=1e-9, abs=1e-9, nan_ok=True), name


def test_the_cases_meet_every_kind_of_answer() -> None:
    found = [settle(replace(ROTOR, **of_rotor), replace(CHAIN, **of_chain)) for of_rotor, of_chain in CASES]
    assert {len(one.stable) for one in found} == {0, 1, 2}
    assert {one.changes for one in found} == {0, 1, 2, 3}
    assert any(one.stable and not one.starts and one.changes % 2 for one in found)
    assert any(one.runs_away for one in found)


def test_conditions_together_are_those_alone() -> None:
    """Air, pitch and element broadcast; without air nothing turns and nothing pushes."""
    air, pitch = np.array([0.0, 1e-7, 9.0, 14.0]), np.array([[-2.0], [7.0]])
    point = solve(replace(ROTOR, air_speed_m_s=air, pitch_deg=pitch), replace(CHAIN, element_resistance_ohm=14.0))
    for f in fields(point):
        assert getattr(point, f.name).shape[:2] == (2, 4), f.name
    for i in range(2):
        for k in (2, 3):
            alone = replace(ROTOR, air_speed_m_s=air[k], pitch_deg=pitch[i, 0])
            wanted = wanted_of(alone, replace(CHAIN, element_resistance_ohm=14.0), after_spin_up=False)
            for name, value in wanted.items():
                found = getattr(point, name)[i, k]
                assert found == pytest.approx(value, rel=1e-9, abs=1e-9, nan_ok=True), name
    still = {f.name: getattr(point, f.name)[:, :2] for f in fields(point)}
    assert np.isnan(still.pop("stable_speeds_rad_s")).all()
    still.pop("thrust_coefficient")
    assert {name for name, values in still.items() if values.any()} == set()


NUMBERS = [f.name for f in fields(ElectricalChain) if f.name != "connection"]
NUMBERS += [f.name for f in fields(Rotor) if f.name not in ("curves", "departures")]


@pytest.mark.parametrize("name", NUMBERS)
def test_each_number_may_differ_from_condition_to_condition(name: str) -> None:
    here = {"element_resistance_ohm": 30.0} if name != "element_resistance_ohm" else {}
    rotor, chain = ROTOR, replace(CHAIN, connection="rectifier", **here)
    of = chain if hasattr(chain, name) else rotor
    values = np.array([1.0, 1.15]) * getattr(of, name)
    both = replace(of, **{name: values})
    point = solve(rotor, both) if of is chain else solve(both, chain)
    assert point.solutions.shape == (2,)
    for k in range(2):
        one = replace(of, **{name: float(values[k])})
        alone = solve(rotor, one) if of is chain else solve(one, chain)
        for f in fields(alone):
            wanted = getattr(alone, f.name)
            assert getattr(point, f.name)[k] == pytest.approx(wanted, rel=1e-9, abs=1e-12, nan_ok=True), f.name


@pytest.mark.parametrize("after_spin_up", [False, True])
def test_more_speeds_than_are_listed(after_spin_up: bool) -> None:
    """A saw of nine teeth over a steady torque: nine stable speeds, of which the six slowest are listed."""
    ratio = np.arange(0.0, 17.5, 0.5)
    torque = np.where(np.arange(ratio.size) % 4 < 2, 0.03, 0.02)  # power over tip-speed ratio: up, up, down, down
    curves = RotorCurves(ratio, np.array([0.0]), (torque * ratio)[None], np.full((1, ratio.size), 0.9))
    held = replace(CHAIN, element_resistance_ohm=np.inf, iron_loss_w=0.0, friction_torque_n_m=0.0)
    rotor = Rotor(curves, 0.8, 0.0, 1.2, 14.0)
    brake = 0.025 * 0.5 * 1.2 * math.pi * 0.8**3 * 14.0**2 * 0.9 / 2.5  # half way, at the generator's shaft
    chain = replace(held, friction_torque_n_m=brake)
    wanted = settle(rotor, chain)
    assert len(wanted.stable) == 9
    point = solve(rotor, chain, load_connected_after_spin_up=after_spin_up)
    assert point.stable_speeds_rad_s == pytest.approx(np.array(wanted.stable[:6]) * 14.0 / 0.8, rel=1e-9)
    assert int(point.solutions) == wanted.changes
    assert float(point.tip_speed_ratio) == pytest.approx(wanted.stable[5 if after_spin_up else 0], rel=1e-9)
    assert bool(point.is_stalled) != after_spin_up


def test_a_speed_that_holds_it_goes_before_a_gain_further_on() -> None:
    """From rest it stays at the first stable speed, though past a dip the air again outdoes the brake to the end."""
    ratio = np.arange(0.0, 6.5, 0.5)
    torque = np.where((ratio > 1) & (ratio < 3), 0.005, 0.03)  # power over tip-speed ratio
    curves = RotorCurves(ratio, np.array([0.0]), (torque * ratio)[None], np.full((1, ratio.size), 0.9))
    brake = 0.012 * 0.5 * 1.2 * math.pi * 0.8**3 * 14.0**2 * 0.9 / 2.5  # at the generator's shaft
    chain = replace(CHAIN, element_resistance_ohm=np.inf, iron_loss_w=0.0, friction_torque_n_m=brake)
    point = solve(Rotor(curves, 0.8, 0.0, 1.2, 14.0), chain)
    # Between 1 and 1.5 the power falls from 0.03 to 0.0075 in a line; 0.012 of torque there is that of
    # 0.03 − 0.045·(λ − 1) = 0.012·λ.
    assert float(point.tip_speed_ratio) == pytest.approx(0.075 / 0.057, rel=1e-9)
    assert int(point.solutions) == 2
    assert not point.beyond_table


@pytest.mark.parametrize("share", [0.999, 1.001])
def test_cogging_holds_what_the_air_cannot_overcome(share: float) -> None:
    # At standstill the torque coefficient is that of the table's first cell: 0.07 and 0.9 of it at 3 degrees.
    torque = 0.5 * 1.2 * math.pi * 0.8**3 * 14.0**2 * (0.07 + 0.6 * (0.063 - 0.07))
    friction = float(idle_torque_n_m(CHAIN, 0.0))
    chain = replace(CHAIN, cogging_torque_n_m=share * torque * 0.9 / 2.5)
    assert float(chain.cogging_torque_n_m) > friction
    assert bool(solve(replace(ROTOR, pitch_deg=1.0), chain).starts) == (share < 1)


def test_the_grid_holds_the_table_cut_into_equal_parts_and_goes_on_by_half() -> None:
    """Own choice: at least 48 parts in all, no more cuts than that takes; a quarter and a half past the end."""
    for table, parts in ((np.array([0.0, 1.0, 3.0, 4.0]), 10), (np.linspace(0, 8, 46), 2), (np.linspace(0, 8, 47), 1)):
        curves = replace(CURVES, tip_speed_ratio=table)
        corners = [*table, 1.25 * table[-1], 1.5 * table[-1]]
        points = [a + (b - a) * k / parts for a, b in itertools.pairwise(corners) for k in range(parts)]
        assert grid_of(curves) == pytest.approx([1e-3 * table[1], *points[1:], corners[-1]], rel=1e-12)


@pytest.mark.parametrize("pitches", [1, 3])
def test_coefficients_by_hand_inside_and_past_the_table(pitches: int) -> None:
    curves = replace(
        CURVES,
        pitch_deg=CURVES.pitch_deg[:pitches],
        power_coefficient=CURVES.power_coefficient[:pitches],
        thrust_coefficient=CURVES.thrust_coefficient[:pitches],
        stalled_torque_share=CURVES.stalled_torque_share[:pitches],
    )
    pitch, ratio = np.array([[-5.0], [0.4], [9.9], [33.0]]), np.array([-1.0, 0.3, 2.2, 5.5, 7.0, 7.01, 9.0])
    power, thrust, beyond = coefficients(curves, pitch, ratio)
    stalled = stalled_torque_share(curves, pitch, ratio)
    for i, angle in enumerate(pitch[:, 0]):
        for k, at in enumerate(ratio):
            assert power[i, k] == pytest.approx(power_of(curves, angle, at), abs=1e-12)
            assert thrust[i, k] == pytest.approx(between(curves.thrust_coefficient, angle, at, curves), abs=1e-12)
            assert beyond[i, k] == (at > 7.0)
            as_power = replace(curves, power_coefficient=curves.stalled_torque_share)
            share = min(max(power_of(as_power, angle, at), 0.0), 1.0)
            assert stalled[i, k] == pytest.approx(share, abs=1e-12)
    unknown = stalled_torque_share(replace(curves, stalled_torque_share=None), pitch, ratio)
    assert unknown.shape == (4, 7)
    assert np.isnan(unknown).all()


BUMP = CurveSlope("bump", 1.0, np.stack([0.1 * LOW, 0.08 * LOW, -0.01 * RATIO]), np.stack([0.02 * RATIO] * 3))
PUSH = CurveSlope("push", 0.0, np.zeros((3, 8)), np.stack([0.3 - 0.01 * RATIO] * 3))


@pytest.mark.parametrize("by", [(-3.0, 0.5), (2.0, -4.0), (0.0, 1.5), (40.0, 0.0)])
def test_departures_by_hand(by: tuple[float, float]) -> None:
    """Each slope times its departure is added, past the table its last value; no departure lifts a point of the table
    over Betz: (16/27 − Cp)/slope is least at the best point, here 5; power no higher than Betz, thrust no less than
    power."""
    rotor = replace(
        ROTOR, curves=replace(CURVES, slopes=(BUMP, PUSH)), departures=by, power_factor=1.2, thrust_factor=0.9
    )
    most = min((BETZ - LOW[k]) / (0.1 * LOW[k]) for k in range(1, 8))
    bent = min(by[0], most)
    ratio = np.array([0.3, 2.2, 5.0, 7.0, 9.0])
    power, thrust, beyond = coefficients_of(rotor, ratio)
    assert beyond.tolist() == [False, False, False, False, True]
    for k, at in enumerate(ratio):
        more = between(BUMP.power_coefficient, 1.0, min(at, 7.0), CURVES)
        wanted = min(1.2 * (power_of(CURVES, 1.0, at) + bent * more), BETZ)
        assert power[k] == pytest.approx(wanted, abs=1e-12)
        pushed = between(CURVES.thrust_coefficient, 1.0, at, CURVES)
        pushed += bent * between(BUMP.thrust_coefficient, 1.0, at, CURVES)
        pushed += by[1] * between(PUSH.thrust_coefficient, 1.0, at, CURVES)
        assert thrust[k] == pytest.approx(max(max(pushed, 0.0) * 0.9, wanted), abs=1e-12)
    # It settles where curves with the departures added in settle: those of its pitch alone, as they set the limit.
    added = [
        between(table + bent * bump + by[1] * push, 1.0, RATIO, CURVES)[None]
        for table, bump, push in (
            (CURVES.power_coefficient, BUMP.power_coefficient, PUSH.power_coefficient),
            (CURVES.thrust_coefficient, BUMP.thrust_coefficient, PUSH.thrust_coefficient),
        )
    ]
    alone = replace(rotor, curves=RotorCurves(RATIO, np.array([1.0]), *added), departures=())
    settled = solve(rotor, CHAIN)
    for name, value in wanted_of(alone, CHAIN, after_spin_up=False).items():
        assert getattr(settled, name) == pytest.approx(value, rel=1e-9, abs=1e-9, nan_ok=True), name


def test_the_load_cut_it_runs_to_where_the_curve_meets_friction_and_iron() -> None:
    still = replace(CHAIN, friction_torque_n_m=0.0, iron_loss_w=0.0)
    for pitch, ratio in ((12.0, 5.2), (-2.0, 7 + 0.05 / 0.17)):  # zero of Cp between the points, or on its last line
        speed = float(free_run_speed_rad_s(replace(ROTOR, pitch_deg=pitch), still))
        assert speed == pytest.approx(ratio * 14.0 / 0.8, rel=1e-9)
    held = float(free_run_speed_rad_s(replace(ROTOR, pitch_deg=12.0), CHAIN))
    wind = 0.5 * 1.2 * math.pi * 0.8**2 * 14.0**3 * power_of(CURVES, 12.0, held * 0.8 / 14.0)
    assert wind == pytest.approx(held * 2.5 * float(idle_torque_n_m(CHAIN, held * 2.5)) / 0.9, rel=1e-9)


def test_whether_the_free_running_speed_is_known_at_every_pitch() -> None:
    assert free_run_is_known(CURVES, np.array([-2.0, 3.0, 12.0]))
    rising = replace(CURVES, power_coefficient=np.stack([RATIO / 20, LOW, HIGH]))
    assert free_run_is_known(rising, 12.0)
    assert not free_run_is_known(rising, np.array([12.0, -2.0]))
