"""The loads to start from: in order, in range, and each number with its source."""

import pytest

from energy.heat.kinds import CONTENTS_J_KG_K, _positive, domestic_oven, insulated_box, small_electric_oven, water_tank
from energy.heat.load import faults, food_specific_heat_j_kg_k
from energy.heat.steps import HeaterError

LOADS = [water_tank(30.0), water_tank(5.0, vented=False), insulated_box(60.0), small_electric_oven(), domestic_oven()]


@pytest.mark.parametrize("load", LOADS, ids=lambda load: load.name)
def test_ranges_are_in_order_and_sourced(load):
    for numbers in (load.heat_capacity_j_k, load.loss_w_k):
        assert 0 < numbers.low < numbers.value < numbers.high
    assert load.capacity_source
    assert load.loss_source
    assert faults(load.heater()) == []


def test_a_tank_by_hand():
    # 30 L: 29.7 kg * 4186 J/(kg K) = 124.3 kJ/K and 4.5 kg of steel * 490 = 2.2 kJ/K; class C limit at 30 L is
    # 16.66 + 8.33 * 30^0.4 = 49.1 W over 45 K = 1.09 W/K
    tank = water_tank(30.0)
    assert tank.heat_capacity_j_k.value == pytest.approx(126.5e3, rel=1e-3)
    assert tank.loss_w_k.value == pytest.approx(1.092, rel=2e-3)
    assert tank.water_kg == pytest.approx(29.7)
    assert water_tank(30.0, vented=False).water_kg == 0
    half = water_tank(30.0, full=0.5)
    assert half.heat_capacity_j_k.value < 0.6 * tank.heat_capacity_j_k.value
    assert half.loss_w_k.value == tank.loss_w_k.value


def test_better_insulation_leaks_less():
    thin, thick = insulated_box(60.0, insulation_mm=20.0), insulated_box(60.0, insulation_mm=80.0)
    assert thick.loss_w_k.value < 0.5 * thin.loss_w_k.value


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: water_tank(0.0),
        lambda: water_tank(float("nan")),
        lambda: water_tank(30.0, full=1.5),
        lambda: insulated_box(-5.0),
        lambda: insulated_box(50.0, insulation_mm=0.0),
    ],
)
def test_impossible_loads_are_refused(wrong):
    with pytest.raises(HeaterError, match=r"accepted|up to"):
        wrong()


@pytest.mark.parametrize(
    ("name", "water"),
    [
        ("vegetables, fruit, fresh herbs (90 % water)", 0.9),
        ("potatoes (78 % water)", 0.78),
        ("lean meat (72 % water)", 0.72),
        ("dough (45 % water)", 0.45),
    ],
)
def test_the_food_table_follows_the_formula_it_names(name, water):
    assert CONTENTS_J_KG_K[name][0] == pytest.approx(float(food_specific_heat_j_kg_k(water)), rel=1e-3)


def test_the_most_that_is_accepted_is_accepted():
    _positive("volume", 500.0, "L", 500.0)
    with pytest.raises(HeaterError, match=r"volume is 500\.1 L; accepted: above 0, at most 500 L"):
        _positive("volume", 500.1, "L", 500.0)
    with pytest.raises(HeaterError, match="above 0"):
        _positive("volume", 0.0, "L", 500.0)


def test_a_cube_of_125_litres_by_hand() -> None:
    # Half a metre inside, 0.6 m outside: 1.5 and 2.16 m², in the middle 1.83 m². Steel sheet 1.5 mm, 7850 kg/m³, 490
    # J/(kg K); lining 0.05 m of 0.04 W/(m K) between two films of 7.92 W/(m² K), leaks half as much again.
    box = insulated_box(125.0, insulation_mm=50.0)
    assert box.heat_capacity_j_k.value == pytest.approx(1.5 * 0.0015 * 7850 * 490)
    assert box.loss_w_k.value == pytest.approx(1.5 * 1.83 / (0.05 / 0.04 + 2 / 7.92))
