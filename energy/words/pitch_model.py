"""What the pitch must have been as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said

Branch = Literal["stalled", "unstalled", "either", "none"]


class DialData(ResultModel):
    """Whether the dial can be believed."""

    offset_deg: EstimateData = said("pitch less the dial's reading", "deg")
    drift_deg: EstimateData = said("how far that changed from the first row to the last", "deg")


class MeasuredRowData(ResultModel):
    """One measured row, and the pitches that explain it."""

    air_speed_m_s: Number = said("air speed at the rotor", "m/s")
    rotor_speed_rad_s: Number = said("rotor speed", "rad/s")
    electrical_power_w: Number = said("power into the element", "W")
    tip_speed_ratio: Number = said("tip speed over air speed", "1")
    power_coefficient: Number = said("shaft power over the power of the air through the disc", "1")
    stalled_deg: Number = said("pitch on the stalled side that gives this power; null where none does", "deg")
    unstalled_deg: Number = said("pitch on the unstalled side that gives this power; null where none does", "deg")
    allowed_deg: EstimateData = said("pitches that this row allows; no estimate of its own: null", "deg")
    explained: bool = said("whether any pitch explains it")


class TruePitchData(ResultModel):
    """The pitch that explains the measured rows."""

    safe: bool | None = said("false where a limit is broken; null where none is, since loads are not checked here")
    dangers: list[str] = said("limits broken by the rows, or at the pitch found, and what to change")
    warnings: list[str] = said("what can happen at that pitch")
    headline: str = said("the answer in one line")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    pitch_deg: EstimateData = said("the pitch; all null where none explains the rows", "deg")
    branch: Branch = said("the side of the best pitch on which it lies; none where no pitch explains the rows")
    other_pitch_deg: EstimateData = said("a second pitch that explains them; all null where there is none", "deg")
    other_branch: Branch | None = said("the side of the second pitch")
    dial: DialData | None = said("whether the dial can be believed; null where it was not read")
    watts_over_scenario: Number = said("power that was read over that of the scenario at this pitch", "1")
    scatter: Number = said("misfit of the rows over what was expected: 1 is as expected", "1")
    notes: list[str] = said("what is to be known of the answer")
    rows: list[MeasuredRowData] = said("one entry a measured row")
