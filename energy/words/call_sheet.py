"""The passenger's call sheet: its settings, the numbers it asks for, and its cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.words.tune import setting_words
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.diagnosis.stepping import SteppingPlan
    from energy.words.call_sheet_model import AskedData

CAUTIONS = (
    "Settings are stepped from the seat or at a stop: never by hand on a turning rotor.",
    "The driver breaks off whenever traffic asks for it. A missing reading costs nothing.",
    "More watts are more thrust and rotor speed: over a limit, stow the rotor, whatever the sheet says.",
)
ASKED = {
    "watts": ("watts", "electrical_power_w", "W"),
    "rotor_speed": ("rotor speed", "rotor_speed_rpm", "rpm"),
    "volts": ("volts", "voltage_v", "V"),
    "air_speed": ("air speed", "air_speed", ""),
    "road_speed": ("road speed", "road_speed", ""),
    "temperature": ("temperature of the load", "temperature", ""),
}
"""What a passenger may be asked to type: name, label, column and unit (those left out go with the unit system)."""
USUALLY_ASKED = ("watts", "air_speed")
_SPEED = {"metric": ("km_h", "km/h"), "us": ("mph", "mph"), "uk": ("mph", "mph")}
_TEMPERATURE = {"metric": ("degc", "°C"), "us": ("degf", "°F"), "uk": ("degc", "°C")}
_COLUMNS = {"pitch": ("pitch_deg", "dial_deg"), "resistance": ("resistance_ohm",), "ratio": ("ratio",)}


def fields(asked: tuple[str, ...], system: UnitSystem) -> list[AskedData]:
    """Return the numbers that the page asks for, watts always first."""
    from energy.words.call_sheet_model import AskedData

    entries = []
    for name in dict.fromkeys(("watts", *asked)):
        label, column, unit = ASKED[name]
        if name in ("air_speed", "road_speed"):
            slug, unit = _SPEED[system]
            column = f"{column}_{slug}"
        elif name == "temperature":
            slug, unit = _TEMPERATURE[system]
            column = f"{column}_{slug}"
        entries.append(AskedData(name=name, label=label, column=column, unit=unit))
    return entries


def as_data(plan: SteppingPlan, title: str, asked: tuple[str, ...], system: UnitSystem) -> dict[str, Any]:
    """Return the call sheet as data for its page."""
    from energy.words.call_sheet_model import SheetData, SheetSettingData

    return SheetData(
        title=title,
        kind=plan.kind,
        columns=list(_COLUMNS[plan.kind]),
        settings=[SheetSettingData(value=float(f"{v:.6g}"), text=setting_words(plan.kind, v)) for v in plan.order],
        hold_s=round(plan.hold_s),
        fields=fields(asked, system),
    ).model_dump()


def written_data(data: dict[str, Any], out: str) -> dict[str, Any]:
    """Return a call sheet that was written, as data for `--json`."""
    from energy.words.call_sheet_model import CallSheetData

    return CallSheetData(**data, file=out, next=what_next(out, data)).model_dump()


def what_next(out: str, data: dict[str, Any]) -> list[str]:
    """Return how the page gets to the phone, and what reads its file."""
    names = [one["name"] for one in data["fields"]]
    said = [
        f"Send {out} to the passenger's phone and open it from its storage; it needs no network.",
        "What Share gives (call_sheet.csv) is read by: windtoll tune SCENARIO.toml call_sheet.csv"
        + ("; windtoll truepitch SCENARIO.toml call_sheet.csv" if {"rotor_speed", "air_speed"} <= {*names} else "")
        + ("; windtoll fit load call_sheet.csv --ambient ..." if "temperature" in names else "")
        + '; windtoll join LOG.csv call_sheet.csv --longest-gap "60 s" (clocks from the dates).',
    ]
    if not {"air_speed", "road_speed"} & {*names}:
        said.append("Without air speed or road speed tune cannot separate gusts from settings: --ask air_speed.")
    return said
