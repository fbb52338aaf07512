"""Which screens there are, in the order in which a builder meets them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass


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

SCREENS = (
    Screen(ANSWER, "Does it save or cost fuel?", "fuel", "fuel"),
    Screen(ANSWER, "When could it pay?", "pay", "pay"),
    Screen(ANSWER, "What did my change do?", "compare", "compare"),
    Screen(ANSWER, "Why believe these numbers?", "evidence", "evidence"),
    Screen(BUILD, "What is built, and how is it driven?", "scenario", "edit"),
    Screen(BUILD, "How large must it be?", "size", "size"),
    Screen(BUILD, "What will the rotor do?", "rotor", "rotor"),
    Screen(BUILD, "What setting is best?", "setting", "setting"),
    Screen(BUILD, "When is it hot?", "heat", "heat"),
    Screen(BUILD, "What must it withstand?", "loads", "withstand"),
    Screen(MEASURE, "How many runs would prove it?", "plan", "plan"),
    Screen(MEASURE, "What did the road say?", "road", "road"),
    Screen(MEASURE, "Why so few watts?", "shortfall", "shortfall"),
    Screen(MEASURE, "Is the pitch what the dial says?", "pitch", "pitch"),
    Screen(MEASURE, "Where did the watts go?", "watts", "watts"),
)
