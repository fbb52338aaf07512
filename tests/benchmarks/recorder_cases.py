"""What the recorder makes of cars and adapters as they are, checked cell by cell against what was sent.

Run: python tests/benchmarks/recorder_cases.py [part of a name ...]

Prints per case: rows a second, seconds to the first value, right, foreign, stale and false cells, holes as reported and
as they were, seconds to stop, and the longest time for which a key would have waited.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from recording_cases import CASES, Outcome, play  # noqa: E402


def line(name: str, outcome: Outcome) -> str:
    """Return one case as a line."""
    if outcome.summary is None:
        return f"{name:34} refused after {outcome.refused_s:.1f} s: {outcome.refused}"
    holes = ", ".join(f"{said:.1f}/{true:.1f}" for said, true in outcome.holes)
    missing = "".join(f", UNREPORTED {length:.1f}" for length in outcome.unreported)
    return (
        f"{name:34}{outcome.rows_per_s:8.1f}{outcome.first_value_s:8.1f}{outcome.right:8d}{outcome.foreign:8d}"
        f"{outcome.stale:8d}{outcome.false:8d}{outcome.stop_s:8.2f}{outcome.longest_silence_s:8.2f}  {holes}{missing}"
    )


def main() -> None:
    """Play the cases and print a line each, then the sums."""
    chosen = [case for case in CASES if not sys.argv[1:] or any(part in case.name for part in sys.argv[1:])]
    print(
        f"{'case':34}{'rows/s':>8}{'first s':>8}{'right':>8}{'foreign':>8}{'stale':>8}{'false':>8}{'stop s':>8}"
        f"{'key s':>8}  holes reported/true, s"
    )
    outcomes = []
    with tempfile.TemporaryDirectory() as folder:
        for number, case in enumerate(chosen):
            outcomes.append(play(case, Path(folder) / str(number)))
            print(line(case.name, outcomes[-1]), flush=True)
    kinds = {kind: sum(getattr(o, kind) for o in outcomes) for kind in ("right", "foreign", "stale", "false")}
    print(f"in all {sum(kinds.values())} cells: " + ", ".join(f"{count} {kind}" for kind, count in kinds.items()))


if __name__ == "__main__":
    main()
