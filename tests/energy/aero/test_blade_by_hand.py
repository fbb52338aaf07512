"""From blade and polar to curves, recomputed section by section; geometry by fine strips; each limit on both sides."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from energy.aero.blade import (
    Blade,
    BladeCurves,
    Corrections,
    CurveSettings,
    PitchConvention,
    Root,
    blade_curves,
    blade_from_stations,
    blade_sections,
    blockage_speed_factor,
    polar_of_plate_blade,
    read_blade,
    reference_twist_deg,
    root_drag,
    to_rotor_curves,
    usual_grid,
)
from energy.aero.blade_element import solve
from energy.aero.polar import SectionPolar, cambered_plate_polar, full_polar, with_stall_delay
from vehicle.problems import InputError

RADIUS, CHORD, TWIST = [0.2, 0.5, 0.8, 1.1], [0.20, 0.16, 0.13, 0.06], [22.0, 9.0, 4.0, -1.0]
ROOT = Root(hub_radius_m=0.1, aerofoil_start_m=0.3, diameter_m=0.05, drag_coefficient=1.1)
POLAR = cambered_plate_polar(0.05, 2e5, name="sheet")
RATIOS, PITCHES = np.array([0.5, 2.0, 4.0, 6.0]), np.array([0.0, 5.0, 40.0])


def blade(root: Root | None = ROOT, count: int = 3) -> Blade:
    return blade_from_stations(
        radius_m=np.array(RADIUS),
        chord_m=np.array(CHORD),
        twist_deg=np.array(TWIST),
        number_of_blades=count,
        root=root,
        name="b.csv",
    )


def strips(start: float, count: int = 300_000) -> tuple[np.ndarray, np.ndarray, float]:
    """Radius, chord and width of fine strips from a radius to the tip."""
    edges = np.linspace(start, 1.1, count + 1)
    radius = 0.5 * (edges[1:] + edges[:-1])
    return radius, np.interp(radius, RADIUS, CHORD), edges[1] - edges[0]


def test_measures_of_a_blade_by_strips() -> None:
    one = blade()
    radius, chord, width = strips(0.3)
    area = chord.sum() * width
    assert one.tip_radius_m == 1.1
    assert one.area_m2 == pytest.approx(area, rel=1e-8)
    assert one.solidity == pytest.approx(3 * area / (math.pi * 1.1**2), rel=1e-8)
    assert one.middle_radius_m == pytest.approx((radius * chord).sum() * width / area, rel=2e-5)
    # Chord at three quarters of the radius, 0.825 m: 0.13 − 0.07·0.025/0.3.
    assert one.aspect_ratio == pytest.approx((1.1 - 0.3) / (0.13 - 0.07 * 0.025 / 0.3), rel=1e-12)
    outer = strips(0.55)[1].mean()
    assert one.outer_chord_m == pytest.approx(outer, rel=1e-8)
    late = blade(replace(ROOT, aerofoil_start_m=0.7))  # the aerofoil begins outside half of the radius
    assert late.outer_chord_m == pytest.approx(strips(0.7)[1].mean(), rel=1e-8)
    assert one.twist_at(0.5) == pytest.approx(9.0 - 5.0 * 0.05 / 0.3)
    assert one.twist_at(1.0) == -1.0
    at_station = blade(replace(ROOT, aerofoil_start_m=0.5))
    assert at_station.area_m2 == pytest.approx(0.3 * 0.145 + 0.3 * 0.095, rel=1e-12)


def test_where_a_blade_begins_if_nothing_is_given() -> None:
    plain = blade(None)
    assert (plain.hub_radius_m, plain.aerofoil_start_m) == (0.2, 0.2)
    assert (plain.root_diameter_m, plain.root_drag_coefficient, plain.name) == (0.0, 1.2, "b.csv")
    inside, outside = blade(Root(hub_radius_m=0.1)), blade(Root(hub_radius_m=0.25))
    assert (inside.hub_radius_m, inside.aerofoil_start_m) == (0.1, 0.2)
    assert (outside.hub_radius_m, outside.aerofoil_start_m) == (0.25, 0.25)
    one = blade()
    assert (one.hub_radius_m, one.aerofoil_start_m, one.root_diameter_m, one.root_drag_coefficient) == (
        0.1,
        0.3,
        0.05,
        1.1,
    )


STATION_LIMITS = [
    ({"radius": [0.0, 0.5, 0.8, 1.1]}, {"radius": [-1e-9, 0.5, 0.8, 1.1]}, "column radius, row 1 of the numbers"),
    ({"radius": [1.0, 2.0, 3.0, 200.0]}, {"radius": [1.0, 2.0, 3.0, 200.1]}, "column radius, row 4 of the numbers"),
    ({"radius": [0.2, 0.5, 0.501, 1.1]}, {"radius": [0.2, 0.5, 0.5, 1.1]}, "column radius, row 3 of the numbers"),
    ({"chord": [1e-9, 0.1, 0.1, 0.1]}, {"chord": [0.0, 0.1, 0.1, 0.1]}, "column chord, row 1 of the numbers"),
    ({"chord": [0.2, 1.1, 0.1, 0.1]}, {"chord": [0.2, 1.101, 0.1, 0.1]}, "column chord, row 2 of the numbers"),
    ({"twist": [90.0, 0.0, -90.0, 0.0]}, {"twist": [90.0, 0.0, -90.1, 0.0]}, "column twist, row 3 of the numbers"),
    ({"twist": [90.0, 0.0, 0.0, 0.0]}, {"twist": [90.1, 0.0, 0.0, 0.0]}, "column twist, row 1 of the numbers"),
    ({"count": 1}, {"count": 0}, "number_of_blades"),
    ({"count": 10_000}, {"count": 10_001}, "number_of_blades"),
    ({"root": Root(hub_radius_m=0.0)}, {"root": Root(hub_radius_m=-1e-9)}, "hub_radius"),
    ({"root": Root(0.3, 0.3)}, {"root": Root(0.3, 0.2999)}, "aerofoil_start"),
    ({"root": Root(0.3, 1.0449)}, {"root": Root(0.3, 1.0451)}, "aerofoil_start"),
    ({"root": Root(0.1, 0.2)}, {"root": Root(0.1, 0.1999)}, "aerofoil_start"),
    ({"root": Root(diameter_m=0.0)}, {"root": Root(diameter_m=-1e-9)}, "root_diameter"),
    ({"root": Root(diameter_m=0.5499)}, {"root": Root(diameter_m=0.55)}, "root_diameter"),
    ({"root": Root(drag_coefficient=0.0)}, {"root": Root(drag_coefficient=-1e-9)}, "root_drag_coefficient"),
    ({"root": Root(drag_coefficient=3.0)}, {"root": Root(drag_coefficient=3.01)}, "root_drag_coefficient"),
]


@pytest.mark.parametrize(("good", "bad", "key"), STATION_LIMITS)
def test_each_limit_of_a_blade(good: dict[str, object], bad: dict[str, object], key: str) -> None:
    def made(change: dict) -> Blade:
        given = {"radius": RADIUS, "chord": CHORD, "twist": TWIST, "count": 3, "root": None} | change
        return blade_from_stations(
            *(np.array(given[k]) for k in ("radius", "chord", "twist")), given["count"], given["root"]
        )

    assert made(good).number_of_blades == good.get("count", 3)
    with pytest.raises(InputError) as caught:
        made(bad)
    assert (caught.value.problems[0].where, caught.value.problems[0].key) == ("blade", key)


def test_faults_of_a_blade_come_all_at_once() -> None:
    with pytest.raises(InputError) as caught:
        blade_from_stations(
            [0.2, 1.1], [0.0, 0.1], [0.0, 95.0], 0, Root(2.0, diameter_m=1.0, drag_coefficient=9.0), name="n"
        )
    assert [str(p) for p in caught.value.problems] == [
        "n: column chord, row 1 of the numbers: 0; accepted: a chord above 0, shorter than the tip radius",
        "n: column twist, row 2 of the numbers: 95; accepted: degrees from -90 to 90, positive towards feather",
        "n: number_of_blades: 0; accepted: a whole number above 0",
        "n: hub_radius: 2 m with the tip at 1.1 m; accepted: 0 to less than the tip",
        "n: root_diameter: 1 m; accepted: 0 to half the tip radius",
        "n: root_drag_coefficient: 9; accepted: 0 to 3",
    ]
    with pytest.raises(InputError, match="n: 1 stations; accepted: at least 2, from root to tip"):
        blade_from_stations([0.2], [0.1], [0.0], 3, name="n")
    assert blade_from_stations([0.2, 1.0], [0.1, 0.1], [0.0, 0.0], 3).tip_radius_m == 1.0


def test_a_blade_file_by_its_sign_of_twist(tmp_path: Path) -> None:
    path = tmp_path / "blade.csv"
    rows = zip(RADIUS, CHORD, TWIST, strict=True)
    path.write_text("radius_m,chord_m,twist_deg\n" + "".join(f"{r},{c},{t}\n" for r, c, t in rows), encoding="utf-8")
    one = read_blade(path=path, number_of_blades=4, root=ROOT)
    assert (one.name, one.number_of_blades, one.aerofoil_start_m) == ("blade.csv", 4, 0.3)
    assert one.twist_deg == pytest.approx(TWIST)
    assert read_blade(path, 4, twist_positive_towards="flat").twist_deg == pytest.approx([-t for t in TWIST])


@pytest.mark.parametrize(
    ("convention", "reading", "angle", "said"),
    [
        (
            PitchConvention(),
            7.0,
            7.0,
            "the chord of zero twist; 0 means in the rotor plane; positive turns towards feather",
        ),
        (
            PitchConvention(1.0, "feather"),
            -80.0,
            10.0,
            "the tip chord; 0 means along the rotor axis (feathered); positive turns towards feather",
        ),
        (
            PitchConvention(0.75, "flat", "flat"),
            7.0,
            -7.0,
            "the chord at 75 % of the radius; 0 means in the rotor plane; positive turns towards flat",
        ),
        (
            PitchConvention(0.5, "feather", "flat"),
            80.0,
            10.0,
            "the chord at 50 % of the radius; 0 means along the rotor axis (feathered); positive turns towards flat",
        ),
    ],
)
def test_what_a_dial_means(convention: PitchConvention, reading: float, angle: float, said: str) -> None:
    assert float(convention.chord_angle_deg(np.array(reading))) == angle
    assert float(convention.setting_deg(np.array(angle))) == reading
    assert convention.describe() == f"pitch is measured at {said}"
    twist = {None: 0.0, 1.0: -1.0, 0.75: 4.0 - 5.0 * 0.025 / 0.3, 0.5: 9.0 - 5.0 * 0.05 / 0.3}[convention.measured_at]
    assert reference_twist_deg(blade(), convention) == pytest.approx(twist, abs=1e-12)


@pytest.mark.parametrize(("place", "good"), [(-0.5, False), (0.0, False), (1e-6, True), (1.0, True), (1.0001, False)])
def test_where_pitch_can_be_measured(place: float, good: bool) -> None:
    if good:
        assert PitchConvention(place).measured_at == place
    else:
        with pytest.raises(InputError, match=r"pitch: measured_at: .* of the radius; accepted: above 0, to 1"):
            PitchConvention(place)


@pytest.mark.parametrize(
    ("key", "field", "good", "bad"),
    [
        ("yaw", "yaw_deg", (60.0, -60.0), (60.1, -60.1)),
        ("speed_factor", "speed_factor", (0.2, 2.0), (0.199, 2.01)),
        ("blockage_area_ratio", "blockage_area_ratio", (0.0, 0.3), (-0.001, 0.301)),
    ],
)
def test_each_limit_of_the_corrections(key: str, field: str, good: tuple, bad: tuple) -> None:
    for value in good:
        assert getattr(Corrections(**{field: value}), field) == value
    for value in bad:
        with pytest.raises(InputError) as caught:
            Corrections(**{field: value})
        assert [(p.where, p.key) for p in caught.value.problems] == [("rotor", key)]


def test_corrections_and_settings_where_nothing_is_given() -> None:
    plain = Corrections()
    assert plain == Corrections(True, True, True, True, True, 0.0, 1.0, 0.0)
    settings = CurveSettings()
    assert (settings.sections, settings.air_speed_m_s, settings.kinematic_viscosity_m2_s) == (30, 25.0, 1.46e-5)
    assert (settings.convention, settings.corrections) == (PitchConvention(None, "flat", "feather"), plain)


TWO = (cambered_plate_polar(0.05, 1e5, name="slow"), cambered_plate_polar(0.07, 6e5, name="fast"))


@pytest.mark.parametrize(
    ("polars", "corrections", "root"),
    [
        ((POLAR,), Corrections(), ROOT),
        (TWO[::-1], Corrections(tip_loss=False), ROOT),
        ((POLAR,), Corrections(root_loss=False, stall_delay=False, wake_rotation=False), ROOT),
        ((POLAR,), Corrections(), Root(0.0)),
    ],
)
def test_sections_of_a_blade_by_hand(polars: tuple[SectionPolar, ...], corrections: Corrections, root: Root) -> None:
    """Annuli between cosine-spaced edges; solidity blades·chord/(2πr); Prandtl's exponents B/2·(R−r)/r at the tip and
    B/2·(r−r0)/r0 at the root (from memory)."""
    settings = CurveSettings(PitchConvention(0.75), corrections, 12, 17.0, 1.6e-5)
    one = blade(root, 4)
    at, notes = blade_sections(one, polars, settings)
    start = one.aerofoil_start_m / 1.1
    fulls = sorted((full_polar(polar, one.aspect_ratio) for polar in polars), key=lambda full: full.reynolds_number)
    assert notes == tuple(note for full in fulls for note in full.notes)
    assert at.wake_rotation == corrections.wake_rotation
    assert at.log_reynolds == pytest.approx([math.log(full.reynolds_number) for full in fulls])
    assert at.radius.shape == (12,)
    for k in range(12):
        low, high = (start + (1 - start) * (1 - math.cos(math.pi * edge / 12)) / 2 for edge in (k, k + 1))
        x = (low + high) / 2
        chord, twist = np.interp(1.1 * x, RADIUS, CHORD), np.interp(1.1 * x, RADIUS, TWIST)
        assert at.radius[k] == pytest.approx(x, rel=1e-12)
        assert at.width[k] == pytest.approx(high - low, rel=1e-10)
        assert at.solidity[k] == pytest.approx(4 * chord / (2 * math.pi * 1.1 * x), rel=1e-12)
        assert at.twist_deg[k] == pytest.approx(twist - one.twist_at(0.75), abs=1e-12)
        assert at.tip_exponent[k] == pytest.approx(2 * (1 - x) / x if corrections.tip_loss else np.inf, rel=1e-12)
        assert at.root_exponent[k] == pytest.approx(
            2 * (x - start) / start if corrections.root_loss else np.inf, rel=1e-12
        )
        assert at.reynolds_per_speed[k] == pytest.approx(17.0 * chord / 1.6e-5, rel=1e-12)
        assert at.zero_lift_deg[k] == pytest.approx(sum(full.zero_lift_deg for full in fulls) / len(fulls))
        assert at.stall_deg[k] == min(full.stall_deg for full in fulls)
        assert at.negative_stall_deg[k] == max(full.negative_stall_deg for full in fulls)
        for n, full in enumerate(fulls):
            lift = with_stall_delay(full, chord / (1.1 * x)) if corrections.stall_delay else full.lift_coefficient
            for degrees in (-360.0, -270.0, -180.0, -20.1, 0.0, 14.2, 33.3, 179.9, 180.0, 200.7, 359.9, 360.0):
                place, turned = round(10 * (degrees + 360)), round(10 * ((degrees + 180) % 360))
                assert at.lift[at.table[k], n, place] == pytest.approx(lift[turned], abs=1e-12), degrees
                assert at.drag[at.table[k], n, place] == pytest.approx(full.drag_coefficient[turned], abs=1e-12)


def test_a_blade_to_the_middle_has_no_root_to_lose_at() -> None:
    one = blade_from_stations([0.0, 0.5, 1.0], [0.2, 0.1, 0.05], [20.0, 8.0, 0.0], 3)
    at, _ = blade_sections(one, [POLAR])
    assert at.radius.shape == (30,)
    assert np.isinf(at.root_exponent).all()
    assert np.isfinite(at.tip_exponent).all()


@pytest.mark.parametrize(("chord", "said"), [(0.41, False), (0.44, True)])
def test_blades_that_overlap_are_told(chord: float, said: bool) -> None:
    # Solidity 3·c/(2π·r): above 1 within 2.094·r; the innermost of 30 annuli lies just outside the start at 0.2 m.
    one = blade_from_stations([0.2, 1.1], [chord, 0.1], [20.0, 0.0], 3, name="wide")
    at, notes = blade_sections(one, [POLAR])
    note = f"wide: the blades overlap near the root (solidity {at.solidity.max():.2g}): the theory is weak there"
    assert (note in notes) == said == bool(at.solidity.max() > 1)


def added_up(one: Blade, pitch: float, ratio: float, settings: CurveSettings) -> tuple[float, ...]:
    """Cp, Ct, stalled share, whether a section had several states: forces of the annuli added one by one.

    Blade-element theory, from memory.
    """
    at, _ = blade_sections(one, [POLAR], settings)
    state = solve(at, np.array([ratio]), np.array([pitch]))
    power = thrust = size = stalled = 0.0
    for s in range(at.radius.size):
        force = 2 * at.solidity[s] * at.radius[s] * at.width[s] * state.relative_speed[s, 0, 0] ** 2
        torque = force * state.tangential_coefficient[s, 0, 0] * at.radius[s]
        thrust += force * state.normal_coefficient[s, 0, 0]
        power += torque * ratio
        size += abs(torque)
        stalled += abs(torque) * state.stalled[s, 0, 0]
    return power, thrust, stalled / size, state.multiple_roots.any()


def bare_root(one: Blade, ratio: float) -> tuple[float, float]:
    """What the bar costs: ½ρ·W·(components)·Cd·d over its length in 20 pieces, over ½ρπR²·U³ and U²."""
    power = thrust = 0.0
    for k in range(20):
        x = (one.hub_radius_m + (k + 0.5) / 20 * (one.aerofoil_start_m - one.hub_radius_m)) / one.tip_radius_m
        area = one.root_diameter_m * (one.aerofoil_start_m - one.hub_radius_m) / 20 * one.number_of_blades
        force = one.root_drag_coefficient * area / (math.pi * one.tip_radius_m**2) * math.hypot(1, x * ratio)
        power, thrust = power + force * (x * ratio) ** 2, thrust + force
    return power, thrust


def test_drag_of_the_bare_root_by_pieces() -> None:
    lost, pushed = root_drag(blade(), RATIOS)
    for k, ratio in enumerate(RATIOS):
        assert (lost[k], pushed[k]) == pytest.approx(bare_root(blade(), ratio), rel=1e-12)


@pytest.mark.parametrize(
    "corrections",
    [
        Corrections(),
        Corrections(root_drag=False, yaw_deg=-25.0),
        Corrections(yaw_deg=20.0, speed_factor=1.3, stall_delay=False),
        Corrections(speed_factor=0.8, tip_loss=False, wake_rotation=False),
    ],
)
def test_curves_point_by_point(corrections: Corrections) -> None:
    """At the rotor the axial part of its own air: ratios over that, power with its cube, thrust with its square."""
    settings = CurveSettings(corrections=corrections, sections=10)
    curves = blade_curves(blade(), [POLAR], RATIOS, PITCHES[::-1], settings)
    assert curves.tip_speed_ratio.tolist() == RATIOS.tolist()
    assert curves.pitch_deg.tolist() == PITCHES.tolist()
    factor = corrections.speed_factor * math.cos(math.radians(corrections.yaw_deg))
    for p, pitch in enumerate(PITCHES):
        for k, ratio in enumerate(RATIOS):
            power, thrust, stalled, several = added_up(blade(), pitch, ratio / factor, settings)
            if corrections.root_drag:
                lost, pushed = bare_root(blade(), ratio / factor)
                power, thrust = power - lost, thrust + pushed
            assert curves.power_coefficient[p, k] == pytest.approx(factor**3 * power, rel=1e-8, abs=1e-9)
            assert curves.thrust_coefficient[p, k] == pytest.approx(factor**2 * thrust, rel=1e-8, abs=1e-9)
            assert curves.stalled_torque_share[p, k] == pytest.approx(stalled, rel=1e-8, abs=1e-9)
            assert bool(curves.stalled[p, k]) == (stalled > 0.2)
            assert curves.multiple_roots[p, k] == several
    assert curves.worst_residual < 1e-9


def test_air_speed_of_the_reynolds_numbers_is_that_at_the_rotor() -> None:
    # With a factor of 1.25 in 20 m/s the blade works as with none in 25 m/s.
    faster = CurveSettings(corrections=Corrections(speed_factor=1.25), sections=8, air_speed_m_s=20.0)
    plain = CurveSettings(sections=8, air_speed_m_s=25.0)
    one = blade_curves(blade(), TWO, 1.25 * RATIOS, PITCHES, faster)
    other = blade_curves(blade(), TWO, RATIOS, PITCHES, plain)
    assert one.power_coefficient == pytest.approx(1.25**3 * other.power_coefficient, rel=1e-8, abs=1e-10)
    slower = blade_curves(blade(), TWO, RATIOS, PITCHES, replace(plain, air_speed_m_s=20.0))
    assert np.abs(slower.power_coefficient - other.power_coefficient).max() > 1e-3


@pytest.mark.parametrize(
    ("thrust", "ratio"), [(-0.3, 0.2), (0.0, 0.1), (0.5, 0.2), (0.75, 0.1), (8 / 9, 0.1), (1.2, 0.1)]
)
def test_blockage_by_hand(thrust: float, ratio: float) -> None:
    # Glauert (1935), from memory: 1 + area ratio·CT/(4·√(1−CT)); held from CT = 8/9 on (own), none where it pushes.
    held = min(max(thrust, 0.0), 8 / 9)
    assert float(blockage_speed_factor(np.array(thrust), ratio)) == pytest.approx(
        1 + ratio * held / 4 / math.sqrt(1 - held)
    )


def test_curves_in_a_duct_are_read_off_the_free_ones() -> None:
    """In the duct the loads of the free point at ratio r appear at r·f, power over f³ less air, thrust over f²."""
    settings = CurveSettings(corrections=Corrections(blockage_area_ratio=0.2), sections=10)
    ratios = np.linspace(1.0, 7.0, 9)
    free = blade_curves(blade(), [POLAR], ratios, PITCHES, replace(settings, corrections=Corrections()))
    duct = blade_curves(blade(), [POLAR], ratios, PITCHES, settings)
    for p in range(3):
        factors = [1 + 0.2 * held / 4 / math.sqrt(1 - held) for held in np.clip(free.thrust_coefficient[p], 0, 8 / 9)]
        seen = [max(ratios[j] * factors[j] for j in range(k + 1)) for k in range(9)]
        for name, power in (("power_coefficient", 3), ("thrust_coefficient", 2), ("stalled_torque_share", 0)):
            values = [getattr(free, name)[p, k] * factors[k] ** power for k in range(9)]
            wanted = np.interp(ratios, seen, values)
            assert getattr(duct, name)[p] == pytest.approx(wanted, rel=1e-9, abs=1e-12), name


def test_each_limit_of_ratios_and_pitches() -> None:
    settings = CurveSettings(sections=3)

    def fault(ratio: list[float], pitch: list[float]) -> str:
        with pytest.raises(InputError) as caught:
            blade_curves(blade(), [POLAR], np.array(ratio), np.array(pitch), settings)
        return str(caught.value)

    good = blade_curves(blade(), [POLAR], np.array([1e-3, 100.0]), np.array([180.0, -180.0]), settings)
    assert good.pitch_deg.tolist() == [-180.0, 180.0]
    outside = "curves: {}: a value outside; accepted: numbers from {}"
    assert fault([0.00099, 1.0], [0.0]) == outside.format("tip_speed_ratio", "0.001 to 100")
    assert fault([1.0, 100.1], [0.0]) == outside.format("tip_speed_ratio", "0.001 to 100")
    assert fault([1.0], [-180.1]) == outside.format("pitch", "-180 to 180")
    assert fault([1.0], [180.1]) == outside.format("pitch", "-180 to 180")
    assert fault([1.0], [[0.0]]) == outside.format("pitch", "-180 to 180")
    assert fault([], [0.0]) == outside.format("tip_speed_ratio", "0.001 to 100")
    assert (
        fault([1.0, 1.0], [0.0])
        == "curves: tip_speed_ratio: values that do not rise; accepted: rising values, each once"
    )
    assert blade_curves(blade(), [POLAR], np.array(2.0), np.array(1.0), settings).power_coefficient.shape == (1, 1)


def test_what_is_said_of_the_corrections() -> None:
    settings = CurveSettings(
        PitchConvention(1.0), Corrections(yaw_deg=-12.0, speed_factor=0.9, blockage_area_ratio=0.05), 5
    )
    notes = blade_curves(blade(), [POLAR], RATIOS, PITCHES, settings).notes
    assert notes[0] == (
        "curves computed by blade-element momentum from b.csv (3 blades, tip radius 1.1 m (3.61 ft)), with Prandtl's "
        "tip loss, Prandtl's root loss, wake rotation, Buhl's high-thrust line, stall delay by Snel, Houwink and "
        "Bosschers, drag of the bare root; without none left out"
    )
    assert notes[1] == PitchConvention(1.0).describe()
    assert notes[2].startswith("yaw -12 degrees: axial component of the air speed only")
    assert notes[3] == "air speed at the rotor taken as 0.9 of the free air speed (roof, shear)"
    assert notes[4] == "blockage: Glauert's correction for a closed duct, area ratio 0.05"
    assert notes[5 : 5 + len(full_polar(POLAR, 1.0).notes)] == full_polar(POLAR, 1.0).notes
    off = Corrections(tip_loss=False, root_loss=False, wake_rotation=False, stall_delay=False, root_drag=False)
    said = blade_curves(blade(), [POLAR], RATIOS, PITCHES, CurveSettings(corrections=off, sections=5)).notes
    assert said[0].endswith(
        "with Buhl's high-thrust line; without Prandtl's tip loss, Prandtl's root loss, wake rotation, stall delay by "
        "Snel, Houwink and Bosschers, drag of the bare root"
    )
    assert not any("yaw" in note or "free air" in note or "blockage" in note for note in said)
    bare = blade_curves(blade(replace(ROOT, diameter_m=0.0)), [POLAR], RATIOS, PITCHES, CurveSettings(sections=5)).notes
    assert bare[0].endswith("; without drag of the bare root")


def test_the_usual_grid_holds_any_road_rotor() -> None:
    ratio, pitch = usual_grid()
    assert ratio == pytest.approx([0.2 + 0.2 * k for k in range(60)])
    assert pitch.tolist() == [*range(-6, 31, 2), *range(40, 91, 10)]


def test_curves_begin_at_standstill() -> None:
    maps = [np.array([[0.1 * k + p for k in range(2)] for p in range(2)]) + offset for offset in (0.0, 5.0, 9.0)]
    given = BladeCurves(np.array([1.0, 2.0]), np.array([3.0, 4.0]), *maps, np.zeros((2, 2), bool), 0.0, ("one", "two"))
    found = to_rotor_curves(given)
    assert found.tip_speed_ratio.tolist() == [0.0, 1.0, 2.0]
    assert found.pitch_deg.tolist() == [3.0, 4.0]
    assert found.power_coefficient == pytest.approx(np.array([[0.0, 0.0, 0.1], [0.0, 1.0, 1.1]]))
    assert found.thrust_coefficient == pytest.approx(np.array([[5.0, 5.0, 5.1], [6.0, 6.0, 6.1]]))
    assert found.stalled_torque_share == pytest.approx(np.array([[9.0, 9.0, 9.1], [10.0, 10.0, 10.1]]))
    assert (found.notes, found.thrust_is_estimated, found.slopes) == (("one", "two"), False, ())


def test_the_polar_of_a_plate_blade_by_hand() -> None:
    chord = 0.13 - 0.07 * 0.025 / 0.3  # at three quarters of the radius
    for given, tube in (({"camber": 0.06}, False), ({"tube_radius_m": 0.2}, True)):
        found = polar_of_plate_blade(
            blade(),
            **given,
            thickness_m=0.003,
            air_speed_m_s=18.0,
            tip_speed_ratio=4.0,
            kinematic_viscosity_m2_s=1.5e-5,
        )
        number = 18.0 * math.hypot(1, 3.0) * chord / 1.5e-5
        assert found.reynolds_number == pytest.approx(number, rel=1e-12)
        camber = (0.2 - math.sqrt(0.04 - chord**2 / 4)) / chord if tube else 0.06
        name = "blade cut from a tube" if tube else "thin cambered plate"
        wanted = cambered_plate_polar(camber, number, thickness=0.003 / chord, name=name)
        assert found.drag_coefficient == pytest.approx(wanted.drag_coefficient, rel=1e-9)
        assert found.notes[0] == wanted.notes[0]
        assert found.notes[1:] == (f"{name}: chord and Reynolds number ({number:.2g}) are those at 75 % of the radius",)
    plain = polar_of_plate_blade(blade=blade(), camber=0.0)
    assert plain.reynolds_number == pytest.approx(25.0 * math.hypot(1, 3.75) * chord / 1.46e-5, rel=1e-12)
    wanted = cambered_plate_polar(0.0, plain.reynolds_number, thickness=0.004 / chord)
    assert plain.drag_coefficient == pytest.approx(wanted.drag_coefficient, rel=1e-9)
    for speed, number in ((1e-6, 1e3), (1e6, 1e8)):  # held between (own choice)
        assert polar_of_plate_blade(blade(), camber=0.05, air_speed_m_s=speed).reynolds_number == number
    thick = polar_of_plate_blade(blade(), camber=0.05, thickness_m=0.1)
    assert thick.drag_coefficient == pytest.approx(
        cambered_plate_polar(0.05, thick.reynolds_number, thickness=0.2).drag_coefficient
    )
    for given, read in (({}, "neither"), ({"camber": 0.0, "tube_radius_m": 0.2}, "both")):
        with pytest.raises(InputError, match=f"b.csv: camber, tube_radius: {read}; accepted: one of them"):
            polar_of_plate_blade(blade(), **given)


def said_of_the_solution(polars: list[SectionPolar], ratios: np.ndarray, pitches: np.ndarray, delay: bool) -> list[str]:
    """What should be said of stall, several states and Reynolds numbers, from the states themselves."""
    settings = CurveSettings(corrections=Corrections(stall_delay=delay, root_drag=False), sections=10)
    at, notes = blade_sections(blade(), polars, settings)
    state = solve(at, ratios, pitches)
    curves = blade_curves(blade(), polars, ratios, pitches, settings)
    wanted, error = [], "0.7 to 2.4 times" if delay else "0.7 to 10 times"
    points = [(p, k) for p in range(len(pitches)) for k in range(len(ratios))]
    best = max(points, key=lambda point: curves.power_coefficient[point])
    share = curves.stalled_torque_share
    if share[best] > 0.2:
        wanted.append(
            f"{100 * share[best]:.0f} % of the torque at the best point comes from stalled sections: real power"
        )
    elif any(share[point] > 0.2 and curves.power_coefficient[point] > 0 for point in points):
        wanted.append("parts of the curves stand on stalled sections (more than a fifth of the torque): real power")
    if state.multiple_roots.any():
        part = 100 * state.multiple_roots.sum() / state.multiple_roots.size
        wanted.append(f"{part:.1f} % of the section states have several solutions near stall")
    found = curves.notes[2 + len(notes) :]
    assert len(found) == len(wanted)
    assert all(note.startswith(begin) for note, begin in zip(found, wanted, strict=True))
    assert all(error in note for note in found if "stalled sections" in note)
    return wanted


def test_what_is_said_of_stall_and_several_states() -> None:
    said = [
        said_of_the_solution([POLAR], np.array(ratios), np.array(pitches), delay)
        for ratios, pitches, delay in (
            ([4.0], [5.0], True),
            ([1.0, 2.0, 4.0, 6.0], [0.0, 5.0], True),
            ([1.0, 4.0, 6.0], [5.0], False),
            ([1.0, 2.0], [0.0], False),
            ([0.5], [5.0], True),
            ([4.0, 20.0], [40.0, 5.0], True),
        )
    ]
    begins = {note.lstrip("0123456789. ")[:14] for notes in said for note in notes}
    assert begins == {"% of the torqu", "parts of the c", "% of the secti"}
    assert [] in said


def test_reynolds_numbers_outside_the_polars_are_told() -> None:
    """A thousandth over or under is let pass (own choice); only where the rotor gives power; not of a single polar."""
    alike = [replace(POLAR, reynolds_number=number) for number in (1e3, 1e8)]
    settings = CurveSettings(sections=10)
    ratios = np.linspace(1.0, 14.0, 9)  # beyond the run-away speed too
    at, _ = blade_sections(blade(), alike, settings)
    curves = blade_curves(blade(), alike, ratios, PITCHES, settings)
    state = solve(at, ratios, PITCHES)
    works = curves.power_coefficient > 0
    assert works.any()
    assert not works[:, -1].any()
    numbers = [
        25.0 * np.interp(1.1 * at.radius[s], RADIUS, CHORD) / 1.46e-5 * state.relative_speed[s][works]
        for s in range(10)
    ]
    least, most = np.min(numbers), np.max(numbers)

    def warned(low: float, high: float) -> list[str]:
        ends = [replace(POLAR, reynolds_number=number) for number in (low, high)]
        return [
            note for note in blade_curves(blade(), ends, ratios, PITCHES, settings).notes if "Reynolds" in note[:20]
        ]

    assert warned(least * 1.0009, most * 0.9991) == []
    said = f"warning: Reynolds numbers {least:.3g} to {most:.3g} on the working blade, polars"
    for low, high in ((least * 1.0012, most), (least, most * 0.9988)):
        assert warned(low, high) == [f"{said} {low:.3g} to {high:.3g}: the end polars are used outside"]
    driven = blade_curves(blade(), alike, np.array([20.0]), np.array([0.0]), settings)
    assert driven.power_coefficient[0, 0] < 0
    assert not any("Reynolds" in note for note in driven.notes)
    single = blade_curves(blade(), [replace(POLAR, reynolds_number=1e9)], RATIOS, PITCHES, settings)
    assert not any("Reynolds" in note for note in single.notes)


@pytest.mark.parametrize(("miss", "said"), [(0.9e-8, False), (1.1e-8, True)])
def test_states_that_did_not_settle_are_told(monkeypatch: pytest.MonkeyPatch, miss: float, said: bool) -> None:
    """As large as the miss is over (1 + local speed ratio), wherever the solver leaves one."""

    def missing(*given: object) -> object:
        state = solve(*given)
        residual = np.zeros_like(state.residual)
        residual[3, 1, 2] = -miss * (1 + state.local_speed_ratio[3, 1, 2])
        return replace(state, residual=residual)

    monkeypatch.setattr("energy.aero.blade.solve", missing)
    curves = blade_curves(blade(), [POLAR], RATIOS, PITCHES, CurveSettings(sections=10))
    assert curves.worst_residual == pytest.approx(miss)
    told = [note for note in curves.notes if "did not settle" in note]
    assert told == ([f"1 of 120 section states did not settle (worst {miss:.2g})"] if said else [])


def test_a_fifth_of_the_torque_is_not_yet_stall() -> None:
    maps = [np.array([[0.4, 0.4]])] * 2
    told = BladeCurves(np.array([1.0, 2.0]), np.array([3.0]), *maps, np.array([[0.2, 0.2001]]), np.zeros((1, 2), bool))
    assert told.stalled.tolist() == [[False, True]]
