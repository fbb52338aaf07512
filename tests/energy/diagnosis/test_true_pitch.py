"""True pitch: hidden pitches and drifting dials recovered, flat tops told as flat, no pitch told as none."""

import json
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from tests_support import of_study

from energy.aero.operating_point import Rotor, coefficients, solve
from energy.chain.load import load
from energy.cli import group
from energy.diagnosis.true_pitch import (
    Accuracy,
    MeasuredRows,
    accuracy_of,
    read_measured,
    shaft_power_w,
    true_pitch,
    true_pitch_of,
)
from energy.electrical import electrical_state
from energy.scenario.inputs import inputs_of
from vehicle.problems import InputError

VAN = Path(__file__).resolve().parents[3] / "scenarios" / "van_water_tank"
SCENARIO = load(VAN / "scenario.toml")
CURVES = SCENARIO.curves
assert CURVES is not None
RADIUS, DENSITY = 0.9, 1.2
USUAL = Accuracy(0.03, 0.02, 0.02, 0.04, 0.05)
DIAL = np.repeat([2.0, 4.0, 6.0, 8.0, 5.0, 3.0], 8)


def drive(
    seed: int,
    pitch: np.ndarray,
    dial: np.ndarray | None = None,
    ratios: tuple[float, float] = (3.5, 6.0),
    *,
    thrust: bool = False,
    shared: bool = True,
    accuracy: Accuracy = USUAL,
) -> MeasuredRows:
    """Return noisy rows of a drive at the given true pitches, shared errors drawn as stated; watts are shaft power."""
    g = np.random.default_rng(seed)
    assert CURVES is not None
    count = len(pitch)
    air, ratio = g.uniform(12, 18, count), g.uniform(*ratios, count)
    cp, ct, _ = coefficients(CURVES, pitch, ratio)
    errors = (
        g.normal(size=4) * (accuracy.air_speed_calibration, accuracy.power, accuracy.curves, accuracy.thrust) * shared
    )
    wind = 0.5 * DENSITY * math.pi * RADIUS**2 * air**2
    return MeasuredRows(
        air * (1 + accuracy.air_speed_noise * g.normal(size=count)) * (1 + errors[0]),
        ratio * air / RADIUS,
        wind * air * cp * (1 + errors[1]) * (1 + errors[2]) * (1 + 0.01 * g.normal(size=count)),
        wind * ct * (1 + errors[3]) if thrust else None,
        dial,
        np.arange(count) * 10.0,
    )


def fit(rows: MeasuredRows, accuracy: Accuracy = USUAL):
    assert CURVES is not None
    return true_pitch(CURVES, RADIUS, DENSITY, rows, accuracy)


@pytest.mark.parametrize("pitch", [1.0, 9.5])
def test_a_hidden_pitch_is_inside_its_interval_in_95_of_100_seeds(pitch):
    inside, (seeds, least) = 0, of_study((30, 29), (100, 95))
    for seed in range(seeds):
        found = fit(drive(seed, np.full(40, pitch)))
        inside += found.pitch_deg is not None and found.pitch_deg.low <= pitch <= found.pitch_deg.high
    assert inside >= least


def test_a_drifting_dial_is_inside_its_interval_in_47_of_50_seeds():
    # Of the seeds 0 to 99 it is in 96, each of the three; of the sample in all, but for the drift of one.
    offset = drift = pitch = 0
    seeds, least = of_study((range(40, 57), 16), (range(40, 90), 47))
    for seed in seeds:
        time = np.linspace(-0.5, 0.5, len(DIAL))
        found = fit(drive(seed, DIAL + 4.0 + 2.0 * time, DIAL))
        if found.pitch_deg is None or found.offset_deg is None or found.drift_deg is None:
            continue
        offset += found.offset_deg.low <= 4.0 <= found.offset_deg.high
        drift += found.drift_deg.low <= 2.0 <= found.drift_deg.high
        pitch += found.pitch_deg.low <= DIAL.mean() + 4.0 <= found.pitch_deg.high
    assert min(offset, drift, pitch) >= least


def test_the_interval_is_wide_at_the_flat_best_and_thrust_narrows_it():
    flat, thrust, steep = (
        fit(rows).pitch_deg
        for rows in (
            drive(3, np.full(40, 5.0), ratios=(4.2, 4.8)),
            drive(3, np.full(40, 5.0), ratios=(4.2, 4.8), thrust=True),
            drive(3, np.full(40, 11.0), ratios=(4.2, 4.8)),
        )
    )
    assert flat is not None
    assert thrust is not None
    assert steep is not None
    assert fit(drive(3, np.full(40, 9.5))).ends_at == ()  # well inside the curves: no end of theirs cuts it
    width = flat.high - flat.low
    assert width > 3
    assert thrust.high - thrust.low < 0.7 * width
    assert steep.high - steep.low < 0.5 * width


def test_both_solutions_are_told_where_both_fit():
    # One tip-speed ratio and one air speed: 0.5° (stalled) and another pitch (unstalled) give the same power.
    accuracy = Accuracy(0.004, 0.004, 0.004, 0.004, 0.01)
    assert CURVES is not None
    air = np.full(20, 15.0)
    cp = coefficients(CURVES, 0.5, 4.0)[0]
    power = np.full(20, 0.5 * DENSITY * math.pi * RADIUS**2 * 15.0**3 * cp)
    g = np.random.default_rng(1)
    noisy = air * (1 + 0.004 * g.normal(size=20))
    power *= 1 + 0.01 * g.normal(size=20)
    found = fit(MeasuredRows(noisy, 4.0 * air / RADIUS, power), accuracy)
    assert found.pitch_deg is not None
    assert found.other_deg is not None
    assert {found.branch, found.other_branch} == {"stalled", "unstalled"}
    both = sorted((found.pitch_deg, found.other_deg), key=lambda part: part.estimate)
    assert both[0].low <= 0.5 <= both[0].high
    assert both[1].estimate > 5
    assert np.nanmedian(found.rows.stalled_deg) == pytest.approx(0.5, abs=0.5)
    assert np.nanmedian(found.rows.unstalled_deg) == pytest.approx(both[1].estimate, abs=0.5)


@pytest.mark.parametrize("factor", [1.8, 0.2])
def test_no_pitch_explains_impossible_watts(factor):
    # At high tip-speed ratio low power has a pitch; more than the best has none. Few watts at low pitches of these
    # curves
    # have none either: use curves that end at 6°.
    assert CURVES is not None
    low = replace(
        CURVES,
        pitch_deg=CURVES.pitch_deg[:4],
        power_coefficient=CURVES.power_coefficient[:4],
        thrust_coefficient=CURVES.thrust_coefficient[:4],
    )
    rows = drive(1, np.full(30, 4.0), ratios=(4.2, 4.8))
    rows = replace(rows, electrical_power_w=rows.electrical_power_w * factor)
    found = true_pitch(low, RADIUS, DENSITY, rows, USUAL)
    assert found.branch == "none"
    assert found.pitch_deg is None
    assert not found.rows.explained.any()
    assert found.rows.more_than_any_pitch.all() == (factor > 1)


def test_exact_rows_give_the_exact_pitch_row_by_row():
    assert CURVES is not None
    air, ratio = np.linspace(12, 18, 12), np.linspace(2.5, 3.5, 12)
    cp = coefficients(CURVES, 12.0, ratio)[0]
    rows = MeasuredRows(air, ratio * air / RADIUS, 0.5 * DENSITY * math.pi * RADIUS**2 * air**3 * cp)
    found = fit(rows)
    # Exact rows between points of the curves: the map is linear there, so that only rounding is left.
    assert found.rows.unstalled_deg == pytest.approx(np.full(12, 12.0), abs=1e-6)
    assert found.rows.power_coefficient == pytest.approx(cp, rel=1e-12)
    assert found.pitch_deg is not None
    assert found.pitch_deg.estimate == pytest.approx(12.0, abs=0.05)


def test_one_row_is_enough_for_a_wide_answer():
    found = fit(drive(8, np.array([10.0])))
    assert found.pitch_deg is not None
    assert found.pitch_deg.low <= 10 <= found.pitch_deg.high


def test_correlated_rows_count_for_less():
    pitch = np.full(200, 10.0)
    rows = drive(4, pitch, shared=False)
    g = np.random.default_rng(0)
    slow = np.repeat(g.normal(size=20), 10) * 0.05
    together = replace(rows, air_speed_m_s=rows.air_speed_m_s * (1 + slow))
    apart = replace(rows, air_speed_m_s=rows.air_speed_m_s * (1 + g.permutation(slow)))
    wide, narrow = fit(together), fit(apart)
    assert wide.correlation > 0.4 > narrow.correlation
    assert wide.pitch_deg is not None
    assert narrow.pitch_deg is not None
    assert wide.pitch_deg.high - wide.pitch_deg.low > narrow.pitch_deg.high - narrow.pitch_deg.low


def test_rows_standing_or_beyond_the_curves_are_left_out_and_told():
    rows = drive(4, np.full(10, 10.0))
    air = rows.air_speed_m_s.copy()
    air[0], air[1] = 0.0, 3.0  # standing; tip-speed ratio far beyond the table
    found = fit(replace(rows, air_speed_m_s=air))
    assert not found.rows.used[:2].any()
    assert "2 of 10 rows" in found.notes[0]
    nothing = fit(replace(rows, air_speed_m_s=np.zeros(10)))
    assert nothing.pitch_deg is None
    assert "No row can be used." in nothing.notes


@pytest.mark.parametrize("connection", ["rectifier", "three_phase", "direct_current"])
def test_shaft_power_from_watts_undoes_the_generator(connection):
    chain = inputs_of(SCENARIO).turbine.chain
    assert chain is not None
    chain = replace(chain, connection=connection)
    speed = np.linspace(30, 120, 10)
    state = electrical_state(chain, speed)
    assert shaft_power_w(chain, state.element_w, speed) == pytest.approx(state.shaft_w, rel=1e-9)


def test_a_dial_that_counts_towards_fine_is_read_the_other_way():
    from energy.aero.blade import PitchConvention

    inputs = inputs_of(SCENARIO)
    g = np.random.default_rng(1)
    dial = np.repeat([2.0, 5.0, 8.0], 10)
    air = g.uniform(14, 18, 30)
    rotor = Rotor(CURVES, RADIUS, dial + 3.0, inputs.density_kg_m3, air)
    assert inputs.turbine.chain is not None
    speed = solve(rotor, inputs.turbine.chain).rotor_speed_rad_s
    watts = electrical_state(inputs.turbine.chain, speed).element_w
    plain = true_pitch_of(SCENARIO, MeasuredRows(air, speed, watts, None, dial))
    turned = replace(SCENARIO, pitch_convention=PitchConvention(positive_towards="flat"))
    other = true_pitch_of(turned, MeasuredRows(air, speed, watts, None, -dial))
    assert plain.offset_deg is not None
    assert other.offset_deg is not None
    assert plain.offset_deg.low <= 3.0 <= plain.offset_deg.high
    assert other.offset_deg.estimate == pytest.approx(-plain.offset_deg.estimate)
    assert other.pitch_deg is not None
    assert plain.pitch_deg is not None
    assert (other.pitch_deg.low, other.pitch_deg.high) == pytest.approx((-plain.pitch_deg.high, -plain.pitch_deg.low))


def test_accuracies_are_half_widths_of_95_percent():
    found = accuracy_of(load(VAN / "scenario.toml", ["measurement.air_speed_noise=0.0392", "rotor.power_factor=1.0"]))
    assert found.air_speed_noise == pytest.approx(0.02, rel=1e-3)
    assert found.curves == 0.0


def run(*args: str) -> str:
    result = CliRunner().invoke(group(), [str(a) for a in args], catch_exceptions=False)
    assert result.exit_code in (0, 3), result.output
    return re.sub(r"\s+", " ", result.output) if "--json" not in args else result.output


def test_demo_command_and_json():
    text = run("truepitch", VAN / "scenario.toml", VAN / "measured.csv")
    assert "Do not believe the dial" in text
    assert "95 % interval" in text
    data = json.loads(run("truepitch", VAN / "scenario.toml", VAN / "measured.csv", "--json"))
    assert set(data["pitch_deg"]) == {"estimate", "low", "high", "level"}
    assert data["branch"] in ("stalled", "unstalled", "either", "none")
    assert len(data["rows"]) == len(read_measured(VAN / "measured.csv").air_speed_m_s)
    assert data["dial"]["offset_deg"]["low"] <= 3.2 <= data["dial"]["offset_deg"]["high"]
    assert data["dial"]["drift_deg"]["low"] <= 3.0 <= data["dial"]["drift_deg"]["high"]


def test_watts_that_do_not_belong_to_the_generator_are_pointed_out(tmp_path):
    log = tmp_path / "m.csv"
    log.write_text("air_speed_m_s,rotor_speed_rpm,electrical_power_w\n16,800,400\n16.5,820,420\n15.5,780,390\n")
    text = run("truepitch", VAN / "scenario.toml", log)
    assert "times what the scenario's generator and element give" in text


def test_faults(tmp_path):
    log = tmp_path / "m.csv"
    log.write_text("air_speed_m_s,rotor_speed_rpm,electrical_power_w\n16,800,-4\n")
    with pytest.raises(InputError, match="electrical_power"):
        read_measured(log)
    rows = read_measured(VAN / "measured.csv")
    with pytest.raises(InputError, match="several pitches"):
        true_pitch_of(replace(SCENARIO, curves=None), rows)


@settings(max_examples=40, deadline=None)
@given(data=st.data(), count=st.integers(1, 12), exact=st.booleans())
def test_any_rows_give_an_answer_or_say_that_there_is_none(data, count, exact):
    def column(low: float, high: float) -> np.ndarray:
        return np.array(data.draw(st.lists(st.floats(low, high), min_size=count, max_size=count)))

    rows = MeasuredRows(
        column(0, 60),
        column(0, 300),
        column(0, 1e5),
        column(-100, 5000) if data.draw(st.booleans()) else None,
        column(-20, 90) if data.draw(st.booleans()) else None,
        column(0, 1e4) if data.draw(st.booleans()) else None,
    )
    found = fit(rows, Accuracy(0, 0, 0, 0, 0) if exact else USUAL)
    if found.pitch_deg is None:
        assert found.branch == "none"
    else:
        assert found.pitch_deg.low <= found.pitch_deg.estimate <= found.pitch_deg.high
        assert found.pitch_deg.low >= 0
        assert found.pitch_deg.high <= 18
    assert len(found.rows.low_deg) == count


def test_a_rotor_that_never_gives_power_has_no_true_pitch(demos: Path) -> None:
    """As computed from a blade that is set or twisted so wrong that it only brakes."""
    van = load(demos / "van_water_tank" / "scenario.toml")
    assert van.curves is not None
    dead = replace(van, curves=replace(van.curves, power_coefficient=np.minimum(van.curves.power_coefficient, 0.0)))
    with pytest.raises(InputError, match=r"rotor\.curves: no power coefficient above 0; accepted: "):
        true_pitch_of(dead, read_measured(VAN / "measured.csv"))


def test_curves_without_power_are_a_fault_of_the_file(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(VAN, tmp_path / "van"))
    rows = (folder / "rotor_curves.csv").read_text(encoding="utf-8").splitlines()
    start = next(k for k, row in enumerate(rows) if row.startswith("tip_speed_ratio")) + 1
    emptied = [",".join([*row.split(",")[:2], "0", row.split(",")[3]]) for row in rows[start:]]
    (folder / "rotor_curves.csv").write_text("\n".join([*rows[:start], *emptied]) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"column power_coefficient: 0 to 0; accepted: power that the rotor"):
        true_pitch_of(load(folder / "scenario.toml"), read_measured(folder / "measured.csv"))
