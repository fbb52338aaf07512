"""Form fields made from the scenario's own models: value, unit, range, meaning, default with its source, faults
beside it.
"""

from __future__ import annotations

import re
import typing
from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from energy.scenario import bundle as bundles
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.keys import TABLES
from energy.screens import desk, page
from energy.screens.desk import Work
from energy.words.screens import fault_words
from energy.words.terms import term_of
from vehicle import units
from vehicle.quantity import Spec, Uncertain
from vehicle.typed import as_people_type

EXACT, PLUS_MINUS, BETWEEN = "exactly", "plus or minus", "between"
_DEFAULT = "(default)"
_NUMBERS = ("value", "plus_minus", "low", "high")  # the boxes of a field that hold a number in its unit


def form(table: str, work: Work) -> None:
    """Show the fields of one table: those that the scenario gives, then the others, folded."""
    given = desk.bundle().data().get(table)
    given = given if isinstance(given, dict) else {}
    model = TABLES[table]
    # What is in the first list stays there while a field is emptied, until another part or scenario is shown.
    listed: set[str] = st.session_state.setdefault(desk.field_key(f"listed {table}"), set(given))
    listed |= {key for key, info in model.model_fields.items() if info.is_required() or key in given}
    listed |= {p.key.partition(".")[2] for p in work.problems if p.key.startswith(f"{table}.")}
    others = []
    for key, info in model.model_fields.items():
        if key in listed:
            field(table, key, info, work)
        else:
            others.append((key, info))
    if others:
        with st.expander(f"{len(others)} more, left to their defaults"):
            for key, info in others:
                field(table, key, info, work)


def field(table: str, key: str, info: FieldInfo, work: Work) -> None:
    """Show one field with what it means, its default and source, and its faults."""
    place = f"{table}.{key}"
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    spec = extra.get("spec")
    raw = bundles.value_at(desk.bundle(), place)
    faults = work.problems_at(place)
    with st.container(gap="xxsmall", key=f"field {place}"):
        if isinstance(spec, Spec) and extra.get("list"):
            _list(place, spec, raw)
        elif isinstance(spec, Spec):
            _quantity(place, spec, raw)
        elif bundles.is_file_key(info.description):
            _file(place, info, raw)
        elif "price_per" in extra:
            _text(place, raw, f"1.75 EUR/{extra['price_per']}")
        elif info.annotation is bool:
            _choice(place, info, raw, {True: "yes", False: "no"})
        elif _names_of(info.annotation):
            _choice(place, info, raw, {name: name.replace("_", " ") for name in _names_of(info.annotation)})
        elif info.annotation is str:
            _text(place, raw, "" if info.default in (None, PydanticUndefined) else str(info.default))
        else:
            _pairs(place, raw)
        guessed = place in desk.guesses()
        mark = "<b>Still a guess: put your own, or keep it.</b> " if guessed else ""
        about = page.escape(_about(place, info, spec if isinstance(spec, Spec) else None))
        st.html(f'<p class="wt-note">{mark}{about}</p>')
        if guessed:
            st.button(
                f"Keep this {_name(place)}: it is mine",
                key=desk.field_key(f"{place} keep"),
                on_click=desk.if_drawn(lambda: desk.put_value(place, raw)),
            )
        if faults:
            page.problem_list([fault_words(fault, desk.system()) for fault in faults], "Cannot be used")


def css_class(place: str) -> str:
    """Return the class by which a field is found on the page: the framework's, of its container's key."""
    return "st-key-field-" + re.sub(r"[^a-zA-Z0-9_-]", "-", place)


def _names_of(annotation: Any) -> tuple[str, ...]:
    """Return the names that a key takes one of: those of a Literal, which may be optional."""
    if typing.get_origin(annotation) is typing.Literal:
        return tuple(str(name) for name in typing.get_args(annotation))
    return next((names for part in typing.get_args(annotation) if (names := _names_of(part))), ())


def _name(place: str) -> str:
    return place.partition(".")[2].replace("_", " ")


def _about(place: str, info: FieldInfo, spec: Spec | None) -> str:
    """Return what a field means, what it takes, and where its default comes from."""
    words = (info.description or "") if spec is None else spec.accepted(desk.system())
    if info.is_required():
        return f"{words}. Needed."
    text, source = _default_words(place, info, spec)
    if text:
        words += f". Default: {text}"
        words += f"; {source}" if source else ""
    return f"{words}."


def _default_words(place: str, info: FieldInfo, spec: Spec | None) -> tuple[str, str]:
    value: Any = info.get_default(call_default_factory=True, validated_data={})
    value = None if value is PydanticUndefined else value  # a key that is needed has none
    source = spec.source if spec is not None else ""
    by_fuel = FUEL_DEFAULTS.get(place)
    if by_fuel is not None:
        fuel = bundles.value_at(desk.bundle(), "engine.fuel")
        if isinstance(fuel, str) and fuel in by_fuel:
            value, source = by_fuel[fuel]
    if isinstance(value, Uncertain) and spec is not None:
        text = shown(value.value, spec)
        if value.shape != "exact":
            text += f" ({shown(value.low, spec)} to {shown(value.high, spec)})"
        return text, source
    if isinstance(value, bool):
        return ("yes" if value else "no"), source
    return (str(value), source) if value not in (None, "") else ("", "")


def shown(value: float, spec: Spec) -> str:
    """Return an SI value to three figures in the first unit that a form offers for it."""
    first = spec.written(desk.system())[0]
    if desk.system() != "metric" or spec.unit == "dimensionless" or not first:
        return spec.shown(value, desk.system())
    return f"{units.figures(units.express(value, first, spec.unit), 3)} {first}"


def _hold(name: str, value: Any) -> str:
    """Return the key of a widget that begins with `value` and keeps what is typed until the fields are renewed."""
    return _begin(desk.field_key(name), value)


def _begin(key: str, value: Any) -> str:
    if key not in st.session_state:
        st.session_state[key] = value
    return key


def _split(raw: object, choices: tuple[str, ...], spec: Spec) -> tuple[str, str]:
    """Return (number, unit) as a form shows a raw value; a text that is no quantity is shown whole."""
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        return f"{raw:g}", ""
    if not isinstance(raw, str):
        return ("" if raw is None else str(raw)), choices[0]
    try:
        number, name = units.split(raw)
        units.parse(raw, spec.unit)
    except units.QuantityError:
        return raw, choices[0]
    return f"{number:.12g}", name or ""


def _parts(raw: object) -> tuple[str, dict[str, object]]:
    """Return how sure a raw value is told, and its parts."""
    if isinstance(raw, dict):
        if "plus_minus" in raw:
            return PLUS_MINUS, {"value": raw.get("value"), "plus_minus": raw["plus_minus"]}
        if "low" in raw or "high" in raw:
            return BETWEEN, {"value": raw.get("value"), "low": raw.get("low"), "high": raw.get("high")}
        return EXACT, {"value": raw.get("value")}
    return EXACT, {"value": raw}


def _quantity(place: str, spec: Spec, raw: object) -> None:
    sure, parts = _parts(raw)
    choices = spec.written(desk.system())
    if place in desk.guesses():  # a value that windtoll put there stands in the user's own units
        parts = {name: _in_unit(value, choices[0], spec, name) for name, value in parts.items()}
    shown = {name: _split(value, choices, spec) for name, value in parts.items()}
    chosen = _chosen_unit(place, choices[0])
    unit = next((shown[n][1] for n in ("value", "low", "high") if n in parts and parts[n] is not None), chosen)
    choices = tuple(dict.fromkeys((*choices, chosen, unit)))
    label = _name(place)
    unit_key = _hold(f"{place} unit", unit)
    sure_key = _hold(f"{place} sure", sure)
    # The widget's own choice of how sure, which may be ahead of the scenario while its parts are still empty.
    sure = st.session_state[sure_key]
    box = _boxes(place)
    for name in _NUMBERS:
        number, own = shown.get(name, ("", unit))
        _begin(box(name), number if own == unit or not number else str(parts[name]))
    store = _storing(place, spec)
    row = st.container(horizontal=True, vertical_alignment="bottom", gap="small")
    row.text_input(
        label if sure != BETWEEN else f"{label}, most likely (may be left out)",
        desk.stands_at(box("value")),
        key=box("value"),
        on_change=desk.if_drawn(store),
        placeholder=_placeholder(place, spec),
        autocomplete="off",
        help=term_of(place),
    )
    row.selectbox(
        f"unit of {label}",
        label_visibility="collapsed",
        width=112,
        options=choices,
        index=desk.stands_in(unit_key, choices),
        key=unit_key,
        on_change=desk.if_drawn(_converting(place, spec, unit)),
        format_func=lambda name: name or "number",
        disabled=len(choices) == 1,
    )
    row.selectbox(
        f"how sure is {label}",
        (EXACT, PLUS_MINUS, BETWEEN),
        desk.stands_in(sure_key, (EXACT, PLUS_MINUS, BETWEEN)),
        key=sure_key,
        on_change=desk.if_drawn(store),
        label_visibility="collapsed",
        width=152,
    )

    beside = {
        PLUS_MINUS: {"plus_minus": "± (half-width of a 95 % interval)"},
        BETWEEN: {"low": "lowest", "high": "highest"},
    }
    words = beside.get(sure, {})
    for where, name in zip(st.columns(len(words)) if words else (), words, strict=True):
        held = desk.stands_at(box(name))
        where.text_input(f"{label}, {words[name]}", held, key=box(name), on_change=desk.if_drawn(store))


def _in_unit(raw: object, unit: str, spec: Spec, name: str, figures: int = 4) -> object:
    """Return a quantity in another unit, to so many figures; as it is where it is none."""
    si = "delta_degC" if spec.unit == "K" and name == "plus_minus" else spec.unit
    try:
        if isinstance(raw, str) and unit:
            return f"{units.express(units.parse(raw, si), unit, si):.{figures}g} {unit}"
    except units.QuantityError:
        pass  # told as a fault
    return raw


def _chosen_unit(place: str, usual: str) -> str:
    """Return the unit that was chosen for a field, which stays while the field is empty; else the usual one."""
    chosen = desk.typed().get(f"unit {place}")
    return chosen if isinstance(chosen, str) else usual


def _keep_unit(place: str, unit: str, raw: object) -> None:
    """Keep the unit of a field that is empty; otherwise it stands in the scenario with its number."""
    if raw is None:
        desk.keep_typed(f"unit {place}", unit)


def _placeholder(place: str, spec: Spec) -> str:
    table, _, key = place.partition(".")
    text, _ = _default_words(place, TABLES[table].model_fields[key], spec)
    return f"default: {text}" if text else "not given"


def _boxes(place: str) -> Callable[[str], str]:
    """Return what gives the keys of a field's boxes, by name, as they are drawn now."""
    key_of, drawn = desk.field_keys(), desk.times_converted(place)
    return lambda name: key_of(f"{place} {name}") + (f".{drawn}" if name in _NUMBERS else "")


def _written(text: str, unit: str) -> Any:
    """Return a typed number with its unit as the scenario file has it; a text with a unit of its own stays."""
    text = as_people_type(text, thousands_comma=desk.system() != "metric")
    if not text:
        return None
    try:
        number, own = units.split(text)
    except units.QuantityError:
        return text  # told as a fault, in the words of the command line
    if own:
        return text
    if not unit:
        return int(number) if number.is_integer() and "." not in text else number
    return f"{text} {unit}"


def _storing(place: str, spec: Spec) -> Callable[[], None]:
    box, drawn = _boxes(place), desk.times_converted(place)

    def store() -> None:
        _follow_unit(spec, box)
        desk.typed_into(place, drawn)
        _put(place, spec, _typed_in(box))

    return store


def _typed(key: str) -> str:
    return str(st.session_state.get(key, "")).strip()


def _typed_in(box: Callable[[str], str]) -> dict[str, str]:
    """Return what stands in every box of a field, by its name."""
    return {name: _typed(box(name)) for name in (*_NUMBERS, "unit", "sure")}


def _put(place: str, spec: Spec, typed: Mapping[str, str]) -> None:
    """Put what is typed into a field's boxes, by name, into the scenario."""
    unit, sure = typed["unit"], typed["sure"]
    value = _written(typed["value"], unit)
    raw: Any = value
    if sure == PLUS_MINUS:
        width = _written(typed["plus_minus"], unit)
        if spec.unit == "K" and isinstance(width, str):
            width = width.replace("degC", "K")
        if width is not None:
            raw = {"value": value, "plus_minus": width} if value is not None else {"plus_minus": width}
    elif sure == BETWEEN:
        ends = {name: _written(typed[name], unit) for name in ("low", "high")}
        ends = {name: end for name, end in ends.items() if end is not None}
        if ends:
            raw = {**({"value": value} if value is not None else {}), **ends}
    _keep_unit(place, unit, raw)
    desk.put_value(place, raw)


def _follow_unit(spec: Spec, box: Callable[[str], str]) -> None:
    """Where a value was typed with a unit of its own, put that in the unit's box and the number in the value's.

    Not where ends or a half-width stand beside it: their numbers belong to the unit that the box has.
    """
    if _typed(box("sure")) != EXACT:
        return
    text = _typed(box("value"))
    plain = as_people_type(text, thousands_comma=desk.system() != "metric")
    try:
        number, own = units.split(plain)
        if own:
            units.convert(number, own, spec.unit)
    except units.QuantityError:
        return  # empty, or told as a fault
    if own or plain != text:
        st.session_state[box("value")] = f"{number:.12g}"
    if own:
        st.session_state[box("unit")] = own


def _held_unit(place: str) -> str:
    """Return the unit that the numbers of a field have by now, "" where none of them has one.

    A late browser may tell of a new unit together with a text that carries a unit of its own, and that was followed
    just before.
    """
    for part in _parts(bundles.value_at(desk.bundle(), place))[1].values():
        try:
            return units.split(part)[1] if isinstance(part, str) else ""
        except units.QuantityError:
            continue
    return ""


def _converting(place: str, spec: Spec, before: str) -> Callable[[], None]:
    """Return what happens when another unit is chosen: the quantity stays, its numbers change."""
    box = _boxes(place)

    def change() -> None:
        typed = _typed_in(box)
        unit, now = typed["unit"], _held_unit(place) or before
        for name in _NUMBERS:
            si = "delta_degC" if spec.unit == "K" and name == "plus_minus" else spec.unit
            text = as_people_type(typed[name], thousands_comma=desk.system() != "metric")
            try:
                held = units.parse(text if units.split(text)[1] else f"{text} {now}".strip(), si)
                typed[name] = f"{units.express(held, unit, si) if unit else held:.6g}"
            except units.QuantityError:
                continue  # empty, or a text that is told as a fault
        _put(place, spec, typed)
        desk.converted(place)

    return change


_RANGE = re.compile(r"^(?P<low>[^(]+?)\s+to\s+(?P<high>[^(]+)$")
_AROUND = re.compile(r"^(?P<value>.+?)\s*\((?P<low>[^(]+?)\s+to\s+(?P<high>[^()]+)\)$")
_PLUS_MINUS = re.compile(r"^(?P<value>.+?)\s*(?:±|\+-|\+/-)\s*(?P<plus_minus>.+)$")


def _entry_text(entry: object, unit: str, choices: tuple[str, ...], spec: Spec) -> str:
    """Return one entry of a list as it is typed: 8.6 or 8.2 to 9.0 or 8.6 (8.2 to 9.0) or 8.6 ± 0.2."""
    _, parts = _parts(entry)
    text = {}
    for name, part in parts.items():
        number, own = _split(part, choices, spec)
        text[name] = number if own == unit or not number else str(part)
    if "plus_minus" in text:
        return f"{text['value']} ± {text['plus_minus']}"
    if "low" in text:
        span = f"{text['low']} to {text['high']}"
        return span if not text["value"] else f"{text['value']} ({span})"
    return text["value"]


def _entry(text: str, unit: str) -> Any:
    """Return one typed entry of a list as the scenario file has it."""
    for form_ in (_AROUND, _RANGE, _PLUS_MINUS):
        match = form_.match(text)
        if match:
            return {name: _written(part.strip(), unit) for name, part in match.groupdict().items()}
    return _written(text, unit)


def _entry_in_unit(entry: Any, unit: str, spec: Spec) -> Any:
    """Return one entry of a list with its numbers in another unit."""
    if isinstance(entry, dict):
        return {name: _in_unit(part, unit, spec, name, figures=6) for name, part in entry.items()}
    return _in_unit(entry, unit, spec, "value", figures=6)


def _list(place: str, spec: Spec, raw: object) -> None:
    choices = spec.written(desk.system())
    entries = raw if isinstance(raw, list) else []
    numbers = [value for entry in entries for value in _parts(entry)[1].values() if value is not None]
    chosen = _chosen_unit(place, choices[0])
    unit = _split(numbers[0], choices, spec)[1] if numbers else chosen
    choices = tuple(dict.fromkeys((*choices, chosen, unit)))
    text = ", ".join(_entry_text(entry, unit, choices, spec) for entry in entries)
    drawn = desk.times_converted(place)
    value_key, unit_key = _begin(_boxes(place)("value"), text), _hold(f"{place} unit", unit)

    def entries_in(unit: str) -> list[Any]:
        return [_entry(part.strip(), unit) for part in st.session_state[value_key].split(",") if part.strip()]

    def put(entries: list[Any]) -> None:
        _keep_unit(place, st.session_state[unit_key], entries or None)
        desk.put_value(place, entries or None)

    def store() -> None:
        put(entries_in(st.session_state[unit_key]))
        desk.typed_into(place, drawn)

    def convert() -> None:
        chosen = st.session_state[unit_key]
        put([_entry_in_unit(entry, chosen, spec) for entry in entries_in(unit)])
        desk.converted(place)

    row = st.container(horizontal=True, vertical_alignment="bottom", gap="small")
    row.text_input(
        f"{_name(place)}, with commas between",
        desk.stands_at(value_key),
        key=value_key,
        on_change=desk.if_drawn(store),
        autocomplete="off",
        placeholder="such as 8.6, 8.2 to 9.0, 8.6 ± 0.2",
    )
    row.selectbox(
        f"unit of {_name(place)}",
        label_visibility="collapsed",
        width=112,
        options=choices,
        index=desk.stands_in(unit_key, choices),
        key=unit_key,
        on_change=desk.if_drawn(convert),
        format_func=lambda name: name or "number",
        disabled=len(choices) == 1,
    )


def _pairs(place: str, raw: object) -> None:
    """Show a list of pairs of keys with a coefficient as one line each."""
    entries = [entry for entry in raw if isinstance(entry, dict)] if isinstance(raw, list) else []
    lines = [f"{e.get('first', '')}, {e.get('second', '')}, {e.get('coefficient', '')}" for e in entries]
    key = _hold(f"{place} value", "\n".join(lines))

    def store() -> None:
        pairs = []
        for line in st.session_state[key].splitlines():
            first, second, coefficient = ([part.strip() for part in line.split(",")] + ["", "", ""])[:3]
            if first or second:
                pair: dict[str, Any] = {"first": first, "second": second}
                pairs.append({**pair, "coefficient": _written(coefficient, "")} if coefficient else pair)
        desk.put_value(place, pairs or None)

    st.text_area(
        f"{_name(place)}: one pair in each line, two keys and a coefficient with commas between",
        desk.stands_at(key),
        key=key,
        on_change=desk.if_drawn(store),
        placeholder="rotor.power_factor, rotor.thrust_factor, 0.7",
        height=100,
    )


def _file(place: str, info: FieldInfo, raw: object) -> None:
    names = desk.bundle().names()
    given = [raw] if isinstance(raw, str) else [n for n in raw if isinstance(n, str)] if isinstance(raw, list) else []
    options = list(dict.fromkeys([*names, *given]))
    label = f"{_name(place)}: CSV file"
    if "list" in str(info.annotation):
        key = _hold(f"{place} value", given)

        def store_many() -> None:
            chosen = st.session_state[key]
            desk.put_value(place, None if not chosen else chosen[0] if len(chosen) == 1 else list(chosen))

        st.multiselect(label, options, desk.stands_at(key), key=key, on_change=desk.if_drawn(store_many))
        return
    key = _hold(f"{place} value", given[0] if given else _DEFAULT)

    def store() -> None:
        chosen = st.session_state[key]
        desk.put_value(place, None if chosen == _DEFAULT else chosen)

    st.selectbox(
        label,
        [_DEFAULT, *options],
        desk.stands_in(key, [_DEFAULT, *options]),
        key=key,
        on_change=desk.if_drawn(store),
        format_func=lambda n: "(none)" if n == _DEFAULT else n,
    )


def _text(place: str, raw: object, example: str) -> None:
    key = _hold(f"{place} value", "" if raw is None else str(raw))

    def store() -> None:
        desk.put_value(place, st.session_state[key].strip() or None)

    st.text_input(
        _name(place),
        desk.stands_at(key),
        key=key,
        on_change=desk.if_drawn(store),
        placeholder=example,
        autocomplete="off",
    )


def _choice(place: str, info: FieldInfo, raw: object, words: dict[Any, str]) -> None:
    default, _ = _default_words(place, info, None)
    options: list[Any] = [*([] if info.is_required() and raw is not None else [_DEFAULT]), *words]
    if raw is not None and raw not in options:
        options.append(raw)
    key = _hold(f"{place} value", _DEFAULT if raw is None else raw)

    def store() -> None:
        chosen = st.session_state[key]
        desk.put_value(place, None if chosen == _DEFAULT else chosen)

    st.selectbox(
        _name(place),
        options,
        desk.stands_in(key, options),
        key=key,
        on_change=desk.if_drawn(store),
        format_func=lambda v: (
            (f"default: {default}" if default else "choose") if v == _DEFAULT else words.get(v, str(v))
        ),
        help=term_of(place),
    )
