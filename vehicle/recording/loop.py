"""Live logging of the engine through an OBD adapter, so that neither a lost adapter nor a pulled plug loses the run.

Safety: the driver never operates this; a passenger logs. Laws on devices in view or reach of the driver differ from
place to place. The socket stays powered with the ignition off: take the adapter out when you are done.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from vehicle.problems import InputError, Problem
from vehicle.recording.access import AdapterError, found_ports
from vehicle.recording.adapter import Adapter, AdapterWanted, Waiter, nearest_trouble, open_adapter, reopen_adapter
from vehicle.recording.parameters import FUEL_SOURCES
from vehicle.recording.port import clock_s
from vehicle.recording.questions import FastMode, Questions, columns_of
from vehicle.recording.row_file import RUN_LIST, RowFile, RowLostError, append_run, free_name, read_run_list
from vehicle.recording.rows import Gaps, OpenRow, RowMarks, Rows, State
from vehicle.recording.schedule import Plan, runs_factor
from vehicle.recording.watch import STUCK_S, ParameterGap

KEYS: dict[str, str] = {"w": "working", "s": "stowed", "a": "absent", "m": "mark", " ": "mark", "q": "stop"}
FIRST_WAIT_S, LONGEST_WAIT_S = 0.5, 3.0  # between two tries to open a lost adapter again
SET_UP_AGAIN_S, REOPEN_S = 10.0, 30.0  # in a gap with an adapter that answers: give it its settings, open it anew
SCREEN_S = 0.5  # between two pictures while nothing else happens
RATE_KNOWN_S = 6.0  # from the first row on, before the rate is said
RATE_WORDS_S = 30.0  # between two sentences about the rate, at least
STUCK_EVERY_S = 1.0  # between two looks for values that stick
RECORDING = "recording"


@dataclass(frozen=True)
class Settings:
    """How to record. Times in seconds; `duration_s` None records until it is stopped."""

    out: Path
    port: str | None = None
    baud_rate: int | None = None
    protocol: str | None = None
    duration_s: float | None = None
    interval_s: float = 0.2
    slow_interval_s: float = 10.0
    wait_s: float = 0.0  # how long to wait for adapter and car before the first row
    fast_mode: bool = True  # may be tried; it must prove itself on this adapter


@dataclass(frozen=True)
class RunDetails:
    """What the engine cannot say about a run; goes to the run list as it stands. Empty text: unknown."""

    state: State | None = None
    pair: str = ""
    direction: str = ""
    vehicle: str = ""
    route: str = ""
    wind: str = ""
    wind_from: str = ""
    temperature: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Rate:
    """How many questions a second are answered, and what that leaves in each row.

    `runs_factor` is how many times the runs a road test would need if all of it were asked in each row; 1 where all is.
    """

    questions_per_s: float
    plan: Plan
    runs_factor: float


@dataclass(frozen=True)
class Status:
    """What a screen may show: `condition` is "recording" or the words about what is waited for.

    `values` are the last ones, by column, `ages_s` their ages [s]; `stopped` are parameters that no longer answer
    while others do, `stuck` those that no longer change while others do.
    """

    condition: str
    elapsed_s: float
    duration_s: float | None
    rows: int
    gaps: int
    state: State | None
    values: Mapping[str, float]
    file: Path | None
    fast: bool
    event: str = ""
    ages_s: Mapping[str, float] = field(default_factory=dict)
    stopped: frozenset[str] = frozenset()
    stuck: frozenset[str] = frozenset()
    rate: Rate | None = None


@dataclass(frozen=True)
class Summary:
    """One finished recording. Times in seconds; `ended_by` is "duration", "key", "interrupt".

    `columns` are those that were asked, `parameter_gaps` gaps of single parameters, `stuck` those that once did not
    change while others moved, `restarts` how often the adapter lost its settings, `damaged` how many lines were torn.
    """

    file: Path
    run_list: Path
    rows: int
    duration_s: float
    gaps: int
    gap_s: float
    marks: int
    columns: tuple[str, ...]
    fast_mode: bool
    ended_by: str
    parameter_gaps: tuple[ParameterGap, ...] = ()
    stuck: tuple[str, ...] = ()
    restarts: int = 0
    damaged_lines: int = 0
    fuel_source: bool = True
    rate: Rate | None = None


class _Stop(Exception):  # noqa: N818  # no error: the way out of the loop
    pass


class _Recording:
    """One recording from the first try to reach the car until its end."""

    def __init__(
        self, settings: Settings, details: RunDetails, keys: Callable[[], str], show: Callable[[Status], None]
    ) -> None:
        self.settings = settings
        self.details = details
        self.keys = keys
        self.show = show
        self.marks = RowMarks(details.state)
        self.gaps = Gaps()
        self.open_row = OpenRow()
        self.started_s = clock_s()
        self.condition = "waiting: looking for the adapter"
        self.adapter: Adapter | None = None
        self.rows: Rows | None = None
        self.questions: Questions | None = None
        self.stuck_now: frozenset[str] = frozenset()
        self.ever_stuck: list[str] = []
        self.fuel_source = True
        self.restarts = self.damaged = 0
        self._shown_s = self._rated_s = self._stuck_s = self._nursed_s = self._reopened_s = float("-inf")
        self._rate_said: Plan | None = None

    # -- clock, keys, screen

    def elapsed_s(self) -> float:
        return clock_s() - self.started_s

    def rate(self) -> Rate | None:
        per_s = self.adapter.rate() if self.adapter else None
        plan = self.questions.plan if self.questions else None
        if per_s is None or plan is None or not plan.each_row:
            return None
        return Rate(per_s, plan, runs_factor(plan, per_s))

    def tell(self, event: str = "") -> None:
        at_s = clock_s()
        self._shown_s = at_s
        watch = self.questions.watch if self.questions else None
        status = Status(
            condition=self.condition,
            elapsed_s=self.elapsed_s(),
            duration_s=self.settings.duration_s,
            rows=self.rows.count if self.rows else 0,
            gaps=self.gaps.count,
            state=self.marks.state,
            values=watch.values() if watch else {},
            file=self.rows.file.path if self.rows else None,
            fast=bool(self.adapter and self.adapter.fast),
            event=event,
            ages_s=watch.ages_s(at_s) if watch else {},
            stopped=watch.stopped() if watch else frozenset(),
            stuck=self.stuck_now,
            rate=self.rate(),
        )
        self.show(status)

    def wait_for(self, words: str, event: str = "") -> None:
        self.condition = f"waiting: {words}"
        self.tell(event)

    def heed(self) -> None:
        """Take in key presses, holes and the end of the time, also while a question waits; raises _Stop."""
        for key in self.keys():
            meaning = KEYS.get(key.lower(), "")
            if meaning == "stop":
                raise _Stop("key")
            if meaning:
                self.close_row()
                self.marks.pressed(meaning)
                self.tell(self.marks.pending[-1])
                if self.rows is not None:
                    self.rows.put_marks()
        limit_s = self.settings.duration_s
        if limit_s is not None and self.rows is not None and self.elapsed_s() >= limit_s:
            raise _Stop("duration")
        self.look_for_hole()
        if clock_s() - self._shown_s >= SCREEN_S:
            self.tell()

    def sleep(self, seconds: float) -> None:
        end_s = clock_s() + seconds
        while (left_s := end_s - clock_s()) > 0:
            time.sleep(min(left_s, 0.05))
            self.heed()

    # -- from beginning to end

    def run(self) -> Summary:
        ended_by = "interrupt"
        fast, rate = False, None
        try:
            self.record_rows(*self.begin())
        except _Stop as stop:
            ended_by = str(stop)
        except KeyboardInterrupt:
            if self.rows is None:
                raise
        finally:
            fast, rate = bool(self.adapter and self.adapter.fast), self.rate()
            if self.adapter is not None:
                self.close_adapter(self.adapter)
            if self.rows is not None:
                self.finish(self.rows)
        if self.rows is None or self.questions is None:
            raise AdapterError("no adapter", "Stopped before the adapter answered; nothing was recorded.")
        return Summary(
            file=self.rows.file.path,
            run_list=self.settings.out / RUN_LIST,
            rows=self.rows.count,
            duration_s=self.elapsed_s(),
            gaps=self.gaps.count,
            gap_s=self.gaps.total_s,
            marks=self.marks.count,
            columns=columns_of(self.questions.wanted),
            fast_mode=fast,
            ended_by=ended_by,
            parameter_gaps=self.questions.watch.gaps(clock_s()),
            stuck=tuple(self.ever_stuck),
            restarts=self.restarts,
            damaged_lines=self.damaged,
            fuel_source=self.fuel_source,
            rate=rate,
        )

    def finish(self, rows: Rows) -> None:
        """Write what is open, count the gap that is open, and close the file."""
        try:
            self.close_row()
        except RowLostError:
            rows.file.close()
            raise
        if self.gaps.since_s is not None:
            self.gaps.end(clock_s())
        rows.close()

    def close_adapter(self, adapter: Adapter) -> None:
        self.restarts += adapter.restarts
        self.damaged += adapter.damaged
        self.adapter = None
        adapter.close()

    def begin(self) -> tuple[Rows, Questions]:
        self.started_s = clock_s()
        self.tell()
        first_list = self.first_connection()
        assert self.adapter is not None
        questions = Questions(
            first_list,
            slow_interval_s=self.settings.slow_interval_s,
            fast_mode=FastMode(allowed=self.settings.fast_mode),
            event=self.tell,
        )
        questions.read_lists(self.adapter)
        if not questions.wanted:
            raise AdapterError("no engine", "The engine lists none of the parameters that windtoll records.")
        moment = datetime.now(UTC)
        file = _new_file(free_name(self.settings.out, moment, self.marks.state))
        rows = self.rows = Rows(file, self.marks)
        columns = columns_of(questions.wanted)
        entry = _run_entry(file.path, moment, self.details, self.adapter.protocol_name, columns)
        append_run(self.settings.out / RUN_LIST, entry)
        self.questions = questions
        questions.last_good_s = self.started_s = rows.started_s = rows.last_s = clock_s()
        self.condition = RECORDING
        self.tell(f"recording to {file.path}")
        self.fuel_source = any(p.pid in FUEL_SOURCES for p in questions.wanted)
        if not self.fuel_source:
            self.tell(
                "this car reports no fuel rate, air flow or manifold pressure: litres cannot be calculated from this"
                " run, only engine load and speed can be compared"
            )
        return rows, questions

    def waiter(self) -> Waiter:
        return Waiter(idle=self.heed, say=self.wait_for)

    def first_connection(self) -> set[int]:
        """Open the adapter, again and again for the time that the settings give; return what the engine lists."""
        until_s = clock_s() + self.settings.wait_s
        wanted = AdapterWanted(self.settings.port, self.settings.baud_rate, self.settings.protocol)
        while True:
            try:
                self.adapter, first_list = open_adapter(wanted, self.waiter())
                return first_list
            except AdapterError as trouble:
                if clock_s() >= until_s or trouble.kind == "no permission":
                    raise
                self.wait_for(str(trouble))
                self.sleep(min(until_s - clock_s(), 1.0))

    def record_rows(self, rows: Rows, questions: Questions) -> None:
        due_s = clock_s()
        while True:
            self.heed()
            self.row(rows, questions)
            self.look_at_rate()
            self.look_for_stuck(questions)
            self.tell()
            due_s = max(due_s + self.settings.interval_s, clock_s())
            self.sleep(due_s - clock_s())

    def look_at_rate(self) -> None:
        """Say how fast the car answers, once it is known and where it leaves other parameters in each row."""
        rate, at_s = self.rate(), clock_s()
        if (
            self.elapsed_s() < RATE_KNOWN_S
            or rate is None
            or at_s - self._rated_s < RATE_WORDS_S
            or not rate.plan.left_out
        ):
            return
        if self._rate_said is None or self._rate_said.left_out != rate.plan.left_out:
            self._rate_said, self._rated_s = rate.plan, at_s
            self.tell(rate_words(rate))

    def look_for_stuck(self, questions: Questions) -> None:
        at_s = clock_s()
        if at_s - self._stuck_s < STUCK_EVERY_S:
            return
        self._stuck_s = at_s
        self.stuck_now = questions.watch.stuck(at_s)
        for column in sorted(self.stuck_now):
            if column not in self.ever_stuck:
                self.ever_stuck.append(column)
                label = next(p.label for p in questions.wanted if p.column == column)
                self.tell(f"stuck: {label} has not changed for {STUCK_S:.0f} s while others moved")

    # -- one row

    def row(self, rows: Rows, questions: Questions) -> None:
        """Ask what is due, write the answers, and mend the connection where it is lost."""
        adapter = self.adapter
        assert adapter is not None
        waiting = self.gaps.since_s is not None
        due = [questions.probe()] if waiting else questions.due(adapter, clock_s())
        answered, why = 0, ""
        for parameter in due:
            asked_s = clock_s()
            value = questions.ask(adapter, parameter)
            if value is not None:
                answered += 1
                self.end_gap(questions)
                # Where the adapter needed long (it started the bus, say), the value is as old as a usual answer.
                answered_s = questions.last_good_s
                asked_s = max(asked_s, answered_s - adapter.usual_s(), rows.last_s)
                self.open_row.add(parameter.column, value, asked_s, max(answered_s, asked_s))
            why = questions.gone(adapter)
            if why or (value is None and self.gaps.since_s is not None):
                break
        self.close_row()
        if why:
            self.reconnect(why, adapter, questions)
        elif self.gaps.since_s is not None:
            self.nurse(adapter, questions)
        else:
            questions.row_done(adapter, whole=answered == len(due))
            questions.look_at_lists_again(adapter)

    def close_row(self) -> None:
        """Write the answers so far as a row."""
        row, self.open_row = self.open_row, OpenRow()
        if row.values and self.rows is not None:
            self.rows.put(row.began_s, row.ended_s - row.began_s, row.values, self.gaps.taken())

    # -- one gap

    def look_for_hole(self) -> None:
        """Begin a gap where nothing has answered for long enough, even while a question still waits."""
        questions = self.questions
        if questions is None or self.gaps.since_s is not None or self.adapter is None:
            return
        if clock_s() - questions.last_good_s > self.settings.interval_s + questions.hole_s(self.adapter):
            self.begin_gap(questions, self.adapter.silence_words())

    def begin_gap(self, questions: Questions, why: str) -> None:
        """Write what was answered, then that nothing more is: the gap counts from the last good answer."""
        if self.rows is None:
            return
        self.close_row()
        since_s = questions.last_good_s
        self.gaps.begin(since_s)
        self.rows.put(max(since_s, self.rows.last_s), 0.0, {}, f"begin: {why}")
        self.wait_for(why, f"gap begins: {why}")

    def end_gap(self, questions: Questions) -> None:
        """End the gap, if there is one, at the answer that just came."""
        if self.gaps.since_s is None:
            return
        length_s = self.gaps.end(questions.last_good_s)
        questions.watch.connection_gap(length_s)
        self.condition = RECORDING
        self.tell(f"back after {length_s:.1f} s")
        questions.look_at_lists_soon()

    def nurse(self, adapter: Adapter, questions: Questions) -> None:
        """Help an adapter that answers while the car does not: give it its settings, after longer open it anew."""
        assert self.gaps.since_s is not None
        waited_s = clock_s() - max(self.gaps.since_s, self._nursed_s)
        if clock_s() - max(self.gaps.since_s, self._reopened_s) > REOPEN_S:
            self.reconnect("the car does not answer", adapter, questions)
        elif waited_s > SET_UP_AGAIN_S:
            self._nursed_s = clock_s()
            adapter.set_up_again()
        else:
            self.sleep(0.2)

    def reconnect(self, why: str, lost: Adapter, questions: Questions) -> None:
        """Close the lost connection and open new ones until an adapter answers."""
        self.close_adapter(lost)
        if self.gaps.since_s is None:
            self.begin_gap(questions, why)
        wait_s = FIRST_WAIT_S
        while self.adapter is None:
            self.heed()
            try:
                self.adapter = self.reopened(lost, questions)
            except AdapterError as trouble:
                self.wait_for(str(trouble))
                self.sleep(wait_s)
                wait_s = min(1.5 * wait_s, LONGEST_WAIT_S)
        self._reopened_s = self._nursed_s = clock_s()
        questions.begin_again()

    def reopened(self, before: Adapter, questions: Questions) -> Adapter:
        """Return a new adapter for the engine of before, on its port, or on any other where that one is gone.

        A replugged adapter may get another name. On another port the engine has to answer before it is taken.
        """
        if "://" in before.name or Path(before.name).exists():
            return reopen_adapter(before.name, before, self.waiter())
        troubles = [AdapterError("no adapter", f"the port {before.name} is gone; plug the adapter in again")]
        for port in found_ports():
            try:
                adapter = reopen_adapter(port, before, self.waiter())
            except AdapterError as trouble:
                troubles.append(trouble)
                continue
            if any(adapter.ask(parameter).value is not None for parameter in questions.plan.each_row):
                return adapter
            adapter.close()
            troubles.append(AdapterError("no ignition", f"an adapter answers on {port}, the engine does not"))
        raise nearest_trouble(troubles)


def _new_file(path: Path) -> RowFile:
    try:
        return RowFile(path)
    except OSError as error:
        raise InputError(
            Problem(str(path), "", f"cannot be written ({error.strerror})", "a folder that can be written to")
        ) from None


def rate_words(rate: Rate) -> str:
    """Return how fast the car answers, what each row has, what it leaves out, and what all of it would cost."""
    each_row = ", ".join(p.label for p in rate.plan.each_row)
    left_out = ", ".join(p.label for p in rate.plan.left_out)
    cost = f"; all in each row would need {rate.runs_factor:.1f} times the runs" if rate.runs_factor >= 1.05 else ""
    return (
        f"{rate.questions_per_s:.1f} questions a second: each row has {each_row}; once in {rate.plan.turn_s:.0f} s:"
        f" {left_out}{cost}"
    )


def _run_entry(
    path: Path, moment: datetime, details: RunDetails, protocol_name: str, columns: tuple[str, ...]
) -> dict[str, Any]:
    return {
        "file": path.name,
        "started": moment.replace(microsecond=0),
        "state": details.state,
        "pair": int(details.pair) if details.pair.isdecimal() else details.pair,
        "direction": details.direction,
        "vehicle": details.vehicle,
        "route": details.route,
        "wind": details.wind,
        "wind_from": details.wind_from,
        "temperature": details.temperature,
        "notes": details.notes,
        "protocol": protocol_name,
        "parameters": list(columns),
    }


def _no_keys() -> str:
    return ""


def _no_screen(_: Status) -> None:
    return None


def record(
    settings: Settings,
    details: RunDetails | None = None,
    *,
    keys: Callable[[], str] = _no_keys,
    show: Callable[[Status], None] = _no_screen,
) -> Summary:
    """Record the engine until the duration is over, the stop key or an interrupt; return what was recorded.

    Makes `settings.out`, a new CSV file of `COLUMNS` in it, and a `[[run]]` table in its run list, both when the car
    first answers. Each round asks the fast parameters and now and then a slow one, and writes one row: `time_s` counts
    from the first row on a clock that never steps, `time_utc` is the computer's clock, both of the moment when the
    row's first question was sent; `row_duration_s` is the time until its last answer. An empty cell was not asked or
    not answered. `state` is the state of the turbine, `mark` what a key said. When the connection is lost, a row with
    `gap` "begin: why" is written at once, and the first row after it has "end: seconds".

    `keys` returns the characters pressed since it was last called (see `KEYS`); `show` gets a `Status` after each row
    and each event. Raises AdapterError where adapter or car cannot be reached at first (later they are waited for),
    InputError for a folder or run list that cannot be used, RowLostError where a row cannot be written.
    """
    details = details or RunDetails()
    try:
        settings.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            Problem(str(settings.out), "", f"cannot be made ({error.strerror})", "a folder that can be written to")
        ) from None
    read_run_list(settings.out / RUN_LIST)  # its faults show before the drive, not after it
    return _Recording(settings, details, keys, show).run()
