"""Fills the pages' templates, which stand beside this module; every text that goes in is escaped."""

from __future__ import annotations

import functools
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from vehicle.files import MARK


@functools.cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(Path(__file__).parent, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def filled(name: str, **values: object) -> str:
    """Return the page that a template makes of values; one that it asks for and does not get is an error."""
    return _environment().get_template(name).render(mark=MARK, **values)
