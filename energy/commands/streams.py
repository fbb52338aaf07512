"""Streams that cannot carry every sign: what stands for a sign there. A minus is never lost."""

from __future__ import annotations

import codecs
import io
import sys
import unicodedata

_STANDS_FOR = {
    "−": "-",
    "‑": "-",
    "–": "-",
    "—": "-",
    "±": "+-",
    "×": "x",
    "·": "*",
    "•": "*",
    "≤": "<=",
    "≥": ">=",
    "≈": "~",
    "→": "->",
    "←": "<-",
    "√": "sqrt",
    "²": "^2",
    "³": "^3",
    "½": "1/2",
    "°": " deg",
    "Ω": "ohm",
    "λ": "lambda",
    "ρ": "rho",
    "η": "eta",
    "µ": "u",
    "μ": "u",
    "Δ": "d",
    "…": "...",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "─": "-",
    "━": "-",
    "│": "|",
    "┼": "+",
    "█": "#",
}
_HANDLER, _ASCII = "windtoll_signs", "windtoll_ascii"


def _plain(text: str) -> str:
    """Return one sign in ASCII: what stands for it, else its letter without accents, else "?"."""
    if text in _STANDS_FOR:
        return _STANDS_FOR[text]
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode() or "?"


def _handled(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_plain(sign) for sign in error.object[error.start : error.end]), error.end


def _plain_ascii(name: str) -> codecs.CodecInfo | None:
    """Return ASCII under a name of its own: click writes UTF-8 to a stream that calls itself ASCII."""
    if name != _ASCII:
        return None
    known = codecs.lookup("ascii")
    return codecs.CodecInfo(
        name=_ASCII,
        encode=known.encode,
        decode=known.decode,
        incrementalencoder=known.incrementalencoder,
        incrementaldecoder=known.incrementaldecoder,
        streamreader=known.streamreader,
        streamwriter=known.streamwriter,
    )


def carry_signs() -> None:
    """Let standard output and standard error write another sign where their encoding lacks one."""
    codecs.register_error(_HANDLER, _handled)
    codecs.register(_plain_ascii)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            is_ascii = codecs.lookup(stream.encoding).name == "ascii"
            stream.reconfigure(encoding=_ASCII if is_ascii else None, errors=_HANDLER)


def carries_all(stream: object) -> bool:
    """Return whether a stream's encoding has every sign."""
    return str(getattr(stream, "encoding", None) or "utf-8").lower().startswith("utf")
