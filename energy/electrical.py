"""From the rotor shaft to the element: belt or gear, permanent-magnet generator, rectifier, leads, resistor.

The whole chain is one function of rotor speed. Every watt is accounted for: shaft = belt loss + friction + iron +
winding + rectifier + leads + element, at every speed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vehicle.arrays import CubeOfAirSpeed, LikeAirSpeed, Values, product_in_strips

# Mean output of an ideal six-pulse diode bridge over the line-to-line rms voltage, 3·√2/π: power-electronics texts.
SIX_PULSE_VOLTAGE_RATIO = 3 * np.sqrt(2) / np.pi
Connection = Literal["rectifier", "three_phase", "direct_current"]
_REFERENCE_SPEED_RAD_S = 1000 * 2 * np.pi / 60  # iron loss is stated at 1000 rpm


@dataclass(frozen=True)
class ElectricalChain:
    """Belt, generator, rectifier and element; numeric fields are floats or arrays of operating points or draws.

    Speeds and torques of the generator are those of its own shaft, `ratio` times faster than the rotor. Voltage
    constant: open-circuit rms volts between two terminals per rad/s (direct current: volts per rad/s). Winding
    resistance and inductance: between two terminals, as a meter reads them. `element_resistance_ohm` is the one element
    of a rectifier or direct-current circuit, or each of three in star.
    """

    connection: Connection
    ratio: Values
    belt_efficiency: Values
    voltage_constant_v_s: Values
    winding_resistance_ohm: Values
    winding_inductance_h: Values
    pole_pairs: Values
    friction_torque_n_m: Values
    cogging_torque_n_m: Values
    iron_loss_w: Values  # at 1000 rpm of the generator
    eddy_share: (
        Values  # of the iron loss at 1000 rpm: grows with the square of speed, the rest (hysteresis) in proportion
    )
    rectifier_drop_v: Values  # the two diodes that conduct, together
    lead_resistance_ohm: Values
    element_resistance_ohm: Values


@dataclass(frozen=True)
class ElectricalState:
    """The chain at given rotor speeds: watts, amperes, volts; arrays of the speeds' shape."""

    shaft_w: CubeOfAirSpeed
    belt_loss_w: CubeOfAirSpeed
    friction_loss_w: CubeOfAirSpeed
    iron_loss_w: CubeOfAirSpeed
    winding_loss_w: CubeOfAirSpeed
    rectifier_loss_w: CubeOfAirSpeed
    lead_loss_w: CubeOfAirSpeed
    element_w: CubeOfAirSpeed
    current_a: LikeAirSpeed
    element_voltage_v: LikeAirSpeed
    generator_speed_rad_s: LikeAirSpeed

    @property
    def generator_output_w(self) -> np.ndarray:
        """Power at the generator's terminals, in W: what a wattmeter there would show before the rectifier."""
        return self.rectifier_loss_w + self.lead_loss_w + self.element_w


def hot_resistance_ohm(
    resistance_20_ohm: Values, temperature_coefficient_per_k: Values, temperature_k: Values
) -> np.ndarray:
    """Return the resistance (Ω) of an element at a temperature: R₂₀·(1 + α·(T − 20 °C)).

    Parameters
    ----------
    resistance_20_ohm : [Ω] at 20 °C, any shape
    temperature_coefficient_per_k : [1/K], any shape
    temperature_k : [K] of the element, any shape

    Returns
    -------
    [Ω], the shape of all inputs broadcast.

    References
    ----------
    .. [1] Definition of the temperature coefficient at 20 °C.
    """
    rise = np.asarray(temperature_k, float) - 293.15
    return np.asarray(resistance_20_ohm) * (1 + np.asarray(temperature_coefficient_per_k) * rise)


def open_load(chain: ElectricalChain) -> ElectricalChain:
    """Return the chain with its element cut off: only friction and iron hold the rotor back.

    Parameters
    ----------
    chain : the chain

    Returns
    -------
    The chain, with an element of infinite resistance.
    """
    return replace(chain, element_resistance_ohm=np.inf)


@dataclass(frozen=True)
class TorqueOfSpeed:
    """The torque that a chain asks of the rotor shaft, as a function of speed alone: its numbers are worked out once.

    Where e = k·ω − d is the voltage that drives the loop and o = R + X·ω what opposes the current i = e/o, losses and
    element take R·i² + d·i = e·ω·(R·k + d·X)/o²: no torque has to be divided by a speed.
    """

    three_phase: bool
    ratio: np.ndarray
    resistance_ohm: np.ndarray  # of the loop, per phase for three phases; infinite where the element is cut off
    electromotive_v_s: np.ndarray  # k: volts per rad/s that drive the loop
    drop_v: np.ndarray  # d
    reactance_ohm_s: np.ndarray  # X: per rad/s of the generator
    loop_ohm: np.ndarray  # R of the torque: the resistance, 1 where the element is cut off (and takes no torque)
    loop_v_s_ohm: np.ndarray  # R·k + d·X, all phases together; 0 where the element is cut off
    idle_n_m: np.ndarray  # friction and hysteresis
    eddy_n_m_s: np.ndarray  # per rad/s
    per_rotor: np.ndarray  # torque at the rotor shaft over that at the generator's

    def current_a(self, generator_speed_rad_s: Values) -> np.ndarray:
        """Return the current through the element at generator speeds.

        Parameters
        ----------
        generator_speed_rad_s : [rad/s] broadcasts with the numbers held

        Returns
        -------
        [A], the shape of all broadcast; 0 where the voltage does not open the diodes.

        References
        ----------
        .. [1] See `torque_of_speed`.
        """
        speed = np.asarray(generator_speed_rad_s, float)
        volts = np.maximum(self.electromotive_v_s * speed - self.drop_v, 0.0)
        reactance = self.reactance_ohm_s * speed
        if self.three_phase:
            return np.asarray(volts / np.hypot(self.resistance_ohm, reactance))
        return np.asarray(volts / (self.resistance_ohm + reactance))

    def at(self, rotor_speed_rad_s: Values) -> np.ndarray:
        """Return the torque that is asked of the rotor shaft at rotor speeds.

        Parameters
        ----------
        rotor_speed_rad_s : [rad/s] 0 or more, broadcasts with the numbers held

        Returns
        -------
        [N·m] at the rotor's shaft, the shape of all broadcast.

        References
        ----------
        .. [1] See `torque_of_speed`.
        """
        speed = np.asarray(rotor_speed_rad_s * self.ratio)
        volts = np.maximum(self.electromotive_v_s * speed - self.drop_v, 0.0) * self.loop_v_s_ohm
        reactance = self.reactance_ohm_s * speed
        if self.three_phase:
            opposes = reactance * reactance + self.loop_ohm * self.loop_ohm
        else:
            opposes = (reactance + self.loop_ohm) ** 2
        return np.asarray((volts / opposes + self.idle_n_m + self.eddy_n_m_s * speed) * self.per_rotor)

    def holds_back(self, spare_torque_n_m: np.ndarray, turns_rad_s: np.ndarray, ratios: np.ndarray) -> np.ndarray:
        """Return where a rotor slows down, as the loop of generator and element asks for more than it has to spare.

        The balance of `at` times o², without a division: it is asked at every speed of a grid. Volts and o² are
        polynomials of the speed, and those of all conditions a product of matrices.

        Parameters
        ----------
        spare_torque_n_m : [N·m] (conditions, grid) at the generator's shaft, what the rotor's torque leaves above
            friction and iron
        turns_rad_s : [rad/s] (conditions,) generator speed over a ratio
        ratios : [-] (grid,) above 0

        Returns
        -------
        Booleans, (conditions, grid).

        References
        ----------
        .. [1] See `torque_of_speed`.
        """
        one, reactance = np.ones(len(ratios)), self.reactance_ohm_s * turns_rad_s
        volts = np.empty((len(turns_rad_s), 2))
        volts[:, 0] = self.electromotive_v_s * self.loop_v_s_ohm * turns_rad_s
        volts[:, 1] = -self.drop_v * self.loop_v_s_ohm
        asked = product_in_strips(volts, np.vstack([ratios, one]))
        np.maximum(asked, 0.0, out=asked)
        opposes = np.empty((len(turns_rad_s), 3))
        opposes[:, 0] = reactance * reactance
        opposes[:, 1] = 0.0 if self.three_phase else 2 * self.loop_ohm * reactance
        opposes[:, 2] = self.loop_ohm * self.loop_ohm
        given = product_in_strips(opposes, np.vstack([ratios * ratios, ratios, one]))
        given *= spare_torque_n_m
        return np.asarray(asked >= given)


def torque_of_speed(chain: ElectricalChain) -> TorqueOfSpeed:
    """Return the torque that a chain asks of the rotor shaft over speed.

    Rectifier: current (1.3505·k·Ω − drops) / (R_element + R_leads + R_winding + (3/π)·ω·L), where two phases conduct in
    series and the last term is the voltage that commutation costs (power-electronics texts: six-pulse bridge with
    source inductance, continuous current). Three phases in star: phase voltage over the phase's impedance. Iron loss is
    hysteresis (in proportion to speed) plus eddy currents (square of speed): electrical-machines texts.

    Parameters
    ----------
    chain : fields of shapes that broadcast

    Returns
    -------
    The numbers of the torque's formula, each of its inputs' shape broadcast.

    References
    ----------
    .. [1] Power-electronics texts: six-pulse bridge 3√2/π, commutation drop (3/π)·ω·L·I.
    .. [2] Electrical-machines texts: hysteresis and eddy currents.
    """
    winding = np.asarray(chain.winding_resistance_ohm, float)
    constant = np.asarray(chain.voltage_constant_v_s, float)
    resistance = np.asarray(chain.element_resistance_ohm, float) + chain.lead_resistance_ohm
    inductive = np.asarray(chain.pole_pairs) * np.asarray(chain.winding_inductance_h) / 2  # per rad/s, one phase
    drop, phases = np.asarray(0.0), 1.0
    three_phase = chain.connection == "three_phase"
    if three_phase:
        resistance, constant, phases = resistance + winding / 2, constant / np.sqrt(3), 3.0
    elif chain.connection == "rectifier":
        resistance, constant = resistance + winding, constant * SIX_PULSE_VOLTAGE_RATIO
        drop, inductive = np.asarray(chain.rectifier_drop_v, float), 3 / np.pi * inductive
    else:
        resistance, inductive = resistance + winding, np.asarray(0.0)
    iron = np.asarray(chain.iron_loss_w) / _REFERENCE_SPEED_RAD_S
    cut_off = np.isinf(resistance)
    loop = np.where(cut_off, 1.0, resistance)
    return TorqueOfSpeed(
        three_phase,
        np.asarray(chain.ratio, float),
        resistance,
        constant,
        drop,
        np.asarray(inductive),
        loop,
        # A cut-off element carries no current, and inf·0 must not become NaN.
        np.where(cut_off, 0.0, phases * loop * constant + drop * inductive),
        np.asarray(chain.friction_torque_n_m) + iron * (1 - np.asarray(chain.eddy_share)),
        iron * chain.eddy_share / _REFERENCE_SPEED_RAD_S,
        np.asarray(chain.ratio) / chain.belt_efficiency,
    )


def current_a(chain: ElectricalChain, generator_speed_rad_s: Values) -> np.ndarray:
    """Return the current (A) through the element at generator speeds.

    Rectifier: (1.3505·k·Ω − drops) / (R_element + R_leads + R_winding + (3/π)·ω·L), where two phases conduct in series
    and the last term is the voltage that commutation costs (power-electronics texts: six-pulse bridge with source
    inductance, continuous current). Three phases in star: phase voltage over the phase's impedance.

    Parameters
    ----------
    chain : fields of shapes that broadcast
    generator_speed_rad_s : [rad/s] broadcasts with them

    Returns
    -------
    [A], the shape of all inputs broadcast; 0 where the voltage does not open the diodes.

    References
    ----------
    .. [1] Power-electronics texts: six-pulse bridge 3√2/π, commutation drop (3/π)·ω·L·I.
    .. [2] Ohm's law for alternating current.
    """
    return torque_of_speed(chain).current_a(generator_speed_rad_s)


def idle_torque_n_m(chain: ElectricalChain, generator_speed_rad_s: Values) -> np.ndarray:
    """Return the torque (N·m, generator shaft) of friction and iron at a speed, without current.

    Iron loss is hysteresis (in proportion to speed) plus eddy currents (square of speed): electrical-machines texts.

    Parameters
    ----------
    chain : fields of shapes that broadcast
    generator_speed_rad_s : [rad/s] broadcasts with them

    Returns
    -------
    [N·m] at the generator's shaft, the shape of all inputs broadcast.

    References
    ----------
    .. [1] Electrical-machines texts: hysteresis and eddy currents.
    """
    of = torque_of_speed(chain)
    return np.asarray(of.idle_n_m + of.eddy_n_m_s * generator_speed_rad_s)


def shaft_torque_n_m(chain: ElectricalChain, rotor_speed_rad_s: Values) -> np.ndarray:
    """Return the torque (N·m) that the chain asks of the rotor shaft at rotor speeds (≥ 0).

    Parameters
    ----------
    chain : fields of shapes that broadcast
    rotor_speed_rad_s : [rad/s] 0 or more, broadcasts with them

    Returns
    -------
    [N·m] at the rotor's shaft, the shape of all inputs broadcast.

    References
    ----------
    .. [1] Balance of power: torque times speed is what generator, rectifier, leads, element and belt take.
    """
    return torque_of_speed(chain).at(rotor_speed_rad_s)


def electrical_state(chain: ElectricalChain, rotor_speed_rad_s: Values) -> ElectricalState:
    """Return every watt of the chain at rotor speeds (rad/s); arrays broadcast against the chain's fields.

    Parameters
    ----------
    chain : fields of shapes that broadcast
    rotor_speed_rad_s : [rad/s] broadcasts with them

    Returns
    -------
    Watts, amperes, volts, arrays of the broadcast shape.

    References
    ----------
    .. [1] Balance of power; see `current_a` and `idle_torque_n_m`.
    """
    rotor_speed = np.asarray(rotor_speed_rad_s, float)
    speed = rotor_speed * chain.ratio
    current = current_a(chain, speed)
    three_phase = chain.connection == "three_phase"
    phases = 3.0 if three_phase else 1.0
    winding_share = 0.5 if three_phase else 1.0
    square = phases * current * current
    # A cut-off element carries no current, and inf·0 must not become NaN.
    cut_off = np.isinf(chain.element_resistance_ohm)
    resistance = np.where((current > 0) & ~cut_off, chain.element_resistance_ohm, 0.0)
    element = square * resistance
    winding = square * np.asarray(chain.winding_resistance_ohm) * winding_share
    leads = square * chain.lead_resistance_ohm
    rectifier = current * (np.asarray(chain.rectifier_drop_v) if chain.connection == "rectifier" else 0.0)
    friction = np.asarray(chain.friction_torque_n_m) * speed
    iron = idle_torque_n_m(chain, speed) * speed - friction
    into_generator = element + winding + leads + rectifier + friction + iron
    shaft = into_generator / chain.belt_efficiency
    parts = np.broadcast_arrays(
        shaft,
        shaft - into_generator,
        friction,
        iron,
        winding,
        rectifier,
        leads,
        element,
        current,
        current * resistance,
        speed,
    )
    return ElectricalState(*parts)
