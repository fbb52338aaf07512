"""A recording in words: cautions, names of what is recorded, the lines of a live view, and the summary."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from vehicle.recording.parameters import PARAMETERS
from vehicle.recording.watch import STUCK_S

if TYPE_CHECKING:
    from vehicle.recording.loop import Rate, Status, Summary
    from vehicle.recording.row_file import RowLostError

CAUTION = (
    "A passenger logs; the driver drives and never touches this. Fix the computer so that it cannot fly about. The"
    " law of the place on screens in a moving vehicle applies. Lead the adapter's cable clear of the pedals. The OBD"
    " socket stays powered with the ignition off: remove the adapter afterwards, or it drains the battery."
)
STATE_NOT_GIVEN = "The state of the turbine is not given (--state): press a, s or w when it is known."
OLD_S = 5.0  # from here on no value stands as if it were current: a dead one is marked as soon as that
KEY_HELP = "keys: w working · s stowed · a absent · m mark · q stop"


def gaps(count: int) -> str:
    """Return the number of gaps in words."""
    return {0: "no gaps", 1: "1 gap"}.get(count, f"{count} gaps")


def clock(seconds: float) -> str:
    """Return a time span [s] as h:mm:ss or m:ss."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def event_line(status: Status) -> str:
    """Return the line about what just happened."""
    return f"{clock(status.elapsed_s)} {status.event}"


@dataclass(frozen=True)
class ValueRow:
    """One line of the live view; `old` where the value is not the current one."""

    label: str
    value: str
    unit: str
    note: str
    old: bool


def value_rows(status: Status) -> list[ValueRow]:
    """Return a row for each parameter that has a value, in the order of `PARAMETERS`."""
    rows = []
    for parameter in PARAMETERS:
        if parameter.column not in status.values:
            continue
        age_s = status.ages_s.get(parameter.column, 0.0)
        stopped = parameter.column in status.stopped
        old = stopped or status.condition != "recording" or age_s > OLD_S
        note = f"{age_s:.0f} s ago" if old else ""
        if stopped:
            note = f"no answer any more, {note}"
        elif parameter.column in status.stuck:
            note = "stuck"
        value = f"{status.values[parameter.column]:.4g}"
        rows.append(ValueRow(parameter.label, value, parameter.unit, note, old))
    return rows


def status_line(status: Status) -> str:
    """Return the line under the values of a live view."""
    turbine = f"turbine {status.state}" if status.state else "turbine: state not given"
    fast = " · fast mode" if status.fast else ""
    return f"{clock(status.elapsed_s)} · {status.rows} rows · {gaps(status.gaps)} · {turbine}{fast}"


def rate_line(rate: Rate) -> str:
    """Return how many questions a second are answered, and how long a row takes."""
    seconds = len(rate.plan.each_row) / rate.questions_per_s
    return f"{rate.questions_per_s:.3g} questions a second, a row in {seconds:.2g} s"


def plain_line(status: Status) -> str:
    """Return the line that says every few seconds, where no live view can be drawn, how far the recording is."""
    current = status.values if status.condition == "recording" else {}
    speed, rpm = current.get("vehicle_speed_km_h"), current.get("engine_speed_rpm")
    last = (f", {speed:.0f} km/h" if speed is not None else "") + (f", {rpm:.0f} rpm" if rpm is not None else "")
    missing = "".join(f", no {_label(column)} any more" for column in sorted(status.stopped))
    return f"{clock(status.elapsed_s)} {status.condition}: {status.rows} rows, {gaps(status.gaps)}{last}{missing}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _label(column: str) -> str:
    return next(p.label for p in PARAMETERS if p.column == column)


def summary_lines(summary: Summary) -> list[str]:
    """Return what a finished recording holds and lacks, where it is, and what to do with the adapter."""
    lost = f" ({summary.gap_s:.0f} s in all)" if summary.gaps else ""
    lines = [f"{summary.rows} rows in {clock(summary.duration_s)}, {gaps(summary.gaps)}{lost}: {summary.file}"]
    if summary.rate is not None:
        lines.append(f"{rate_line(summary.rate)}.")
        if summary.rate.plan.left_out:
            left_out = ", ".join(p.label for p in summary.rate.plan.left_out)
            lines.append(
                f"Only once in {summary.rate.plan.turn_s:.0f} s, because the vehicle answers slowly: {left_out}."
            )
    for gap in summary.parameter_gaps:
        lines.append(f"{_label(gap.column)} stopped answering {_times(gap.count)}, {gap.total_s:.0f} s in all.")
    for column in summary.stuck:
        lines.append(
            f"{_label(column)} did not change for {STUCK_S:.0f} s while others moved: check it before you use this run."
        )
    if not summary.fuel_source:
        lines.append("No fuel rate, air flow or manifold pressure: litres cannot be calculated from this run.")
    if summary.restarts:
        lines.append(f"The adapter lost its settings {_times(summary.restarts)}; they were set again each time.")
    if summary.damaged_lines:
        lines.append(f"{summary.damaged_lines} damaged lines came from the adapter; none of them was used.")
    lines.append(f"Listed in {summary.run_list}. Take the adapter out of its socket when you are done.")
    return lines


def summary_data(summary: Summary) -> dict[str, Any]:
    """Return a finished recording as data, for `--json`; times in seconds."""
    from energy.words.record_model import ParameterGapData, RecordingData

    rate = summary.rate
    return RecordingData(
        file=str(summary.file),
        run_list=str(summary.run_list),
        rows=summary.rows,
        duration_s=round(summary.duration_s, 3),
        gaps=summary.gaps,
        gap_s=round(summary.gap_s, 3),
        marks=summary.marks,
        columns=list(summary.columns),
        fast_mode=summary.fast_mode,
        ended_by=summary.ended_by,
        questions_per_s=round(rate.questions_per_s, 2) if rate else None,
        each_row=[p.column for p in rate.plan.each_row] if rate else [],
        left_out=[p.column for p in rate.plan.left_out] if rate else [],
        parameter_gaps={
            gap.column: ParameterGapData(gaps=gap.count, gap_s=round(gap.total_s, 3)) for gap in summary.parameter_gaps
        },
        stuck=list(summary.stuck),
        fuel_source=summary.fuel_source,
        restarts=summary.restarts,
        damaged_lines=summary.damaged_lines,
    ).model_dump()


def row_not_written(error: RowLostError) -> str:
    """Return what a failed write means for the rows before it."""
    reason = "the disk is full" if error.number == errno.ENOSPC else f"a row could not be written ({error.reason})"
    return f"{reason}: recording has stopped; {error.rows} rows are safe in this file"
