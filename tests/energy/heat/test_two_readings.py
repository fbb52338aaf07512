"""A first heat capacity from readings said aloud: hand calculations and invented loads."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest
from tests_support import run

from energy.heat.fit import HeatLog, fit_heater
from energy.heat.two_readings import first_capacity, read_spell, scenario_lines
from vehicle.problems import InputError

OVEN = "77 degF to 187 degF in 6 minutes at about 2 kW"


def test_a_sentence_is_read() -> None:
    spell = read_spell(OVEN)
    assert spell.first_k == pytest.approx(298.15)
    assert spell.last_k == pytest.approx(273.15 + 86.111, abs=0.01)
    assert (spell.time_s, spell.power_w, spell.about) == (360, 2000, True)
    assert not read_spell("25 to 86 degC in 6 min at 2000 W").about
    assert read_spell("25 to 86 degC in 6 min at 2000 W").first_k == pytest.approx(298.15)
    assert read_spell("77 F to 187 F in 0.5 h with 1.5 kW").time_s == 1800
    assert read_spell("80 degC to 60 degC in 20 minutes with the power off").power_w == 0


@pytest.mark.parametrize(
    "text",
    [
        "hot in 6 minutes",
        "187 degF to 77 degF in 6 minutes at 2 kW",
        "77 degF to 187 degF in 6 parsec at 2 kW",
        "77 degF to 187 degF in 0 minutes at 2 kW",
        "20 degC to 60 degC in 5 minutes with the power off",
    ],
)
def test_what_cannot_be_is_said(text: str) -> None:
    with pytest.raises(InputError, match="accepted"):
        read_spell(text)


def test_the_oven_by_hand() -> None:
    """2 kW for 360 s are 720 kJ; over 61.1 K that is 11.8 kJ/K if nothing leaked: inside a wide interval."""
    found = first_capacity([read_spell(OVEN)])
    low, high = found.heat_capacity_j_k.ends
    assert low < 720e3 / 61.11 < high
    assert found.heat_capacity_j_k.estimate == pytest.approx(720e3 / 61.11, rel=0.06)
    assert high / low > 1.4
    assert found.loss_w_k is None
    exact = first_capacity([read_spell(OVEN.replace("about ", ""))]).heat_capacity_j_k.ends
    assert low < exact[0] < exact[1] < high
    table = tomllib.loads(scenario_lines(found))["load"]
    assert set(table) == {"heat_capacity"}


def test_warm_up_and_cool_down_give_an_invented_load_in_nine_of_ten() -> None:
    """The node C dT/dt = P - G (T - Ta) in closed form, read with errors: intervals hold the truth."""
    draw, capacity, loss, held, losses = np.random.default_rng(2), 40e3, 8.0, 0, 0
    for _ in range(60):
        ends = 20 + 1500 / loss
        top = ends + (20 - ends) * math.exp(-1500 * loss / capacity)
        cold = 20 + (top - 20) * math.exp(-1800 * loss / capacity)
        a, b, c = (v + 1.5 * draw.normal() for v in (20, top, cold))
        warm = f"{a:.1f} degC to {b:.1f} degC in 25 minutes at {1.5 * (1 + 0.03 * draw.normal()):.3f} kW"
        cool = f"{b:.1f} degC to {c:.1f} degC in 30 minutes with the power off"
        found = first_capacity([read_spell(warm), read_spell(cool)], 293.15)
        assert found.loss_w_k is not None
        held += found.heat_capacity_j_k.ends[0] < capacity < found.heat_capacity_j_k.ends[1]
        losses += found.loss_w_k.ends[0] < loss < found.loss_w_k.ends[1]
    assert held >= 54
    assert losses >= 54


def test_a_cool_down_needs_the_temperature_around_and_a_warm_up() -> None:
    cool = read_spell("80 degC to 60 degC in 20 minutes with the power off")
    with pytest.raises(InputError, match="ambient"):
        first_capacity([read_spell(OVEN), cool])
    with pytest.raises(InputError, match="warm-up"):
        first_capacity([cool], 293.15)


def _log(step_s: float, until_s: float, noise_k: float, period_s: float) -> HeatLog:
    """A thermostat that switches 2 kW into 12 kJ/K and 10 W/K, simulated each second, logged every `step_s`."""
    time = np.arange(0.0, until_s + 1)
    power = np.where((time // (period_s / 2)) % 2 == 0, 2000.0, 0.0)
    body = np.full(time.size, 293.15)
    for row in range(1, time.size):
        body[row] = body[row - 1] + (power[row - 1] - 10.0 * (body[row - 1] - 293.15)) / 12e3
    body = body + noise_k * np.random.default_rng(3).normal(size=time.size)
    every = slice(None, None, int(step_s))
    return HeatLog(time[every], body[every], power[every], np.full(time[every].size, 293.15))


def test_a_log_that_is_short_or_coarse_is_not_blamed_on_the_load() -> None:
    short = fit_heater([_log(4.0, 60.0, 2.0, 1e6)])
    assert not any("do not describe this load" in text for text in short.remarks)
    assert any("60 s and" in text and "too little" in text for text in short.remarks)
    coarse = fit_heater([_log(60.0, 3600.0, 0.2, 95.0)])
    assert any("rows 60 s apart" in text for text in coarse.remarks)
    assert not any("do not describe this load" in text for text in coarse.remarks)


def test_the_command_says_it_in_the_first_line() -> None:
    done = run("fit", "load", "--reading", OVEN)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Heat capacity about 12.1 kJ/K (9.11 to 15.9 kJ/K), a first value")
    assert "Cautions" in done.stdout
    assert run("fit", "load").returncode == 2
