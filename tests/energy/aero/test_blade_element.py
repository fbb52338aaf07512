import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from section_states import axial_induction, swirl_speed
from section_states import loss as loss_of

from energy.aero import blade_element
from energy.aero.blade import Corrections, CurveSettings, blade_curves, blade_from_stations, blade_sections
from energy.aero.blade_element import solve
from energy.aero.momentum import thrust_coefficient_of_induction, wake_speed_at_high_thrust
from energy.aero.polar import SectionPolar, cambered_plate_polar, full_polar

RATIOS = np.geomspace(0.1, 20.0, 33)
PITCHES = np.arange(-10.0, 90.1, 5.0)
LINEAR = SectionPolar(np.arange(-60.0, 61.0), 0.1 * np.arange(-60.0, 61.0), np.full(121, 0.01), name="no stall")


@st.composite
def blades(draw):
    count = draw(st.integers(1, 6))
    hub = draw(st.floats(0.05, 0.4))
    stations = np.linspace(hub, 1.0, 6)
    solidity_at_tip = draw(st.floats(0.01, 0.2))
    chord = (
        solidity_at_tip * 2 * np.pi / count * draw(st.floats(0.7, 1.3)) * (1 + draw(st.floats(0, 1.5)) * (1 - stations))
    )
    twist = draw(st.floats(-5, 25)) * (1 - stations) / stations / 3 + draw(st.floats(-3, 5))
    return blade_from_stations(stations, np.minimum(chord, 0.6), np.clip(twist, -60, 60), count)


@st.composite
def polars(draw):
    if draw(st.booleans()):
        return LINEAR
    return cambered_plate_polar(draw(st.floats(0, 0.12)), 10 ** draw(st.floats(4.5, 6)))


def thrust_relation(induction, loss):
    """Return annulus thrust over 1/2 rho U^2 area: momentum theory, Buhl's line (2005, from memory), brake line."""
    a, F = induction, loss
    momentum = 4.0 * a * (1.0 - a) * F
    high = 8.0 / 9.0 + (4.0 * F - 40.0 / 9.0) * a + (50.0 / 9.0 - 4.0 * F) * a * a
    return np.where(a <= 0.4, momentum, np.where(a <= 1.0, high, np.maximum(high, -momentum)))


def states_of(blade, polar, ratios=RATIOS, pitches=PITCHES, *, delay=True):
    sections, _ = blade_sections(blade, [polar], CurveSettings(corrections=Corrections(stall_delay=delay)))
    return sections, solve(sections, ratios, pitches)


@settings(max_examples=15, deadline=None)
@given(blades(), polars())
def test_every_section_state_has_a_root_and_balances(blade, polar):
    sections, state = states_of(blade, polar)
    solidity = sections.solidity[:, None, None]
    a, loss, speed = axial_induction(state), loss_of(sections, state), state.relative_speed
    swirl = swirl_speed(state)
    assert np.isfinite(speed).all()
    assert (speed > 0).all()
    local = state.local_speed_ratio
    # Closure: the velocities make the inflow angle.
    phi = np.radians(state.inflow_deg)
    assert np.abs(speed * np.sin(phi) - (1 - a)).max() <= 1e-10 * speed.max()
    scale = 1 + local + speed
    assert (np.abs(speed * np.cos(phi) - (local + swirl)) / scale).max() <= 1e-10
    # Thrust of the blade equals thrust of the annulus, and torque takes up swirl with the same mass flow.
    blade_thrust = solidity * speed**2 * state.normal_coefficient
    annulus = thrust_relation(a, loss)
    size = solidity * speed**2 * np.hypot(state.normal_coefficient, state.tangential_coefficient) + 1
    assert (np.abs(blade_thrust - annulus) / size).max() <= 1e-10
    blade_torque = solidity * speed**2 * state.tangential_coefficient
    used = np.abs(a) > 1e-6
    flow = annulus[used] / (4 * a[used])
    assert (np.abs(blade_torque[used] - 4 * flow * swirl[used]) / size[used]).max() <= 1e-9


@settings(max_examples=8, deadline=None)
@given(blades(), polars())
def test_forces_are_those_of_the_polar_at_the_angle_of_attack(blade, polar):
    """Looked up once more at the solved angles, in the extended polar and not in the solver's tables."""
    _, state = states_of(blade, polar, delay=False)
    full = full_polar(polar, blade.aspect_ratio)
    lift = np.interp(state.alpha_deg, full.alpha_deg, full.lift_coefficient)
    drag = np.interp(state.alpha_deg, full.alpha_deg, full.drag_coefficient)
    phi = np.radians(state.inflow_deg)
    normal, tangential = lift * np.cos(phi) + drag * np.sin(phi), lift * np.sin(phi) - drag * np.cos(phi)
    np.testing.assert_allclose(state.normal_coefficient, normal, rtol=0, atol=1e-9)
    np.testing.assert_allclose(state.tangential_coefficient, tangential, rtol=0, atol=1e-9)


def test_roots_on_the_very_angles_of_the_sweep_are_found():
    """The sweep is coarse in number too: an interval's end may fall on the wrong side of the root by its rounding."""
    blade = blade_from_stations([0.2, 1.0], [0.1, 0.06], [12.0, 0.0], 3)
    ratios = np.linspace(1.0, 9.0, 400)
    _, state = states_of(blade, LINEAR, ratios, np.array([3.0]))
    for section in range(0, state.inflow_deg.shape[0], 3):
        phi = state.inflow_deg[section, 0]
        angles = blade_element._SWEEP_DEG
        angles = angles[(angles > phi.min()) & (angles < phi.max())]
        at = np.interp(angles, phi[::-1], ratios[::-1])
        for _ in range(4):  # Newton's steps, by differences
            _, near = states_of(blade, LINEAR, np.concatenate([at, at * (1 + 1e-6)]), np.array([3.0]))
            found, beside = np.split(near.inflow_deg[section, 0], 2)
            at = at - (found - angles) / (beside - found) * 1e-6 * at
        close = np.concatenate([at * (1 + shift) for shift in (-1e-7, -1e-8, -1e-9, 0.0, 1e-9, 1e-8, 1e-7)])
        _, exact = states_of(blade, LINEAR, close, np.array([3.0]))
        assert angles.size > 10
        np.testing.assert_allclose(exact.inflow_deg[section, 0], np.tile(angles, 7), rtol=0, atol=1e-5)
        assert np.abs(exact.residual[section] / (1 + exact.local_speed_ratio[section])).max() < 1e-10


@settings(max_examples=20, deadline=None)
@given(blades(), polars())
def test_textbook_induction_where_momentum_theory_holds(blade, polar):
    """Selvatici and Stevens, eqs. 4 and 5: a = 1/(4F sin^2/(sigma Cn) + 1), a' = 1/(4F sin cos/(sigma Ct) - 1)."""
    sections, state = states_of(blade, polar)
    phi, loss = np.radians(state.inflow_deg), loss_of(sections, state)
    solidity = sections.solidity[:, None, None] * np.ones_like(phi)
    induction = axial_induction(state)
    simple = (induction < 0.4) & (phi > 0.01) & (np.abs(state.normal_coefficient) > 1e-3)
    simple &= (np.abs(state.tangential_coefficient) > 1e-3) & (np.abs(np.cos(phi)) > 0.05)
    assert simple.any()
    s, c, F, sigma = np.sin(phi)[simple], np.cos(phi)[simple], loss[simple], solidity[simple]
    a = 1 / (4 * F * s * s / (sigma * state.normal_coefficient[simple]) + 1)
    np.testing.assert_allclose(induction[simple], a, rtol=1e-7, atol=1e-9)
    kappa = sigma * state.tangential_coefficient[simple] / (4 * F * s * c)
    swirl = kappa / (1 - kappa) * state.local_speed_ratio[simple]
    fine = np.abs(1 - kappa) > 1e-3
    np.testing.assert_allclose(swirl_speed(state)[simple][fine], swirl[fine], rtol=1e-5, atol=1e-7)


@settings(max_examples=12, deadline=None)
@given(blades(), polars())
def test_power_never_above_betz(blade, polar):
    curves = blade_curves(blade, [polar], RATIOS, PITCHES)
    assert curves.power_coefficient.max() <= 16 / 27
    assert ((curves.stalled_torque_share >= 0) & (curves.stalled_torque_share <= 1)).all()


@settings(max_examples=6, deadline=None)
@given(blades(), polars(), st.floats(0.2, 30.0))
def test_size_does_not_matter_without_reynolds_numbers(blade, polar, factor):
    other = blade_from_stations(
        blade.radius_m * factor, blade.chord_m * factor, blade.twist_deg, blade.number_of_blades
    )
    one = blade_curves(blade, [polar], RATIOS[::4], PITCHES[::4])
    two = blade_curves(other, [polar], RATIOS[::4], PITCHES[::4])
    np.testing.assert_allclose(one.power_coefficient, two.power_coefficient, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(one.thrust_coefficient, two.thrust_coefficient, rtol=1e-6, atol=1e-8)


def largest_step(polar, blade, pitch, count):
    ratios = np.linspace(0.1, 20.0, count)
    curves = blade_curves(blade, [polar], ratios, np.array([pitch]))
    return np.abs(np.diff(curves.thrust_coefficient[0])).max(), curves


@pytest.mark.parametrize("pitch", [-10.0, -5.0, 0.0, 5.0, 15.0, 40.0, 88.0])
def test_without_stall_the_curves_are_continuous(pitch):
    """Through the high-thrust and propeller-brake states too: halving the step halves the largest difference."""
    blade = blade_from_stations([0.15, 0.5, 1.0], [0.14, 0.1, 0.06], [18.0, 6.0, 0.0], 3)
    flat = np.arange(-179.0, 180.0)
    polar = SectionPolar(flat, 0.9 * np.sin(2 * np.radians(flat)), 0.02 + 1.2 * np.sin(np.radians(flat)) ** 2)
    coarse, _ = largest_step(polar, blade, pitch, 1000)
    fine, curves = largest_step(polar, blade, pitch, 8000)
    assert fine < 0.25 * coarse
    assert not curves.multiple_roots.any()


def test_jumps_come_only_where_several_roots_are_flagged():
    """With a hard stall the states jump; away from flagged points the steps shrink with the step size."""
    alpha = np.array([-20.0, -10.0, 0.0, 12.0, 14.0, 25.0])
    polar = SectionPolar(alpha, np.array([-0.6, -0.8, 0.3, 1.5, 0.8, 0.9]), np.array([0.2, 0.03, 0.01, 0.03, 0.2, 0.4]))
    blade = blade_from_stations([0.15, 0.5, 1.0], [0.28, 0.2, 0.12], [18.0, 6.0, 0.0], 3)
    _, curves = largest_step(polar, blade, 0.0, 8000)
    steps = np.abs(np.diff(curves.thrust_coefficient[0]))
    near = curves.multiple_roots[0]
    near = near[1:] | near[:-1]
    assert near.any()
    assert steps[~near].max() < 0.02
    assert any("several solutions" in note for note in curves.notes)


def test_attached_root_is_the_one_taken():
    """Lift has its crest at 12 degrees: of several states the attached one, not those beyond."""
    alpha = np.array([-20.0, -10.0, 0.0, 12.0, 14.0, 25.0])
    polar = SectionPolar(alpha, np.array([-0.6, -0.8, 0.3, 1.5, 0.8, 0.9]), np.array([0.2, 0.03, 0.01, 0.03, 0.2, 0.4]))
    blade = blade_from_stations([0.15, 0.5, 1.0], [0.28, 0.2, 0.12], [18.0, 6.0, 0.0], 3)
    _, state = states_of(blade, polar, np.linspace(1.5, 5, 60), np.array([0.0]), delay=False)
    many = state.multiple_roots
    assert many.any()
    assert (np.abs(state.alpha_deg[many]) < 12.01).all()
    assert (state.alpha_deg > 14.0).any()  # slower still, the attached state is gone


def test_ratios_in_any_order_give_the_same_states():
    blade = blade_from_stations([0.2, 1.0], [0.1, 0.06], [12.0, 0.0], 3)
    _, up = states_of(blade, LINEAR)
    order = np.random.default_rng(1).permutation(RATIOS.size)
    _, mixed = states_of(blade, LINEAR, RATIOS[order])
    np.testing.assert_allclose(mixed.inflow_deg, up.inflow_deg[:, :, order], rtol=1e-12)


def test_wake_rotation_and_losses_cost_power():
    blade = blade_from_stations([0.2, 1.0], [0.16, 0.08], [20.0, 2.0], 2)
    ratio, pitch = np.array([2.5]), np.array([2.0])
    full = blade_curves(blade, [LINEAR], ratio, pitch).power_coefficient[0, 0]
    for off in ({"wake_rotation": False}, {"tip_loss": False}, {"root_loss": False}):
        assert (
            blade_curves(
                blade, [LINEAR], ratio, pitch, CurveSettings(corrections=Corrections(**off))
            ).power_coefficient[0, 0]
            > full
        )


def test_thrust_relation_is_continuous_and_reaches_hover():
    a = np.linspace(-1, 8, 90001)
    for loss in (0.05, 0.5, 0.69, 0.9, 1.0):
        line = thrust_relation(a, np.full_like(a, loss))
        assert np.abs(np.diff(line)).max() < 1e-4 * 100
        assert (np.diff(line[a > 0.4]) > 0).all()
    assert thrust_relation(np.array(1.0), np.array(1.0)) == pytest.approx(2.0)
    assert thrust_relation(np.array(50.0), np.array(1.0)) == pytest.approx(4 * 50 * 49)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 1.5), st.floats(0.3, 1.0), st.floats(0.41, 0.99))
def test_the_speed_on_the_high_thrust_line_gives_its_thrust(sine, loss, induction):
    # From an induction to the force that balances it and back: w = sin(phi)/(1 - a), sigma Cn = T(a) w^2.
    w = sine / (1 - induction)
    normal = thrust_relation(np.array(induction), np.array(loss)) * w**2
    assert wake_speed_at_high_thrust(sine, 4 * loss, normal) == pytest.approx(w, rel=1e-9)
    assert thrust_relation(np.array(induction), 1.0) == pytest.approx(thrust_coefficient_of_induction(induction))
