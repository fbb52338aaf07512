"""Section polars recomputed angle by angle from their equations; sources at each check."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from energy.aero.polar import (
    FullPolar,
    SectionPolar,
    blend_wake_drag,
    by_reynolds,
    cambered_plate_polar,
    full_polar,
    read_polars,
    tube_blade_polar,
    with_stall_delay,
)
from vehicle.problems import InputError


def least(first: float, second: float) -> float:
    """The smaller of two, rounded off where they meet: half of sum less the root of squared difference and 0.08²."""
    return 0.5 * (first + second - math.hypot(first - second, 0.08))


@pytest.mark.parametrize(("camber", "reynolds", "thickness"), [(0.0, 4e4, 0.05), (0.04, 2e5, 0.03), (0.13, 1e6, 0.2)])
def test_a_bent_plate_angle_by_angle(camber: float, reynolds: float, thickness: float) -> None:
    """Thin-aerofoil theory, 2π(α + 2f), times 0.9; turbulent flat plate 0.074·Re^−0.2 on both sides (Prandtl); a sharp
    edge loses the suction of lift above 0.9·4πf, of which 0.7 is taken. All from memory, the rest common practice."""
    polar = cambered_plate_polar(camber=camber, reynolds_number=reynolds, thickness=thickness, name="sheet")
    assert polar.alpha_deg == pytest.approx([-12 + 0.5 * k for k in range(73)])
    assert (polar.reynolds_number, polar.is_estimated, polar.name) == (reynolds, True, "sheet")
    (note,) = polar.notes
    assert note.startswith(f"sheet: estimated by formula (camber {100 * camber:g} % of the chord), not measured")
    for k, degrees in enumerate(polar.alpha_deg):
        alpha = math.radians(degrees)
        line = 0.9 * 2 * math.pi * (alpha + 2 * camber)
        shelf = 0.9 + 5 * camber - (0.012 * (degrees - 10) if degrees > 10 else 0.0)
        lift = -least(-least(line, shelf), 0.7)
        edge = max((lift - 0.9 * 4 * math.pi * camber) * math.tan(alpha), 0.0)
        drag = 2 * 0.074 / reynolds**0.2 + 0.1 * thickness + 2 * camber * camber
        drag += 0.7 * edge + 0.25 * abs(line - lift) * abs(math.sin(alpha))
        assert polar.lift_coefficient[k] == pytest.approx(lift, abs=1e-12)
        assert polar.drag_coefficient[k] == pytest.approx(drag, abs=1e-12)


def test_a_plate_where_nothing_is_given() -> None:
    # Reynolds number 2e5, 3 % thick (own choice of an example).
    stated = cambered_plate_polar(0.05, 2e5, thickness=0.03, name="thin cambered plate")
    plain = cambered_plate_polar(0.05)
    assert (plain.reynolds_number, plain.name, plain.notes) == (2e5, stated.name, stated.notes)
    assert plain.drag_coefficient == pytest.approx(stated.drag_coefficient, abs=0)


@pytest.mark.parametrize(("shape", "accepted"), [((0.15, 0.2), True), ((0.1501, 0.1), False), ((-0.001, 0.1), False)])
def test_what_a_plate_can_be(shape: tuple[float, float], accepted: bool) -> None:
    for camber, thickness in (shape, (0.05, 0.2001) if not accepted else (0.0, 1e-6)):
        if accepted:
            assert cambered_plate_polar(camber, thickness=thickness).is_estimated
        else:
            with pytest.raises(InputError, match="of the chord; accepted: "):
                cambered_plate_polar(camber, thickness=thickness)


@pytest.mark.parametrize(("chord", "radius", "wall"), [(0.1, 0.11, 0.004), (0.08, 0.2, 0.02), (0.05, 0.08, 0.001)])
def test_a_blade_cut_from_a_tube_is_a_plate_of_its_arc(chord: float, radius: float, wall: float) -> None:
    # Height of an arc: r(1 − cos(half of its angle)), the half angle's sine being half the chord over r (geometry).
    camber = radius * (1 - math.cos(math.asin(chord / 2 / radius))) / chord
    wanted = cambered_plate_polar(camber, 3e5, thickness=min(wall / chord, 0.2), name="blade cut from a tube")
    found = tube_blade_polar(chord, radius, wall, 3e5)
    assert (found.name, found.notes, found.reynolds_number) == (wanted.name, wanted.notes, 3e5)
    assert found.lift_coefficient == pytest.approx(wanted.lift_coefficient, abs=1e-9)
    assert found.drag_coefficient == pytest.approx(wanted.drag_coefficient, abs=1e-9)
    assert tube_blade_polar(chord, radius, wall).reynolds_number == 2e5


@pytest.mark.parametrize(
    "sizes",
    [
        (0.0, 0.1, 0.004),
        (-0.05, 0.1, 0.004),
        (0.05, 0.0, 0.004),
        (0.05, -0.1, 0.004),
        (0.05, 0.1, 0.0),
        (0.05, 0.1, -0.004),
        (0.2, 0.1, 0.004),
    ],
)
def test_a_tube_that_cannot_be_cut(sizes: tuple[float, float, float]) -> None:
    with pytest.raises(InputError, match="a chord shorter than the tube's diameter, all above zero"):
        tube_blade_polar(*sizes)


def test_the_deepest_arc_that_is_taken() -> None:
    # 15 % of the chord: the radius is c·(0.25 + 0.15²)/(2·0.15) = 0.90833 of the chord (two chords of a circle).
    deepest = 0.1 * (0.25 + 0.15**2) / 0.3
    assert tube_blade_polar(0.1, deepest * 1.0001, 0.004).is_estimated
    with pytest.raises(InputError, match=r"camber 15 % of the chord \(chord 0.1 m, tube radius 0.0907425 m\)"):
        tube_blade_polar(0.1, deepest * 0.9990, 0.004)


# --- Extended to every angle: Viterna and Corrigan, NASA CP-2230 (1982), from memory. ---------------------------------


class Extension:
    """A polar over all angles, one angle at a time.

    Past the last angle A (below 85°), with s = sin A, c = cos A and B = 1.11 + 0.018·AR:
    Cl = B/2·sin 2α + K·cos²α/sin α, K = (Cl(A) − B·s·c)·s/c²; Cd = B·sin²α + K'·cos α, K' = (Cd(A) − B·s²)/c.
    Own choices: straight from A to the second whole degree past it; beyond 90° the mirror with 0.7 of the lift, from
    100° to as many degrees before 180° as the polar reaches (10 to 30), then straight to no lift and the drag at 2°.
    What was measured to 175° and more is held there.
    """

    def __init__(self, alpha: np.ndarray, lift: np.ndarray, drag: np.ndarray, aspect_ratio: float) -> None:
        self.across = 1.11 + 0.018 * min(max(aspect_ratio, 1.0), 50.0)
        self.alpha, self.lift, self.drag = alpha, lift, drag

    def at(self, degrees: float) -> tuple[float, float]:
        if degrees < self.alpha[0]:
            mirrored = Extension(-self.alpha[::-1], -self.lift[::-1], self.drag[::-1], 1.0)
            mirrored.across, mirrored.at_two = self.across, self.at(-2.0)[1]
            lift, drag = mirrored.beyond(-degrees)
            return -lift, drag
        if degrees <= self.alpha[-1]:
            return self.inside(degrees)
        self.at_two = self.at(2.0)[1] if self.alpha[-1] >= 2 else self.beyond(2.0)[1]
        return self.beyond(degrees)

    def inside(self, degrees: float) -> tuple[float, float]:
        return float(np.interp(degrees, self.alpha, self.lift)), float(np.interp(degrees, self.alpha, self.drag))

    def across_the_flow(self, degrees: float) -> tuple[float, float]:
        end, alpha = math.radians(max(self.alpha[-1], 1.0)), math.radians(degrees)
        s, c, b = math.sin(end), math.cos(end), self.across
        lift = b / 2 * math.sin(2 * alpha)
        lift += (self.lift[-1] - b * s * c) * s / c**2 * math.cos(alpha) ** 2 / math.sin(alpha)
        drag = b * math.sin(alpha) ** 2 + (self.drag[-1] - b * s * s) / c * math.cos(alpha)
        return lift, max(drag, min(self.drag[-1], 0.01))

    def beyond(self, degrees: float) -> tuple[float, float]:
        last = float(self.alpha[-1])
        if degrees <= last or last >= 175.0:
            return self.inside(min(degrees, last))
        start = math.floor(last) + 2.0
        reach = 90.0 if last < 85.0 else last
        if degrees <= reach:
            if degrees >= start:
                return self.across_the_flow(degrees)
            return self.straight(degrees, (last, *self.inside(last)), (start, *self.across_the_flow(start)))
        turned, foot = max(100.0, math.floor(reach) + 5.0), min(max(last, 10.0), 30.0)
        if degrees < turned:
            end = self.across_the_flow(90.0) if last < 85.0 else self.inside(last)
            return self.straight(degrees, (reach, *end), (turned, *self.mirror(turned)))
        if degrees <= 180.0 - foot:
            return self.mirror(degrees)
        tail = 180.0 - foot
        return self.straight(degrees, (tail, *self.mirror(tail)), (180.0, 0.0, max(self.at_two, 1e-4)))

    def mirror(self, degrees: float) -> tuple[float, float]:
        lift, drag = self.beyond(180.0 - degrees)
        return -0.7 * lift, drag

    @staticmethod
    def straight(at: float, one: tuple[float, ...], two: tuple[float, ...]) -> tuple[float, float]:
        share = (at - one[0]) / (two[0] - one[0])
        return one[1] + share * (two[1] - one[1]), one[2] + share * (two[2] - one[2])


def points(*rows: tuple[float, float, float]) -> SectionPolar:
    alpha, lift, drag = np.array(rows).T
    return SectionPolar(alpha, lift, drag, 3e5, name="rows")


WHOLE = points(
    (-18.0, -0.93, 0.2), (-8.0, -0.5, 0.03), (0.0, 0.3, 0.01), (6.0, 0.9, 0.012), (12.0, 1.2, 0.03), (16.5, 1.0, 0.15)
)
SHORT = points((-9.0, -0.9, 0.02), (0.0, 0.0, 0.01), (4.0, 0.4, 0.011), (8.3, 0.8, 0.02))
WIDE = points(
    (-95.0, -0.1, 1.2), (-30.0, -0.9, 0.5), (-5.0, -0.4, 0.02), (10.0, 1.0, 0.02), (40.0, 1.1, 0.9), (92.0, 0.0, 1.3)
)
LEAN = points((-16.0, -0.7, 0.0), (0.0, 0.12, 0.0), (10.0, 1.1, 0.004), (15.0, 1.3, 0.006))
ROUND = points(
    *((float(a), 0.9 * math.sin(math.radians(2 * a)), 0.02 + abs(a) / 150) for a in (*range(-178, 178, 8), 178))
)
ANGLES = (
    -180.0,
    -171.3,
    -152.0,
    -149.7,
    -133.0,
    -101.5,
    -97.0,
    -90.0,
    -71.4,
    -33.3,
    -19.9,
    -19.0,
    -17.2,
    -6.1,
    0.0,
    3.3,
)
ANGLES += (14.4, 17.1, 17.8, 18.0, 24.9, 55.5, 88.8, 90.0, 94.2, 100.0, 113.7, 148.8, 163.4, 163.6, 175.2, 180.0)


@pytest.mark.parametrize("aspect_ratio", [0.4, 9.0, 70.0])
@pytest.mark.parametrize("polar", [WHOLE, SHORT, WIDE, LEAN, ROUND], ids=["whole", "short", "wide", "lean", "round"])
def test_every_angle_of_the_extension(polar: SectionPolar, aspect_ratio: float) -> None:
    full = full_polar(polar, aspect_ratio)
    assert full.alpha_deg == pytest.approx([-180 + 0.1 * k for k in range(3601)])
    assert full.reynolds_number == 3e5
    by = Extension(polar.alpha_deg, polar.lift_coefficient, polar.drag_coefficient, aspect_ratio)
    for degrees in ANGLES:
        k = round(10 * (degrees + 180))
        lift, drag = by.at(degrees)
        if not polar.alpha_deg[0] <= degrees <= polar.alpha_deg[-1]:
            drag = max(drag, 1e-4)  # own floor; where it was measured a drag of nought is the user's word
        assert full.lift_coefficient[k] == pytest.approx(lift, abs=1e-9), degrees
        assert full.drag_coefficient[k] == pytest.approx(drag, abs=1e-9), degrees


NO_NEGATIVE = [
    points(
        (0.0, 0.1, 0.012),
        (4.0, 0.54, 0.014),
        (5.6, 0.6, 0.014),
        (6.0, 0.61, 0.0145),
        (6.5, 0.7, 0.015),
        (8.0, 0.88, 0.02),
        (12.0, 0.85, 0.05),
        (50.0, 1.2, 1.0),
    ),
    points((-14.9, -0.2, 0.04), (-10.0, -0.1, 0.02), (0.0, 0.3, 0.01), (10.0, 1.1, 0.03), (14.0, 1.0, 0.1)),
    points((1.0, 0.05, 0.05), (5.0, 0.1, 0.02), (8.0, 0.16, 0.03), (13.0, 0.1, 0.02)),
    points((2.0, 0.3, 0.01), (6.0, 0.305, 0.01), (14.0, 0.9, 0.02), (18.0, 1.4, 0.04)),
]


def negative_side(polar: SectionPolar) -> list[tuple[float, float, float]]:
    """The two points put before a polar without one (own rule): the attached line, fitted over the first 6 degrees (at
    least 0.02 per degree), down to −0.7 of the highest lift to 45 degrees (at least 0.3); there the drag of that lift,
    half way down a quarter of the rise of drag."""
    rows = list(zip(polar.alpha_deg, polar.lift_coefficient, polar.drag_coefficient, strict=True))
    first = [(a, lift) for a, lift, _ in rows if a <= rows[0][0] + 6]
    mean_a, mean_l = (sum(values) / len(first) for values in zip(*first, strict=True))
    slope = sum((a - mean_a) * (lift - mean_l) for a, lift in first) / sum((a - mean_a) ** 2 for a, _ in first)
    highest, crest = max((lift, drag) for a, lift, drag in rows if a <= 45)
    start, lift, drag = rows[0]
    lowest = -0.7 * max(highest, 0.3)
    end = start - (lift - lowest) / max(slope, 0.02)
    half = 0.5 * (end + start), 0.5 * (lowest + lift), drag + 0.25 * max(crest - drag, 0.0)
    return [(end, lowest, max(crest, drag)), half]


@pytest.mark.parametrize("polar", NO_NEGATIVE, ids=["from 0", "from -14.9", "weak", "flat foot"])
def test_a_polar_without_a_negative_side_gets_the_attached_line(polar: SectionPolar) -> None:
    end, half = negative_side(polar)
    full = full_polar(polar, 8.0)
    by = Extension(
        np.array([end[0], half[0], *polar.alpha_deg]),
        np.array([end[1], half[1], *polar.lift_coefficient]),
        np.array([end[2], half[2], *polar.drag_coefficient]),
        8.0,
    )
    for degrees in (-150.0, -60.0, *np.arange(-30.0, 30.0, 1.3)):
        k = round(10 * (degrees + 180))
        lift, drag = by.at(full.alpha_deg[k])
        assert full.lift_coefficient[k] == pytest.approx(lift, abs=1e-9), degrees
        assert full.drag_coefficient[k] == pytest.approx(max(drag, 1e-4), abs=1e-9), degrees
    said = (
        f"rows: starts at {polar.alpha_deg[0]:g} degrees: the negative side is an assumption (attached line to a lift "
    )
    assert f"{said}of {end[1]:.2g})" in full.notes


@pytest.mark.parametrize(
    ("start", "lift", "kept"), [(-10.0, -0.4199, False), (-10.0, -0.4201, True), (-14.99, 0.0, False)]
)
def test_a_negative_side_that_is_there_is_kept(start: float, lift: float, kept: bool) -> None:
    """Own rule: kept where it goes down to half of what would be assumed (0.35 of the highest lift), or to −15°."""
    polar = points((start, lift, 0.03), (0.0, 0.3, 0.01), (6.0, 0.9, 0.012), (12.0, 1.2, 0.03), (16.5, 1.0, 0.15))
    assert any("negative side" in note for note in full_polar(polar, 8.0).notes) != kept
    at_15 = replace(polar, alpha_deg=np.array([-15.0, *polar.alpha_deg[1:]]))
    assert not any("negative side" in note for note in full_polar(at_15, 8.0).notes)


def marks(full: FullPolar) -> tuple[float, float, float, float]:
    """Zero lift (the crossing nearest to 0 within 25°), slope from a degree below it to four above (at least 0.02),
    and both stalls: the crest from which lift first falls by 3 %, or where it is below 0.8 of the line past 4 degrees,
    whichever comes first; 45 at most. Own rules."""

    def lift(degrees: float) -> float:
        return float(np.interp(degrees, full.alpha_deg, full.lift_coefficient))

    table = {k: float(full.lift_coefficient[k + 1800]) for k in range(-250, 250)}
    ups = [k for k in range(-250, 249) if table[k] <= 0 < table[k + 1]]
    if ups:
        k = min(ups, key=abs)
        zero = (k - table[k] / (table[k + 1] - table[k])) / 10
    else:
        zero = min(table, key=lambda k: abs(table[k])) / 10
    slope = max((lift(zero + 4) - lift(zero - 1)) / 5, 0.02)

    def stall(sign: float) -> float:
        crest, at_crest, ends = -math.inf, 0.0, [45.0]
        for k in range(430):
            above = 2 + 0.1 * k
            value = sign * lift(zero + sign * above)
            if value > crest:
                crest, at_crest = value, sign * zero + above
            if value < crest - 0.03 * abs(crest):
                ends.append(at_crest)
                break
        lost = [0.1 * k for k in range(21, 430) if sign * lift(zero + sign * 0.1 * k) < 0.08 * slope * k and k > 40]
        return min(ends + [sign * zero + above for above in lost[:1]])

    return zero, slope, stall(1.0), -stall(-1.0)


MARKED = [
    WHOLE,
    SHORT,
    LEAN,
    *NO_NEGATIVE,
    points(
        (-20.0, -1.0, 0.2), (-9.0, -0.9, 0.03), (0.0, 0.0, 0.01), (9.0, 0.9, 0.02), (14.0, 0.9, 0.1), (30.0, 1.2, 0.5)
    ),
    points((-20.0, -0.2, 0.2), (-9.0, -0.1, 0.03), (0.0, 0.06, 0.01), (9.0, 0.1, 0.02), (20.0, 0.2, 0.1)),
    points((-60.0, -6.0, 0.2), (-9.0, -0.9, 0.03), (0.0, 0.0, 0.01), (60.0, 6.0, 0.5)),
    points((-26.0, 0.2, 0.2), (-9.0, 0.5, 0.03), (0.0, 0.6, 0.01), (9.0, 0.9, 0.02), (26.0, 1.0, 0.1)),
    points(
        (-24.0, -0.2, 0.2), (-20.0, 0.1, 0.1), (-12.0, -0.5, 0.03), (0.0, 0.3, 0.01), (9.0, 0.9, 0.02), (14.0, 0.8, 0.1)
    ),
]


@pytest.mark.parametrize("polar", MARKED, ids=range(len(MARKED)))
def test_zero_lift_slope_and_stall_by_hand(polar: SectionPolar) -> None:
    full = full_polar(polar, 8.0)
    zero, slope, stall, negative = marks(full)
    assert full.zero_lift_deg == pytest.approx(zero, abs=1e-9)
    assert full.lift_slope_per_deg == pytest.approx(slope, abs=1e-9)
    for found, wanted in ((full.stall_deg, stall), (full.negative_stall_deg, negative)):
        at_once = abs(abs(wanted - zero) - 4.1) < 1e-6  # lost as soon as it is looked for: at 4 degrees or next to it
        assert found == pytest.approx(wanted, abs=0.101 if at_once else 1e-6)
    # Where the last lift is still 0.85 of the line, the polar ended before its stall (own rule); not from 45° on.
    end = polar.alpha_deg[-1]
    early = end < 45 and polar.lift_coefficient[-1] >= 0.85 * slope * (end - zero)
    assert any("before its stall" in note for note in full.notes) == early


def test_what_is_said_of_a_polar() -> None:
    measured = full_polar(WHOLE, 8.0).notes[-1]
    assert measured == ("rows: measured -18 to 16.5 degrees, beyond extended by Viterna and Corrigan's method")
    computed = full_polar(replace(WHOLE, is_estimated=True, notes=("first",)), 8.0).notes
    assert computed == ("first", "rows: beyond 16.5 degrees extended by Viterna and Corrigan's method")


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.40, 0.42, 1.0])
def test_stall_delay_angle_by_angle(ratio: float) -> None:
    """Snel, Houwink and Bosschers (1994), from memory: 3·(c/r)² of the gap to the attached line, no more than half of
    it (own bound), to 30 degrees above zero lift and fading to none at 50; never below zero lift."""
    full = full_polar(WHOLE, 8.0)
    delayed = with_stall_delay(full, ratio)
    for k in range(0, 3601, 7):
        above = full.alpha_deg[k] - full.zero_lift_deg
        share = 0.0 if above <= 0 or above >= 50 else 1.0 if above <= 30 else (50 - above) / 20
        gap = max(full.lift_slope_per_deg * above - full.lift_coefficient[k], 0.0)
        wanted = full.lift_coefficient[k] + min(3 * ratio**2, 0.5) * share * gap
        assert delayed[k] == pytest.approx(wanted, abs=1e-12)


def test_wake_drag_point_by_point() -> None:
    """Own rule: between wake points their excess over pressure drag; outside it fades to none over 8 degrees, and while
    it does drag is no less than that of the last wake point."""
    alpha = np.array([-9.0, -7.9, -4.0, 0.0, 2.0, 6.0, 8.0, 13.9, 14.1, 20.0])
    pressure = np.array([0.030, 0.020, 0.001, 0.002, 0.003, 0.004, 0.020, 0.006, 0.006, 0.2])
    wake = np.array([np.nan, np.nan, np.nan, 0.010, np.nan, 0.016, *[np.nan] * 4])
    excess = {0.0: 0.008, 2.0: 0.008 + 0.004 * 2 / 6, 6.0: 0.012}
    wanted = []
    for degrees, own in zip(alpha, pressure, strict=True):
        if 0 <= degrees <= 6:
            wanted.append(own + excess[degrees])
            continue
        past, carried, floor = (-degrees, 0.008, 0.010) if degrees < 0 else (degrees - 6, 0.012, 0.016)
        wanted.append(max(own + carried * (1 - past / 8), floor) if past < 8 else own)
    assert blend_wake_drag(alpha, pressure, wake) == pytest.approx(wanted, abs=1e-12)


HEAD = "alpha_deg,cl,cdp,cdw\n"


def read(tmp_path, text: str, number: float | None = None) -> tuple[SectionPolar, ...]:
    path = tmp_path / "p.csv"
    path.write_text(text, encoding="utf-8")
    return read_polars(path, number)


def test_which_drag_is_taken_and_what_is_said(tmp_path) -> None:
    rows = [(-4, -0.3), (0, 0.1), (4, 0.5), (8, 0.8)]
    both = HEAD + "".join(f"{a},{lift},0.0{k + 1},{'' if k > 1 else 0.05}\n" for k, (a, lift) in enumerate(rows))
    (polar,) = read(tmp_path, both)
    assert polar.drag_coefficient[:2] == pytest.approx([0.05, 0.05])
    assert polar.drag_coefficient[3] == pytest.approx(0.04 + (0.05 - 0.02) * 0)  # 8 degrees past the wake's last
    assert "faded to none over 8 degrees" in polar.notes[0]
    one = HEAD + "".join(f"{a},{lift},0.0{k + 1},{'' if k else 0.05}\n" for k, (a, lift) in enumerate(rows))
    (polar,) = read(tmp_path, one)  # a single wake point tells no range: pressure drag alone
    assert polar.drag_coefficient == pytest.approx([0.01, 0.02, 0.03, 0.04])
    assert "skin friction is missing" in polar.notes[0]
    wake = "alpha_deg,cl,cdw\n" + "".join(f"{a},{lift},0.0{k + 1}\n" for k, (a, lift) in enumerate(rows))
    (polar,) = read(tmp_path, wake)
    assert polar.drag_coefficient == pytest.approx([0.01, 0.02, 0.03, 0.04])
    assert polar.notes == ()
    for text, told in (
        (wake.replace("0.02\n", "\n"), "blank cells and no column cdp"),
        ("alpha_deg,cl,cdw\n-4,-0.3,0.01\n0,0.1,\n4,0.5,\n8,0.8,\n", "fewer than two numbers"),
        (both.replace("0.03,", ","), "column cdp, row 3 of the numbers: an empty cell"),
    ):
        with pytest.raises(InputError, match=told):
            read(tmp_path, text)


LIMITS = [
    ("alpha_deg", "-180,-0.4,0.01,1e5", "-180.1,-0.4,0.01,1e5", "degrees from -180 to 180"),
    ("cl", "-9,-5,0.01,1e5", "-9,-5.01,0.01,1e5", "a coefficient from -5 to 5"),
    ("cd", "-9,-0.4,0,1e5", "-9,-0.4,-1e-9,1e5", "a coefficient from 0 to 5"),
    ("cd", "-9,-0.4,5,1e5", "-9,-0.4,5.01,1e5", "a coefficient from 0 to 5"),
    ("reynolds_number", "-9,-0.4,0.01,1e3", "-9,-0.4,0.01,999", "1e3 to 1e9"),
    ("reynolds_number", "-9,-0.4,0.01,1e9", "-9,-0.4,0.01,1.01e9", "1e3 to 1e9"),
]


@pytest.mark.parametrize(("name", "good", "bad", "accepted"), LIMITS)
def test_each_limit_of_a_polar_file(tmp_path, name: str, good: str, bad: str, accepted: str) -> None:
    rest = "".join(f"{a},{0.1 * a:g},0.01,{good.split(',')[3]}\n" for a in (-3, 0, 3, 6))
    head = "alpha_deg,cl,cd,reynolds_number\n"
    assert len(read(tmp_path, head + good + "\n" + rest)) == 1
    with pytest.raises(InputError) as caught:
        read(tmp_path, head + bad + "\n" + rest)
    place = f"column {name.removesuffix('_deg')}, row 1 of the numbers"
    assert [(p.key, p.accepted) for p in caught.value.problems] == [(place, accepted)]


@pytest.mark.parametrize(("number", "good"), [(1e3, True), (999.0, False), (1e9, True), (1.01e9, False), (None, True)])
def test_the_reynolds_number_given_with_a_file(tmp_path, number: float | None, good: bool) -> None:
    text = "alpha_deg,cl,cd\n" + "".join(f"{a},{0.1 * a:g},0.01\n" for a in (-3, 0, 3, 6))
    if good:
        assert read(tmp_path, text, number)[0].reynolds_number == number
    else:
        with pytest.raises(InputError, match="a number from 1e3 to 1e9"):
            read(tmp_path, text, number)


def test_least_extent_of_a_polar_and_which_way_lift_goes(tmp_path) -> None:
    def text(*rows: tuple[float, float]) -> str:
        return "alpha_deg,cl,cd\n" + "".join(f"{a},{lift},0.01\n" for a, lift in rows)

    assert read(tmp_path, text((0, 0.1), (1, 0.2), (2, 0.3), (5, 0.4)))
    with pytest.raises(InputError, match=r"4 angles over 4.99 degrees; accepted: at least 4 angles over 5 degrees"):
        read(tmp_path, text((0, 0.1), (1, 0.2), (2, 0.3), (4.99, 0.4)))
    with pytest.raises(InputError, match="falls with the angle of attack between -8 and 8 degrees"):
        read(tmp_path, text((-8, 0.3), (8, 0.2), (20, 0.9), (30, 1.0)))
    with pytest.raises(InputError, match="lift that rises with the angle"):
        read(tmp_path, text((-8, 0.3), (0, 0.3), (8, 0.3), (30, 1.0)))  # nor is lift that stays
    # One angle between -8 and 8 shows no slope; what falls outside them is stall.
    assert read(tmp_path, text((-8.1, 0.3), (8, 0.2), (20, 0.9), (30, 1.0)))
    assert read(tmp_path, text((-8, 0.3), (8.1, 0.2), (20, 0.9), (30, 1.0)))
    few = "alpha_deg,cl,cd,reynolds_number\n" + "".join(f"{a},{0.1 * a:g},0.01,1e5\n" for a in (-3, 0, 3, 6))
    with pytest.raises(InputError, match="3 angles over 9 degrees"):
        read(tmp_path, few + "".join(f"{a},{0.1 * a:g},0.01,2e5\n" for a in (-3, 0, 6)))


def test_columns_missing_and_given_twice(tmp_path) -> None:
    for head, told in (
        ("alpha_deg,cd", "column lift_coefficient: missing; accepted: a column lift_coefficient or cl with the lift"),
        ("alpha_deg,cl", "a column drag_coefficient or cd or cdw or cdp with the drag"),
        ("alpha_deg,cl,cd,cdp", "columns cd, cdp: drag given twice; accepted: one of them"),
        ("alpha_deg,lift_coefficient,cl,cd", "columns lift_coefficient, cl: lift given twice"),
    ):
        count = head.count(",")
        rows = "".join(f"{a}" + f",{0.1 * a + 1:g}" * count + "\n" for a in (-3, 0, 3, 6))
        with pytest.raises(InputError) as caught:
            read(tmp_path, head + "\n" + rows)
        assert told in str(caught.value)


def test_several_polars_are_told_apart_by_their_numbers() -> None:
    one, two = replace(SHORT, name="one"), replace(WHOLE, name="two", reynolds_number=None)
    assert by_reynolds([two]) == (two,)
    with pytest.raises(InputError, match="two: reynolds_number: missing, with several polars"):
        by_reynolds([one, two])
    with pytest.raises(InputError, match=r"same: reynolds_number: one given twice, of \[1000.0, 300000.0, 300000.0\]"):
        by_reynolds([one, replace(WHOLE, reynolds_number=1e3), replace(WHOLE, name="same")])
