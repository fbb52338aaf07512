"""Helpers for the tests in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PHONE = {"width": 390, "height": 844}


def open_screen(page: Any, address: str, place: str = "") -> None:
    """Open a screen with the first demo, by its place in the address, the first one by default; wait until it is drawn.

    Without the demo in the address the app would go on with what another test did.
    """
    page.goto(f"{address}/{place}?demo=van_water_tank")
    page.wait_for_selector(".wt-verdict")
    settled(page)


# Streamlit begins a run a moment after it was asked for one: quiet is what stays so over frames that the browser draws,
# which come slowly where the machine is busy.
_QUIET = """() => {
  const app = document.querySelector('[data-testid=stApp]');
  const busy = !app || app.getAttribute('data-test-script-state') !== 'notRunning'
    || document.querySelector('[data-testid=stSkeleton]');
  window.wtQuiet = busy ? 0 : window.wtQuiet + 1;
  return window.wtQuiet >= 15;
}"""


def settled(page: Any) -> None:
    """Wait until the app has done what it was asked, and the page has drawn it."""
    page.evaluate("window.wtQuiet = 0")
    page.wait_for_function(_QUIET)


def type_on_pad(page: Any, text: str) -> None:
    """Tap a number on the call sheet's pad, and enter it."""
    for digit in text:
        page.locator(f"[data-key='{digit}']").tap()
    page.locator("#enter").tap()


def shared_sheet(page: Any, folder: Path, button: str = "#share") -> Path:
    """Tap what shares the call sheet's readings; return the file that comes of it."""
    with page.expect_download() as waiting:
        page.locator(button).tap()
    path = folder / "call_sheet.csv"
    waiting.value.save_as(path)
    assert waiting.value.suggested_filename == "call_sheet.csv"
    return path
