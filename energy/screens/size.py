"""How large must it be? Diameters for a wanted heat, with the drag that they cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import streamlit as st

from energy.chain.rotor_choice import RotorChoice, compare_rotors
from energy.chain.sizing import FUEL_NAMES, SizingTable, Wanted, sized, wanted_of
from energy.pictures.base import Picture
from energy.pictures.measured import size_picture
from energy.scenario.bundle import Bundle
from energy.screens import desk, page, typed, waiting
from energy.screens.desk import Work
from energy.words import rotor_choice as rotor_words
from energy.words import screens as screen_words
from energy.words import size as size_words
from energy.words.headings import one_line
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError, Problem
from vehicle.typed import read_quantity
from vehicle.units import UnitSystem
from vehicle.units import show as shown

_HEADING = QUESTIONS["size"]
_SHARES = ("%", "")


@waiting.drawn
def _of_scenario(bundle: Bundle) -> Wanted:
    return wanted_of(desk.scenario_of(bundle))


@waiting.drawn
def _sized(wanted: Wanted) -> SizingTable:
    return sized(wanted)


@waiting.drawn
def _compared(wanted: Wanted) -> RotorChoice:
    return compare_rotors(wanted)


@waiting.drawn
def _picture(wanted: Wanted, system: UnitSystem) -> Picture:
    return size_picture(wanted, _sized(wanted), system)


def show() -> None:
    """Show the screen."""
    work, system = desk.work(), desk.system()
    top = st.container()
    try:
        wanted = _asked(_of_scenario(work.usable))
        table = _sized(wanted)
    except InputError as error:
        with top:
            page.cannot(work, _HEADING, screen_words.NO_SIZE, error.problems)
        _cautions()
        return
    with top:
        page.answer_line(work, _HEADING, size_words.sentence(table, wanted.road_speed_m_s, system))
    page.picture(
        _picture(wanted, system),
        screen_words.OF_SIZES,
        headed=False,
    )
    _table(work, table)
    _rotors(_compared(wanted), system)
    _cautions()
    with st.expander(f"Assumed ({len(table.notes)})"):
        page.bullets(table.notes)


def _table(work: Work, table: SizingTable) -> None:
    system = desk.system()
    page.finding(size_words.rows_title(table, system))
    headings = one_line(size_words.headings(table, system))
    page.table(headings, size_words.rows(table, system), numbers=range(len(headings)), caption="Diameters")
    own = shown(work.answered.scenario.rotor.diameter.value, "length", system)
    page.bullets([size_words.TRADE, f"Your scenario's rotor: {own}."])


def _rotors(choice: RotorChoice, system: UnitSystem) -> None:
    page.finding(rotor_words.TITLE)
    headings = one_line(rotor_words.headings(system))
    rows = rotor_words.rows(choice, system)
    if not any(row[-1] for row in rows):  # nothing stands against any of them
        headings, rows = headings[:-1], [row[:-1] for row in rows]
    page.table(headings, rows, numbers=range(len(rotor_words.headings(system)) - 2), caption="Rotors")
    page.bullets([rotor_words.sentence(choice, system), *rotor_words.why(choice, system), *rotor_words.NOTES])
    if choice.chosen is not None:
        with st.expander("Blade of the one to choose"):
            blade, build = choice.chosen.blade, choice.chosen.build
            stations = rotor_words.station_rows(blade, system)
            page.table(rotor_words.station_headings(system), stations, numbers=range(3), caption="Blade")
            page.bullets(rotor_words.blade_lines(blade, build, system))


def _cautions() -> None:
    page.cautions((size_words.DANGER, *rotor_words.DANGER))


@dataclass(frozen=True)
class _Typed:
    """What stands in the fields: quantities with their units, fuel, tip-speed ratio and gear ratios as text."""

    quantities: dict[str, tuple[str, str]]
    fuel: str
    tip_speed_ratio: str
    gear_ratios: str


def _asked(own: Wanted) -> Wanted:
    """Show the fields, which begin with what the scenario has; return what is wanted. Raises InputError."""
    wanted = _fields(own)
    problems: list[Problem] = []

    def read(name: str, text: str, unit: str) -> Any:
        try:
            return read_quantity(name, text, unit)
        except InputError as error:
            problems.extend(error.problems)
            return None

    values = {name: read(name, text, unit) for name, (text, unit) in wanted.quantities.items()}
    tip = wanted.tip_speed_ratio
    tip_speed_ratio = read("tip-speed ratio", tip, "dimensionless") if tip else None
    parts = [part.strip() for part in wanted.gear_ratios.split(",") if part.strip()]
    gear = [read("gear ratios", part, "dimensionless") for part in parts]
    if problems:
        raise InputError([Problem("what you typed", p.key, p.read, p.accepted) for p in problems])
    return Wanted(
        heat_w=values["heat"],
        road_speed_m_s=values["road speed"],
        head_wind_m_s=values["head wind"],
        shelter=values["shelter"],
        efficiency=values["efficiency"],
        fuel=wanted.fuel,
        tip_speed_ratio=tip_speed_ratio,
        gear_ratios=tuple(gear) or own.gear_ratios,
    )


def _fields(own: Wanted) -> _Typed:
    """Show the fields; return what stands in them."""
    with st.container(border=True):
        first, second = st.columns(2)
        with first:
            texts = {
                name: (typed.quantity(label, f"size {key}", unit, value), unit)
                for name, key, label, unit, value in (
                    ("heat", "heat", "heat wanted", "W", own.heat_w),
                    ("road speed", "speed", "road speed", "m/s", own.road_speed_m_s),
                    ("head wind", "wind", "head wind on top of it", "m/s", own.head_wind_m_s),
                )
            }
            fuel = typed.choice("fuel", "size fuel", FUEL_NAMES, own.fuel)
        with second:
            shares = (
                ("shelter", "air at the rotor over free air", own.shelter),
                ("efficiency", "rotor shaft to heat (belt, generator, leads)", own.efficiency),
            )
            for name, label, value in shares:
                text = typed.quantity(label, f"size {name}", "dimensionless", value, offered=_SHARES)
                texts[name] = (text, "dimensionless")
            tip = typed.text("tip-speed ratio", "size tip", example="5, or less to keep the tips at 80 m/s (260 ft/s)")
            start = ", ".join(f"{r:g}" for r in own.gear_ratios)
            ratios = typed.text("gear ratios, with commas between", "size ratios", start=start)
        if typed.any_typed("size "):
            st.button("Back to the scenario's own", on_click=typed.forget, args=("size ",), key="size again")
        else:
            note = screen_words.FROM_SCENARIO
            st.html(f'<p class="wt-note">{note}</p>')
    return _Typed(texts, fuel, tip, ratios)
