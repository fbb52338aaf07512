"""A rotor known by its watts alone: thrust that is not known does not look known."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from energy.chain.answer import answered
from energy.chain.ledger import turbine_at_work
from energy.chain.load import load
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.strength.table import structural_loads
from energy.words.answer import as_data
from energy.words.verdict import verdict

WINDS_M_S = np.array([8.0, 12.0, 16.0, 20.0, 24.0, 28.0, 32.0])


def measured(folder: Path, columns: str, rows: list[tuple[float, ...]]) -> Path:
    """Write the van with a table of measured watts in the place of its curves."""
    path = folder / "scenario.toml"
    text = re.sub(r'curves = "rotor_curves.csv".*', 'measured_power = "watts.csv"', path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    lines = [columns, *(",".join(f"{cell:.6g}" for cell in row) for row in rows)]
    (folder / "watts.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def truth(van: Scenario, settings: dict[str, float]) -> tuple[float, list[tuple[float, ...]]]:
    """Return the fuel (W) of the van by its curves, and what a wattmeter and a rev counter would read."""
    held = {key: np.asarray(value) for key, value in settings.items()}
    inputs = inputs_of(van, held | {"trip.road_speed": WINDS_M_S})
    turbine = turbine_at_work(inputs)
    from energy.chain.ledger import answer

    change = float(answer(inputs_of(van, held)).change.power_w)
    columns = inputs.rotor_air_speed_m_s, turbine.electrical_power_w, turbine.rotor_speed_rad_s * 30 / math.pi
    return change, [tuple(map(float, row)) for row in zip(*columns, strict=True)]


@pytest.mark.parametrize(
    "settings", [{}, {"heater.resistance": 16.0}, {"rotor.pitch": 0.0}, {"heater.resistance": 4.0}], ids=str
)
@pytest.mark.parametrize("with_speed", [False, True])
def test_the_interval_holds_the_true_fuel(
    van: Scenario, van_folder: Path, settings: dict[str, float], with_speed: bool
) -> None:
    """The van's own curves are the truth; of it only watts, or watts and rotor speed, are handed on."""
    change, rows = truth(van, settings)
    columns = "air_speed_m_s,electrical_power_w" + (",rotor_speed_rpm" if with_speed else "")
    told = answered(load(measured(van_folder, columns, rows if with_speed else [row[:2] for row in rows])))
    assert told.spread is not None
    low, *_, high = told.spread.change_w
    assert low < change < high


def test_watts_alone_leave_the_thrust_open(van_folder: Path) -> None:
    path = measured(van_folder, "air_speed_km_h,electrical_power_w", [(30, 150), (60, 1300), (90, 4000)])
    scenario = load(path)
    known = ranges_of(scenario)["rotor.thrust_coefficient"]
    assert (known.low, known.high, known.shape) == (0.15, 0.9, "uniform")
    told = answered(scenario)
    said = verdict(told, "metric")
    assert said.lines[-1].startswith("Thrust, and with it the fuel, was not measured: a thrust coefficient of 0.15 to")
    assert "Measure it next" in said.lines[-1]
    assert said.least_known.startswith("Least known: the thrust of the rotor. Measuring it")
    assert any(a["key"] == "rotor.thrust_coefficient" for a in as_data(told)["assumptions"])
    # The drag goes with the coefficient, by hand: Ct ½ ρ A U².
    inputs = inputs_of(scenario, {"rotor.thrust_coefficient": np.array([0.4, 0.8])})
    force = 0.5 * float(inputs.density_kg_m3) * math.pi * 0.9**2 * float(inputs.rotor_air_speed_m_s) ** 2
    assert turbine_at_work(inputs).thrust_n == pytest.approx([0.4 * force, 0.8 * force], rel=1e-9)


def test_a_thrust_below_what_the_power_needs_is_not_believed(van_folder: Path) -> None:
    path = measured(van_folder, "air_speed_km_h,electrical_power_w", [(30, 150), (60, 1300), (90, 4000)])
    inputs = inputs_of(load(path, ["rotor.thrust_coefficient=0.05"]))
    turbine = turbine_at_work(inputs)
    # Momentum theory: the light root of Cp = 4a(1-a)^2, found by its polynomial.
    cp = float(turbine.power_coefficient)
    a = min(np.roots([4.0, -8.0, 4.0, -cp]).real)
    assert float(turbine.thrust_coefficient) == pytest.approx(4 * a * (1 - a), rel=1e-6)
    assert "not measured" not in " ".join(verdict(answered(load(path, ["rotor.thrust_coefficient=0.6"])), "us").lines)


def test_rotor_speed_gives_the_thrust_by_blade_elements(van_folder: Path) -> None:
    columns = "air_speed_km_h,electrical_power_w,rotor_speed_rpm"
    path = measured(van_folder, columns, [(30, 150, 250), (60, 700, 600), (90, 3000, 900)])
    scenario = load(path, ["rotor.solidity=0.1"])
    assert "rotor.thrust_coefficient" not in ranges_of(scenario)
    turbine = turbine_at_work(inputs_of(scenario))
    # At 60 km/h (the van's factor 0.6 of 100 km/h): 62.832 rad/s, 0.9 m, 16.667 m/s: ratio 3.3929.
    ratio = 600 * math.pi / 30 * 0.9 / (60 / 3.6)
    assert float(turbine.thrust_coefficient) == pytest.approx(0.1 * 0.8 * (ratio**2 / 3 + 4 / 9), rel=1e-6)
    assert "estimated from rotor speed" in verdict(answered(scenario), "metric").lines[-1]
    own = load(path, ["rotor.thrust_coefficient=0.7"])
    assert float(turbine_at_work(inputs_of(own)).thrust_coefficient) == pytest.approx(0.7)


def test_rotor_speed_beyond_the_table_goes_with_the_air_speed(van_folder: Path) -> None:
    columns = "air_speed_km_h,electrical_power_w,rotor_speed_rpm"
    path = measured(van_folder, columns, [(20, 100, 200), (40, 700, 600)])
    inputs = inputs_of(load(path))
    over = float(inputs.rotor_air_speed_m_s) / (40 / 3.6)
    assert over > 1
    found = turbine_at_work(inputs)
    assert float(found.rotor_speed_rad_s) == pytest.approx(600 * math.pi / 30 * over)
    assert float(found.tip_speed_ratio) == pytest.approx(600 * math.pi / 30 * 0.9 / (40 / 3.6))


def test_loads_take_the_upper_end_of_the_unknown_thrust(van_folder: Path) -> None:
    """By hand: the worst thrust is 0.9 / 0.525 of the assumed, in air of the worst speed and density."""
    path = measured(van_folder, "air_speed_m_s,electrical_power_w", [(8, 180), (16, 900), (20, 1500)])
    table = structural_loads(load(path))
    steady, worst = (table.row("thrust of the rotor", case).value for case in ("operating point", "worst case"))
    speeds = table.worst.air_speed_m_s / table.operating.air_speed_m_s
    driest = f"air.relative_humidity={ranges_of(load(path))['air.relative_humidity'].low}"
    dry, stated = (inputs_of(load(path, more)).density_kg_m3 for more in ([driest], []))
    assert worst == pytest.approx(steady * 0.9 / 0.525 * speeds**2 * float(dry) / float(stated))


def test_a_factor_without_effect_is_told(van_folder: Path) -> None:
    path = measured(van_folder, "air_speed_km_h,electrical_power_w", [(30, 150), (60, 1300)])
    assert any(
        "rotor.thrust_factor is used for structural loads only" in text
        for text in load(path, ["rotor.thrust_factor=1.1"]).warnings
    )


def test_curves_without_thrust_are_doubted_more_in_stall(van_folder: Path) -> None:
    """The stated error of the drag grows where the rotor has stalled; the true thrust of the van's curves is in it."""
    text = (van_folder / "rotor_curves.csv").read_text(encoding="utf-8").splitlines()
    cut = [line if line.startswith("#") else line.rpartition(",")[0] for line in text]
    with_thrust = load(van_folder / "scenario.toml")
    (van_folder / "rotor_curves.csv").write_text("\n".join(cut) + "\n", encoding="utf-8")
    widths = {}
    for resistance in (9.0, 3.0):
        scenario = load(van_folder / "scenario.toml", [f"heater.resistance={resistance} ohm"])
        assert (scenario.rotor.thrust_factor.low, scenario.rotor.thrust_factor.high) == (0.5, 1.25)
        known = ranges_of(scenario)
        ends = {
            key: np.array([known[key].low, known[key].high]) for key in ("rotor.thrust_factor", "rotor.thrust_in_stall")
        }
        thrust = turbine_at_work(inputs_of(scenario, ends)).thrust_n
        true = turbine_at_work(inputs_of(with_thrust, {"heater.resistance": np.array(resistance)})).thrust_n
        assert thrust[0] < float(true) < thrust[1]
        widths[resistance] = thrust[1] / thrust[0]
    assert widths[3.0] > 1.5 * widths[9.0]


def _watts_of(folder: Path, coefficient: float) -> Path:
    """Write a table of electrical watts at a share of the power of the air through the van's rotor of 1.8 m."""
    area = math.pi / 4 * 1.8**2
    rows = [(wind, coefficient * 0.5 * 1.225 * area * wind**3) for wind in WINDS_M_S]
    return measured(folder, "air_speed_m_s,electrical_power_w", rows)


def test_watts_that_only_a_perfect_generator_could_give_are_doubted_first(van_folder: Path) -> None:
    """Electrical power at 0.5 of the air's is below the Betz limit; with the chain's losses the shaft is above it."""
    path = _watts_of(van_folder, 0.5)
    for efficiency, doubted in ((0.65, True), (0.8, True), (0.9, False)):
        told = answered(load(path, [f"rotor.chain_efficiency={efficiency}", "heater.rated_power=50 kW"]), exact=True)
        lines = verdict(told, "metric").warnings
        assert bool(lines) == doubted
        if doubted:
            assert lines[0].startswith("Too many watts for this air: ")
            air = 0.6 * 100 / 3.6  # between two rows of the table: along a line
            density = float(told.answer.inputs.density_kg_m3)
            coefficient = 0.5 * 1.225 * np.interp(air, WINDS_M_S, WINDS_M_S**3) / (density * air**3 * efficiency)
            assert f"a power coefficient of {coefficient:.2g} at the shaft" in lines[0]
            assert as_data(told)["warnings"] == list(lines)


def test_watts_at_the_tables_end_are_no_cliff(van_folder: Path) -> None:
    """At the first row's air speed half of the draws lie below it: the answer is still the row's watts.

    Below it by hand: watts with the cube of the air speed, rotor speed in proportion, thrust with its square.
    """
    rows = [(16.0, 800.0, 90.0, 500.0), (20.0, 1500.0, 140.0, 620.0), (25.0, 2800.0, 220.0, 770.0)]
    path = measured(van_folder, "air_speed_m_s,electrical_power_w,thrust_n,rotor_speed_rpm", rows)
    free = "rotor.local_speed_factor={value = 1.0, low = 0.85, high = 1.1}"
    told = answered(load(path, [free, "trip.road_speed=16 m/s"]))
    lines = verdict(told, "metric").lines
    assert not any(line.endswith(": none") for line in lines)
    assert told.outcome.heat_w.estimate == pytest.approx(800, rel=0.1)
    assert told.outcome.heat_w.ends[0] > 0.85**3 * 800
    for air, end, (watts, thrust, turns) in ((8.0, 16.0, rows[0][1:]), (32.0, 25.0, rows[2][1:])):
        found = answered(load(path, ["rotor.local_speed_factor=1", f"trip.road_speed={air} m/s"]), exact=True)
        turbine, cautioned = found.answer.turbine, as_data(found)["cautions"]
        assert float(turbine.heat_power_w) == pytest.approx(watts * (air / end) ** 3)
        assert float(turbine.thrust_n) == pytest.approx(thrust * (air / end) ** 2)
        assert float(turbine.rotor_speed_rad_s) * 30 / math.pi == pytest.approx(turns * air / end)
        assert any("lies outside the measured table (57.6 km/h to 90.0 km/h)" in text for text in cautioned)
    inside = answered(load(path, ["rotor.local_speed_factor=1", "trip.road_speed=20 m/s"]), exact=True)
    assert not any("outside the measured table" in text for text in as_data(inside)["cautions"])
