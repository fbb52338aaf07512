"""A finished recording as data."""

from __future__ import annotations

from energy.words.result_model import Number, ResultModel, said


class ParameterGapData(ResultModel):
    """A parameter that stopped answering."""

    gaps: int = said("times that it stopped", "1")
    gap_s: float = said("time without it, in all", "s")


class RecordingData(ResultModel):
    """What was recorded."""

    file: str = said("the log")
    run_list: str = said("the run list that names it")
    rows: int = said("rows of the log", "1")
    duration_s: float = said("time of the recording", "s")
    gaps: int = said("times that the adapter did not answer", "1")
    gap_s: float = said("time without answers, in all", "s")
    marks: int = said("marks that were set", "1")
    columns: list[str] = said("columns that were asked for")
    fast_mode: bool = said("whether several parameters were asked for at once")
    ended_by: str = said("what ended it: duration, key or interrupt")
    questions_per_s: Number = said("questions that were answered in a second; null if unknown", "1/s")
    each_row: list[str] = said("columns that were asked for in each row")
    left_out: list[str] = said("columns that were asked for in turn, because the vehicle answers slowly")
    parameter_gaps: dict[str, ParameterGapData] = said("parameters that stopped answering, by column")
    stuck: list[str] = said("columns that once did not change while others moved")
    fuel_source: bool = said("whether litres can be calculated from it")
    restarts: int = said("times that the adapter lost its settings", "1")
    damaged_lines: int = said("damaged lines of the adapter, not used", "1")
