"""Road load from coast-downs as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said


class AtSpeedData(ResultModel):
    """A speed."""

    speed_km_h: Number = said("road speed", "km/h")


class ForceData(EstimateData, AtSpeedData):
    """The road load at one speed."""


class CoastRunData(ResultModel):
    """One coast-down."""

    name: str = said("name of its log")
    direction: Literal["+", "-"] = said("direction on the road")
    seconds: Number = said("time that it took", "s")
    from_km_h: Number = said("speed at its beginning", "km/h")
    to_km_h: Number = said("speed at its end", "km/h")


class CoastDownData(ResultModel):
    """The road load F = A + B v + C v^2, at the air density of the day."""

    coastdown_a_n: EstimateData = said("A", "N")
    coastdown_b_n_s_m: EstimateData = said("B", "N s/m")
    coastdown_c_n_s2_m2: EstimateData = said("C", "N s^2/m^2")
    level: float = said("level of the intervals", "1")
    force: list[ForceData] = said("the road load at several speeds", "N")
    head_wind_m_s: Number = said("wind along the road in direction +, taken out; null if unknown", "m/s")
    grade_percent: Number = said("rise over way in direction +, taken out", "%")
    residual_km_h: Number = said("root mean square of what the fit leaves of the speeds", "km/h")
    runs: list[CoastRunData] = said("the coast-downs")
    pairs: int = said("pairs of coast-downs in both directions", "1")
    remarks: list[str] = said("what was cut or left out, and what is to be known")
    unusable: str = said("why the numbers must not be used; empty where they may")
    directions_assumed: bool = said("whether the direction of a run was taken from its order")
    warnings: list[str] = said("what may be wrong with it")
