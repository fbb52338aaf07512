"""One rule for what an element stands, in every question that asks it."""

from __future__ import annotations

from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.heating import element_cap_w, heating
from energy.chain.load import load
from energy.chain.sizing import wanted_of
from energy.scenario.element import element_rating_w
from energy.words.verdict import verdict


@pytest.mark.parametrize(
    ("rated", "watts"),
    [
        (["heater.rated_power=1200 W"], 1200.0),
        # Ohm: 80 V across 9 ohm are 711 W; the lower of the two counts.
        (["heater.rated_voltage=80 V"], 80**2 / 9),
        (["heater.rated_power=1200 W", "heater.rated_voltage=80 V"], 80**2 / 9),
        (["heater.rated_power=600 W", "heater.rated_voltage=80 V"], 600.0),
    ],
)
def test_answer_heat_and_size_know_the_same_rating(van_folder: Path, rated: list[str], watts: float) -> None:
    path = van_folder / "scenario.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(ln for ln in lines if not ln.startswith("rated_")), encoding="utf-8")
    scenario = load(path, rated)
    assert element_rating_w(scenario) == pytest.approx(watts)
    assert element_cap_w(heating(scenario).load) == pytest.approx(watts)
    assert wanted_of(scenario).heat_w == pytest.approx(watts)
    told = answered(scenario, exact=True)
    assert told.answer.inputs.turbine.rated_power_w == pytest.approx(watts)
    assert any("Above its rating the element burns out" in said for said in verdict(told, "metric").dangers)


def test_nothing_known_of_the_element_is_no_limit(van_folder: Path) -> None:
    path = van_folder / "scenario.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(ln for ln in lines if not ln.startswith("rated_")), encoding="utf-8")
    assert element_rating_w(load(path)) is None


@pytest.mark.parametrize(
    ("demo", "rated", "ohms", "told"),
    [
        ("van_water_tank", ("2 kW", "230 V"), "9 ohm", True),  # 230²/2000 = 26.5 ohm
        ("van_water_tank", ("2 kW", "230 V"), "24 ohm", False),
        ("van_water_tank", ("2 kW", "230 V"), "35 ohm", True),
        ("pickup_drying_box", ("2 kW", "230 V"), "26 ohm", False),  # each of the three is of 2 kW
        ("pickup_drying_box", ("2 kW", "230 V"), "79 ohm", False),  # all three together are
        ("pickup_drying_box", ("2 kW", "230 V"), "45 ohm", True),
    ],
)
def test_a_rating_of_another_resistance_is_told(
    demos: Path, demo: str, rated: tuple[str, str], ohms: str, told: bool
) -> None:
    power, voltage = rated
    keys = [f"heater.rated_power={power}", f"heater.rated_voltage={voltage}", f"heater.resistance={ohms}"]
    warnings = load(demos / demo / "scenario.toml", keys).warnings
    said = "heater.rated_power and heater.rated_voltage belong to an element of 26.4 ohm, but heater.resistance is "
    assert any(text.startswith(said) for text in warnings) == told
    alone = load(demos / demo / "scenario.toml", [keys[0], keys[2]]).warnings
    assert not any("belong to an element" in text for text in alone)
