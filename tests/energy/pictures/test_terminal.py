"""Charts as text: what they show, and that they stay plain."""

import numpy as np
import pytest

from energy.heat.heater import SteadyPower, TemperatureBand, heat_up
from energy.heat.load import HeatedLoad
from energy.pictures.terminal import Curve, line_chart, temperature_chart


def test_a_warm_up_in_the_terminal():
    outcome = heat_up(HeatedLoad(126e3, 2.5), SteadyPower(1400.0, 288.15), target_k=343.15, longest_s=7200.0)
    warm = outcome.history.main_k[:, 0]
    band = TemperatureBand(outcome.history.time_s, warm, warm, warm)
    text = temperature_chart([("steady cruise", band)], target_k=343.15, width=70, height=15)
    lines = text.splitlines()
    assert len(lines) <= 15
    assert max(map(len, lines)) <= 70
    assert "\x1b" not in text
    assert "steady cruise" in text
    assert "target" in text
    assert "time (min)" in text
    assert "120" in lines[-2]  # 7200 s
    assert "temperature (°C)" in text
    assert "°F" in temperature_chart([("steady cruise", band)], system="us")


def test_charts_do_not_leak_into_one_another():
    one, other = Curve("first", np.arange(5.0), np.arange(5.0)), Curve("second", np.arange(5.0), -np.arange(5.0))
    alone = line_chart([other], x_label="x", y_label="y")
    line_chart([one], x_label="x", y_label="y", title="t")
    assert line_chart([other], x_label="x", y_label="y") == alone
    assert "first" not in alone


def test_impossible_charts_are_refused():
    with pytest.raises(ValueError, match="at least one"):
        line_chart([], x_label="x", y_label="y")
    with pytest.raises(ValueError, match="no point"):
        line_chart([Curve("none", np.array([np.nan]), np.array([1.0]))], x_label="x", y_label="y")
    with pytest.raises(ValueError, match="3 x and 2 y"):
        line_chart([Curve("odd", np.arange(3.0), np.arange(2.0))], x_label="x", y_label="y")
