"""What the tests share: the demo scenarios, and scenarios made by changing one."""

from __future__ import annotations

import contextlib
import functools
import gc
import json
import os
import re
import shutil
import sys
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

# Before numpy is loaded, here and in every process that a test starts: the threads of linear algebra wait for each
# other in a busy loop: four workers on two cores took ten times as long for 120 rows, twenty times for 200 (measured).
for _library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# What is unforeseen fails a test as a traceback: no last resort.
os.environ.setdefault("WINDTOLL_TRACEBACK", "1")

from energy.chain.load import load
from energy.scenario.read import Scenario

if TYPE_CHECKING:
    from energy.uncertainty.propagate import Sampling

ROOT = Path(__file__).resolve().parent.parent

settings.register_profile(
    "windtoll", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("windtoll")


# What takes longest begins first: none of it is left for one worker while the others have nothing to do any more.
LONGEST_FIRST = (
    "browser",
    "vehicle/recording/test_cars_and_adapters.py",
    "energy/commands/test_any_input.py",
    "energy/commands/test_road_test_study.py",
    "energy/diagnosis/test_shortfall.py",
    "vehicle/recording",
    "energy/words/test_schema.py",
    "energy/screens",
    "energy/commands",
    "energy/diagnosis",
    "energy/chain/test_evidence.py",
    "energy/strength/test_worst_of_ranges.py",
    "vehicle/logs/test_read.py",
    "energy/heat/test_heater.py",
)


def pytest_xdist_auto_num_workers() -> int | None:
    """Return two workers more than there are cores: two drive browsers, and those and the recorder's often wait.

    None leaves it to the variable by which pytest-xdist lets itself be told.
    """
    return None if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ else (os.cpu_count() or 1) + 2


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Keep together on one worker what shares something costly: a file's own fixtures; a browser and an app.

    By the places of the tests, not by marks: pytest 9.2 drops the group that pytest-xdist 3.8 writes into their names.
    """
    from xdist.scheduler import LoadScopeScheduling

    class ByPlace(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            if "browser" not in Path(file).parts[:-1]:
                return file
            # Two apps and two browsers: where one waits, the other works. On one worker they take longest of all.
            return "screens in a browser" if Path(file).name == "test_app_in_a_browser.py" else "browser"

    return ByPlace(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what takes longest first."""
    ranks = {}
    for item in items:
        place = item.path.relative_to(ROOT / "tests")
        within = (place.as_posix(), *(parent.as_posix() for parent in place.parents))
        ranks[item] = next((k for k, name in enumerate(LONGEST_FIRST) if name in within), len(LONGEST_FIRST))
    items.sort(key=ranks.__getitem__)  # a sort keeps the sequence of equals


def pytest_collection_finish() -> None:
    """Look for garbage less often, and not among what is loaded by now and stays: thousands of modules and tests.

    Reading all sources as trees took four times as long otherwise, a twentieth of all else (measured).
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


@pytest.fixture(autouse=True)
def _own_works(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test sees the works of another one, or of the user."""
    monkeypatch.setenv("WINDTOLL_WORKS", str(tmp_path_factory.getbasetemp() / "works" / os.urandom(6).hex()))


@pytest.fixture(scope="session", autouse=True)
def _charts_that_are_saved_are_valid() -> Iterator[None]:
    """Whatever saves a chart: it is valid Vega-Lite. One of other numbers, or another title, is not looked at again."""
    from energy.pictures import base

    plain, seen = base.plain, set()

    def valid(chart: Any) -> dict[str, Any]:
        drawn = plain(chart)
        shape = json.dumps({key: part for key, part in drawn.items() if key not in ("datasets", "title")}, default=str)
        shape = re.sub(r"data-[0-9a-f]{32}", "data", shape)
        if shape not in seen:
            chart.to_dict(validate=True)
            seen.add(shape)
        return drawn

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(base, "plain", valid)
        yield


# What is tested there hangs on no number of draws: a sixteenth of them does.
FEWER_DRAWS = (
    "energy/words",
    "energy/screens",
    "energy/pages",
    "energy/pictures",
    "energy/commands",
    "energy/chain/test_begin.py",
    "energy/chain/test_matching.py",
    "energy/chain/test_payback.py",
    "energy/chain/test_stall.py",
    "energy/chain/test_trip_stall.py",
    "browser/test_report_in_a_browser.py",
    "browser/test_hostile_names.py",
)
ALL_DRAWS = ("energy/commands/test_commands.py",)  # holds answers of this process against those of one of its own


@pytest.fixture(scope="module", autouse=True)
def _fewer_draws(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let answers be drawn a sixteenth as often, at least 128 times, where the place of the tests says so."""
    place = request.path.relative_to(ROOT / "tests")
    if place.as_posix() in ALL_DRAWS or not any(p.as_posix() in FEWER_DRAWS for p in (place, *place.parents)):
        yield
        return
    with _drawn_less():
        yield


@pytest.fixture
def fewer_draws() -> Iterator[None]:
    """Do so for one test of a file whose others hang on the number."""
    with _drawn_less():
        yield


@contextlib.contextmanager
def _drawn_less() -> Iterator[None]:
    from energy.chain import draws

    propagate = draws.propagate

    def of_fewer(*inputs: Any, sampling: Sampling, **how: Any) -> Any:
        count, rows = max(sampling.draws // 16, 128), max(sampling.sensitivity_rows // 16, 32)
        return propagate(*inputs, sampling=replace(sampling, draws=count, sensitivity_rows=rows), **how)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(draws, "propagate", of_fewer)
        _shelf_of_its_own(patch)
        yield


@pytest.fixture(scope="module")
def few_draws() -> Iterator[None]:
    """Try few settings, and draw least of what has a number of draws of its own, for tests of words, and of what a
    screen shows and stores, whatever the figures; their places stand in `FEWER_DRAWS` as well.
    """
    from energy.chain import evidence, heating, matching, payback, stall, trip_stall
    from energy.diagnosis import reconcile, shortfall, tuning
    from energy.pictures import over_speed

    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(heating.heating.__kwdefaults__, "draws", 16)
        for module, name in ((payback, "_DRAWS"), (trip_stall, "_DRAWS"), (over_speed, "_BAND_DRAWS")):
            patch.setattr(module, name, 16)
        for module, count in ((stall, 64), (reconcile, 256), (tuning, 200), (shortfall, 64)):
            patch.setattr(module, "_DRAWS", count)
        fewest = {"later": ((3, 64),), "more": 64, "rounds": 1}
        patch.setattr(shortfall, "DrawsPlan", functools.partial(shortfall.DrawsPlan, **fewest))
        for name in ("_STEADY", "_TRIP"):
            patch.setattr(matching, name, matching._Effort((5, 6, 7), 5, 3))
        for number, value in (("_STARTS", 2), ("_LOOKS", 4)):
            patch.setattr(matching, number, value)
        patch.setattr(evidence, "_SPLITS", 20)
        _shelf_of_its_own(patch)
        yield


def _shelf_of_its_own(patch: pytest.MonkeyPatch) -> None:
    """Leave no answer of few draws to tests of the figures: the app keeps what it has computed."""
    if (waiting := sys.modules.get("energy.screens.waiting")) is not None:
        patch.setattr(waiting, "_SHELF", waiting.Shelf(waiting.MOST_BYTES))


@pytest.fixture(scope="session")
def demos() -> Path:
    return ROOT / "scenarios"


@pytest.fixture(scope="session")
def van(demos: Path) -> Scenario:
    return load(demos / "van_water_tank" / "scenario.toml")


@pytest.fixture(scope="session")
def pickup(demos: Path) -> Scenario:
    return load(demos / "pickup_drying_box" / "scenario.toml")


@pytest.fixture
def van_folder(demos: Path, tmp_path: Path) -> Path:
    """A copy of the van's folder, to be spoilt."""
    return Path(shutil.copytree(demos / "van_water_tank", tmp_path / "van"))


@pytest.fixture(scope="session")
def van_data(demos: Path) -> Callable[[], dict[str, object]]:
    text = (demos / "van_water_tank" / "scenario.toml").read_text(encoding="utf-8")
    return lambda: tomllib.loads(text)
