"""Which screens there are, in the order in which a builder meets them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass

from energy.words.screens import QUESTIONS


@dataclass(frozen=True)
class Screen:
    """One screen: the group it is listed under, the question that names it, its place in the address, its module."""

    group: str
    question: str
    place: str
    module: str

    def shows(self) -> Callable[[], None]:
        """Return the module's `show`, imported now."""
        shows: Callable[[], None] = importlib.import_module(f"energy.screens.{self.module}").show
        return shows


ANSWER, BUILD, MEASURE = "The answer", "Before you build", "After you measured"


def _screen(group: str, place: str, module: str) -> Screen:
    return Screen(group, QUESTIONS[place], place, module)


SCREENS = (
    _screen(ANSWER, "fuel", "fuel"),
    _screen(ANSWER, "pay", "pay"),
    _screen(ANSWER, "compare", "compare"),
    _screen(ANSWER, "evidence", "evidence"),
    _screen(BUILD, "scenario", "edit"),
    _screen(BUILD, "size", "size"),
    _screen(BUILD, "rotor", "rotor"),
    _screen(BUILD, "setting", "setting"),
    _screen(BUILD, "heat", "heat"),
    _screen(BUILD, "loads", "withstand"),
    _screen(MEASURE, "plan", "plan"),
    _screen(MEASURE, "road", "road"),
    _screen(MEASURE, "shortfall", "shortfall"),
    _screen(MEASURE, "pitch", "pitch"),
    _screen(MEASURE, "watts", "watts"),
)
