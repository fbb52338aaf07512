"""Helpers for the tests in a real browser."""

from __future__ import annotations

from typing import Any

PHONE = {"width": 390, "height": 844}


def open_screen(page: Any, address: str, place: str = "") -> None:
    """Open a screen by its place in the address, the first one by default, and wait until it is drawn."""
    page.goto(f"{address}/{place}")
    page.wait_for_selector(".wt-verdict")
    settled(page)


def settled(page: Any) -> None:
    """Wait until the app has done what it was asked, and the page has drawn it."""
    page.wait_for_function(
        "!document.querySelector('[data-testid=stApp]').getAttribute('data-test-script-state').includes('running')"
        " && !document.querySelector('[data-testid=stSkeleton]')"
    )
    page.wait_for_timeout(150)
