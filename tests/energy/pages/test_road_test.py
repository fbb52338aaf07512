"""The sceptic's page of a road test: whole, escaped, and checkable without windtoll."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from road_drives import Case, study

from energy.commands import compare
from energy.pages import road_test as pages

HOSTILE = "<script>alert(1)</script>"


def _written(folder: Path) -> Path:
    lines = ["# " + HOSTILE, '[engine]\nfuel = "petrol"\n']
    for number, drive in enumerate(study(Case(odd_run=True), 1).drives, 1):
        name = f"run_{number:02d}.csv"
        columns = drive.columns
        rows = zip(
            *(columns[key] for key in ("time_s", "speed_km_h", "engine_speed_rpm", "fuel_rate_l_h")), strict=True
        )
        text = "".join(",".join(f"{value:.6g}" for value in row) + "\n" for row in rows)
        (folder / name).write_text("time (s),vehicle speed (km/h),engine speed (rpm),fuel rate (L/h)\n" + text)
        lines.append(
            f'[[run]]\nfile = "{name}"\nstate = "{drive.state}"\npair = "{drive.pair} {HOSTILE}"\n'
            f'direction = "{drive.direction}"\n'
        )
    path = folder / "runs.toml"
    path.write_text("\n".join(lines))
    return path


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("road test")
    path, report = _written(folder), folder / "report.html"
    done = CliRunner().invoke(compare.command, [str(path), "--report", str(report)])
    assert done.exit_code == 0, done.output
    again = CliRunner().invoke(compare.command, [str(path), "--report", str(path), "--force"])
    assert again.exit_code != 0  # never an input
    return folder, report.read_text()


def test_every_run_every_filter_and_the_rule_are_there(page: tuple[Path, str]) -> None:
    _, text = page
    for number in range(1, 13):
        assert text.count(f"run_{number:02d}.csv") >= 3  # its row, its filters, its file
    for part in (
        "Costs fuel",
        "randomisation test",
        "mean speed is more than",
        "vehicle ahead",
        "Listed, and not compared",
    ):
        assert part in text
    assert "standing or under 7 km/h" in text


def test_raw_logs_are_attached_as_they_are(page: tuple[Path, str]) -> None:
    folder, text = page
    found = dict(re.findall(r'<a download="([^"]+)" href="data:application/octet-stream;base64,([^"]+)"', text))
    assert len(found) == 13
    for name, data in found.items():
        content = (folder / name).read_bytes()
        assert base64.b64decode(data) == content
        assert hashlib.sha256(content).hexdigest() in text


def test_nothing_of_the_user_becomes_markup(page: tuple[Path, str]) -> None:
    _, text = page
    assert HOSTILE not in text
    assert "<script" not in text
    assert "default-src 'none'" in text
    assert "http://" not in text.replace("http://www.w3.org", "")


def test_the_calculation_by_hand_is_that_of_the_pairs(page: tuple[Path, str]) -> None:
    _, text = page
    differences = [float(cell) for cell in re.findall(r"<td>([+-][\d.]+) %</td></tr>", text.split("Every run")[0])]
    stated = re.search(r"mean of the (\d+) differences ([+-][\d.]+) %, standard deviation ([\d.]+) %", text)
    assert stated is not None
    own = np.array(differences[-int(stated[1]) :]) if len(differences) >= int(stated[1]) else np.array(differences)
    assert float(stated[2]) == pytest.approx(own.mean(), abs=0.011)
    assert float(stated[3]) == pytest.approx(own.std(ddof=1), abs=0.011)


def test_large_logs_are_named_with_their_sum(page: tuple[Path, str], monkeypatch: pytest.MonkeyPatch) -> None:
    folder, _ = page
    monkeypatch.setattr(pages, "MOST_ATTACHED_BYTES", 2000)
    report = folder / "small.html"
    assert CliRunner().invoke(compare.command, [str(folder / "runs.toml"), "--report", str(report)]).exit_code == 0
    text = report.read_text()
    assert text.count("(not attached)") >= 12
    assert hashlib.sha256((folder / "run_03.csv").read_bytes()).hexdigest() in text
