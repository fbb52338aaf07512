"""What `check` found, as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import ResultModel, said


class CheckData(ResultModel):
    """A scenario without a fault; one with faults is told on standard error, with status 2."""

    valid: Literal[True] = said("the file is right")
    warnings: list[str] = said("what may be meant otherwise")
    assumed: list[str] = said("keys that are left to defaults")
