"""Parameters that stop answering or stick, on a clock of the test's own."""

from __future__ import annotations

import pytest

from vehicle.recording.watch import Watch

SPEED, RPM, AIR = "vehicle_speed_km_h", "engine_speed_rpm", "mass_air_flow_g_s"


def driven(watch: Watch, until_s: int, *, air: float | None, rpm_step: float = 10.0, begin_s: int = 0) -> None:
    for at_s in range(begin_s, until_s):
        watch.answered(RPM, 2000 + rpm_step * at_s, at_s)
        if air is not None:
            watch.answered(AIR, air, at_s)


def test_a_value_that_stays_while_others_move_is_stuck_after_three_quarters_of_a_minute() -> None:
    watch = Watch()
    driven(watch, 45, air=21.0)
    assert watch.stuck(44.9) == frozenset()
    driven(watch, 47, air=21.0, begin_s=45)
    assert watch.stuck(46.0) == {AIR}
    watch.answered(AIR, 21.5, 52.0)
    assert watch.stuck(52.5) == frozenset()


def test_a_steady_drive_and_a_fuel_supply_that_is_cut_are_not_stuck() -> None:
    watch = Watch()
    driven(watch, 80, air=21.0, rpm_step=1.0)  # 4 % in all
    assert watch.stuck(80.0) == frozenset()
    watch = Watch()
    driven(watch, 80, air=0.0)
    assert watch.stuck(80.0) == frozenset()


def test_a_parameter_that_stops_is_a_gap_of_its_own() -> None:
    watch = Watch()
    driven(watch, 10, air=21.0)
    assert not watch.missed(AIR, 10.0)  # one miss is none
    assert not watch.missed(AIR, 11.0)
    assert watch.missed(AIR, 12.5)  # 3.5 s after its last answer
    assert watch.stopped() == {AIR}
    assert not watch.missed(AIR, 13.0)  # reported once
    assert watch.gaps(20.0)[0].total_s == pytest.approx(11.0)
    watch.answered(AIR, 22.0, 21.0)
    assert watch.stopped() == frozenset()
    (gap,) = watch.gaps(30.0)
    assert (gap.column, gap.count, gap.total_s) == (AIR, 1, pytest.approx(12.0))


def test_a_gap_of_the_connection_is_none_of_a_parameter() -> None:
    watch = Watch()
    driven(watch, 10, air=21.0)
    watch.connection_gap(30.0)
    assert not watch.missed(AIR, 40.0)
    assert not watch.missed(AIR, 40.5)
    assert watch.missed(AIR, 43.0)
