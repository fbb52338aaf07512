"""What mount, bearing, blades and linkage must carry, in words, rows and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.words.cautions import of_the_file
from energy.words.verdict import MAY_IT, NOT_LIKE_THIS, UNCHECKED
from vehicle.units import UnitSystem, differing, figures, show

if TYPE_CHECKING:
    from energy.strength.linkage import Travel
    from energy.strength.table import Ladder, StructuralLoad, StructuralLoads
    from energy.words.loads_model import CornerData, RungData, TravelData


CAUTIONS = (
    "This table is no structural sign-off: it says what a part has to carry in these cases, not that it will. Fatigue, "
    "welds, vibration, ice, corrosion and wrong torque on a bolt are not in it. Have the mount checked by a licensed "
    "engineer.",
    "A blade that fails is a projectile: nobody in the rotor's plane, on the road or in the yard, while it can turn.",
    "Check every fastening before each drive, and again after the first kilometres.",
    "Local rules on what may be mounted on a vehicle come first; ask the authority and the insurer.",
)


LADDER_CAUTIONS = (
    "Spin up behind a barrier that a qualified person has rated for it, never in the open.",
    "Nobody in the rotor's plane, at any step; watch from behind cover, at a distance, along the axis.",
    "Have a way to stop it from where you stand, tried at the first step. The drive that spins it must be cut by one "
    "hand.",
    "Go up only after a stop and a look at every step: cracks, loose fastenings, a warm bearing, paint marks that "
    "moved.",
    "If it shakes, hums anew or sheds anything: stop, and find out why before you turn it again.",
    "Eye and ear protection. This ladder is no proof of strength: a rotor that has held once can fail by fatigue.",
)


def cautions_of(table: StructuralLoads) -> list[str]:
    """Return what could hurt someone or break, after what is odd or unusual about the scenario's values."""
    return [*of_the_file(table.scenario), *CAUTIONS]


def as_data(table: StructuralLoads) -> dict[str, Any]:
    """Return the table of loads as data for `--json`."""
    from energy.words.loads_model import CaseData, LoadData, LoadsData

    over = over_limit(table)
    return LoadsData(
        safe=False if over else None,
        may_be_operated="no" if over else "not checked",
        over_limit=[row.name for row in over],
        loads=[
            LoadData(
                name=row.name + (f", {row.case}" if row.case else ""),
                value=row.value,
                unit=row.unit,
                limit=row.limit,
                margin=row.margin,
                limit_from=row.limit_from or None,
                corner=_corner_data(row, table),
            )
            for row in table.rows
        ],
        cases={
            case: CaseData(
                air_speed_m_s=float(at.air_speed_m_s),
                rotor_speed_rad_s=float(at.rotor_speed_rad_s),
                thrust_n=float(at.thrust_n),
                thrust_from=at.thrust_from,
            )
            for case, at in (("operating point", table.operating), ("worst case", table.worst))
        },
        linkage={case: _travel_data(travel) for case, travel in table.travel.items()},
        ladder=rungs_data(table.ladder) if table.ladder is not None else [],
        left_out=list(table.left_out),
        notes=list(table.notes),
        cautions=cautions_of(table),
    ).model_dump()


def _corner_data(row: StructuralLoad, table: StructuralLoads) -> CornerData | None:
    from energy.words.loads_model import CornerData

    at = row.at
    if at is None:
        return None
    return CornerData(
        pitch_deg=_dial_deg(at, table),
        rotor_speed_rad_s=float(at.rotor_speed_rad_s),
        air_speed_m_s=float(at.air_speed_m_s),
    )


def _dial_deg(at: Any, table: StructuralLoads) -> float:
    """Return a corner's pitch as the scenario's dial reads it."""
    return float(table.scenario.pitch_convention.setting_deg(np.asarray(at.pitch_deg)))


CORNERS = "At which corner each worst case lies"


def corner_rows(table: StructuralLoads, system: UnitSystem) -> list[tuple[str, str]]:
    """Return (corner, the loads that have their maximum there), the corner of the most loads first."""
    corners: dict[str, list[str]] = {}
    for row in table.rows:
        if row.at is not None:
            corners.setdefault(corner_words(row, table, system), []).append(row.name)
    return [(corner, "; ".join(names)) for corner, names in sorted(corners.items(), key=lambda one: -len(one[1]))]


def corner_words(row: StructuralLoad, table: StructuralLoads, system: UnitSystem) -> str:
    """Return a load's worst corner in words: "pitch 4.0°, 950 rpm, air 122 km/h"; what does not matter is left out."""
    at = row.at
    assert at is not None
    pitch = _dial_deg(at, table)
    parts = [f"pitch {figures(pitch, 3)}°"] if math.isfinite(pitch) else []
    speed = float(at.rotor_speed_rad_s)
    parts += [show(speed, "rotor_speed", system)] if math.isfinite(speed) else ["rotor speed unknown"]
    air = float(at.air_speed_m_s)
    return ", ".join(parts + ([f"air {show(air, 'speed', system)}"] if math.isfinite(air) else []))


def _travel_data(travel: Travel) -> TravelData:
    from energy.words.loads_model import TravelData

    keep = travel.shown()

    def kept(values: np.ndarray) -> list[float]:
        return [round(float(v), 6) for v in values[keep]]

    return TravelData(
        positive="towards feather",
        pitch_deg=kept(travel.pitch_deg),
        aerodynamic_n_m=kept(travel.aerodynamic_n_m),
        centrifugal_n_m=kept(travel.centrifugal_n_m),
        friction_n_m=kept(travel.friction_n_m),
        actuator_n=kept(travel.actuator_n),
        friction_n=kept(travel.friction_n),
        changes_sign_at_deg=[round(float(v), 3) for v in travel.changes_sign_at_deg],
        loose_blade_settles_at_deg=[round(float(v), 3) for v in travel.settles_at_deg],
    )


def rungs_data(ladder: Ladder) -> list[RungData]:
    """Return the steps of the spin-up as data."""
    from energy.words.loads_model import RungData

    return [
        RungData(
            rotor_speed_rpm=rung.rotor_speed_rad_s * 30 / math.pi,
            tip_speed_m_s=rung.tip_speed_m_s,
            centrifugal_n=rung.centrifugal_n,
            share_of_limit=rung.share,
            imbalance_n=rung.imbalance_n,
            root_margin=rung.root_margin,
        )
        for rung in ladder.rungs
    ]


def shown_load(value: float, kind: str, system: UnitSystem, more: int = 0) -> str:
    """Return a load's value with its unit, as a user reads it, with `more` digits than usual."""
    if not math.isfinite(value):
        return "not known"
    if kind == "plain":
        return figures(value, 3 + more)
    if kind == "hours":
        return f"{figures(value / 3600, 2 + more)} h"
    if kind == "imbalance":
        return show(value, "imbalance", system, digits=3 + more)
    if kind == "force" and system != "us" and abs(value) >= 10_000:
        return f"{figures(value / 1000, 3 + more)} kN"
    return show(value, kind, system, digits=None if more == 0 else 3 + more)


def shown_pair(value: float, limit: float, kind: str, system: UnitSystem) -> tuple[str, str]:
    """Return a load and its limit, in enough digits to see them differ."""
    return differing(value, limit, lambda number, more: shown_load(number, kind, system, more))


def margins_finding(load: str, margin: float) -> str:
    """Return which load is the nearest to its limit, or over it."""
    verdict = "is over its limit" if margin < 1 else "is the nearest to its limit"
    return f"The {load} {verdict}: margin {margin_figures(margin)}"


def margin_figures(margin: float) -> str:
    """Return a margin, rounded down, so that nothing short of 2 reads 2.0."""
    return (
        figures(margin, 2)
        if margin >= 10
        else f"{math.floor(margin * 100) / 100:.2f}"
        if margin < 2
        else f"{math.floor(margin * 10) / 10:.1f}"
    )


def margin_words(row: StructuralLoad) -> str:
    """Return a margin in figures, marked where it is thin or over; empty where there is no limit."""
    margin = row.margin
    if margin is None:
        return ""
    if margin > 99:
        return "over 99"
    if margin < 1:
        return f"{_times(margin)}"
    text = margin_figures(margin)
    return f"{text} thin" if margin < 2 and row.kind not in ("rotor_speed", "tip_speed", "imbalance") else text


def margin_sentence(row: StructuralLoad, system: UnitSystem) -> str:
    """Return a margin under 2 in words."""
    margin, limit = row.margin, row.limit
    assert margin is not None
    assert limit is not None
    name = row.name[0].upper() + row.name[1:]
    where = f", {row.case}" if row.case else ""
    value, most = shown_pair(row.value, limit, row.kind, system)
    numbers = f"{name}{where}: {value}, "
    if row.least:
        wanted = f"where at least {most} is wanted"
        return (
            numbers
            + wanted
            + (": too little. Do not operate." if margin < 1 else f": margin {margin_figures(margin)}, thin.")
        )
    against = f"limit {most} ({row.limit_from})"
    if margin < 1:
        return f"{numbers}{against}: {_times(margin)}. Do not operate."
    if row.kind in ("rotor_speed", "tip_speed", "imbalance"):
        return f"{numbers}{against}: within it by {figures((margin - 1) * 100, 2)} %."
    return (
        f"{numbers}{against}: margin {margin_figures(margin)}. Thin: a rough road or a hidden flaw can take a "
        f"factor of 2."
    )


def _times(margin: float) -> str:
    """Return how far a value is over its limit: "2.8 times its limit", "3 % over"."""
    return (
        f"{figures(1 / margin, 2)} times its limit" if margin < 0.8 else f"{figures(100 * (1 / margin - 1), 2)} % over"
    )


def case_words(table: StructuralLoads, system: UnitSystem) -> list[tuple[str, str]]:
    """Return the two cases as (name, what is assumed in it)."""

    def one(at: Any) -> str:
        turning = (
            f"{show(at.rotor_speed_rad_s, 'rotor_speed', system)}"
            if math.isfinite(at.rotor_speed_rad_s)
            else "rotor speed not known"
        )
        return (
            f"air {show(at.air_speed_m_s, 'speed', system)} at the rotor, {turning}, thrust "
            f"{show(at.thrust_n, 'force', system)}"
        )

    gust = table.scenario.gust
    road = max(table.scenario.fastest_road_speed_m_s, gust.road_speed.value if gust.road_speed is not None else 0.0)
    wind = "" if table.scenario.air.wind_speed.value < 0.05 else " with the wind of the scenario"
    stop = ", the load cut"
    if gust.overspeed_stop is not None and gust.overspeed_stop.high < table.operating.rotor_speed_rad_s:
        stop = ", an overspeed stop set below the working speed"
    elif gust.overspeed_stop is not None and gust.overspeed_stop.value < table.free_run_rad_s:
        stop = ", an overspeed stop that works"
    trucks = f"air of passing trucks counted {figures(gust.passing_factor.value, 2)} times"
    worst = (
        f"{show(road, 'speed', system)} on the road{wind}, a gust of {show(gust.speed.value, 'speed', system)}, "
        f"{trucks}{stop if math.isfinite(table.free_run_rad_s) else ''}: "
        f"up to {one(table.worst)} "
        f"({table.worst.thrust_from})"
    )
    return [("operating point", one(table.operating)), ("worst case", worst)]


def over_limit(table: StructuralLoads) -> tuple[StructuralLoad, ...]:
    """Return the loads over their limit, one a name, the most exceeded first."""
    over: dict[str, StructuralLoad] = {}
    for row in table.thin:
        if (row.margin or 0) < 1:
            over.setdefault(row.name, row)
    return tuple(over.values())


def headline(table: StructuralLoads) -> str:
    """Return whether any load is over its limit, in one sentence."""
    over = over_limit(table)
    if over:
        worst = f"{over[0].name}, {_times(over[0].margin or 1)}"
        if len(over) == 1:
            return f"Do not operate. One load is over its limit: {worst}."
        return f"Do not operate. {len(over)} loads are over their limits, the most exceeded: {worst}."
    rows = [row for row in table.rows if row.margin is not None]
    if not rows:
        return "The scenario gives no limits: nothing to compare the loads with."
    limited, total = len({row.name for row in rows}), _checks(table)
    nearest = min(rows, key=lambda row: row.margin or math.inf)
    closest = f"closest is {nearest.name}, at {100 / (nearest.margin or math.inf):.0f} % of its limit"
    if limited < total:
        return f"Not all is checked: {limited} of {total} loads are, and those are within their limits; {closest}."
    return f"All {total} loads are within their limits; {closest}."


def _checks(table: StructuralLoads) -> int:
    """Return how many loads there are to check, those whose data lack included."""
    return len({row.name for row in table.rows}) + len(table.left_out)


def what_to_change(table: StructuralLoads) -> str:
    """Return what brings loads back within their limits; empty where none is over its own."""
    if not over_limit(table):
        return ""
    return (
        "What to change: a stronger part, less road speed or wind, or an earlier overspeed stop. --full shows the case "
        "of each load."
    )


def may_be_operated(table: StructuralLoads) -> str:
    """Return the line that says whether the machine may be operated like this."""
    if over_limit(table):
        return NOT_LIKE_THIS
    names = {row.name for row in table.rows}
    limited = {row.name for row in table.rows if row.limit is not None}
    if not limited:
        limits = "Give the limits of your parts (windtoll keys rotor, mount, ...)."
        return f"{UNCHECKED}. {limits}"
    unknown, left_out = len(names - limited), len(table.left_out)
    open_points = [
        *([f"{unknown} {'load has' if unknown == 1 else 'loads have'} no limit in the file"] if unknown else []),
        *([f"{left_out} {'check lacks' if left_out == 1 else 'checks lack'} data"] if left_out else []),
    ]
    if open_points:
        return f"{UNCHECKED}: {' and '.join(open_points)}. {_NO_APPROVAL}"
    return f"{MAY_IT} Yes, within the limits in the file. {_NO_APPROVAL}"


_NO_APPROVAL = "This is no structural approval."
SHORT_COLUMNS = ("load (operating or worst case, the larger)", "value", "limit", "value/limit")


def short_rows(table: StructuralLoads, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the loads that have a limit as rows of text for `SHORT_COLUMNS`, the most exceeded first."""
    hardest: dict[str, StructuralLoad] = {}
    for row in table.rows:
        if row.margin is not None and row.margin < (hardest[row.name].margin or 0 if row.name in hardest else np.inf):
            hardest[row.name] = row
    ordered = sorted(hardest.values(), key=lambda row: row.margin or 0)
    rows: list[tuple[str, ...]] = []
    for row in ordered:
        value, limit = shown_pair(row.value, row.limit or 0.0, row.kind, system)
        rows.append((row.name, value, f"≥ {limit}" if row.least else limit, _share_words(row)))
    return rows


_PLAIN_TIMES = 1.25  # below it in percent: "1.0 times its limit" would read as at the limit


def _share_words(row: StructuralLoad) -> str:
    """Return a load as a share of its limit: "2.6 times", "38 %"; whether what must be reached is enough."""
    margin = row.margin or 0.0
    if row.least:
        return "enough" if margin >= 1 else "too little"
    share = 1 / margin if margin > 0 else math.inf
    if share >= _PLAIN_TIMES:
        return f"{figures(share, 2)} times"
    percent, _ = differing(100 * share, 100.0, lambda number, more: figures(number, (3 if share > 1 else 2) + more))
    return f"{percent} %"


LOAD_COLUMNS = ("load", "operating", "worst case", "limit", "margin")


def load_rows(table: StructuralLoads, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the loads as rows of text for `LOAD_COLUMNS`."""
    table_rows: list[tuple[str, ...]] = []
    for name in dict.fromkeys(row.name for row in table.rows):
        rows = {row.case: row for row in table.rows if row.name == name}
        plain = rows.get("")
        last = rows.get("worst case") or rows.get("operating point") or plain
        assert last is not None
        cells = [
            shown_load(rows[case].value, rows[case].kind, system) if case in rows else ""
            for case in ("operating point", "worst case")
        ]
        if plain is not None:
            cells = [shown_load(plain.value, plain.kind, system), ""]
        limit = "" if last.limit is None else ("≥ " if last.least else "") + shown_load(last.limit, last.kind, system)
        table_rows.append((name, *cells, limit, margin_words(last)))
    return table_rows


def travel_words(travel: Travel, table: StructuralLoads, system: UnitSystem) -> list[str]:
    """Return what the linkage\'s travel means for the builder, in sentences."""
    said = []
    moment = travel.aerodynamic_n_m + travel.centrifugal_n_m
    whole = len(travel.changes_sign_at_deg) == 0
    for towards, chosen in (("fine", moment <= 0), ("feather", moment > 0)):
        if chosen.any():
            where = "through the whole travel" if whole else f"from {_stretches(travel.pitch_deg, chosen)}"
            said.append(f"The blades drive towards {towards} {'pitch ' if towards == 'fine' else ''}{where}.")
    own = table.scenario.rotor.pitch
    at_work = float(np.interp(travel.pitch_deg[0] if own is None else own.value, travel.pitch_deg, moment))
    if at_work <= 0:
        said.append(
            "At the working pitch that is no safe side: a linkage that breaks or loses power lets the blades go finer, "
            "where the "
            "rotor keeps its speed. Fit a spring or weights that carry them to feather."
        )
    else:
        said.append("At the working pitch a linkage that breaks lets the blades go towards feather, the safe side.")
    if not whole:
        places = ", ".join(f"{v:.1f}°" for v in travel.changes_sign_at_deg)
        said.append(
            f"The force changes sign at {places}: play in the joints rattles there, and slack hides a wrong setting."
        )
        said += [f"A loose blade would settle at about {place:.1f}°." for place in travel.settles_at_deg]
    if bool(travel.beyond_curves.any()):
        said.append("* beyond the pitches of the curves: the air force of their last pitch is held there.")
    stuck = np.abs(travel.actuator_n) < travel.friction_n
    if bool(stuck.any()) and not bool(stuck.all()):
        said.append(
            "Where it says stays, friction alone holds the blade: the dial can read one pitch and the blade stand at "
            "another."
        )
    elif bool(stuck.all()):
        said.append(
            "Friction alone holds the blades through the whole travel: set the pitch while it stands, and expect the "
            "dial to lie."
        )
    rating = table.scenario.linkage.actuator_rating if table.scenario.linkage is not None else None
    need = float(np.max(np.abs(travel.actuator_n) + travel.friction_n))
    if rating is not None and need > rating.value:
        fine = np.abs(travel.actuator_n) + travel.friction_n <= rating.value
        part = f"only at {_stretches(travel.pitch_deg, fine)}" if fine.any() else "nowhere"
        said.append(
            f"The actuator ({shown_load(rating.value, 'force', system)}) would have to push "
            f"{shown_load(need, 'force', system)}: it can move "
            f"the blades {part} at this speed."
        )
        said.append(
            "Small linear servos give tens of newtons, blade pitch at road speed can ask for hundreds (common "
            "practice, no source)."
        )
        locking = table.scenario.linkage is not None and table.scenario.linkage.self_locking
        hold = float(np.max(np.abs(travel.actuator_n)))
        if locking:
            said.append(
                f"Self-locking: it need not push to hold, but thread and joints still carry "
                f"{shown_load(hold, 'force', system)}."
            )
    return said


def _stretches(pitch_deg: np.ndarray, chosen: np.ndarray) -> str:
    """Return the stretches of chosen pitches in words: "0° to 12° and 71° to 80°"."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(int)))
    return " and ".join(
        f"{pitch_deg[a]:.0f}° to {pitch_deg[b - 1]:.0f}°" for a, b in zip(edges[::2], edges[1::2], strict=True)
    )


LEFT_OUT = "Left out; these keys would add it"
SPIN_UP = "Before the first drive, spin it up in the shop: windtoll loads --ladder"
TRAVEL_COLUMNS = ("pitch", "air", "centrifugal", "friction ±", "on the actuator", "a loose blade")


def travel_title(case: str) -> str:
    """Return the heading of the table of the linkage's travel in one case."""
    return f"Pitch linkage through its travel, {case} (+ towards feather, − towards fine)"


def travel_rows(travel: Travel, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the linkage's travel as rows of text for `TRAVEL_COLUMNS`; * marks a pitch beyond the curves."""
    return [_travel_row(travel, int(k), system) for k in travel.shown()]


def _travel_row(travel: Travel, k: int, system: UnitSystem) -> tuple[str, ...]:
    force, friction = float(travel.actuator_n[k]), float(travel.friction_n[k])
    direction = "turns to feather" if force > 0 else "turns to fine"
    if abs(force) <= friction:
        direction = "stays (friction)"

    def torque(values: np.ndarray) -> str:
        return show(round(float(values[k]), 2), "torque", system, signed=True)

    held = float(travel.friction_n_m[k])
    return (
        f"{figures(float(travel.pitch_deg[k]), 3)}°{' *' if travel.beyond_curves[k] else ''}",
        torque(travel.aerodynamic_n_m),
        torque(travel.centrifugal_n_m),
        show(held, "torque", system) if held > 0 else "not known",
        shown_load(force, "force", system) + (f" ± {shown_load(friction, 'force', system)}" if friction > 0 else ""),
        direction,
    )


LADDER_COLUMNS = (
    "step",
    "rotor speed",
    "tip speed",
    "pull of each blade",
    "of the limit's",
    "imbalance force",
    "root margin",
)


def ladder_headline(ladder: Ladder, system: UnitSystem) -> str:
    """Return how far the rotor is spun up, and in how many steps."""
    top = show(ladder.rungs[-1].rotor_speed_rad_s, "rotor_speed", system)
    return (
        f"Spin-up in the shop, in {len(ladder.rungs)} steps up to {top} "
        f"({ladder.limit_from}): stop and inspect at each. Never above the last."
    )


def ladder_rows(ladder: Ladder, system: UnitSystem) -> list[tuple[str, ...]]:
    """Return the rungs of the ladder as rows of text for `LADDER_COLUMNS`."""
    return [
        (
            str(number),
            show(rung.rotor_speed_rad_s, "rotor_speed", system),
            show(rung.tip_speed_m_s, "tip_speed", system),
            shown_load(rung.centrifugal_n, "force", system),
            f"{100 * rung.share:.0f} %",
            shown_load(rung.imbalance_n, "force", system),
            "no rating given" if rung.root_margin is None else figures(rung.root_margin, 2),
        )
        for number, rung in enumerate(ladder.rungs, 1)
    ]


def ladder_notes(ladder: Ladder) -> list[str]:
    """Return what to know of the ladder's numbers."""
    notes = [f"Imbalance force from {ladder.imbalance_from}; it turns with the rotor and shakes the mount once a turn."]
    margin = ladder.rungs[-1].root_margin
    if margin is not None and margin < 2:
        notes.append(f"At the last step the blade roots have a margin of {figures(margin, 2)} only: stop below it.")
    return notes
