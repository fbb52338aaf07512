"""What the electrical side must stand: volts without load, currents, the dump load, and short-circuit braking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from energy.aero.operating_point import coefficients_of, solve
from energy.electrical import (
    SIX_PULSE_VOLTAGE_RATIO,
    Connection,
    ElectricalChain,
    current_a,
    electrical_state,
    shaft_torque_n_m,
)
from energy.scenario.inputs import inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.strength.cases import BothCases, Rig, both_cases, rig_of, scanned_pitches_deg
from vehicle.arrays import Values
from vehicle.problems import InputError, Problem

LOW_VOLTAGE_AC_V, LOW_VOLTAGE_DC_V = 50.0, 120.0
"""Extra-low voltage: at most 50 V AC or 120 V ripple-free DC (IEC 62257-7-1:2010, 3.55)."""
FUSE_FACTOR = 1.25
"""Fuse and switch over the steady current: common practice, no source."""
DIODE_VOLTAGE_FACTOR, DIODE_CURRENT_FACTOR, CAPACITOR_FACTOR = 2.0, 1.5, 1.25
"""Diode and capacitor ratings over what they see: common practice, no source."""
_SPEEDS = 12


@dataclass(frozen=True)
class Braking:
    """Short circuit at the generator's own terminals over rotor speed, arrays (N,); torques at the rotor shaft.

    `torque_n_m` is the brake's, its belt loss taken against it; `rotor_n_m` the rotor's in the air of the operating
    point, `worst_rotor_n_m` that in the worst air at the worst pitch.
    """

    rotor_speed_rad_s: np.ndarray
    torque_n_m: np.ndarray
    rotor_n_m: np.ndarray
    worst_rotor_n_m: np.ndarray
    current_a: np.ndarray
    winding_w: np.ndarray
    peak_at_rad_s: float

    def fails_from_rad_s(self, rotor_n_m: np.ndarray) -> float:
        """Return the speed from which the brake is weaker than the rotor, so that it speeds up; infinite for never."""
        stronger = np.flatnonzero(self.torque_n_m > rotor_n_m)
        if not stronger.size:
            return 0.0
        loses = np.flatnonzero(self.torque_n_m[stronger[0] :] <= rotor_n_m[stronger[0] :])
        return math.inf if not loses.size else float(self.rotor_speed_rad_s[stronger[0] + loses[0]])

    def creeps_at_rad_s(self, rotor_n_m: np.ndarray) -> float:
        """Return the speed at which a shorted rotor keeps turning, NaN where the brake never beats it."""
        stronger = np.flatnonzero(self.torque_n_m > rotor_n_m)
        return float(self.rotor_speed_rad_s[stronger[0]]) if stronger.size else math.nan


@dataclass(frozen=True)
class ElectricalSide:
    """Volts (rms between two terminals, peak, DC without load), currents (A), dump load (W, Ω), braking."""

    connection: Connection
    fastest_rad_s: float
    open_rms_v: float
    open_peak_v: float
    open_dc_v: float
    working_a: float
    highest_a: float
    short_circuit_a: float
    element_ohm: float
    dump_w: float
    dump_worst_w: float
    rectifier_w: float
    braking: Braking

    @property
    def dangerous(self) -> bool:
        """Whether the open-circuit volts pass extra-low voltage."""
        if self.connection == "direct_current":
            return self.open_dc_v > LOW_VOLTAGE_DC_V
        return self.open_rms_v > LOW_VOLTAGE_AC_V or (
            self.connection == "rectifier" and self.open_dc_v > LOW_VOLTAGE_DC_V
        )

    @property
    def fuse_a(self) -> float:
        """Rated current of fuse and switch to ask for."""
        return FUSE_FACTOR * self.highest_a

    @property
    def fuse_opens_on_short(self) -> bool:
        """Whether the generator's own short-circuit current is twice the fuse, without which it may never blow."""
        return self.short_circuit_a >= 2.0 * self.fuse_a


def electrical_side(scenario: Scenario) -> ElectricalSide:
    """Return what the electrical side must stand. Raises InputError where the scenario has no curves or generator."""
    if scenario.curves is None or scenario.generator is None:
        raise InputError(
            Problem(scenario.name, "[generator]", "no generator with curves", "rotor.curves and [generator]")
        )
    rig = rig_of(scenario)
    cases = both_cases(rig)
    chain = rig.inputs.turbine.chain
    assert chain is not None
    fastest = float(cases.worst.rotor_speed_rad_s)
    strong = _chain_with(rig, _ends(rig, high=_STRONG_IF_HIGH, low=_STRONG_IF_LOW))
    generator = np.asarray(fastest * strong.ratio)
    rms = float(scenario.generator.voltage_constant.high) * float(generator)
    direct = chain.connection == "direct_current"
    peak = rms if direct else math.sqrt(2.0) * rms
    working = electrical_state(chain, cases.operating.rotor_speed_rad_s)
    gust = _settled_in_the_worst_air(rig, strong, cases)
    ohm = float(np.asarray(chain.element_resistance_ohm))
    braking, short = _braking(rig, cases)
    highest = float(current_a(strong, generator))
    return ElectricalSide(
        connection=chain.connection,
        fastest_rad_s=fastest,
        open_rms_v=rms,
        open_peak_v=peak,
        open_dc_v=peak,  # a capacitor behind a bridge charges to the peak
        working_a=float(working.current_a),
        highest_a=highest,
        short_circuit_a=short,
        element_ohm=ohm,
        dump_w=float(working.element_w),
        dump_worst_w=float(gust),
        rectifier_w=float(scenario.generator.rectifier_drop.high) * highest if chain.connection == "rectifier" else 0.0,
        braking=braking,
    )


_STRONG_IF_HIGH: tuple[QuantityKey, ...] = ("generator.voltage_constant", "drive.ratio", "drive.efficiency")
_STRONG_IF_LOW: tuple[QuantityKey, ...] = (
    "generator.winding_resistance",
    "generator.winding_temperature",
    "generator.winding_inductance",
    "generator.rectifier_drop",
    "generator.friction_torque",
    "generator.iron_loss",
    "generator.eddy_share",
    "heater.resistance",
    "heater.lead_resistance",
)


def _ends(rig: Rig, *, high: Sequence[QuantityKey], low: Sequence[QuantityKey]) -> dict[str, Values]:
    """Return the upper and the lower ends of keys (SI) where the scenario gives them."""
    ends: dict[str, Values] = {}
    for keys, upper in ((high, True), (low, False)):
        for key in keys:
            value = rig.read.uncertain(key)
            if value is not None:
                ends[key] = np.asarray(value.high if upper else value.low)
    return ends


def _chain_with(rig: Rig, ends: dict[str, Values]) -> ElectricalChain:
    chain = inputs_of(rig.scenario, ends).turbine.chain
    assert chain is not None
    return chain


def _settled_in_the_worst_air(rig: Rig, chain: ElectricalChain, cases: BothCases) -> float:
    """Return the element's watts where the rotor settles in the worst air, at the pitch that gives the most."""
    pitches = scanned_pitches_deg(rig)
    air = np.full(pitches.shape, float(cases.worst.air_speed_m_s))
    rotor = rig.rotor(rig.worst_inputs, pitches, air)
    speeds = solve(rotor, chain, load_connected_after_spin_up=True).rotor_speed_rad_s
    return float(np.max(electrical_state(chain, speeds).element_w))


def short_circuited(chain: ElectricalChain) -> ElectricalChain:
    """Return the chain with its generator's own terminals joined: no leads, no bridge, no element."""
    joined = "three_phase" if chain.connection == "rectifier" else chain.connection
    return replace(chain, connection=joined, element_resistance_ohm=0.0, lead_resistance_ohm=0.0, rectifier_drop_v=0.0)


def _braking(rig: Rig, cases: BothCases) -> tuple[Braking, float]:
    """Return the braking over speed, and the short-circuit current at the fastest speed (A).

    The torque is that of the weakest ends of the ranges at each speed (a winding of high resistance is weak at low
    speed, one of low resistance at high speed); currents and heat are those of the strongest.
    """
    weak = [_short_chain(rig, ends) for ends in _weak_ends(rig)]
    ends = _ends(rig, high=_STRONG_IF_HIGH, low=_STRONG_IF_LOW)
    strong = _short_chain(rig, ends)
    hot = _short_chain(rig, {**ends, **_ends(rig, high=_WINDING, low=())})
    speeds = np.linspace(0.0, float(cases.worst.rotor_speed_rad_s), 12 * _SPEEDS + 1)
    # A belt that slips or drags takes from the brake.
    torques = [shaft_torque_n_m(chain, speeds) * float(np.asarray(chain.belt_efficiency)) ** 2 for chain in weak]
    torque = np.min(torques, axis=0)
    states = [electrical_state(chain, speeds) for chain in (strong, hot)]
    current = np.max([state.current_a for state in states], axis=0)
    top = float(np.max(current))
    braking = Braking(
        rotor_speed_rad_s=speeds,
        torque_n_m=torque,
        rotor_n_m=_rotor_torque_n_m(rig, cases, speeds, worst=False),
        worst_rotor_n_m=_rotor_torque_n_m(rig, cases, speeds, worst=True),
        current_a=current,
        winding_w=np.max([state.winding_loss_w for state in states], axis=0),
        peak_at_rad_s=float(speeds[int(np.argmax(torque))]),
    )
    return braking, top


_WINDING: tuple[QuantityKey, ...] = ("generator.winding_resistance", "generator.winding_temperature")


def _weak_ends(rig: Rig) -> list[dict[str, Values]]:
    """Return the ends of the ranges that weaken a short-circuit brake, at whatever speed."""
    always = _ends(
        rig,
        high=("generator.winding_inductance",),
        low=(
            "generator.voltage_constant",
            "generator.friction_torque",
            "generator.iron_loss",
            "generator.eddy_share",
            "drive.efficiency",
        ),
    )
    either: list[dict[str, Values]] = [_ends(rig, high=_WINDING, low=()), _ends(rig, high=(), low=_WINDING)]
    ratios = [_ends(rig, high=("drive.ratio",), low=()), _ends(rig, high=(), low=("drive.ratio",))]
    return [{**always, **winding, **ratio} for winding in either for ratio in ratios]


def _short_chain(rig: Rig, ends: dict[str, Values]) -> ElectricalChain:
    return short_circuited(_chain_with(rig, ends))


def _rotor_torque_n_m(rig: Rig, cases: BothCases, speeds: np.ndarray, *, worst: bool) -> np.ndarray:
    """Return the rotor's torque (N·m) at speeds (N,): as it works, or the maximum over pitch in the worst air."""
    inputs = rig.worst_inputs if worst else rig.inputs
    at = cases.worst if worst else cases.operating
    air = max(float(at.air_speed_m_s), 1e-9)
    pitch = scanned_pitches_deg(rig) if worst else np.atleast_1d(np.asarray(inputs.turbine.pitch_deg, float))
    radius, area = rig.radius_in(at), rig.area_in(at)
    ratios = np.maximum(speeds, 1e-3 * air / radius) * radius / air
    cp, _, _ = coefficients_of(rig.rotor(inputs, pitch[:, None], air), ratios)
    power = cp * 0.5 * float(np.asarray(inputs.density_kg_m3))
    return np.asarray(np.max(power * area * air**2 * radius / ratios, axis=0))


def shown_places(braking: Braking) -> np.ndarray:
    """Return the places of the speeds to print."""
    return np.arange(_SPEEDS, len(braking.rotor_speed_rad_s), _SPEEDS)


def bridge_diodes(side: ElectricalSide) -> tuple[float, float]:
    """Return what one diode of a six-pulse bridge sees: reverse peak (V) and mean current (A).

    The reverse peak is that between two lines, the current a third of the direct one.

    Power-electronics texts: the reverse peak is π/3 of the ideal mean output.
    """
    return side.open_rms_v * SIX_PULSE_VOLTAGE_RATIO * math.pi / 3, side.highest_a / 3
