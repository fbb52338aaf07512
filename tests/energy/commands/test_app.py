"""`windtoll app`: loopback only, the checkout's settings, plain words where the port is taken."""

from __future__ import annotations

import socket
import tomllib

from tests_support import run_alone

from energy.commands.app import app_files, settings_as_options


def test_settings_keep_it_on_this_machine() -> None:
    start, config = app_files()
    assert start.is_file()
    settings = tomllib.loads(config.read_text(encoding="utf-8"))
    assert settings["server"]["address"] == "127.0.0.1"
    assert settings["browser"]["gatherUsageStats"] is False
    options = settings_as_options(settings)
    assert "--server.address=127.0.0.1" in options
    assert "--browser.gatherUsageStats=false" in options
    assert "--client.showErrorDetails=none" in options
    assert any(option.startswith("--theme.dark.backgroundColor=") for option in options)
    assert not any("{" in option for option in options)


def test_a_taken_port_is_told_with_another_one() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = run_alone("app", "--port", str(port), "--no-browser")
    assert done.returncode == 2
    assert f"port {port} is taken" in done.stderr
    assert "--port" in done.stderr
