"""The app as a process of its own, and Debian's chromium looking at it."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
# Only against a hang: no test waits for a time, all wait for what is to appear. On a machine with much else to do a
# screen that computes for ten seconds takes minutes.
TIMEOUT_MS = int(os.environ.get("BROWSER_TIMEOUT_MS", "300000"))
LAPTOP = {"width": 1280, "height": 900}
_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    # No graphics process of its own, nor one that draws in its place: opening a screen costs a fifth less of the CPU.
    "--in-process-gpu",
    "--disable-software-rasterizer",
    "--num-raster-threads=1",
    "--disable-extensions",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        words = "no chromium on this machine (Debian: apt-get install chromium)"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=_ARGUMENTS)
        plain = running.new_context

        def patient(**how: Any) -> Any:
            # Of one whose system is set to less motion: each frame that moves is drawn by the CPU, of opening a screen
            # a quarter. On the phone of test_works_in_a_browser.py it moves.
            context = plain(**{"reduced_motion": "reduce", **how})
            context.set_default_timeout(TIMEOUT_MS)
            return context

        running.new_context = patient  # type: ignore[method-assign]
        yield running
        running.close()


class App:
    """The app, started as a user starts it from a checkout; it can be stopped, and started again at its address."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self._port}"
        self.works = folder / "works"
        self._said = folder / "said.txt"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, unless it runs, and wait until it answers."""
        if self._process is not None:
            return
        command = [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={self._port}"]
        env = {**os.environ, "WINDTOLL_WORKS": str(self.works)}
        with self._said.open("a") as out:
            self._process = subprocess.Popen(
                [*command, "--server.headless=true"],
                cwd=ROOT,
                stdout=out,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                env=env,
            )
        for _ in range(1200):
            if self._process.poll() is not None:
                pytest.fail(f"the app ended: {self._said.read_text()}")
            try:
                with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=1):
                    return
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
        pytest.fail("the app did not answer within two minutes")

    def stop(self) -> None:
        """End it, if it runs."""
        process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:  # it waits for connections that are still open
            process.kill()
            process.wait(5)


@pytest.fixture(scope="session")
def app(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    """The one app of all tests: to start another costs as much of the CPU as ten steps in it."""
    one = App(tmp_path_factory.mktemp("app"))
    try:
        one.start()
        yield one
    finally:
        one.stop()


@pytest.fixture
def address(app: App) -> str:
    """The address of the app."""
    return app.address


@pytest.fixture
def emptied(app: App) -> Iterator[App]:
    """The app without any works, for tests that look at all of them, or that stop it."""
    shutil.rmtree(app.works, ignore_errors=True)
    yield app
    app.start()  # also where a test failed before it did


@pytest.fixture(scope="session")
def window(browser: Any) -> Iterator[Any]:
    """The one window in which most tests look at the app: a second visit from it costs half the CPU of a fresh one.

    What the browser has read and compiled of the framework stays with it; what the app could know it by does not.
    """
    context = browser.new_context(viewport=LAPTOP, accept_downloads=True)
    yield context.new_page()
    context.close()


@contextlib.contextmanager
def _watched(page: Any) -> Iterator[None]:
    """Begin at a desktop, in the light; a failing script fails the test, and one that asks something."""
    faults: list[str] = []

    def failed(error: Any) -> None:
        faults.append(str(error))

    def asked(dialog: Any) -> None:
        faults.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    page.bring_to_front()  # behind another one its timers would run once in a minute
    page.set_viewport_size(LAPTOP)
    page.emulate_media(color_scheme="light")
    page.on("pageerror", failed)
    page.on("dialog", asked)
    yield
    page.remove_listener("pageerror", failed)
    page.remove_listener("dialog", asked)
    assert faults == []


@pytest.fixture
def page(window: Any, address: str) -> Iterator[Any]:
    """A browser at desktop size that knows nothing of the app, at no address yet."""
    with _watched(window):
        yield window
        for other in window.context.pages:
            if other is not window:
                other.close()
        window.evaluate("if (location.protocol !== 'about:') { localStorage.clear(); sessionStorage.clear() }")
        window.goto("about:blank")
        window.context.clear_cookies()


@pytest.fixture(scope="module")
def _going_on(window: Any) -> Iterator[Any]:
    one = window.context.new_page()
    yield one
    one.close()


@pytest.fixture
def going_on(_going_on: Any, address: str) -> Iterator[Any]:
    """A browser that goes on from where the test before left it, for tests that look and change nothing."""
    with _watched(_going_on):
        yield _going_on
