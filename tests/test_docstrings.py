"""Public formulas say what goes in, what comes out, in which unit and shape, and by which source.

Own rules of the project, in numpydoc's form. Held by `ast`: numpydoc's own validator asks for types and full stops that
the annotations already give, and knows nothing of units and sources.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Collection, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = (
    "energy/aero",
    "energy/heat",
    "energy/electrical.py",
    "energy/strength/equations.py",
    "energy/uncertainty",
    "vehicle/driving",
)
SECTIONS = re.compile(r"(?m)^(Parameters|Returns|Raises|Notes|References)\n-+\n")
UNITS = re.compile(r"_(m|m2|m3|m_s|m_s2|rad|rad_s|deg|k|pa|w|w_k|w_m2_k|j_k|s|n|n_m|kg|kg_m3|ohm|mm)$")
ARRAYS = re.compile(r"\b(ndarray|NDArray|ArrayLike|FloatArray|Values)\b")
SHAPE = re.compile(r"\([^()]*\w,[^()]*\)|shape|broadcast")  # "(draws, 2)", "any shape", "broadcasts"
# What computes nothing that a source could stand for: readers and writers, rearrangements, words, looks at a result.
NO_FORMULA = {
    "energy/aero/blade.py": {
        "read_blade",
        "blade_from_stations",
        "reference_twist_deg",
        "polar_of_plate_blade",
        "blade_sections",
        "usual_grid",
        "to_rotor_curves",
    },
    "energy/aero/curve_cache.py": {"curves_key", "cached_blade_curves"},
    "energy/aero/curves.py": {"read_curves", "with_standstill", "write_curves"},
    "energy/aero/operating_point.py": {"free_run_is_known", "grid_of"},
    "energy/aero/polar.py": {"read_polars", "by_reynolds"},
    "energy/aero/stall.py": {"stall_error"},
    "energy/heat/fit.py": {"read_heater_log", "scenario_table"},
    "energy/heat/kinds.py": {"load_of_kind"},
    "energy/heat/load.py": {"faults", "coefficients", "draws_of", "common_draws"},
    "energy/heat/two_readings.py": {"read_spell", "scenario_lines"},
    "energy/heat/wattmeter.py": {"trip_steps", "read_wattmeter_log"},
    "energy/electrical.py": {"open_load"},
    "energy/uncertainty/draws.py": {"within_limits"},
    "energy/uncertainty/measurement.py": {"measurements_of", "size_of"},
    "energy/uncertainty/quantiles.py": {"saves_and_costs", "figure_of"},
    "energy/uncertainty/sensitivities.py": {"groups_of"},
    "vehicle/driving/engine.py": {"outside_the_map"},
    "vehicle/driving/trip.py": {"read_schedule", "read_profile", "stops_and_goes", "merged"},
}
Function = ast.FunctionDef | ast.AsyncFunctionDef


def _functions(tree: ast.Module) -> Iterator[tuple[str, Function, bool]]:
    """Yield (name, function, whether it stands at the top of the module) of all that is public; no properties."""
    for node in tree.body:
        inside = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else [node]
        for function in inside:
            if not isinstance(function, Function) or function.name.startswith("_"):
                continue
            if not any("property" in ast.unparse(mark) for mark in function.decorator_list):
                yield function.name, function, function is node


def _raises(function: Function) -> bool:
    """Return whether a function raises by itself, outside functions inside it."""
    waiting: list[ast.AST] = list(function.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Raise):
            return True
        if not isinstance(node, Function | ast.Lambda):
            waiting += ast.iter_child_nodes(node)
    return False


def lacking(text: str, excused: Collection[str] = ()) -> list[str]:
    """Return what the docstrings of a module's public functions lack, one entry each."""
    return [
        f"{name}: {lack}"
        for name, function, top in _functions(ast.parse(text))
        for lack in _lacks(function, sourced=top and name not in excused)
    ]


def _lacks(function: Function, *, sourced: bool) -> Iterator[str]:
    parts = SECTIONS.split(ast.get_docstring(function) or "")
    said = dict(zip(parts[1::2], parts[2::2], strict=True))
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    names = [argument.arg for argument in arguments if argument.arg not in ("self", "cls")]
    names += [function.args.vararg.arg] if function.args.vararg else []
    entries = re.findall(r"(?m)^(\w[\w, ]*?)(?: :.*)?$", said.get("Parameters", ""))
    if [name for entry in entries for name in entry.split(", ")] != names:
        yield f"Parameters are {entries}, not {names}"
    pieces = re.split(r"(?m)^(?=\w)", said.get("Parameters", ""))[1:]
    for entry, piece in zip(entries, pieces, strict=False):
        if any(UNITS.search(name) for name in entry.split(", ")) and not re.search(r"\[.+?\]", piece):
            yield f"no [unit] for {entry}"
        kinds = [ast.unparse(argument.annotation) for argument in arguments if argument.annotation]
        kind = dict(zip([argument.arg for argument in arguments if argument.annotation], kinds, strict=True))
        if any(ARRAYS.search(kind.get(name, "")) for name in entry.split(", ")) and not SHAPE.search(piece):
            yield f"no shape for {entry}"
    gives_arrays = function.returns is not None and ARRAYS.search(ast.unparse(function.returns))
    if gives_arrays and not SHAPE.search(said.get("Returns", "")):
        yield "no shape of what it returns"
    if not said.get("Returns", "").strip():
        yield "no Returns"
    if _raises(function) and not said.get("Raises", "").strip():
        yield "no Raises"
    numbers = [int(number) for number in re.findall(r"(?m)^\.\. \[(\d+)\] \S", said.get("References", ""))]
    if numbers != [*range(1, len(numbers) + 1)]:
        yield f"References are numbered {numbers}"
    if not numbers and (sourced or "References" in said):
        yield "no numbered References"


def _texts() -> dict[str, str]:
    """Return the text of every module of the rooms by its path."""
    rooms = [ROOT / room for room in ROOMS]
    paths = [path for room in rooms for path in ([room] if room.is_file() else sorted(room.rglob("*.py")))]
    return {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in paths}


def test_every_public_formula_says_what_it_takes_gives_and_rests_on() -> None:
    texts = _texts()
    assert sum(1 for text in texts.values() for _ in _functions(ast.parse(text))) > 180  # they were looked at
    lacks = {path: lacking(text, NO_FORMULA.get(path, ())) for path, text in texts.items()}
    assert {path: lack for path, lack in lacks.items() if lack} == {}


def test_what_is_excused_from_a_source_is_there_and_gives_none() -> None:
    texts = _texts()
    for path, names in NO_FORMULA.items():
        functions = {name: function for name, function, top in _functions(ast.parse(texts[path])) if top}
        assert names <= set(functions), path
        assert [name for name in names if ".. [1]" in (ast.get_docstring(functions[name]) or "")] == []


WHOLE = '''def drag_n(area_m2: Values, speed_m_s: Values) -> np.ndarray:
    """Return the drag.

    Parameters
    ----------
    area_m2 : [m²] any shape
    speed_m_s : [m/s] any shape

    Returns
    -------
    [N], of the broadcast shape.

    Raises
    ------
    ValueError
        Below 0.

    References
    ----------
    .. [1] Definition.
    """
    if speed_m_s < 0:
        raise ValueError
'''


def test_a_whole_docstring_lacks_nothing() -> None:
    assert lacking(WHOLE) == []


@pytest.mark.parametrize(
    ("part", "instead", "lack"),
    [
        ("area_m2 : [m²] any shape\n    ", "", "Parameters are"),
        ("area_m2 : ", "surface_m2 : ", "Parameters are"),
        ("[m/s] ", "", "no [unit] for speed_m_s"),
        ("[m/s] any shape", "[m/s]", "no shape for speed_m_s"),
        ("[N], of the broadcast shape.", "[N].", "no shape of what it returns"),
        ("[N], of the broadcast shape.", "", "no Returns"),
        ("    Raises\n    ------\n    ValueError\n        Below 0.\n", "", "no Raises"),
        (".. [1]", ".. [2]", "References are numbered [2]"),
        (".. [1] Definition.", "Definition.", "no numbered References"),
    ],
)
def test_each_lack_is_seen(part: str, instead: str, lack: str) -> None:
    assert part in WHOLE
    assert any(lack in line for line in lacking(WHOLE.replace(part, instead)))
