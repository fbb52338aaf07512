"""The heated load: closed forms, an independent integrator, invariants, and what bad numbers get told."""

import math

import numpy as np
import pytest
from heat_support import highest_temperature_k, holding_power_w
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from energy.heat.heater import (
    ElementControl,
    HeatingSteps,
    SteadyPower,
    heat_up,
    simulate,
)
from energy.heat.load import (
    ElementLimits,
    HeatedLoad,
    SecondNode,
    Thermostat,
    faults,
    food_specific_heat_j_kg_k,
    most_power_w,
    with_contents,
)
from energy.heat.steady import slowest_time_constant_s
from energy.heat.steps import STEFAN_BOLTZMANN_W_M2_K4, HeaterError, averages, film_in_wind_w_m2_k
from energy.heat.water import SPECIFIC_HEAT_J_KG_K, boiling_point_k, latent_heat_j_kg
from energy.heat.wattmeter import read_wattmeter_log, trip_steps
from energy.words.heat_limits import cautions, remedies
from vehicle.problems import InputError
from vehicle.units import convert, parse

TANK = HeatedLoad(126e3, 2.5)
AMBIENT = 288.15
GUSTS = 1000.0 + 800.0 * np.sin(np.arange(3600) / 50.0)


def closes(outcome, tolerance=1e-9):
    given_j = outcome.energy_given_j
    rest = given_j - outcome.energy_stored_j - outcome.energy_lost_j - outcome.energy_in_vapour_j
    turned_over = np.abs(given_j) + np.abs(outcome.energy_stored_j) + np.abs(outcome.energy_lost_j)
    return bool((np.abs(rest) <= tolerance * np.maximum(turned_over, 1.0)).all())


# Closed forms


def test_time_to_target_by_hand():
    # 30 L of water and a little steel: 126 kJ/K; loss 2.5 W/K; 1.4 kW; from 15 to 70 degC at 15 degC.
    #   steady rise      1400 W / 2.5 W/K = 560 K
    #   time constant    126 000 / 2.5 = 50 400 s
    #   time             -50 400 s * ln(1 - 55/560) = 5210.3 s (87 min)
    #   energy given     1400 W * 5210.3 s = 7.294 MJ (2.03 kWh), of which 126 000 * 55 = 6.93 MJ are stored
    outcome = heat_up(TANK, SteadyPower(1400.0, AMBIENT), target_k=AMBIENT + 55)
    assert outcome.time_to_target_s == pytest.approx(5210.269, abs=0.001)
    assert outcome.energy_to_target_j == pytest.approx(1400 * 5210.269, rel=1e-6)
    assert outcome.highest_temperature_k == pytest.approx(AMBIENT + 560)
    assert outcome.holding_power_w == pytest.approx(2.5 * 55)
    assert outcome.shortfall_w == 0
    assert outcome.reachable.all()
    assert outcome.reason.tolist() == [""]
    assert closes(outcome)


def test_a_load_without_loss_warms_evenly_and_has_no_highest_temperature():
    outcome = heat_up(HeatedLoad(1000.0, 0.0), SteadyPower(100.0, 300.0), target_k=400.0)
    assert outcome.time_to_target_s == pytest.approx(1000.0, rel=1e-9)
    assert np.isnan(outcome.highest_temperature_k).all()
    assert outcome.reachable.all()


def test_cooling_from_above():
    outcome = simulate(TANK, HeatingSteps(0.0, np.full(10, 5040.0), AMBIENT), target_k=400.0, start_k=AMBIENT + 50)
    assert outcome.final_temperature_k == pytest.approx(AMBIENT + 50 / math.e)
    assert not outcome.reachable.any()
    assert outcome.history.main_k[5, 0] == pytest.approx(AMBIENT + 50 * math.exp(-0.5))


def test_a_start_above_the_target_takes_no_time():
    outcome = heat_up(TANK, SteadyPower(500.0, AMBIENT), target_k=320.0, start_k=330.0)
    assert outcome.time_to_target_s == 0
    assert outcome.energy_to_target_j == 0


@given(st.floats(-60.0, 0.0))
def test_the_averages_of_the_exponential(z):
    first, second = averages(np.array([z, -1e-12, 0.0]))
    assert first[2] == 1
    assert second[2] == 0.5
    # phi1 = integral of e^(zs), phi2 = integral of e^(zs) (1 - s), s from 0 to 1 (Gauss-Legendre)
    nodes, weights = np.polynomial.legendre.leggauss(60)
    s = 0.5 * (nodes + 1)
    assert first[0] == pytest.approx(float(0.5 * weights @ np.exp(z * s)), rel=1e-12)
    assert second[0] == pytest.approx(float(0.5 * weights @ (np.exp(z * s) * (1 - s))), rel=1e-12)


def test_thermostat_period_by_hand():
    # On from 351 to 353, off from 353 to 351 (ambient 300, loss 2, capacity 10 000, 400 W: steady at 500):
    #   on  5000 s * ln((500-351)/(500-353)) = 67.57 s;  off 5000 s * ln(53/51) = 192.33 s
    heater = HeatedLoad(10e3, 2.0)
    on, off = 5000 * math.log(149 / 147), 5000 * math.log(53 / 51)
    outcome = simulate(
        heater,
        HeatingSteps(400.0, np.full(100, on + off), 300.0),
        target_k=345.0,
        start_k=351.0,
        control=ElementControl(thermostat=Thermostat(352.0, 2.0)),
    )
    assert outcome.energy_given_j == pytest.approx(100 * on * 400.0, rel=1e-9)
    assert outcome.energy_refused_j == pytest.approx(100 * off * 400.0, rel=1e-9)
    assert outcome.final_temperature_k == pytest.approx(351.0, abs=1e-6)
    assert outcome.peak_temperature_k == pytest.approx(353.0, abs=1e-9)
    assert abs(int(outcome.switchings[0]) - 200) <= 1  # the last switch falls on the end itself
    assert closes(outcome)


@pytest.mark.parametrize(
    "heater",
    [
        HeatedLoad(np.array([9e3, 11e3]), 2.0, second_node=SecondNode(800.0, 15.0, takes_power=True)),
        HeatedLoad(np.array([3e3, 4e3]), 0.5, second_node=SecondNode(8e3, 12.0, 4.0, radiating_area_m2=0.05)),
        HeatedLoad(np.array([9e3, 11e3]), 2.0, radiating_area_m2=0.1),
        HeatedLoad(np.array([9e3, 11e3]), 2.0, outside_area_m2=0.8),
    ],
)
def test_a_thermostat_holds_its_band(heater):
    kept = {}
    for length in (1.0, 20.0):
        outcome = simulate(
            heater,
            HeatingSteps(900.0, np.full(int(7200 / length), length), 290.0, 20.0),
            target_k=330.0,
            start_k=290.0,
            most_records=7201,
            control=ElementControl(thermostat=Thermostat(340.0, 4.0)),
        )
        settled = outcome.history.main_k[outcome.history.time_s > 3600]
        # an element that is still hot when the thermostat opens carries the load on, above the band: at most
        # 800 J/K * (900 W / 15 W/K) / 9 kJ/K = 5.3 K
        carried = 5.4 if heater.second_node is not None and heater.second_node.takes_power else 0.01
        assert settled.max() < 342.0 + carried
        assert settled.min() > 338.0 - carried
        assert (outcome.switchings > 5).all()
        assert closes(outcome)
        kept[length] = outcome
    assert kept[1.0].time_to_target_s == pytest.approx(kept[20.0].time_to_target_s, rel=2e-3)
    assert kept[1.0].energy_given_j == pytest.approx(kept[20.0].energy_given_j, rel=0.03)


def test_a_thermostat_that_would_never_rest_is_told():
    with pytest.raises(HeaterError, match="hysteresis is too narrow"):
        simulate(
            HeatedLoad(0.01, 2.0),
            HeatingSteps(900.0, [3600.0], 290.0),
            target_k=330.0,
            start_k=290.0,
            control=ElementControl(thermostat=Thermostat(340.0, 0.1)),
        )


# Water


def test_boiling_ends_the_rise_and_makes_vapour():
    # 2 kg of water and 1 kJ/K of pot from 20 degC; 1.5 kW; no loss: 9372 J/K * 79.97 K = 749.5 kJ, 499.7 s; after that
    # all of the power makes vapour: 1500 W * 1000 s / 2257 kJ/kg = 0.6646 kg.
    pot = with_contents(HeatedLoad(1000.0, 0.0), 2.0, SPECIFIC_HEAT_J_KG_K, boils=True)
    boiling = float(boiling_point_k(101325.0))
    to_boiling = (1000 + 2 * SPECIFIC_HEAT_J_KG_K) * (boiling - 293.15) / 1500
    outcome = simulate(pot, HeatingSteps(1500.0, [to_boiling + 1000.0], 293.15), target_k=380.0, start_k=293.15)
    assert outcome.final_temperature_k == pytest.approx(boiling)
    assert outcome.boiling_from_s == pytest.approx(to_boiling, rel=1e-9)
    assert outcome.water_left_kg == pytest.approx(2 - 1.5e6 / float(latent_heat_j_kg(boiling)), rel=1e-9)
    assert outcome.reason.tolist() == ["boiling"]
    assert not outcome.reachable.any()
    assert np.isnan(outcome.shortfall_w).all()
    assert closes(outcome)
    only = remedies(pot, outcome)
    assert [remedy.kind for remedy in only] == ["target"]
    assert "boils" in only[0].words
    assert any("vent" in text for text in cautions(pot, outcome))


def test_walls_go_on_warming_by_themselves_while_the_water_boils():
    # The main node stays at the boiling point: walls of 800 J/K between 15 W/K to it and 4 W/K to the air at 293.15 K
    # go to (15·boiling + 4·293.15)/19 as exp(-19 t / 800) does (closed form of one node).
    walls = SecondNode(800.0, 15.0, 4.0)
    pot = with_contents(HeatedLoad(1000.0, 0.0, second_node=walls), 2.0, SPECIFIC_HEAT_J_KG_K, boils=True)
    boiling = float(boiling_point_k(101325.0))
    outcome = simulate(pot, HeatingSteps(6000.0, np.full(300, 1.0), 293.15), target_k=380.0, start_k=293.15)
    time, main, second = outcome.history.time_s, outcome.history.main_k[:, 0], outcome.history.second_k[:, 0]
    boils = np.flatnonzero(np.abs(main - boiling) < 1e-9)
    assert boils.size > 50
    end = (15 * boiling + 4 * 293.15) / 19
    first = boils[1]
    assert end - second[first] > 2
    expected = end + (second[first] - end) * np.exp(-19 / 800 * (time[boils[1:]] - time[first]))
    assert second[boils[1:]] == pytest.approx(expected, abs=1e-6)


def test_a_pot_that_boils_dry_goes_on_warming():
    pot = with_contents(HeatedLoad(1000.0, 1.0), 0.1, SPECIFIC_HEAT_J_KG_K, boils=True)
    outcome = simulate(pot, HeatingSteps(1500.0, np.full(400, 1.0), 293.15), target_k=400.0, start_k=293.15)
    assert outcome.water_left_kg == 0
    assert float(outcome.dry_from_s[0]) > float(outcome.boiling_from_s[0]) > 0
    assert outcome.final_temperature_k > 420
    assert closes(outcome)
    assert any("dry" in text for text in cautions(pot, outcome))
    in_one = simulate(pot, HeatingSteps(1500.0, [400.0], 293.15), target_k=400.0, start_k=293.15)
    assert in_one.boiling_from_s == pytest.approx(outcome.boiling_from_s, abs=1e-6)


def test_a_steady_power_is_cut_when_the_water_is_gone():
    pot = with_contents(HeatedLoad(1000.0, 1.0, 0.05), 0.1, SPECIFIC_HEAT_J_KG_K, boils=True)
    outcome = heat_up(pot, SteadyPower(1500.0, 293.15), target_k=400.0)
    assert outcome.reason.tolist() == ["boiling"]
    assert outcome.peak_temperature_k == pytest.approx(float(boiling_point_k(101325.0)), abs=0.1)
    assert outcome.final_temperature_k == pytest.approx(293.15, abs=0.1)
    assert outcome.energy_refused_j > 0
    assert closes(outcome)
    # a long step that boils dry: radiation is not given a temperature out of this world
    long = simulate(pot, HeatingSteps(1500.0, [36000.0], 293.15), target_k=400.0, start_k=293.15)
    assert long.peak_temperature_k < 850
    assert closes(long)


def test_water_with_an_element_boils_too_and_closes():
    tank = HeatedLoad(
        5 * SPECIFIC_HEAT_J_KG_K + 500, 1.0, water_kg=5.0, second_node=SecondNode(900.0, 40.0, takes_power=True)
    )
    outcome = simulate(tank, HeatingSteps(2500.0, np.full(1800, 1.0), 290.0), target_k=350.0, start_k=290.0)
    assert outcome.final_temperature_k == pytest.approx(float(boiling_point_k(101325.0)), abs=1e-6)
    assert 0 < outcome.water_left_kg < 5
    assert closes(outcome)


def test_open_water_loses_more_and_steams_away():
    lid = HeatedLoad(10 * SPECIFIC_HEAT_J_KG_K, 3.0, water_kg=10.0)
    bare = HeatedLoad(10 * SPECIFIC_HEAT_J_KG_K, 3.0, water_kg=10.0, open_water_area_m2=0.1)
    runs = [heat_up(pan, SteadyPower(1500.0, 290.0), target_k=350.0) for pan in (lid, bare)]
    assert runs[1].time_to_target_s > runs[0].time_to_target_s
    assert runs[1].holding_power_w > runs[0].holding_power_w + 50
    assert runs[1].energy_in_vapour_j > 0
    assert all(closes(run, 1e-9) for run in runs)


def test_altitude_lowers_the_boiling_point():
    high = HeatedLoad(1e4, 1.0, water_kg=1.0, pressure_pa=70e3)
    assert highest_temperature_k(high, 3000.0, 290.0) == pytest.approx(273.15 + 89.9, abs=0.2)


# Against scipy's integrator


def _reference(heater, power, ambient, wind, times, start, pieces):
    second_node = heater.second_node
    c0, g0, r0, a0 = heater.heat_capacity_j_k, heater.loss_w_k, heater.radiating_area_m2, heater.outside_area_m2
    sigma = 5.670374419e-8

    def conductance(loss, area, speed):
        if area == 0:
            return loss
        wall = 1 / loss - 1 / (5.7 * area)
        return 1 / (wall + 1 / ((5.7 + 3.8 * speed) * area))

    def slope(_time, state, watts, around, speed):
        t0 = state[0]
        out0 = conductance(g0, a0, speed) * (t0 - around) + sigma * r0 * (t0**4 - around**4)
        if second_node is None:
            return [(watts - out0) / c0]
        t1 = state[1]
        flow = second_node.coupling_w_k * (t0 - t1)
        out1 = conductance(second_node.loss_w_k, second_node.outside_area_m2, speed) * (t1 - around)
        out1 += sigma * second_node.radiating_area_m2 * (t1**4 - around**4)
        into0, into1 = (0.0, watts) if second_node.takes_power else (watts, 0.0)
        return [(into0 - flow - out0) / c0, (into1 + flow - out1) / second_node.heat_capacity_j_k]

    state = [start] if second_node is None else [start, start]
    kept = [start]
    for piece in range(pieces):
        done = solve_ivp(
            slope,
            (0.0, times),
            state,
            args=(power[piece], ambient[piece], wind[piece]),
            method="LSODA",
            rtol=1e-11,
            atol=1e-9,
        )
        state = done.y[:, -1]
        kept.append(state[0])
    return np.array(kept)


@pytest.mark.parametrize(
    ("heater", "tolerance"),
    [
        (HeatedLoad(12e3, 2.5), 1e-7),
        (HeatedLoad(12e3, 2.5, radiating_area_m2=0.15), 2e-3),
        (HeatedLoad(12e3, 2.5, outside_area_m2=0.9), 2e-3),
        (HeatedLoad(12e3, 2.5, second_node=SecondNode(900.0, 25.0, takes_power=True)), 1e-7),
        (
            HeatedLoad(3e3, 0.5, second_node=SecondNode(9e3, 12.0, 2.5, radiating_area_m2=0.1, outside_area_m2=0.9)),
            2e-3,
        ),
    ],
)
def test_agrees_with_a_general_integrator(heater, tolerance):
    pieces, length = 120, 30.0
    rng = np.random.default_rng(3)
    power = rng.uniform(0, 2500, pieces)
    ambient = 285.0 + 5.0 * np.sin(np.arange(pieces) / 20)
    wind = rng.uniform(0, 30, pieces)
    outcome = simulate(
        heater, HeatingSteps(power, length, ambient, wind), target_k=330.0, start_k=290.0, most_records=10**6
    )
    expected = _reference(heater, power, ambient, wind, length, 290.0, pieces)
    at = np.searchsorted(outcome.history.time_s, length * np.arange(pieces + 1) - 1e-6)
    assert np.abs(outcome.history.main_k[at, 0] - expected).max() < tolerance * (expected.max() - 290)
    assert closes(outcome)
    # second order: shorter steps agree better
    fine = simulate(
        heater,
        HeatingSteps(np.repeat(power, 30), 1.0, np.repeat(ambient, 30), np.repeat(wind, 30)),
        target_k=330.0,
        start_k=290.0,
        most_records=10**6,
    )
    at = np.searchsorted(fine.history.time_s, length * np.arange(pieces + 1) - 1e-6)
    assert np.abs(fine.history.main_k[at, 0] - expected).max() < 1e-4 * (expected.max() - 290)


def test_steady_state_and_holding_power_are_inverse():
    rng = np.random.default_rng(1)
    loads = [
        HeatedLoad(1e4, rng.uniform(1, 5, 50), radiating_area_m2=0.2),
        HeatedLoad(1e4, rng.uniform(1, 5, 50), second_node=SecondNode(500.0, 20.0, 1.0, 0.05, takes_power=True)),
        HeatedLoad(
            1e4, 0.3, 0.02, second_node=SecondNode(5000.0, rng.uniform(5, 20, 50), 3.0, 0.1, outside_area_m2=1.0)
        ),
        HeatedLoad(1e5, rng.uniform(1, 5, 50), water_kg=10.0, open_water_area_m2=0.3),
    ]
    for load in loads:
        ends = highest_temperature_k(load, 800.0, 290.0, 15.0)
        free = ends < 373.0 if np.any(load.water_kg) else np.ones(50, dtype=bool)
        assert free.any()
        assert holding_power_w(load, ends, 290.0, 15.0)[free] == pytest.approx(800.0, rel=1e-7)
        # and marching for a long time gets there
        settled = heat_up(load, SteadyPower(800.0, 290.0, 15.0), target_k=300.0, longest_s=3e5)
        if not np.any(load.water_kg):
            assert settled.final_temperature_k == pytest.approx(ends, abs=1e-3)


def test_still_air_film_and_wind():
    assert film_in_wind_w_m2_k(0.0) == pytest.approx(5.7)
    windy = HeatedLoad(1e4, 3.0, outside_area_m2=1.0)
    # wall 1/3 - 1/5.7 = 0.1579 K/W; at 20 m/s 1/(0.1579 + 1/81.7) = 5.877 W/K
    assert holding_power_w(windy, 301.0, 300.0, 20.0) == pytest.approx(1 / (1 / 3 - 1 / 5.7 + 1 / 81.7), rel=1e-12)
    assert holding_power_w(windy, 301.0, 300.0, 0.0) == pytest.approx(3.0)


# Not reachable is an answer


def test_not_reachable_says_what_would_fix_it():
    outcome = heat_up(TANK, SteadyPower(100.0, AMBIENT), target_k=AMBIENT + 60)
    assert not outcome.reachable.any()
    assert outcome.reason.tolist() == ["power"]
    assert np.isnan(outcome.time_to_target_s).all()
    assert np.isnan(outcome.energy_to_target_j).all()
    assert outcome.highest_temperature_k == pytest.approx(AMBIENT + 40)
    assert outcome.shortfall_w == pytest.approx(50.0)  # 2.5 * 60 - 100
    ways = {remedy.kind: remedy for remedy in remedies(TANK, outcome)}
    assert ways["power"].value == pytest.approx(150.0)
    assert ways["loss"].value == pytest.approx(100 / 60)
    assert ways["target"].value == pytest.approx(AMBIENT + 40)
    assert "150 W" in ways["power"].words
    assert "1.67 W/K" in ways["loss"].words
    assert "55.0 °C" in ways["target"].words
    assert "131 °F" in {r.kind: r for r in remedies(TANK, outcome, system="us")}["target"].words
    # and each of them does fix it
    assert heat_up(TANK, SteadyPower(151.0, AMBIENT), target_k=AMBIENT + 60).reachable.all()
    assert heat_up(HeatedLoad(126e3, 1.66), SteadyPower(100.0, AMBIENT), target_k=AMBIENT + 60).reachable.all()
    assert heat_up(TANK, SteadyPower(100.0, AMBIENT), target_k=AMBIENT + 39.9).reachable.all()


def test_no_power_at_all_is_an_answer_too():
    outcome = heat_up(TANK, SteadyPower(0.0, AMBIENT), target_k=AMBIENT + 60)
    assert outcome.reason.tolist() == ["power"]
    assert [remedy.kind for remedy in remedies(TANK, outcome)] == ["power", "target"]


def test_a_trip_too_short_says_so():
    outcome = simulate(TANK, HeatingSteps(GUSTS, 1.0, AMBIENT), target_k=AMBIENT + 60, start_k=AMBIENT)
    assert outcome.reason.tolist() == ["time"]
    assert outcome.reachable.all()
    assert np.isnan(outcome.time_to_target_s).all()
    again = simulate(TANK, HeatingSteps(GUSTS, 1.0, AMBIENT, repeats=4), target_k=AMBIENT + 60, start_k=AMBIENT)
    assert again.reason.tolist() == [""]
    assert 7200 < again.time_to_target_s < 14400
    tiled = simulate(TANK, HeatingSteps(np.tile(GUSTS, 4), 1.0, AMBIENT), target_k=AMBIENT + 60, start_k=AMBIENT)
    assert tiled.time_to_target_s == again.time_to_target_s


# Draws


def test_draws_give_what_single_values_give():
    rng = np.random.default_rng(5)
    capacity, loss, factor = rng.uniform(5e3, 2e4, 4), rng.uniform(1, 4, 4), rng.uniform(0.5, 1.5, 4)
    target = rng.uniform(310, 340, 4)
    together = simulate(
        HeatedLoad(capacity, loss, radiating_area_m2=0.1, second_node=SecondNode(capacity / 5, 20.0, takes_power=True)),
        HeatingSteps(GUSTS, 1.0, 288.0, power_factor=factor),
        target_k=target,
        start_k=285.0,
        control=ElementControl(thermostat=Thermostat(345.0, 3.0)),
    )
    for draw in range(4):
        alone = simulate(
            HeatedLoad(
                float(capacity[draw]),
                float(loss[draw]),
                radiating_area_m2=0.1,
                second_node=SecondNode(float(capacity[draw]) / 5, 20.0, takes_power=True),
            ),
            HeatingSteps(GUSTS * factor[draw], 1.0, 288.0),
            target_k=float(target[draw]),
            start_k=285.0,
            control=ElementControl(thermostat=Thermostat(345.0, 3.0)),
        )
        # subdivision and re-linearisation follow the quickest draw, so the last digits may differ
        assert alone.time_to_target_s[0] == pytest.approx(together.time_to_target_s[draw], rel=1e-4)
        assert alone.energy_given_j[0] == pytest.approx(together.energy_given_j[draw], rel=1e-2)
        assert alone.holding_power_w[0] == pytest.approx(together.holding_power_w[draw])


def test_power_of_every_draw_over_time():
    both = np.column_stack([GUSTS, 0.5 * GUSTS])
    rows = simulate(TANK, HeatingSteps(both, 1.0, 288.0), target_k=300.0, start_k=288.0)
    scaled = simulate(
        TANK, HeatingSteps(GUSTS, 1.0, 288.0, power_factor=np.array([1.0, 0.5])), target_k=300.0, start_k=288.0
    )
    assert rows.time_to_target_s == pytest.approx(scaled.time_to_target_s, rel=1e-12)
    assert rows.available_power_w == pytest.approx(scaled.available_power_w)


def test_the_history_of_draws():
    loss = np.linspace(1.0, 4.0, 101)
    steps = HeatingSteps(GUSTS, 1.0, 288.0)
    history = simulate(HeatedLoad(126e3, loss), steps, target_k=350.0, start_k=288.0, most_records=61).history
    assert history.time_s[0] == 0
    assert history.time_s[-1] == 3600
    assert history.main_k.shape == (61, 101)
    assert (np.diff(history.main_k[1:], axis=1) < 0).all()  # the more a draw loses, the colder it stays
    assert np.isnan(history.second_k).all()


def test_some_draws_never_get_there():
    # losses of 1 to 3 W/K, 60 K wanted of 150 W: draws above 2.5 W/K never get there, a quarter of them
    loss = np.linspace(1.0, 3.0, 1001)
    some = heat_up(HeatedLoad(126e3, loss), SteadyPower(150.0, AMBIENT), target_k=AMBIENT + 60)
    assert some.reachable.mean() == pytest.approx(0.75, abs=0.002)
    assert set(some.reason[:745]) == {""}
    assert set(some.reason[755:]) == {"power"}
    assert np.isnan(some.time_to_target_s[755:]).all()
    assert some.time_to_target_s[500] == pytest.approx(-63e3 * math.log(1 - 120 / 150), rel=1e-6)  # 2 W/K
    assert some.time_to_target_s[50] == pytest.approx(-126e3 / 1.1 * math.log(1 - 66 / 150), rel=1e-6)
    # one: 1.4 kW over 2.5 W/K end 560 K above the ambient; 55 K take 5210.3 s, 2.026 kWh
    one = heat_up(TANK, SteadyPower(1400.0, AMBIENT), target_k=AMBIENT + 55)
    assert one.highest_temperature_k == pytest.approx(AMBIENT + 560)
    assert one.energy_to_target_j == pytest.approx(2.026 * 3.6e6, rel=5e-4)


# Element limits and cautions


def test_element_limits():
    assert most_power_w(ElementLimits(rated_power_w=2000.0)) == 2000.0
    assert most_power_w(ElementLimits(rated_voltage_v=48.0, resistance_ohm=1.5)) == pytest.approx(48**2 / 1.5)
    assert most_power_w(ElementLimits(rated_power_w=1e3, rated_voltage_v=48.0, resistance_ohm=1.5)) == 1e3
    assert most_power_w(None) == most_power_w(ElementLimits(resistance_ohm=1.5)) == math.inf
    with pytest.raises(HeaterError, match="above 0"):
        most_power_w(ElementLimits(rated_power_w=0.0))
    limits = ElementLimits(rated_power_w=1500.0)
    outcome = simulate(
        TANK, HeatingSteps(GUSTS, 1.0, 288.0), target_k=350.0, start_k=288.0, control=ElementControl(limits=limits)
    )
    assert outcome.energy_given_j == pytest.approx(np.minimum(GUSTS, 1500).sum())
    assert outcome.energy_refused_j == pytest.approx(np.maximum(GUSTS - 1500, 0).sum())
    assert outcome.available_power_w == pytest.approx(np.minimum(GUSTS, 1500).mean())
    assert any("speeds up" in text for text in cautions(TANK, outcome, limits=limits))


def test_the_surface_of_an_element_is_cautioned():
    heater = HeatedLoad(126e3, 2.5, second_node=SecondNode(500.0, 10.0, takes_power=True))
    outcome = heat_up(heater, SteadyPower(2000.0, 288.0), target_k=330.0)
    limits = ElementLimits(rated_voltage_v=230.0, resistance_ohm=26.0, surface_limit_k=400.0)
    told = cautions(heater, outcome, limits=limits)
    assert any("surface" in text and "127 °C" in text for text in told)
    assert any("licensed electrician" in text for text in told)
    assert any("burn" in text for text in told)
    # in steady state the element stands 2000 W / 10 W/K = 200 K above the tank
    assert outcome.second_peak_k - outcome.peak_temperature_k == pytest.approx(200.0, abs=0.1)


# Contents


def test_contents_add_their_heat():
    loaded = with_contents(TANK, 2.0, 3500.0)
    assert loaded.heat_capacity_j_k == pytest.approx(133e3)
    assert loaded.water_kg == 0
    assert with_contents(TANK, 2.0, 4186.0, boils=True).water_kg == 2.0
    with pytest.raises(HeaterError, match="mass"):
        with_contents(TANK, -1.0, 3500.0)
    assert food_specific_heat_j_kg_k(1.0) == pytest.approx(4186.0)
    with pytest.raises(HeaterError, match="0 to 1"):
        food_specific_heat_j_kg_k(50)


# Bad numbers


@pytest.mark.parametrize(
    ("heater", "word"),
    [
        (HeatedLoad(0.0, 2.5), "heat_capacity_j_k"),
        (HeatedLoad(-1.0, 2.5), "above 0"),
        (HeatedLoad(1e4, -1.0), "loss_w_k"),
        (HeatedLoad(1e4, math.nan), "loss_w_k"),
        (HeatedLoad(1e4, math.inf), "loss_w_k"),
        (HeatedLoad(1e4, np.array([1.0, -2.0])), "-2"),
        (HeatedLoad(1e4, 2.0, water_kg=10.0), "water_kg"),
        (HeatedLoad(1e4, 2.0, relative_humidity=55.0), "at most 1"),
        (HeatedLoad(1e4, 2.0, pressure_pa=1013.0), "pressure_pa"),
        (HeatedLoad(1e4, 9.0, outside_area_m2=1.0), "film of still air"),
        (HeatedLoad(1e4, 2.0, second_node=SecondNode(1e3, 0.0)), "coupling"),
        (HeatedLoad(1e4, 2.0, second_node=SecondNode(0.0, 1.0)), "second_node.heat_capacity_j_k"),
    ],
)
def test_impossible_loads_are_told(heater, word):
    assert any(word in text for text in faults(heater))
    with pytest.raises(HeaterError, match=word.replace(".", r"\.")):
        heat_up(heater, SteadyPower(1000.0, 290.0), target_k=320.0)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"power_w": -5.0}, "power_w"),
        ({"power_w": math.nan}, "power_w"),
        ({"power_w": [1.0, math.inf, 2.0]}, "power_w"),
        ({"target_k": math.nan}, "target_k"),
        ({"target_k": -20.0}, "target_k"),
        ({"ambient_k": 0.0}, "ambient_k"),
        ({"durations_s": 0.0}, "length of a step"),
        ({"durations_s": [1.0, 2.0], "power_w": [1.0, 2.0, 3.0]}, "numbers of steps"),
        ({"start_k": np.array([290.0, 291.0]), "power_factor": np.ones(3)}, "numbers of draws"),
        ({"power_w": np.ones((2, 2, 2))}, "dimensions"),
        ({"thermostat": Thermostat(340.0, 0.0)}, "hysteresis"),
        ({"repeats": 0}, "repeats"),
    ],
)
def test_impossible_trips_are_told(change, word):
    arguments = {"power_w": 100.0, "durations_s": 60.0, "ambient_k": 290.0, "target_k": 320.0, "start_k": 290.0}
    arguments |= change
    control = ElementControl(arguments.pop("thermostat", None))
    target, start = arguments.pop("target_k"), arguments.pop("start_k")
    with pytest.raises(HeaterError, match=word):
        simulate(TANK, HeatingSteps(**arguments), target_k=target, start_k=start, control=control)


def test_trip_steps():
    assert trip_steps([0.0, 1.0, 3.0, 4.0]).tolist() == [1.0, 2.0, 1.0, 1.0]
    with pytest.raises(HeaterError, match="after sample 2"):
        trip_steps([0.0, 1.0, 1.0])


def test_a_wattmeter_log_becomes_steps(tmp_path):
    path = tmp_path / "watts.csv"
    path.write_text("time_s,power_w\n" + "\n".join(f"{t},{w}" for t, w in [(0, 100), (2, 200), (4, 300), (124, 50)]))
    log = read_wattmeter_log(path)
    assert log.durations_s.tolist() == [2.0, 2.0, 2.0, 118.0, 2.0]
    assert log.power_w.tolist() == [100.0, 200.0, 300.0, 0.0, 50.0]
    assert "1.97 min in 1 gap" in log.remarks[0]
    assert read_wattmeter_log(path, gap_s=500.0).remarks == ()
    warmed = simulate(TANK, HeatingSteps(log.power_w, log.durations_s, 288.0), target_k=300.0, start_k=288.0)
    assert warmed.energy_given_j == pytest.approx(200 + 400 + 600 + 100)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("time_s,power\n0,1\n1,2\n", "no unit"),
        ("time_s,power_w\n0,1\n0,2\n", "the value of row 1 again"),
        ("time_s,power_w\n0,1\n1,-2\n", "-2 W"),
        ("time_s,power_w\n0,1\n1,\n", "empty cell"),
        ("time_s,amount\n0,1\n1,2\n", "power_w"),
    ],
)
def test_bad_wattmeter_logs_are_told(tmp_path, text, word):
    path = tmp_path / "watts.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=word):
        read_wattmeter_log(path)


# Invariants

capacities = st.floats(500.0, 2e5)
conductances = st.floats(0.1, 20.0)
areas = st.floats(0.0, 0.5)


@st.composite
def loads(draw):
    second_node = None
    if draw(st.booleans()):
        second_node = SecondNode(
            draw(capacities),
            draw(st.floats(1.0, 50.0)),
            draw(st.floats(0.0, 5.0)),
            draw(areas),
            takes_power=draw(st.booleans()),
        )
    held = draw(st.sampled_from([0.0, 0.0, 0.5]))
    return HeatedLoad(
        draw(capacities) + held * SPECIFIC_HEAT_J_KG_K,
        draw(conductances),
        draw(areas),
        water_kg=held,
        open_water_area_m2=draw(st.sampled_from([0.0, 0.05])),
        second_node=second_node,
    )


@settings(max_examples=60, deadline=None)
@given(
    loads(),
    st.lists(st.floats(0.0, 3000.0), min_size=3, max_size=12),
    st.floats(5.0, 300.0),
    st.floats(250.0, 310.0),
    st.floats(250.0, 360.0),
    st.booleans(),
)
def test_energy_given_is_stored_or_lost(heater, power, length, ambient, start, controlled):
    outcome = simulate(
        heater,
        HeatingSteps(power, length, ambient),
        target_k=330.0,
        start_k=start,
        control=ElementControl(thermostat=Thermostat(335.0, 5.0) if controlled else None),
    )
    assert closes(outcome)
    offered = length * sum(power)
    assert outcome.energy_given_j + outcome.energy_refused_j == pytest.approx(offered, rel=1e-9, abs=1e-6)
    if np.any(heater.water_kg):
        return
    # what is stored is capacity times rise, node by node, though it was added up step by step
    rise = outcome.final_temperature_k - start
    stored = heater.heat_capacity_j_k * rise
    if heater.second_node is not None:
        stored = stored + heater.second_node.heat_capacity_j_k * (outcome.history.second_k[-1] - start)
    assert outcome.energy_stored_j == pytest.approx(stored, rel=1e-9, abs=1e-6 * heater.heat_capacity_j_k)


@settings(max_examples=15, deadline=None)
@given(loads(), st.floats(30.0, 300.0), st.floats(1.01, 1.5))
def test_more_power_is_never_slower_nor_colder(heater, power, more):
    outcome = heat_up(heater, SteadyPower(power * more ** np.arange(8), 290.0), target_k=330.0)
    times = np.where(np.isnan(outcome.time_to_target_s), np.inf, outcome.time_to_target_s)
    assert (times[1:] <= times[:-1] * (1 + 1e-9)).all()
    # Once it has boiled dry the power is cut; the peak that follows is told to within the step, a kelvin at the most.
    slack = 1.0 if np.isfinite(outcome.dry_from_s).any() else 1e-6
    assert (np.diff(outcome.highest_temperature_k) >= -slack).all()
    assert (np.diff(outcome.shortfall_w) <= 1e-9).all() or np.isnan(outcome.shortfall_w).any()


def test_only_differences_of_temperature_matter():
    draw = np.random.default_rng(6)
    heater = HeatedLoad(draw.uniform(500.0, 2e5, 100), draw.uniform(0.1, 20.0, 100))
    power, rise, shift = draw.uniform(100.0, 3000.0, 100), draw.uniform(1.0, 40.0, 100), draw.uniform(-40.0, 40.0, 100)
    here = heat_up(heater, SteadyPower(power, 280.0), target_k=280.0 + rise)
    there = heat_up(heater, SteadyPower(power, 280.0 + shift), target_k=280.0 + shift + rise)
    assert here.reachable.tolist() == there.reachable.tolist()
    assert here.reachable.any()
    assert not here.reachable.all()
    assert here.time_to_target_s == pytest.approx(there.time_to_target_s, rel=1e-6, nan_ok=True)
    assert here.holding_power_w == pytest.approx(there.holding_power_w, rel=1e-9)


@given(st.floats(-40.0, 400.0), st.floats(0.1, 100.0))
def test_fahrenheit_differences_never_get_the_offset(start_f, rise_f):
    # a target given in degF and a rise given in degF agree: only temperatures get the 32, differences are times 5/9
    start = convert(start_f, "degF", "K")
    target = convert(start_f + rise_f, "degF", "K")
    difference = convert(rise_f, "degF", "delta_degC")
    assert target - start == pytest.approx(difference, abs=1e-9)
    assert difference == pytest.approx(rise_f * 5 / 9)
    assert holding_power_w(TANK, target, start) == pytest.approx(2.5 * rise_f * 5 / 9, abs=1e-7)


def test_the_same_load_told_in_celsius_and_fahrenheit():
    told = [
        heat_up(TANK, SteadyPower(1400.0, parse(ambient, "K")), target_k=parse(target, "K"))
        for target, ambient in (("70 degC", "15 degC"), ("158 degF", "59 degF"))
    ]
    assert told[0].time_to_target_s == pytest.approx(told[1].time_to_target_s, rel=1e-12)
    switched = [Thermostat(350.0, parse(text, "delta_degC")).hysteresis_k for text in ("5 K", "5 degC", "9 degF")]
    assert switched == pytest.approx([5.0, 5.0, 5.0])


def test_time_constants():
    assert slowest_time_constant_s(TANK, 288.0, 330.0) == pytest.approx(50400.0)
    two = HeatedLoad(10e3, 2.0, second_node=SecondNode(1e3, 20.0, 1.0))
    matrix = np.array([[-22.0 / 10e3, 20.0 / 10e3], [20.0 / 1e3, -21.0 / 1e3]])
    slow = -np.linalg.eigvals(matrix).real.max()
    assert slowest_time_constant_s(two, 288.0, 330.0) == pytest.approx(1 / slow)
    assert np.isnan(slowest_time_constant_s(HeatedLoad(10.0, 0.0), 288.0, 330.0)).all()
    assert pytest.approx(5.670374e-8, rel=1e-6) == STEFAN_BOLTZMANN_W_M2_K4
