from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from energy.chain.ledger import answer, turbine_at_work
from energy.chain.limits import stated_limits
from energy.chain.load import load
from energy.chain.matching import match
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.problems import InputError


def test_no_random_setting_within_the_limits_beats_the_best(van: Scenario) -> None:
    found = match(van)
    best = float(found.best.answer.turbine.heat_power_w)
    assert best > float(found.own.answer.turbine.heat_power_w)
    rng = np.random.default_rng(4)
    draws = {
        "rotor.pitch": rng.uniform(0, 18, 20_000),
        "drive.ratio": 2.5 * 4 ** rng.uniform(-1, 1, 20_000),
        "heater.resistance": 9.0 * 10 ** rng.uniform(-1, 1, 20_000),
    }
    turbine = turbine_at_work(inputs_of(van, draws))
    assert turbine.electrical is not None
    legal = (
        (turbine.rotor_speed_rad_s * 0.9 <= 80.0) & (turbine.thrust_n <= 600.0) & (turbine.electrical.current_a <= 16.0)
    )
    legal &= (turbine.rotor_speed_rad_s <= 900 * np.pi / 30) & (turbine.heat_power_w <= 3000.0)
    assert turbine.heat_power_w[legal].max() <= best * (1 + 1e-3)


def test_the_flat_range_is_flat_and_ends_where_it_says(van: Scenario) -> None:
    found = match(van)
    best = float(found.best.answer.turbine.heat_power_w)
    at = {
        "rotor.pitch": found.best.pitch_deg,
        "drive.ratio": found.best.ratio,
        "heater.resistance": found.best.resistance_ohm,
    }
    assert {f.key for f in found.flatness} == set(at)
    for flat in found.flatness:
        inside = {key: np.full(40, value) for key, value in at.items()}
        inside[flat.key] = np.linspace(flat.low, flat.high, 40)
        heat = turbine_at_work(inputs_of(van, inside)).heat_power_w
        assert (heat >= 0.95 * best - 1e-6).all()


def test_held_settings_are_held_and_the_thriftiest_is_thriftier(van: Scenario) -> None:
    found = match(van, held=("drive.ratio",))
    assert found.best.ratio == 2.5
    thrifty, best = found.thriftiest.answer, found.best.answer
    assert float(thrifty.turbine.heat_power_w) >= 0.7 * float(best.turbine.heat_power_w) - 1e-6
    assert float(thrifty.change.power_w / thrifty.turbine.heat_power_w) <= float(
        best.change.power_w / best.turbine.heat_power_w
    )


def test_limits_that_nothing_keeps_are_told(demos: Path) -> None:
    van = load(
        demos / "van_water_tank" / "scenario.toml",
        ["rotor.highest_tip_speed=0.1 m/s", 'unusual=["rotor.highest_tip_speed"]'],
    )
    with pytest.raises(InputError, match="keeps every limit"):
        match(van)


def test_a_measured_table_has_nothing_to_match(van_folder: Path) -> None:
    (van_folder / "watts.csv").write_text("air_speed_km_h,electrical_power_w\n30,150\n60,1300\n", encoding="utf-8")
    path = van_folder / "scenario.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('curves = "rotor_curves.csv" ', 'measured_power = "watts.csv" '),
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="no setting to match"):
        match(load(path))


@pytest.mark.parametrize(
    ("demo", "overrides"),
    [
        ("van_water_tank", ()),
        ("van_water_tank", ("rotor.highest_thrust=150 N", "generator.highest_current=8 A")),
        ("van_water_tank", ("rotor.highest_rotor_speed=500 rpm",)),
        ("pickup_drying_box", ("rotor.highest_thrust=60 lbf",)),
        ("camper_oven", ()),
    ],
)
def test_the_thriftiest_is_the_least_fuel_per_heat_also_at_limits(
    demos: Path, demo: str, overrides: tuple[str, ...]
) -> None:
    """Against a global search by another method: differential evolution (scipy), from three seeds."""
    scenario = load(demos / demo / "scenario.toml", overrides)
    found = match(scenario)
    thrifty = found.thriftiest.answer
    least = float(thrifty.change.power_w / thrifty.turbine.heat_power_w)
    enough = 0.7 * float(found.best.answer.turbine.heat_power_w)
    assert float(thrifty.turbine.heat_power_w) >= enough * (1 - 1e-9)
    assert all(float(one.share) <= 1 + 1e-9 for one in stated_limits(thrifty.inputs, thrifty.turbine))
    for other in (found.best, found.own):
        turbine = other.answer.turbine
        fits = all(float(one.share) <= 1 for one in stated_limits(other.answer.inputs, turbine))
        if fits and float(turbine.heat_power_w) >= enough:
            assert least <= float(other.answer.change.power_w / turbine.heat_power_w) + 1e-9

    def cost(settings: np.ndarray) -> np.ndarray:
        pitch, ratio, resistance = settings[0], np.exp(settings[1]), np.exp(settings[2])
        draws = {"rotor.pitch": pitch, "drive.ratio": ratio, "heater.resistance": resistance}
        answered = answer(inputs_of(scenario, draws))
        heat = answered.turbine.heat_power_w
        over = sum(np.maximum(one.share - 1, 0) for one in stated_limits(answered.inputs, answered.turbine))
        over = over + np.maximum(1 - heat / enough, 0) + ~answered.turbine.turning + answered.turbine.beyond_data
        return np.where(over > 0, 1e3 + 1e3 * over, answered.change.power_w / np.maximum(heat, 1e-9))

    assert scenario.curves is not None
    pitches = scenario.pitch_convention.setting_deg(scenario.curves.pitch_deg)
    own = found.own
    bounds = [
        (float(min(pitches)), float(max(pitches))),
        (np.log(own.ratio / 4), np.log(own.ratio * 4)),
        (np.log(own.resistance_ohm / 10), np.log(own.resistance_ohm * 10)),
    ]
    search = [
        optimize.differential_evolution(
            cost, bounds, vectorized=True, updating="deferred", popsize=40, maxiter=120, seed=seed, polish=False
        )
        for seed in range(3)
    ]
    assert least <= min(float(run.fun) for run in search) * (1 + 2e-3)


def test_begin_takes_mount_drag_and_mass_into_account(demos: Path) -> None:
    # The heavier the burden that comes with any heat at all, the more heat pays for it.
    light = match(
        load(demos / "camper_oven" / "scenario.toml", ["rotor.mount_drag_area=0 m^2", "rotor.turbine_mass=5 kg"])
    )
    heavy = match(
        load(demos / "camper_oven" / "scenario.toml", ["rotor.mount_drag_area=1 m^2", "rotor.turbine_mass=300 kg"])
    )
    assert float(heavy.thriftiest.answer.turbine.heat_power_w) > 1.1 * float(
        light.thriftiest.answer.turbine.heat_power_w
    )


def test_where_no_fuel_changes_the_thriftiest_is_that_of_least_drag(demos: Path) -> None:
    found = match(load(demos / "parked_on_a_ridge" / "scenario.toml"))
    drag = [
        float(s.answer.turbine.rotor_drag_n / s.answer.turbine.heat_power_w) for s in (found.thriftiest, found.best)
    ]
    assert drag[0] <= drag[1]
