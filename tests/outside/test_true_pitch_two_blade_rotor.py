"""True pitch of the two-bladed wind-tunnel rotor at 7 m/s, from its measured means.

NREL/TP-500-29955 (geometry, polars) and DOI 10.21947/WDH-DAP/1910052 (means, sequence H, zero yaw): tip pitch 3 deg.
The
rotor works near its best pitch there, so that watts alone must leave the pitch wide open; thrust narrows it.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from energy.aero.blade import CurveSettings, PitchConvention, Root, blade_curves, read_blade, to_rotor_curves
from energy.aero.polar import read_polars
from energy.diagnosis.true_pitch import Accuracy, MeasuredRows, true_pitch

DATA = Path(__file__).resolve().parents[1] / "data" / "two_blade_rotor"
# Tunnel instruments; curves of blade-element theory as checked for this rotor in attached flow (within a tenth).
ACCURACY = Accuracy(air_speed_noise=0.01, air_speed_calibration=0.005, power=0.01, curves=0.05, thrust=0.05)
# Measured means at 7 m/s: wind speed m/s, rpm, shaft W, thrust N, density kg/m³.
SPEED, RPM, POWER, THRUST, DENSITY = 7.0, 71.8783, 5945.8, 1132.0692, 1.23373


@pytest.fixture(scope="module")
def curves():
    blade = read_blade(DATA / "blade_geometry.csv", 2, Root(aerofoil_start_m=1.2575, diameter_m=0.218))
    polars = read_polars(DATA / "polar_s809_re1000k.csv", 1e6)
    pitches, ratios = np.arange(-6.0, 16.1, 1.0), np.linspace(3.0, 8.0, 26)
    return to_rotor_curves(blade_curves(blade, polars, ratios, pitches, CurveSettings(convention=PitchConvention(1.0))))


def fitted(curves, thrust):
    rows = MeasuredRows(
        np.array([SPEED]),
        np.array([RPM * math.pi / 30]),
        np.array([POWER]),
        np.array([THRUST]) if thrust else None,
    )
    return true_pitch(curves, 5.029, DENSITY, rows, ACCURACY)


def test_the_set_pitch_lies_inside_and_watts_alone_leave_it_wide(curves):
    watts, both = fitted(curves, False), fitted(curves, True)
    for found in (watts, both):
        assert found.pitch_deg is not None
        print(found.branch, found.pitch_deg)
        assert found.pitch_deg.low <= 3.0 <= found.pitch_deg.high
    wide, narrow = (f.pitch_deg.high - f.pitch_deg.low for f in (watts, both))
    assert wide > 4.0  # degrees: the top is flat
    assert watts.branch == "either"
    assert narrow < 0.7 * wide


def test_away_from_the_best_pitch_the_watts_tell_it(curves):
    # The same rotor set 7 deg further towards feather, as its own curves have it: power is steep there.
    from energy.aero.operating_point import coefficients

    ratio = RPM * math.pi / 30 * 5.029 / SPEED
    cp, _, _ = coefficients(curves, 10.0, ratio)
    power = float(cp) * 0.5 * DENSITY * math.pi * 5.029**2 * SPEED**3
    rows = MeasuredRows(np.array([SPEED]), np.array([RPM * math.pi / 30]), np.array([power]))
    found = true_pitch(curves, 5.029, DENSITY, rows, ACCURACY).pitch_deg
    wide = fitted(curves, False).pitch_deg
    assert found is not None
    assert wide is not None
    assert found.low <= 10 <= found.high
    assert found.high - found.low < 0.4 * (wide.high - wide.low)
