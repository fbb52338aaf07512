"""The passenger's call sheet: its settings, the numbers it asks for, and its cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.words.tune import setting_words
from vehicle.road_test.rule import rule_words
from vehicle.road_test.sources import source_word
from vehicle.units import UnitSystem, show_pair

if TYPE_CHECKING:
    from collections.abc import Sequence

    from energy.diagnosis.stepping import SteppingPlan
    from energy.words.call_sheet_model import AskedData
    from vehicle.logs.join import LogText
    from vehicle.road_test.planning import PlannedRun

CAUTIONS = (
    "Settings are stepped from the seat or at a stop: never by hand on a turning rotor.",
    "The driver breaks off whenever traffic asks for it. A missing reading costs nothing.",
    "More watts are more thrust and rotor speed: over a limit, stow the rotor, whatever the sheet says.",
)
ROAD_TEST_CAUTIONS = (
    "Turbine stowed, set free, taken off or put on at standstill only, the rotor stopped and tied first.",
    'The driver breaks off whenever traffic asks for it: tap "does not count", and drive that run again.',
    "Nobody in the plane of the rotor; blades, linkage and bolts checked before every working run.",
)
ASKED = {
    "watts": ("watts", "electrical_power_w", "W"),
    "rotor_speed": ("rotor speed", "rotor_speed_rpm", "rpm"),
    "volts": ("volts", "voltage_v", "V"),
    "air_speed": ("air speed", "air_speed", ""),
    "road_speed": ("road speed", "road_speed", ""),
    "temperature": ("temperature of the load", "temperature", ""),
    "gust": ("gust at the turn-around", "gust", ""),
    "air_temperature": ("air temperature", "air_temperature", ""),
}
"""What a passenger may be asked to type: name, label, column and unit (those left out go with the unit system)."""
USUALLY_ASKED = ("watts", "air_speed")
ON_A_ROAD_TEST = ("watts", "gust", "air_temperature")
_SPEED = {"metric": ("km_h", "km/h"), "us": ("mph", "mph"), "uk": ("mph", "mph")}
_TEMPERATURE = {"metric": ("degc", "°C"), "us": ("degf", "°F"), "uk": ("degc", "°C")}
_NAMED = ("pitch_deg", "resistance_ohm", "ratio", "run", "state", "pair", "direction")
_NOUNS = {"pitch": "blade pitch", "resistance": "element resistance", "ratio": "drive ratio"}
_COLUMNS = {"pitch": ("pitch_deg", "dial_deg"), "resistance": ("resistance_ohm",), "ratio": ("ratio",)}


def fields(asked: tuple[str, ...], system: UnitSystem) -> list[AskedData]:
    """Return the numbers that the page asks for, watts always first."""
    from energy.words.call_sheet_model import AskedData

    entries = []
    for name in dict.fromkeys(("watts", *asked)):
        label, column, unit = ASKED[name]
        if name in ("air_speed", "road_speed", "gust"):
            slug, unit = _SPEED[system]
            column = f"{column}_{slug}"
        elif name in ("temperature", "air_temperature"):
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
        settings=[
            SheetSettingData(
                value=float(f"{v:.6g}"),
                text=setting_words(plan.kind, v),
                cells=[f"{v:.6g}" for _ in _COLUMNS[plan.kind]],
            )
            for v in plan.order
        ],
        hold_s=round(plan.hold_s),
        noun="Setting",
        intro=f"{len(plan.order)} settings, each held {plan.hold_s:.0f} s or more, three readings or more:",
        cautions=[*dangers(plan, system), *CAUTIONS],
        fields=fields(asked, system),
    ).model_dump()


def dangers(plan: SteppingPlan, system: UnitSystem) -> list[str]:
    """Return which settings break a limit, a line each with the one most exceeded; empty where none does."""
    said = []
    for value, broken in plan.broken:
        reached, most = show_pair(broken[0].value, broken[0].limit, broken[0].kind, system)
        more = len(broken) - 1
        others = f"; {more} more limit{'s are' if more > 1 else ' is'} broken" if more else ""
        said.append(
            f"Do not operate at {_NOUNS[plan.kind]} {setting_words(plan.kind, value)}: {broken[0].in_a_sentence} "
            f"{reached} exceeds its limit of {most}{others}."
        )
    return said


def road_test_data(
    runs: Sequence[PlannedRun],
    title: str,
    system: UnitSystem,
    run_s: float | None = None,
    *,
    on_battery: bool = False,
) -> dict[str, Any]:
    """Return the call sheet of a road test as data for its page: its runs in the order planned."""
    from energy.words.call_sheet_model import SheetData, SheetSettingData

    return SheetData(
        title=title,
        kind="road_test",
        columns=["run", "state", "pair", "direction"],
        settings=[
            SheetSettingData(
                value=run.number,
                text=f"{run.state}, {run.direction}, pair {run.pair}",
                cells=[str(run.number), run.state, str(run.pair), run.direction],
            )
            for run in runs
        ],
        hold_s=round(run_s or 0),
        noun="Run",
        intro=f"{len(runs)} runs. Tap when a run begins at its speed, and again when it ends, before the brake:",
        cautions=[*ROAD_TEST_CAUTIONS, *rule_words(source_word(on_battery))],
        fields=fields(ON_A_ROAD_TEST, system),
    ).model_dump()


def after_the_road_test(out: str, on_battery: bool = False) -> list[str]:
    """Return how a road test's page gets to the phone, and what reads its file."""
    return [
        f"Send {out} to the passenger's phone and open it from its storage; it needs no network.",
        _OF_THE_TIMES if on_battery else _CUTS_THE_LOG,
    ]


_CUTS_THE_LOG = (
    "What Share gives (call_sheet.csv) cuts the log of the whole drive into runs: windtoll compare call_sheet.csv "
    "--log DRIVE.csv --scenario SCENARIO.toml"
)
_OF_THE_TIMES = (
    "What Share gives (call_sheet.csv) has the start, end and state of every run. Write them into a list of runs "
    "(runs.toml) with energy_used, distance and duration: windtoll compare runs.toml --scenario SCENARIO.toml"
)


def written_data(data: dict[str, Any], out: str, broken: list[str]) -> dict[str, Any]:
    """Return a call sheet that was written, as data for `--json`; `broken` are its `dangers`."""
    from energy.words.call_sheet_model import CallSheetData

    return CallSheetData(
        **data, file=out, next=what_next(out, data), safe=False if broken else None, dangers=broken
    ).model_dump()


def written_words(plan: SteppingPlan, out: str) -> str:
    """Return that the page was written, and what it holds."""
    many = len(set(plan.order))
    return f"Call sheet written to {out}: {many} settings of the {_NOUNS[plan.kind]}, each held twice."


def unsafe_settings(plan: SteppingPlan) -> str:
    """Return what to do about settings that break a limit."""
    kept = sorted({*plan.order} - {value for value, _ in plan.broken})
    give = f'--settings "{", ".join(f"{value:.4g}" for value in kept)}"' if len(kept) > 1 else "--settings"
    return f"What to change: drive slower, or step within the limits ({give})."


def what_next(out: str, data: dict[str, Any]) -> list[str]:
    """Return how the page gets to the phone, and what reads its file."""
    names = [one["name"] for one in data["fields"]]
    said = [
        f"Send {out} to the passenger's phone and open it from its storage; it needs no network.",
        "What Share gives (call_sheet.csv) is read by: windtoll tune SCENARIO.toml call_sheet.csv"
        + ("; windtoll truepitch SCENARIO.toml call_sheet.csv" if {"rotor_speed", "air_speed"} <= {*names} else "")
        + "; windtoll heat SCENARIO.toml --power call_sheet.csv"
        + ("; windtoll shortfall SCENARIO.toml call_sheet.csv" if "road_speed" in names else "")
        + ("; windtoll fit load call_sheet.csv --ambient ..." if "temperature" in names else "")
        + '; windtoll join LOG.csv call_sheet.csv --longest-gap "60 s" (clocks from the dates).',
    ]
    if not {"air_speed", "road_speed"} & {*names}:
        said.append("Without air speed or road speed tune cannot separate gusts from settings: --ask air_speed.")
    return said


def entry_words(log: LogText) -> list[str]:
    """Return what a call sheet's CSV holds: its settings or runs with when they began, readings and mean watts."""
    import numpy as np

    time_s, place = log.numbers["time_s"], log.header.index("event")
    watts = log.numbers.get("electrical_power_w", np.full(len(time_s), np.nan))
    events = [cells[place].strip() for cells in log.rows]
    begins = [k for k, event in enumerate(events) if event.endswith(" begins")]
    readings = sum(event == "reading" for event in events)
    span = float(np.nanmax(time_s) - np.nanmin(time_s)) / 60
    said = [
        f"{log.path.name}: a passenger's call sheet, {len(events)} entries ({readings} readings) over {span:.1f} min"
    ]
    for k, after in zip(begins, [*begins[1:], len(events)], strict=True):
        inside = watts[k:after]
        inside = inside[np.isfinite(inside)]
        mean = f", mean {inside.mean():.0f} W of {inside.size}" if inside.size else ""
        what = ", ".join(cell for name, cell in zip(log.header, log.rows[k], strict=True) if name in _NAMED and cell)
        said.append(f"  {time_s[k] / 60:5.1f} min  {events[k]} ({what}){mean}")
    held = [name for name in log.numbers if name not in ("time_s", *_NAMED)]
    said.append(f"  numbers: {', '.join(held) or 'none'}")
    reads = "compare (with --log)" if "state" in log.header else "tune, heat --power, truepitch, shortfall, fit load"
    return [*said, f"  It is read by: windtoll {reads}; join"]
