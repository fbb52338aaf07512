"""Reading, repairing, fuelling and comparing logs of 1e4, 1e5 and 1e6 rows: CPU, memory, and how the cost grows.

Run as `python tests/benchmarks/road_test.py [columns of padding]`. Each size runs in a process of its own, so that
memory is its own too; the plain reference is pandas reading the same files into numbers, nothing else.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
RUNS = 16


def write_runs(folder: Path, rows: int, padding: int) -> None:
    """Write a test of 16 runs with `rows` rows in all: 2 Hz, whole-second clock, a few damaged rows, 3 % effect."""
    draw = np.random.default_rng(1)
    each = rows // RUNS
    manifest = ['[engine]\ndisplacement = "1.6 L"\n']
    for number in range(RUNS):
        working = (number + number // 2) % 2 == 0
        t = np.arange(each) / 2
        speed = 95 + 8 * np.sin(t / 40 + number) + draw.normal(0, 0.5, each)
        rpm = speed * 30 + draw.normal(0, 5, each)
        pressure = (38 + 0.0022 * (speed - 60) ** 2 + draw.normal(0, 1, each)) * (1.03 if working else 1.0)
        pressure *= 1 + draw.normal(0, 0.005)
        table = np.column_stack(
            [
                np.floor(t),
                rpm,
                speed.round(),
                draw.normal(20, 0.5, each),
                pressure / 1.2,
                np.full(each, 88.0),
                pressure.round(),
                np.full(each, 31.0),
                np.full(each, 101.0),
                draw.normal(0, 1, (each, padding)),
            ]
        )
        header = (
            "Engine run time,Engine RPM,Vehicle speed,Throttle,Engine load,Coolant temperature,"
            "Intake manifold pressure,Intake air temperature,Barometric pressure"
        )
        header += "".join(f",unknown {place}" for place in range(padding))
        path = folder / f"run_{number:02}.csv"
        np.savetxt(path, table, fmt="%.6f", delimiter=",", header=header, comments="")
        text = path.read_bytes().split(b"\n")
        for place in draw.integers(10, len(text) - 10, 5).tolist():
            text[place] = text[place][: len(text[place]) // 2]
        path.write_bytes(b"\n".join(text))
        manifest.append(
            f'[[run]]\nfile = "{path.name}"\nstate = "{"working" if working else "stowed"}"\npair = {number // 2 + 1}\n'
        )
    (folder / "runs.toml").write_text("".join(manifest))


def measure(what: str, folder: str) -> None:
    """Print CPU seconds and peak memory of one way of going through the files."""
    start = time.process_time()
    if what == "plain":
        import pandas as pd

        for path in sorted(Path(folder).glob("*.csv")):
            pd.read_csv(path, engine="c")
        said = ""
    else:
        from vehicle.road_test.comparison import compare
        from vehicle.road_test.read import windows_of_runs
        from vehicle.road_test.run_list import read_manifest

        said = compare(windows_of_runs(read_manifest(Path(folder) / "runs.toml")).runs).words
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{time.process_time() - start:.3f} {peak:.0f} {said}")


def main() -> None:
    """Print one line a size."""
    padding = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    print("     rows   CPU s (imports in)   plain read_csv s   ratio   peak MiB   µs/row beyond start-up")
    base = None
    for rows in (10_000, 100_000, 1_000_000):
        with tempfile.TemporaryDirectory() as folder:
            write_runs(Path(folder), rows, padding)
            ask = [sys.executable, __file__, "--measure"]
            ours = subprocess.run([*ask, "compare", folder], capture_output=True, text=True, check=True).stdout.split(
                maxsplit=2
            )
            plain = subprocess.run([*ask, "plain", folder], capture_output=True, text=True, check=True).stdout.split()
        cpu = float(ours[0])
        base = cpu if base is None else base
        print(
            f"{rows:>9} {cpu:>12.2f} {float(plain[0]):>21.2f} {cpu / float(plain[0]):>10.2f} {ours[1]:>9} "
            f"{(cpu - base) / max(rows - 10_000, 1) * 1e6:>14.2f}   {ours[2].strip()}"
        )


if __name__ == "__main__":
    if len(sys.argv) > 3 and sys.argv[1] == "--measure":
        measure(sys.argv[2], sys.argv[3])
    else:
        main()
