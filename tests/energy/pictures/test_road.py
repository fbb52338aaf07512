"""The picture of a road test shows the comparison's own numbers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.chain.prediction import Prediction
from energy.chain.road_test import RoadTest, road_test
from energy.pictures.road import effect_picture
from energy.words.road_test import run_rows
from vehicle.road_test.comparison import compare
from vehicle.road_test.run_list import read_manifest

FIFTEEN = Prediction(0.15, 0.1)


@pytest.fixture(scope="module")
def told(demos: Path) -> RoadTest:
    return road_test(read_manifest(demos / "road_test" / "runs.toml"), predict=lambda _with, _without: FIFTEEN)


def test_effect_prediction_and_runs_are_the_comparisons(told: RoadTest) -> None:
    picture = effect_picture(told)
    assert picture.title == told.answer.words
    table = picture.table
    measured, predicted = table.iloc[0], table.iloc[1]
    effect = told.answer.effect
    assert list(measured[["change of fuel, %", "lowest, %", "highest, %"]]) == pytest.approx(
        [100 * effect.estimate, 100 * effect.low, 100 * effect.high]
    )
    assert list(predicted[["change of fuel, %", "lowest, %", "highest, %"]]) == pytest.approx([15, 5, 25])
    runs = table[table["run"].notna()]
    changes = {change.name: change for change in told.answer.changes}
    assert set(runs["run"]) == set(changes)
    for _, row in runs.iterrows():
        change = changes[row["run"]]
        assert row["change of fuel, %"] == pytest.approx(100 * change.adjusted)
        assert (row["is"], row["row"]) == (change.state, f"pair {change.pair}, {change.direction}")
    lengths = [
        float(
            pair[pair["is"] == "working"]["change of fuel, %"].iloc[0]
            - pair[pair["is"] == "stowed"]["change of fuel, %"].iloc[0]
        )
        for _, pair in runs.groupby("row")
    ]
    assert np.mean(lengths) == pytest.approx(100 * effect.estimate, abs=0.1)
    assert [row[5] for row in run_rows(told)] == [f"{100 * c.adjusted:+.1f} %" for c in told.answer.changes]
    svg = picture.svg()
    for words in (b"measured", b"predicted", b"pair 6, south", b"mean stowed"):
        assert words in svg


def test_two_groups_without_a_prediction_and_runs_too_few(told: RoadTest) -> None:
    groups = compare([replace(run, pair="") for run in told.answer.runs])
    table = effect_picture(replace(told, answer=groups, predicted=None)).table
    assert table["row"].iloc[0] == "measured"
    assert "predicted" not in set(table["is"])
    assert set(table["row"][1:]) == {run.name for run in groups.runs}
    two = compare([run for run in told.answer.runs if run.pair == "1"])
    picture = effect_picture(replace(told, answer=two, predicted=None))
    assert picture.table["lowest, %"].isna().all()
    assert picture.png().startswith(b"\x89PNG")
