"""What the answers of each parameter say about it: its age, whether it has stopped, whether it is stuck."""

from __future__ import annotations

from dataclasses import dataclass, field

STOPPED_S = 3.0  # without an answer, though asked again: the parameter has stopped
STUCK_S = 45.0  # without a change, while others move; what sticks for 50 s shows for a little less
_LEAST_ANSWERS = 8  # what is asked once in ten seconds may be the same five times
FULL_LOAD_PERCENT = 99.0
_EVERY_S = 0.5  # often enough to see a drive move
_MOVES = 0.10  # of its largest value: a companion that moved by less may as well be a steady drive
_CAN_STICK = frozenset(
    {
        *("vehicle_speed_km_h", "engine_speed_rpm", "calculated_load_percent", "absolute_load_percent"),
        *("mass_air_flow_g_s", "intake_manifold_pressure_kpa", "fuel_rate_l_h"),
    }
)


@dataclass(frozen=True)
class ParameterGap:
    """A parameter that stopped answering while others went on: how often, and how long in all [s]."""

    column: str
    count: int
    total_s: float


@dataclass
class _Seen:
    value: float
    at_s: float
    same_since_s: float
    same: int = 1
    missed: int = 0
    gap_s: float = 0.0
    gaps: int = 0
    stopped: bool = False
    recent: list[tuple[float, float]] = field(default_factory=list)


class Watch:
    """The last answer of each parameter. Times in seconds of the recorder's clock."""

    def __init__(self) -> None:
        self._seen: dict[str, _Seen] = {}
        self._connection_gap_s = 0.0
        self._gap_before: dict[str, float] = {}

    def answered(self, column: str, value: float, at_s: float) -> None:
        """Take in an answer."""
        seen = self._seen.get(column)
        if seen is None:
            seen = self._seen[column] = _Seen(value, at_s, at_s)
        if seen.stopped:
            seen.gap_s += self._own_hole_s(column, seen, at_s)
            seen.stopped = False
        seen.same += 1
        if value != seen.value:
            seen.same_since_s, seen.same = at_s, 1
        seen.value, seen.at_s, seen.missed = value, at_s, 0
        self._gap_before[column] = self._connection_gap_s
        if column in _CAN_STICK and (not seen.recent or at_s - seen.recent[-1][0] >= _EVERY_S):
            seen.recent.append((at_s, value))
            if seen.recent[0][0] < at_s - 2 * STUCK_S:
                seen.recent = [entry for entry in seen.recent if entry[0] >= at_s - STUCK_S]

    def missed(self, column: str, at_s: float) -> bool:
        """Take in a question without an answer; return whether the parameter counts as stopped from here on."""
        seen = self._seen.get(column)
        if seen is None:
            return False
        seen.missed += 1
        if seen.stopped or seen.missed < 2 or self._own_hole_s(column, seen, at_s) < STOPPED_S:
            return False
        seen.stopped = True
        seen.gaps += 1
        return True

    def connection_gap(self, length_s: float) -> None:
        """Take in a gap of the whole connection: it is no gap of a parameter."""
        self._connection_gap_s += length_s

    def _own_hole_s(self, column: str, seen: _Seen, at_s: float) -> float:
        return at_s - seen.at_s - (self._connection_gap_s - self._gap_before.get(column, 0.0))

    def missing_again(self) -> frozenset[str]:
        """Return the parameters that answered before and missed their last question: they are asked again soon."""
        return frozenset(column for column, seen in self._seen.items() if seen.missed)

    def values(self) -> dict[str, float]:
        """Return the last value of each parameter."""
        return {column: seen.value for column, seen in self._seen.items()}

    def ages_s(self, at_s: float) -> dict[str, float]:
        """Return the age of each value [s]."""
        return {column: max(at_s - seen.at_s, 0.0) for column, seen in self._seen.items()}

    def stopped(self) -> frozenset[str]:
        """Return the parameters that have stopped answering while others go on."""
        return frozenset(column for column, seen in self._seen.items() if seen.stopped)

    def stuck(self, at_s: float) -> frozenset[str]:
        """Return the parameters that have not changed for `STUCK_S` while others moved by a tenth or more.

        Zero is no sign: a car that stands, or a fuel supply that is cut while coasting, stays at zero. Nor is full
        load, which a long climb may hold.
        """
        return frozenset(
            column
            for column, seen in self._seen.items()
            if column in _CAN_STICK
            and seen.value != 0.0
            and not (column == "calculated_load_percent" and seen.value >= FULL_LOAD_PERCENT)
            and not seen.stopped
            and seen.same >= _LEAST_ANSWERS
            and min(at_s, seen.at_s) - seen.same_since_s >= STUCK_S
            and any(self._moved(other, seen.same_since_s) for other in self._seen if other != column)
        )

    def _moved(self, column: str, since_s: float) -> bool:
        values = [value for at_s, value in self._seen[column].recent if at_s >= since_s]
        return bool(values) and max(values) - min(values) > _MOVES * abs(max(values, key=abs))

    def gaps(self, at_s: float) -> tuple[ParameterGap, ...]:
        """Return the gaps of single parameters, those that are still open counted up to `at_s` [s]."""
        return tuple(
            ParameterGap(
                column, seen.gaps, seen.gap_s + (self._own_hole_s(column, seen, at_s) if seen.stopped else 0.0)
            )
            for column, seen in self._seen.items()
            if seen.gaps
        )
