"""What the pitch must really have been, and whether the dial can be believed: sentences, rows and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.words.result_model import ends_data
from energy.words.verdict import FirstLines, danger_lines
from vehicle.units import UnitSystem, figures, label, to_user

if TYPE_CHECKING:
    from energy.diagnosis.true_pitch import MeasuredRows, PitchInterval, RowPitch, TruePitch
    from energy.scenario.read import Scenario
    from energy.words.pitch_model import MeasuredRowData
    from energy.words.result_model import EstimateData


MOST_ROWS_SHOWN = 12


FLAT_DEG = 3.0  # an interval wider than this says that watts cannot tell the pitch


SURENESS = "95 % intervals, calibration errors and those of the curves included"


ONLY_PITCH = (
    "Only pitch is looked for here: slow air, weak blades or a slipping belt can look like it. windtoll shortfall "
    "weighs all causes."
)


CAUTIONS = (
    "Set and measure pitch only on a rotor that is stopped and locked; the passenger logs, never the driver.",
    "A wrong pitch can double thrust and speed: check windtoll loads with the pitch found here (--set "
    "rotor.pitch=...).",
)


_SIDES = {
    "stalled": "on the stalled side (more pitch would give more power)",
    "unstalled": "on the unstalled side (more pitch would give less power)",
    "either": "around the best pitch, on either side of it",
}


def _interval(value: PitchInterval | None) -> EstimateData:
    return ends_data((math.nan,) * 3 if value is None else (value.low, value.estimate, value.high), 0.95)


def as_data(scenario: Scenario, result: TruePitch, rows: MeasuredRows) -> dict[str, Any]:
    """Return the pitch and what every row says of it as data for `--json`."""
    from energy.words.pitch_model import DialData, TruePitchData

    first = first_lines(scenario, result, rows, "metric")
    return TruePitchData(
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        warnings=list(first.warnings),
        headline=first.headline,
        may_be_operated=first.operate,
        pitch_deg=_interval(result.pitch_deg),
        branch=result.branch,
        other_pitch_deg=_interval(result.other_deg),
        other_branch=result.other_branch,
        dial=None
        if rows.dial_deg is None
        else DialData(offset_deg=_interval(result.offset_deg), drift_deg=_interval(result.drift_deg)),
        watts_over_scenario=result.watts_ratio,
        scatter=result.scatter,
        notes=list(result.notes),
        rows=[_row_data(result.rows, rows, k) for k in range(len(rows.air_speed_m_s))],
    ).model_dump()


def _row_data(per: RowPitch, rows: MeasuredRows, k: int) -> MeasuredRowData:
    from energy.words.pitch_model import MeasuredRowData

    return MeasuredRowData(
        air_speed_m_s=rows.air_speed_m_s[k],
        rotor_speed_rad_s=rows.rotor_speed_rad_s[k],
        electrical_power_w=rows.electrical_power_w[k],
        tip_speed_ratio=per.tip_speed_ratio[k],
        power_coefficient=per.power_coefficient[k],
        stalled_deg=per.stalled_deg[k],
        unstalled_deg=per.unstalled_deg[k],
        allowed_deg=ends_data((per.low_deg[k], math.nan, per.high_deg[k]), 0.95),
        explained=bool(per.explained[k]),
    )


def degrees(value: float, *, signed: bool = False) -> str:
    """Return an angle as text: "6.5°"."""
    return f"{value:{'+' if signed else ''}.1f}°".replace("-", "−")


def _interval_words(value: PitchInterval, *, signed: bool = False) -> str:
    return (
        f"{degrees(value.estimate, signed=signed)} ({degrees(value.low, signed=signed)} to "
        f"{degrees(value.high, signed=signed)})"
    )


def headline(result: TruePitch) -> str:
    """Return the answer in one sentence."""
    pitch = result.pitch_deg
    if pitch is None:
        return "No pitch explains these rows: windtoll shortfall weighs the other causes."
    if result.at_edge:
        return f"The pitch lies at the end of the curves, {degrees(pitch.estimate)}, or beyond them."
    if result.branch == "either" or pitch.high - pitch.low > FLAT_DEG:
        return (
            f"The pitch was somewhere between {degrees(pitch.low)} and {degrees(pitch.high)} (best guess "
            f"{degrees(pitch.estimate)}), {_SIDES[result.branch]}."
        )
    return f"The pitch was {_interval_words(pitch)}, {_SIDES[result.branch]}."


def dial_words(scenario: Scenario, result: TruePitch, rows: MeasuredRows) -> list[str]:
    """Return whether the dial, or the scenario's own pitch, can be believed."""
    pitch, offset, drift = result.pitch_deg, result.offset_deg, result.drift_deg
    if pitch is None:
        return []
    if rows.dial_deg is None or offset is None:
        own = scenario.rotor.pitch
        if own is None:
            return []
        inside = pitch.low <= own.value <= pitch.high
        return [
            f"The scenario says {degrees(own.value)}: "
            + (
                "these rows agree with it."
                if inside
                else f"these rows do not, by {degrees(pitch.estimate - own.value, signed=True)}."
            )
        ]
    said = []
    wide = offset.high - offset.low > 2 * FLAT_DEG
    if offset.low <= 0 <= offset.high:
        if wide:
            said.append(
                f"The dial is not checked by these rows: its offset is unknown, anywhere from "
                f"{degrees(offset.low, signed=True)} "
                f"to {degrees(offset.high, signed=True)}."
            )
        else:
            said.append(
                f"The dial can be believed within {degrees(max(-offset.low, offset.high))}: no offset is seen, "
                f"{_interval_words(offset, signed=True)}."
            )
    else:
        middle = float(np.mean(rows.dial_deg[result.rows.used]))
        stands = [degrees(middle + v) for v in (offset.estimate, offset.low, offset.high)]
        said.append(
            f"Do not believe the dial: where it reads {degrees(middle)}, the blades stand at {stands[0]} ({stands[1]} "
            f"to {stands[2]})."
        )
    if drift is not None:
        if drift.low <= 0 <= drift.high:
            said.append(
                f"Drift of the dial from the first row to the last: unknown, {degrees(drift.low, signed=True)} to "
                f"{degrees(drift.high, signed=True)}."
            )
        else:
            said.append(
                f"The dial drifted: from the first row to the last the blades turned "
                f"{_interval_words(drift, signed=True)} "
                "that it does not show. "
                "Look for slack, a slipping clamp or a bending horn."
            )
    return said


def first_lines(scenario: Scenario, result: TruePitch, rows: MeasuredRows, system: UnitSystem) -> FirstLines:
    """Return the first lines: limits that the rows or the pitch found break, the dial or the pitch, then the rest."""
    title, dial = headline(result), dial_words(scenario, result, rows)
    said = [*dial[:1], title, *dial[1:]] if rows.dial_deg is not None and dial else [title, *dial]
    pitch = result.pitch_deg
    stalled = pitch is not None and result.branch == "stalled"
    wide = pitch is not None and (result.branch == "either" or pitch.high - pitch.low > FLAT_DEG)
    read, there = result.broken_read, result.broken_at_pitch
    dangers = danger_lines(read, read, system, "As measured: ") or danger_lines(
        there, there, system, "At this pitch, in the fastest air of these rows: "
    )
    return FirstLines(
        dangers=dangers,
        operate="no" if dangers else "not checked",
        warnings=("Stalled: the blades stand too flat for this air; thrust and heat jump when they come free.",)
        if stalled
        else (),
        headline=said[0],
        lines=tuple(text.rstrip(".") for text in (*said[1:], f"{SURENESS}; only pitch is looked for")),
        least_known="Least known: the pitch itself, near its best. A logged thrust, or rows at settings away from the "
        "best, would narrow it."
        if wide
        else "",
    )


def notes_of(result: TruePitch) -> list[str]:
    """Return what else the rows say."""
    said = []
    ratio = result.watts_ratio
    if result.pitch_deg is None:
        more = float(np.mean(result.rows.more_than_any_pitch[result.rows.used])) if result.rows.used.any() else 0.0
        if more > 0.5:
            said.append(
                "The watts are more than the curves give at any pitch: the air speed reads low, or the curves are too "
                "modest."
            )
        air, power = float(result.shared_errors[0]), float(result.shared_errors[1])
        if abs(air) + abs(power) > 0:
            said.append(
                f"To explain them, the air speed would have to be off by {abs(air):.1f} and watts or curves by "
                f"{abs(power):.1f} times "
                "what [measurement] and rotor.power_factor call usual."
            )
    if math.isfinite(ratio) and abs(ratio - 1) > 0.15:
        said.append(
            f"The watts are {figures(ratio, 2)} times what the scenario's generator and element give at the logged "
            f"rotor speed: look "
            "at the element's resistance, a slipping belt, a lost phase, or the voltage constant."
        )
    if result.other_deg is not None and result.other_branch is not None:
        said.append(
            f"A second pitch explains the rows nearly as well: {_interval_words(result.other_deg)}, "
            f"{_SIDES[result.other_branch]}. Turn the dial a "
            "little towards feather at the same speed: fewer watts say unstalled, more watts say stalled."
        )
    if result.pitch_deg is not None and (
        result.branch == "either" or result.pitch_deg.high - result.pitch_deg.low > FLAT_DEG
    ):
        said.append(
            "Near the best pitch power hardly changes with it, so watts alone cannot show more. A logged thrust, "
            "rows at another "
            "tip-speed ratio (another element resistance), or settings away from the best narrow it."
        )
    if result.pitch_deg is not None and result.ends_at:
        said.append(
            f"The interval ends where the curves end, at {' and '.join(degrees(v) for v in result.ends_at)}: the pitch "
            f"may lie beyond."
        )
    if math.isfinite(result.scatter) and result.scatter > 2:
        said.append(
            f"The rows scatter {figures(result.scatter, 2)} times as much as measurement.air_speed_noise says; the "
            f"interval allows for it. "
            "Steady stretches scatter less."
        )
    if result.correlation > 0.3:
        said.append(
            "Neighbouring rows go up and down together (gusts): they count for fewer independent rows, which the "
            "interval allows for."
        )
    lost = int((result.rows.used & ~result.rows.explained).sum())
    if lost and result.pitch_deg is not None:
        said.append(f"{lost} of {int(result.rows.used.sum())} rows fit no pitch by themselves.")
    return [ONLY_PITCH, *said, *result.notes]


def _picked(rows: MeasuredRows) -> np.ndarray:
    """Return the places of the rows that are shown: all, or as many as fit, evenly picked."""
    return np.unique(np.linspace(0, len(rows.air_speed_m_s) - 1, MOST_ROWS_SHOWN).round().astype(int))


def rows_title(rows: MeasuredRows, elsewhere: str = "all with --json") -> str:
    """Return the heading of the table of rows; `elsewhere` says where those are that are not shown."""
    count, shown = len(rows.air_speed_m_s), len(_picked(rows))
    return "Row by row" + (f" ({shown} of {count} rows, evenly picked; {elsewhere})" if shown < count else "")


def row_headings(rows: MeasuredRows, system: UnitSystem) -> list[str]:
    """Return the headings of the table of rows, with a line break where a narrow column wants one."""
    names = [
        f"air\n{label('speed', system)}",
        "rotor\nrpm",
        "load\nW",
        "tip-speed\nratio",
        "power\ncoeff.",
        "dial",
        "stalled\nside",
        "unstalled\nside",
        "anywhere in",
    ]
    if rows.dial_deg is None:
        names.remove("dial")
    return names


def row_texts(result: TruePitch, rows: MeasuredRows, system: UnitSystem) -> list[list[str]]:
    """Return the table of rows as texts under `row_headings`, at most MOST_ROWS_SHOWN of them, evenly picked."""
    return [_row_text(result, rows, int(k), system) for k in _picked(rows)]


def _row_text(result: TruePitch, rows: MeasuredRows, k: int, system: UnitSystem) -> list[str]:
    per = result.rows
    spread = "not used"
    if per.used[k]:
        low, high = degrees(float(per.low_deg[k])), degrees(float(per.high_deg[k]))
        spread = f"{low} to {high}" if per.explained[k] else "no pitch fits"
    sides = [degrees(float(v)) if math.isfinite(v) else "none" for v in (per.stalled_deg[k], per.unstalled_deg[k])]
    return [
        f"{to_user(float(rows.air_speed_m_s[k]), 'speed', system):.1f}",
        f"{rows.rotor_speed_rad_s[k] * 30 / math.pi:.0f}",
        f"{rows.electrical_power_w[k]:.0f}",
        f"{per.tip_speed_ratio[k]:.2f}",
        f"{per.power_coefficient[k]:.3f}",
        *([] if rows.dial_deg is None else [degrees(float(rows.dial_deg[k]))]),
        *sides,
        spread,
    ]
