"""From which head wind the heat exceeds the drag power at another pitch, and for an ideal rotor of the same loading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from energy.aero.momentum import induction_of_thrust_coefficient
from energy.chain.ledger import Answer, answer, break_even_head_wind_m_s, heat_less_drag_w
from energy.chain.limits import ROUNDING, keeps_limits, stated_limits
from energy.scenario.inputs import inputs_of
from energy.scenario.read import Scenario
from vehicle.arrays import Values

WINDS_M_S = np.linspace(0.0, 40.0, 161)
_PITCHES = 61


@dataclass(frozen=True)
class PitchBreakEven:
    """The pitch (degrees, as the dial reads) with the lowest break-even head wind, and that wind (m/s).

    Both are NaN where no pitch of the curves breaks even. `breaks` names the limits that it breaks in that wind, none
    where a pitch that keeps them all breaks even.
    """

    pitch_deg: float
    head_wind_m_s: float
    breaks: tuple[str, ...] = ()


def best_pitch_break_even(scenario: Scenario) -> PitchBreakEven | None:
    """Return the pitch that breaks even in the least head wind, all else as stated; None where curves have one pitch.

    A pitch that keeps the scenario's limits in that wind goes before one that breaks them.
    """
    curves = scenario.curves
    if curves is None or len(curves.pitch_deg) < 2:
        return None
    ends = scenario.pitch_convention.setting_deg(curves.pitch_deg[[0, -1]])
    pitches = np.linspace(float(ends.min()), float(ends.max()), _PITCHES)
    draws = {
        "rotor.pitch": pitches[:, None],
        "air.wind_speed": WINDS_M_S,
        "air.wind_from": np.zeros_like(WINDS_M_S),
    }
    outcome = answer(inputs_of(scenario, draws))
    works = (outcome.turbine.turning & ~outcome.turbine.beyond_data) & (heat_less_drag_w(outcome) >= 0)
    limits = stated_limits(outcome.inputs, outcome.turbine)
    over = {one.in_a_sentence: one.share > 1 + ROUNDING for one in limits}
    legal = works & keeps_limits(outcome.inputs, outcome.turbine)
    good = legal if legal.any() else works
    if not good.any():
        return PitchBreakEven(float("nan"), float("nan"))
    first = np.where(good.any(axis=1), np.argmax(good, axis=1), len(WINDS_M_S))
    row = int(np.argmin(first))
    wind = int(first[row])
    breaks = tuple(name for name, broken in over.items() if broken[row, wind])
    return PitchBreakEven(float(pitches[row]), float(WINDS_M_S[wind]), breaks)


@dataclass(frozen=True)
class Ideal:
    """Break-even head winds (m/s) of rotors without losses that push as hard as this one, in every wind.

    `free_m_s` without any loss, `chain_m_s` with the electrical chain's losses, `alternator_m_s` set against the
    alternator path; 0 means that still air suffices, NaN that no wind up to 40 m/s does. `thrust_coefficient` and
    `chain_efficiency` are those in still air. `any_loading_m_s` is what no rotor with this chain, sitting where this
    one sits, can fall below: that of the lightest loading.
    """

    free_m_s: float
    chain_m_s: float
    alternator_m_s: float
    any_loading_m_s: float
    chain_efficiency: float
    thrust_coefficient: float


def ideal_of(over_winds: Answer, drivetrain_over_path: Values) -> Ideal:
    """Return the ideal break-even winds of an answer over `WINDS_M_S`, head winds on the flat.

    An ideal rotor turns all that momentum theory leaves it of thrust T into shaft power, T·(1 − a)·U, with the
    induction a of its thrust coefficient (energy/aero/momentum.py). A lightly loaded one loses less in its wake, so
    that half the road speed is the bound at the Betz loading only. `drivetrain_over_path` is the efficiency from engine
    to wheels over that of the alternator path.
    """
    inputs, turbine = over_winds.inputs, over_winds.turbine
    ct = turbine.thrust_coefficient
    air = np.asarray(inputs.rotor_air_speed_m_s)
    most_w = turbine.thrust_n * np.maximum(0.0, 1 - induction_of_thrust_coefficient(ct)) * air
    drag_w = turbine.rotor_drag_n * np.asarray(inputs.road_speed_m_s)
    shaft = turbine.shaft_power_w
    turns = turbine.turning & (shaft > 0)
    chain = np.where(turns, turbine.heat_power_w / np.where(turns, shaft, 1.0), np.nan)

    def wind(share: Values) -> float:
        gain = np.where(turns, np.nan_to_num(share * most_w) - drag_w, -np.inf)
        return first_wind_m_s(gain)

    speed = float(np.asarray(inputs.road_speed_m_s).flat[0])
    factor = float(np.asarray(inputs.turbine.local_speed_factor))
    charged = float(np.asarray(inputs.turbine.interaction_factor)) * max(1.0, factor)
    lightest = speed * (charged / (float(chain[0]) * factor) - 1) if turns[0] else float("nan")
    return Ideal(
        free_m_s=wind(1.0),
        chain_m_s=wind(chain),
        alternator_m_s=wind(chain * drivetrain_over_path),
        any_loading_m_s=max(lightest, 0.0),
        chain_efficiency=float(chain[0]),
        thrust_coefficient=float(ct[0]) if turns[0] else float("nan"),
    )


def first_wind_m_s(gain_w: np.ndarray) -> float:
    """Return the first of `WINDS_M_S` from which a gain is not below zero, linear between two finite ones; NaN."""
    above = np.flatnonzero(gain_w >= 0)
    if not above.size:
        return float("nan")
    k = int(above[0])
    if k == 0 or not np.isfinite(gain_w[k - 1]):
        return float(WINDS_M_S[k])
    step = WINDS_M_S[k] - WINDS_M_S[k - 1]
    return float(WINDS_M_S[k - 1] + step * -gain_w[k - 1] / (gain_w[k] - gain_w[k - 1]))


def break_even_m_s(scenario: Scenario) -> float:
    """Return the head wind (m/s) from which the heat exceeds the drag power as set; NaN where none up to 40 m/s."""
    winds = {"air.wind_speed": WINDS_M_S, "air.wind_from": np.zeros_like(WINDS_M_S)}
    return break_even_head_wind_m_s(WINDS_M_S, answer(inputs_of(scenario, winds)))
