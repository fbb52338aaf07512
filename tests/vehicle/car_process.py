"""Starts, commands and ends the emulated car of emulated_car.py, or of serial_adapter.py, from a test."""

from __future__ import annotations

import errno
import json
import os
import select
import signal
import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).with_name("emulated_car.py")


def _started(command: list[str], tries: int = 3) -> subprocess.Popen[str]:
    """Start a program; again where the system says "bad address", as it once did for one of many started by threads."""
    try:
        return subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
    except OSError as error:
        if error.errno != errno.EFAULT or tries == 1:
            raise
        return _started(command, tries - 1)


class CarProcess:
    """One emulated car in a process of its own; `port` is what a recorder opens."""

    def __init__(self, link: Path | None = None, tcp: int | None = None, script: Path = SCRIPT) -> None:
        self.link, self.tcp, self.script = link, tcp, script
        self.port = str(link) if link else f"socket://127.0.0.1:{tcp}"
        self.process = self._start()

    def _start(self) -> subprocess.Popen[str]:
        where = ["--link", str(self.link)] if self.link else ["--tcp", str(self.tcp)]
        process = _started([sys.executable, str(self.script), *where])
        self.process = process
        assert self._reply(60) == {"ready": True}
        return process

    def _reply(self, seconds: float) -> dict[str, object]:
        assert self.process.stdout is not None
        ready, _, _ = select.select([self.process.stdout], [], [], seconds)
        assert ready, "the emulated car does not answer"
        reply: dict[str, object] = json.loads(self.process.stdout.readline())
        return reply

    def tell(self, **command: object) -> dict[str, object]:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(command) + "\n")
        self.process.stdin.flush()
        reply = self._reply(20)
        assert reply.get("ok") is True
        return reply

    def kill(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(20)
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()

    def restart(self) -> None:
        self._start()

    def stop(self) -> None:
        os.kill(self.process.pid, signal.SIGSTOP)

    def go_on(self) -> None:
        os.kill(self.process.pid, signal.SIGCONT)
