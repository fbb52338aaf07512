"""The run sheet of a road test as plain text: in which order to drive, what to keep the same, when not to drive."""

from __future__ import annotations

from collections.abc import Sequence

from vehicle.road_test.planning import PlannedRun
from vehicle.road_test.rule import MOST_GUST_M_S, MOST_WARMER_K, MOST_WIND_M_S, rule_words
from vehicle.road_test.sources import source_word

MOST_ON_ONE_PAGE = 32

_DRIVING = (
    "Steady speed (cruise control if there is one), the same gear, the same lane; write down every stop and "
    "every lorry ahead.",
    "Windows shut, heating, fan and air conditioning as they are, lights as they are, the same people and load.",
    "Tyres cold-checked to one pressure before the first run (tyre_pressure in the list of runs).",
    "Turn around at the same two places; change the state of the turbine only at standstill.",
)
_ON_FUEL = (
    "Engine warm before the first run: 20 minutes of driving, coolant steady.",
    "Fuel of one filling.",
)
_ON_BATTERY = (
    "Battery and tyres warm before the first run: 20 minutes of driving.",
    "About the same charge at the start of each block, and not full: a full battery takes back no braking.",
    "Set the display's energy to zero at the start of each run, read it at the end, with all its digits (energy_used "
    "in the list of runs).",
)
WEATHER = (
    f"Dry road, no rain or snow; wind under {MOST_WIND_M_S:g} m/s ({MOST_WIND_M_S * 2.23694:.0f} mph) along the road, "
    f"gusts under {MOST_GUST_M_S:g} m/s ({MOST_GUST_M_S * 2.23694:.0f} mph); put the test off otherwise.",
    f"Air temperature within {MOST_WARMER_K:g} K ({1.8 * MOST_WARMER_K:g} °F) over a block; write down wind, gusts, "
    "temperature and time at each turn-around (head_wind, gust, temperature in the list of runs).",
    "Tick every run in which a vehicle drove ahead within 200 m (650 ft), and for how much of it (vehicle_ahead).",
)
CAUTIONS = (
    "A passenger logs. The driver touches neither laptop nor phone and breaks off whenever traffic asks for it.",
    "Before every working run: blades, pitch linkage, bolts and guy wires checked by hand; nobody in the plane "
    "of the rotor.",
    "Stowed means blades stopped and secured. Never reach for a turning rotor; stop the vehicle, brake the "
    "rotor first.",
    "Rotor output can be at dangerous voltage and the load hot: keep lids shut, cables clear, an extinguisher at hand.",
    "Is the rig allowed on this road? Local rules, the vehicle's approval and its insurance decide, not this sheet.",
)


def keep_the_same(on_battery: bool) -> tuple[str, ...]:
    """Return what is kept the same in every run of a vehicle with an engine, or on a battery."""
    return (*_DRIVING, *(_ON_BATTERY if on_battery else _ON_FUEL))


def points(on_battery: bool) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the lists of the sheet, each with its title."""
    return (
        ("Keep the same", keep_the_same(on_battery)),
        ("Weather and traffic", WEATHER),
        ("Rule for rejecting runs, fixed now: windtoll compare applies it", rule_words(source_word(on_battery))),
        ("Safety", CAUTIONS),
    )


def lines(runs: Sequence[PlannedRun], speed: str, road: str, *, on_battery: bool = False) -> list[str]:
    """Return the run sheet as lines of plain text."""
    last = "energy" if on_battery else "notes"
    out = [
        f"Run sheet: {len(runs)} runs, {road}, {speed}",
        "",
        f"run block pair  direction  turbine  start  wind  gust  air temp.  ahead  {last}",
    ]
    for run in runs[:MOST_ON_ONE_PAGE]:
        out.append(
            f"{run.number:>3} {run.block:>5} {run.pair:>4}  {run.direction:<9}  {run.state:<7}  _____  ____  ____  "
            "_________  [ ]    ______"
        )
    if len(runs) > MOST_ON_ONE_PAGE:
        out.append(f"  … and {len(runs) - MOST_ON_ONE_PAGE} more: print a sheet for each day (--pairs)")
    for title, texts in points(on_battery):
        out += ["", f"{title}:"] + [f"  - {text}" for text in texts]
    return out
