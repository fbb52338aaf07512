"""A scenario begun from a few choices: always one that can be answered, with its guesses marked as guesses."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from energy.aero.textbook_blade import textbook_blade
from energy.chain import begin as beginning
from energy.chain.answer import answered
from energy.chain.begin import LOADS, PLACES, VEHICLES, Beginning, begin
from energy.chain.draws import spread_of
from energy.chain.load import opened
from energy.chain.matching import thriftiest
from energy.scenario.bundle import from_folder, guesses, value_at, with_file, with_value
from energy.uncertainty.propagate import Sampling
from energy.words.verdict import verdict
from vehicle.problems import InputError

WATTS = b"air_speed_km_h,electrical_power_w\n30,40\n60,310\n90,1050\n120,1900\n"
CURVES = b"tip_speed_ratio,power_coefficient,thrust_coefficient\n0,0,0.1\n2,0.15,0.3\n4,0.34,0.7\n6,0.3,0.8\n9,0,0.7\n"


# Each vehicle at each place, in turn with one fuel and load and with the other: there is an odd number of places.
STARTS = [
    (*start, *fed)
    for start, fed in zip(
        itertools.product(VEHICLES, PLACES),
        itertools.cycle([("diesel", "water_tank"), ("petrol", "domestic_oven")]),
        strict=False,
    )
]


@pytest.mark.parametrize(("vehicle", "place", "fuel", "load"), STARTS)
def test_every_start_costs_fuel_in_still_air(vehicle: str, place: str, fuel: str, load: str) -> None:
    known = Beginning(vehicle=vehicle, place=place, fuel=fuel, load=load, ratio="3", element="15 ohm")
    told = answered(opened(begin(known, thriftiest)), exact=True)
    assert verdict(told, "metric").word == "costs"
    assert told.answer.turbine.heat_power_w > 0


FUELS = ("petrol", "e10", "diesel", "lpg", "battery")


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize("fuel", FUELS)
def test_every_load_and_fuel_can_be_answered(fuel: str, load: str) -> None:
    # The settings are looked for below, with every fuel and every load.
    bundle = begin(Beginning(fuel=fuel, load=load, pitch="4 deg", ratio="3", element="12 ohm"), thriftiest)
    scenario = opened(bundle)
    assert answered(scenario, exact=True).spread is None
    assert spread_of(scenario, sampling=Sampling(draws=512, with_sensitivity=False)) is not None, "guesses have ranges"
    assert (value_at(bundle, "battery") is not None) == (fuel == "battery")


@pytest.mark.parametrize(("fuel", "load"), [*zip(FUELS, itertools.cycle(LOADS), strict=False)])
def test_every_load_and_every_fuel_is_answered_with_its_sensitivities(fuel: str, load: str) -> None:
    assert len(LOADS) <= len(FUELS), "each load has its turn"
    told = answered(opened(begin(Beginning(fuel=fuel, load=load), thriftiest)))
    assert told.spread is not None
    assert told.spread.sensitivities
    assert told.spread.measurements


def test_what_is_given_stays_as_written_and_the_rest_is_marked_as_a_guess() -> None:
    known = Beginning(
        title="Ours",
        mass="1900 kg",
        displacement="1.9 L",
        diameter="55 in",
        pitch="7 deg",
        ratio="2.5",
        element="9.5 ohm",
        voltage_constant="55 V/krpm",
        winding_resistance="0.7 ohm",
        volume="12 gal",
        road_speed="60 mph",
        engine_speed="2400 rpm",
    )
    bundle = begin(known, thriftiest)
    for key, text in (
        ("title", "Ours"),
        ("vehicle.mass", "1900 kg"),
        ("engine.displacement", "1.9 L"),
        ("rotor.diameter", "55 in"),
        ("rotor.pitch", "7 deg"),
        ("drive.ratio", 2.5),
        ("heater.resistance", "9.5 ohm"),
        ("generator.voltage_constant", "55 V/krpm"),
        ("generator.winding_resistance", "0.7 ohm"),
        ("load.volume", "12 gal"),
        ("trip.road_speed", "60 mph"),
    ):
        assert value_at(bundle, key) == text if "." in key else bundle.data()[key] == text
    top = value_at(bundle, "engine.speed_per_1000_rpm")[-1]
    assert float(top.partition(" ")[0]) == pytest.approx(60 * 1.609344 / 2.4, rel=0.002)
    guessed = begin(Beginning(), thriftiest)
    for key in ("vehicle.mass", "vehicle.coastdown_c", "rotor.local_speed_factor", "generator.voltage_constant"):
        held = value_at(guessed, key)
        low, middle, high = (float(str(held[name]).split()[0]) for name in ("low", "value", "high"))
        assert low < middle < high
        line = next(ln for ln in guessed.text.splitlines() if ln.startswith(key.partition(".")[2]))
        assert "a guess" in line
        assert "put your own" in line


def test_a_guess_is_one_until_another_value_is_put() -> None:
    bundle = begin(Beginning(pitch="4 deg", ratio="3", element="12 ohm"), thriftiest)
    before = guesses(bundle)
    assert {"rotor.blade", "vehicle.mass", "vehicle.coastdown_c", "engine.peak_torque", "load.volume"} <= set(before)
    assert not {"rotor.diameter", "trip.road_speed", "heater.resistance", "drive.ratio"} & set(before)
    weighed = with_value(bundle, "vehicle.mass", "2150 kg")
    assert guesses(weighed) == tuple(key for key in before if key != "vehicle.mass")
    assert 'mass = "2150 kg"\n' in weighed.text
    same = with_file(bundle, "blade.csv", dict(bundle.files)["blade.csv"])
    assert guesses(same) == before
    assert "rotor.blade" not in guesses(
        with_file(bundle, "blade.csv", b"radius_m,chord_m,twist_deg\n0.2,0.1,8\n0.75,0.1,2\n")
    )


def test_other_comments_stay_behind_their_values(demos: Path) -> None:
    bundle = from_folder(demos / "van_water_tank" / "scenario.toml")
    assert guesses(bundle) == ()
    assert (
        "ratio = 3.5                          # generator turns per rotor turn"
        in with_value(bundle, "drive.ratio", 3.5).text
    )


def test_what_is_left_open_is_found_within_the_limits_and_makes_good_heat() -> None:
    shares = []
    bundle = begin(Beginning(), thriftiest, shares.append)
    assert shares == sorted(shares)
    assert 0.5 < shares[-1] <= 1
    turbine = answered(opened(bundle), exact=True).answer.turbine
    tip_speed = float(turbine.rotor_speed_rad_s) * 0.75
    assert tip_speed <= 80
    assert float(turbine.stalled_torque_share) < 0.2
    own = begin(Beginning(pitch="0 deg", ratio="1", element="12 ohm"), thriftiest)
    assert turbine.heat_power_w > answered(opened(own), exact=True).answer.turbine.heat_power_w * 0.7


@pytest.mark.parametrize(("by", "content", "key"), [("watts", WATTS, "measured_power"), ("curves", CURVES, "curves")])
def test_a_rotor_known_by_its_table(by: beginning.RotorBy, content: bytes, key: str) -> None:
    bundle = begin(Beginning(rotor_by=by, rotor_csv=content), thriftiest)
    assert value_at(bundle, f"rotor.{key}") in bundle.names()
    assert answered(opened(bundle), exact=True).answer.turbine.heat_power_w > 0


def test_one_that_stands_in_the_wind_makes_heat_without_fuel() -> None:
    told = answered(
        opened(begin(Beginning(road_speed="0 mph", wind_speed="18 mph", fuel="petrol"), thriftiest)), exact=True
    )
    assert told.answer.turbine.heat_power_w > 10
    assert float(told.answer.change.volume_m3_s) == 0


@pytest.mark.filterwarnings("error")
def test_a_rotor_that_its_load_holds_still_is_answered_without_a_murmur() -> None:
    held = Beginning(
        fuel="battery",
        road_speed="0 km/h",
        wind_speed="5 m/s",
        pitch="3 deg",
        ratio="3",
        connection="three_phase",
        winding_resistance="100 ohm",
        element="0.05 ohm",
    )
    bundle = begin(held, thriftiest)
    for key, value in (("generator.winding_resistance", "1000 ohm"), ("heater.resistance", "0.001 ohm")):
        bundle = with_value(bundle, key, value)
    bundle = with_value(bundle, "unusual", ["generator.winding_resistance", "heater.resistance"])
    told = answered(opened(bundle))
    assert told.spread is not None
    assert told.spread.heat_w[-1] < 1e-3
    # Nothing is claimed of what hardly is.
    assert all(entry.first_order < 3 * entry.first_order_error for entry in told.spread.sensitivities)


def test_a_blade_given_by_stations() -> None:
    stations = beginning.drawn_blade_csv(Beginning(diameter="1.3 m"))
    bundle = begin(Beginning(diameter="1.3 m", rotor_by="stations", rotor_csv=stations), thriftiest)
    assert dict(bundle.files)["blade.csv"] == stations


@pytest.mark.parametrize(
    ("known", "words"),
    [
        (Beginning(diameter="-1 m"), ("rotor.diameter", "-1 m")),
        (Beginning(diameter="1,5 m"), ("rotor.diameter", "comma")),
        (Beginning(road_speed="fast"), ("trip.road_speed", "fast")),
        (Beginning(road_speed="0 km/h"), ("trip.road_speed", "nothing blows", "wind speed above zero")),
        (Beginning(road_speed="0 km/h", wind_speed="much"), ("air.wind_speed", "much")),
        (Beginning(engine_speed="0 rpm"), ("engine speed", "2300 rpm")),
        (Beginning(ratio="two"), ("drive.ratio", "two")),
        (Beginning(rotor_by="watts"), ("measured_power.csv", "nothing given")),
        (Beginning(rotor_by="curves", rotor_csv=b"what"), ("rotor.curves",)),
        (Beginning(vehicle="sledge"), ("vehicle", "sledge", "small_car")),
        (Beginning(mass="2 km"), ("vehicle.mass",)),
    ],
)
def test_faults_are_told_by_key(known: Beginning, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        begin(known, thriftiest)
    for word in words:
        assert word in str(caught.value)


def _stations(content: bytes) -> np.ndarray:
    lines = [line for line in content.decode().splitlines() if not line.startswith("#")]
    return np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])


def test_the_textbook_blade_against_a_hand_calculation() -> None:
    # Formula: Manwell, McGowan and Rogers, Wind Energy Explained, 2nd ed., section 3.9, from memory.
    # At a local speed ratio of 1 the inflow angle is 2/3 · 45° = 30°: chord 8 pi r (1 - cos 30°) / (3 · 1.0).
    radius, chord, twist = _stations(beginning.blade_csv(textbook_blade(1.0, 3, 5.0)))[0]
    assert radius == pytest.approx(0.2)
    assert chord == pytest.approx(8 * math.pi * 0.2 * (1 - math.sqrt(3) / 2) / 3, abs=1e-4)
    assert twist == pytest.approx(30 - 3.2, abs=0.01)


def test_the_textbook_blade_loads_the_air_as_momentum_theory_wants_in_the_blade_element_solver() -> None:
    """Betz's optimum in closed form: axial induction a = 1/3, so a thrust coefficient 4 a (1 - a) = 8/9.

    Found here by the project's own solver, which knows nothing of how the blade was drawn.
    """
    for speed, ratio in (("90 km/h", 70 / 26.25), ("40 km/h", 5.0)):
        bundle = begin(Beginning(road_speed=speed, pitch="0 deg", ratio="3", element="12 ohm"), thriftiest)
        for loss in ("tip_loss", "root_loss"):  # momentum theory's optimum knows none
            bundle = with_value(bundle, f"blade.{loss}", False)
        curves = opened(bundle).curves
        assert curves is not None
        pitch = int(np.argmin(np.abs(curves.pitch_deg)))
        at = int(np.argmin(np.abs(curves.tip_speed_ratio - ratio)))
        assert curves.thrust_coefficient[pitch, at] == pytest.approx(8 / 9, abs=0.08)
        best = curves.power_coefficient[:, at].max()
        assert curves.power_coefficient[pitch, at] > 0.96 * best
        assert 0.38 < best < 16 / 27


def test_sheet_that_carries_the_blade_stands_in_the_scenario_and_wood_does_not() -> None:
    small = begin(
        Beginning(diameter="0.6 m", number_of_blades=3, pitch="0 deg", ratio="1", element="12 ohm"), thriftiest
    )
    assert value_at(small, "blade.thickness") == "6 mm"
    large = begin(Beginning(diameter="2.5 m", pitch="0 deg", ratio="1", element="12 ohm"), thriftiest)
    assert value_at(large, "blade.thickness") is None
    assert beginning.drawn_blade(Beginning(diameter="2.5 m"))[1].material == "wood"
