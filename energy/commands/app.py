"""`windtoll app`: the app in the browser, on this machine only."""

from __future__ import annotations

import runpy
import socket
import sys
import threading
import tomllib
from pathlib import Path
from typing import Any

import click

from vehicle.problems import InputError, Problem

_ADDRESS = "127.0.0.1"


def app_files() -> tuple[Path, Path]:
    """Return app.py and its settings: inside the installed package, or of the checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "app_start" / "app.py"
    if installed.is_file():
        return installed, installed.with_name("config.toml")
    return package.parent / "app.py", package.parent / ".streamlit" / "config.toml"


def settings_as_options(settings: dict[str, Any]) -> list[str]:
    """Return the settings of a configuration file as command-line options of streamlit."""
    options = []
    for key, value in settings.items():
        if isinstance(value, dict):
            options += [f"--{key}.{option.removeprefix('--')}" for option in settings_as_options(value)]
        else:
            options.append(f"--{key}={str(value).lower() if isinstance(value, bool) else value}")
    return options


def _check_free(port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((_ADDRESS, port))
        except OSError:
            raise InputError(
                Problem(
                    "command line",
                    "--port",
                    f"port {port} is taken: perhaps the app runs already, at http://{_ADDRESS}:{port}",
                    f"another port, such as --port {port + 1 if port < 65535 else port - 1}",
                )
            ) from None


def _warm_up(start: Path) -> None:
    """Run app.py under a name by which it only makes ready what its first screen shows."""
    runpy.run_path(str(start), run_name="warm_up")


@click.command("app", short_help="The app in your browser: see it, move it, download it.")
@click.option("--port", type=click.IntRange(1024, 65535), default=8501, show_default=True, help="Port on this machine.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser window; print the address only.")
def command(port: int, no_browser: bool) -> None:
    """Open the app in your browser. It listens on this machine only and sends nothing anywhere. Ctrl-C ends it.

    \b
    Examples:
      windtoll app
      windtoll app --port 8600 --no-browser
    """
    _check_free(port)
    start, config = app_files()
    options = settings_as_options(tomllib.loads(config.read_text(encoding="utf-8")))
    options += [f"--server.port={port}", f"--server.headless={str(no_browser).lower()}"]
    from streamlit.web import cli

    # What the first screen needs is loaded while the browser opens.
    threading.Thread(target=_warm_up, args=(start,), daemon=True).start()
    sys.exit(cli.main(["run", str(start), *options], prog_name="streamlit", standalone_mode=False) or 0)
