"""What is asked how often at which rate."""

from __future__ import annotations

import pytest

from vehicle.recording.parameters import PARAMETERS
from vehicle.recording.schedule import plan_for, runs_factor


def columns(parameters) -> list[str]:
    return [p.column for p in parameters]


def test_a_slow_car_is_asked_for_speed_engine_speed_and_one_source_of_fuel() -> None:
    assert columns(plan_for(PARAMETERS, 2.0, 10.0).each_row) == [
        "vehicle_speed_km_h",
        "engine_speed_rpm",
        "fuel_rate_l_h",
    ]
    without_rate = [p for p in PARAMETERS if p.pid != 0x5E]
    assert columns(plan_for(without_rate, 2.0, 10.0).each_row)[2] == "mass_air_flow_g_s"
    without_air = [p for p in without_rate if p.pid != 0x10]
    assert columns(plan_for(without_air, 2.0, 10.0).each_row)[2] == "intake_manifold_pressure_kpa"


def test_a_fast_car_is_asked_for_everything_that_moves_in_each_row() -> None:
    plan = plan_for(PARAMETERS, 50.0, 10.0)
    assert set(columns(plan.each_row)) == {p.column for p in PARAMETERS if p.fast}
    assert plan.left_out == ()
    assert runs_factor(plan, 50.0) == pytest.approx(1.0)


def test_what_comes_in_turn_takes_a_small_share_of_the_questions() -> None:
    plan = plan_for(PARAMETERS, 2.0, 10.0)
    assert len(plan.in_turn) / plan.turn_s <= 0.15 * 2.0 + 1e-9
    assert len(plan.each_row) + len(plan.in_turn) == len(PARAMETERS)


def test_a_row_with_everything_costs_runs_on_a_slow_car() -> None:
    # The project's own simulated road tests: 6.2 % against 8.9 % at two questions a second with three or eleven
    # parameters, 6.6 % against 17.5 % at one a second; runs go with the square.
    eleven = [p for p in PARAMETERS if p.fast and p.pid != 0x62]
    assert runs_factor(plan_for(eleven, 2.0, 10.0), 2.0) == pytest.approx((8.9 / 6.2) ** 2, rel=0.02)
    assert runs_factor(plan_for(eleven, 1.0, 10.0), 1.0) == pytest.approx((17.5 / 6.6) ** 2, rel=0.02)


def test_a_car_with_nothing_that_moves_is_still_asked() -> None:
    slow = [p for p in PARAMETERS if not p.fast]
    plan = plan_for(slow, 20.0, 10.0)
    assert plan.each_row
    assert plan_for(slow, None, 10.0).each_row


def test_what_never_answers_is_asked_in_turn_only() -> None:
    plan = plan_for(PARAMETERS, 50.0, 10.0, frozenset({"mass_air_flow_g_s"}))
    assert "mass_air_flow_g_s" in columns(plan.in_turn)
