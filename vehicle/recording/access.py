"""Serial ports: which are there, and why one cannot be opened, in sentences that say what to do."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Literal

from serial.tools import list_ports

Trouble = Literal["no adapter", "no permission", "busy", "stranger", "no answer", "no ignition", "no engine"]


class AdapterError(Exception):
    """The adapter or the car cannot be reached: `kind` says which, `str()` is a sentence that says what to do."""

    def __init__(self, kind: Trouble, words: str) -> None:
        self.kind = kind
        super().__init__(words)


def found_ports() -> list[str]:
    """Return the serial ports that may be an adapter (USB and Bluetooth serial), likeliest first."""
    ports = [p.device for p in list_ports.comports() if not Path(p.device).name.startswith("ttyS")]
    return sorted(ports, key=lambda name: ("USB" not in name.upper(), "rfcomm" not in name, name))


def check_access(port: str) -> None:
    """Raise AdapterError where a port is not there, or this user may not open it."""
    if "://" in port or os.name != "posix":
        return
    path = Path(port)
    try:
        there = path.exists()
    except PermissionError:
        there = True
    if not there:
        others = ", ".join(found_ports())
        raise AdapterError(
            "no adapter",
            f"No adapter: there is no port {port}. "
            + (f"Ports that are there: {others}." if others else "No serial port is there: plug the adapter in."),
        )
    if not os.access(path, os.R_OK | os.W_OK):
        raise _no_permission(port)


def _no_permission(port: str) -> AdapterError:
    group = ""
    try:
        import grp

        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        group = "dialout"
    return AdapterError(
        "no permission",
        f"No permission to open {port}. It belongs to the group {group}: add yourself to it"
        f" (sudo usermod -aG {group} YOUR_NAME), then log out and in again.",
    )


def cannot_open(port: str, reason: str) -> AdapterError:
    """Return what to raise for a port that the system will not open, for the system's `reason`."""
    lower = reason.lower()
    if "permission" in lower or f"errno {errno.EACCES}" in lower:
        return _no_permission(port)
    if "lock" in lower or "busy" in lower or f"errno {errno.EBUSY}" in lower:
        return AdapterError("busy", f"The port {port} is in use by another program: end that program first.")
    return AdapterError("no adapter", f"No adapter on {port}: it cannot be opened as a serial port ({reason}).")
