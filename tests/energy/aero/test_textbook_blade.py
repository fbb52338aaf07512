"""A textbook blade that can be built: hand calculations; no source where none is named."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from energy.aero.textbook_blade import (
    HUB_FILL,
    LEAST_THICKNESS_SHARE,
    PLATE_STRESS_PA,
    TextbookBlade,
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


@pytest.mark.parametrize(("tip", "count", "ratio"), [(0.9, 3, 4.0), (1.4, 6, 1.5), (0.5, 2, 7.0)])
def test_every_station_by_hand(tip: float, count: int, ratio: float) -> None:
    """Manwell, McGowan and Rogers, 2nd ed., section 3.9 (from memory), station by station; the hub fill is own."""
    blade = textbook_blade(tip, count, ratio)
    assert (blade.number_of_blades, blade.tip_speed_ratio) == (count, ratio)
    assert len(blade.radius_m) == 9
    for k in range(9):
        radius = tip * (0.2 + 0.1 * k)
        inflow = 2 / 3 * math.atan2(1.0, ratio * radius / tip)
        optimum = 8 * math.pi * radius * (1 - math.cos(inflow)) / (count * 1.0)
        room = 0.6 * 2 * math.pi * radius / count
        assert blade.radius_m[k] == pytest.approx(radius, rel=1e-12)
        assert blade.optimum_chord_m[k] == pytest.approx(optimum, rel=1e-12)
        assert blade.chord_m[k] == pytest.approx(min(optimum, room), rel=1e-12)
        assert blade.twist_deg[k] == pytest.approx(math.degrees(inflow) - 3.2, rel=1e-12)
        assert bool(blade.narrowed[k]) == (optimum > room)
    solved = blade.as_blade()
    assert solved.number_of_blades == count
    for name in ("radius_m", "chord_m", "twist_deg"):
        assert getattr(solved, name) == pytest.approx(getattr(blade, name))


SHEETS_MM, CARVED = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20), (0.12, 0.15, 0.18)


def trapezoids(radius: np.ndarray, values: np.ndarray) -> float:
    return sum((b - a) * (u + v) / 2 for a, b, u, v in zip(radius, radius[1:], values, values[1:], strict=False))


def build_by_hand(blade: TextbookBlade, thrust: float, speed: float) -> tuple[str, list[float], str, str]:
    """Material, [thickness, mass, pull, stress], what speaks against a sheet and against either: the thinnest sheet
    that carries, else wood.

    Beam theory; aluminium 2700 kg/m³ and 40 MPa, softwood 550 kg/m³ and 12 MPa, an ellipse 0.7 full (from memory).
    """
    r, c = blade.radius_m, blade.chord_m
    bending = thrust / blade.number_of_blades * (r[-1] * 2 / 3 - r[0])
    for millimetres in SHEETS_MM:
        t = millimetres / 1000
        rise = 0.06 * c[0]  # of the arc: second moment 4/45 of its square, edges 2/3 of it off, both plus the sheet's
        modulus = t * c[0] * (4 * rise**2 / 45 + t**2 / 12) / (2 * rise / 3 + t / 2)
        pull = 2700 * t * speed**2 * trapezoids(r, c * r)
        stress = bending / modulus + pull / (c[0] * t)
        sheet = [t, 2700 * t * trapezoids(r, c), pull, stress]
        if stress <= 40e6 and t >= 0.02 * max(c):
            break
    why = "too weak" if stress > 40e6 else "not bent" if t > 0.008 else ""
    narrow = "mm wide where it is narrowest" if min(c) < 0.02 else ""
    if not why:
        return "plate", sheet, why, narrow
    for share in CARVED:
        carved = 550 * 0.7 * share
        pull = carved * speed**2 * trapezoids(r, c * c * r)
        modulus = math.pi / 32 * c[0] * (share * c[0]) ** 2
        stress = bending / modulus + pull / (0.7 * share * c[0] ** 2)
        wood = [share * max(c), carved * trapezoids(r, c * c), pull, stress]
        if stress <= 12e6:
            break
    weak = "too weak at the root" if stress > 12e6 else ""
    thick = "it would need wood" if share * max(c) > 0.12 else ""
    return "wood", wood, why, narrow or weak or thick


BUILDS = [  # tip radius, blades, ratio, thrust, speed
    (0.35, 3, 3.0, 60.0, 200.0),
    (0.6, 3, 3.0, 250.0, 90.0),
    (0.9, 3, 5.0, 300.0, 60.0),
    (0.9, 4, 4.0, 800.0, 90.0),
    (1.2, 3, 2.67, 2000.0, 90.0),
    (1.2, 3, 2.67, 800.0, 55.0),
    (1.2, 12, 2.67, 4000.0, 55.0),
    (0.9, 6, 4.0, 1500.0, 90.0),
    (3.0, 3, 2.67, 4000.0, 20.0),
    (0.1, 5, 5.0, 5.0, 200.0),
]


def test_every_build_by_hand() -> None:
    met = set()
    for tip, count, ratio, thrust, speed in BUILDS:
        blade = textbook_blade(tip, count, ratio)
        build = build_of(blade, thrust, speed)
        material, figures, why, against = build_by_hand(blade, thrust, speed)
        assert build.material == material
        found = [build.thickness_m, build.blade_mass_kg, build.root_pull_n, build.stress_pa]
        assert found == pytest.approx(figures, rel=1e-9)
        assert (why in build.no_plate) if why else build.no_plate == ""
        assert (against in build.against) if against else build.against == ""
        met.add(
            (material, why, against, round(figures[0] / max(blade.chord_m), 3) if material == "wood" else figures[0])
        )
    assert {entry[3] for entry in met if entry[0] == "wood"} == set(CARVED)
    assert {entry[1] for entry in met} == {"", "too weak", "not bent"}
    assert len({entry[2] for entry in met}) == 4


def test_what_is_said_of_a_build_in_both_units() -> None:
    weak = build_of(textbook_blade(1.2, 12, 2.67), 4000.0, 55.0)
    stress = weak.stress_pa
    said = (
        f"too weak at the root: {stress / 1e6:.0f} MPa ({round(stress / 6894.757, -2):.0f} psi) even in wood of 18 % of"
    )
    assert weak.against.startswith(said)
    assert "12 MPa (1700 psi) are allowed" in weak.against
    assert "40 MPa (5800 psi) are allowed" in weak.no_plate
    assert "20 mm (0.79 in) sheet" in weak.no_plate
    narrow = textbook_blade(0.1, 5, 5.0)
    assert (
        build_of(narrow, 5.0, 200.0).against == f"only {1000 * min(narrow.chord_m):.0f} mm wide where it is narrowest"
    )


@pytest.mark.parametrize(("millimetres", "refused"), [(19.9, True), (20.1, False)])
def test_the_narrowest_that_is_cut_is_20_mm(millimetres: float, refused: bool) -> None:
    """Own limit, common practice without a source; the rest of the blade is wide enough for wood."""
    blade = replace(textbook_blade(0.35, 3, 3.0), chord_m=np.linspace(0.12, millimetres / 1000, 9))
    assert ("mm wide" in build_of(blade, 60.0, 100.0).against) == refused


def test_a_sheet_is_bent_by_hand_to_8_mm_and_wood_glued_to_120_mm() -> None:
    """Own limits, common practice without a source: the least sheet is 2 % of the widest chord."""
    for chord, material in ((0.399, "plate"), (0.401, "wood")):
        blade = replace(textbook_blade(1.2, 3, 3.0), chord_m=np.full(9, chord))
        assert build_of(blade, 10.0, 5.0).material == material
    for chord, against in ((0.999, ""), (1.001, "it would need wood 120 mm (4.7 in) thick")):
        blade = replace(textbook_blade(2.5, 3, 2.0), chord_m=np.full(9, chord))
        assert build_of(blade, 10.0, 2.0).against == against
