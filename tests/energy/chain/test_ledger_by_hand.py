"""Every field of an answer against the ledger worked out by hand, with every option on and off."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from ledger_by_hand import at_work, change_of, flat, number, other_sources, same, state_of

from energy.chain.ledger import (
    Answer,
    answer,
    break_even_head_wind_m_s,
    change_and_heat,
    heat_less_drag_w,
    turbine_at_work,
    turbine_efficiency_at_flywheel,
)
from energy.chain.load import load
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario

ENGINE_WINDS = ["air.wind_speed=9 m/s", "air.wind_from=50 deg", "trip.grade=2 %", "trip.acceleration=0.3 m/s^2"]
CURVES = {
    "van": ("van_water_tank", []),
    "wind, grade, credit, stowed feathered": (
        "van_water_tank",
        [*ENGINE_WINDS, "rotor.stowed=feathered", "trip.compared_with=stowed", "credit.replaces_alternator=true"],
    ),
    "stowed spinning, downhill": (
        "van_water_tank",
        ["rotor.stowed=spinning", "trip.grade=-4 %", "trip.compared_with=stowed", "rotor.local_speed_factor=1.2"],
    ),
    "pickup, wind from behind": (
        "pickup_drying_box",
        ["air.wind_speed=4 m/s", "air.wind_from=200 deg", "credit.replaces_alternator=true"],
    ),
    "air from behind the rotor": ("pickup_drying_box", ["air.wind_speed=30 m/s", "air.wind_from=180 deg"]),
    "parked with the alternator's credit": ("parked_on_a_ridge", ["credit.replaces_alternator=true"]),
    "nothing blows": ("parked_on_a_ridge", ["air.wind_speed=0 m/s", "engine.runs_when_parked=true"]),
    "into the wind": (
        "van_water_tank",
        [*ENGINE_WINDS, "rotor.turns_into_wind=true", "rotor.local_speed_factor=0.9", "rotor.mount_speed_factor=1.3"],
    ),
    "more power than thrust": ("van_water_tank", ["rotor.interaction_factor=0.5", "rotor.thrust_factor=0.2"]),
    "past the end of the curves": (
        "van_water_tank",
        ["heater.resistance=900 ohm", 'unusual=["heater.resistance"]', "rotor.stowed=spinning"],
    ),
    "started unloaded": ("van_water_tank", ["generator.load_connected=after_spin_up", "heater.resistance=4 ohm"]),
}
WATTS = "air_speed_km_h,electrical_power_w{more}\n30,150{a}\n60,1300{b}\n90,4000{c}\n"
TABLES = {
    "watts": WATTS.format(more="", a="", b="", c=""),
    "turns": WATTS.format(more=",rotor_speed_rpm", a=",180", b=",420", c=",700"),
    "thrust": WATTS.format(more=",rotor_speed_rpm,thrust_N", a=",180,20", b=",420,90", c=",700,210"),
}
MEASURED = {
    "watts": ("watts", []),
    "watts, beyond": ("watts", ["trip.road_speed=165 km/h", "credit.replaces_alternator=true"]),
    "watts, below": ("watts", ["trip.road_speed=40 km/h", "air.wind_speed=3 m/s", "air.wind_from=90 deg"]),
    "a thrust coefficient below what the power needs": ("watts", ["rotor.thrust_coefficient=0.1"]),
    "more watts than the air has": (
        "watts",
        ["rotor.diameter=1 m", "rotor.chain_efficiency=0.2", "rotor.interaction_factor=0.5"],
    ),
    "turns": ("turns", ["rotor.stowed=spinning", "rotor.local_speed_factor=0.8"]),
    "turns, beyond": ("turns", ["trip.road_speed=170 km/h", "rotor.stowed=feathered"]),
    "thrust": ("thrust", ["trip.compared_with=stowed"]),
    "thrust, beyond, into the wind": (
        "thrust",
        ["trip.road_speed=150 km/h", *ENGINE_WINDS[:2], "rotor.turns_into_wind=true"],
    ),
    "thrust in no air": ("thrust", ["trip.road_speed=0 km/h"]),
}


def check(scenario: Scenario) -> None:
    inputs = inputs_of(scenario)
    found = answer(inputs)
    turbine = at_work(inputs)
    states = {name: state_of(inputs, name, turbine) for name in ("absent", "stowed", "working")}
    plain = states[inputs.compared_with]
    without = plain
    if inputs.credit.replaces_alternator:
        without = state_of(inputs, inputs.compared_with, turbine, turbine["heat_power_w"])
    same(flat(found.turbine, "point"), turbine)
    for name, state in states.items():
        same(flat(found.states[name]), state)
    same(flat(found.without), without)
    change = change_of(inputs, states["working"], without)
    same(flat(found.change), change)
    same(flat(found.change_without_credit), change_of(inputs, states["working"], plain))
    same(flat(found.other_sources, "name", "note"), other_sources(inputs, turbine, plain))
    assert found.compared_with == inputs.compared_with
    assert [number(v) for v in change_and_heat(inputs)] == pytest.approx(
        [change["power_w"], turbine["heat_power_w"]], rel=1e-12, abs=1e-9
    )
    drag = (states["working"]["mount_drag_n"] + turbine["rotor_drag_n"]) * number(inputs.road_speed_m_s)
    less = heat_less_drag_w(inputs, found.turbine)
    assert number(less) == pytest.approx(turbine["heat_power_w"] - drag, rel=1e-9, abs=1e-9)
    # What the turbine asks of the engine's flywheel more than without: at wheels, in meshes, in brakes.
    parts = ("wheel_w", "drivetrain_loss_w", "brake_loss_w")
    added = sum(states["working"][f"supply.{p}"] - plain[f"supply.{p}"] for p in parts)
    expected = turbine["heat_power_w"] / added if added > 1e-6 else math.nan
    assert number(turbine_efficiency_at_flywheel(found)) == pytest.approx(expected, rel=1e-9, nan_ok=True)
    assert found.ledger == found.states["working"].rows
    residuals = [sum(w for k, w in s.items() if k.startswith("rows.")) for s in (*states.values(), without)]
    assert number(found.residual_w) == pytest.approx(max(abs(r) for r in residuals), abs=1e-8)
    assert number(turbine_at_work(inputs).free_run_speed_rad_s) == pytest.approx(
        turbine["free_run_speed_rad_s"], nan_ok=True
    )
    assert math.isnan(number(turbine_at_work(inputs, with_free_run=False).free_run_speed_rad_s))


@pytest.mark.parametrize("case", CURVES)
def test_every_number_of_a_ledger(demos: Path, case: str) -> None:
    demo, overrides = CURVES[case]
    check(load(demos / demo / "scenario.toml", overrides))


@pytest.mark.parametrize("case", MEASURED)
def test_every_number_of_a_ledger_of_measured_watts(van_folder: Path, case: str) -> None:
    table, overrides = MEASURED[case]
    path = van_folder / "scenario.toml"
    (van_folder / "watts.csv").write_text(TABLES[table], encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" ')
    path.write_text(text.partition("[gust]")[0], encoding="utf-8")
    check(load(path, overrides))


@pytest.mark.parametrize("more", [[], ["trip.grade=-9 %", "credit.replaces_alternator=true"]])
def test_every_number_of_a_ledger_of_a_battery(van_folder: Path, more: list[str]) -> None:
    path = van_folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index("[engine]"), text.index("[trip]")
    path.write_text(f"{text[:start]}[battery]\n\n{text[end:]}", encoding="utf-8")
    check(load(path, more))


def test_the_notes_of_other_sources_and_the_alternators_of_a_parked_van(demos: Path) -> None:
    found = answer(inputs_of(load(demos / "parked_on_a_ridge" / "scenario.toml", ["credit.replaces_alternator=true"])))
    # A parked van's engine has to be started for the alternator: more than the heat alone takes.
    assert number(found.change.power_w) < -2 * number(found.turbine.heat_power_w)
    hour_kg = number(found.turbine.heat_power_w) / 100  # 100 Wh/kg, the default
    assert found.other_sources["mains"].note.startswith(f"about {hour_kg:.0f} kg ({hour_kg / 0.45359237:.0f} lb)")


def test_arrays_of_conditions_are_their_single_answers(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["credit.replaces_alternator=true"])
    speeds, grades = np.array([12.0, 25.0, 31.0]), np.array([[-0.06], [0.01]])
    together = answer(inputs_of(scenario, {"trip.road_speed": speeds, "trip.grade": grades}))

    def one(thing: Any, row: int, column: int) -> Any:
        if is_dataclass(thing):
            kept = {f.name: one(getattr(thing, f.name), row, column) for f in fields(thing) if f.name != "point"}
            return replace(thing, **kept)
        if isinstance(thing, dict):
            return {key: one(value, row, column) for key, value in thing.items()}
        if isinstance(thing, tuple) and thing and isinstance(thing[0], tuple):
            return tuple((account, name, one(watts, row, column)) for account, name, watts in thing)
        return np.broadcast_to(thing, (2, 3))[row, column] if isinstance(thing, np.ndarray) else thing

    assert together.turbine.heat_power_w.shape == (2, 3)
    assert together.turbine.rotor_drag_n.shape == (2, 3)
    for row, column in ((0, 2), (1, 0)):
        draws = {"trip.road_speed": speeds[column], "trip.grade": grades[row, 0]}
        alone = answer(inputs_of(scenario, draws))
        for part in ("turbine", "states", "without", "change", "change_without_credit", "other_sources"):
            picked = one(getattr(together, part), row, column)
            same(flat(picked, "point", "note"), flat(getattr(alone, part), "point", "note"))


def test_where_the_heat_first_exceeds_the_drag_power(van: Scenario) -> None:
    """A straight line through what the heat is above the drag power, wind by wind."""
    winds = np.array([0.0, 2.0, 5.0, 9.0])
    inputs = inputs_of(van, {"air.wind_speed": winds})
    turbine = turbine_at_work(inputs, with_free_run=False)
    paid = turbine.heat_power_w - heat_less_drag_w(inputs, turbine)

    def found(gain: list[float]) -> float:
        return break_even_head_wind_m_s(winds, inputs, replace(turbine, heat_power_w=paid + np.array(gain)))

    assert found([-40.0, -30.0, 60.0, 500.0]) == pytest.approx(2 + 3 * 30 / 90)
    assert found([-40.0, -30.0, -10.0, 30.0]) == pytest.approx(5 + 4 * 10 / 40)
    assert found([-40.0, 10.0, -50.0, 30.0]) == pytest.approx(2 * 40 / 50)
    assert found([5.0, 10.0, -50.0, 30.0]) == 0.0
    assert math.isnan(found([-5.0, -4.0, -3.0, -2.0]))
    standing = replace(inputs, road_speed_m_s=np.array(0.0))
    assert math.isnan(break_even_head_wind_m_s(winds, standing, turbine))
    crawling = replace(inputs, road_speed_m_s=np.array(0.5))
    assert break_even_head_wind_m_s(winds, crawling, turbine) == 0.0


def test_the_greatest_miss_of_the_books_is_told_step_by_step() -> None:
    working, stowed, without = (SimpleNamespace(residual_w=np.array(w)) for w in ([1.0, 2, 3], [-5.0, 0, 1], [0, 0, 4]))
    found = SimpleNamespace(states={"working": working, "stowed": stowed}, without=without)
    assert Answer.residual_w.fget(found).tolist() == [5.0, 2.0, 4.0]  # type: ignore[attr-defined]
