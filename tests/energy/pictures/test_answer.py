"""Pictures: what enters a flow diagram leaves it, the numbers are the ledger's, and files are made without a
browser.
"""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from energy.chain.answer import Answered, answered
from energy.chain.ledger import answer
from energy.chain.load import load
from energy.chain.matching import Setting
from energy.chain.payback import payback
from energy.pictures.answer import operating_line
from energy.pictures.flow import flow_of, flow_picture
from energy.pictures.match import heat_over_settings
from energy.pictures.over_speed import pictures_over_speed
from energy.pictures.payback import pay_map
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from energy.words import answer as report
from energy.words.match import map_title


@given(
    speed=st.floats(0, 40),
    wind=st.floats(0, 25),
    wind_from=st.floats(0, np.pi),
    grade=st.floats(-0.12, 0.12),
    credited=st.booleans(),
    stowed=st.booleans(),
    difference=st.booleans(),
)
def test_what_enters_the_flow_leaves_it(
    van: Scenario,
    speed: float,
    wind: float,
    wind_from: float,
    grade: float,
    credited: bool,
    stowed: bool,
    difference: bool,
) -> None:
    scenario = replace(
        van,
        credit=van.credit.model_copy(update={"replaces_alternator": credited}),
        trip=van.trip.model_copy(update={"compared_with": "stowed" if stowed else "absent"}),
    )
    draws = {"trip.road_speed": speed, "air.wind_speed": wind, "air.wind_from": wind_from, "trip.grade": grade}
    told = Answered(scenario, answer(inputs_of(scenario, draws)), float("nan"))
    flow = flow_of(told, difference=difference)
    into = sum(w for _, w in (*flow.into_vehicle, *flow.into_rotor))
    out = sum(w for _, w in (*flow.lost_by_vehicle, *flow.lost_by_turbine)) + flow.heat
    assert all(w > 0 for _, w in (*flow.into_vehicle, *flow.into_rotor, *flow.lost_by_vehicle, *flow.lost_by_turbine))
    # Flows below half a watt are not drawn.
    assert into == pytest.approx(out, abs=8.0, rel=1e-9)
    assert flow.heat == pytest.approx(float(told.answer.turbine.heat_power_w))


@pytest.mark.parametrize("name", ["van_water_tank", "camper_oven", "pickup_drying_box", "parked_on_a_ridge"])
@pytest.mark.parametrize("difference", [True, False])
def test_widths_of_the_flow_are_to_scale(demos: Path, name: str, difference: bool) -> None:
    told = answered(load(demos / name / "scenario.toml", ["air.wind_speed=25 km/h"]))
    picture = flow_picture(told, "metric", difference=difference)
    shapes = picture.chart.layer[0].data
    flow = flow_of(told, difference=difference)
    most = max(sum(w for _, w in flow.into_vehicle), flow.rotor_drag + sum(w for _, w in flow.into_rotor))
    for loss, watts in (*flow.lost_by_vehicle, *flow.lost_by_turbine):
        ends = shapes[shapes["flow"] == loss]
        tip = ends[ends["x"] >= ends["x"].max() - 5.01]  # the point of the band, and its two shoulders
        assert np.ptp(tip["y"]) == pytest.approx(max(110.0 * watts / most, 1.0), rel=1e-6)


def test_fuel_over_speed_is_the_ledgers_own_change(van: Scenario) -> None:
    told = answered(van)
    table = pictures_over_speed(told, "metric")[0].table
    here = table[np.isclose(table["road speed, km/h"], 100.0)].set_index("turbine")["change, L/h"]
    assert here["working"] == pytest.approx(report.as_data(told)["fuel_change"]["l_per_h"])
    assert here["not fitted"] == 0.0
    assert here["not fitted"] < here["stowed"] < here["working"]


def test_titles_state_the_finding(van: Scenario) -> None:
    told = answered(van)
    assert pictures_over_speed(told, "metric")[0].title == (
        "Working costs fuel at every road speed in still air on the flat, compared with not fitting it"
    )
    assert flow_picture(told, "metric").title.endswith("arrives in the tank")
    power, thrust, turning = operating_line(told, "metric")
    assert "the limit of blade tip speed is passed from" in power.title
    assert "% of what is allowed" in thrust.title
    assert "if the load is cut" in turning.title


def test_operating_line_goes_through_the_answers_point(van: Scenario) -> None:
    told = answered(van)
    power, thrust, turning = operating_line(told, "metric")
    data = report.as_data(told)

    def at(table: object, what: str, column: str) -> float:
        rows = table[(table["what"] == what) & np.isclose(table["air speed at the rotor, km/h"], 60.0)]
        return float(rows[column].iloc[0])

    assert at(power.table, "heat", "power, kW") == pytest.approx(data["heat_power_w"] / 1e3, rel=1e-6)
    assert at(thrust.table, "thrust", "thrust, N") == pytest.approx(data["rotor"]["thrust_n"], rel=1e-6)
    assert at(turning.table, "load on", "rotor speed, rpm") == pytest.approx(data["rotor"]["speed_rpm"], rel=1e-6)


def test_a_rotor_known_by_measured_watts_has_no_turning_picture(van_folder: Path) -> None:
    (van_folder / "watts.csv").write_text("air_speed_km_h,electrical_power_w\n20,0\n60,900\n110,3000\n")
    text = (van_folder / "scenario.toml").read_text(encoding="utf-8")
    text = text.replace('curves = "rotor_curves.csv"', 'measured_power = "watts.csv"').replace('pitch = "4 deg"\n', "")
    (van_folder / "scenario.toml").write_text(text, encoding="utf-8")
    told = answered(load(van_folder / "scenario.toml"))
    assert [p.name for p in operating_line(told, "us")] == ["power_over_air_speed", "thrust_over_air_speed"]


def test_pictures_become_files_without_a_network(van: Scenario) -> None:
    told = answered(van)
    picture = flow_picture(told, "us")
    assert picture.png().startswith(b"\x89PNG")
    svg = picture.svg().decode()
    assert svg.startswith("<svg")
    assert "http" not in svg.replace("http://www.w3.org/", "")
    header, *rows = picture.csv().decode().splitlines()
    assert header == 'where,flow,"power, W"'
    assert any(row.startswith(f"arrives,heat into the load,{int(told.answer.turbine.heat_power_w)}") for row in rows)


def test_heat_map_leaves_out_what_passes_a_limit(van: Scenario) -> None:
    picture = heat_over_settings(van, {"as now": (4.0, 9.0)}, 2.5)
    table = picture.table
    assert table["heat, kW"].isna().any()
    assert table["heat, kW"].max() <= 3.0  # the element's rated power


def test_a_legend_holds_what_is_drawn_and_nothing_else(van: Scenario) -> None:
    result = payback(van, exact=True)
    for paid, along, kind, asked in (
        (result.wind, "head wind", "speed", ("alternator", "energy")),
        (result.descent, "descent", "share", ("fuel", "alternator")),
    ):
        chart, _ = pay_map(paid, along, kind, asked, "metric")
        lines = chart.layer[-1]
        encoding = lines.to_dict()["encoding"]
        assert set(encoding["stroke"]["scale"]["domain"]) == set(lines.data["line"])
        assert len(encoding["strokeDash"]["scale"]["range"]) == len(set(lines.data["line"]))
        ends = chart.layer[0].to_dict()["encoding"]["color"]["legend"]["values"]
        assert ends[0] == -ends[-1]
        assert float(f"{ends[-1]:.1g}") == ends[-1]  # round, to be read


@pytest.mark.parametrize("pitch", [0.00325, -0.0004, 4.0])
def test_a_pitch_is_written_as_a_dial_can_be_set(pitch: float) -> None:
    best = Setting(*([np.nan] * len(fields(Setting))))
    title = map_title(replace(best, pitch_deg=pitch, ratio=2.5, resistance_ohm=9.0), "metric")
    assert f"at a pitch of {abs(round(pitch, 1)):.1f}°" in title
