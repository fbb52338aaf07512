"""What is printed on a terminal of 80 columns and on one of 40: nothing cut, no column dropped, no line beyond."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests_support import computed_once

from energy.cli import group

VAN = "van_water_tank"
CASES = [
    *([*words, f"{VAN}/scenario.toml"] for words in (["answer"], ["match"], ["heat"], ["payback"], ["curves"])),
    *(["answer", f"{name}/scenario.toml", "--full"] for name in (VAN, "van_in_town", "parked_on_a_ridge")),
    ["loads", f"{VAN}/scenario.toml"],
    *(["loads", f"{VAN}/scenario.toml", f"--{part}"] for part in ("full", "ladder", "electrical", "pitch-system")),
    *(["loads", f"{VAN}/scenario.toml", f"--{part}"] for part in ("bearing", "root")),
    ["tune", f"{VAN}/scenario.toml", f"{VAN}/sweep.csv"],
    ["truepitch", f"{VAN}/scenario.toml", f"{VAN}/measured.csv"],
    ["shortfall", f"{VAN}/scenario.toml", f"{VAN}/measured.csv"],
    ["keys"],
    ["compare", "road_test/runs.toml", "--scenario", f"{VAN}/scenario.toml"],
    ["compare", "road_test/runs.toml", "--units", "us"],
    ["read", "road_test/2026-05-02_081000_working.csv"],
    ["plan", "--effect", "4 %", "--length", "15 km"],
    ["match", "pickup_drying_box/scenario.toml", "--units", "us"],
    ["size", "--heat", "2 kW", "--speed", "65 mph"],
]


@pytest.fixture(scope="module", autouse=True)
def _both_widths_of_one_answer(few_draws: None) -> Iterator[None]:
    """Compute for the one width what is printed to the other as well."""
    from energy.chain.answer import answered
    from energy.chain.heating import heating
    from energy.chain.matching import match
    from energy.chain.payback import payback
    from energy.chain.rotor_choice import compare_rotors
    from energy.diagnosis.shortfall import shortfall
    from energy.diagnosis.true_pitch import true_pitch_of_file
    from energy.diagnosis.tuning import tuned_of_file
    from energy.strength.table import structural_loads
    from vehicle.road_test.read import windows_of_runs

    measured = (shortfall, true_pitch_of_file, tuned_of_file, windows_of_runs)
    once = computed_once(answered, compare_rotors, heating, match, payback, structural_loads, *measured)
    with once:
        yield


_NO_MACHINE = ("keys", "read", "plan")  # they answer nothing about a machine


@pytest.mark.parametrize("width", [80, 40])
@pytest.mark.parametrize("words", CASES, ids=" ".join)
def test_nothing_is_cut(demos: Path, words: list[str], width: int) -> None:
    arguments = [str(demos / word) if word.endswith((".toml", ".csv")) else word for word in words]
    result = CliRunner().invoke(group(), arguments, env={"COLUMNS": str(width)})
    assert result.exit_code in (0, 3), result.output
    lines = result.stdout.splitlines()
    if words[0] not in _NO_MACHINE and "--ladder" not in words:
        head = " ".join(" ".join(lines[:14]).split())
        assert re.search(r"May it be operated like this\? (No\.|No, not in that wind\. |Not checked yet)", head)
    assert lines
    assert [line for line in lines if re.search(r"…(?! [+−])", line)] == []  # "1 … 2" is a range
    assert not [line for line in lines if line.strip() == "quantity"]  # a row without a name of its own has none
    # A command to copy stays on one line, and a path has no place to break.
    assert [line for line in lines if len(line.rstrip()) > width and not re.search(r"windtoll |/", line)] == []
