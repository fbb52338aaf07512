"""Coast-downs that were braked, driven one way or unlike each other: named, cut or refused, never fitted unsaid."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from energy.commands import fit
from tests.vehicle import rolling_out
from vehicle.driving.coastdown import CoastDown, fit_coastdown
from vehicle.logs.coast_runs import coast_runs
from vehicle.logs.read import read_log
from vehicle.problems import InputError


def fitted(path: Path, brake: rolling_out.Brake = rolling_out.no_brake, **more) -> CoastDown:
    log = read_log(rolling_out.write(path / "coast.csv", brake, **more))
    return fit_coastdown(coast_runs(log), rolling_out.MASS_KG)


def off(found: CoastDown) -> float:
    """Return by what share the force is off at the middle speed."""
    v = found.speeds_m_s[2]
    truth = rolling_out.A_N + rolling_out.B_N_S_M * v + rolling_out.C_N_S2_M2 * v * v
    return found.force_n[2].estimate / truth - 1


@pytest.mark.parametrize("step_s", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("gusts_m_s", [0.3, 1.0])
def test_undisturbed_runs_are_left_alone(tmp_path, step_s, gusts_m_s):
    found = fitted(tmp_path, step_s=step_s, gusts_m_s=gusts_m_s, seed=5)
    assert (found.remarks, found.runs, found.unusable) == ((), 8, "")
    assert off(found) == pytest.approx(0, abs=0.012)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(
    ("brake", "said"),
    [
        (lambda n, s, v: 150 if n == 3 else 0, "left out"),  # a tenth of the weight of a light foot, all along
        (lambda n, s, v: 200 if n == 3 and s > 20 else 0, "left out"),
        (lambda n, s, v: 1200 if n == 3 and v < 15 else 0, "braking cut"),
        (lambda n, s, v: 1500 if n == 3 and 15 < s < 21 else 0, "hard braking"),
    ],
)
def test_the_one_braked_run_of_eight_is_named(tmp_path, seed, brake, said):
    found = fitted(tmp_path, brake, seed=seed)
    (remark,) = found.remarks
    assert remark.startswith("coast.csv #4")
    assert said in remark
    assert off(found) == pytest.approx(0, abs=0.012)
    assert abs(found.head_wind_m_s) < 3


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("newton", [200, 400, 700])
def test_gentle_braking_after_every_run_is_no_road_load(tmp_path, seed, newton):
    found = fitted(tmp_path, lambda n, s, v: newton if v < 12 + newton / 175 else 0, seed=seed)
    assert len(found.remarks) == 8
    assert all("braking cut" in remark for remark in found.remarks)
    assert min(run.speed_m_s.min() for run in found.used) > 0.9 * (12 + newton / 175)
    assert off(found) == pytest.approx(0, abs=0.012)
    assert found.head_wind_m_s == pytest.approx(1.5, abs=3)


def test_a_tap_in_the_middle_is_cut_out(tmp_path):
    found = fitted(tmp_path, lambda n, s, v: 600 if n in (1, 4) and 20 < s < 24 else 0)
    assert [remark.split(" (")[0] for remark in found.remarks] == ["coast.csv #2", "coast.csv #5"]
    assert off(found) == pytest.approx(0, abs=0.012)


def test_one_direction_is_refused_however_it_is_said(tmp_path):
    with pytest.raises(InputError, match="one direction cannot part wind and grade"):
        fitted(tmp_path, one_way=True)
    log = read_log(rolling_out.write(tmp_path / "coast.csv", one_way=True))
    with pytest.raises(InputError, match="8 one way and 0 the other; one direction cannot part"):
        fit_coastdown(coast_runs(log, [1] * 8), rolling_out.MASS_KG)
    said = fit_coastdown(coast_runs(log, [1, -1] * 4), rolling_out.MASS_KG)  # what a driver says is taken
    assert not any(run.assumed for run in said.used)


def test_the_command_names_what_it_left_out_first(tmp_path):
    path = rolling_out.write(tmp_path / "coast.csv", lambda n, s, v: 150 if n == 3 else 0)
    result = CliRunner().invoke(fit.command, ["coastdown", str(path), "--mass", "1400 kg"])
    assert result.exit_code == 0, result.output
    assert "coast.csv #4" in result.output.splitlines()[0]
    assert "slow differently every second time" in " ".join(result.output.split())


def test_coefficients_that_no_vehicle_has_are_no_scenario(tmp_path):
    path = rolling_out.write(tmp_path / "coast.csv", wind_m_s=11.0, gusts_m_s=0.1)
    result = CliRunner().invoke(fit.command, ["coastdown", str(path), "--mass", "1400 kg"])
    assert result.output.startswith("Do not use these coefficients: the runs fit only with a wind of")
    assert "[vehicle]" not in result.output


def test_a_run_that_was_pushed_is_said_to_slow_by_less(tmp_path):
    found = fitted(tmp_path, lambda n, s, v: -150 if n == 3 else 0, seed=1)
    (remark,) = found.remarks
    assert "coast.csv #4" in remark
    assert "less than the other runs of its direction" in remark
