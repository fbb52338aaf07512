"""Rotor curves recomputed point by point: momentum theory (Betz 1920; Buhl, NREL/TP-500-36834, from memory) solved by
halving; each limit of a curve file on both sides."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.aero.curves import (
    CurveSlope,
    RotorCurves,
    at_pitch,
    estimate_thrust_coefficient,
    free_running_tip_speed_ratio,
    least_thrust_coefficient,
    more_power_than_thrust,
    read_curves,
    thrust_coefficient_of_lift,
    with_departures,
    with_standstill,
    with_thrust_in_stall,
    write_curves,
)
from vehicle.problems import InputError

BETZ = 16 / 27
RATIO = np.array([0.0, 1.5, 3.0, 4.0, 6.0, 7.0])
POWER = np.array([[0.0, 0.05, 0.30, 0.42, 0.33, -0.05], [0.0, 0.11, 0.21, 0.19, 0.02, -0.3]])
THRUST = np.array([[0.1, 0.3, 0.6, 0.9, 1.0, 1.1], [0.12, 0.2, 0.3, 0.33, 0.2, -0.1]])
CURVES = RotorCurves(RATIO, np.array([1.0, 9.0]), POWER, THRUST, notes=("first",))


def thrust_of(induction: float) -> float:
    """Betz to 0.4, above it the line without loss: 8/9 − 4/9·a + 14/9·a²."""
    a = induction
    return 4 * a * (1 - a) if a <= 0.4 else (8 - 4 * a + 14 * a * a) / 9


def light_induction(power: float) -> float:
    """The smaller a with 4a(1−a)² = power, by halving between none and a third."""
    low, high = 0.0, 1 / 3
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if 4 * middle * (1 - middle) ** 2 < power else (low, middle)
    return low


def estimated(power: np.ndarray, p: int, k: int) -> float:
    """The table's best point is loaded like the ideal rotor; left of a pitch's best the light root of its share of
    that power, right of it the induction grows by half towards no power; no less than the power, nor than 0.05."""
    share = min(max(power[p, k] / power.max(), 0.0), 1.0)
    at = int(np.argmax(power[p]))
    if k <= at:
        a = light_induction(BETZ * share)
    else:
        left = min(max(power[p, k] / power[p, at], 0.0), 1.0)
        a = light_induction(BETZ * power[p, at] / power.max()) * (1 + 0.5 * (1 - left))
    return max(thrust_of(a), power[p, k], 0.05)


def test_estimated_thrust_point_by_point() -> None:
    found = estimate_thrust_coefficient(RATIO, POWER)
    for p in range(2):
        for k in range(6):
            assert found[p, k] == pytest.approx(estimated(POWER, p, k), abs=1e-8)


def test_estimated_thrust_of_a_rotor_that_gives_nothing() -> None:
    # No power anywhere: none is the best, the thrust the least that is taken (own choice, 0.05).
    assert estimate_thrust_coefficient(RATIO, np.zeros((2, 6))) == pytest.approx(np.full((2, 6), 0.05))
    # Of a pitch without power beside one with: light root of none.
    found = estimate_thrust_coefficient(RATIO, np.array([POWER[0], np.zeros(6)]))
    assert found[1] == pytest.approx(np.full(6, 0.05))


def test_thrust_in_stall_point_by_point() -> None:
    """(1 + 1.5·(1 − Cp/best)³) times the estimate left of each pitch's best, as it stands from the best on."""
    found = with_thrust_in_stall(CURVES)
    (slope,) = found.slopes
    assert (slope.key, slope.stated) == ("rotor.thrust_in_stall", 1.5)
    assert not slope.power_coefficient.any()
    assert slope.power_coefficient.shape == (2, 6)
    for p, best in ((0, 3), (1, 2)):
        for k in range(6):
            lost = 1 - POWER[p, k] / POWER[p, best] if k < best else 0.0
            assert slope.thrust_coefficient[p, k] == pytest.approx(THRUST[p, k] * lost**3, abs=1e-12)
            assert found.thrust_coefficient[p, k] == pytest.approx(THRUST[p, k] * (1 + 1.5 * lost**3), abs=1e-12)
    driven = replace(CURVES, power_coefficient=POWER - 0.1)  # more than all of the power is not lost
    assert with_thrust_in_stall(driven).thrust_coefficient[:, 0] == pytest.approx(2.5 * THRUST[:, 0])


@pytest.mark.parametrize("power", [-0.1, 0.0, 0.1, 0.45, BETZ - 1e-9, 0.7, 1.3])
def test_least_thrust_by_halving(power: float) -> None:
    a = light_induction(min(max(power, 0.0), BETZ))
    assert float(least_thrust_coefficient(power)) == pytest.approx(
        max(4 * a * (1 - a), power, 0.0), abs=1e-4 if power > 0.59 else 1e-8
    )


@pytest.mark.parametrize(
    ("solidity", "lift", "ratio"), [(0.05, 1.0, 2.0), (0.2, 0.7, 1.0), (0.1, 1.0, 5.6), (0.1, 1.0, 5.7)]
)
def test_thrust_of_lift_by_strips(solidity: float, lift: float, ratio: float) -> None:
    """Mean over the disc of σ·Cl times relative speed squared, its axial part 2/3 of the free air; no more than 1.1."""
    x = (np.arange(20_000) + 0.5) / 20_000
    mean = np.sum(2 * x * ((ratio * x) ** 2 * 2 / 3 + 4 / 9)) / 20_000
    assert mean == pytest.approx(ratio**2 / 3 + 4 / 9, rel=1e-6)
    assert float(thrust_coefficient_of_lift(solidity, lift, ratio)) == pytest.approx(min(solidity * lift * mean, 1.1))


def test_the_best_point_of_a_table() -> None:
    assert CURVES.best == (1.0, 4.0, 0.42)
    assert replace(CURVES, power_coefficient=POWER[::-1]).best == (9.0, 4.0, 0.42)


@pytest.mark.parametrize("pitch", [-3.0, 1.0, 4.0, 9.0, 20.0])
def test_between_pitches_on_a_straight_line(pitch: float) -> None:
    share = (min(max(pitch, 1.0), 9.0) - 1.0) / 8.0
    assert at_pitch(POWER, CURVES, pitch) == pytest.approx(POWER[0] + share * (POWER[1] - POWER[0]), abs=1e-12)
    alone = RotorCurves(RATIO, np.array([4.0]), POWER[:1], THRUST[:1])
    assert at_pitch(POWER[:1], alone, np.array([[pitch, 2.0]])).shape == (1, 2, 6)
    assert at_pitch(POWER[:1], alone, pitch) == pytest.approx(POWER[0])


def test_free_running_by_hand() -> None:
    # Between the points of 6 and 7: 6 + 0.33/0.38; at 9 degrees 6 + 0.02/0.32; half way 6 + 0.175/0.35.
    for pitch, wanted in ((1.0, 6 + 0.33 / 0.38), (9.0, 6 + 0.02 / 0.32), (5.0, 6.5)):
        assert free_running_tip_speed_ratio(CURVES, pitch) == pytest.approx(wanted, rel=1e-12)

    def of(*power: float) -> float:
        table = RotorCurves(RATIO[: len(power)], np.array([0.0]), np.array([power]), np.ones((1, len(power))))
        return free_running_tip_speed_ratio(table, 0.0)

    assert of(0.0, 0.2, 0.0) == 3.0
    assert of(0.0, 0.2, -0.1, 0.3, -0.3) == pytest.approx(4 + 2 * 0.5)
    assert of(0.0, 0.1, 0.3, 0.2) == pytest.approx(4 + 0.2 / 0.1)  # on along the last slope, −0.1 per unit
    assert math.isnan(of(0.0, 0.1, 0.2, 0.2))
    assert math.isnan(of(0.0, 0.1, 0.2, 0.3))
    assert math.isnan(of(0.0, -0.1, -0.2, -0.3))
    assert math.isnan(of(0.0, -0.1, -0.2, 0.0))


def test_departures_are_added_and_power_held_to_betz() -> None:
    slopes = (
        CurveSlope("one", 0.0, np.full((2, 6), 0.1), np.full((2, 6), 0.2)),
        CurveSlope("two", 1.0, POWER, np.full((2, 6), -0.4)),
    )
    found = with_departures(replace(CURVES, slopes=slopes), (2.0, -0.5))
    assert found.power_coefficient == pytest.approx(POWER + 0.2 - 0.5 * POWER, abs=1e-12)
    assert found.thrust_coefficient == pytest.approx(THRUST + 0.4 + 0.2, abs=1e-12)
    assert found.slopes == ()
    most = with_departures(replace(CURVES, slopes=slopes), (3.0, 0.0))
    assert most.power_coefficient == pytest.approx(np.minimum(POWER + 0.3, BETZ), abs=1e-12)
    with pytest.raises(ValueError, match="shorter"):
        with_departures(replace(CURVES, slopes=slopes), (1.0,))


def test_a_first_column_at_standstill() -> None:
    inside = replace(CURVES, power_coefficient=POWER + 0.01)
    found = with_standstill(inside)
    assert found.power_coefficient[:, 0].tolist() == [0.0, 0.0]
    assert found.power_coefficient[:, 1:] == pytest.approx(POWER[:, 1:] + 0.01)
    assert inside.power_coefficient[0, 0] == 0.01  # what was given is left as it was
    assert (found.notes, found.tip_speed_ratio.tolist()) == (("first",), RATIO.tolist())
    cut = RotorCurves(RATIO[1:], CURVES.pitch_deg, POWER[:, 1:], THRUST[:, 1:], notes=("first",))
    found = with_standstill(cut)
    assert found.tip_speed_ratio == pytest.approx(RATIO)
    assert found.power_coefficient == pytest.approx(POWER)
    assert found.thrust_coefficient == pytest.approx(np.concatenate([THRUST[:, 1:2], THRUST[:, 1:]], axis=1))
    assert found.notes == (
        "first",
        "below tip-speed ratio 1.5 the curve file is silent: its first torque and thrust are held to standstill",
    )


@pytest.mark.parametrize(
    ("thrust", "most"),
    # Ct·(1 − a), by halving of 4a(1−a) = Ct; 3 % and 0.002 more are allowed; above 0.96 the power is below the thrust.
    [(0.3, None), (0.75, 0.75 * 0.75), (8 / 9, BETZ), (0.96, 0.96 * 0.6), (0.9601, None), (1.1, None)],
)
def test_the_most_power_that_a_thrust_can_give(thrust: float, most: float | None) -> None:
    disc = most or thrust * (1 - (1 - math.sqrt(max(1 - thrust, 0.0))) / 2)
    limit = thrust if thrust > 0.96 else disc * 1.03 + 0.002
    for off, told in ((-1e-4, 0), (1e-4, 1)):
        power = np.array([[0.0, limit + off, 0.0]])
        table = RotorCurves(np.array([0.0, 2.5, 4.0]), np.array([7.0]), power, np.full((1, 3), thrust))
        found = more_power_than_thrust(table)
        assert len(found) == told
        for place, read, accepted in found:
            assert place == "pitch 7 deg, tip-speed ratio 2.5"
            assert read == f"power coefficient {limit + off:g} with thrust coefficient {thrust:g}"
            assert accepted.endswith("with that thrust (thrust times the air speed at the disc)")
            if thrust <= 0.96:
                assert accepted.startswith(f"at most {(limit - 0.002) / 1.03:.3f} with")


def test_no_more_than_five_impossible_points_are_named() -> None:
    table = RotorCurves(np.arange(8.0), np.array([0.0]), np.full((1, 8), 0.5), np.full((1, 8), 0.2))
    assert [place for place, _, _ in more_power_than_thrust(table)] == [
        f"pitch 0 deg, tip-speed ratio {k}" for k in range(5)
    ]


def read(folder: Path, rows: str, head: str = "tip_speed_ratio,power_coefficient,thrust_coefficient") -> RotorCurves:
    path = folder / "c.csv"
    path.write_text(f"{head}\n{rows}\n", encoding="utf-8")
    return read_curves(path)


def faults(folder: Path, rows: str, head: str = "tip_speed_ratio,power_coefficient,thrust_coefficient") -> list[tuple]:
    with pytest.raises(InputError) as caught:
        read(folder, rows, head)
    return [(p.where, p.key, p.read, p.accepted) for p in caught.value.problems]


def test_every_fault_of_a_curve_file_is_named(tmp_path: Path) -> None:
    assert faults(tmp_path, "0,0,0.1\n2,0.2,0.5") == [
        ("c.csv", "column tip_speed_ratio", "2 different values", "at least 3")
    ]
    assert faults(tmp_path, "-0.5,0,0.1\n2,0.2,0.5\n3,0.2,0.5") == [
        ("c.csv", "column tip_speed_ratio", "-0.5", "0 or more")
    ]
    one = "one row for each tip-speed ratio at each pitch"
    assert faults(tmp_path, "0,0,0.1\n2,0.2,0.5\n2,0.2,0.5\n3,0.2,0.5") == [
        ("c.csv", "pitch 0 deg, tip-speed ratio 2", "given more than once", one)
    ]
    head = "pitch_deg,tip_speed_ratio,power_coefficient"
    rows = "\n".join(f"0,{k},0.1" for k in range(9)) + "\n4,0,0.1\n4,8,0.1"
    assert faults(tmp_path, rows, head) == [
        ("c.csv", f"pitch 4 deg, tip-speed ratio {k}", "missing", one) for k in range(1, 6)
    ]
    assert faults(tmp_path, "0,0,0.1\n2,0.61,1\n3,0.2,2.6") == [
        ("c.csv", "column power_coefficient, tip-speed ratio 2", "0.61", "at most 16/27 = 0.5926, the Betz limit"),
        ("c.csv", "column thrust_coefficient, tip-speed ratio 3", "2.6", "up to 2.5 (a flat plate has about 1.2)"),
    ]
    assert faults(tmp_path, "0,0,0.1\n2,0.3,0.3\n3,0.2,1")[0][1:3] == (
        "pitch 0 deg, tip-speed ratio 2",
        "power coefficient 0.3 with thrust coefficient 0.3",
    )


def test_what_is_just_within_each_limit_is_read(tmp_path: Path) -> None:
    found = read(tmp_path, f"0,0,0.1\n2,{BETZ + 9e-7},1\n3,0.2,2.5000009\n4,0,3\n5,-0.1,9")
    assert found.thrust_coefficient[0].tolist() == [0.1, 1.0, 2.5000009, 3.0, 9.0]  # driven, it brakes as it will
    assert faults(tmp_path, f"0,0,0.1\n2,{BETZ + 2e-6},1\n3,0.2,2.500002")[1][2] == "2.5"


def test_rows_of_a_file_land_at_their_pitch_and_ratio(tmp_path: Path) -> None:
    head = "power_coefficient,pitch_deg,tip_speed_ratio,thrust_coefficient"
    rows = [
        f"{POWER[p, k]},{pitch},{RATIO[k]},{abs(THRUST[p, k]) + 0.3}"
        for k in (3, 0, 5, 1, 4, 2)
        for p, pitch in ((1, 9), (0, 1))
    ]
    found = read(tmp_path, "\n".join(rows), head)
    assert found.pitch_deg.tolist() == [1.0, 9.0]
    assert found.tip_speed_ratio == pytest.approx(RATIO)
    assert found.power_coefficient == pytest.approx(POWER)
    assert found.thrust_coefficient == pytest.approx(np.abs(THRUST) + 0.3)
    assert (found.notes, found.slopes, found.thrust_is_estimated) == ((), (), False)


def test_a_file_without_thrust_is_estimated_and_raised_in_stall(tmp_path: Path) -> None:
    head = "tip_speed_ratio,power_coefficient"
    found = read(tmp_path, "\n".join(f"{RATIO[k]},{POWER[0, k]}" for k in range(6)), head)
    assert found.thrust_is_estimated
    assert found.notes == (
        "thrust estimated from the power coefficient by momentum theory: the curve file has no thrust_coefficient",
    )
    for k in range(6):
        lost = 1 - POWER[0, k] / 0.42 if k < 3 else 0.0
        wanted = estimated(POWER[:1], 0, k) * (1 + 1.5 * lost**3)
        assert found.thrust_coefficient[0, k] == pytest.approx(wanted, abs=1e-7)


def test_curves_are_written_row_by_row(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    write_curves(path, replace(CURVES, notes=("one  note\nin two lines", "two")))
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[:3] == [
        "# one note in two lines",
        "# two",
        "tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient",
    ]
    cells = [[float(cell) for cell in line.split(",")] for line in lines[3:]]
    assert cells == [
        [RATIO[k], pitch, POWER[p, k], THRUST[p, k]] for p, pitch in enumerate((1.0, 9.0)) for k in range(6)
    ]
    with pytest.raises(InputError):
        write_curves(path, CURVES)
    write_curves(path, CURVES, force=True)
    assert path.read_text(encoding="utf-8").startswith("# first\n")
    with pytest.raises(InputError):
        write_curves(path=path, curves=CURVES, inputs=[path], force=True)
