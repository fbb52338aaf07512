"""Ten causes of few watts, each as something that may be wrong with the chain that answers.

A draw holds what is uncertain anyway (the scenario's ranges, and a little for what it states exactly) and the faults of
one or two causes. Every draw goes through the same aerodynamics, operating point and electrical chain as the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from energy.aero.operating_point import Rotor, coefficients_of, solve
from energy.diagnosis.shortfall_readings import Readings
from energy.electrical import ElectricalChain, electrical_state
from energy.scenario.files import MeasuredPower
from energy.scenario.inputs import Inputs, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.draws import values_at
from vehicle.problems import InputError, Problem

CAUSES = ("pitch", "local_air", "blades", "stall", "generator", "element", "belt", "wiring", "wind", "meter")
# Scores whose posterior is narrow, first in every draw: two faults, air and power of the scenario, wind along, across.
MAIN = 6
_LEFT_OUT = (
    "rotor.mount_drag_area",
    "rotor.stowed_drag_coefficient",
    "rotor.feathered_drag_coefficient",
    "rotor.solidity",
    "rotor.interaction_factor",
    "rotor.power_factor",
    "rotor.local_speed_factor",
)
# What a scenario states exactly is still not exact: standard deviations, common practice, no source.
_LOOSE = {"local": 0.03, "power": 0.03, "voltage": 0.02, "element": 0.02, "winding": 0.05, "pitch_deg": 0.5}
_WIND_M_S = 1.0  # of the day's wind along and across, where it was not measured
CHANNELS = (
    "electrical_power_w",
    "rotor_speed_rad_s",
    "voltage_v",
    "current_a",
    "thrust_n",
    "air_speed_m_s",
    "free_air_speed_m_s",
)


@dataclass(frozen=True)
class Faults:
    """What is wrong, draw by draw (N,): factors are 1, shares and offsets 0 where nothing is."""

    local: np.ndarray  # factor on the air speed at the rotor
    pitch_deg: np.ndarray  # true chord angle minus what dial or scenario say
    pitch_slip_deg: np.ndarray  # the same under the load of the fastest reading, growing with its square
    pitch_drift_deg: np.ndarray  # from the first reading to the last
    power: np.ndarray  # factor on the power coefficient
    stalled: np.ndarray  # 1: on its slow steady speed
    voltage: np.ndarray  # factor on the voltage constant
    winding: np.ndarray  # factor on the winding resistance
    element: np.ndarray  # factor on the element's resistance
    slip: np.ndarray  # share of the speed that the belt loses
    lead: np.ndarray  # extra resistance of leads and contacts, of the element's
    tail_wind_m_s: np.ndarray
    meter_power: np.ndarray
    meter_voltage: np.ndarray
    meter_current: np.ndarray


FIELDS = {
    "pitch": ("pitch_deg", "pitch_slip_deg", "pitch_drift_deg"),
    "local_air": ("local",),
    "blades": ("power",),
    "stall": ("stalled",),
    "generator": ("voltage", "winding"),
    "element": ("element",),
    "belt": ("slip",),
    "wiring": ("lead",),
    "wind": ("tail_wind_m_s",),
    "meter": ("meter_power", "meter_voltage", "meter_current"),
}
_NEUTRAL = {f.name: 1.0 for f in fields(Faults)} | dict.fromkeys(
    ("pitch_deg", "pitch_slip_deg", "pitch_drift_deg", "stalled", "slip", "lead", "tail_wind_m_s"), 0.0
)


def neutral(count: int) -> Faults:
    """Return draws with nothing wrong."""
    return Faults(**{name: np.full(count, value) for name, value in _NEUTRAL.items()})


def without(faults: Faults, cause: str) -> Faults:
    """Return draws with one cause put right."""
    return replace(faults, **{name: np.full_like(faults.local, _NEUTRAL[name]) for name in FIELDS[cause]})


@dataclass(frozen=True)
class Variant:
    """One way in which a cause shows: the fault's field and its range, logarithmic where `by_ratio`; share of the
    cause's prior probability."""

    cause: str
    field: str
    low: float
    high: float
    share: float
    by_ratio: bool = True
    also: tuple[str, ...] = ()  # other fields that take the same value

    def value(self, share: np.ndarray) -> np.ndarray:
        """Return the fault at shares (0 to 1) of its range."""
        if self.low == self.high:
            return np.full(np.shape(share), self.low)
        if self.by_ratio:
            return np.asarray(self.low * (self.high / self.low) ** share)
        return np.asarray(self.low + (self.high - self.low) * share)


@dataclass(frozen=True)
class Hypothesis:
    """None, one or two variants at work, with their prior probability."""

    variants: tuple[Variant, ...]
    prior: float

    @property
    def causes(self) -> tuple[str, ...]:
        """The causes at work."""
        return tuple(v.cause for v in self.variants)


# Ranges of faults and their shares: common practice, no source.
_VARIANTS = (
    Variant("pitch", "pitch_deg", 2.5, 18.0, 0.4, by_ratio=False),
    Variant("pitch", "pitch_deg", -18.0, -2.5, 0.4, by_ratio=False),
    Variant("pitch", "pitch_slip_deg", -15.0, 15.0, 0.1, by_ratio=False),
    Variant("pitch", "pitch_drift_deg", -12.0, 12.0, 0.1, by_ratio=False),
    Variant("local_air", "local", 0.35, 0.88, 1.0),
    Variant("blades", "power", 0.2, 0.8, 1.0),
    Variant("stall", "stalled", 1.0, 1.0, 1.0),
    Variant("generator", "voltage", 0.4, 0.88, 0.5),
    Variant("generator", "winding", 2.0, 20.0, 0.25),
    Variant("generator", "voltage", 1.15, 2.0, 0.05),
    Variant("element", "element", 1.25, 10.0, 0.7),
    Variant("element", "element", 0.15, 0.8, 0.3),
    Variant("element", "element", 10.0, 1e4, 0.05),  # burnt through: nearly no current
    Variant("belt", "slip", 0.08, 0.75, 1.0, by_ratio=False),
    Variant("wiring", "lead", 0.08, 3.0, 1.0),
    Variant("wiring", "lead", 3.0, 1e4, 0.05),  # a plug, switch or fuse that is open
    Variant("wind", "tail_wind_m_s", 2.5, 11.0, 1.0, by_ratio=False),
    Variant("meter", "meter_power", 0.25, 0.88, 0.7),
    Variant("meter", "meter_power", 0.4, 0.88, 0.15, also=("meter_current",)),
    Variant("meter", "meter_power", 0.4, 0.88, 0.15, also=("meter_voltage",)),
)
_NONE, _ONE, _TWO = 0.10, 0.78, 0.12  # prior probabilities: nothing wrong, one cause, two


def lost_phase(connection: str) -> Variant | None:
    """Return a lost phase as a factor on the voltage constant.

    Two of three phases feed a bridge as a single phase: mean 2·√2/π instead of 3·√2/π of the rms voltage
    (power-electronics texts); of three elements in star two are left in series across one voltage: half the watts.
    """
    factor = {"rectifier": 2 / 3, "three_phase": 1 / np.sqrt(2)}.get(connection)
    return None if factor is None else Variant("generator", "voltage", factor, factor, 0.2)


def hypotheses(scenario: Scenario, readings: Readings) -> tuple[Hypothesis, ...]:
    """Return what may be wrong with a scenario's machine: nothing, each cause, each two causes."""
    curves, chain = scenario.curves, inputs_of(scenario).turbine.chain
    if scenario.measured is None and (curves is None or chain is None):
        raise InputError(
            Problem(scenario.name, "rotor.curves", "no curves and generator to expect watts from", "both of them")
        )
    phase = None if chain is None else lost_phase(chain.connection)
    variants = [*_VARIANTS, *([] if phase is None else [phase])]
    out = set()
    if curves is not None and len(curves.pitch_deg) < 2:
        out.add("pitch")
    if chain is not None and _without_belt(chain):
        out.add("belt")
    if not (np.nan_to_num(readings.road_speed_m_s) > 0).any():
        out.add("wind")
    variants = [v for v in variants if v.cause not in out]
    timed = readings.known("time_s") and np.ptp(readings.time_s[np.isfinite(readings.time_s)]) > 0
    variants = [v for v in variants if v.field != "pitch_drift_deg" or timed]
    causes = sorted({v.cause for v in variants}, key=CAUSES.index)
    total = {c: sum(v.share for v in variants if v.cause == c) for c in causes}
    combined = [Hypothesis((), _NONE)]
    combined += [Hypothesis((v,), _ONE / len(causes) * v.share / total[v.cause]) for v in variants]
    usual = ("pitch", "generator", "element")  # whose second variant is no rarer than another cause's first
    first = {c: [v for v in variants if v.cause == c][: 2 if c in usual else 1] for c in causes}
    pairs = [(a, b) for i, a in enumerate(causes) for b in causes[i + 1 :]]
    for a, b in pairs:
        both = [(v, w) for v in first[a] for w in first[b]]
        combined += [Hypothesis(each, _TWO / len(pairs) / len(both)) for each in both]
    return tuple(combined)


def _without_belt(chain: ElectricalChain) -> bool:
    return float(np.mean(np.asarray(chain.ratio))) == 1.0 and float(np.mean(np.asarray(chain.belt_efficiency))) >= 0.999


def faults_of(which: Sequence[Hypothesis], scores: np.ndarray) -> Faults:
    """Return the faults of draws (N, ...) of hypotheses (N,): the first two scores are how bad each is."""
    from scipy.special import ndtr

    values = {name: np.full(len(scores), value) for name, value in _NEUTRAL.items()}
    share = ndtr(scores[:, :2])
    distinct: dict[int, list[int]] = {}
    for k, each in enumerate(which):
        distinct.setdefault(id(each), []).append(k)
    for rows in distinct.values():
        for place, variant in enumerate(which[rows[0]].variants):
            for name in (variant.field, *variant.also):
                values[name][rows] = variant.value(share[rows, place])
    return Faults(**values)


def kept_share(faults: Faults) -> np.ndarray:
    """Return the share of the watts (N,) that faults leave where neither curves nor generator are known.

    Blades and belt in proportion, voltage by its square, an element away from its match 4 e / (1 + e)², leads and
    winding by what they take of the element's watts, pitch as a parabola, a stalled rotor a tenth: orders of magnitude,
    common practice, no source.
    """
    pitch = faults.pitch_deg + faults.pitch_slip_deg + 0.5 * faults.pitch_drift_deg
    share = faults.power * (1 - faults.slip) * faults.voltage**2 / (1 + faults.lead) / (1 + 0.1 * (faults.winding - 1))
    share = share * 4 * faults.element / (1 + faults.element) ** 2
    share = share * np.clip(1 - (pitch / 20.0) ** 2, 0.02, 1.0)
    return np.asarray(share * np.where(faults.stalled > 0.5, 0.1, 1.0))


@dataclass(frozen=True)
class Instruments:
    """What the instruments would show, (N, groups), and the real watts; `possible` is False where a draw has no slow
    steady speed to be stalled on."""

    shown: dict[str, np.ndarray]
    watts: np.ndarray
    possible: np.ndarray


class Machine:
    """A scenario's machine under readings: draws and faults in, what the instruments would show out."""

    def __init__(self, scenario: Scenario, readings: Readings) -> None:
        self.scenario, self.readings = scenario, readings
        ranges = ranges_of(scenario)
        kept = ("rotor.", "blade.", "generator.", "heater.", "drive.")
        self.minor = {key: v for key, v in ranges.items() if key.startswith(kept) and key not in _LEFT_OUT}
        self.main = {
            key: value
            for key in ("rotor.local_speed_factor", "rotor.power_factor")
            if (value := ranges.get(key)) is not None
        }
        self.columns = MAIN + len(_LOOSE) + len(self.minor)

    def predict(self, scores: np.ndarray, faults: Faults) -> Instruments:
        """Return what draws of standard normal scores (N, columns) show with faults (N,)."""
        loose = dict(zip(_LOOSE, scores[:, MAIN : MAIN + len(_LOOSE)].T, strict=True))
        loose = {name: _LOOSE[name] * score[:, None] for name, score in loose.items()}
        inputs = inputs_of(self.scenario, self._draws(scores, faults))
        turbine = inputs.turbine
        if turbine.measured is not None:
            return self._of_table(inputs, turbine.measured, faults, loose)
        assert turbine.chain is not None
        assert turbine.curves is not None
        air = inputs.rotor_air_speed_m_s * np.exp(loose["local"]) * faults.local[:, None]
        pitch = self._pitch(air, faults) + loose["pitch_deg"]
        chain = self._chain(turbine.chain, faults, loose)
        power = np.asarray(turbine.power_factor) * np.exp(loose["power"]) * faults.power[:, None]
        # Blades that give less power push less as well, but not in proportion: drag stays (common practice, no source).
        thrust = np.asarray(turbine.thrust_factor) * (0.4 + 0.6 * faults.power[:, None])
        rotor = Rotor(
            turbine.curves,
            np.asarray(turbine.diameter_m) / 2,
            pitch,
            np.asarray(inputs.density_kg_m3),
            np.maximum(air, 0.0),
            power,
            thrust,
            turbine.departures,
        )
        speed, possible = self._speed(rotor, chain, faults)
        return self._shown(rotor, chain, speed, possible, (inputs, faults))

    def _of_table(
        self, inputs: Inputs, table: MeasuredPower, faults: Faults, loose: dict[str, np.ndarray]
    ) -> Instruments:
        """Return what is shown where the rotor is known only by watts over air speed: no volts, no amperes."""
        air = np.maximum(inputs.rotor_air_speed_m_s * np.exp(loose["local"]) * faults.local[:, None], 0.0)
        speeds, along = table.air_speed_m_s, table.times_its_end(air)
        kept = kept_share(faults)[:, None] * np.exp(loose["power"])
        watts = np.interp(air, speeds, table.electrical_power_w) * along**3 * kept
        unknown = np.full(watts.shape, np.nan)

        def also(values: np.ndarray | None, power: float) -> np.ndarray:
            return unknown if values is None else np.interp(air, speeds, values) * along**power

        shown = dict.fromkeys(CHANNELS, unknown) | {
            "electrical_power_w": watts * faults.meter_power[:, None],
            "rotor_speed_rad_s": unknown,  # how it goes with a fault is not known
            "thrust_n": also(table.thrust_n, 2.0),
            "air_speed_m_s": np.broadcast_to(air, watts.shape),
            "free_air_speed_m_s": np.broadcast_to(inputs.free_air_speed_m_s, watts.shape),
        }
        return Instruments(shown, watts, np.ones(len(watts), dtype=bool))

    def _shown(
        self,
        rotor: Rotor,
        chain: ElectricalChain,
        speed: np.ndarray,
        possible: np.ndarray,
        of: tuple[Inputs, Faults],
    ) -> Instruments:
        inputs, faults = of
        state = electrical_state(chain, speed)
        air = np.asarray(rotor.air_speed_m_s)
        ratio = np.where(air > 0.1, speed * rotor.radius_m / np.maximum(air, 0.1), 0.0)
        thrust = coefficients_of(rotor, ratio)[1]
        thrust = thrust * 0.5 * rotor.density_kg_m3 * np.pi * np.asarray(rotor.radius_m) ** 2 * air**2
        line = np.sqrt(3.0) if chain.connection == "three_phase" else 1.0
        shape = np.shape(speed)
        shown = {
            "electrical_power_w": state.element_w * faults.meter_power[:, None],
            "rotor_speed_rad_s": speed,
            "voltage_v": state.element_voltage_v * line * faults.meter_voltage[:, None],
            "current_a": state.current_a * faults.meter_current[:, None],
            "thrust_n": thrust,
            "air_speed_m_s": np.broadcast_to(air, shape),
            "free_air_speed_m_s": np.broadcast_to(inputs.free_air_speed_m_s, shape),
        }
        return Instruments(shown, np.asarray(state.element_w), possible)

    def _draws(self, scores: np.ndarray, faults: Faults) -> dict[str, np.ndarray]:
        """Return the scenario's keys as (N, 1) or (N, groups)."""
        readings = self.readings
        draws = {k: v[:, None] for k, v in values_at(self.minor, scores[:, MAIN + len(_LOOSE) :]).items()}
        places = {"rotor.local_speed_factor": 2, "rotor.power_factor": 3}
        for key, value in self.main.items():
            draws[key] = values_at({key: value}, scores[:, [places[key]]])[key][:, None]
        road = np.nan_to_num(readings.road_speed_m_s)
        local, free = self.scenario.rotor.local_speed_factor.value, readings.free_air_speed_m_s
        blown = np.where(np.isfinite(free), free, readings.air_speed_m_s / local)
        heading = np.deg2rad(np.nan_to_num(readings.heading_deg))
        heading, wind = heading - heading[0], readings.wind_speed_m_s
        comes_from = self.scenario.air.wind_from.value - heading  # of the wind as stated, on the first heading
        stated = self.scenario.air.wind_speed.value * np.stack([np.cos(comes_from), np.sin(comes_from)])
        known, beside = np.where(np.isfinite(wind), [wind, 0 * wind], stated)
        known, beside = np.where(np.isfinite(readings.road_speed_m_s), [known, beside], [blown, 0 * blown])
        along = (_WIND_M_S * scores[:, 4] - faults.tail_wind_m_s)[:, None]
        across = (_WIND_M_S * scores[:, 5])[:, None]
        ahead = known + along * np.cos(heading) + across * np.sin(heading)
        aside = beside + across * np.cos(heading) - along * np.sin(heading)
        draws["trip.road_speed"] = np.broadcast_to(road, ahead.shape)
        draws["air.wind_speed"] = np.hypot(ahead, aside)
        draws["air.wind_from"] = np.arctan2(aside, ahead)
        return draws

    def _pitch(self, air: np.ndarray, faults: Faults) -> np.ndarray:
        """Return the chord angle (deg): dial or scenario, and what is wrong with it."""
        convention, own = self.scenario.pitch_convention, self.scenario.rotor.pitch
        curves = self.scenario.curves
        assert curves is not None
        first = float(curves.pitch_deg[0])
        stated = first if own is None else float(convention.chord_angle_deg(np.asarray(own.value)))
        dial = self.readings.dial_deg
        pitch = np.where(np.isfinite(dial), convention.chord_angle_deg(np.nan_to_num(dial)), stated)
        load = (air / max(float(np.max(air)), 1e-9)) ** 2
        time = self.readings.time_s
        share = np.zeros(len(time))
        if self.readings.known("time_s") and np.nanmax(time) > np.nanmin(time):
            share = np.nan_to_num((time - np.nanmin(time)) / (np.nanmax(time) - np.nanmin(time)))
        wrong = faults.pitch_deg[:, None] + faults.pitch_slip_deg[:, None] * load
        wrong = wrong + faults.pitch_drift_deg[:, None] * share
        return np.asarray(np.clip(pitch + wrong, curves.pitch_deg[0], curves.pitch_deg[-1]))

    def _chain(self, chain: ElectricalChain, faults: Faults, loose: dict[str, np.ndarray]) -> ElectricalChain:
        set_ohm, set_ratio = self.readings.resistance_ohm, self.readings.ratio
        stated = self.scenario.heater.resistance
        element = np.asarray(chain.element_resistance_ohm)
        if stated is not None:
            element = element * np.where(np.isfinite(set_ohm), set_ohm / stated.value, 1.0)
        hot = element * np.exp(loose["element"]) * faults.element[:, None]
        ratio = np.where(np.isfinite(set_ratio), set_ratio, np.asarray(chain.ratio))
        grip = 1 - faults.slip[:, None]
        return replace(
            chain,
            # A slipping belt passes on its torque and loses speed: ratio and efficiency fall alike.
            ratio=ratio * grip,
            belt_efficiency=np.asarray(chain.belt_efficiency) * grip,
            voltage_constant_v_s=chain.voltage_constant_v_s * np.exp(loose["voltage"]) * faults.voltage[:, None],
            winding_resistance_ohm=chain.winding_resistance_ohm * np.exp(loose["winding"]) * faults.winding[:, None],
            lead_resistance_ohm=chain.lead_resistance_ohm + faults.lead[:, None] * element,
            element_resistance_ohm=hot,
        )

    def _speed(self, rotor: Rotor, chain: ElectricalChain, faults: Faults) -> tuple[np.ndarray, np.ndarray]:
        """Return the rotor speed, and whether a draw that is to be stalled has a slow steady speed."""
        point = solve(rotor, chain, load_connected_after_spin_up=True)
        several = np.isfinite(point.stable_speeds_rad_s[..., 1])
        # From standstill a rotor stays on the first steady speed it meets, or does not turn at all.
        slow = np.where(point.starts, np.nan_to_num(point.stable_speeds_rad_s[..., 0]), 0.0)
        can = several | (~point.starts & (point.rotor_speed_rad_s > 0))
        generator = self.scenario.generator
        always = generator is not None and generator.load_connected != "after_spin_up"
        stalled = faults.stalled[:, None] > 0.5
        speed = np.where((stalled | always) & can, slow, point.rotor_speed_rad_s)
        return speed, ~(faults.stalled > 0.5) | can.any(axis=1)
