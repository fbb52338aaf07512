"""Break-even head winds: of ideal rotors at the loading that is built, and of the best pitch."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from ideal_rotor import ideal_break_even_head_wind
from tests_support import run

from energy.chain.answer import answered
from energy.chain.break_even import WINDS_M_S, best_pitch_break_even, first_wind_m_s
from energy.chain.ledger import answer, heat_less_drag_w
from energy.chain.load import load
from energy.chain.payback import payback
from energy.scenario.inputs import inputs_of
from energy.words.answer import as_data, no_break_even
from energy.words.payback import head_wind_rows

FREE = ["rotor.local_speed_factor=1.0", "rotor.interaction_factor=1.0"]
NO_LIMITS = ["rotor.highest_tip_speed=150 m/s", "rotor.highest_rotor_speed=2200 rpm", "rotor.highest_thrust=20 kN"]


def loaded(folder: Path, thrust_coefficient: float) -> Path:
    """Write the van with a rotor of one thrust coefficient throughout."""
    power = [0.0, 0.02, 0.08, 0.16, 0.2, 0.16, 0.0]
    rows = [f"{k},{cp},{thrust_coefficient}" for k, cp in enumerate(power)]
    text = "tip_speed_ratio,power_coefficient,thrust_coefficient\n" + "\n".join(rows) + "\n"
    (folder / "rotor_curves.csv").write_text(text, encoding="utf-8")
    return folder / "scenario.toml"


@pytest.mark.parametrize("induction", [0.1, 0.2, 1 / 3])
def test_the_ideal_rotor_has_the_loading_that_is_built(van_folder: Path, induction: float) -> None:
    """Momentum theory: at Ct = 4a(1-a) an ideal rotor breaks even at w/V = a/(1-a), half the road speed only at
    Betz.
    """
    path = loaded(van_folder, 4 * induction * (1 - induction))
    scenario = load(path, [*FREE, "rotor.pitch=0 deg", "heater.resistance=12 ohm"])
    found = payback(scenario, exact=True)
    speed = 100 / 3.6
    assert found.ideal.free_m_s == pytest.approx(speed * induction / (1 - induction), rel=1e-3)
    assert found.ideal.free_m_s == pytest.approx(speed * float(ideal_break_even_head_wind(induction)), rel=1e-3)
    assert found.ideal.thrust_coefficient == pytest.approx(4 * induction * (1 - induction), rel=1e-6)
    assert found.ideal.chain_m_s > found.ideal.free_m_s
    # However light the loading, a chain of efficiency e takes V (1/e - 1).
    assert found.ideal.any_loading_m_s == pytest.approx(speed * (1 / found.ideal.chain_efficiency - 1), rel=1e-9)
    rows = dict(head_wind_rows(found, scenario, "metric"))
    assert (
        f"thrust coefficient {4 * induction * (1 - induction):.2f}"
        in rows["ideal rotor of this loading, no losses, heat above drag"]
    )


def test_air_that_is_slow_where_the_rotor_sits_takes_more_wind(van_folder: Path) -> None:
    """At 0.8 of the free air an ideal rotor gets 0.8 (1-a) U for each newton: U/V = 1 / (0.8 (1-a))."""
    path = loaded(van_folder, 0.36)
    found = payback(load(path, ["rotor.local_speed_factor=0.8", FREE[1], "rotor.pitch=0 deg"]), exact=True).ideal
    assert found.free_m_s == pytest.approx(100 / 3.6 * (1 / (0.8 * 0.9) - 1), rel=1e-3)
    assert found.any_loading_m_s == pytest.approx(100 / 3.6 * (1 / (0.8 * found.chain_efficiency) - 1), rel=1e-9)


def test_the_first_wind_is_between_the_last_loss_and_the_first_gain() -> None:
    gain = WINDS_M_S - 10.1
    assert first_wind_m_s(gain) == pytest.approx(10.1)
    assert first_wind_m_s(gain + 20) == 0.0
    assert np.isnan(first_wind_m_s(gain - 50))
    assert first_wind_m_s(np.where(gain < 0, -np.inf, gain)) == 10.25


def test_the_best_pitch_is_that_of_single_answers(demos: Path) -> None:
    """At 30 km/h with a slim mount no wind suffices at the set pitch; pitch by pitch, wind by wind, one does."""
    settings = [*FREE, *NO_LIMITS, "trip.road_speed=30 km/h", "rotor.mount_drag_area=0.005 m^2", "rotor.pitch=-6 deg"]
    scenario = load(demos / "camper_oven" / "scenario.toml", settings)
    told = answered(scenario, exact=True)
    assert np.isnan(told.break_even_head_wind_m_s)
    assert told.best_pitch is not None
    least = np.inf
    winds = np.arange(0.0, 40.1, 1.0)
    for pitch in np.linspace(-6.0, 90.0, 25):
        draws = {"rotor.pitch": np.full(41, pitch), "air.wind_speed": winds, "air.wind_from": np.zeros(41)}
        found = answer(inputs_of(scenario, draws))
        pays = found.turbine.turning & (heat_less_drag_w(found.inputs, found.turbine) >= 0)
        least = min(least, winds[pays].min(initial=np.inf))
    assert np.isfinite(least)
    wind = told.best_pitch.head_wind_m_s
    assert wind <= least + 1e-9 or told.best_pitch.breaks == ()
    assert wind == pytest.approx(least, abs=1.5)
    data = as_data(told)["break_even"]
    assert data["head_wind_m_s"] is None
    assert data["best_pitch_deg"] == pytest.approx(told.best_pitch.pitch_deg)
    assert data["best_pitch_head_wind_m_s"] == pytest.approx(wind)
    assert "at the best one" in no_break_even(told.best_pitch, "metric")


def test_a_pitch_that_breaks_a_limit_says_so(demos: Path) -> None:
    settings = [*FREE, "trip.road_speed=50 km/h", "rotor.mount_drag_area=0.01 m^2", "rotor.pitch=3 deg"]
    best = best_pitch_break_even(load(demos / "camper_oven" / "scenario.toml", settings))
    assert best is not None
    assert "rotor speed" in best.breaks
    assert "do not operate" in no_break_even(best, "metric")
    assert "at any pitch" in no_break_even(dataclasses.replace(best, pitch_deg=float("nan")), "us")


def test_curves_of_one_pitch_have_no_other(van_folder: Path) -> None:
    path = loaded(van_folder, 0.9)
    assert best_pitch_break_even(load(path, ["rotor.pitch=0 deg"])) is None
    assert "no other pitch" in no_break_even(None, "metric")
    result = run("answer", str(path), "--exact", "--json", "--set", "rotor.pitch=0 deg")
    assert json.loads(result.stdout)["break_even"]["best_pitch_deg"] is None
