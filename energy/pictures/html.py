"""A chart as one HTML file: it loads nothing, and no text in it can become a script.

The chart is data in a `<script type="application/json">`. Two scripts run, the drawing library and the three lines that
start it; the content security policy names both by their SHA-256, so that nothing else does, and forbids every
connection. Expressions of the chart are interpreted, not compiled (the policy forbids `eval`).
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from typing import Any

from vehicle.files import MARK

# Inside a script element a browser looks for "</script" and "<!--" whatever the script says; the last two end a line.
_ESCAPES = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}
_START = (
    "const spec = JSON.parse(document.getElementById('spec').textContent);\n"
    "vegaEmbed('#chart', spec, {mode: 'vega-lite', ast: true, renderer: 'svg', actions: false});"
)


def json_in_html(data: Any) -> str:
    """Return data as JSON that may stand inside an HTML script element, whatever texts are in it."""
    return json.dumps(data, allow_nan=False, ensure_ascii=False).translate(_ESCAPES)


def chart_page(spec: dict[str, Any], title: str) -> str:
    """Return a page that draws a Vega-Lite `spec`, self-contained."""
    import vl_convert

    library = vl_convert.javascript_bundle()  # type: ignore[call-arg]  # its types call the snippet required
    sources = " ".join(f"'sha256-{_digest(script)}'" for script in (library, _START))
    policy = (
        f"default-src 'none'; script-src {sources}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><meta name="generator" content="{MARK}">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f"<title>{html.escape(title)}</title>\n"
        f'</head><body><div id="chart"></div>\n'
        f'<script type="application/json" id="spec">{json_in_html(spec)}</script>\n'
        f"<script>{library}</script>\n<script>{_START}</script></body></html>\n"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
