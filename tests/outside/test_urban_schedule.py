"""US EPA Urban Dynamometer Driving Schedule, 40 CFR Part 86 Appendix I: published totals."""

from pathlib import Path

import numpy as np
import pytest

from vehicle.tables import increasing, read_table

UDDS = Path(__file__).parent.parent / "data" / "drive_cycles" / "udds.csv"


def test_totals() -> None:
    data = read_table(UDDS, {"time": "s", "speed": "m/s"})
    increasing(UDDS, "time", data["time"])
    miles = np.trapezoid(data["speed"], data["time"]) / 1609.344
    assert data["time"][-1] - data["time"][0] == 1369
    assert miles == pytest.approx(7.45, abs=0.01)
    assert data["speed"].max() / 0.44704 == pytest.approx(56.7)
    assert miles / (1369 / 3600) == pytest.approx(19.59, abs=0.02)
