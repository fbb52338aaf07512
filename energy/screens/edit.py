"""What is built, and how is it driven? The scenario as forms, its files, its text."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.scenario import bundle as bundles
from energy.scenario.keys import MAY_BE_LEFT_OUT, TABLES
from energy.screens import ask_next, desk, fields, own, page, tables, typed
from energy.words import screens as screen_words
from vehicle.problems import InputError

if TYPE_CHECKING:
    from energy.screens.desk import Work

_ALWAYS_THERE = ("rotor", "vehicle", "trip")
_MOST = "what matters most"
_ESSENTIALS = {
    "trip": ("road_speed", "grade", "compared_with"),
    "air": ("wind_speed", "wind_from"),
    "rotor": ("diameter", "pitch", "local_speed_factor", "mount_drag_area", "turbine_mass"),
    "blade": ("number_of_blades", "camber"),
    "drive": ("ratio",),
    "generator": ("voltage_constant", "winding_resistance"),
    "heater": ("resistance", "rated_power"),
    "load": ("kind", "volume", "target_temperature"),
    "vehicle": ("mass", "drag_area", "width"),
    "engine": ("fuel", "displacement", "peak_torque", "speed_per_1000_rpm"),
    "prices": ("fuel",),
}
_WORDS = {
    _MOST: "what matters most",
    "trip": "trip: speed, grade, what it is compared with",
    "air": "air: wind, temperature, place",
    "rotor": "rotor: size, curves, pitch, mount, limits",
    "blade": "blade: its section and what the pitch means",
    "drive": "drive: belt or gear",
    "generator": "generator and rectifier",
    "heater": "heater: the element",
    "load": "load: what is heated, how hot, how it loses heat",
    "vehicle": "vehicle: mass, drag, tyres",
    "engine": "engine, fuel and gears",
    "battery": "battery drive, instead of an engine",
    "credit": "credit: what the turbine replaces",
    "other_sources": "other sources of the same heat",
    "prices": "prices",
    "costs": "costs: parts, work, life and use, for payback in money",
    "wind_climate": "wind of the year, where it is used",
    "uncertainty": "what is uncertain together",
    "gust": "gust: the worst case that must be withstood",
    "mount": "mount: mast, bolts, spacing",
    "bearing": "bearing of the rotor",
    "blade_loads": "blade loads: masses, roots, balance",
    "linkage": "linkage: pitch rods and actuator",
    "measurement": "measurement: how watts and air were measured",
}


_GROUPS: dict[str, tuple[str, ...]] = {
    _MOST: (),
    "road and air": ("trip", "air", "wind_climate"),
    "rotor": ("rotor", "blade"),
    "generator and load": ("drive", "generator", "heater", "load"),
    "vehicle": ("vehicle", "engine", "battery"),
    "strength": ("gust", "mount", "bearing", "blade_loads", "linkage"),
    "money": ("prices", "costs", "credit", "other_sources"),
    "how sure": ("uncertainty", "measurement"),
}


def show() -> None:
    """Show the forms of one part of the scenario, with the verdict on top of them."""
    _go_to_asked()
    work = desk.work()
    surely = page.verdict(work, screen_words.QUESTIONS["scenario"])
    if desk.is_demo():
        st.html(f'<p class="wt-note">{page.escape(screen_words.BEGIN_OR_CHANGE)}</p>')
    asking = st.container()
    _beginning()
    guesses = desk.guesses()
    if guesses:
        names = ", ".join(key.replace(".", " ", 1).replace("_", " ") for key in guesses)
        st.html(f'<p class="wt-note"><b>Still guesses ({len(guesses)}):</b> {page.escape(names)}.</p>')
    _parts(work)
    _files(work)
    _texts()
    result = surely()
    if not desk.is_demo():
        with asking:
            ask_next.show(result)


def _beginning() -> None:
    """Offer to begin a scenario of one's own: unfolded where a demo is open. Its many fields are drawn only where they
    are to be seen: each change on the screen would draw them anew. What was typed there stays (`typed`).
    """
    of_demo = desk.is_demo()
    box = st.expander(
        "Begin a scenario of your own, from nothing",
        expanded=of_demo,
        key=f"beginning of {'a demo' if of_demo else 'a work'}",
        on_change=desk.if_drawn(lambda: None),  # drawn anew, that is all
    )
    if box.open:
        with box:
            own.form()


def _go_to_asked() -> None:
    """Open the part of the field that a link's address asks for, and leave a mark by which the page puts the focus
    there (energy/screens/shell.js).
    """
    place = st.query_params.get("field")
    if place is not None:
        del st.query_params["field"]
        table, _, key = place.partition(".")
        if table in TABLES:
            st.session_state["gone to"] = (place, st.session_state.get("gone to", ("", 0))[1] + 1)
            if desk.typed().get("part", _MOST) != _MOST or key not in _ESSENTIALS.get(table, ()):
                group = group_of(table)
                desk.keep_typed("part", group)
                desk.keep_typed(f"part of {group}", table)
                desk.renew()
    if "gone to" in st.session_state:
        place, turn = st.session_state["gone to"]
        st.html(f'<span class="wt-go" data-field="{page.escape(fields.css_class(place))}" data-turn="{turn}"></span>')


def group_of(table: str) -> str:
    """Return the name of the group that holds a table."""
    return next(group for group, tables_ in _GROUPS.items() if table in tables_)


def _parts(work: Work) -> None:
    """Show the chosen part of the scenario: a group of tables, one of them at a time."""
    faulty = {p.key.partition(".")[0].strip("[]") for p in work.problems}
    group = typed.way(
        "Which part?",
        "part",
        list(_GROUPS),
        lambda name: name + (" (a fault)" if faulty & set(_GROUPS[name]) else ""),
    )
    if group == _MOST:
        _most(work)
        return
    part = typed.way(
        f"Of {group}",
        f"part of {group}",
        _GROUPS[group],
        lambda name: name.replace("_", " ") + (" (a fault)" if name in faulty else ""),
    )
    _part(part, work)


def _most(work: Work) -> None:
    """Show the values that move the answer most, of the tables that the scenario has."""
    data = desk.bundle().data()
    for table, keys in _ESSENTIALS.items():
        if isinstance(data.get(table), dict) or table in ("trip", "air", "rotor", "vehicle"):
            with st.container(border=True):
                page.finding(_WORDS[table])
                columns = st.columns(2, gap="medium")
                for k, key in enumerate(_by_coastdown(keys, data)):
                    with columns[k % 2]:
                        fields.field(table, key, TABLES[table].model_fields[key], work)


def _by_coastdown(keys: tuple[str, ...], data: dict[str, Any]) -> tuple[str, ...]:
    """Return the keys, coast-down coefficients in place of the drag area where the scenario has these."""
    if "drag_area" not in keys or "coastdown_a" not in data.get("vehicle", {}):
        return keys
    return tuple(new for key in keys for new in (("coastdown_a", "coastdown_c") if key == "drag_area" else (key,)))


def _part(part: str, work: Work) -> None:
    there = isinstance(desk.bundle().data().get(part), dict)
    optional = part not in MAY_BE_LEFT_OUT and part not in _ALWAYS_THERE
    with st.container(border=True):
        page.finding(_WORDS.get(part, part.replace("_", " ")))
        if part == "engine" or part == "battery":
            st.html('<p class="wt-note">A scenario has either an engine or a battery drive.</p>')
        if optional and not there:
            st.button(f"Add {part}", on_click=lambda: _put(bundles.with_table(desk.bundle(), part)), key=f"add {part}")
            return
        if optional:
            st.button(
                f"Take {part} out",
                on_click=lambda: _put(bundles.without_table(desk.bundle(), part)),
                key=f"without {part}",
            )
        fields.form(part, work)


def _put(changed: bundles.Bundle) -> None:
    desk.put(changed)
    desk.renew()


def _files(work: Work) -> None:
    names = desk.bundle().names()
    with st.expander(f"CSV files of the scenario ({len(names)})"):
        st.html(f'<p class="wt-note">{page.escape(screen_words.OF_CSV_FILES)}</p>')
        for name, content in desk.bundle().files:
            st.download_button(
                f"{name} ({len(content):,} bytes)".replace(",", "\u202f"),
                data=content,
                file_name=name,
                mime="text/csv",
                key=f"csv {name}",
                on_click="ignore",
            )
        _table(st.selectbox("Change the numbers of", ["(none)", *names], key=desk.field_key("csv to change")))
        added = st.file_uploader(
            "Add CSV files", type=["csv"], accept_multiple_files=True, key=desk.field_key("csv files")
        )
        if st.button("Put them with the scenario", disabled=not added):
            try:
                changed = desk.bundle()
                for upload in added:
                    changed = bundles.with_file(changed, upload.name, upload.getvalue())
            except InputError as error:
                page.problem_list([str(problem) for problem in error.problems], "Nothing was taken")
                return
            _put(changed)
            st.rerun()


def _table(name: str) -> None:
    """Let the numbers of one of the scenario's CSV files be changed."""
    content = dict(desk.bundle().files).get(name)
    if content is None:
        return
    try:
        comments, held = tables.from_csv(content, name)
    except InputError as error:
        page.problem_list([str(problem) for problem in error.problems], "Not to be changed here")
        return
    rows = tables.editor(held, name)
    own = "".join(line for line in comments.splitlines(keepends=True) if bundles.GUESS not in line)
    changed = tables.to_csv(rows, own)
    if st.button("Use these numbers", disabled=changed == tables.to_csv(held, own), key="use numbers"):
        tables.forget(name)
        _put(bundles.with_file(desk.bundle(), name, changed))
        st.rerun()


def _texts() -> None:
    with st.expander("Title, note, and the file itself (TOML)"):
        for name in ("title", "note"):
            key = desk.field_key(name)
            if key not in st.session_state:
                st.session_state[key] = str(bundles.value_at(desk.bundle(), name) or "")
            st.text_input(name, desk.stands_at(key), key=key, on_change=desk.if_drawn(_storing_text(name, key)))
        key = desk.field_key(f"text {hash(desk.bundle().text)}")
        text = st.text_area("scenario.toml", value=desk.bundle().text, height=360, key=key)
        if st.button("Use this text", disabled=text == desk.bundle().text):
            changed = bundles.Bundle(text, desk.bundle().files)
            try:
                changed.data()
            except InputError as error:
                page.problem_list([str(problem) for problem in error.problems], "Nothing was changed")
                return
            _put(changed)
            st.rerun()


def _storing_text(name: str, key: str) -> Callable[[], None]:
    def store() -> None:
        desk.put_value(name, st.session_state[key].strip() or None)

    return store
