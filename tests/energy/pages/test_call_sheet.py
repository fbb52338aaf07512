"""The call sheet without a browser: one file, nothing outside, planned settings twice through, faults told."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest
from tests_support import run

from energy.chain.load import load
from energy.diagnosis.stepping import stepping_plan
from energy.pages.call_sheet import as_html
from energy.words.call_sheet import as_data
from vehicle.problems import InputError


def test_nothing_is_loaded_and_only_the_pages_own_script_may_run(demos: Path) -> None:
    plan = stepping_plan(load(demos / "van_water_tank" / "scenario.toml"))
    page = as_html(as_data(plan, "A <b> van", ("watts",), "us"))
    assert not re.search(r"(src|href)=|url\(|@import|https?:", page)
    policy = re.search(r'Security-Policy" content="([^"]+)"', page).group(1)
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        body = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL).group(1)
        digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "<b>" not in page
    assert page.index("Passenger only.") < page.index('data-key="1"')


def test_settings_come_twice_in_another_order_never_the_same_in_a_row(demos: Path) -> None:
    scenario = load(demos / "van_water_tank" / "scenario.toml")
    for seed in range(40):
        plan = stepping_plan(scenario, "resistance", "6, 9 ohm, 12", seed=seed)
        assert sorted(plan.order) == [6, 6, 9, 9, 12, 12]
        assert all(a != b for a, b in zip(plan.order, plan.order[1:], strict=False))
    own = stepping_plan(scenario)
    assert own.kind == "pitch"
    assert min(own.order) < scenario.rotor.pitch.value < max(own.order)


@pytest.mark.parametrize(("typed", "word"), [("4", "2 to 30"), ("2, 2", "each once"), ("2, five", "numbers such as")])
def test_faults_of_settings_are_told(demos: Path, typed: str, word: str) -> None:
    with pytest.raises(InputError, match=word):
        stepping_plan(load(demos / "van_water_tank" / "scenario.toml"), "pitch", typed)


def test_the_command_writes_the_page_once_and_says_what_reads_its_file(demos: Path, tmp_path: Path) -> None:
    scenario, out = str(demos / "van_water_tank" / "scenario.toml"), tmp_path / "page.html"
    done = run("callsheet", scenario, "--out", str(out), "--ask", "temperature", "--units", "us", "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert [one["column"] for one in data["fields"]] == ["electrical_power_w", "temperature_degf"]
    assert "fit load" in " ".join(data["next"])
    assert "Passenger only." in out.read_text()
    again = run("callsheet", scenario, "--out", str(out))
    assert again.returncode == 2
    assert "--overwrite" in again.stderr
