"""A scenario that was begun, and its first answer, as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import ResultModel, said
from energy.words.rotor_choice_model import BladeData, RotorsData


class BeginData(ResultModel):
    """The files that were written, and what they answer."""

    written: list[str] = said("the files that were written, the scenario first")
    verdict: Literal["costs", "saves", "cannot tell", "no effect"] = said("the verdict in a word")
    safe: bool | None = said(
        "false where a limit is broken: do not operate; null where none is broken, since structural loads are not "
        "checked here (windtoll loads)"
    )
    guesses: list[str] = said("keys whose values are typical ones, to be replaced by your own")
    sentence: str = said("the verdict in sentences, with what is least known")
    blade: BladeData | None = said("the textbook blade that was drawn; null where the rotor is your own")
    rotors: RotorsData | None = said("other rotors for the same heat; null where the rotor is your own")


class ExampleData(ResultModel):
    """The demo scenarios that were copied."""

    written: list[str] = said("the scenarios and run lists that were written")
