"""What stands around the screens: who may talk to the app, its own style and manners in the browser, its last resort.

The web framework's page is served as it is, with one script and one style sheet of our own added. They are part of the
package; nothing is fetched from elsewhere.
"""

from __future__ import annotations

import asyncio
import contextlib
import html
import sys
import traceback
import webbrowser
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from energy.screens.gate import OwnPagesOnly
from energy.words.screens import QUESTIONS, UNFORESEEN

_HERE = Path(__file__).parent
_SCRIPT = "/windtoll/shell.js"
# Files of our own by their place in the address, with their kind; the typeface is under the SIL Open Font License 1.1,
# whose text lies beside it.
_OWN_FILES = {
    _SCRIPT: ("shell.js", b"text/javascript; charset=utf-8"),
    "/windtoll/atkinson_hyperlegible_next.woff2": ("atkinson_hyperlegible_next.woff2", b"font/woff2"),
}
# For whom the system is set to less motion; the framework moves all the same. In the page's head: it moves before it
# has drawn anything of ours.
_LESS_MOTION = """<style>@media (prefers-reduced-motion: reduce) { *, *::before, *::after {
  animation: none !important; transition: none !important; scroll-behavior: auto !important; } }</style>"""
_PLACES = frozenset({*QUESTIONS, "works", ""})  # of pages, as they stand in the address
_PATIENCE_S = 60.0


def style() -> str:
    """Return the app's own style, to be shown after that of the pieces of a screen."""
    return f"<style>{(_HERE / 'shell.css').read_text(encoding='utf-8')}</style>"


def middleware() -> list[Any]:
    """Return what every request passes: the gate first, then the page's own script."""
    from starlette.middleware import Middleware

    return [Middleware(OwnPagesOnly), Middleware(OwnScript)]


class OwnScript:
    """ASGI middleware that serves the app's script and typeface, and names the script in the framework's page.

    An address that is no page leads to the first one: the framework would open it under a box of its own words.
    """

    def __init__(self, app: Any) -> None:
        self.app = app
        self.files = {path: ((_HERE / name).read_bytes(), kind) for path, (name, kind) in _OWN_FILES.items()}

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
        elif scope["path"] in self.files:
            content, kind = self.files[scope["path"]]
            headers = [(b"content-type", kind), (b"cache-control", b"no-cache")]
            await send({"type": "http.response.start", "status": 200, "headers": headers})
            await send({"type": "http.response.body", "body": content})
        elif b"text/html" in dict(scope["headers"]).get(b"accept", b"") and _is_no_page(scope["path"]):
            asked = b"?" + scope["query_string"] if scope["query_string"] else b""
            await send({"type": "http.response.start", "status": 307, "headers": [(b"location", b"/" + asked)]})
            await send({"type": "http.response.body", "body": b""})
        elif b"text/html" in dict(scope["headers"]).get(b"accept", b""):
            # Asked for unpacked: it is written into.
            headers = [(k, v) for k, v in scope["headers"] if k.lower() not in (b"accept-encoding", b"if-none-match")]
            await self.app({**scope, "headers": headers}, receive, _Naming(send))
        else:
            await self.app(scope, receive, send)


def _is_no_page(path: str) -> bool:
    """Return whether an address could be that of a page, and is none; files and what the framework serves are below."""
    place = path.strip("/")
    return place not in _PLACES and not place.startswith("_") and not any(mark in place for mark in "/.")


class _Naming:
    """Sends a page on with script and manners of motion in its head; what is no page goes as it is."""

    def __init__(self, send: Any) -> None:
        self.send = send
        self.start: Any = None
        self.body = b""

    async def __call__(self, message: Any) -> None:
        if message["type"] == "http.response.start":
            kind = dict(message["headers"]).get(b"content-type", b"")
            if kind.startswith(b"text/html"):
                self.start = message
                return
        elif self.start is not None and message["type"] == "http.response.body":
            self.body += message.get("body", b"")
            if message.get("more_body"):
                return
            tag = f'{_LESS_MOTION}<script defer src="{_SCRIPT}"></script></head>'.encode()
            body = self.body.replace(b"</head>", tag, 1).replace(
                b"<title>Streamlit</title>", b"<title>windtoll</title>"
            )
            kept = [(k, v) for k, v in self.start["headers"] if k.lower() not in (b"content-length", b"etag")]
            headers = [*kept, (b"content-length", str(len(body)).encode())]
            await self.send({**self.start, "headers": headers})
            message = {"type": "http.response.body", "body": body}
        await self.send(message)


@contextlib.asynccontextmanager
async def opened(_app: Any) -> AsyncIterator[dict[str, Any]]:
    """Open a browser at the app as soon as it answers, unless it was started without one."""
    from streamlit import config

    waiting = None
    if not config.get_option("server.headless"):
        waiting = asyncio.create_task(_open_browser(int(config.get_option("server.port"))))
    yield {}
    if waiting is not None:
        waiting.cancel()


async def _open_browser(port: int) -> None:
    for _ in range(int(_PATIENCE_S / 0.2)):
        try:
            _, writer = await asyncio.open_connection("127.0.0.1", port)
        except OSError:
            await asyncio.sleep(0.2)
            continue
        writer.close()
        await asyncio.to_thread(webbrowser.open, f"http://127.0.0.1:{port}")
        return


def unforeseen(error: Exception) -> bool:
    """Say in one sentence that something unforeseen happened; the terminal has the details."""
    import streamlit as st

    traceback.print_exception(error, file=sys.stderr)
    st.html(
        '<div class="wt-problem" role="alert"><h2>Something unforeseen happened here</h2>'
        f"<p>{html.escape(UNFORESEEN)}</p></div>"
    )
    return True
