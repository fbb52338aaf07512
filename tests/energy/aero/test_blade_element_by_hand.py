"""Section states recomputed from the balance equations, by halving, with polars looked up anew.

Glauert (1935): thrust σ·Cn/w² = T(a), torque σ·Ct/w² = (T/a)·a'λr, closure tan φ = (1−a)/(λr + a'λr), w the air speed
over the relative speed. T = 4a(1−a)F to a = 0.4, Buhl's line above it, the propeller-brake line 4a(a−1)F where that is
more and a above 1 (NREL/TP-500-36834, from memory). Loss: Prandtl, at tip and root.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from section_states import axial_induction, loss, swirl_speed

from energy.aero import blade_element
from energy.aero.blade_element import Sections, solve, tip_loss_factor

ANGLES = np.arange(-3600, 3601) * 0.1


def table(slope: float, stall: float, drag: float, gentle: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Lift and drag of an invented section over −360..360 degrees: a line to the stall, a plate beyond."""
    alpha = (ANGLES + 180.0) % 360.0 - 180.0
    plate, line = 1.1 * np.sin(2 * np.radians(alpha)), slope * (alpha + 2.0)
    attached = np.clip(0.5 + (2 * stall - np.abs(alpha - 1.0)) / (2 * stall * gentle), 0.0, 1.0)
    return attached * line + (1 - attached) * plate, drag + 1.7 * np.sin(np.radians(alpha)) ** 2


PAIRS = [[table(0.10, 10.0, 0.010), table(0.11, 13.0, 0.006)], [table(0.09, 12.0, 0.014), table(0.12, 15.0, 0.008)]]
LIFT, DRAG = (np.array([[pair[which] for pair in row] for row in PAIRS]) for which in (0, 1))
SECTIONS = Sections(
    radius=np.array([0.25, 0.6, 0.97]),
    width=np.array([0.2, 0.4, 0.1]),
    solidity=np.array([0.25, 0.09, 0.04]),
    twist_deg=np.array([15.0, 5.0, -1.0]),
    tip_exponent=np.array([4.5, 1.0, 0.046]),
    root_exponent=np.array([0.4, 3.0, np.inf]),
    zero_lift_deg=np.array([-2.0, -2.0, -2.0]),
    stall_deg=np.array([9.0, 10.0, 11.0]),
    negative_stall_deg=np.array([-9.0, -10.0, -11.0]),
    lift=LIFT,
    drag=DRAG,
    table=np.array([0, 1, 1]),
    log_reynolds=np.log([1e5, 5e5]),
    reynolds_per_speed=np.array([3e5, 6e4, 5e4]),
)
ONE_POLAR = replace(SECTIONS, lift=LIFT[:, :1], drag=DRAG[:, :1], log_reynolds=np.log([1e5]))
SHARED = replace(ONE_POLAR, lift=LIFT[:1, :1], drag=DRAG[:1, :1], table=np.zeros(3, int), wake_rotation=False)
# A stall within three degrees on wide blades: there several inflow angles balance.
HARD_LIFT, HARD_DRAG = (np.array([[table(0.12, 5.0, 0.02, 0.3)[which]]]) for which in (0, 1))
HARD = replace(SHARED, lift=HARD_LIFT, drag=HARD_DRAG, solidity=2 * SECTIONS.solidity, wake_rotation=True)
RATIOS, PITCHES = np.array([0.4, 1.7, 3.0, 5.0, 9.0, 14.0]), np.array([-12.0, 0.0, 4.0, 25.0, 88.0])


@dataclass
class Hand:
    """What an inflow angle implies for one section."""

    alpha: np.ndarray
    normal: np.ndarray
    tangential: np.ndarray
    loss: np.ndarray
    w: np.ndarray  # NaN where no inflow gives the angle
    induction: np.ndarray
    swirl: np.ndarray
    local_ratio: np.ndarray


def annulus(a: np.ndarray, loss: np.ndarray) -> np.ndarray:
    """Thrust of the annulus over ½·ρ·U² of its area."""
    line = 8 / 9 + (4 * loss - 40 / 9) * a + (50 / 9 - 4 * loss) * a * a
    momentum = 4 * a * (1 - a) * loss
    return np.where(a <= 0.4, momentum, np.where(a <= 1, line, np.maximum(line, -momentum)))


def air_over_relative(normal: np.ndarray, sine: np.ndarray, loss: np.ndarray) -> np.ndarray:
    """w that balances the thrust, σ·Cn = T(1 − sin φ/w)·w²."""
    with np.errstate(all="ignore"):
        heavy = normal / (4 * loss * sine**2)  # a/(1 − a) up to a = 0.4
        # Above it halve for u = 1/w up to a = 1, or, where the flow is reversed, from a = 1 to far beyond it.
        low, high = np.zeros_like(sine), np.where(sine > 0, 0.6 / sine, 1e4)
        for _ in range(70):
            u = 0.5 * (low + high)
            more = normal * u * u > annulus(1 - sine * u, loss)
            low, high = np.where(more, low, u), np.where(more, u, high)
        light = (sine > 0) & (heavy <= 2 / 3)
        none = np.where(sine > 0, heavy <= -1, (normal <= 0) | (u > 9e3))
        return np.where(none, np.nan, np.where(light, sine * (1 + heavy), 1 / u))


def by_hand(sections: Sections, s: int, phi_deg: np.ndarray, pitch_deg: float) -> Hand:
    phi = np.radians(phi_deg)
    alpha = phi_deg - sections.twist_deg[s] - pitch_deg
    alpha = alpha - 360 * np.round(alpha / 360)
    sine, cosine, sigma = np.sin(phi), np.cos(phi), sections.solidity[s]
    loss = np.ones_like(phi)
    for exponent in (sections.tip_exponent[s], sections.root_exponent[s]):
        loss = loss * 2 / np.pi * np.arccos(np.exp(-exponent / np.abs(sine)))
    loss = np.maximum(loss, 1e-4)

    def force(reynolds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        found = []
        for tables in (sections.lift[sections.table[s]], sections.drag[sections.table[s]]):
            each = [np.interp(alpha, ANGLES, one) for one in tables]
            if len(each) == 1:
                found.append(each[0])
                continue
            low, high = sections.log_reynolds
            share = np.clip((np.log(reynolds) - low) / (high - low), 0, 1)
            found.append((1 - share) * each[0] + share * each[1])
        lift, drag = found
        return lift * cosine + drag * sine, lift * sine - drag * cosine

    # Reynolds number: first of a relative speed of 2/3 of the air's over the sine, then of what follows from it.
    base = sections.reynolds_per_speed[s]
    normal, _ = force(base * np.minimum(2 / 3 / np.maximum(np.abs(sine), 0.02), 30))
    again = air_over_relative(sigma * normal, sine, loss)
    normal, tangential = force(base / np.clip(np.where(np.isnan(again), 1 / 30, again), 1 / 30, 5))
    w = air_over_relative(sigma * normal, sine, loss)
    a = 1 - sine / w
    swirl = sigma * tangential / w**2 * a / annulus(a, loss) if sections.wake_rotation else 0 * w
    return Hand(alpha, normal, tangential, loss, w, a, swirl, cosine / w - swirl)


FIELDS = (
    "inflow_deg",
    "alpha_deg",
    "relative_speed",
    "normal_coefficient",
    "tangential_coefficient",
    "local_speed_ratio",
    "residual",
    "multiple_roots",
    "stalled",
)


@pytest.mark.parametrize("sections", [SECTIONS, ONE_POLAR, SHARED], ids=["two numbers", "one", "shared, no swirl"])
def test_every_field_of_every_state_by_hand(sections: Sections) -> None:
    states = solve(sections, RATIOS, PITCHES)
    found = {name: getattr(states, name) for name in FIELDS}
    found |= {"axial_induction": axial_induction(states), "swirl_speed": swirl_speed(states)}
    found["loss"] = loss(sections, states)
    for name, values in found.items():
        assert values.shape == (3, 5, 6), name
    for s in range(3):
        for p, pitch in enumerate(PITCHES):
            here = {name: values[s, p] for name, values in found.items()}
            hand = by_hand(sections, s, here["inflow_deg"], pitch)
            size = 1 + RATIOS * sections.radius[s]
            wanted = {
                "alpha_deg": hand.alpha,
                "relative_speed": 1 / hand.w,
                "normal_coefficient": hand.normal,
                "tangential_coefficient": hand.tangential,
                "axial_induction": hand.induction,
                "swirl_speed": hand.swirl,
                "loss": hand.loss,
                "local_speed_ratio": sections.radius[s] * RATIOS,
            }
            for name, values in wanted.items():
                assert (np.abs(here[name] - values) / size).max() < 2e-8, (s, pitch, name)
            assert (np.abs(hand.local_ratio - sections.radius[s] * RATIOS) / size).max() < 2e-8
            assert (np.abs(here["residual"]) / size).max() < 1e-9
            stalled = (hand.alpha > sections.stall_deg[s]) | (hand.alpha < sections.negative_stall_deg[s])
            assert here["stalled"].tolist() == stalled.tolist()


@pytest.mark.parametrize(
    ("sections", "pitches", "least", "most"),
    [(SECTIONS, [-120.0, -60.0, 4.0, 60.0, 120.0], 0, 0), (HARD, PITCHES, 60, 150)],
    ids=["turned any way", "hard stall"],
)
def test_of_several_states_the_one_nearest_to_zero_lift_is_taken(
    sections: Sections, pitches: list[float], least: int, most: int
) -> None:
    """Every root at which the local speed ratio falls as the inflow angle rises, by stepping through the angles."""
    ratios = np.linspace(0.3, 9.0, 59)
    states = solve(sections, ratios, np.array(pitches))
    steps = np.arange(-89.97, 180.0, 0.1)
    several, wrong = 0, []
    for s in range(3):
        for p, pitch in enumerate(pitches):
            found = by_hand(sections, s, steps, pitch)
            for k, ratio in enumerate(ratios * sections.radius[s]):
                gap = found.local_ratio - ratio
                falls = np.flatnonzero((gap[:-1] > 0) & (gap[1:] <= 0))
                nearest = falls[np.argmin(np.abs(found.alpha[falls] - sections.zero_lift_deg[s]))]
                right = steps[nearest] - 0.06 < states.inflow_deg[s, p, k] < steps[nearest] + 0.16
                several += len(falls) > 1
                if not right or (len(falls) > 1) != states.multiple_roots[s, p, k]:
                    wrong.append((s, pitch, ratio, steps[falls], states.inflow_deg[s, p, k]))
    assert least <= several <= most
    assert len(wrong) <= 6, wrong  # two further roots within one step of a sweep go unseen


def test_a_whole_turn_of_the_pitch_changes_nothing() -> None:
    # Among them each section's chord straight ahead, where the tables end.
    pitches = np.array([4.0, 25.0, -120.0, *(-180.0 - SECTIONS.twist_deg)])
    once, round_about = (solve(SECTIONS, RATIOS, turn + pitches) for turn in (0.0, 360.0))
    for name in FIELDS:
        found, wanted = getattr(round_about, name), getattr(once, name)
        assert found == pytest.approx(wanted, rel=1e-8, abs=1e-8), name


def test_loss_at_tip_and_root_by_hand() -> None:
    # Prandtl: 2/π·acos(e^−f), f the exponent over the sine: both at f = 1 (0.7602), one, none, and the floor.
    one = 2 / np.pi * np.arccos(np.exp(-1.0))
    for sine, tip, root, wanted in (
        (0.5, 0.5, 0.5, one**2),
        (-0.5, 0.5, np.inf, one),
        (0.2, np.inf, 0.2, one),
        (0.3, np.inf, np.inf, 1.0),
        (0.3, 0.0, np.inf, 1e-4),
        (0.0, 0.2, np.inf, 1.0),
        (1.0, 1e-9, np.inf, 1e-4),
        (1.0, 0.1, 0.3, 4 / np.pi**2 * np.arccos(np.exp(-0.1)) * np.arccos(np.exp(-0.3))),
    ):
        found = tip_loss_factor(np.array([sine]), np.array([tip]), np.array([root]))
        assert found == pytest.approx([wanted], rel=1e-12)


SINE, SQUARE = np.sin(2 * np.radians(ANGLES)), 0.01 + 1.5 * np.sin(np.radians(ANGLES)) ** 2
TEETH = 0.12 * (1 - 4 * np.abs((ANGLES / 3.0) % 1.0 - 0.5))  # a kink of the lift every 1.5 degrees
SMOOTH, JAGGED = (
    replace(SHARED, lift=lift[None, None], drag=SQUARE[None, None], wake_rotation=True) for lift in (SINE, SINE + TEETH)
)


@pytest.mark.parametrize(
    ("sections", "most"),
    [(SMOOTH, 2.2), (ONE_POLAR, 2.24), (JAGGED, 2.9)],
    ids=["smooth", "with a stall", "a kink in every step"],
)
def test_two_trials_bring_most_states_to_rounding(
    monkeypatch: pytest.MonkeyPatch, sections: Sections, most: float
) -> None:
    """A sweep of angles, then two trials a state; a third or fourth where a kink of the polar lies near, and a dozen
    rounds for the last of them. Each trial asks for the loss once. Own measure of the method: it is what a rotor's map
    takes in time."""
    asked = []

    def counted(sine: np.ndarray, tip: np.ndarray, root: np.ndarray) -> np.ndarray:
        asked.append(np.broadcast(sine, tip, root).size)
        return tip_loss_factor(sine, tip, root)

    monkeypatch.setattr("energy.aero.blade_element.tip_loss_factor", counted)
    states = solve(sections, np.linspace(0.3, 12, 80), np.arange(-6.0, 31.0, 3.0))
    assert 0 < sum(asked) / states.residual.size < most
    assert len(asked) < 12
    assert (np.abs(states.residual) / (1 + states.local_speed_ratio)).max() < 1e-9


def test_a_bracket_over_kinks_is_narrowed_to_the_step_of_its_first_root() -> None:
    pitches = np.array([0.0, 8.37])
    chord = JAGGED.twist_deg[:, None] + pitches
    tables = blade_element._Tables(JAGGED, chord)
    draws = np.random.default_rng(5)
    section, which = draws.integers(0, 3, 200), draws.integers(0, 2, 200)
    origin = tables.origin(np.arange(3)[:, None], chord)[section, which]

    def place(angle: np.ndarray) -> np.ndarray:
        return np.array(blade_element._try(tables, section, angle, origin).place)

    root = draws.uniform(3.0, 80.0, 200)
    target = place(root)
    low, high = root - draws.uniform(0.01, 3.0, 200), root + draws.uniform(0.01, 3.0, 200)
    ends = place(low) - target, place(high) - target
    held = np.flatnonzero((ends[0] < 0) & (ends[1] > 0))
    section, origin, target, low, high = (part[held] for part in (section, origin, target, low, high))
    box = low, high, place(low) - target, place(high) - target, np.zeros(held.size)
    kept = [part.copy() for part in box]
    start, stop, under, over, moved = blade_element._in_one_cell(tables, section, target, origin, box)
    assert held.size > 150
    assert (kept[0] <= start).all()
    assert (start < stop).all()
    assert (stop <= kept[1]).all()
    assert np.mean(stop - start < kept[1] - kept[0]) > 0.9
    assert (under < 0).all()
    assert (over >= 0).all()
    assert under == pytest.approx(place(start) - target, abs=1e-12)
    assert over == pytest.approx(place(stop) - target, abs=1e-12)
    assert not moved.any()
    # A tenth of a degree of angle of attack, from one entry of the tables to the next.
    alpha = [(angle - chord[section, which[held]]) * 10.0 for angle in (start, stop)]
    assert (np.floor(alpha[0] + 1e-6) == np.ceil(alpha[1] - 1e-6) - 1).all()
    for k in range(held.size):  # no root at an entry before it
        leading = chord[section[k], which[held[k]]]
        entry = (
            np.arange(np.ceil((kept[0][k] - leading) * 10.0), np.floor((start[k] - leading) * 10.0)) / 10.0 + leading
        )
        same = np.repeat(k, entry.size)
        assert (blade_element._try(tables, section[same], entry, origin[same]).place < target[k] + 1e-9).all()


def test_what_a_sweep_does_not_reach_is_no_crash() -> None:
    """Wanted places below, within and above a sweep: the state is then one that did not settle, which is told."""
    place = np.linspace(0.3, 0.6, blade_element._SWEEP_DEG.size, dtype=np.float32)[None, None]
    chosen, several = blade_element._choose(place, np.array([[0.1, 0.4, 0.5, 0.9]]), np.zeros((1, 1)), np.zeros(1))
    assert (place[0, 0, chosen[0, 1:3]] <= [0.4, 0.5]).all()
    assert (place[0, 0, chosen[0, 1:3] + 1] > [0.4, 0.5]).all()
    assert chosen[0, [0, 3]].tolist() == [0, 0]
    assert not several.any()
