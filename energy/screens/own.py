"""A scenario of one's own from nothing: a few choices on the screen, typical values for the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from energy.chain import begin as beginning
from energy.chain.begin import LOADS, PLACES, VEHICLES, Beginning, RotorBy
from energy.chain.matching import thriftiest
from energy.scenario.keys import spec_of
from energy.screens import desk, page, tables, typed, uploads
from energy.words.screens import BEGIN, OF_STATIONS, accepted_words
from vehicle import units
from vehicle.problems import InputError, Problem
from vehicle.quantity import FieldError, Spec, read_quantity

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
_ENGINE_SPEED = Spec("rad/s", "engine speed in top gear", above=0.0, such_as='"2300 rpm"')
_VOLTS = Spec("V", "volts between two leads at 1000 rpm", above=0.0, such_as='"60 V"')
_RATED_WATTS = Spec("W", "watts on the element's label", above=0.0, such_as='"2000 W"')
_RATED_VOLTS = Spec("V", "volts on the element's label", above=0.0, such_as='"230 V"')
_FORM = "own "  # what the names of the form's fields begin with
_FIT, _OHMS, _RATING = "none yet: find one that fits", "its ohms are known", "its rating is known"


_NO_GENERATOR, _HAS_GENERATOR = "not yet: take a typical one", "yes, and I know something of it"


def form() -> None:
    """Show five questions, what else may be known, and the button that makes them the scenario in work.

    What is half filled in stays.
    """
    st.html(f'<p class="wt-note">{page.escape(BEGIN)}</p>')
    faults: list[Problem] = []
    known = _five(Beginning(), faults)
    with st.expander("What else do you know? (mass, engine, wind, blade, element)"):
        known, rows = _rotor(_vehicle(known, faults), faults)
        known = _more_of_load(known, faults)
    if st.button("Show me the answer", type="primary", width="stretch", key="own begin"):
        if faults:
            page.problem_list([str(fault) for fault in faults], "This cannot be begun yet")
        else:
            _begin(known, rows)


def _five(known: Beginning, faults: list[Problem]) -> Beginning:
    """Ask the five questions: vehicle, rotor and its place, generator, what is heated, speed."""
    system = desk.system()
    page.finding("1. The vehicle")
    kind = typed.choice("kind of vehicle", "own kind", list(VEHICLES), "van", lambda k: VEHICLES[k].words)
    fuel = typed.choice("runs on", "own fuel", list(_FUELS), beginning.usual_fuel(kind), _FUELS.__getitem__)
    page.finding("2. The rotor, and where it sits")
    inches = system == "us"
    usual = units.parse("60 in" if inches else "1.5 m", "m")
    offered = ("in", "ft", "m") if inches else ("m", "cm", "in", "ft")
    diameter = _quantity("rotor diameter", "diameter", "rotor.diameter", faults, start=usual, offered=offered)
    place = typed.choice("where it sits", "own place", list(PLACES), "above_roof", lambda k: PLACES[k].words)
    page.finding("3. The generator")
    has = typed.way("is there one?", "own generator", (_NO_GENERATOR, _HAS_GENERATOR))
    known = replace(known, vehicle=kind, fuel=fuel, diameter=diameter or known.diameter, place=place)
    if has == _HAS_GENERATOR:
        known = _generator(known, faults)
    page.finding("4. What is heated")
    load = typed.choice("the load", "own load", list(LOADS), "water_tank", lambda k: LOADS[k].words)
    page.finding("5. How fast")
    unit = units.written_units("m/s", system)[0]
    speed = units.parse("90 km/h" if unit == "km/h" else "55 mph", "m/s")
    road = _quantity("road speed", "speed", "trip.road_speed", faults, start=speed)
    return replace(known, load=load, road_speed=road or known.road_speed)


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
    typed.forget(_FORM, f"table {_FORM}", "part")  # the form part begins with what matters most
    desk.load(bundle)
    st.rerun()


def _quantity(
    label: str,
    name: str,
    key: str | Spec,
    faults: list[Problem],
    *,
    typical: str = "",
    start: float | None = None,
    offered: Sequence[str] = (),
) -> str:
    """Return what was typed with its unit, as a scenario has it; "" where nothing was. A fault stands at the field."""
    spec = spec_of(key) if isinstance(key, str) else key
    example = typical if typical in (_FIT, _STILL) else f"typical: {_in_units(typical, spec)}" if typical else "typical"
    text = typed.quantity(label, f"{_FORM}{name}", spec.unit, start, offered=offered, example=example)
    if text:
        try:
            read_quantity(typed.scenario_value(text, spec.unit), spec)
        except FieldError as error:
            fault = Problem(
                "what you typed",
                label,
                error.read,
                accepted_words(error.accepted, spec, desk.system()),
            )
            page.problem_list([str(fault)], "Cannot be used")
            faults.append(fault)
    return text


def _in_units(text: str, spec: Spec) -> str:
    """Return a quantity in the unit that it usually has in the chosen system of units; another text as it is."""
    try:
        return spec.shown(units.parse(text, spec.unit), desk.system())
    except units.QuantityError:
        return text


def _vehicle(known: Beginning, faults: list[Problem]) -> Beginning:
    """Ask what else is known of vehicle and air."""
    system = desk.system()
    left, right = st.columns(2)
    with left:
        lightest, heaviest = (units.show(mass, "mass", system) for mass in VEHICLES[known.vehicle].mass_kg[1:])
        mass = _quantity(
            "mass with load and people", "mass", "vehicle.mass", faults, typical=f"{lightest} to {heaviest}"
        )
        wind = _quantity("wind from ahead", "wind", "air.wind_speed", faults, typical=_STILL)
    displacement, engine_speed = "", ""
    with right:
        if known.fuel != "battery":
            litres = f"{beginning.usual_displacement_l(known.vehicle, known.fuel)[0][0]:.2g} L"
            offered = ("cubic inch", "L") if system == "us" else ("L", "cubic inch")
            displacement = _quantity(
                "engine size", "size", "engine.displacement", faults, typical=litres, offered=offered
            )
            engine_speed = _quantity(
                "engine speed at that road speed, in top gear", "engine speed", _ENGINE_SPEED, faults, offered=("rpm",)
            )
    return replace(known, mass=mass, displacement=displacement, engine_speed=engine_speed, wind_speed=wind)


def _rotor(known: Beginning, faults: list[Problem]) -> tuple[Beginning, pd.DataFrame | None]:
    """Ask what else is known of the rotor: blades, curves or watts, pitch."""
    left, right = st.columns(2)
    with left:
        blades = typed.count("number of blades", "own blades", 24, start=3)
    with right:
        by = _rotor_by()
    known = replace(known, number_of_blades=blades, rotor_by=by)
    known, rows = _rows(known)
    if by != "watts":
        label = "blade pitch, positive towards feather"
        known = replace(known, pitch=_quantity(label, "pitch", "rotor.pitch", faults, typical=_FIT))
    return known, rows


def _rows(known: Beginning) -> tuple[Beginning, pd.DataFrame | None]:
    """Ask for the table or the file that the chosen way of knowing the rotor needs."""
    if known.rotor_by == "stations":
        st.html(f'<p class="wt-note">{page.escape(OF_STATIONS)}</p>')
        unit = "in" if desk.system() == "us" else "m"
        return known, tables.editor(_textbook_rows(known, unit), f"own stations {unit}")
    if known.rotor_by == "watts":
        unit = {"metric": "km_h", "us": "mph", "uk": "mph"}[desk.system()]
        st.html(
            '<p class="wt-note">Air speed at the rotor, rising, and the watts into the load at each. Two rows or more; '
            "the last air speed should not be below that of your drive.</p>"
        )
        return known, tables.editor(tables.empty([f"air_speed_{unit}", "electrical_power_w"], 6), f"own watts {unit}")
    if known.rotor_by == "curves":
        st.html(
            '<p class="wt-note">Columns tip_speed_ratio, power_coefficient, thrust_coefficient (optional), and '
            "pitch_deg where there is more than one pitch.</p>"
        )
        upload = uploads.one("The CSV file of curves", "csv", "own curves")
        return replace(known, rotor_csv=b"" if upload is None else upload.content), None
    return known, None


def _rotor_by() -> RotorBy:
    names: dict[str, RotorBy] = {str(name): name for name in _ROTOR_BY}
    chosen = typed.choice("what is known of it", "own rotor by", list(names), "typical", lambda n: _ROTOR_BY[names[n]])
    return names[chosen]


def _textbook_rows(known: Beginning, unit: str) -> pd.DataFrame:
    """Return the stations of a textbook blade with radius and chord in a unit."""
    names = {f"{name}_m": f"{name}_{unit}" for name in ("radius", "chord")}
    try:
        rows = tables.from_csv(beginning.drawn_blade_csv(known))[1]
    except InputError:  # told when the scenario is begun
        return tables.empty([*names.values(), "twist_deg"], 5)
    if unit != "m":
        for name in names:
            rows[name] = [f"{units.express(float(cell), unit, 'm'):.4g}" for cell in rows[name]]
    return rows.rename(columns=names)


def _generator(known: Beginning, faults: list[Problem]) -> Beginning:
    """Ask what is known of the generator and its drive."""
    left, right = st.columns(2)
    with left:
        connection = typed.choice(
            "connection", "own connection", list(_CONNECTIONS), "rectifier", _CONNECTIONS.__getitem__
        )
        ratio = _quantity("generator turns per rotor turn", "ratio", "drive.ratio", faults, typical=_FIT, offered=("",))
    with right:
        volts = _quantity(
            "volts between two leads at 1000 rpm, nothing connected",
            "volts",
            _VOLTS,
            faults,
            typical="48 to 72 V",
            offered=("V",),
        )
        ohms = _quantity(
            "resistance between two leads",
            "winding",
            "generator.winding_resistance",
            faults,
            typical="0.5 to 1.5 ohm",
        )
    return replace(
        known,
        connection=connection,
        ratio=ratio,
        voltage_constant=volts.replace(" V", " V/krpm"),
        winding_resistance=ohms,
    )


def _more_of_load(known: Beginning, faults: list[Problem]) -> Beginning:
    """Ask what else is known of the load and its element."""
    left, right = st.columns(2)
    with left:
        volume = ""
        if LOADS[known.load].volume:
            volume = _quantity("volume", "volume", "load.volume", faults, typical=LOADS[known.load].volume)
    element = ""
    if known.rotor_by != "watts":
        with right:
            element = _element(faults)
    return replace(known, volume=volume, element=element, title=typed.text("a title for it", "own title"))


def _element(faults: list[Problem]) -> str:
    """Return the element's resistance as a scenario has it; "" where one that fits is to be found."""
    how = typed.choice("the heating element", "own element how", (_FIT, _OHMS, _RATING), _FIT)
    if how == _OHMS:
        return _quantity("resistance of the element", "element", "heater.resistance", faults, start=12.0)
    if how != _RATING:
        return ""
    watts = _quantity("rated watts", "watts rated", _RATED_WATTS, faults, start=2000.0)
    volts = _quantity("at volts", "volts rated", _RATED_VOLTS, faults, start=230.0, offered=("V",))
    try:
        return beginning.resistance_of_rating(units.parse(watts, "W"), units.parse(volts, "V"))
    except (units.QuantityError, ZeroDivisionError):  # stands at the field
        return ""
