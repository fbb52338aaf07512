"""What a vehicle of a mass usually has, held against the certified vehicles it was fitted to, and gears by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from energy.scenario.demos import published_folder
from vehicle.driving import typical

LBF_N, MPH_M_S, LB_KG = 4.4482216152605, 0.44704, 0.45359237


@pytest.fixture(scope="module")
def certified() -> pd.DataFrame:
    return pd.read_csv(published_folder() / "certified_fuel" / "vehicles.csv")


def _share_inside(law: typical.Law, mass_kg: pd.Series, value: pd.Series) -> tuple[float, float]:
    """Return the median of the value over the law, and the share of vehicles inside its range."""
    middle, low, high = law.at(mass_kg.to_numpy(float))  # type: ignore[arg-type]
    return float(np.median(value / middle)), float(np.mean((value >= low) & (value <= high)))


@pytest.mark.parametrize("kind", ["car", "truck"])
def test_road_load_of_certified_vehicles(certified: pd.DataFrame, kind: str) -> None:
    # US EPA test car lists. Force at 50 and 110 km/h: A and C with B = 0 stand for A, B and C.
    rows = certified[(certified.vehicle_type == kind) & (certified.coastdown_a_lbf <= 100)]
    mass = rows.equivalent_test_weight_lb.to_numpy() * LB_KG
    for speed in (50 / 3.6, 110 / 3.6):
        mph = speed / MPH_M_S
        pounds = rows.coastdown_a_lbf + rows.coastdown_b_lbf_per_mph * mph + rows.coastdown_c_lbf_per_mph2 * mph**2
        law = typical.CONSTANT_N[kind].at(mass)[0] + typical.SQUARE_N_S2_M2[kind].at(mass)[0] * speed**2
        assert np.median(pounds * LBF_N / law) == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("kind", ["car", "truck"])
def test_nine_certified_vehicles_in_ten_lie_within_the_ends(certified: pd.DataFrame, kind: str) -> None:
    """A and C with B = 0 that give each vehicle's own force at 50 and 110 km/h: some 5 % lie beyond either end."""
    rows = certified[(certified.vehicle_type == kind) & (certified.coastdown_a_lbf <= 100)]
    slow, fast = 50 / 3.6, 110 / 3.6
    force = [
        LBF_N * (rows.coastdown_a_lbf + rows.coastdown_b_lbf_per_mph * mph + rows.coastdown_c_lbf_per_mph2 * mph**2)
        for mph in (slow / MPH_M_S, fast / MPH_M_S)
    ]
    square = (force[1] - force[0]) / (fast**2 - slow**2)
    mass = rows.equivalent_test_weight_lb.to_numpy() * LB_KG
    laws = (typical.CONSTANT_N[kind], force[0] - square * slow**2), (typical.SQUARE_N_S2_M2[kind], square)
    for law, value in laws:
        _, low, high = law.at(mass)
        assert 0.03 < np.mean(value < low) < 0.08
        assert 0.03 < np.mean(value > high) < 0.08


@pytest.mark.parametrize("fuel", ["petrol", "diesel"])
def test_engine_and_top_gear_of_certified_vehicles(certified: pd.DataFrame, fuel: str) -> None:
    rows = certified[certified.fuel == fuel]
    mass = rows.equivalent_test_weight_lb * LB_KG
    turns = rows.engine_rpm_per_mph_top_gear * np.pi / 30 / MPH_M_S
    for law, value in ((typical.DISPLACEMENT_L[fuel], rows.displacement_l), (typical.TOP_GEAR_RAD_M[fuel], turns)):
        middle, inside = _share_inside(law, mass, value)
        assert middle == pytest.approx(1, abs=0.07)
        assert inside > 0.85


def test_gears_in_equal_steps_by_hand() -> None:
    # Five gears: first over top 4.6, a step of 4.6^(1/4) = 1.4645.
    gears = typical.spaced_gears(0.1, 5)
    assert gears[-1] == pytest.approx(0.1)
    assert gears[-1] / gears[0] == pytest.approx(4.6)
    assert gears[1:] / gears[:-1] == pytest.approx([1.4645] * 4, rel=1e-4)
    assert typical.spaced_gears(0.1, 10)[0] == pytest.approx(0.1 / 7.6)


def test_more_gears_spread_wider_and_nine_as_wide_as_ten() -> None:
    gears = {number: typical.spaced_gears(0.2, number) for number in range(4, 11)}
    spread = [float(each[-1] / each[0]) for each in gears.values()]
    assert (np.diff(spread[:6]) > 0).all()
    assert spread[5] == pytest.approx(spread[6])
    assert all(each[-1] == 0.2 for each in gears.values())


@pytest.mark.parametrize(
    ("law", "column", "kind"),
    [
        (lambda: typical.CONSTANT_N["car"], "a", "car"),
        (lambda: typical.CONSTANT_N["truck"], "a", "truck"),
        (lambda: typical.SQUARE_N_S2_M2["car"], "c", "car"),
        (lambda: typical.SQUARE_N_S2_M2["truck"], "c", "truck"),
        (lambda: typical.DISPLACEMENT_L["petrol"], "litres", "petrol"),
        (lambda: typical.DISPLACEMENT_L["diesel"], "litres", "diesel"),
        (lambda: typical.TOP_GEAR_RAD_M["petrol"], "turns", "petrol"),
        (lambda: typical.TOP_GEAR_RAD_M["diesel"], "turns", "diesel"),
    ],
)
def test_laws_are_near_a_regression_of_logarithms(certified: pd.DataFrame, law, column: str, kind: str) -> None:
    """Least squares of log(value) over log(mass / 1800 kg) on the same vehicles: another fit, near by."""
    of_road = column in ("a", "c")
    rows = certified[(certified.vehicle_type if of_road else certified.fuel) == kind]
    slow, fast = (
        LBF_N * (rows.coastdown_a_lbf + rows.coastdown_b_lbf_per_mph * mph + rows.coastdown_c_lbf_per_mph2 * mph**2)
        for mph in (50 / 3.6 / MPH_M_S, 110 / 3.6 / MPH_M_S)
    )
    square = (fast - slow) / ((110 / 3.6) ** 2 - (50 / 3.6) ** 2)
    value = {
        "a": slow - square * (50 / 3.6) ** 2,
        "c": square,
        "litres": rows.displacement_l,
        "turns": rows.engine_rpm_per_mph_top_gear * np.pi / 30 / MPH_M_S,
    }[column]
    mass = np.log(rows.equivalent_test_weight_lb * LB_KG / 1800)
    power, level = np.polyfit(mass, np.log(value), 1)
    found = law()
    assert found.at_1800_kg == pytest.approx(np.exp(level), rel=0.07)
    assert found.power == pytest.approx(power, abs=0.2)
    low, high = np.exp(np.quantile(np.log(value) - level - power * mass, [0.05, 0.95]))
    assert (found.low_factor, found.high_factor) == pytest.approx((low, high), abs=0.15)
