"""Helpers for the tests in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

PHONE = {"width": 390, "height": 844}


DEMO = "demo=van_water_tank"


def open_screen(page: Any, address: str, place: str = "", asked: str = DEMO) -> None:
    """Open a screen with the first demo, by its place in the address, the first one by default; wait until it is drawn.

    Without the demo in the address the app would go on with what another test did.
    """
    page.goto(f"{address}/{place}?{asked}")
    page.wait_for_selector(".wt-demo" if place == "works" else ".wt-verdict")
    settled(page)


# Streamlit begins a run a moment after it was asked for one: quiet is what stays so over frames that the browser draws,
# which come slowly where the machine is busy. A question that the server has not yet said anything to is not quiet.
_QUIET = """() => {
  if (window.wtAskedAt === undefined) {
    window.wtAskedAt = window.wtToldAt = 0;
    const send = WebSocket.prototype.send;
    WebSocket.prototype.send = function (...sent) {
      if (!this.wtHeard) {
        this.wtHeard = true;
        this.addEventListener('message', () => { window.wtToldAt = performance.now(); });
      }
      window.wtAskedAt = performance.now();
      return send.apply(this, sent);
    };
  }
  const app = document.querySelector('[data-testid=stApp]');
  const busy = !app || app.getAttribute('data-test-script-state') !== 'notRunning'
    || document.querySelector('[data-testid=stSkeleton]') || window.wtAskedAt > window.wtToldAt;
  window.wtQuiet = busy ? 0 : window.wtQuiet + 1;
  return window.wtQuiet >= 15;
}"""


def settled(page: Any) -> None:
    """Wait until the app has done what it was asked, and the page has drawn it."""
    page.evaluate("window.wtQuiet = 0")
    page.wait_for_function(_QUIET)


# Unfolds what can be seen folded, and lets it slide open; returns how much there was.
_UNFOLDED = """async () => {
  const folded = [...document.querySelectorAll('[data-testid=stMain] details:not([open]) > summary')]
    .filter(e => e.checkVisibility({visibilityProperty: true}));
  folded.forEach(e => e.click());
  await new Promise(requestAnimationFrame);
  await Promise.all(document.getAnimations().filter(a => a.effect.getComputedTiming().endTime < Infinity)
    .map(a => a.finished.catch(() => null)));
  return folded.length;
}"""


def unfold(page: Any) -> None:
    """Unfold all that stands folded on the screen, and what is folded in it."""
    for _ in range(5):
        there = page.evaluate(_UNFOLDED)
        settled(page)
        if not there:
            return
    pytest.fail("what is folded does not open")


def found_by_axe(page: Any, options: dict[str, Any] | None = None, *, without: str = "") -> list[tuple[str, list[str]]]:
    """Return what axe-core finds fault with on the page as it is, with the elements; some may be left out."""
    from axe_playwright_python.base import AXE_FILE_PATH

    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(Path(AXE_FILE_PATH).read_text(encoding="utf-8"))
    found = page.evaluate(
        "([left, how]) => axe.run(left ? {exclude: [[left]]} : document, {resultTypes: ['violations'], ...how})",
        [without, options or {}],
    )
    # Streamlit's own drop zone of an upload has a role that axe-core calls a conflict, of minor impact.
    ours = [v for v in found["violations"] if v["id"] != "presentation-role-conflict"]
    return [(v["id"], [node["html"][:300] for node in v["nodes"]]) for v in ours]


def type_on_pad(page: Any, *texts: str, tapped: bool = True) -> None:
    """Tap numbers on the call sheet's pad, and enter each.

    A tap is looked at from all sides before it is made (seen, still, not covered): where many were made already, the
    keys are pressed from within the page instead, for a tenth of the CPU.
    """
    if not tapped:
        page.evaluate(
            """texts => texts.forEach(text => {
              [...text].forEach(digit => document.querySelector(`[data-key="${digit}"]`).click());
              document.querySelector('#enter').click() })""",
            texts,
        )
        return
    for text in texts:
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
