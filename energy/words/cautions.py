"""Cautions of an answer: what could hurt someone, break, or make the answer wrong."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.aero.blade import STALL_SHARE_LIMIT
from energy.aero.operating_point import free_run_is_known
from energy.chain.certified import TOWN_FUEL_READS_LOW
from energy.chain.ledger import answer
from energy.chain.stall import WORTH_SAYING
from energy.chain.stalled import AIR_M_S
from energy.electrical import SIX_PULSE_VOLTAGE_RATIO
from energy.scenario.inputs import inputs_of
from energy.words.verdict import (
    LIKELY,
    beyond_curves,
    limit_at_risk_sentence,
    number,
    short_of_torque,
    short_of_torque_sentence,
)
from vehicle.driving.engine import Battery, outside_the_map
from vehicle.driving.trip import stops_and_goes
from vehicle.units import UnitSystem, show

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.chain.stall import StallRisk
    from energy.scenario.read import Scenario

# Common practice, no source: above 50 V AC or DC a supply is handled as mains. IEC 62257-7-1:2010, 3.55 takes as
# extra-low voltage at most 50 V AC or 120 V ripple-free DC; a rectified supply with its load cut is taken at the lower.
MAINS_LIKE_V = 50.0
_FAR_OFF_DEG = 30.0  # from here on air counts as from the side, as in the verdict's words: own rule, no source
BLADE = (
    "A blade that fails is a projectile: keep people out of the rotor's plane, stop it in towns and near people, and "
    "check every fastening before each drive."
)
ESTIMATE = (
    "An estimate for planning, no structural, electrical or roadworthiness approval: before using a public road ask "
    "the authority and the insurer."
)
STANDING = (
    BLADE,
    ESTIMATE,
    "The element and what it heats get hot enough to burn or boil: fit a thermostat, a thermal cut-out and, "
    "on a closed "
    "tank, a relief valve. Ventilate where something cooks or a gas burner runs.",
    "A thermostat, fuse or plug that opens is a load cut: provide a dump load or a brake that needs no electricity.",
    "Short-circuit braking may not hold at speed and heats winding and leads: never the only brake, try it "
    "at low speed.",
    "Switches and breakers rated for AC may not break DC: take parts rated for the open-circuit voltage, AC or DC.",
    "Check overhead clearance and width, and how the vehicle handles and brakes in a cross wind with this mass on it.",
    "Never leave the rotor parked and unattended unless it is held still. Dust from cutting blades harms the lungs.",
)


_WORTH_A_LINE = 0.2  # of the simulations, where the page is full: own rule, no source


def cautions(answered: Answered, system: UnitSystem) -> list[str]:
    """Return every caution, the most pressing first: those of this answer, then those that always hold."""
    return [
        *_of_limits_at_risk(answered.stall, system),
        *_of_the_torque(answered),
        *_of_this_answer(answered, system),
        *STANDING,
    ]


def pressing_cautions(answered: Answered, system: UnitSystem) -> list[str]:
    """Return the cautions of this answer, and the two that no answer goes without."""
    # Of a rotor that can get stuck in stall the first lines give what both groups do: there is room for little more.
    stalled = answered.stall is not None and answered.stall.matters
    least = _WORTH_A_LINE if stalled else 0.0
    return [
        *_of_limits_at_risk(answered.stall, system, least),
        *_of_the_torque(answered, least),
        *_of_this_answer(answered, system),
        BLADE,
        ESTIMATE,
    ]


def of_the_same_answer(answered: Answered, system: UnitSystem) -> list[str]:
    """Return what makes numbers weaker than they look, for every output that rests on those of this answer."""
    return [
        *_of_limits_at_risk(answered.stall, system),
        *_of_the_torque(answered),
        *_beyond_curves_on_trip(answered),
    ]


def of_the_file(scenario: Scenario) -> list[str]:
    """Return what is odd about a scenario's values, and those that it says are meant though unusual, in sentences."""
    return [f"{warning[0].upper()}{warning[1:]}." for warning in scenario.warnings]


def _of_this_answer(answered: Answered, system: UnitSystem) -> list[str]:
    return [
        *_of_the_rotor(answered, system),
        *_of_the_voltage(answered),
        *_of_the_load(answered),
        *_of_the_numbers(answered, system),
        *of_the_file(answered.scenario),
    ]


def _of_the_rotor(answered: Answered, system: UnitSystem) -> Iterator[str]:
    turbine, limits = answered.at_its_most, answered.answer.inputs.turbine
    if answered.trip is None:
        yield from _of_the_yaw(answered)
    if limits.curves is None:
        return
    if answered.trip is not None and not bool(turbine.turning):
        yield "The rotor never turns on this trip: it does not start, or its policy never lets it work."
    if turbine.point is not None and not bool(turbine.turning):
        yield from _why_it_stands(answered, system)
    if turbine.point is not None and bool(turbine.point.is_stalled):
        fast = np.nanmax(turbine.point.stable_speeds_rad_s)
        yield (
            "At the stated values there are two steady speeds. Started from standstill the rotor stays at the slow, "
            f"stalled one; the fast one is {show(fast, 'rotor_speed', system)}."
        )
    yield from _of_the_load_cut(answered, system)


def _of_limits_at_risk(stall: StallRisk | None, system: UnitSystem, least: float = 0.0) -> Iterator[str]:
    """Yield the limit that holds at the stated values and that the largest part of the simulations breaks.

    What most of them break the first lines say.
    """
    at_risk = () if stall is None else stall.at_risk
    for risk in [one for one in at_risk if least < one.share <= LIKELY][:1]:
        yield limit_at_risk_sentence(risk, system)


def _of_the_torque(answered: Answered, least: float = 0.0) -> Iterator[str]:
    """Yield that in a part of the simulations the engine lacks torque; what is so in most the first lines say."""
    share = short_of_torque(answered)
    if max(least, WORTH_SAYING) < share <= LIKELY:
        yield short_of_torque_sentence(answered, share)


def _of_the_yaw(answered: Answered) -> Iterator[str]:
    """Yield what air from the side or from behind means for a rotor that does not turn into it."""
    inputs = answered.answer.inputs
    off = math.degrees(number(inputs.air.yaw_rad))
    if inputs.turbine.turns_into_wind or not number(inputs.air.speed_m_s) > 0 or off <= _FAR_OFF_DEG:
        return
    if off > 90:
        yield (
            "The air comes from behind the rotor, which is taken as standing still. A real one can turn backwards "
            "there, loaded in ways that nothing here checks: hold it still or fold it down."
        )
        return
    yield (
        f"The air meets the rotor {off:.0f}° off its axis. How far power and thrust fall there is a rule of thumb "
        "(rotor.yaw_exponent; common practice, no source), and the load on each blade changes with every turn."
    )


def _why_it_stands(answered: Answered, system: UnitSystem) -> Iterator[str]:
    """Yield why a rotor stands: no air that could turn it, or too little torque to start in the air there is."""
    air = number(answered.answer.inputs.rotor_air_speed_m_s) if answered.trip is None else math.inf
    if air < AIR_M_S:
        inputs = answered.answer.inputs
        if inputs.turbine.turns_into_wind or number(inputs.air.ahead_m_s) >= 0:  # of air from behind that is said
            speed = show(air, "speed", system)
            yield f"The rotor stands: {speed} of air at the rotor is too little to turn it. Its blades still drag."
        return
    connected = answered.scenario.generator is not None and answered.scenario.generator.load_connected == "always"
    yield (
        f"The rotor does not start{' with the load connected' if connected else ''}: its torque at standstill is too "
        f"small for cogging{', friction and load' if connected else ' and friction'}. Its blades still drag."
    )


def _of_the_load_cut(answered: Answered, system: UnitSystem) -> Iterator[str]:
    """Yield what happens when the load is cut, where that is beyond a limit or not known."""
    limits = answered.answer.inputs.turbine
    free = number(answered.at_its_most.free_run_speed_rad_s)
    if free <= 0 or limits.chain is None or limits.curves is None:
        return
    tip = free * number(limits.diameter_m) / 2
    if not free_run_is_known(limits.curves, limits.pitch_deg):
        yield (
            "The curves end before the power falls to zero: rotor speed with the load cut is unknown. Assume that the "
            "rotor destroys itself."
        )
    elif tip > number(limits.highest_tip_speed_m_s) or _above(free, limits.highest_rotor_speed_rad_s):
        yield (
            f"If the load is cut (blown fuse, loose plug) the rotor runs up to {show(free, 'rotor_speed', system)}, "
            f"tips {show(tip, 'tip_speed', system)}, beyond its limit: fit a brake that needs no electricity."
        )


def _of_the_voltage(answered: Answered) -> Iterator[str]:
    turbine, chain = answered.at_its_most, answered.answer.inputs.turbine.chain
    if turbine.electrical is None or chain is None:
        return
    open_speed = number(turbine.free_run_speed_rad_s) * number(chain.ratio)
    rectified = chain.connection == "rectifier"
    volts = open_speed * number(chain.voltage_constant_v_s) * (SIX_PULSE_VOLTAGE_RATIO if rectified else 1)
    if volts > MAINS_LIKE_V:
        kind = "AC" if chain.connection == "three_phase" else "DC"
        yield (
            f"With the load cut the generator gives up to {volts:.0f} V {kind}: treat it as mains. Touching it can "
            "kill; have it wired, fused and checked by a licensed electrician to the local code. Diodes and capacitors "
            "must be rated for it."
        )


def _of_the_load(answered: Answered) -> Iterator[str]:
    """Yield that nothing ends the heating of a load that is described without a thermostat."""
    load, what = answered.scenario.load, answered.scenario.heater.what
    if load.target_temperature is None or load.thermostat is not None or not number(answered.at_its_most.heat_power_w):
        return
    water = ", and whether it boils dry or bursts" if load.kind == "water_tank" else ""
    yield f"No thermostat ends the heating of {what} (load.thermostat): windtoll heat shows how hot it gets{water}."


def _of_the_numbers(answered: Answered, system: UnitSystem) -> Iterator[str]:
    """Yield where the numbers are weaker than they look."""
    result, turbine = answered.answer, answered.at_its_most
    limits = result.inputs.turbine
    if bool(turbine.beyond_data) and limits.curves is None:
        yield _outside_the_table(answered, system)
    yield from _beyond_curves_on_trip(answered)
    if answered.trip is None and number(turbine.stalled_torque_share) > STALL_SHARE_LIMIT:
        yield _stalled_sections(answered, system)
    if bool(turbine.thrust_floor):
        yield (
            "The thrust of the curves with the factors for local air speed and interaction would be too small for the "
            "shaft power: the smallest drag that energy allows was used instead."
        )
    if limits.curves is not None and limits.curves.thrust_is_estimated:
        yield (
            "Thrust is an estimate by momentum theory from the power coefficient: the drag can be half of it or a "
            "quarter more, and in stall several times it. Columns of thrust_coefficient, or a load cell, settle it."
        )
    yield from _of_the_fuel_map(answered, system)
    yield from _of_town_fuel(answered)


def _beyond_curves_on_trip(answered: Answered) -> Iterator[str]:
    """Yield that the rotor runs past its curves on a trip; at one speed that stands before the answer."""
    curves = answered.answer.inputs.turbine.curves
    if answered.trip is not None and curves is not None and bool(answered.at_its_most.beyond_data):
        yield beyond_curves(curves)


def _outside_the_table(answered: Answered, system: UnitSystem) -> str:
    """Return that watts were not measured in this air, and how they were carried on."""
    table = answered.answer.inputs.turbine.measured
    assert table is not None
    low, high = (show(float(speed), "speed", system) for speed in table.air_speed_m_s[[0, -1]])
    part = "The" if answered.trip is None else "On a part of the trip the"
    return (
        f"{part} air speed at the rotor lies outside the measured table ({low} to {high}): watts there are "
        "extrapolated with the cube of the air speed. Below the table the rotor may stand still."
    )


def _of_town_fuel(answered: Answered) -> Iterator[str]:
    """Yield that fuel in town reads low, where a schedule stops and goes."""
    trip, engine = answered.trip, answered.scenario.engine
    if trip is None or engine is None or answered.answer.inputs.fuel is None or not stops_and_goes(trip.steps):
        return
    low = TOWN_FUEL_READS_LOW["diesel" if engine.fuel == "diesel" else "petrol"]
    yield (
        f"Fuel in town reads low, by {100 * low:.0f} % against the city test of certified vehicles, which holds a cold "
        "start; a percentage of it reads high by as much."
    )


def _of_the_fuel_map(answered: Answered, system: UnitSystem) -> Iterator[str]:
    """Yield where the engine works outside its fuel map."""
    outcome = answered.answer if answered.trip is None else answered.trip.by_step
    engine = outcome.inputs.engine
    if isinstance(engine, Battery) or engine.fuel_map is None:
        return
    states = (outcome.without, outcome.states["working"])
    outside = np.broadcast_arrays(*(outside_the_map(engine, state.supply) for state in states))
    beyond = outside[0] | outside[1]
    if not beyond.any():
        return
    table = engine.fuel_map
    speeds = [show(float(v), "rotor_speed", system) for v in table.engine_speed_rad_s[[0, -1]]]
    torques = [show(float(v), "torque", system) for v in table.torque_n_m[[0, -1]]]
    where = "The engine works"
    if answered.trip is not None:
        lasts = np.broadcast_to(answered.trip.steps.duration_s, beyond.shape)
        where = f"In {100 * float(lasts[beyond].sum() / lasts.sum()):.0f} % of the time the engine works"
    yield (
        f"{where} outside its fuel map ({speeds[0]} to {speeds[1]}, {torques[0]} to {torques[1]}): its fuel there is "
        "extrapolated."
    )


def _stalled_sections(answered: Answered, system: UnitSystem) -> str:
    """Return that the rotor works on stalled sections, and how far the heat may then be off."""
    blade = answered.scenario.blade
    assert blade is not None  # only computed curves know of stalled sections
    unknown = {"blade.stalled_power_factor": blade.stalled_power_factor}
    if blade.stall_delay:
        unknown["blade.stall_delay_share"] = blade.stall_delay_share
    ends = answer(
        inputs_of(answered.scenario, {key: np.array([known.low, known.high]) for key, known in unknown.items()})
    ).turbine.heat_power_w
    share = number(answered.answer.turbine.stalled_torque_share)
    warned = answered.stall is not None and answered.stall.matters  # then a warning has said what helps
    remedy = "" if warned else " Another pitch or a lighter load takes it out of stall."
    low, high = (show(float(v), "power", system) for v in np.sort(ends))
    # A rotor that stands gives nothing with either end.
    heat = "" if low == high else f": the heat can be anything from {low} to {high}, the fuel accordingly"
    return f"{100 * share:.0f} % of the torque is from stalled sections, where polars mislead{heat}.{remedy}"


def _above(value: float, limit: Any) -> bool:
    return limit is not None and value > number(limit)
