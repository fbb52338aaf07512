"""The one source of fuel of all logs of a road test, and what is said where there is none."""

from __future__ import annotations

from pathlib import Path

import pytest

from vehicle.logs.fuel_flow import LoggedEngine
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.problems import InputError
from vehicle.road_test.sources import common_source

CAR = LoggedEngine(1.5e-3)


def log_of(folder: Path, name: str, header: str, row: str) -> Log:
    path = folder / f"{name}.csv"
    path.write_text(f"time,speed,{header}\n" + "".join(f"{t},{80 + t % 5},{row}\n" for t in range(60)))
    return read_log(path)


def test_only_the_logs_without_fuel_are_named(tmp_path: Path) -> None:
    whole = log_of(tmp_path, "whole", "rpm,fuel rate", "2000,4.2")
    bare = [log_of(tmp_path, name, "rpm", "2000") for name in ("bare", "other", "third")]
    with pytest.raises(InputError) as raised:
        common_source([whole, *bare], CAR)
    (problem,) = raised.value.problems
    assert problem.where == "bare.csv and 2 more"
    with pytest.raises(InputError) as raised:
        common_source([whole, bare[0]], CAR)
    assert [one.where for one in raised.value.problems] == ["bare.csv"]


def test_logs_that_each_have_another_source_share_none(tmp_path: Path) -> None:
    rate = log_of(tmp_path, "rate", "rpm,fuel rate", "2000,4.2")
    air = log_of(tmp_path, "air", "rpm,maf", "2000,12")
    with pytest.raises(InputError, match="the logs share no source of fuel"):
        common_source([rate, air], CAR)
