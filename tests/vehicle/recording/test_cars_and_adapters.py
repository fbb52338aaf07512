"""Cars and adapters as they are: several units, old protocols, noise, restarts, strangers; checked cell by cell."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from recording_cases import CASES, ENGINE_PIDS, GEARBOX, SCRIPT, Case, Outcome, both, play
from recording_support import CarProcess, Passenger, after, event, own_time_s, rows_of

from vehicle.recording import loop
from vehicle.recording.access import AdapterError
from vehicle.recording.adapter import Waiter, Wanted, open_adapter
from vehicle.recording.loop import Settings, Status, Summary, record
from vehicle.recording.row_file import RowLostError

BY_NAME = {case.name: case for case in CASES}
SLOW = ["protocol 3, searched 12 s", "adapter silent 31 s", "ignition off 16 s, protocol 3"]  # the benchmark plays them


def clean(outcome: Outcome) -> None:
    """Check what holds for every case: the engine and only the engine, no hole unreported, never deaf."""
    assert outcome.summary is not None, outcome.refused
    assert (outcome.foreign, outcome.stale, outcome.false) == (0, 0, 0)
    assert outcome.right > 0
    assert not outcome.unreported
    for reported, true in outcome.holes:
        assert reported == pytest.approx(true, abs=1.0)
    assert outcome.first_sign_s < 1.0
    assert outcome.stop_s < 5.0
    assert outcome.longest_silence_s < 2.0  # half a second, and several cases at a time


def shortened(case: Case) -> Case:
    """Return a case for the tests: many cells in little time are the benchmark's business."""
    if not case.setup.get("quick"):
        return case
    return replace(case, duration_s=case.duration_s if case.steps else 3.0, interval_s=0.02)


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future[Outcome]]]:
    """Play all cases, several at a time: each mostly waits."""
    folder = tmp_path_factory.mktemp("cases")
    with ThreadPoolExecutor(6) as pool:
        yield {
            name: pool.submit(play, shortened(case), folder / str(number), own_time_s)
            for number, (name, case) in enumerate(BY_NAME.items())
            if name not in SLOW
        }


@pytest.mark.parametrize("name", [name for name in BY_NAME if name not in SLOW])
def test_the_engine_and_only_the_engine(name: str, outcomes: dict[str, Future[Outcome]]) -> None:
    clean(outcomes[name].result())


def test_the_slowest_protocol_gives_a_first_value_soon(outcomes: dict[str, Future[Outcome]]) -> None:
    assert outcomes["protocol 3"].result().first_value_s < 15.0  # 8 s on an idle machine


def test_a_hole_is_as_long_as_it_was_and_the_screen_says_waiting(outcomes: dict[str, Future[Outcome]]) -> None:
    outcome = outcomes["ignition off 16 s"].result()
    assert len(outcome.holes) == 1
    assert outcome.summary is not None
    assert outcome.summary.gaps == 1
    assert outcome.summary.gap_s == pytest.approx(outcome.holes[0][1], abs=1.0)
    assert outcome.summary.parameter_gaps == ()  # a gap of all is none of each
    waiting = [status for status in outcome.seen if status.condition.startswith("waiting: the car does not answer")]
    assert max(s.elapsed_s for s in waiting) - min(s.elapsed_s for s in waiting) > 12
    assert all(s.condition.startswith("waiting") for s in outcome.seen if min(s.ages_s.values(), default=0.0) > 4.5)


def test_a_gearbox_alone_is_never_taken_for_the_engine(tmp_path: Path) -> None:
    alone = {"gearbox": GEARBOX, "engine": {"pids": ENGINE_PIDS, "awake": False}}
    outcome = play(Case("gearbox alone", {"units": alone, "quick": True}), tmp_path / "case", own_time_s)
    assert outcome.summary is None
    assert "no engine load, air flow or fuel" in outcome.refused
    assert outcome.refused_s < 20


def test_several_units_without_headers_are_refused_with_the_reason(tmp_path: Path) -> None:
    outcome = play(Case("no headers", {"units": both(), "headers_stay": True}), tmp_path / "case")
    assert outcome.summary is None
    assert "cannot show which one" in outcome.refused


# ------------------------------------------------------------------------------------------------ one by one


@pytest.fixture
def car(tmp_path: Path) -> Iterator[CarProcess]:
    found = CarProcess(tmp_path / "adapter", script=SCRIPT)
    yield found
    found.kill()


def ride(car: CarProcess, out: Path, passenger: Passenger, **more: Any) -> Summary:
    how = Settings(out, **{"port": car.port, "protocol": "6", "interval_s": 0.05, **more})
    summary = record(how, keys=passenger.keys, show=passenger.show)
    assert not passenger.steps, f"never came to pass; events: {passenger.events()}"
    return summary


def test_a_parameter_that_stops_is_marked_within_seconds(car: CarProcess, tmp_path: Path) -> None:
    stopped_at: list[float] = []

    def stop_air() -> None:
        car.tell(set={"mute": ["10"]})
        stopped_at.append(own_time_s())

    def marked(status: Status) -> bool:
        return "mass_air_flow_g_s" in status.stopped

    car.tell(set={"quick": True})
    passenger = Passenger(
        (after(10), stop_air),
        (marked, lambda: stopped_at.append(own_time_s())),
        (lambda s: s.ages_s["mass_air_flow_g_s"] > 4.0, lambda: car.tell(set={"mute": []})),
        (event("answers again: mass air flow"), "q"),
    )
    summary = ride(car, tmp_path / "runs", passenger)
    assert stopped_at[1] - stopped_at[0] < 5.0
    assert any("no answer any more: mass air flow" in words for words in passenger.events())
    (gap,) = summary.parameter_gaps
    assert (gap.column, gap.count) == ("mass_air_flow_g_s", 1)
    assert gap.total_s > 3.5
    assert summary.gaps == 0


def test_a_mark_is_stamped_when_the_key_is_pressed(car: CarProcess, tmp_path: Path) -> None:
    pressed: list[float] = []

    class Impatient(Passenger):
        """Presses a key in the middle of a question."""

        def keys(self) -> str:
            now = self.seen[-1].elapsed_s if self.seen else 0.0
            if self.seen and self.seen[-1].rows >= 2 and not pressed:
                pressed.append(time.time())
                return "w"
            return super().keys() if now < 8.0 else "q"

    car.tell(set={"protocol": "3", "init_s": 0.1})
    summary = ride(car, tmp_path / "runs", Impatient((lambda s: s.elapsed_s > 7.0, "q")), protocol="3")
    rows = rows_of(summary.file)
    (mark,) = [row for row in rows if row["mark"]]
    first = rows[0]
    since_first = float(mark["time_s"]) - float(first["time_s"])
    assert datetime.fromisoformat(mark["time_utc"]).timestamp() == pytest.approx(pressed[0], abs=0.5)
    assert since_first > 0
    times = [float(row["time_s"]) for row in rows]
    assert times == sorted(times)
    assert {row["state"] for row in rows[: rows.index(mark)]} == {""}
    assert {row["state"] for row in rows[rows.index(mark) :]} == {"working"}


def test_a_stranger_on_the_port_is_recognised_before_it_is_written_to(car: CarProcess) -> None:
    car.tell(set={"stranger_s": 1.0})
    time.sleep(1.1)
    began = own_time_s()
    with pytest.raises(AdapterError, match="is no OBD adapter") as caught:
        open_adapter(Wanted(car.port))
    assert caught.value.kind == "stranger"
    assert "U=230.1V" in str(caught.value)
    assert own_time_s() - began < 8.0
    assert car.tell(set={})["written_to"] == 0


def test_a_key_stops_a_port_that_talks_without_a_prompt(car: CarProcess, tmp_path: Path) -> None:
    pressed: list[float] = []

    class Stopping(Passenger):
        def keys(self) -> str:
            if self.seen and self.seen[-1].rows >= 5 and not pressed:
                car.tell(set={"fault": "chatter"})
                pressed.append(own_time_s() + 1.0)
            return "q" if pressed and own_time_s() > pressed[0] else ""

    ride(car, tmp_path / "runs", Stopping())
    assert own_time_s() - pressed[0] < 2.0


def test_a_replugged_adapter_with_another_name_is_found(
    car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "other"
    monkeypatch.setattr(loop, "found_ports", lambda: [str(other)] if other.exists() else [])
    car.tell(set={"quick": True})

    def rename() -> None:
        car.kill()
        os.unlink(car.port)
        car.link = other
        car.restart()
        car.tell(set={"quick": True})

    passenger = Passenger((after(5), rename), (event("back after"), lambda: None), (after(5), "q"))
    assert ride(car, tmp_path / "runs", passenger).gaps == 1


def test_lists_that_grow_are_followed(car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vehicle.recording.questions.LISTS_AGAIN_S", (1.0, 3.0))
    car.tell(set={"quick": True, "units": {"engine": {"pids": ["04", "0C", "0D"]}}})
    passenger = Passenger(
        (after(3), lambda: car.tell(set={"units": {"engine": {"pids": [*ENGINE_PIDS, "5E"]}}})),
        (event("reports more than at first"), lambda: None),
        (after(10), "q"),
    )
    summary = ride(car, tmp_path / "runs", passenger)
    assert rows_of(summary.file)[-1]["mass_air_flow_g_s"]
    assert "fuel_rate_l_h" in summary.columns
    assert any("litres cannot be calculated" in words for words in passenger.events())


def test_a_car_with_nothing_fast_is_still_recorded(car: CarProcess, tmp_path: Path) -> None:
    car.tell(set={"quick": True, "units": {"engine": {"pids": ["05", "0F", "1F"]}}})
    summary = ride(car, tmp_path / "runs", Passenger((after(5), "q")))
    assert rows_of(summary.file)[-1]["run_time_s"]
    assert not summary.fuel_source


def test_the_rate_of_a_slow_car_is_said_with_what_it_costs(car: CarProcess, tmp_path: Path) -> None:
    car.tell(set={"protocol": "3", "init_s": 0.1})
    passenger = Passenger((event("questions a second"), "q"))
    summary = ride(car, tmp_path / "runs", passenger, protocol="3", fast_mode=False)
    (words,) = [words for words in passenger.events() if "questions a second" in words]
    assert "each row has vehicle speed, engine speed, fuel rate" in words
    assert "times the runs" in words
    assert summary.rate is not None
    assert 1.0 < summary.rate.questions_per_s < 3.0


def test_a_search_is_announced_and_a_key_ends_it(car: CarProcess) -> None:
    car.tell(set={"search_s": 12.0})
    said: list[str] = []

    class StopError(Exception):
        pass

    began = own_time_s()

    def idle() -> None:
        if any("searching" in words for words in said) and own_time_s() - began > 4.0:
            raise StopError

    with pytest.raises(StopError):
        open_adapter(Wanted(car.port), Waiter(idle=idle, say=said.append))
    assert own_time_s() - began < 5.5
    assert "searching for the car's protocol, up to 20 s" in said


def test_a_full_disk_says_how_many_rows_are_safe(
    car: CarProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    car.tell(set={"quick": True})
    write: Callable[[int, bytes], int] = os.write
    room = [3000]

    def full(handle: int, data: bytes) -> int:
        if not data[:1].isdigit():
            return write(handle, data)
        if room[0] <= 0:
            raise OSError(28, "No space left on device")
        taken = data[: room[0]]
        room[0] -= len(taken)
        return write(handle, taken)

    monkeypatch.setattr("vehicle.recording.row_file.os.write", full)
    with pytest.raises(RowLostError, match="No space left") as caught:
        ride(car, tmp_path / "runs", Passenger())
    (path,) = (tmp_path / "runs").glob("*.csv")
    assert path.read_bytes().endswith(b"\n")
    assert len(rows_of(path)) == caught.value.rows > 3
