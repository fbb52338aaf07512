"""Emulated cars that the tests of the recorder share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from recording_support import CRUISE, CarProcess


@pytest.fixture(scope="module")
def shared_car(tmp_path_factory: pytest.TempPathFactory) -> Iterator[CarProcess]:
    car = CarProcess(tmp_path_factory.mktemp("car") / "adapter")
    yield car
    car.kill()


@pytest.fixture
def car(shared_car: CarProcess) -> CarProcess:
    shared_car.tell(values=CRUISE, table=None, without=[], mute=[], fault=None)
    return shared_car


@pytest.fixture
def own_car(tmp_path: Path) -> Iterator[CarProcess]:
    car = CarProcess(tmp_path / "adapter")
    car.tell(values=CRUISE)
    yield car
    car.kill()
