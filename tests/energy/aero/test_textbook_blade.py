"""A textbook blade that can be built: hand calculations; no source where none is named."""

from __future__ import annotations

import math

import numpy as np
import pytest

from energy.aero.textbook_blade import (
    HUB_FILL,
    LEAST_THICKNESS_SHARE,
    PLATE_STRESS_PA,
    arc_section_modulus_m3,
    build_of,
    textbook_blade,
)


def test_chord_and_angle_by_hand() -> None:
    """Manwell, McGowan and Rogers, 2nd ed., section 3.9 (from memory): at a local speed ratio of 1 inflow is 30 deg."""
    blade = textbook_blade(1.0, 3, 5.0)
    assert blade.radius_m[0] == pytest.approx(0.2)
    assert blade.optimum_chord_m[0] == pytest.approx(8 * math.pi * 0.2 * (1 - math.sqrt(3) / 2) / 3)
    assert blade.twist_deg[0] == pytest.approx(30 - 3.2)
    assert not blade.narrowed.any()


@pytest.mark.parametrize("count", [2, 3, 5, 12])
@pytest.mark.parametrize("ratio", [2.0, 2.67, 5.0])
def test_blades_pass_each_other_at_the_hub(count: int, ratio: float) -> None:
    blade = textbook_blade(0.7, count, ratio)
    assert (count * blade.chord_m <= HUB_FILL * 2 * math.pi * blade.radius_m * (1 + 1e-12)).all()
    kept = ~blade.narrowed
    assert kept[-1]
    assert blade.chord_m[kept] == pytest.approx(blade.optimum_chord_m[kept])


def test_the_modulus_of_a_bent_sheet_against_its_integral() -> None:
    """Parabola cut in strips: second moment about the strips' mean height, over the distance of the edges."""
    chord, camber, thickness = 0.25, 0.06, 0.004
    x = (np.arange(100_000) + 0.5) / 100_000
    height = 4 * camber * chord * x * (1 - x)
    inertia = thickness * chord * (np.mean((height - height.mean()) ** 2) + thickness**2 / 12)
    furthest = height.mean() + thickness / 2
    assert arc_section_modulus_m3(chord, camber, thickness) == pytest.approx(inertia / furthest, rel=1e-4)


def test_mass_pull_and_stress_by_hand() -> None:
    """Sums over trapezoids of the stations; aluminium 2700 kg/m3; bending thrust/3 at 2/3 of the radius."""
    blade = textbook_blade(0.35, 3, 3.0)
    build = build_of(blade, 60.0, 200.0)
    assert build.material == "plate"
    r, c, t = blade.radius_m, blade.chord_m, build.thickness_m
    area = sum((r[k + 1] - r[k]) * (c[k] + c[k + 1]) / 2 for k in range(8))
    moment = sum((r[k + 1] - r[k]) * (c[k] * r[k] + c[k + 1] * r[k + 1]) / 2 for k in range(8))
    assert build.blade_mass_kg == pytest.approx(2700 * t * area)
    assert build.root_pull_n == pytest.approx(2700 * t * moment * 200.0**2)
    bending = 60.0 / 3 * (2 / 3 * 0.35 - 0.07)
    stress = bending / arc_section_modulus_m3(c[0], 0.06, t) + build.root_pull_n / (c[0] * t)
    assert build.stress_pa == pytest.approx(stress)
    assert stress <= PLATE_STRESS_PA
    assert t >= LEAST_THICKNESS_SHARE * c.max()


def test_what_cannot_be_built_says_why() -> None:
    wide = build_of(textbook_blade(1.2, 3, 2.67), 800.0, 55.0)
    assert wide.material == "wood"
    assert "not bent by hand" in wide.no_plate
    assert not wide.against
    assert "MPa" in build_of(textbook_blade(1.2, 12, 2.67), 4000.0, 55.0).against
    assert "mm wide" in build_of(textbook_blade(0.1, 5, 5.0), 5.0, 200.0).against
    thick = build_of(textbook_blade(3.0, 3, 2.67), 4000.0, 20.0)
    assert thick.material == "wood"
    assert thick.against.startswith(f"it would need wood {1000 * thick.thickness_m:.0f} mm")
