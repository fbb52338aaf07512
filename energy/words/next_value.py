"""The value that is worth asking for next: the one whose measurement would narrow the answer's range most."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from energy.words.verdict import called, shown_width
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.uncertainty.measurement import Measurement

_WORTH_ASKING = 0.05  # a range that shrinks by less is not worth a trip to the garage
_TWICE = 0.45


@dataclass(frozen=True)
class NextValue:
    """A question for one value of the scenario: its key, why it is asked, how to measure it, and to ± what (SI)."""

    key: str
    why: str
    how: str
    plus_minus: float


def next_value(answered: Answered, left: Collection[str] = (), system: UnitSystem = "metric") -> NextValue | None:
    """Return the most valuable value to ask for, without those in `left` (keys that the user cannot know); or None."""
    measured = () if answered.spread is None else answered.spread.measurements
    worth = [m for m in measured if m.key not in left and m.shrinks_by >= _WORTH_ASKING]
    return _asked(max(worth, key=lambda m: m.shrinks_by), system) if worth else None


def _asked(measured: Measurement, system: UnitSystem) -> NextValue:
    name = called(measured.key)
    twice = measured.shrinks_by >= _TWICE
    gain = "twice as sure" if twice else f"surer: its range {100 * measured.shrinks_by:.0f} % narrower"
    how = f"Measure it with {measured.how}, to ± {shown_width(measured, system)}."
    return NextValue(measured.key, f"The answer would be {gain}, if you knew {name}.", how, measured.plus_minus)
