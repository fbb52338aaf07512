"""How often `windtoll shortfall` finds the true cause of few watts: invented machines with faults, gusts and noise.

Run: PYTHONPATH=.:tests python tests/benchmarks/shortfall.py [cases a cause, 30] [readings]

The machines are simulated by tests/faulty_machine.py, which shares no code with the package. A case
counts as one that can be parted where no other single cause, at any severity, would show nearly the same readings;
"says so" asks that the true cause be among those named as undecided.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

import faulty_machine as machines
import numpy as np

from energy.chain.load import load
from energy.diagnosis.shortfall import Shortfall, shortfall
from energy.diagnosis.shortfall_readings import read_readings
from energy.scenario.read import Scenario

_LEVELS = {
    "watts and road speed": machines.LITTLE,
    "and rotor speed, volts": machines.SOME,
    "all of it at two settings": machines.MUCH,
}


def main() -> None:
    """Print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    with tempfile.TemporaryDirectory() as folder:
        scenario = load(machines.write_scenario(Path(folder)))
        told: list[tuple[float, bool]] = []
        wanted = sys.argv[2:] if len(sys.argv) > 2 else list(_LEVELS)
        for name, read in ((n, _LEVELS[n]) for n in wanted):
            _level(scenario, Path(folder), name, read, count, told)
        _calibration(told)
        _pairs(scenario, Path(folder), max(count * 2, 10))
        _wide(Path(folder), count)


def _found(scenario: Scenario, folder: Path, case: machines.Case) -> Shortfall:
    return shortfall(scenario, read_readings(case.write(folder / "readings.csv")))


def _level(
    scenario: Scenario,
    folder: Path,
    name: str,
    read: tuple[str, ...],
    count: int,
    told: list[tuple[float, bool]],
) -> None:
    print(f"\n{name}: share of {count} cases a cause")
    heads = "".join(f"{text:>8}" for text in ("first", "in two", "parted", "-first", "-in two"))
    print(f"{'true cause':12}{heads}{'-says so':>9}  blamed instead")
    sums, begun, cases = np.zeros(6), time.process_time(), 0
    for cause in machines.CAUSES:
        row, instead = np.zeros(6), []
        for seed in range(count):
            case = machines.case((cause,), seed, read)
            found = _found(scenario, folder, case)
            cases += 1
            order = [c.cause for c in found.causes]
            told += [(c.probability, c.cause == cause) for c in found.causes]
            first, two = order[0] == cause, cause in order[:2]
            parted = machines.can_be_parted(case, read)
            says = first or cause in found.undecided_between
            row += [first, two, parted, parted and first, parted and two, not parted and says]
            if not first:
                instead.append(order[0])
        sums += row
        _row(cause, row, count, instead)
    _row("all", sums, count * len(machines.CAUSES), ())
    print(f"{(time.process_time() - begun) / cases:.2f} s of CPU a case, simulation included")


def _row(name: str, row: np.ndarray, count: int, instead: Iterable[str]) -> None:
    first, two, parted, of_first, of_two, says = row

    def share(part: float, whole: float) -> str:
        return f"{100 * part / whole:.0f} %" if whole else "-"

    names, counts = np.unique(list(instead), return_counts=True) if list(instead) else ((), ())
    others = ", ".join(f"{n} {c}" for n, c in sorted(zip(names, counts, strict=True), key=lambda e: -e[1]))
    texts = (share(first, count), share(two, count), share(parted, count), share(of_first, parted))
    print(
        f"{name:12}" + "".join(f"{t:>8}" for t in texts) + f"{share(of_two, parted):>8}"
        f"{share(says, count - parted):>9}  {others}"
    )


def _calibration(told: list[tuple[float, bool]]) -> None:
    print("\nof causes given this probability, this share was true")
    chance, true = np.array([p for p, _ in told]), np.array([t for _, t in told])
    for low, high in (
        (0, 0.05),
        (0.05, 0.15),
        (0.15, 0.3),
        (0.3, 0.5),
        (0.5, 0.65),
        (0.65, 0.75),
        (0.75, 0.9),
        (0.9, 1.01),
    ):
        mine = (chance >= low) & (chance < high)
        if mine.any():
            given, was = chance[mine].mean(), true[mine].mean()
            print(f"{low:.2f} to {min(high, 1):.2f}: given {given:.2f}, true {was:.2f}  ({mine.sum()})")


def _pairs(scenario: Scenario, folder: Path, count: int) -> None:
    pairs = [(a, b) for i, a in enumerate(machines.CAUSES) for b in machines.CAUSES[i + 1 :] if "stall" not in (a, b)]
    both, lost = 0, []
    for seed in range(count):
        causes = pairs[(7 * seed) % len(pairs)]
        found = _found(scenario, folder, machines.case(causes, 1000 + seed, machines.MUCH, 0.6))
        good = set(causes) <= {c.cause for c in found.causes[:3]}
        both += good
        if not good:
            lost.append(f"{'+'.join(causes)} -> {'+'.join(c.cause for c in found.causes[:3])}")
    print(f"\ntwo causes at once, all readings: both in the first three in {100 * both / count:.0f} % of {count}")
    print("\n".join(lost))


def _wide(folder: Path, count: int) -> None:
    wide = load(machines.write_scenario(folder, range_of_local=(0.30, 0.95)))
    first = blamed = 0
    for seed in range(count):
        found = _found(wide, folder, machines.case(("local_air",), seed, machines.MUCH))
        first += found.causes[0].cause == "local_air"
        certain = [] if found.undecided_between else [c.cause for c in found.causes if c.probability > 0.7]
        blamed += any(cause != "local_air" for cause in certain)
    print(
        f"\nslow air, air at the rotor stated as 0.30 to 0.95: first in {first}, another blamed in {blamed} of {count}"
    )


if __name__ == "__main__":
    main()
