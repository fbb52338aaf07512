"""Who may talk to the app: a browser on this machine, at the app's own address. Everything else is refused unread."""

from __future__ import annotations

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


def close_to_others(port: int) -> None:
    """Let the web server of this process answer only what `is_own` lets through; 403 for the rest."""
    from tornado import web

    found = web.Application.find_handler

    def checked(self: web.Application, request: Any, **known: Any) -> Any:
        origins = request.headers.get_list("Origin") + request.headers.get_list("Sec-Websocket-Origin")
        if is_own(request.host, origins, port):
            return found(self, request, **known)
        return self.get_handler_delegate(request, web.ErrorHandler, {"status_code": 403})

    web.Application.find_handler = checked  # type: ignore[method-assign]
