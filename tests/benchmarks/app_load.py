"""Many users at once: `python tests/benchmarks/app_load.py [--users 10] [--seconds 60] [--changes 500]`.

Starts the app as a user does, lets that many sessions speak its own web-socket protocol (as the browser does, without
drawing), each moving a slider and looking at the answer, and prints how long an answer took, what it took of a
processor (which tells the same on a busy machine), and what memory. `--users 1` tells what one user waits. Then one
session makes many changes, one after the other, and the memory is looked at again.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 30.0
_MIB = 1024 * 1024


@dataclass
class User:
    """One session: its connection, the sliders as last shown, and how long its answers took."""

    number: int
    line: Any = None
    session: str = ""
    page: str = ""
    sliders: dict[str, Any] = field(default_factory=dict)
    to_verdict_s: list[float] = field(default_factory=list)
    to_end_s: list[float] = field(default_factory=list)
    timeouts: int = 0

    async def open(self, port: int) -> None:
        """Connect and wait for the first screen."""
        import websockets

        address = f"ws://127.0.0.1:{port}/_stcore/stream"
        self.line = await websockets.connect(
            address,
            origin=f"http://127.0.0.1:{port}",
            subprotocols=["streamlit"],
            max_size=None,
            open_timeout=PATIENCE_S,
        )
        await self.send({})
        await self.until_finished(time.monotonic())

    async def send(self, values: dict[str, float]) -> None:
        """Ask for a run with sliders at these places."""
        from streamlit.proto.BackMsg_pb2 import BackMsg

        asked = BackMsg()
        asked.rerun_script.query_string = "demo=van_water_tank"
        asked.rerun_script.page_script_hash = self.page
        for name, value in values.items():
            state = asked.rerun_script.widget_states.widgets.add()
            state.id = name
            state.double_array_value.data.append(value)
        await self.line.send(asked.SerializeToString())

    async def until_finished(self, start: float) -> bool:
        """Read what the app sends until its run has ended; return whether that was in time."""
        from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

        verdict_s = 0.0
        try:
            async with asyncio.timeout(PATIENCE_S):
                while True:
                    said = ForwardMsg()
                    said.ParseFromString(await self.line.recv())
                    kind = said.WhichOneof("type")
                    if kind == "new_session":
                        self.page = said.new_session.page_script_hash
                    elif kind == "delta":
                        element = said.delta.new_element
                        if element.WhichOneof("type") == "slider":
                            self.sliders[element.slider.label] = element.slider
                        elif element.WhichOneof("type") == "html" and "wt-verdict" in element.html.body:
                            verdict_s = verdict_s or time.monotonic() - start
                    elif kind == "script_finished" and said.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
                        break
        except TimeoutError:
            self.timeouts += 1
            return False
        self.to_verdict_s.append(verdict_s or time.monotonic() - start)
        self.to_end_s.append(time.monotonic() - start)
        return True

    async def move(self, value: float) -> None:
        """Move the slider of the road speed and wait for the answer."""
        slider = next(s for label, s in self.sliders.items() if label.startswith("road speed"))
        start = time.monotonic()
        await self.send({slider.id: value})
        await self.until_finished(start)


async def many(port: int, process: int, users: int, seconds: float, think_s: float) -> tuple[list[User], float]:
    """Let users move their sliders for so long, each at speeds of his own; return them, and the processor time (s)
    that they took of the app once all had opened it.
    """
    found = [User(k) for k in range(users)]
    await asyncio.gather(*(user.open(port) for user in found))
    begun_s = processor_s(process)
    for user in found:
        user.to_verdict_s.clear()
        user.to_end_s.clear()
    end = time.monotonic() + seconds

    async def use(user: User) -> None:
        step = 0
        await asyncio.sleep(think_s * user.number / users)
        while time.monotonic() < end:
            step += 1
            await user.move(40 + (7 * user.number + 11 * step) % 90 + 0.1 * user.number)
            await asyncio.sleep(think_s)

    await asyncio.gather(*(use(user) for user in found))
    spent_s = processor_s(process) - begun_s
    for user in found:
        await user.line.close()
    return found, spent_s


async def long_evening(port: int, changes: int, process: int) -> list[tuple[int, float]]:
    """Let one user make many changes, all different; return (changes, memory in MiB) on the way."""
    user = User(0)
    await user.open(port)
    found = [(0, memory_mib(process))]
    for k in range(1, changes + 1):
        await user.move(40 + 0.19 * k)
        if k % 50 == 0:
            found.append((k, memory_mib(process)))
    await user.line.close()
    return found


def processor_s(process: int) -> float:
    """Return the processor time that a process has taken so far (Linux)."""
    numbers = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


def memory_mib(process: int) -> float:
    """Return the resident memory of a process (Linux)."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / _MIB


def started(port: int, folder: Path) -> subprocess.Popen[bytes]:
    """Start the app and wait until it answers."""
    command = [sys.executable, "-m", "streamlit", "run", str(ROOT / "app.py"), f"--server.port={port}"]
    env = {**os.environ, "WINDTOLL_WORKS": str(folder), "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        [*command, "--server.headless=true"], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env
    )
    for _ in range(600):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1):
                return process
        except OSError:
            time.sleep(0.1)
    raise SystemExit("the app did not answer within a minute")


def main() -> None:
    """Run the benchmark and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--users", type=int, default=10)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--think", type=float, default=1.0, help="seconds between an answer and the next move")
    parser.add_argument("--changes", type=int, default=500)
    asked = parser.parse_args()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        process = started(port, Path(folder))
        try:
            users, spent_s = asyncio.run(many(port, process.pid, asked.users, asked.seconds, asked.think))
            for words, times in (
                ("change to verdict", [t for user in users for t in user.to_verdict_s]),
                ("change to end of run", [t for user in users for t in user.to_end_s]),
            ):
                worst = sorted(times)[int(0.95 * len(times))]
                median = statistics.median(times)
                shown = f"median {median:.2f} s, 95 % below {worst:.2f}, worst {max(times):.2f}"
                print(f"{words}: {len(times)} changes, {shown}")
            print(f"processor time a change: {spent_s / sum(len(user.to_end_s) for user in users):.2f} s")
            print(f"time-outs of {PATIENCE_S:.0f} s: {sum(user.timeouts for user in users)}")
            print(f"memory with {asked.users} users: {memory_mib(process.pid):.0f} MiB")
            if asked.changes:
                for k, mib in asyncio.run(long_evening(port, asked.changes, process.pid)):
                    print(f"memory after {k} changes: {mib:.0f} MiB")
        finally:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()


if __name__ == "__main__":
    main()
