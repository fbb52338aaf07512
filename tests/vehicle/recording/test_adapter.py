"""What is said where no adapter or car answers, against an emulated adapter and things that are none."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from recording_support import PATIENT_S, PROJECT, CarProcess, own_time_s

from vehicle.recording.access import AdapterError
from vehicle.recording.adapter import AdapterWanted, open_adapter
from vehicle.recording.loop import Settings, record
from vehicle.recording.parameters import PARAMETERS


def test_no_port_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(AdapterError, match=r"No adapter: there is no port .*nowhere") as caught:
        record(Settings(tmp_path / "runs", port=str(tmp_path / "nowhere")))
    assert caught.value.kind == "no adapter"
    assert not list((tmp_path / "runs").iterdir())


@pytest.mark.parametrize("port", ["/dev/null", "socket://127.0.0.1:1", "nonsense://here"])
def test_what_is_no_serial_port_says_so(port: str) -> None:
    with pytest.raises(AdapterError, match="cannot be opened as a serial port") as caught:
        open_adapter(AdapterWanted(port, 38400, "6"))
    assert caught.value.kind == "no adapter"


def test_no_ignition_says_so(car: CarProcess) -> None:
    car.tell(fault="unable to connect")
    with pytest.raises(AdapterError, match="switch the ignition on") as caught:
        open_adapter(AdapterWanted(car.port, 38400, "6"))
    assert caught.value.kind == "no ignition"


def test_silent_adapter_is_given_up_within_seconds(car: CarProcess) -> None:
    car.tell(fault="silent")
    began = own_time_s()
    with pytest.raises(AdapterError, match="no adapter answers on it") as caught:
        open_adapter(AdapterWanted(car.port, 38400, "6"))
    assert caught.value.kind == "no answer"
    assert own_time_s() - began < 20


def test_port_in_use_says_so(car: CarProcess) -> None:
    adapter, supported = open_adapter(AdapterWanted(car.port, 38400, "6"))
    assert {p.pid for p in PARAMETERS if p.pid <= 0x20} <= supported
    try:
        with pytest.raises(AdapterError, match="in use by another program") as caught:
            open_adapter(AdapterWanted(car.port, 38400, "6"))
    finally:
        adapter.close()
    assert caught.value.kind == "busy"
    again, _ = open_adapter(
        AdapterWanted(car.port, 38400, "6")
    )  # at once, while the adapter still resets from the closing
    again.close()


@pytest.mark.skipif(os.name != "posix", reason="permissions of a device file")
def test_no_permission_says_how_to_get_it(tmp_path: Path) -> None:
    port = tmp_path / "ttyUSB7"
    port.touch(mode=0o000)
    script = (
        "import os, sys\nfrom vehicle.recording.adapter import AdapterError, AdapterWanted, open_adapter\n"
        "if os.getuid() == 0: os.setuid(65534)\n"  # root may open anything, whatever the mode says
        "try: open_adapter(AdapterWanted(sys.argv[1]))\nexcept AdapterError as error: print(error.kind, '|', error)"
    )
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_uid == os.getuid() and folder.is_relative_to("/tmp") and folder != Path("/tmp"):
            folder.chmod(folder.stat().st_mode | 0o011)
    said = subprocess.run(
        [sys.executable, "-c", script, str(port)],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        timeout=PATIENT_S,
        check=False,
        env={**os.environ, "PYTHONPATH": str(PROJECT)},
    )
    assert said.stdout.startswith("no permission | No permission to open"), said.stderr
    assert "usermod" in said.stdout


def test_only_the_adapter_loads_python_obd_and_nothing_loads_it_unasked() -> None:
    script = (
        "import sys, importlib\n"
        "for module in sys.argv[1:]: importlib.import_module(module)\n"
        "assert 'obd' not in sys.modules, 'python-obd was loaded'\n"
        "import vehicle.recording.adapter\nassert 'obd' in sys.modules\n"
    )
    loads_it = {f"vehicle.recording.{name}" for name in ("adapter", "questions", "loop")}
    # Whoever loads it without naming the room does so through one that names it.
    paths = [path for room in ("energy", "vehicle") for path in sorted((PROJECT / room).rglob("*.py"))]
    name_it = [p.relative_to(PROJECT) for p in paths if re.search(r"\brecording\b", p.read_text(encoding="utf-8"))]
    modules = {".".join(p.with_suffix("").parts).removesuffix(".__init__") for p in name_it} - loads_it
    modules |= {".".join(p.relative_to(PROJECT).with_suffix("").parts) for p in paths if p.parent.name == "recording"}
    assert len(modules) > 10
    command = [sys.executable, "-c", script, *sorted(modules - loads_it)]
    subprocess.run(command, cwd=PROJECT, check=True, timeout=PATIENT_S)
    mentions = [p for p in paths if re.search(r"^\s*(import|from) obd\b", p.read_text(encoding="utf-8"), re.M)]
    assert [p.name for p in mentions] == ["adapter.py"]
