"""Who may talk to the app: a browser on this machine, at the app's own address. Everything else is refused unread."""

from __future__ import annotations

import ipaddress
from typing import Any
from urllib.parse import urlsplit

_NAMES = ("127.0.0.1", "localhost")


def is_own(host: str, origins: list[str], port: int) -> bool:
    """Return whether a request to `host` ("name:port"), with these Origin headers, comes from a page of the app.

    A name that another machine's DNS points here (rebinding) arrives as a foreign host; another page as a foreign
    origin. Both are refused before the web framework looks at them: it would ask an outside address for this machine's.
    """
    own = {f"{name}:{port}" for name in _NAMES}
    return host.lower() in own and all(_is_plain(origin) and urlsplit(origin).netloc in own for origin in origins)


def _is_plain(origin: str) -> bool:
    try:
        return urlsplit(origin).scheme == "http"
    except ValueError:  # brackets that close no address
        return False


def is_here(client: tuple[str, int] | None) -> bool:
    """Return whether a connection comes from this machine; one that does not say where it comes from does not.

    The app listens on the loopback address alone, unless somebody has it listen elsewhere by a variable of the
    environment or an option of the web framework; a Host header can then be made up.
    """
    try:
        address = ipaddress.ip_address(client[0] if client else "")
    except ValueError:
        return False
    return (getattr(address, "ipv4_mapped", None) or address).is_loopback


class OwnPagesOnly:
    """ASGI middleware that lets through what `is_here` and `is_own` accept: 403 for the rest, a web socket closed
    unopened.

    The port is the one that the request came in at.
    """

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer or refuse one request."""
        if scope["type"] not in ("http", "websocket"):  # start and end of the server
            await self.app(scope, receive, send)
            return
        said: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            said.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        hosts = said.get("host", [])
        here = is_here(scope.get("client"))
        if here and len(hosts) == 1 and is_own(hosts[0], said.get("origin", []), scope["server"][1]):
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await send({"type": "http.response.start", "status": 403, "headers": [(b"content-type", b"text/plain")]})
            await send({"type": "http.response.body", "body": b"Not from a page of this app."})
