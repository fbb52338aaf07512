"""What tests of the app's screens share: a screen shown in a session, what it says, and its fields."""

from __future__ import annotations

import functools
import html
import json
import re
from types import SimpleNamespace
from typing import Any

from streamlit.testing.v1 import AppTest

from energy.scenario import bundle as bundles
from energy.screens import edit
from vehicle.units import UnitSystem

NEW = SimpleNamespace(session_state={})  # a session that holds nothing yet: it opens the first demo


def at(app: AppTest | SimpleNamespace, screen: str) -> AppTest:
    """Show one screen of the same session, or of one that holds the same."""
    script = f"""
import streamlit as st
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == {screen!r}).shows()()
"""
    other = AppTest.from_string(script, default_timeout=300)
    for key in ("bundle", "loaded", "kept", "usable", "system", "round", "typed", "uploads"):
        if key in app.session_state:
            other.session_state[key] = app.session_state[key]
    return other.run()


def session(bundle: bundles.Bundle, **more: Any) -> SimpleNamespace:
    """Return a session in which a bundle is open as it was loaded."""
    held = {"bundle": bundle, "loaded": bundle, "kept": bundle, "round": 1, "system": "metric"}
    return SimpleNamespace(session_state=held | more)


def said(app: AppTest) -> str:
    """Return all HTML that a screen shows."""
    return " ".join(element.proto.body for element in app.get("html"))


def words(app: AppTest) -> str:
    """Return what a screen says, without its tags."""
    return html.unescape(re.sub(r"<[^>]+>", "", said(app)))


def held(app: AppTest) -> bundles.Bundle:
    """Return the scenario in work."""
    found: bundles.Bundle = app.session_state["bundle"]
    return found


def field(app: AppTest, kind: str, name: str) -> Any:
    """Return the widget of a scenario's field, whatever round of fields it belongs to."""
    return next(w for w in getattr(app, kind) if w.key and w.key.startswith(f"{name}#"))


def part(app: AppTest, table: str) -> None:
    """Choose the part of the form that holds a table."""
    group = edit.group_of(table)
    field(app, "radio", "typed part").set_value(group).run()
    chosen = field(app, "radio", f"typed part of {group}")
    if chosen.value != table:
        chosen.set_value(table).run()


_NOT_IN_UK = r"km/h|km"
_NOT_IN_US = (
    r"km/h|km|m/s²?|m/s\^2|mm/s|mm|cm|m|mm²|cm²|m²|m\^2|m³|m\^3|kg/h|kg/m³|kg/m\^3|kg·m|kg\*m|g·mm|g\*mm|kg|"
    r"L/h|L/100 ?km|L per kWh|L/kWh|L|mL|°C|degC|K|N·m|N\*m|kN·m|kN|N|N·s/m|N·s²/m²|hPa|kPa|MPa|GPa|Pa|bar|kJ/K|J/K|"
    r"W/K|W/\(m²?·?K\)|kJ/\(kg K\)|kWh/kg|MJ|kJ"
)
# What may stand in metric units, and why.
_BY_THE_LITRE = ("fuel ",)  # a fuel's heating value and carbon: defined by the litre, with their sources
_AS_DEFINED = (
    r"\(?(?:cold \()?(?:at )?20 degC\)?",  # the temperature at which a resistance is stated
    r"balance_grade = 16 mm/s|balance_grade: 16 mm/s|G 16|(?:such as )?\"16 mm/s\"|at least [\d.]+ mm/s|"
    r"[Dd]efault: 16 mm/s|is 6.3 mm/s|above 0 mm/s|at most 4000 mm/s",  # ISO 21940-11 names its grades by mm/s
    r"(?<![\d.])0\.8 g",  # of gravity
    r"\d \w+/L",  # a price by the litre, as the scenario has it
)


def of_other_units(app: AppTest, title: str, system: UnitSystem) -> list[str]:
    """Return what a screen says in metric units that are not those of the chosen system: texts, labels, charts.

    A number in both ("15 mm (0.59 in)") stands in both; what stands behind the semicolon of an assumption, or behind
    "common practice", is a source in its own units; the boxes of units offer all of them.
    """
    return [text for text in _shown_texts(app) if _is_of_other_units(text.replace(title, ""), system)]


@functools.cache  # most of what a screen says stands on the next one too
def _is_of_other_units(plain: str, system: UnitSystem) -> bool:
    units_of = _NOT_IN_US if system == "us" else _NOT_IN_UK
    number = rf"(?<![\w.])[−-]?\d[\d .,]*(?: to [\d.]+)? ?(?:{units_of})(?![\w/²³·*^])"
    heading = rf"(?:,| \(|[a-z]) (?:{units_of})\)?$"
    if plain.startswith(_BY_THE_LITRE):
        return False
    plain = re.split(r"; |: common practice|, no source", plain)[0]
    plain = re.sub("|".join(_AS_DEFINED), "", plain)
    plain = re.sub(rf"\d[\d.]*(?: to [\d.]+)? (?:{units_of}) \([^)]*\)", "", plain)
    if plain.startswith(("Run sheet: ", *(f"{k} runs of" for k in range(100)))):
        plain = re.sub(r"\([^)]*\)", "", plain)
    return bool(re.search(number, plain) or re.search(heading, plain))


def _shown_texts(app: AppTest) -> list[str]:
    """Return all texts that a screen shows, but for the choices of unit boxes and the data of charts."""
    found: list[str] = []

    def of_chart(part: Any) -> None:
        if isinstance(part, dict):
            for key, inner in part.items():
                if key in ("title", "text", "titles") and isinstance(inner, str):
                    found.append(inner)
                elif key not in ("data", "datasets", "values"):
                    of_chart(inner)
        elif isinstance(part, list):
            for inner in part:
                of_chart(inner)

    def of_message(message: Any) -> None:
        for entry, value in message.ListFields():
            if entry.name == "spec":
                of_chart(json.loads(value))
            elif entry.name in ("id", "element_id", "options", "form_id", "page", "url", "user_key", "data"):
                continue
            elif entry.message_type is not None:
                if not entry.message_type.GetOptions().map_entry:
                    for inner in value if entry.is_repeated else (value,):
                        of_message(inner)
            elif entry.type == entry.TYPE_STRING:
                for text in value if entry.is_repeated else (value,):
                    found.extend(part for raw in re.split(r"<[^>]+>", text) if (part := html.unescape(raw).strip()))

    def of_block(block: Any) -> None:
        for child in getattr(block, "children", {}).values():
            if (message := getattr(child, "proto", None)) is not None and child.type != "text_area":  # the file itself
                of_message(message)
            of_block(child)

    of_block(app._tree)
    return found
