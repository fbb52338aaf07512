"""Hypotheses of what may be wrong, and what a machine with faults shows: worked out again with scalars.

At the speed that is shown the power of the air on the blades and that of the loaded chain must agree; what the meters
show follows from the speed by Ohm's law (energy/electrical.py, which other tests hold against texts).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import faulty_machine as machines
import numpy as np
import pytest
from scipy.stats import norm

from energy.chain.load import load
from energy.diagnosis import shortfall_causes
from energy.diagnosis.shortfall_causes import (
    _VARIANTS,
    CAUSES,
    FIELDS,
    MAIN,
    Faults,
    Hypothesis,
    Machine,
    Variant,
    faults_of,
    hypotheses,
    kept_share,
    lost_phase,
    neutral,
)
from energy.diagnosis.shortfall_readings import read_lines
from energy.electrical import electrical_state
from energy.scenario.files import MeasuredPower
from energy.scenario.inputs import inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import values_at
from vehicle.problems import InputError
from vehicle.quantity import Uncertain


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return load(machines.write_scenario(tmp_path_factory.mktemp("machine")))


def test_nothing_wrong_is_factors_of_one_and_no_offsets():
    one = neutral(3)
    for name, value in vars(one).items():
        nothing = 0.0 if name.startswith("pitch") or name in ("stalled", "slip", "lead", "tail_wind_m_s") else 1.0
        assert value.tolist() == [nothing] * 3, name
    assert {field for names in FIELDS.values() for field in names} == set(vars(one))
    assert set(FIELDS) == set(CAUSES)


def test_how_bad_a_fault_is_over_its_range():
    by_ratio, by_step = Variant("a", "local", 0.25, 4.0, 1.0), Variant("a", "slip", 0.1, 0.5, 1.0, by_ratio=False)
    share = np.array([0.0, 0.5, 1.0])
    assert by_ratio.value(share) == pytest.approx([0.25, 1.0, 4.0])
    assert by_step.value(share) == pytest.approx([0.1, 0.3, 0.5])
    assert Variant("a", "stalled", 1.0, 1.0, 1.0).value(share).tolist() == [1.0] * 3
    assert Variant("a", "stalled", 0.0, 0.0, 1.0).value(share).tolist() == [0.0] * 3


def test_faults_of_draws_are_those_of_their_hypotheses():
    pitch = Variant("pitch", "pitch_deg", -18.0, -2.0, 0.4, by_ratio=False)
    meter = Variant("meter", "meter_power", 0.4, 0.9, 0.2, also=("meter_current",))
    both, alone, nothing = Hypothesis((pitch, meter), 0.1), Hypothesis((meter,), 0.1), Hypothesis((), 0.1)
    scores = np.array([[0.0, 1.0, 9.0], [-1.0, 5.0, 9.0], [2.0, 2.0, 9.0], [0.5, -0.5, 9.0]])
    found = faults_of([both, alone, nothing, both], scores)
    at = [norm.cdf(v) for v in (0.0, 0.5)]
    assert found.pitch_deg == pytest.approx([-18 + 16 * at[0], 0, 0, -18 + 16 * at[1]])
    shown = [0.4 * 2.25 ** norm.cdf(1.0), 0.4 * 2.25 ** norm.cdf(-1.0), 1.0, 0.4 * 2.25 ** norm.cdf(-0.5)]
    assert found.meter_power == pytest.approx(shown)
    assert found.meter_current == pytest.approx(shown)
    for name, value in vars(found).items():
        if name not in ("pitch_deg", "meter_power", "meter_current"):
            assert (value == getattr(neutral(4), name)).all()
    assert both.causes == ("pitch", "meter")


def test_a_lost_phase():
    """Mean of a single-phase bridge over that of three phases: 2√2/π over 3√2/π (power-electronics texts). In star, two
    of three elements in series across one of the line voltages: (√3 E)²/2R = 1.5 E²/R instead of 3 E²/R."""
    bridge, star = lost_phase("rectifier"), lost_phase("three_phase")
    assert bridge is not None
    assert star is not None
    assert bridge.low == bridge.high == pytest.approx((2 * math.sqrt(2) / math.pi) / (3 * math.sqrt(2) / math.pi))
    assert star.low**2 == star.high**2 == pytest.approx(1.5 / 3)
    assert {(v.cause, v.field) for v in (bridge, star)} == {("generator", "voltage")}
    assert lost_phase("direct_current") is None


def test_ranges_of_faults_are_whole():
    """Own choices, but of one piece: shares of a cause add up to one, or a twentieth more where a part is cut through;
    what is worse begins where the milder ends; both sides of the dial alike; no range holds what is right."""
    for cause in CAUSES:
        mine = [v for v in _VARIANTS if v.cause == cause]
        share = sum(v.share for v in mine) + (0.2 if cause == "generator" else 0.0)
        assert share == pytest.approx(1.05 if cause in ("element", "wiring") else 1.0), cause
        assert all(v.share > 0 for v in mine)
    fine = neutral(1)
    for v in _VARIANTS:
        right = getattr(fine, v.field)[0]
        if v.field in ("pitch_slip_deg", "pitch_drift_deg"):
            assert v.low == -v.high
            continue
        assert v.low > right or v.high < right
        assert v.low <= v.high
        assert v.by_ratio == (v.field not in ("pitch_deg", "slip", "tail_wind_m_s"))
    more, less = (v for v in _VARIANTS if v.field == "pitch_deg")
    assert (more.low, more.high, more.share) == (-less.high, -less.low, less.share)
    for field in ("element", "lead"):
        mild, severe = sorted(
            (v for v in _VARIANTS if v.field == field and v.low > getattr(fine, field)[0]), key=lambda v: v.low
        )
        assert mild.high == severe.low
        assert severe.high > 1000  # nothing flows any more
        assert severe.share < 0.1 * mild.share
    other = [v for v in _VARIANTS if v.also]
    assert {v.also for v in other} == {("meter_current",), ("meter_voltage",)}
    assert other[0].share == other[1].share


def names_of(found) -> set[str]:
    return {v.cause for h in found for v in h.variants}


def test_probabilities_before_any_reading(invented: Scenario):
    readings = read_lines(["200 W at 20 m/s, 0 s", "300 W at 25 m/s, 60 s"])
    found = hypotheses(invented, readings)
    assert sum(h.prior for h in found) == pytest.approx(1.0)
    none, ones, twos = ([h for h in found if len(h.variants) == n] for n in (0, 1, 2))
    assert [h.prior for h in none] == [0.10]  # own choice: a tenth that nothing is wrong, 78 % one cause, 12 % two
    assert sum(h.prior for h in ones) == pytest.approx(0.78)
    assert sum(h.prior for h in twos) == pytest.approx(0.12)
    assert len(ones) == len(_VARIANTS) + 1  # and a lost phase
    for cause in CAUSES:
        mine = [h for h in ones if h.causes == (cause,)]
        assert sum(h.prior for h in mine) == pytest.approx(0.078)
        total = sum(h.variants[0].share for h in mine)
        for h in mine:
            assert h.prior == pytest.approx(0.078 * h.variants[0].share / total)
    # Every two causes once, alike; pitch, generator and element with their two commonest ways.
    for k, a in enumerate(CAUSES):
        for b in CAUSES[k + 1 :]:
            mine = [h for h in twos if h.causes == (a, b)]
            ways = {c: 2 if c in ("pitch", "generator", "element") else 1 for c in (a, b)}
            assert len(mine) == ways[a] * ways[b]
            assert sum(h.prior for h in mine) == pytest.approx(0.12 / 45)
            assert len({h.prior for h in mine}) == 1
            for c in (a, b):
                kinds = [v for v in _VARIANTS if v.cause == c][: ways[c]]
                assert {v for h in mine for v in h.variants if v.cause == c} == set(kinds)
    assert len(twos) == sum(len([h for h in twos if h.causes == c]) for c in {h.causes for h in twos})


def test_what_cannot_be_wrong_is_no_hypothesis(invented: Scenario, van: Scenario):
    once = read_lines(["200 W at 20 m/s"])
    found = hypotheses(invented, once)
    assert names_of(found) == set(CAUSES)
    assert not any(v.field == "pitch_drift_deg" for h in found for v in h.variants)  # no time, no drift
    same = hypotheses(invented, read_lines(["200 W at 20 m/s, 9 s", "300 W at 25 m/s, 9 s", "300 W at 26 m/s"]))
    assert not any(v.field == "pitch_drift_deg" for h in same for v in h.variants)
    later = hypotheses(invented, read_lines(["200 W at 20 m/s, 9 s", "300 W at 25 m/s, 10 s", "300 W at 26 m/s"]))
    assert any(v.field == "pitch_drift_deg" for h in later for v in h.variants)
    standing = hypotheses(invented, read_lines(["200 W, free air 9 m/s", "200 W at 0 m/s"]))
    assert names_of(standing) == set(CAUSES) - {"wind"}
    assert invented.curves is not None
    one = replace(
        invented.curves,
        pitch_deg=invented.curves.pitch_deg[:1],
        power_coefficient=invented.curves.power_coefficient[:1],
        thrust_coefficient=invented.curves.thrust_coefficient[:1],
    )
    assert names_of(hypotheses(replace(invented, curves=one), once)) == set(CAUSES) - {"pitch"}

    def geared(ratio: float, efficiency: float) -> set[str]:
        drive = invented.drive.model_copy(
            update={"ratio": Uncertain(*[ratio] * 3), "efficiency": Uncertain(*[efficiency] * 3)}
        )
        return names_of(hypotheses(replace(invented, drive=drive), once))

    assert geared(1.0, 1.0) == geared(1.0, 0.999) == set(CAUSES) - {"belt"}  # none is fitted
    assert geared(1.0, 0.998) == geared(1.1, 1.0) == geared(0.9, 1.0) == set(CAUSES)
    with pytest.raises(InputError, match=r"rotor\.curves: no curves and generator to expect watts from"):
        hypotheses(replace(invented, curves=None), once)
    del van


TEXTS = (
    "200 W at 17 m/s, dial 4 deg, out, 0 s",
    "300 W at 21 m/s, dial 6 deg, 15 ohm, heading 60 deg, 50 s",
    "300 W at 25 m/s, wind 3 m/s, back, 120 s",
    "300 W and free air 18 m/s",
    "300 W and air 14 m/s",
)


def scored(machine: Machine, seed: int, count: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(count, machine.columns)).clip(-1.5, 1.5)


def wrong(count: int = 3) -> Faults:
    """Everything a little wrong, and in another way in each draw."""
    ramp = np.arange(count)
    return Faults(
        local=0.95 + 0.03 * ramp,
        pitch_deg=1.0 - 1.5 * ramp,
        pitch_slip_deg=-2.0 + 1.0 * ramp,
        pitch_drift_deg=3.0 - 2.0 * ramp,
        power=0.85 + 0.05 * ramp,
        stalled=np.zeros(count),
        voltage=0.9 + 0.04 * ramp,
        winding=1.5 + 0.5 * ramp,
        element=1.1 + 0.1 * ramp,
        slip=0.02 + 0.04 * ramp,
        lead=0.1 + 0.05 * ramp,
        tail_wind_m_s=0.5 + 0.5 * ramp,
        meter_power=0.8 + 0.1 * ramp,
        meter_voltage=0.9 + 0.02 * ramp,
        meter_current=1.1 - 0.1 * ramp,
    )


def test_scores_are_the_scenario_s_ranges_and_what_is_never_exact(invented: Scenario):
    machine = Machine(invented, read_lines(TEXTS))
    ranges = ranges_of(invented)
    assert set(machine.main) == {"rotor.local_speed_factor", "rotor.power_factor"}
    parts = ("rotor.", "blade.", "generator.", "heater.", "drive.")
    assert "generator.iron_loss" in machine.minor or any(key.startswith("generator.") for key in machine.minor)
    assert all(key.startswith(parts) for key in machine.minor)
    assert not any("drag" in key or "solidity" in key or "interaction" in key for key in machine.minor)
    assert not set(machine.minor) & set(machine.main)
    assert set(machine.minor) <= set(ranges)
    assert machine.columns == 6 + 6 + len(machine.minor)
    assert MAIN == 6


def test_draws_of_air_and_wind(invented: Scenario):
    """The day's wind is one vector over the ground, 1 m/s along and across the first road; a road on another heading
    has another part of it ahead, and so has the wind as stated. A head wind that was measured stands for it,
    and so does the air of a vehicle that stands: what was measured holds the wind already."""
    windy = invented.air.model_copy(update={"wind_speed": Uncertain(4, 4, 4), "wind_from": Uncertain(0.7, 0.7, 0.7)})
    scenario = replace(invented, air=windy)
    machine, faults = Machine(scenario, read_lines(TEXTS)), wrong()
    scores = scored(machine, 1)
    found = machine._draws(scores, faults)
    local = scenario.rotor.local_speed_factor
    for n in range(3):
        assert found["rotor.local_speed_factor"][n, 0] == pytest.approx(
            values_at({"rotor.local_speed_factor": local}, scores[n : n + 1, 2:3])["rotor.local_speed_factor"][0]
        )
        assert found["rotor.power_factor"][n, 0] == pytest.approx(
            values_at({"rotor.power_factor": scenario.rotor.power_factor}, scores[n : n + 1, 3:4])[
                "rotor.power_factor"
            ][0]
        )
        minor = values_at(machine.minor, scores[n : n + 1, 12:])
        for key, value in minor.items():
            assert found[key][n, 0] == pytest.approx(value[0])
        day = np.array([scores[n, 4] - faults.tail_wind_m_s[n], scores[n, 5]])
        stated = 4 * np.array([math.cos(0.7), math.sin(0.7)])
        for g, degrees in enumerate((0.0, 60.0, 180.0, 0.0, 0.0)):
            turn = math.radians(degrees)
            wind = day + stated if g < 2 else day
            ahead = wind @ [math.cos(turn), math.sin(turn)] + (0.0, 0.0, 3.0, 18.0, 14.0 / local.value)[g]
            aside = wind @ [-math.sin(turn), math.cos(turn)]
            speed, comes = found["air.wind_speed"][n, g], found["air.wind_from"][n, g]
            assert speed * math.cos(comes) == pytest.approx(ahead)
            assert speed * math.sin(comes) == pytest.approx(aside)
        assert found["trip.road_speed"][n].tolist() == [17, 21, 25, 0, 0]
    turned = Machine(scenario, read_lines([TEXTS[2], TEXTS[0]]))  # headings count from the first one
    again = turned._draws(scores, faults)
    ahead = again["air.wind_speed"][:, 0] * np.cos(again["air.wind_from"][:, 0])
    assert ahead == pytest.approx(scores[:, 4] - faults.tail_wind_m_s + 3.0)


def test_air_that_was_measured_standing_is_the_air(demos: Path):
    """A van parked in a wind that is stated as 12.5 m/s, and the air beside it measured as 9: 9 m/s it is."""
    parked = load(demos / "parked_on_a_ridge" / "scenario.toml")
    machine = Machine(parked, read_lines(["300 W, free air 9 m/s", "300 W at 0 m/s, free air 9 m/s"]))
    shown = machine.predict(np.zeros((1, machine.columns)), neutral(1)).shown
    assert shown["free_air_speed_m_s"][0] == pytest.approx([9.0, 12.5])  # standing on the road: as stated, to be parted


def test_a_dial_a_slipping_one_and_one_that_drifts(invented: Scenario):
    machine, faults = Machine(invented, read_lines(TEXTS)), wrong()
    air = np.array([[10.0, 12.0, 20.0, 4.0, 5.0], [9.0, 12.0, 18.0, 4.0, 5.0], [9.0, 11.0, 18.0, 4.0, 5.0]])
    found = machine._pitch(air, faults)
    for n in range(3):
        for g, (dial, time) in enumerate(((4, 0), (6, 50), (4, 120), (4, None), (4, None))):
            load = (air[n, g] / 20.0) ** 2  # of the fastest of all
            drift = 0.0 if time is None else time / 120
            pitch = dial + faults.pitch_deg[n] + faults.pitch_slip_deg[n] * load + faults.pitch_drift_deg[n] * drift
            assert found[n, g] == pytest.approx(pitch)
    far = replace(neutral(2), pitch_deg=np.array([90.0, -90.0]))
    assert machine._pitch(air[:2], far).tolist() == [[25.0] * 5, [-10.0] * 5]  # the curves' ends
    still = machine._pitch(np.zeros((1, 5)), replace(neutral(1), pitch_slip_deg=np.array([5.0])))
    assert still[0, 0] == 4.0
    # Without a stated pitch the first of the curves; a dial from feather counts the other way.
    none = replace(invented, rotor=invented.rotor.model_copy(update={"pitch": None}))
    assert Machine(none, read_lines([TEXTS[3]]))._pitch(air[:1, :1], neutral(1))[0, 0] == -10.0
    same = Machine(invented, read_lines(["1 W at 9 m/s, 5 s", "1 W at 9 m/s, 5 s"]))
    assert same._pitch(np.ones((1, 2)), replace(neutral(1), pitch_drift_deg=np.array([5.0]))).tolist() == [[4.0, 4.0]]


def test_a_chain_with_faults(invented: Scenario):
    machine, faults = Machine(invented, read_lines([*TEXTS, "1 W at 9 m/s, 15 ohm"])), wrong()
    machine.readings.ratio[4] = 3.3
    chain = inputs_of(invented).turbine.chain
    assert chain is not None
    loose = {k: np.array([[0.1], [-0.2], [0.0]]) * v for k, v in (("voltage", 1), ("element", 2), ("winding", 3))}
    found = machine._chain(chain, faults, loose)
    for n in range(3):
        for g in range(6):
            set_to = 15.0 / machines.ELEMENT if g in (1, 5) else 1.0
            ohm = float(np.asarray(chain.element_resistance_ohm)) * set_to
            more = [math.exp(loose[k][n, 0]) for k in ("voltage", "element", "winding")]
            grip = 1 - faults.slip[n]
            assert np.broadcast_to(found.ratio, (3, 6))[n, g] == pytest.approx(
                (3.3 if g == 4 else machines.RATIO) * grip
            )
            assert np.broadcast_to(found.belt_efficiency, (3, 6))[n, g] == pytest.approx(machines.BELT * grip)
            assert np.broadcast_to(found.voltage_constant_v_s, (3, 6))[n, g] == pytest.approx(
                chain.voltage_constant_v_s * more[0] * faults.voltage[n]
            )
            assert found.element_resistance_ohm[n, g] == pytest.approx(ohm * more[1] * faults.element[n])
            assert np.broadcast_to(found.winding_resistance_ohm, (3, 6))[n, g] == pytest.approx(
                chain.winding_resistance_ohm * more[2] * faults.winding[n]
            )
            assert found.lead_resistance_ohm[n, g] == pytest.approx(chain.lead_resistance_ohm + faults.lead[n] * ohm)
    for name in ("friction_torque_n_m", "iron_loss_w", "rectifier_drop_v", "connection"):
        assert getattr(found, name) == getattr(chain, name)


@pytest.mark.parametrize("connection", ["rectifier", "three_phase", "direct_current"])
def test_what_the_instruments_show_of_a_machine_with_faults(invented: Scenario, connection: str):
    generator = invented.generator
    assert generator is not None
    scenario = replace(invented, generator=generator.model_copy(update={"connection": connection}))
    machine, faults = Machine(scenario, read_lines(TEXTS)), wrong()
    scores = scored(machine, 2)
    found = machine.predict(scores, faults)
    inputs = inputs_of(scenario, machine._draws(scores, faults))
    curves, turbine = scenario.curves, inputs.turbine
    assert curves is not None
    assert turbine.chain is not None
    # Never exact: air 3 %, power 3 %, volts 2 %, ohms 2 %, winding 5 %, half a degree (common practice, no source).
    sizes = {"local": 0.03, "power": 0.03, "voltage": 0.02, "element": 0.02, "winding": 0.05, "pitch_deg": 0.5}
    loose = {name: size * scores[:, [6 + k]] for k, (name, size) in enumerate(sizes.items())}
    air = inputs.rotor_air_speed_m_s * np.exp(loose["local"]) * faults.local[:, None]
    pitch = machine._pitch(air, faults) + loose["pitch_deg"]
    chain = machine._chain(turbine.chain, faults, loose)
    speed = found.shown["rotor_speed_rad_s"]
    state = electrical_state(chain, speed)
    assert (speed > 10).all()
    assert found.shown["air_speed_m_s"] == pytest.approx(air)
    assert found.shown["free_air_speed_m_s"] == pytest.approx(np.broadcast_to(inputs.free_air_speed_m_s, speed.shape))
    assert found.watts == pytest.approx(state.element_w)
    line = math.sqrt(3) if connection == "three_phase" else 1.0
    density = float(np.asarray(inputs.density_kg_m3).ravel()[0])
    for n in range(3):
        for g in range(5):
            assert found.shown["electrical_power_w"][n, g] == pytest.approx(
                state.element_w[n, g] * faults.meter_power[n]
            )
            assert found.shown["voltage_v"][n, g] == pytest.approx(
                state.element_voltage_v[n, g] * line * faults.meter_voltage[n]
            )
            assert found.shown["current_a"][n, g] == pytest.approx(state.current_a[n, g] * faults.meter_current[n])
            ratio = speed[n, g] * machines.RADIUS / air[n, g]
            cp, ct = (
                np.interp(
                    pitch[n, g], curves.pitch_deg, [np.interp(ratio, curves.tip_speed_ratio, row) for row in table]
                )
                for table in (curves.power_coefficient, curves.thrust_coefficient)
            )
            weak = faults.power[n] * math.exp(loose["power"][n, 0])
            area = math.pi * machines.RADIUS**2
            shaft = cp * np.asarray(turbine.power_factor)[n, 0] * weak * 0.5 * density * area * air[n, g] ** 3
            assert state.shaft_w[n, g] == pytest.approx(shaft, rel=2e-3)
            factor = float(np.broadcast_to(turbine.thrust_factor, (3, 1))[n, 0])
            # Blades that give less power push less, but not in proportion (common practice, no source).
            thrust = ct * factor * (0.4 + 0.6 * faults.power[n]) * 0.5 * density * area * air[n, g] ** 2
            assert found.shown["thrust_n"][n, g] == pytest.approx(thrust, rel=1e-6)
    assert found.possible.all()


def settled(monkeypatch: pytest.MonkeyPatch, stable, fast, starts):
    """Let the operating point be this: stable speeds (N, G, 2), the fast one, and whether it turns from standstill."""
    asked = []

    def solve(rotor, chain, *, load_connected_after_spin_up):
        asked.append(load_connected_after_spin_up)
        return SimpleNamespace(
            stable_speeds_rad_s=np.array(stable, float),
            rotor_speed_rad_s=np.array(fast, float),
            starts=np.array(starts),
        )

    monkeypatch.setattr(shortfall_causes, "solve", solve)
    return asked


NAN = math.nan
#            two speeds   one, turns     one, does not start   stands for ever
STABLE = [[[10.0, 40.0], [30.0, NAN], [35.0, NAN], [NAN, NAN]]]
FAST, STARTS = [[40.0, 30.0, 35.0, 0.0]], [[True, True, False, False]]


def test_a_stalled_rotor_stays_on_the_first_speed_that_it_meets(invented: Scenario, monkeypatch: pytest.MonkeyPatch):
    machine = Machine(invented, read_lines(["1 W at 9 m/s"]))
    asked = settled(monkeypatch, STABLE * 2, FAST * 2, STARTS * 2)
    faults = replace(neutral(2), stalled=np.array([0.0, 1.0]))
    speed, possible = machine._speed(None, None, faults)  # type: ignore[arg-type]
    assert speed.tolist() == [[40, 30, 35, 0], [10, 30, 0, 0]]
    assert possible.tolist() == [True, True]
    assert asked == [True]
    settled(monkeypatch, [STABLE[0][1::2]] * 2, [FAST[0][1::2]] * 2, [STARTS[0][1::2]] * 2)
    speed, possible = machine._speed(None, None, faults)  # type: ignore[arg-type]
    assert speed.tolist() == [[30, 0], [30, 0]]
    assert possible.tolist() == [True, False]  # no slow speed to be stalled on
    generator = invented.generator
    assert generator is not None
    loaded = replace(invented, generator=generator.model_copy(update={"load_connected": "always"}))
    settled(monkeypatch, STABLE, FAST, STARTS)
    speed, possible = Machine(loaded, machine.readings)._speed(None, None, neutral(1))  # type: ignore[arg-type]
    assert speed.tolist() == [[10, 30, 0, 0]]  # with its load on from the start it does not get to the fast one
    assert possible.tolist() == [True]


def test_a_rotor_known_by_its_watts_alone(invented: Scenario):
    machine, faults = Machine(invented, read_lines(TEXTS)), wrong()
    table = MeasuredPower(
        air_speed_m_s=np.array([4.0, 8.0, 12.0, 16.0]),
        electrical_power_w=np.array([20.0, 200.0, 700.0, 1600.0]),
        thrust_n=np.array([10.0, 50.0, 120.0, 210.0]),
        rotor_speed_rad_s=np.array([5.0, 10.0, 15.0, 20.0]),
    )
    loose = {"local": np.array([[0.02], [-0.03], [0.0]]), "power": np.array([[0.01], [0.0], [-0.02]])}
    speeds = np.array([[3.0, 4.5, 9.0, 15.0, 22.0]] * 3)
    inputs = replace(inputs_of(invented), rotor_air_speed_m_s=speeds, free_air_speed_m_s=speeds * 1.25)
    found = machine._of_table(inputs, table, faults, loose)
    for n in range(3):
        kept = float(kept_share(faults)[n]) * math.exp(loose["power"][n, 0])
        for g in range(5):
            air = speeds[n, g] * math.exp(loose["local"][n, 0]) * faults.local[n]
            beyond = max(air / 16, 1.0) * min(air / 4, 1.0)  # as the cube of the air speed, thrust as its square
            watts = np.interp(air, table.air_speed_m_s, table.electrical_power_w) * beyond**3
            assert found.watts[n, g] == pytest.approx(watts * kept)
            assert found.shown["electrical_power_w"][n, g] == pytest.approx(watts * kept * faults.meter_power[n])
            push = np.interp(air, table.air_speed_m_s, table.thrust_n) * beyond**2
            assert found.shown["thrust_n"][n, g] == pytest.approx(push)
            assert found.shown["air_speed_m_s"][n, g] == pytest.approx(air)
            assert found.shown["free_air_speed_m_s"][n, g] == pytest.approx(speeds[n, g] * 1.25)
    for channel in ("rotor_speed_rad_s", "voltage_v", "current_a"):
        assert np.isnan(found.shown[channel]).all()
    assert found.possible.tolist() == [True] * 3
    unknown = machine._of_table(inputs, replace(table, thrust_n=None), faults, loose)
    assert np.isnan(unknown.shown["thrust_n"]).all()


def test_a_rotor_known_by_its_watts_goes_by_its_table(
    invented: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    machine = Machine(invented, read_lines(TEXTS))
    scores, faults = scored(machine, 3), wrong()
    table = MeasuredPower(np.array([4.0, 30.0]), np.array([20.0, 4000.0]), None, None)
    real = shortfall_causes.inputs_of

    def by_watts(scenario, draws):
        inputs = real(scenario, draws)
        return replace(inputs, turbine=replace(inputs.turbine, measured=table))

    monkeypatch.setattr(shortfall_causes, "inputs_of", by_watts)
    found = machine.predict(scores, faults)
    inputs = real(invented, machine._draws(scores, faults))
    air = inputs.rotor_air_speed_m_s * np.exp(0.03 * scores[:, [6]]) * faults.local[:, None]
    watts = np.interp(air, [4.0, 30.0], [20.0, 4000.0]) * kept_share(faults)[:, None] * np.exp(0.03 * scores[:, [7]])
    assert found.watts == pytest.approx(watts)
    del tmp_path
