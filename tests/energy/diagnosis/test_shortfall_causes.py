"""What faults leave of the watts where neither curves nor generator are known, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from energy.diagnosis.shortfall import CauseFound, _undecided
from energy.diagnosis.shortfall_causes import kept_share, neutral


@pytest.mark.parametrize(
    ("fault", "value", "kept"),
    [
        ("power", 0.6, 0.6),
        ("slip", 0.25, 0.75),
        ("voltage", 0.5, 0.25),
        ("lead", 0.25, 0.8),
        ("winding", 6.0, 1 / 1.5),
        ("element", 4.0, 4 * 4 / 25),
        ("element", 0.25, 4 * 4 / 25),
        ("stalled", 1.0, 0.1),
        ("pitch_deg", 10.0, 0.75),
        ("pitch_slip_deg", -10.0, 0.75),
        ("pitch_drift_deg", 10.0, 1 - 1 / 16),  # half of it, as seen over the whole drive
        ("pitch_deg", 60.0, 0.02),
        ("local", 0.5, 1.0),
    ],
)
def test_each_fault_leaves_its_share(fault: str, value: float, kept: float) -> None:
    whole = neutral(2)
    assert kept_share(whole) == pytest.approx([1.0, 1.0])
    one = getattr(whole, fault).copy()
    one[1] = value
    assert kept_share(replace(whole, **{fault: one})) == pytest.approx([1.0, kept])


def test_two_faults_multiply_and_two_errors_of_pitch_add() -> None:
    both = replace(neutral(1), power=np.array([0.5]), voltage=np.array([0.8]))
    assert kept_share(both) == pytest.approx([0.32])
    turned = replace(neutral(1), pitch_deg=np.array([8.0]), pitch_slip_deg=np.array([-4.0]))
    assert kept_share(turned) == pytest.approx([0.96])


@pytest.mark.parametrize(
    ("probabilities", "nothing", "left"),
    [
        (
            (0.60, 0.05, 0.03),
            0.1,
            2,
        ),  # no other is a candidate, but the first is not sure: the next one is named with it
        ((0.50, 0.20, 0.15), 0.1, 3),
        ((0.80, 0.15, 0.01), 0.0, 0),  # sure, and far ahead
        ((0.75, 0.72, 0.01), 0.0, 0),  # both are there
        ((0.40, 0.05, 0.01), 0.55, 0),  # most likely nothing is wrong
    ],
)
def test_which_causes_the_readings_cannot_part(probabilities: tuple[float, ...], nothing: float, left: int) -> None:
    causes = tuple(
        CauseFound(name, one, 0.0, 0.0, {}, {})
        for name, one in zip(("pitch", "stall", "belt"), probabilities, strict=True)
    )
    assert _undecided(causes, nothing, rough=False) == ("pitch", "stall", "belt")[:left]
