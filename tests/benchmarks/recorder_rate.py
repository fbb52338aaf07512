"""How fast the recorder asks, and how soon it notices and mends a lost adapter.

Run: python tests/benchmarks/recorder_rate.py

The plain reference, in the same run on the same emulated adapter: the same questions as bare bytes over the port, each
answer read to the prompt, nothing decoded and nothing written. A real adapter answers 5 to 50 questions a second
(common practice, no source), so what matters is that the recorder's own share is far below that.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import serial

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "vehicle")]

from car_process import CarProcess  # noqa: E402

from vehicle.recording.loop import Settings, Status, record  # noqa: E402
from vehicle.recording.parameters import PARAMETERS  # noqa: E402

SECONDS = 5.0


def plain(port: str) -> float:
    """Return questions a second of bare bytes over the port."""
    requests = [b"01%02X1\r" % p.pid for p in PARAMETERS if p.fast]
    asked = 0
    with serial.Serial(port, timeout=2) as line:
        for command in (b"ATZ\r", b"ATE0\r", b"ATH1\r", b"ATSP6\r"):
            line.write(command)
            line.read_until(b">")
        end = time.monotonic() + SECONDS
        while time.monotonic() < end:
            line.write(requests[asked % len(requests)])
            heard = b""
            while not heard.endswith(b">"):
                heard += line.read(line.in_waiting or 1)
            asked += 1
    return asked / SECONDS


def main() -> None:
    """Print rates, their ratio, and the times around a killed and a frozen adapter."""
    with tempfile.TemporaryDirectory() as folder:
        car = CarProcess(Path(folder) / "adapter")
        try:
            reference = plain(str(Path(car.port).resolve()))
            how = Settings(Path(folder) / "runs", port=car.port, protocol="6", interval_s=0.0, duration_s=SECONDS)
            done = record(how)
            questions = done.rows * sum(p.fast for p in PARAMETERS) / done.duration_s
            print(f"plain bytes      {reference:8.0f} questions/s")
            print(f"recorder         {questions:8.0f} questions/s, {done.rows / done.duration_s:.0f} rows/s written")
            print(f"recorder / plain {questions / reference:8.2f}")
            for name, break_it, mend_it in (("killed", car.kill, car.restart), ("frozen", car.stop, car.go_on)):
                noticed, mended = interrupted(car, Path(folder) / "runs", break_it, mend_it)
                print(f"{name} adapter   noticed after {noticed:.1f} s, recording {mended:.1f} s after it was back")
        finally:
            car.kill()


def interrupted(car: CarProcess, out: Path, break_it, mend_it) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    """Return the seconds from the break to its notice, and from the mending to the first row after it."""
    at: dict[str, float] = {}

    def show(status: Status) -> None:
        now = time.monotonic()
        if "broken" not in at and status.rows > 20:
            at["broken"] = now
            break_it()
        elif "broken" in at and "noticed" not in at and status.event.startswith("gap begins"):
            at["noticed"] = now
            mend_it()
            at["mended"] = time.monotonic()
        elif status.event.startswith("back after"):
            at["back"] = now

    how = Settings(out, port=car.port, protocol="6", interval_s=0.01)
    record(how, show=show, keys=lambda: "q" if "back" in at else "")
    return at["noticed"] - at["broken"], at["back"] - at["mended"]


if __name__ == "__main__":
    main()
