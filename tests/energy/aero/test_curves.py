from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.aero import curves as rotor
from energy.aero.curves import RotorCurves, read_curves
from energy.aero.momentum import BETZ_LIMIT
from energy.aero.operating_point import coefficients
from vehicle.problems import InputError


def write(folder: Path, text: str) -> Path:
    path = folder / "curves.csv"
    path.write_text(text, encoding="utf-8")
    return path


GOOD = "tip_speed_ratio,power_coefficient,thrust_coefficient\n0,0,0.1\n2,0.2,0.4\n4,0.35,0.7\n6,0.2,0.8\n"


def test_reads_curves_and_finds_their_best(tmp_path: Path) -> None:
    curves = read_curves(write(tmp_path, GOOD))
    assert curves.best == (0.0, 4.0, 0.35)
    assert not curves.thrust_is_estimated


def test_rows_in_any_order_and_several_pitches(tmp_path: Path) -> None:
    rows = ["4,3,0.3,0.6", "0,0,0,0.1", "4,0,0.35,0.7", "0,3,0,0.1", "2,3,0.15,0.3", "2,0,0.2,0.4"]
    curves = read_curves(
        write(tmp_path, "tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient\n" + "\n".join(rows))
    )
    np.testing.assert_array_equal(curves.pitch_deg, [0, 3])
    np.testing.assert_array_equal(curves.power_coefficient, [[0, 0.2, 0.35], [0, 0.15, 0.3]])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("4,0.35,0.7", "4,0.60,0.9"), "Betz"),
        (("4,0.35,0.7", "4,0.35,0.36"), "thrust times the air speed at the disc"),
        (("6,0.2,0.8", "4,0.2,0.8"), "more than once"),
        (("6,0.2,0.8", "6,0.2,9"), "up to 2.5"),
        (("0,0,0.1", "-1,0,0.1"), "0 or more"),
        (("power_coefficient", "cp"), "missing"),
        (("2,0.2,0.4\n4,0.35,0.7\n", ""), "at least 3"),
    ],
)
def test_refuses_curves_that_cannot_be(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_curves(write(tmp_path, GOOD.replace(*change)))


@pytest.mark.parametrize(
    ("powers", "refused"),
    [
        ((0, -0.2, -0.35, -0.2), True),  # the other sign throughout
        ((0, -0.2, -0.35, 0.1), True),  # with the end where a rotor is driven
        ((0, 0, 0, 0), True),
        ((0, -0.05, 0.35, -0.9), False),  # little torque at the start, driven at the end
    ],
)
def test_power_of_the_other_sign_is_refused(tmp_path: Path, powers: tuple[float, ...], refused: bool) -> None:
    ratios = (0, 2, 4, 6)
    rows = "".join(f"{ratio},{power}\n" for ratio, power in zip(ratios, powers, strict=True))
    path = write(tmp_path, f"tip_speed_ratio,power_coefficient\n{rows}")
    if not refused:
        assert read_curves(path).best[1] == 4
        return
    with pytest.raises(InputError) as error:
        read_curves(path)
    (problem,) = error.value.problems
    assert problem.key == "column power_coefficient"
    assert problem.read == f"{min(powers):g} to {max(powers):g}"


def test_a_hole_in_the_grid_is_told(tmp_path: Path) -> None:
    text = "tip_speed_ratio,pitch_deg,power_coefficient\n0,0,0\n2,0,0.2\n4,0,0.3\n0,3,0\n2,3,0.1\n"
    with pytest.raises(InputError, match="pitch 3 deg, tip-speed ratio 4: missing"):
        read_curves(write(tmp_path, text))


def test_power_alone_gives_an_estimated_thrust_and_says_so(tmp_path: Path) -> None:
    curves = read_curves(
        write(tmp_path, "tip_speed_ratio,power_coefficient\n0,0\n2,0.15\n4,0.32\n5,0.30\n6,0.2\n8,-0.05\n")
    )
    assert curves.thrust_is_estimated
    assert "estimated" in curves.notes[0]
    best = np.argmax(curves.power_coefficient[0])
    assert curves.thrust_coefficient[0, best] == pytest.approx(8 / 9)
    assert not rotor.more_power_than_thrust(curves)
    right = curves.thrust_coefficient[0, best:]
    assert (np.diff(right) >= 0).all()


@given(st.lists(st.floats(0.01, BETZ_LIMIT - 1e-6), min_size=3, max_size=12))
def test_estimated_thrust_always_covers_the_power(powers: list[float]) -> None:
    cp = np.array([powers])
    ct = rotor.estimate_thrust_coefficient(np.arange(len(powers)), cp)
    assert (ct >= cp).all()
    assert (ct <= 1.2).all()


@given(st.floats(1e-4, 1 / 3))
def test_the_least_thrust_is_that_of_the_light_ideal_rotor(a: float) -> None:
    # Momentum theory (Betz): Cp = 4a(1-a)^2 takes Ct = 4a(1-a).
    assert float(rotor.least_thrust_coefficient(4 * a * (1 - a) ** 2)) == pytest.approx(4 * a * (1 - a), abs=1e-6)


def test_thrust_of_turning_blades_by_hand() -> None:
    # 0.1 * 0.8 * (25/3 + 4/9) = 0.70222; past 1.1 it stays there: 0.18 * 1.6 * (64/3 + 4/9) = 6.3.
    assert rotor.thrust_coefficient_of_lift(0.1, 0.8, np.array([5.0])) == pytest.approx([0.702222], abs=1e-6)
    assert rotor.thrust_coefficient_of_lift(0.18, 1.6, 8.0) == pytest.approx(1.1)


def test_thrust_without_a_column_is_raised_in_stall_and_not_beyond_the_best(tmp_path: Path) -> None:
    # Left of the best, at half of its power: (1 + 1.5 * 0.5^3) times the estimate; its slope is 0.5^3 of the estimate.
    curves = read_curves(write(tmp_path, "tip_speed_ratio,power_coefficient\n0,0\n2,0.16\n4,0.32\n6,0.16\n"))
    plain = rotor.estimate_thrust_coefficient(curves.tip_speed_ratio, curves.power_coefficient)[0]
    assert curves.thrust_coefficient[0] == pytest.approx(plain * [2.5, 1.1875, 1.0, 1.0])
    (slope,) = curves.slopes
    assert (slope.key, slope.stated) == ("rotor.thrust_in_stall", 1.5)
    assert slope.thrust_coefficient[0] == pytest.approx(plain * [1.0, 0.125, 0.0, 0.0])
    assert not slope.power_coefficient.any()


def test_a_table_that_begins_above_standstill_is_held_and_said(tmp_path: Path) -> None:
    curves = read_curves(write(tmp_path, GOOD.replace("0,0,0.1\n", "")))
    assert curves.tip_speed_ratio[0] == 0
    assert "held to standstill" in curves.notes[0]
    # Torque coefficient Cp/λ is constant below the first ratio of the table.
    cp, ct, _ = coefficients(curves, 0.0, np.array([0.5, 1.0, 2.0]))
    np.testing.assert_allclose(cp / np.array([0.5, 1.0, 2.0]), 0.1)
    np.testing.assert_allclose(ct, 0.4)


def table() -> RotorCurves:
    ratio = np.array([0.0, 2.0, 4.0, 6.0])
    pitch = np.array([0.0, 10.0])
    return RotorCurves(
        ratio,
        pitch,
        np.array([[0, 0.2, 0.35, 0.2], [0, 0.1, 0.15, -0.1]]),
        np.array([[0.1, 0.4, 0.7, 0.8], [0.1, 0.2, 0.3, 0.2]]),
    )


@given(st.floats(-5, 20), st.floats(0, 9))
def test_interpolation_stays_between_its_neighbours(pitch: float, ratio: float) -> None:
    curves = table()
    cp, ct, beyond = coefficients(curves, pitch, ratio)
    assert bool(beyond) == (ratio > 6)
    assert float(cp) <= 0.35 + 1e-12
    assert 0.1 - 1e-12 <= float(ct) <= 0.8 + 1e-12


def test_free_running_is_where_power_falls_through_zero() -> None:
    curves = table()
    assert rotor.free_running_tip_speed_ratio(curves, 10.0) == pytest.approx(5.2)  # 4 + 2·0.15/0.25
    assert rotor.free_running_tip_speed_ratio(curves, 0.0) == pytest.approx(6 + 0.2 / 0.075)
    rising = RotorCurves(
        np.array([0.0, 2.0, 4.0]), np.array([0.0]), np.array([[0, 0.1, 0.2]]), np.array([[0.1, 0.3, 0.4]])
    )
    assert np.isnan(rotor.free_running_tip_speed_ratio(rising, 0.0))


def test_estimated_thrust_by_hand() -> None:
    # The best point counts as the ideal rotor, a = 1/3: Ct = 8/9. At half of its power on the left a is the light root
    # of 4a(1-a)^2 = 8/27, and Ct = 4a(1-a).
    # Right of it a grows from 1/3 by half towards free running: at half power 1/3 * 1.25 = 0.41667, on Buhl's line
    # 8/9 - 4/9 a + 14/9 a^2 = 0.97377; free running a = 0.5, Ct = 1.05556. Standing still: at least 0.05.
    ratio, power = np.arange(5.0), np.array([0.0, 0.2, 0.4, 0.2, 0.0])
    (thrust,) = rotor.estimate_thrust_coefficient(ratio, power)
    light = min(np.roots([4.0, -8.0, 4.0, -8.0 / 27.0]).real)  # 4a^3 - 8a^2 + 4a = 8/27
    assert thrust == pytest.approx([0.05, 4 * light * (1 - light), 8 / 9, 0.973765, 1.055556], abs=1e-6)
    # Never less thrust than power: a rotor all but without power still pushes with a share of its best.
    (weak,) = rotor.estimate_thrust_coefficient(ratio, np.array([0.0, 1e-4, 0.4, 0.2, 0.0]))
    assert weak[1] == 0.05
