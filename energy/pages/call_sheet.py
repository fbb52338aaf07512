"""The passenger's call sheet: one HTML file that works on a phone without any network."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

from markupsafe import Markup

from energy.pages.templates import filled


def as_html(data: dict[str, Any]) -> str:
    """Return the page of a call sheet (`energy.words.call_sheet.as_data`).

    Texts of the user go in escaped: by the template, and within the data by its JSON filter. The page's own script and
    style are the only ones that may run: their hashes stand in its Content-Security-Policy.
    """
    script, style = _part("call_sheet.js"), _part("call_sheet.css")
    same = hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()[:16]
    return filled(
        "call_sheet.html",
        plan={**data, "id": same},  # one phone may hold several sheets
        title=data["title"],
        settings=data["settings"],
        intro=data["intro"],
        cautions=data["cautions"],
        is_road_test=data["kind"] == "road_test",
        script=Markup(script),
        style=Markup(style),
        script_hash=_hash(script),
        style_hash=_hash(style),
    )


def _part(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
