"""The form of a scenario without a browser: units, ranges, choices. What it stores is looked at, not the figures."""

from __future__ import annotations

from pathlib import Path

import pytest
from screens_support import NEW, at, field, held, of_other_units, part, said, session

from energy.scenario import bundle as bundles
from energy.screens import edit
from vehicle.units import UnitSystem

pytestmark = pytest.mark.usefixtures("few_draws")


@pytest.mark.parametrize(
    ("demo", "system"),
    [
        *(("van_water_tank", system) for system in ("metric", "us", "uk")),
        *((demo, "metric") for demo in ("camper_oven", "pickup_drying_box", "parked_on_a_ridge")),
    ],
)
def test_looking_at_every_part_changes_nothing_and_is_in_the_units_chosen(
    demos: Path, demo: str, system: UnitSystem
) -> None:
    bundle = bundles.from_folder(demos / demo / "scenario.toml")
    shown = at(session(bundle, system=system), "edit")

    def look() -> None:
        assert not shown.exception
        if system != "metric":
            assert of_other_units(shown, bundle.data()["title"], system) == []

    look()
    for group, tables in edit._GROUPS.items():
        if tables:
            field(shown, "radio", "typed part").set_value(group).run()
            assert field(shown, "radio", f"typed part of {group}").value == tables[0]
            look()
        for table in tables[1:]:
            field(shown, "radio", f"typed part of {group}").set_value(table).run()
            look()
    assert held(shown) == bundle


def test_a_unit_that_comes_together_with_a_text_of_that_unit_converts_nothing() -> None:
    edit_screen = at(NEW, "edit")
    field(edit_screen, "text_input", "vehicle.mass value").set_value("4,600 lb").run()
    assert bundles.value_at(held(edit_screen), "vehicle.mass") == "4600 lb"
    field(edit_screen, "text_input", "vehicle.mass value").set_value("2100 kg")
    field(edit_screen, "selectbox", "vehicle.mass unit").set_value("kg").run()
    assert bundles.value_at(held(edit_screen), "vehicle.mass") == "2100 kg"
    edit_screen.session_state["beginning of a work"] = True  # unfolded
    edit_screen.run()
    begin = "typed own speed"
    field(edit_screen, "text_input", f"{begin} value").set_value("40 mph").run()
    field(edit_screen, "text_input", f"{begin} value").set_value("70 km/h")
    field(edit_screen, "selectbox", f"{begin} unit").set_value("km/h").run()
    assert edit_screen.session_state["typed"]["own speed"] == "70 km/h"


def test_another_unit_keeps_the_quantity() -> None:
    shown = at(NEW, "edit")
    field(shown, "selectbox", "trip.road_speed unit").set_value("mph").run()
    assert bundles.value_at(held(shown), "trip.road_speed") == "62.1371 mph"
    field(shown, "text_input", "trip.road_speed value").set_value("55").run()
    assert bundles.value_at(held(shown), "trip.road_speed") == "55 mph"
    field(shown, "text_input", "trip.road_speed value").set_value("25 m/s").run()
    assert bundles.value_at(held(shown), "trip.road_speed") == "25 m/s"


def test_a_temperature_with_its_half_width_is_converted_as_a_difference() -> None:
    shown = at(NEW, "edit")
    part(shown, "air")
    field(shown, "selectbox", "air.temperature sure").set_value("plus or minus").run()
    field(shown, "text_input", "air.temperature plus_minus").set_value("5").run()
    assert bundles.value_at(held(shown), "air.temperature") == {"value": "15 degC", "plus_minus": "5 K"}
    field(shown, "selectbox", "air.temperature unit").set_value("degF").run()
    assert bundles.value_at(held(shown), "air.temperature") == {"value": "59 degF", "plus_minus": "9 degF"}
    assert not shown.exception


def test_a_range_and_back_to_the_default() -> None:
    shown = at(NEW, "edit")
    part(shown, "vehicle")
    field(shown, "selectbox", "vehicle.rolling_resistance sure").set_value("between").run()
    field(shown, "text_input", "vehicle.rolling_resistance low").set_value("0.008").run()
    assert "a range without both low and high" in said(shown)
    field(shown, "text_input", "vehicle.rolling_resistance high").set_value("0.012").run()
    stated = bundles.value_at(held(shown), "vehicle.rolling_resistance")
    assert stated == {"value": 0.0095, "low": 0.008, "high": 0.012}
    field(shown, "selectbox", "vehicle.rolling_resistance sure").set_value("exactly").run()
    field(shown, "text_input", "vehicle.rolling_resistance value").set_value("").run()
    assert bundles.value_at(held(shown), "vehicle.rolling_resistance") is None


def test_from_engine_to_battery_by_buttons_only() -> None:
    shown = at(NEW, "edit")
    part(shown, "engine")
    shown.button(key="without engine").click().run()
    assert "either a table [engine] or a table [battery]" in said(shown)
    part(shown, "battery")
    shown.button(key="add battery").click().run()
    assert "Costs battery energy" in said(shown)


def test_gears_and_choices_are_written_as_the_file_has_them() -> None:
    shown = at(NEW, "edit")
    part(shown, "engine")
    field(shown, "text_input", "engine.speed_per_1000_rpm value").set_value("9, 17, 27.5").run()
    assert bundles.value_at(held(shown), "engine.speed_per_1000_rpm") == ["9 km/h", "17 km/h", "27.5 km/h"]
    field(shown, "selectbox", "engine.fuel value").set_value("petrol").run()
    assert bundles.value_at(held(shown), "engine.fuel") == "petrol"
    field(shown, "selectbox", "engine.runs_when_parked value").set_value(True).run()
    assert bundles.value_at(held(shown), "engine.runs_when_parked") is True


def test_another_unit_keeps_the_quantities_of_a_list_too() -> None:
    shown = at(NEW, "edit")
    part(shown, "engine")
    gears = "engine.speed_per_1000_rpm"
    field(shown, "text_input", f"{gears} value").set_value("8.2 to 9.0, 17, 27.5 ± 0.5, fast").run()
    field(shown, "selectbox", f"{gears} unit").set_value("mph").run()
    assert bundles.value_at(held(shown), gears) == [
        {"low": "5.09524 mph", "high": "5.59234 mph"},  # 1 mile = 1.609344 km: international yard and pound agreement
        "10.5633 mph",
        {"value": "17.0877 mph", "plus_minus": "0.310686 mph"},
        "fast",
    ]
    assert field(shown, "text_input", f"{gears} value").value == (
        "5.09524 to 5.59234, 10.5633, 17.0877 ± 0.310686, fast"
    )
    field(shown, "text_input", f"{gears} value").set_value("6, 11").run()
    assert bundles.value_at(held(shown), gears) == ["6 mph", "11 mph"]
