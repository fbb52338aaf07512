"""A call sheet as data: for its page, and for `--json`."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import ResultModel, said
from energy.words.tune_model import OF_THE_SETTING


class SheetSettingData(ResultModel):
    """One setting to try."""

    value: float = said("the setting", OF_THE_SETTING)
    text: str = said("the setting as it is shown")
    cells: list[str] = said("what the CSV file of the page holds of it, in the order of columns")


class AskedData(ResultModel):
    """One number that the passenger types."""

    name: str = said("name of the number")
    label: str = said("how the page asks for it")
    column: str = said("its column in the CSV file that the page gives")
    unit: str = said("unit in which it is typed")


class SheetData(ResultModel):
    """What the page holds."""

    title: str = said("title of the scenario")
    kind: Literal["pitch", "resistance", "ratio", "road_test"] = said("what is stepped, or the runs of a road test")
    columns: list[str] = said("columns of the setting in the CSV file that the page gives")
    settings: list[SheetSettingData] = said("the settings in the order in which to try them")
    hold_s: int = said("how long each setting is held, or a run takes; 0 where that is not known", "s")
    noun: Literal["Setting", "Run"] = said("what the page counts")
    intro: str = said("what is to be done, in a sentence")
    cautions: list[str] = said("what could hurt someone or spoil the drive")
    fields: list[AskedData] = said("the numbers that the passenger types")


class CallSheetData(SheetData):
    """The page that was written."""

    file: str = said("the page")
    next: list[str] = said("how it gets to the phone, and what reads its file")
    safe: bool | None = said("false where a setting breaks a limit; null where none does, since loads are not checked")
    dangers: list[str] = said("settings that break a limit, and which; empty where none does")
