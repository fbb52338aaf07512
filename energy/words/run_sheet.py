"""The run sheet of a road test as plain text: in which order to drive, what to keep the same, when not to drive."""

from __future__ import annotations

from collections.abc import Sequence

from vehicle.road_test.planning import PlannedRun
from vehicle.road_test.rule import MOST_GUST_M_S, MOST_WARMER_K, MOST_WIND_M_S, RULE

MOST_ON_ONE_PAGE = 32

KEEP_THE_SAME = (
    "Steady speed (cruise control if there is one), the same gear, the same lane; write down every stop and "
    "every lorry ahead.",
    "Engine warm before the first run: 20 minutes of driving, coolant steady.",
    "Windows shut, heating, fan and air conditioning as they are, lights as they are, the same people and load.",
    "Fuel of one filling; tyres cold-checked to one pressure before the first run (tyre_pressure in the list of runs).",
    "Turn around at the same two places; change the state of the turbine only at standstill.",
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


POINTS = (
    ("Keep the same", KEEP_THE_SAME),
    ("Weather and traffic", WEATHER),
    ("Rule for rejecting runs, fixed now: windtoll compare applies it", RULE),
    ("Safety", CAUTIONS),
)


def lines(runs: Sequence[PlannedRun], speed: str, road: str) -> list[str]:
    """Return the run sheet as lines of plain text."""
    out = [
        f"Run sheet: {len(runs)} runs, {road}, {speed}",
        "",
        "run block pair  direction  turbine  start  wind  gust  air temp.  ahead  notes",
    ]
    for run in runs[:MOST_ON_ONE_PAGE]:
        out.append(
            f"{run.number:>3} {run.block:>5} {run.pair:>4}  {run.direction:<9}  {run.state:<7}  _____  ____  ____  "
            "_________  [ ]    ______"
        )
    if len(runs) > MOST_ON_ONE_PAGE:
        out.append(f"  … and {len(runs) - MOST_ON_ONE_PAGE} more: print a sheet for each day (--pairs)")
    for title, points in POINTS:
        out += ["", f"{title}:"] + [f"  - {point}" for point in points]
    return out
