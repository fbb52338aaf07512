"""What is in logs as data."""

from __future__ import annotations

from pydantic import Field, RootModel

from energy.words.result_model import Number, ResultModel, said


class ColumnData(ResultModel):
    """One column of the file."""

    header: str = said("its header")
    parameter: str = said("the parameter that it holds; empty where it is not used")
    unit: str = said("the unit that it is in")
    unit_from: str = said("where that unit was found: header, unit row, standard ...")
    use: str = said("what became of it: used, ignored, not understood ...")
    note: str = said("what is to be said of it")


class RepairData(ResultModel):
    """One kind of repair."""

    what: str = said("what was mended")
    count: int = said("how often", "1")


class LoggedFuelData(ResultModel):
    """The fuel that a log gives."""

    source: str = said("where it comes from; empty where the log gives none")
    litres: Number = said("fuel over the log", "L")
    mean_l_per_h: Number = said("mean fuel", "L/h")
    known_share: float = said("share of the time for which it is known", "1")
    overrun_share: Number = said("share of the rows in which fuel is cut off", "1")
    assumptions: list[str] = said("what it rests on")
    not_used_because: list[str] = said("why other sources were not used")
    l_per_100km: Number = said("fuel per distance; null below 500 m, or without a distance", "L/100 km")
    l_per_100km_over_km: Number = said("way over which both fuel and speed are known; null as above", "km")
    calibrated_volumetric_efficiency: Number = said("filling that fits the receipt; null without --receipt", "1")


class ColumnRangeData(ResultModel):
    """The range of one tidy column."""

    minimum: float = said("minimum", "SI unit of the column")
    mean: float = said("mean", "SI unit of the column")
    maximum: float = said("maximum", "SI unit of the column")
    known_share: float = said("share of the rows in which it is known", "1")


class EnginePowerData(ResultModel):
    """Power of the engine."""

    mean_w: float = said("mean power at the flywheel", "W")
    source: str = said("where it comes from")


class TractivePowerData(ResultModel):
    """Power at the wheels, by mass and road load of the manifest."""

    mean_w: float = said("mean power", "W")
    mean_positive_w: float = said("mean power, braking counted as zero", "W")


class StuckData(ResultModel):
    """A value that stood still while others moved."""

    parameter: str = said("the parameter")
    begin_s: Number = said("from this time", "s")
    end_s: Number = said("to this time", "s")
    value: Number = said("the value", "SI unit of the parameter")
    left_empty: bool = said("whether it is left out of everything else, as certainly wrong")


class LogData(ResultModel):
    """What is in one log."""

    file: str = said("name of the log")
    rows: int = said("its rows", "1")
    duration_s: Number = said("time from first to last row", "s")
    distance_km: Number = said("way; null where the log has no speed", "km")
    clock: str = said("the clock that was used")
    columns: list[ColumnData] = said("every column of the file")
    repairs: list[RepairData] = said("what was mended")
    flagged_rows: dict[str, int] = said("rows by quality flag", "1")
    fuel: LoggedFuelData = said("the fuel")
    notes: list[str] = said("what is to be known before trusting the numbers")
    checks: list[str] = said("columns whose values cannot be right, and what was dropped of them")
    statistics: dict[str, ColumnRangeData] = said("range of each tidy column")
    engine_power: EnginePowerData | None = said("power of the engine; null where the log does not give it")
    tractive_power: TractivePowerData | None = said("power at the wheels; null without mass and road load")
    row_s: Number = said("usual time from row to row; null for a single row", "s")
    stuck: list[StuckData] = said("values that stood still while others moved")


class LogsData(ResultModel):
    """What is in several logs."""

    logs: list[LogData] = said("one entry a log")


class ReadData(RootModel[LogData | LogsData]):
    """What is in one log, or in several."""

    root: LogData | LogsData = Field(description="one log, or several")
