"""Which screens there are, in the order in which a builder meets them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Screen:
    """One screen: the question that names it, its place in the address, its module beside this one."""

    question: str
    place: str
    module: str

    def shows(self) -> Callable[[], None]:
        """Return the module's `show`, imported now."""
        shows: Callable[[], None] = importlib.import_module(f"energy.screens.{self.module}").show
        return shows


SCREENS = (
    Screen("Does it save or cost fuel?", "fuel", "fuel"),
    Screen("What is built, and how is it driven?", "scenario", "edit"),
    Screen("What will the rotor do?", "rotor", "rotor"),
    Screen("When is it hot?", "heat", "heat"),
    Screen("What must it withstand?", "loads", "withstand"),
    Screen("What setting is best?", "setting", "setting"),
    Screen("When could it pay?", "pay", "pay"),
    Screen("What did the road say?", "road", "road"),
    Screen("What did my change do?", "compare", "compare"),
)
