"""Two logs joined as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said


class JoinData(ResultModel):
    """What was added to the first log."""

    file: str = said("the file that was written")
    offset_s: Number = said("what was added to the second log's clock", "s")
    offset: EstimateData = said("the same, as matching found it, with its interval; null where it was not matched", "s")
    drift_s_per_h: EstimateData = said("what the second clock loses an hour; null where none shows", "s/h")
    lag_s: EstimateData = said("time by which the second signal follows the first; null where none shows", "s")
    residual_s: Number = said("by how much the worst stretch is clearly off; null where none shows its offset", "s")
    how: Literal["given", "clocks", "correlation"] = said("how that was found")
    correlation: Number = said("correlation of the two columns; null where they were not matched", "1")
    rows: int = said("rows of the first log", "1")
    filled: dict[str, int] = said("rows that were filled, by added column", "1")
    warnings: list[str] = said("what may be wrong with it")
