"""Random settings of every key through the commands, by hand: `PYTHONPATH=tests python
tests/benchmarks/any_input.py 100000 [FOLDER]`.

The cases come in shards of a fixed seed each, `shard_0000.txt` and so on in FOLDER, which hold what came of them. Who
begins again with the same folder goes on behind the last whole shard. Every fault is told with the command that shows
it. What was ever found stands in tests/data/any_input.json, which the tests run again; add to it what is new.

The CSV files of the demos are read once: they are the same in every case. Their arrays are locked, so that whatever
would write into one fails.
"""

from __future__ import annotations

import collections
import re
import sys
import tempfile
import traceback
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from scenario_fuzz import Case, answer_of, cases, read_once

from energy.scenario import read

COMMANDS = [("answer", "--exact")] * 12 + [("loads",)] * 4 + [("check",)] * 4 + [("heat",), ("answer",)]

_SHARD = 100  # cases


def main(examples: int, folder: Path) -> None:
    """Run that many random cases and print what came of them."""
    folder.mkdir(parents=True, exist_ok=True)
    read_once(lambda name, reader: setattr(read, name, reader))
    counts: collections.Counter[str] = collections.Counter()
    faults: list[str] = []
    for number in range(-(-examples // _SHARD)):
        notes = folder / f"shard_{number:04}.txt"
        if not notes.exists():
            found, told = shard(number)
            lines = [*(f"{count} {outcome}" for outcome, count in sorted(found.items())), *told]
            notes.write_text("\n".join(lines) + "\n", encoding="utf-8")
        for line in notes.read_text(encoding="utf-8").splitlines():
            counted = re.fullmatch(r"(\d+) (\w+ \w+)", line)
            if counted:
                counts[counted[2]] += int(counted[1])
            else:
                faults.append(line)
                print(line)
        print(f"{counts.total()} cases, {len(faults)} faults: {dict(sorted(counts.items()))}", flush=True)


def shard(number: int) -> tuple[collections.Counter[str], list[str]]:
    """Run the cases of one shard; return how many came to what, and the faults with their commands."""
    counts: collections.Counter[str] = collections.Counter()
    told: list[str] = []

    @seed(number)
    @settings(
        max_examples=_SHARD,
        deadline=None,
        database=None,
        derandomize=False,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.sampled_from(COMMANDS), cases())
    def run(command: tuple[str, ...], case: Case) -> None:
        seen: list[str] = []
        try:
            faults = answer_of(command[0], case, *command[1:], seen=seen)
        except Exception as error:  # what this looks for
            place = traceback.extract_tb(error.__traceback__)[-1]
            faults = [f"{type(error).__name__}: {error} ({Path(place.filename).name}:{place.lineno})"]
        counts[f"{command[0]} {seen[0] if seen else 'failed'}"] += 1
        options = " ".join(f"--set '{change.option()}'" for change in case.changes)
        asked = f"windtoll {' '.join(command)} scenarios/{case.name}/scenario.toml {options}"
        told.extend(" ".join(f"FAULT {fault} IN {asked}".splitlines()) for fault in faults)

    run()
    return counts, told


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    main(asked, Path(sys.argv[2]) if len(sys.argv) > 2 else Path(tempfile.mkdtemp(prefix="any_input_")))
