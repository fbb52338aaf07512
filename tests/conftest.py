"""What the tests share: the demo scenarios, and scenarios made by changing one."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from energy.chain.load import load
from energy.scenario.read import Scenario

ROOT = Path(__file__).resolve().parent.parent

settings.register_profile(
    "windtoll", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("windtoll")


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
