"""The house stands: arrows point down only, no room knows another's private names, python-obd stays in its one module.

Own rules of the project, no source. The import graph is drawn from the text with `ast`, so imports inside functions
count;
those under `if TYPE_CHECKING:` are no arrows at run time and are let pass.
"""

from __future__ import annotations

import ast
import functools
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[1]

# From the top floor down. A room imports its own floor's own room and lower floors, never a higher floor or a
# neighbour.
FLOORS: tuple[tuple[str, ...], ...] = (
    ("app",),
    ("energy.cli",),
    ("energy.screens", "energy.commands"),
    ("energy.pages",),
    ("energy.pictures",),
    ("energy.words",),
    ("energy.diagnosis", "energy.strength"),
    ("energy.chain",),
    ("energy.uncertainty",),
    ("energy.scenario",),
    ("energy.heat", "energy.aero"),
    ("energy.electrical",),
    ("energy.progress",),
    ("vehicle.road_test",),
    ("vehicle.recording",),
    ("vehicle.logs",),
    ("vehicle.driving",),
    ("vehicle",),
)
# Neighbours on one floor that one of the two may look into.
BESIDE = {("energy.diagnosis", "energy.strength")}
ADAPTER = "vehicle.recording.adapter"


class Arrow(NamedTuple):
    """One import: the module that imports, the module that is imported, the names taken from it, and the line."""

    start: str
    end: str
    names: tuple[str, ...]
    line: int


def _modules() -> dict[str, Path]:
    """Return every module of the product by its dotted name."""
    paths = [ROOT / "app.py", *(p for room in ("energy", "vehicle") for p in sorted((ROOT / room).rglob("*.py")))]
    names = {}
    for path in paths:
        parts = path.relative_to(ROOT).with_suffix("").parts
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return names


MODULES = _modules()


@functools.cache
def _trees() -> dict[str, tuple[ast.Module, tuple[ast.AST, ...]]]:
    """Return the tree of every module, and all that stands in it: read and walked once for all tests."""
    trees = {module: ast.parse(path.read_text(encoding="utf-8")) for module, path in MODULES.items()}
    return {module: (tree, tuple(ast.walk(tree))) for module, tree in trees.items()}


def _statements(tree: ast.Module) -> Iterator[ast.AST]:
    """Return all statements of a module, but not what stands under `if TYPE_CHECKING:`."""
    left: list[ast.AST] = [tree]
    while left:
        node = left.pop()
        yield node
        types_alone = isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
        below = node.orelse if isinstance(node, ast.If) and types_alone else ast.iter_child_nodes(node)
        left += [child for child in below if isinstance(child, ast.stmt | ast.excepthandler | ast.match_case)]


def arrows_of(module: str, tree: ast.Module) -> list[Arrow]:
    """Return the imports in a module; `from package import module` is an arrow to the module."""
    arrows = []
    for node in _statements(tree):
        if isinstance(node, ast.Import):
            arrows += [Arrow(module, alias.name, (), node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module} imports by a relative path"
            source = node.module or ""
            inside = [alias.name for alias in node.names if f"{source}.{alias.name}" in MODULES]
            arrows += [Arrow(module, f"{source}.{name}", (), node.lineno) for name in inside]
            names = tuple(alias.name for alias in node.names if alias.name not in inside)
            if names:
                arrows.append(Arrow(module, source, names, node.lineno))
    return arrows


@pytest.fixture(scope="module")
def arrows() -> list[Arrow]:
    return [arrow for name, (tree, _) in _trees().items() for arrow in arrows_of(name, tree)]


def room_of(module: str) -> str:
    """Return the room that a module stands in: the longest name of a floor that it begins with."""
    rooms = [room for floor in FLOORS for room in floor if module == room or module.startswith(f"{room}.")]
    assert rooms, f"{module} stands in no room of the house"
    return max(rooms, key=len)


def points_down(start: str, end: str) -> bool:
    """Return whether an arrow between two modules stays in its room or goes to a lower floor."""
    one, other = room_of(start), room_of(end)
    floor = {room: k for k, rooms in enumerate(FLOORS) for room in rooms}
    return one == other or (one, other) in BESIDE or floor[one] < floor[other]


def _told(arrow: Arrow) -> str:
    names = f" ({', '.join(arrow.names)})" if arrow.names else ""
    return f"{arrow.start}:{arrow.line} imports {arrow.end}{names}"


def test_every_arrow_points_down(arrows: list[Arrow]) -> None:
    ours = [arrow for arrow in arrows if arrow.end in MODULES and arrow.end not in ("energy", "vehicle")]
    assert len(ours) > 300  # the graph was drawn
    assert [_told(arrow) for arrow in ours if not points_down(arrow.start, arrow.end)] == []


def test_no_circle_of_modules(arrows: list[Arrow]) -> None:
    """A circle may hide inside one room, or between two rooms on the same floor."""
    below: dict[str, set[str]] = {name: set() for name in MODULES}
    for arrow in arrows:
        if arrow.end in MODULES:
            below[arrow.start].add(arrow.end)
    done: set[str] = set()

    def look(module: str, way: tuple[str, ...]) -> None:
        assert module not in way, " -> ".join((*way[way.index(module) :], module))
        if module in done:
            return
        for next_ in sorted(below[module]):
            look(next_, (*way, module))
        done.add(module)

    for module in MODULES:
        look(module, ())


def test_no_private_name_crosses_a_module(arrows: list[Arrow]) -> None:
    private = [
        arrow
        for arrow in arrows
        if arrow.end in MODULES and any(name.startswith("_") for name in (*arrow.names, arrow.end.rpartition(".")[2]))
    ]
    assert [_told(arrow) for arrow in private] == []


def test_only_the_adapter_imports_python_obd(arrows: list[Arrow]) -> None:
    users = {arrow.start for arrow in arrows if arrow.end.partition(".")[0] == "obd"}
    assert users == {ADAPTER}


def test_no_private_attribute_of_another_module_is_used() -> None:
    """`module._name` reaches past a module's door as `from module import _name` does."""
    reached = []
    for module, (_, nodes) in _trees().items():
        imported = {
            alias.asname or alias.name
            for node in nodes
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
            if f"{node.module}.{alias.name}" in MODULES
        }
        reached += [
            f"{module}:{node.lineno} uses {node.value.id}.{node.attr}"
            for node in nodes
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id in imported
            and node.attr.startswith("_")
            and not node.attr.startswith("__")
        ]
    assert reached == []


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("vehicle.units", "from energy.scenario.read import load"),
        ("energy.chain.ledger", "def f():\n    from energy.words import answer"),
        ("energy.screens.fuel", "import energy.commands.plan"),
        ("energy.commands.app", "from energy.screens import desk"),
        ("energy.aero.curves", "from energy.heat.heater import Heater"),
    ],
)
def test_an_arrow_upward_or_sideways_is_seen(module: str, text: str) -> None:
    (arrow,) = arrows_of(module, ast.parse(text))
    assert not points_down(arrow.start, arrow.end)


def test_what_is_imported_for_types_alone_is_no_arrow() -> None:
    text = "if TYPE_CHECKING:\n    from energy.words import answer\nelse:\n    import energy.chain.ledger"
    assert [arrow.end for arrow in arrows_of("vehicle.units", ast.parse(text))] == ["energy.chain.ledger"]


# Shapes: own choice, no source.
MOST_LINES, MOST_PARAMETERS = 60, 7
SAYS_NOTHING = {"told", "found", "_told", "_found"}


def _functions(nodes: Iterable[ast.AST]) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    return (node for node in nodes if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def too_long(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Return whether a function has more lines than allowed, its docstring not counted."""
    first, last = function.body[0], function.end_lineno or 0
    lines = last - function.lineno + 1
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
        lines -= (first.end_lineno or 0) - first.lineno + 1
    return lines > MOST_LINES


def parameters_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return how many parameters a function takes, itself not counted."""
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return sum(argument.arg not in ("self", "cls") for argument in arguments)


def vague_names(nodes: Collection[ast.AST]) -> set[str]:
    """Return names given to things that could be the name of anything."""
    names = {node.id for node in nodes if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    names |= {node.arg for node in nodes if isinstance(node, ast.arg)}
    names |= {function.name for function in _functions(nodes)}
    return names & SAYS_NOTHING


def test_functions_are_short_and_take_few_parameters() -> None:
    functions = [(module, function) for module, (_, nodes) in _trees().items() for function in _functions(nodes)]
    assert len(functions) > 2000  # they were looked at
    assert [f"{module}.{function.name}" for module, function in functions if too_long(function)] == []
    many = [f"{module}.{function.name}" for module, function in functions if parameters_of(function) > MOST_PARAMETERS]
    assert many == []


def test_a_class_name_has_one_meaning() -> None:
    names = [node.name for _, nodes in _trees().values() for node in nodes if isinstance(node, ast.ClassDef)]
    assert not {name for name in names if names.count(name) > 1}


def test_names_say_what_they_hold() -> None:
    assert {module: names for module, (_, nodes) in _trees().items() if (names := vague_names(nodes))} == {}


def test_the_formatter_decides_everywhere() -> None:
    paths = [*MODULES.values(), *sorted((ROOT / "tests").rglob("*.py"))]
    marks = tuple(f"fmt: {word}" for word in ("skip", "off"))
    assert [path.name for path in paths if any(mark in path.read_text(encoding="utf-8") for mark in marks)] == []


def test_a_function_out_of_shape_is_seen() -> None:
    lines = "\n".join("    pass" for _ in range(MOST_LINES))
    (long,) = _functions(ast.walk(ast.parse(f"def f():\n{lines}")))
    (short,) = _functions(ast.walk(ast.parse(f'def f():\n    """Say\n\n    more."""\n{lines[9:]}')))
    assert (too_long(long), too_long(short)) == (True, False)
    (method,) = _functions(ast.walk(ast.parse("class A:\n    def f(self, a, /, b, c, *, d): ...")))
    assert parameters_of(method) == 4
    assert vague_names(list(ast.walk(ast.parse("def f(told):\n    found = told.found")))) == {"told", "found"}
