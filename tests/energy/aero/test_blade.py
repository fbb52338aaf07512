import os
from pathlib import Path

import numpy as np
import pytest

from energy.aero import curve_cache
from energy.aero.air import shear_speed_factor
from energy.aero.blade import (
    Corrections,
    CurveSettings,
    PitchConvention,
    Root,
    blade_curves,
    blade_from_stations,
    blockage_speed_factor,
    polar_of_plate_blade,
    read_blade,
    to_rotor_curves,
    usual_grid,
)
from energy.aero.curve_cache import cached_blade_curves
from energy.aero.curves import write_curves
from energy.aero.polar import SectionPolar, cambered_plate_polar
from vehicle.problems import InputError
from vehicle.tables import read_table

RATIOS = np.linspace(0.5, 9.0, 18)
PITCHES = np.array([-4.0, 0.0, 4.0, 10.0, 30.0])
GOOD = "radius_m,chord_m,twist_deg\n0.15,0.14,16\n0.4,0.12,8\n0.65,0.09,3\n0.9,0.07,1\n"
POLAR = cambered_plate_polar(0.06)


def our_blade(root=None):
    return blade_from_stations([0.15, 0.4, 0.65, 0.9], [0.14, 0.12, 0.09, 0.07], [16.0, 8.0, 3.0, 1.0], 3, root)


def written(tmp_path, text):
    path = tmp_path / "blade.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_file_in_inches_is_the_same_blade(tmp_path):
    inches = "radius_in;chord [mm];twist (deg)\n" + "\n".join(
        f"{r / 0.0254:.9f};{1000 * c:.6f};{t}"
        for r, c, t in ((0.15, 0.14, 16), (0.4, 0.12, 8), (0.65, 0.09, 3), (0.9, 0.07, 1))
    )
    one = read_blade(written(tmp_path, inches), 3)
    two = read_blade(written(tmp_path, GOOD), 3)
    np.testing.assert_allclose(one.radius_m, two.radius_m, rtol=1e-9)
    np.testing.assert_allclose(one.chord_m, two.chord_m, rtol=1e-9)
    assert two.hub_radius_m == two.aerofoil_start_m == 0.15


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        (GOOD.replace("0.65,", "0.35,"), {}, "row 3 of the numbers: less than in row 2"),
        (GOOD.replace("0.65,", "0.4,"), {}, "the value of row 2 again"),
        (GOOD.replace("0.12", "-0.12"), {}, "column chord, row 2"),
        (GOOD.replace("0.12", "0"), {}, "chord above 0"),
        (GOOD.replace("0.12", "nan"), {}, "line 3"),
        (GOOD.replace("0.12", "12"), {}, "shorter than the tip radius"),
        (GOOD.replace(",8\n", ",800\n"), {}, "-90 to 90"),
        ("radius_m,chord_m,twist_deg\n0.9,0.1,0\n", {}, "1 rows"),
        ("radius_m,chord_m\n0.1,0.1\n0.9,0.1\n", {}, "twist_deg"),
        ("radius,chord,twist\n0.1,0.1,3\n0.9,0.1,2\n", {}, "no unit"),
        ("radius_mph,chord_m,twist_deg\n0.1,0.1,3\n0.9,0.1,2\n", {}, "radius"),
        ("-radius_m,chord_m,twist_deg\n", {}, "radius"),
        (GOOD, {"hub_radius_m": 1.2}, "hub_radius: 1.2 m"),
        (GOOD, {"hub_radius_m": 0.9}, "hub_radius: 0.9 m with the tip at 0.9 m"),
        (GOOD, {"hub_radius_m": -0.1}, "hub_radius"),
        (GOOD, {"hub_radius_m": float("nan")}, "hub_radius"),
        (GOOD, {"aerofoil_start_m": 0.89}, "aerofoil_start"),
        (GOOD, {"hub_radius_m": 0.05, "aerofoil_start_m": 0.1}, "first station"),
        (GOOD, {"diameter_m": 0.8}, "root_diameter"),
        (GOOD, {"drag_coefficient": -1.0}, "root_drag"),
        (GOOD.replace("0.15,", "-0.15,"), {}, "column radius"),
    ],
)
def test_hostile_geometry_is_told(tmp_path, text, options, words):
    with pytest.raises(InputError, match=words) as caught:
        read_blade(written(tmp_path, text), 3, Root(**options))
    assert all(problem.accepted for problem in caught.value.problems)


@pytest.mark.parametrize("count", [0, -3, 2.5])
def test_number_of_blades_is_checked(tmp_path, count):
    with pytest.raises(InputError, match="number_of_blades"):
        read_blade(written(tmp_path, GOOD), count)


def test_folder_missing_file_and_binary(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_blade(tmp_path / "none.csv", 3)
    with pytest.raises(InputError, match="folder"):
        read_blade(tmp_path, 3)
    path = tmp_path / "b.csv"
    path.write_bytes(b"radius_m\0\x01\x02")
    with pytest.raises(InputError, match="binary"):
        read_blade(path, 3)


SETTINGS = np.array([-4.0, 0.0, 4.0, 10.0, 30.0])


def convert_pitch(blade, setting_deg, known, wanted):
    """Return readings of the dial in convention `known` as readings in convention `wanted`, degrees."""

    def twist(convention):
        return 0.0 if convention.measured_at is None else blade.twist_at(convention.measured_at)

    return wanted.setting_deg(known.chord_angle_deg(setting_deg) - twist(known) + twist(wanted))


@pytest.mark.parametrize("measured_at", [None, 0.75, 1.0])
@pytest.mark.parametrize("zero_is", ["flat", "feather"])
@pytest.mark.parametrize("towards", ["flat", "feather"])
def test_same_blade_by_another_convention_lands_on_the_same_curves(measured_at, zero_is, towards):
    blade, told = our_blade(), PitchConvention(measured_at, zero_is, towards)
    plain = blade_curves(blade, [POLAR], RATIOS, SETTINGS)
    dial = convert_pitch(blade, SETTINGS, PitchConvention(), told)
    other = blade_curves(blade, [POLAR], RATIOS, told.chord_angle_deg(dial), CurveSettings(convention=told))
    np.testing.assert_allclose(other.power_coefficient, plain.power_coefficient, rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(other.thrust_coefficient, plain.thrust_coefficient, rtol=1e-8, atol=1e-10)
    assert (np.diff(other.pitch_deg) > 0).all()
    np.testing.assert_allclose(convert_pitch(blade, dial, told, PitchConvention()), SETTINGS, atol=1e-12)
    assert any("pitch is measured at" in note for note in other.notes)


def test_twist_column_with_another_zero_and_sign(tmp_path):
    """The same blade with the twist counted from the tip, positive towards flat, the pitch read at the tip chord."""
    other = GOOD.replace(",16", ",-15").replace(",8", ",-7").replace(",3\n", ",-2\n").replace(",1\n", ",0\n")
    shifted = read_blade(written(tmp_path, other), 3, twist_positive_towards="flat")
    plain = blade_curves(our_blade(), [POLAR], RATIOS, SETTINGS, CurveSettings(convention=PitchConvention(1.0)))
    again = blade_curves(shifted, [POLAR], RATIOS, SETTINGS, CurveSettings(convention=PitchConvention(1.0)))
    np.testing.assert_allclose(again.power_coefficient, plain.power_coefficient, rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(again.pitch_deg, plain.pitch_deg)


def test_feathered_blade_hardly_pushes_and_positive_is_towards_feather():
    curves = blade_curves(our_blade(), [POLAR], np.array([0.1, 5.0]), np.array([2.0, 85.0]))
    assert curves.thrust_coefficient[1, 0] < 0.1
    assert curves.thrust_coefficient[0, 1] > 0.4


def test_impossible_grids_are_told():
    for ratio, pitch in (
        ([0.0, 1.0], [0.0]),
        ([2.0, 1.0], [0.0]),
        ([1.0], [500.0]),
        ([float("nan")], [0.0]),
        ([], [0.0]),
    ):
        with pytest.raises(InputError, match="curves"):
            blade_curves(our_blade(), [POLAR], np.array(ratio), np.array(pitch))
    with pytest.raises(InputError, match="yaw"):
        Corrections(yaw_deg=80.0)
    with pytest.raises(InputError, match="measured_at"):
        PitchConvention(measured_at=1.5)


def test_yaw_takes_the_axial_component():
    """U cos(yaw) in place of U: Cp(lambda) = cos^3 Cp(lambda / cos), CT = cos^2 CT."""
    cosine = np.cos(np.radians(25.0))
    yawed = blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, CurveSettings(corrections=Corrections(yaw_deg=25.0)))
    straight = blade_curves(our_blade(), [POLAR], RATIOS / cosine, PITCHES)
    np.testing.assert_allclose(yawed.power_coefficient, cosine**3 * straight.power_coefficient, rtol=1e-8, atol=1e-11)
    np.testing.assert_allclose(yawed.thrust_coefficient, cosine**2 * straight.thrust_coefficient, rtol=1e-8, atol=1e-11)
    assert any("yaw 25" in note for note in yawed.notes)


def test_speed_up_over_a_roof_raises_power_by_its_cube():
    faster = blade_curves(
        our_blade(), [POLAR], RATIOS, PITCHES, CurveSettings(corrections=Corrections(speed_factor=1.2))
    )
    plain = blade_curves(our_blade(), [POLAR], RATIOS / 1.2, PITCHES)
    np.testing.assert_allclose(faster.power_coefficient, 1.2**3 * plain.power_coefficient, rtol=1e-8, atol=1e-11)
    assert any("1.2 of the free air speed" in note for note in faster.notes)


def test_blockage_in_a_duct_raises_the_apparent_power():
    free = blade_curves(our_blade(), [POLAR], RATIOS, PITCHES)
    ducted = blade_curves(
        our_blade(), [POLAR], RATIOS, PITCHES, CurveSettings(corrections=Corrections(blockage_area_ratio=0.1))
    )
    assert ducted.power_coefficient.max() > free.power_coefficient.max()
    none = blade_curves(
        our_blade(), [POLAR], RATIOS, PITCHES, CurveSettings(corrections=Corrections(blockage_area_ratio=1e-12))
    )
    np.testing.assert_allclose(none.power_coefficient, free.power_coefficient, atol=1e-9)
    # 1 + 0.1 * 0.75 / (4 * sqrt(0.25)) by hand.
    assert blockage_speed_factor(np.array(0.75), 0.1) == pytest.approx(1.0375)


def test_shear_factor():
    assert shear_speed_factor(3.0, 0.01, 3.0) == pytest.approx(1.0, abs=1e-5)
    assert shear_speed_factor(6.0, 0.01, 3.0) == pytest.approx(2 ** (1 / 7), rel=1e-5)
    # exponent 1/3: the cube is linear in height, so its mean over the disc is that at the hub.
    assert shear_speed_factor(3.0, 2.0, 3.0, 1 / 3) == pytest.approx(1.0, rel=1e-12)
    # A disc that would meet the ground is cut off there, not a number that is none.
    assert 0 < float(shear_speed_factor(0.5, 0.9, 3.0)) < 1
    np.testing.assert_allclose(shear_speed_factor(np.array([3.0, 6.0]), 0.01, 3.0), [1.0, 2 ** (1 / 7)], rtol=1e-4)


def test_bare_root_drag_by_hand():
    """At rest: thrust coefficient = B Cd d length / (pi R^2)."""
    bare = our_blade(Root(hub_radius_m=0.05, diameter_m=0.04))
    ratio = np.array([1e-3, 6.0])
    with_root = blade_curves(bare, [POLAR], ratio, np.array([2.0]))
    without = blade_curves(
        bare, [POLAR], ratio, np.array([2.0]), CurveSettings(corrections=Corrections(root_drag=False))
    )
    pushed = with_root.thrust_coefficient - without.thrust_coefficient
    assert pushed[0, 0] == pytest.approx(3 * 1.2 * 0.04 * 0.10 / (np.pi * 0.81), rel=1e-6)
    assert with_root.power_coefficient[0, 1] < without.power_coefficient[0, 1]


def test_reynolds_numbers_interpolate_and_warn_outside():
    def flat(lift, reynolds):
        alpha = np.arange(-20.0, 21.0)
        return SectionPolar(
            alpha, lift * 0.1 * alpha, np.full(41, 0.01), reynolds_number=reynolds, name=f"re{reynolds:g}"
        )

    ratio, pitch = np.array([5.0]), np.array([0.0])
    low = blade_curves(our_blade(), [flat(0.8, 1e5)], ratio, pitch).power_coefficient[0, 0]
    high = blade_curves(our_blade(), [flat(1.2, 1e6)], ratio, pitch).power_coefficient[0, 0]
    both = blade_curves(our_blade(), [flat(1.2, 1e6), flat(0.8, 1e5)], ratio, pitch, CurveSettings(air_speed_m_s=15.0))
    assert min(low, high) < both.power_coefficient[0, 0] < max(low, high)
    assert both.worst_residual < 1e-9
    slow = blade_curves(our_blade(), [flat(0.8, 1e5), flat(1.2, 1e6)], ratio, pitch, CurveSettings(air_speed_m_s=0.5))
    assert slow.power_coefficient[0, 0] == pytest.approx(low, rel=1e-6)
    assert any("warning: Reynolds" in note for note in slow.notes)
    same = blade_curves(our_blade(), [flat(1.0, 1e5), flat(1.0, 1e6)], RATIOS, PITCHES)
    one = blade_curves(our_blade(), [flat(1.0, 3e5)], RATIOS, PITCHES)
    np.testing.assert_allclose(same.power_coefficient, one.power_coefficient, rtol=1e-6, atol=1e-8)


def test_blade_without_a_polar_gets_an_estimate_that_says_so():
    polar = polar_of_plate_blade(our_blade(), tube_radius_m=0.10)
    chord = np.interp(0.675, [0.65, 0.9], [0.09, 0.07])
    camber = (0.10 - np.sqrt(0.10**2 - chord**2 / 4)) / chord
    assert f"camber {100 * camber:.3g} %" in polar.notes[0]
    assert polar.reynolds_number == pytest.approx(25 * np.hypot(1, 3.75) * chord / 1.46e-5)
    assert polar_of_plate_blade(our_blade(), camber=0.08).is_estimated
    curves = blade_curves(our_blade(), [polar], np.array([4.0]), np.array([4.0]))
    assert any("estimated by formula" in note for note in curves.notes)
    for options in ({}, {"camber": 0.05, "tube_radius_m": 0.1}):
        with pytest.raises(InputError, match="one of them"):
            polar_of_plate_blade(our_blade(), **options)


def test_stall_is_told():
    curves = blade_curves(our_blade(), [POLAR], np.array([1.0]), np.array([-4.0]))
    assert curves.stalled[0, 0]
    assert any("0.7 to 2.4 times the computed" in note for note in curves.notes)
    delayed = blade_curves(our_blade(), [POLAR], np.array([1.5]), np.array([0.0]))  # stall delay is on
    plain = blade_curves(
        our_blade(),
        [POLAR],
        np.array([1.5]),
        np.array([0.0]),
        CurveSettings(corrections=Corrections(stall_delay=False)),
    )
    assert any("stall delay is off" in note for note in plain.notes)
    assert delayed.power_coefficient[0, 0] > plain.power_coefficient[0, 0]
    assert any("with" in note and "stall delay" in note for note in delayed.notes)


def test_curves_file_reads_back_and_is_whole(tmp_path):
    curves = blade_curves(our_blade(), [POLAR], RATIOS, PITCHES)
    path = tmp_path / "curves.csv"
    write_curves(path, curves)
    names = ("tip_speed_ratio", "power_coefficient", "thrust_coefficient")
    table = read_table(path, {**dict.fromkeys(names, "dimensionless"), "pitch": "deg"})
    np.testing.assert_allclose(table["power_coefficient"].reshape(5, 18), curves.power_coefficient, rtol=1e-9)
    np.testing.assert_allclose(table["pitch"].reshape(5, 18)[:, 0], curves.pitch_deg)
    assert path.read_text().splitlines()[len(curves.notes)] == (
        "tip_speed_ratio,pitch_deg,power_coefficient,thrust_coefficient"
    )
    assert [entry.name for entry in tmp_path.iterdir()] == ["curves.csv"]
    with pytest.raises(InputError, match="no folder"):
        write_curves(tmp_path / "none" / "curves.csv", curves)


def test_curves_feed_the_rotor_by_file_and_directly(tmp_path):
    from energy.aero.curves import more_power_than_thrust, read_curves

    ratio, pitch = usual_grid()
    curves = blade_curves(our_blade(), [POLAR], ratio[ratio <= 8], pitch)
    path = tmp_path / "curves.csv"
    write_curves(path, curves)
    by_file, direct = read_curves(path), to_rotor_curves(curves)
    np.testing.assert_allclose(by_file.tip_speed_ratio, direct.tip_speed_ratio, atol=1e-9)
    np.testing.assert_allclose(by_file.power_coefficient, direct.power_coefficient, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(by_file.thrust_coefficient, direct.thrust_coefficient, rtol=1e-8, atol=1e-9)
    assert more_power_than_thrust(direct) == []
    assert direct.power_coefficient[:, 0].max() == 0.0
    assert 0.3 < direct.best[2] < 0.5


def test_cache_is_used_and_damage_is_mended(tmp_path, monkeypatch):
    calls = []
    original = blade_curves

    def counted(*arguments, **more):
        calls.append(1)
        return original(*arguments, **more)

    monkeypatch.setattr(curve_cache, "blade_curves", counted)
    first = cached_blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, folder=tmp_path / "cache")
    second = cached_blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, folder=tmp_path / "cache")
    assert len(calls) == 1
    np.testing.assert_array_equal(first.power_coefficient, second.power_coefficient)
    assert first.notes == second.notes
    (path,) = (tmp_path / "cache").iterdir()
    whole = path.read_bytes()
    for damage in (b"", b"no archive", whole[: len(whole) // 2], whole[:200] + bytes(50) + whole[250:]):
        path.write_bytes(damage)
        again = cached_blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, folder=tmp_path / "cache")
        np.testing.assert_array_equal(again.power_coefficient, first.power_coefficient)
        assert path.read_bytes() != damage
    assert len(calls) == 5


def test_cache_tells_inputs_apart_and_does_without_a_folder(tmp_path):
    blade = our_blade()
    cases = [
        (blade, {}),
        (our_blade(Root(hub_radius_m=0.1)), {}),
        (blade, {"corrections": Corrections(tip_loss=False)}),
        (blade, {"convention": PitchConvention(1.0)}),
        (blade, {"sections": 20}),
        (blade, {"air_speed_m_s": 10.0}),
    ]
    for one, options in cases:
        cached_blade_curves(one, [POLAR], RATIOS, PITCHES, CurveSettings(**options), folder=tmp_path)
    cached_blade_curves(blade, [cambered_plate_polar(0.07)], RATIOS, PITCHES, folder=tmp_path)
    cached_blade_curves(blade, [POLAR], RATIOS[:-1], PITCHES, folder=tmp_path)
    assert len(list(tmp_path.iterdir())) == len(cases) + 2
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    curves = cached_blade_curves(blade, [POLAR], RATIOS, PITCHES, folder=blocked / "below")
    assert curves.power_coefficient.shape == (5, 18)


def test_what_another_version_has_kept_is_not_taken(tmp_path, monkeypatch):
    cached_blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, folder=tmp_path)
    changed = tmp_path / "code"
    changed.mkdir()
    (changed / "blade.py").write_text("another")
    curve_cache._code.cache_clear()
    monkeypatch.setattr(curve_cache, "__file__", str(changed / "curve_cache.py"))
    cached_blade_curves(our_blade(), [POLAR], RATIOS, PITCHES, folder=tmp_path)
    curve_cache._code.cache_clear()
    assert len(list(tmp_path.glob("*.npz"))) == 2


def test_cache_drops_its_oldest_files(tmp_path, monkeypatch):
    monkeypatch.setattr(curve_cache, "MOST_CACHE_FILES", 3)
    for count in range(5):
        cached_blade_curves(our_blade(), [POLAR], RATIOS[: count + 1], PITCHES, folder=tmp_path)
        for entry in Path(tmp_path).iterdir():
            os.utime(entry, (entry.stat().st_mtime - 10, entry.stat().st_mtime - 10))
    assert len(list(tmp_path.iterdir())) == 3


@pytest.mark.parametrize("sections", [10, 13, 20, 31, 47, 60])
def test_more_sections_change_little(sections):
    few, many = (
        blade_curves(our_blade(), [POLAR], RATIOS[8:12], np.array([4.0]), CurveSettings(sections=count))
        for count in (sections, 120)
    )
    assert np.abs(few.power_coefficient - many.power_coefficient).max() < 0.15 / sections
