"""Break-even winds recomputed wind by wind, pitch by pitch."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from ledger_by_hand import at_work, number, state_of

from energy.chain import break_even as chain
from energy.chain.break_even import WINDS_M_S, best_pitch_break_even, break_even_m_s, first_wind_m_s, ideal_of
from energy.chain.ledger import Answer, answer, turbine_at_work
from energy.chain.load import load
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario

SLOW = ["trip.road_speed=15 km/h", "rotor.local_speed_factor=1.0", "rotor.mount_drag_area=0.01 m^2"]


def gain(
    scenario: Scenario, wind: float, pitch: float | None = None, amperes: float = 16.0
) -> tuple[float, bool, list[str]]:
    """Heat less drag power at the wheels, whether the rotor turns within its curves, and the limits that it breaks."""
    draws = {"air.wind_speed": np.array(wind), "air.wind_from": np.array(0.0)}
    if pitch is not None:
        draws["rotor.pitch"] = np.array(pitch)
    inputs = inputs_of(scenario, draws)
    turbine = at_work(inputs)
    working = state_of(inputs, "working", turbine)
    speed = number(inputs.road_speed_m_s)
    less = turbine["heat_power_w"] - (working["mount_drag_n"] + working["rotor_drag_n"]) * speed
    tips = turbine["rotor_speed_rad_s"] * number(inputs.turbine.diameter_m) / 2
    over = {
        "rotor speed": turbine["rotor_speed_rad_s"] * 30 / math.pi > 900,
        "blade tip speed": tips > 80,
        "thrust": turbine["thrust_n"] > 2500,
        "current": turbine["electrical.current_a"] > amperes,
        "power into the element": turbine["heat_power_w"] > 3000,
    }
    works = bool(turbine["turning"]) and not turbine["beyond_data"]
    return less, works, [name for name, broken in over.items() if broken]


def test_the_wind_that_pays_as_set(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", SLOW)
    found = break_even_m_s(scenario)
    last = math.floor(found / 0.25) * 0.25  # winds a quarter of a metre per second apart
    before, after = gain(scenario, last)[0], gain(scenario, last + 0.25)[0]
    assert before < 0 <= after
    assert found == pytest.approx(last + 0.25 * -before / (after - before))
    assert WINDS_M_S[[0, -1]].tolist() == [0.0, 40.0]
    # From ahead, whatever the scenario's own wind.
    crossed = load(demos / "van_water_tank" / "scenario.toml", [*SLOW, "air.wind_from=90 deg", "air.wind_speed=3 m/s"])
    assert break_even_m_s(crossed) == pytest.approx(found)


@pytest.mark.parametrize("limits", [[], ["generator.highest_current=2 A", 'unusual=["generator.highest_current"]']])
def test_the_best_pitch_pitch_by_pitch(demos: Path, limits: list[str]) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", [*SLOW, *limits])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_PITCHES", 4)
        patch.setattr(chain, "WINDS_M_S", np.linspace(0, 12, 7))
        best = best_pitch_break_even(scenario)
    assert best is not None
    assert scenario.curves is not None
    ends = scenario.pitch_convention.setting_deg(scenario.curves.pitch_deg)
    allowed = 2.0 if limits else 16.0
    legal, any_of_them = [], []
    for pitch in np.linspace(min(ends), max(ends), 4).tolist():
        for wind in range(0, 13, 2):
            less, works, broken = gain(scenario, float(wind), pitch, allowed)
            if works and less >= 0:
                any_of_them.append((wind, pitch, broken))
                if not broken:
                    legal.append((wind, pitch, broken))
    wind, pitch, broken = min(legal or any_of_them, key=lambda one: (one[0], one[1]))
    assert (best.head_wind_m_s, best.pitch_deg) == (wind, pytest.approx(pitch))
    assert set(best.breaks) == set(broken)
    assert bool(broken) == bool(limits)
    assert bool(legal) == (not limits)


def test_a_limit_that_is_just_met_is_kept(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml", SLOW)
    for share, breaks in ((1.0, ()), (1.001, ("current",))):
        current = SimpleNamespace(in_a_sentence="current", share=np.full((2, 3), share))
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(chain, "_PITCHES", 2)
            patch.setattr(chain, "WINDS_M_S", np.array([0.0, 8.0, 16.0]))
            patch.setattr(chain, "stated_limits", lambda *_, one=current: [one])
            best = best_pitch_break_even(scenario)
        assert best is not None
        assert not math.isnan(best.pitch_deg)
        assert best.breaks == breaks


def test_two_pitches_are_enough_to_look_for_the_better_one(van: Scenario) -> None:
    curves = van.curves
    assert curves is not None

    def with_pitches(count: int) -> Scenario:
        fields = ("power_coefficient", "thrust_coefficient")
        tables = {name: getattr(curves, name)[:count] for name in fields}
        return replace(van, curves=replace(curves, pitch_deg=curves.pitch_deg[:count], slopes=(), **tables))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_PITCHES", 2)
        assert best_pitch_break_even(with_pitches(1)) is None
        assert best_pitch_break_even(with_pitches(2)) is not None


def test_no_pitch_pays_where_the_mount_alone_takes_more(demos: Path) -> None:
    settings = ["rotor.mount_drag_area=3 m^2", 'unusual=["rotor.mount_drag_area"]']
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_PITCHES", 3)
        found = best_pitch_break_even(load(demos / "van_water_tank" / "scenario.toml", settings))
    assert found is not None
    assert math.isnan(found.pitch_deg)
    assert math.isnan(found.head_wind_m_s)
    assert found.breaks == ()


@pytest.mark.parametrize(("at", "expected"), [(0.1, 0.1), (39.9, 39.9), (40.0, 40.0), (0.0, 0.0), (10.25, 10.25)])
def test_the_first_wind_that_is_not_below_zero(at: float, expected: float) -> None:
    steep = np.where(at > WINDS_M_S, 1.0, 3.0) * (WINDS_M_S - at)
    k = math.ceil(at / 0.25 - 1e-9)
    under, over = 0.25 * (k - 1) - at, 3 * (0.25 * k - at)
    bent = 0.25 * (k - 1) + 0.25 * -under / (over - under) if k else 0.0
    assert first_wind_m_s(steep) == pytest.approx(bent, abs=1e-12)
    assert first_wind_m_s(WINDS_M_S - at) == pytest.approx(expected, abs=1e-12)
    assert math.isnan(first_wind_m_s(WINDS_M_S - 40.1))


def over_winds(scenario: Scenario) -> Answer:
    draws = {"air.wind_speed": WINDS_M_S, "air.wind_from": np.array(0.0)}
    inputs = inputs_of(scenario, draws)
    return answer(inputs, turbine_at_work(inputs, with_free_run=False), with_other_sources=False)


def induction(ct: float) -> float:
    """Of a thrust coefficient 4a(1 - a) up to the lightly loaded side's end (momentum theory)."""
    assert ct <= 8 / 9
    return (1 - math.sqrt(1 - ct)) / 2


@pytest.mark.parametrize("factor", [0.7, 1.2])
def test_ideal_rotors_wind_by_wind(demos: Path, factor: float) -> None:
    """T (1 - a) U of shaft power for the thrust T that is built; the chain's losses; then the alternator's."""
    settings = [f"rotor.local_speed_factor={factor}", "rotor.interaction_factor=0.9", "trip.road_speed=20 km/h"]
    scenario = load(demos / "van_water_tank" / "scenario.toml", settings)
    outcome = over_winds(scenario)
    found = ideal_of(outcome, 1.7)
    turbine, speed = outcome.turbine, 20 / 3.6
    first = {"free": math.nan, "chain": math.nan, "alternator": math.nan}
    for name in first:
        before = math.nan
        for k, wind in enumerate(WINDS_M_S.tolist()):
            ct, air = float(turbine.thrust_coefficient[k]), (speed + wind) * factor
            if ct > 8 / 9:
                break
            most = float(turbine.thrust_n[k]) * (1 - induction(ct)) * air
            chain_share = float(turbine.heat_power_w[k] / turbine.shaft_power_w[k])
            share = {"free": 1.0, "chain": chain_share, "alternator": 1.7 * chain_share}[name]
            less = share * most - float(turbine.rotor_drag_n[k]) * speed
            if less >= 0:
                first[name] = wind if k == 0 else wind - 0.25 + 0.25 * -before / (less - before)
                break
            before = less
    assert (found.free_m_s, found.chain_m_s, found.alternator_m_s) == pytest.approx(tuple(first.values()), nan_ok=True)
    assert math.isfinite(found.free_m_s)
    efficiency = float(turbine.heat_power_w[0] / turbine.shaft_power_w[0])
    assert found.chain_efficiency == pytest.approx(efficiency)
    assert found.thrust_coefficient == pytest.approx(float(turbine.thrust_coefficient[0]))
    # The lightest loading loses nothing in its wake: V + w = charged V / (efficiency · factor).
    charged = 0.9 * max(1.0, factor)
    assert found.any_loading_m_s == pytest.approx(max(0.0, speed * (charged / (efficiency * factor) - 1)))


def test_an_ideal_rotor_that_does_not_turn_has_no_wind(demos: Path) -> None:
    outcome = over_winds(load(demos / "van_water_tank" / "scenario.toml", ["trip.road_speed=20 km/h"]))
    still = replace(outcome, turbine=replace(outcome.turbine, turning=np.zeros_like(outcome.turbine.turning)))
    found = ideal_of(still, 1.0)
    for value in (found.free_m_s, found.chain_m_s, found.any_loading_m_s, found.thrust_coefficient):
        assert math.isnan(value)
    # It turns from the third wind on only: there its gain begins, with nothing to draw a line from.
    late = outcome.turbine.turning & (WINDS_M_S >= 12.0)
    begun = ideal_of(replace(outcome, turbine=replace(outcome.turbine, turning=late)), 1.0)
    assert begun.free_m_s == 12.0
    assert math.isnan(begun.chain_efficiency)
