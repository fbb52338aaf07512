"""Random settings of every key through the commands, by hand: `PYTHONPATH=tests python
tests/benchmarks/any_input.py 100000`.

Prints how many were answered and refused for each command, on the way and at the end (Ctrl-C ends it as well), and
every fault that it finds with the command that shows it. What was ever found stands in tests/data/any_input.json, which
the tests run again; add to it what is new.
"""

from __future__ import annotations

import collections
import sys
import traceback
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from scenario_fuzz import Case, answer_of, cases

COMMANDS = [("answer", "--exact")] * 12 + [("loads",)] * 4 + [("check",)] * 4 + [("heat",), ("answer",)]

_TOLD_EVERY = 1000


def main(examples: int) -> None:
    """Run that many random cases and print what came of them."""
    counts: collections.Counter[tuple[str, str]] = collections.Counter()

    @settings(
        max_examples=examples,
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
        counts[command[0], seen[0] if seen else "failed"] += 1
        if counts.total() % _TOLD_EVERY == 0:
            tell(counts)
        for fault in faults:
            options = " ".join(f"--set '{change.option()}'" for change in case.changes)
            print(
                f"{fault}\n    windtoll {' '.join(command)} scenarios/{case.name}/scenario.toml {options}", flush=True
            )

    try:
        run()
    except KeyboardInterrupt:
        print("ended early", flush=True)
    tell(counts)


def tell(counts: collections.Counter[tuple[str, str]]) -> None:
    """Print how many cases there were so far, by command and by what came of them."""
    parts = ", ".join(f"{name} {outcome} {count}" for (name, outcome), count in sorted(counts.items()))
    print(f"{counts.total()} cases: {parts}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
