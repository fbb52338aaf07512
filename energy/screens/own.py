"""A scenario of one's own from nothing: a few choices on the screen, typical values for the rest."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from energy.chain import begin as beginning
from energy.chain.begin import LOADS, PLACES, VEHICLES, Beginning, RotorBy
from energy.chain.matching import thriftiest
from energy.screens import desk, page, tables
from vehicle import units
from vehicle.problems import InputError

if TYPE_CHECKING:
    import pandas as pd

_FUELS = {"petrol": "petrol", "e10": "petrol with 10 % ethanol", "diesel": "diesel", "lpg": "LPG", "battery": "battery"}
_ROTOR_BY: dict[RotorBy, str] = {
    "typical": "its size only: take a textbook blade",
    "stations": "its blade: radius, chord and twist at some stations",
    "watts": "watts into the load that were measured over air speed",
    "curves": "its curves, in a CSV file",
}
_CONNECTIONS = {
    "rectifier": "three leads into a rectifier",
    "three_phase": "three leads into three elements",
    "direct_current": "direct current, two leads",
}
_STILL = "still air"
_FIT, _OHMS, _RATING = "none yet: find one that fits", "its ohms are known", "its rating is known"


def form() -> None:
    """Show the choices and the button that makes them the scenario in work."""
    st.html(
        '<p class="wt-note">Answer what you know; leave the rest empty and a typical value with a wide range is taken, '
        "which "
        "you can put right later. It takes the place of the scenario that is open now, which can be gone back to.</p>"
    )
    known, rows = _rotor(_vehicle(Beginning()))
    if known.rotor_by != "watts":
        known = _generator(known)
    known = _load(known)
    if st.button("Make this my scenario", type="primary", width="stretch", key="own begin"):
        _begin(known, rows)


def _begin(known: Beginning, rows: pd.DataFrame | None) -> None:
    progress = page.Progress("Looking for a setting that fits")
    try:
        content = known.rotor_csv if rows is None else tables.to_csv(rows)
        bundle = beginning.begin(replace(known, rotor_csv=content), thriftiest, progress)
    except InputError as error:
        page.problem_list([str(problem) for problem in error.problems], "This cannot be begun yet")
        return
    finally:
        progress.done()
    desk.load(bundle)
    st.session_state["part_shown"] = None  # begin with what matters most
    st.session_state.pop("part", None)
    st.rerun()


def _quantity(label: str, unit: str, key: str, *, typical: str = "", value: float | None = None) -> str:
    """Return what was typed with its unit, as a scenario has it; "" where nothing was."""
    number = st.number_input(
        f"{label}, {unit}",
        min_value=0.0,
        value=value,
        key=desk.field_key(f"own {key} {unit}"),
        placeholder=typical if typical in (_FIT, _STILL) else f"typical: {typical}" if typical else "typical",
        format="%g",
    )
    return "" if number is None else f"{number:g} {unit}"


def _vehicle(known: Beginning) -> Beginning:
    system = desk.system()
    page.finding("The vehicle and the road")
    left, right = st.columns(2)
    with left:
        kind = st.selectbox(
            "kind of vehicle", list(VEHICLES), format_func=lambda k: VEHICLES[k].words, index=4, key="own kind"
        )
        lightest, heaviest = (units.show(mass, "mass", system) for mass in VEHICLES[kind].mass_kg[1:])
        mass_unit, speed_unit = (units.written_units(unit, system)[0] for unit in ("kg", "m/s"))
        mass = _quantity("mass with load and people", mass_unit, f"mass {kind}", typical=f"{lightest} to {heaviest}")
        usual = 90.0 if speed_unit == "km/h" else 55.0
        speed = _quantity("road speed", speed_unit, "speed", value=usual)
        wind = _quantity("wind from ahead", speed_unit, "wind", typical=_STILL)
    displacement, engine_speed = "", ""
    with right:
        fuel = st.selectbox("runs on", list(_FUELS), format_func=_FUELS.__getitem__, index=2, key="own fuel")
        if fuel != "battery":
            litres = f"{beginning.usual_displacement_l(kind, fuel)[0][0]:.2g} L"
            displacement = _quantity("engine size", "L", f"size {kind}", typical=litres)
            engine_speed = _quantity("engine speed at that road speed, in top gear", "rpm", "engine speed")
    return replace(
        known,
        vehicle=kind,
        fuel=fuel,
        mass=mass,
        displacement=displacement,
        engine_speed=engine_speed,
        road_speed=speed or known.road_speed,
        wind_speed=wind,
    )


def _rotor(known: Beginning) -> tuple[Beginning, pd.DataFrame | None]:
    system = desk.system()
    page.finding("The rotor")
    unit = {"metric": "m", "us": "in", "uk": "m"}[system]
    left, right = st.columns(2)
    with left:
        diameter = _quantity("rotor diameter", unit, "diameter", value=1.5 if unit == "m" else 60.0)
        blades = st.number_input("number of blades", 1, 24, 3, key="own blades")
    with right:
        place = st.selectbox("where it sits", list(PLACES), format_func=lambda k: PLACES[k].words, key="own place")
        by = st.selectbox("what is known of it", list(_ROTOR_BY), format_func=_ROTOR_BY.__getitem__, key="own rotor by")
    known = replace(known, diameter=diameter or known.diameter, number_of_blades=int(blades), place=place, rotor_by=by)
    rows = None
    if by == "stations":
        st.html(
            '<p class="wt-note">From the root to the tip, in metres and degrees; twist counts towards feather. The '
            "rows that "
            "stand there are a textbook blade of your size: write over them.</p>"
        )
        rows = tables.editor(_textbook_rows(known), "own stations")
    elif by == "watts":
        unit = {"metric": "km_h", "us": "mph", "uk": "mph"}[system]
        st.html(
            '<p class="wt-note">Air speed at the rotor, rising, and the watts into the load at each. Two rows or more; '
            "the last "
            "air speed should not be below that of your drive.</p>"
        )
        rows = tables.editor(tables.empty([f"air_speed_{unit}", "electrical_power_w"], 6), "own watts")
    elif by == "curves":
        st.html(
            '<p class="wt-note">Columns tip_speed_ratio, power_coefficient, thrust_coefficient (optional), and '
            "pitch_deg "
            "where there is more than one pitch.</p>"
        )
        upload = st.file_uploader("The CSV file of curves", type=["csv"], key="own curves")
        known = replace(known, rotor_csv=b"" if upload is None else upload.getvalue())
    if by != "watts":
        known = replace(known, pitch=_quantity("blade pitch, positive towards feather", "deg", "pitch", typical=_FIT))
    return known, rows


def _textbook_rows(known: Beginning) -> pd.DataFrame:
    try:
        return tables.from_csv(beginning.drawn_blade_csv(known))[1]
    except InputError:  # told when the scenario is begun
        return tables.empty(["radius_m", "chord_m", "twist_deg"], 5)


def _generator(known: Beginning) -> Beginning:
    page.finding("The generator and its drive")
    left, right = st.columns(2)
    with left:
        connection = st.selectbox(
            "connection", list(_CONNECTIONS), format_func=_CONNECTIONS.__getitem__, key="own connection"
        )
        turns = st.number_input(
            "generator turns per rotor turn",
            min_value=0.01,
            value=None,
            key="own ratio",
            placeholder=_FIT,
            format="%g",
        )
    with right:
        volts = _quantity("volts between two leads at 1000 rpm, nothing connected", "V", "volts", typical="48 to 72 V")
        ohms = _quantity("resistance between two leads", "ohm", "winding", typical="0.5 to 1.5 ohm")
    return replace(
        known,
        connection=connection,
        ratio="" if turns is None else f"{turns:g}",
        voltage_constant=volts.replace(" V", " V/krpm"),
        winding_resistance=ohms,
    )


def _load(known: Beginning) -> Beginning:
    system = desk.system()
    page.finding("What is heated")
    left, right = st.columns(2)
    with left:
        load = st.selectbox("the load", list(LOADS), format_func=lambda k: LOADS[k].words, key="own load")
        volume = ""
        if LOADS[load].volume:
            unit = units.written_units("m**3", system)[0]
            volume = _quantity("volume", unit, f"volume {load}", typical=LOADS[load].volume)
    element = ""
    if known.rotor_by != "watts":
        with right:
            how = st.selectbox("the heating element", (_FIT, _OHMS, _RATING), key="own element")
            if how == _OHMS:
                element = _quantity("resistance of the element", "ohm", "element", value=12.0)
            elif how == _RATING:
                watts = st.number_input("rated watts", 1.0, value=2000.0, key="own watts rated", format="%g")
                volts = st.number_input("at volts", 1.0, value=230.0, key="own volts rated", format="%g")
                element = beginning.resistance_of_rating(watts, volts)
    title = st.text_input("a title for it", key="own title", autocomplete="off")
    return replace(known, load=load, volume=volume, element=element, title=title)
