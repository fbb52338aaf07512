"""The checks that `windtoll evidence` shows: the numbers of the tests against the outside, and they can fail."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from tests_support import of_study, run

from energy.chain import evidence as chain
from energy.chain.evidence import Check, evidence
from energy.pictures.evidence import evidence_picture
from energy.scenario.demos import published_folder
from energy.words.evidence import NOT_FOUND, as_data, check_words, sentence
from energy.words.schema import schema_of


@pytest.fixture(scope="module")
def checks() -> dict[str, Check]:
    shares: list[float] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "_SPLITS", of_study(100, chain._SPLITS))
        found = evidence(shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1
    return {check.key: check for check in found}


def test_the_road_test_raises_few_false_alarms_and_finds_what_is_there(checks: dict[str, Check]) -> None:
    figures = checks["road_test"].figures
    assert figures["false_alarms"] <= 0.07
    # Both are found in the same orders, so their scatter cancels: the rest scatters by 0.01 points.
    none, three = figures["mean_effect_where_there_is_none"], figures["mean_effect_where_it_is_3_percent"]
    assert (1 + three) / (1 + none) - 1 == pytest.approx(0.03, abs=0.0004)
    # the mean of that many orders scatters by their own scatter over the root of their number
    assert abs(none) < 2 * float(np.std(checks["road_test"].y)) / np.sqrt(figures["splits"])
    assert 0.92 <= figures["coverage_of_3_percent"] <= 0.99
    road = checks["road_test"]
    assert np.mean((road.low > 0) | (road.high < 0)) == figures["false_alarms"]
    assert np.mean(road.group == "false alarm") == figures["false_alarms"]


def test_closed_forms_and_tables(checks: dict[str, Check]) -> None:
    assert checks["warm_up"].figures["greatest_error_k"] < 1e-6
    assert checks["air"].figures["greatest_error"] < 1e-3
    warm = checks["warm_up"]
    # 5000 J/K over 4 W/K: a time constant of 1250 s.
    assert warm.figures["time_constants"] == pytest.approx(warm.x.max() / 1250)
    assert check_words(warm).error == "Largest difference over 4 time constants: below a millionth of a kelvin."
    off = replace(warm, figures={"greatest_error_k": 0.02, "time_constants": 5.0})
    assert check_words(off).error == "Largest difference over 5 time constants: 0.02 K."


def test_what_was_never_measured_is_not_called_measured() -> None:
    """No check holds the heater to a measurement, so the sentence on all of them must not say so."""
    assert "heater to a closed form only" in NOT_FOUND
    assert "rotor and engine are each held to what was measured" in NOT_FOUND


def _percent(share: float) -> str:
    """Return a share in percent with its sign."""
    return f"{100 * share:+.1f} %".replace("-", "−")


def test_the_rotor_where_it_is_right_and_where_it_is_wrong(checks: dict[str, Check]) -> None:
    figures = checks["rotor"].figures
    # Measured means of the wind-tunnel rotor (tests/data/two_blade_rotor): attached at 7 m/s, deep stall at 15 m/s.
    assert abs(figures["power_error_at_7_m_s"]) < 0.10
    assert abs(figures["thrust_error_at_7_m_s"]) < 0.10
    words = check_words(checks["rotor"])
    assert words.error.count(_percent(figures["power_error_at_15_m_s"])) == 1
    # Not the one polar that happens to fit: the others of the same section miss the power in deep stall by a third up.
    lowest, highest = (figures[f"{end}_power_error_at_15_m_s_with_other_polars"] for end in ("lowest", "highest"))
    assert -0.6 < lowest < highest < -0.3
    polars = f"{_percent(lowest).removesuffix(' %')} to "
    assert f"in deep stall {polars}" in words.finding
    assert f"and by {polars}" in sentence(list(checks.values()))


def test_a_wrong_engine_shows(monkeypatch: pytest.MonkeyPatch, checks: dict[str, Check]) -> None:
    from energy.chain import certified

    engine = certified.default_engine

    def worse(*args: object) -> object:
        found = engine(*args)  # type: ignore[arg-type]
        return replace(found, indicated_efficiency=found.indicated_efficiency * 0.9)

    monkeypatch.setattr(certified, "default_engine", worse)
    (vehicles,) = chain._vehicles(published_folder(), None)
    assert abs(checks["vehicles"].figures["petrol_error_50"]) < 0.04
    assert vehicles.figures["petrol_error_50"] > 0.09
    assert vehicles.figures["petrol_measured_over_predicted_change"] < 0.93


def test_every_check_has_its_picture_words_and_data(checks: dict[str, Check]) -> None:
    data = as_data(list(checks.values()))
    for check, row in zip(checks.values(), data["checks"], strict=True):
        picture = evidence_picture(check)
        assert len(picture.table) == len(check.x)
        assert picture.svg().startswith(b"<svg")
        words = check_words(check)
        assert row["error"] == words.error
        assert words.source
        assert words.not_covered
        assert (Path(published_folder()) / "certified_fuel" / "SOURCE.md").is_file()
    assert data["not_found"] == NOT_FOUND


def test_the_command(checks: dict[str, Check], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Random splits of real drives and thousands of vehicles take most of the time: the command takes the fixture's, and
    # works out the rest.
    monkeypatch.setattr(chain, "_road_test", lambda folder, progress: checks["road_test"])
    monkeypatch.setattr(chain, "_vehicles", lambda folder, progress: (checks["vehicles"],))
    done = run("evidence", "--json", "--picture", str(tmp_path / "checks.svg"))
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    jsonschema.validate(data, schema_of("evidence"))
    assert {row["key"] for row in data["checks"]} == set(checks)
    for row in data["checks"]:
        assert row["figures"] == pytest.approx(checks[row["key"]].figures, abs=1e-9)
    assert {path.name for path in tmp_path.iterdir()} == {f"checks_{key}.svg" for key in checks}
    # The numbers were computed by the command above; its text is made of the same, not computed a third time.
    monkeypatch.setattr(chain, "evidence", lambda progress: [*checks.values()])
    shown = " ".join(run("evidence").stdout.split())
    assert sentence(list(checks.values())) in shown
    assert NOT_FOUND in shown
    wrong = run("evidence", "--picture", str(tmp_path / "checks.doc"))
    assert wrong.returncode == 2
    assert "checks.doc" in wrong.stderr
