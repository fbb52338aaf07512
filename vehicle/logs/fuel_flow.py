"""Fuel flow, engine power and tractive power from a tidy log.

Best source first: the fuel rate that the car reports; measured air flow over the stoichiometric ratio and lambda, with
trims; manifold pressure, intake temperature and engine speed with a volumetric efficiency (speed-density). The result
says which was used, on what assumptions, and for how much of the time.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vehicle.constants import DRY_AIR_GAS_CONSTANT_J_KG_K, GRAVITY_M_S2
from vehicle.driving.fuels import FUELS, Fuel
from vehicle.problems import InputError, Problem, nearest

if TYPE_CHECKING:
    from vehicle.logs.log import Log

DEFAULT_VOLUMETRIC_EFFICIENCY = 0.75
VOLUMETRIC_EFFICIENCY_WORDS = (
    "volumetric efficiency 0.75 assumed for every speed and load (0.55 at idle to 0.95 at full load is plausible, so "
    "litres are good to about ±25 % and a difference in percent to about a fifth of itself): common practice "
    "for engines "
    "without a compressor, no source; calibrate it to a fill-up with --receipt"
)
LITRES_PER_HOUR = 1e-3 / 3600  # m3/s

SOURCES = ("fuel rate", "fuel mass flow", "air flow", "speed-density")


@dataclass(frozen=True)
class LoggedEngine:
    """What has to be known of the engine: swept volume in m3 (None where unknown), fuel, volumetric efficiency."""

    displacement_m3: float | None = None
    fuel: Fuel = FUELS["petrol"]
    volumetric_efficiency: float | None = None


@dataclass(frozen=True)
class FuelFlow:
    """Fuel flow row by row.

    `flow_m3_s` has one value per row of the log (NaN where it cannot be known), `cut_off` marks rows in which the
    engine was taken to be driven by the car with the fuel shut off, `source` is one of `SOURCES` or "none", `words`
    says what was assumed, `why_not` why better sources (or all) could not be used, `known_s` and `litres` sum over
    the rows known.
    """

    flow_m3_s: np.ndarray
    cut_off: np.ndarray
    source: str
    words: tuple[str, ...]
    why_not: tuple[str, ...]
    litres: float | None
    known_s: float
    logged_s: float

    @property
    def mean_l_per_h(self) -> float | None:
        """Return the mean over the time for which the flow is known."""
        return self.litres / self.known_s * 3600 if self.litres is not None and self.known_s > 0 else None

    def as_dict(self) -> dict[str, Any]:
        """Return source, litres and mean as data, for `--json`."""
        return {
            "source": self.source,
            "litres": self.litres,
            "mean_l_per_h": self.mean_l_per_h,
            "known_share": self.known_s / self.logged_s if self.logged_s else 0.0,
            "overrun_share": float(np.mean(self.cut_off)) if self.cut_off.size else 0.0,
            "assumptions": list(self.words),
            "not_used_because": list(self.why_not),
        }


def fuel_named(name: str, where: str = "--fuel") -> Fuel:
    """Return the fuel of that name; InputError naming the known ones."""
    fuel = FUELS.get(name.strip().lower())
    if fuel is None:
        near = nearest(name, FUELS)
        raise InputError(Problem(where, "", name, ", ".join(FUELS) + (f" (do you mean {near}?)" if near else "")))
    return fuel


def fuel_flow(log: Log, engine: LoggedEngine, *, source: str | None = None) -> FuelFlow:
    """Return the fuel flow of every row from the best source that the log allows (or from `source` if given).

    Air flow: fuel = air / (stoichiometric ratio × lambda) × (1 + short-term trim + long-term trim), the trims being the
    engine's own correction of its air measurement. Speed-density: air = efficiency × p V n / (2 R T) of a four-stroke
    engine; trims are not applied, because they correct the engine's model of its filling, not this one. Where lambda is
    not reported, 1 is taken (closed loop), so that enrichment at full load is missed.
    """
    table = log.table
    rows = len(table)
    step = table["step_s"].to_numpy()
    get = {name: table[name].to_numpy() for name in table.columns}
    cut = overrun(log)
    why: list[str] = []
    flow: np.ndarray | None = None
    used = "none"
    words: list[str] = []
    for candidate in SOURCES:
        if source is not None and candidate != source:
            continue
        reason = _why_not(candidate, get, engine)
        if reason:
            why.append(f"{candidate}: {reason}")
            continue
        flow, said = _flow_from(candidate, get, engine)
        used = candidate
        words += said
        break
    if flow is None:
        nothing = np.full(rows, np.nan)
        return FuelFlow(nothing, cut, "none", (), tuple(why), None, 0.0, float(step.sum()))
    if used in ("air flow", "speed-density"):
        if cut.any():
            flow = np.where(cut, 0.0, flow)
            words.append(f"fuel taken as shut off in overrun for {float((step * cut).sum()):.0f} s")
        if "engine_speed_rad_s" in get:
            flow = np.where(get["engine_speed_rad_s"] == 0, 0.0, flow)
    good = np.isfinite(flow)
    known = float(step[good].sum())
    litres = float((flow[good] * step[good]).sum() * 1e3) if known > 0 else None
    return FuelFlow(flow, cut, used, tuple(words), tuple(why), litres, known, float(step.sum()))


def has_source(log: Log, engine: LoggedEngine, source: str) -> bool:
    """Return whether `fuel_flow` can take the fuel of this log from `source`."""
    return not _why_not(source, log.table, engine)


def _why_not(source: str, get: Container[str], engine: LoggedEngine) -> str:
    if source == "fuel rate":
        return "" if "fuel_rate_m3_s" in get else "not in the log"
    if source == "fuel mass flow":
        return "" if "fuel_mass_flow_kg_s" in get else "not in the log"
    if engine.fuel.name == "diesel" and "commanded_equivalence_ratio" not in get:
        return "a diesel runs lean, and lambda is not in the log"
    if source == "air flow":
        return "" if "air_flow_kg_s" in get else "not in the log"
    missing = [
        words
        for name, words in (
            ("manifold_pressure_pa", "manifold pressure"),
            ("intake_temperature_k", "intake air temperature"),
            ("engine_speed_rad_s", "engine speed"),
        )
        if name not in get
    ]
    if missing:
        return f"no {' and no '.join(missing)} in the log"
    if engine.displacement_m3 is None:
        return 'the engine\'s displacement is not known: say --displacement "1.6 L", or displacement in the manifest'
    return ""


def _flow_from(source: str, get: dict[str, np.ndarray], engine: LoggedEngine) -> tuple[np.ndarray, list[str]]:
    if source == "fuel rate":
        return get["fuel_rate_m3_s"].copy(), ["as the log has it"]
    if source == "fuel mass flow":
        return get["fuel_mass_flow_kg_s"] / engine.fuel.density_kg_m3, [
            f"as the car reports it in mass, {engine.fuel.name} of {engine.fuel.density_kg_m3:g} kg/m3"
        ]
    lambda_, words = _lambda(get)
    if source == "air flow":
        trims, said = _trims(get)
        words.append(said)
        return fuel_from_air(get["air_flow_kg_s"], engine.fuel, lambda_, trims), words
    efficiency = engine.volumetric_efficiency
    if efficiency is None:
        efficiency = DEFAULT_VOLUMETRIC_EFFICIENCY
        words.append(VOLUMETRIC_EFFICIENCY_WORDS)
    else:
        words.append(f"volumetric efficiency {efficiency:.3g} as given")
    assert engine.displacement_m3 is not None
    air = speed_density_air(
        get["manifold_pressure_pa"],
        get["intake_temperature_k"],
        get["engine_speed_rad_s"],
        engine.displacement_m3,
        efficiency,
    )
    words.append(
        f"{engine.fuel.name}: {engine.fuel.stoichiometric_air_fuel_ratio:g} kg of air per kg, "
        f"{engine.fuel.density_kg_m3:g} kg/m3"
    )
    return fuel_from_air(air, engine.fuel, lambda_), words


def _lambda(get: dict[str, np.ndarray]) -> tuple[np.ndarray | float, list[str]]:
    if "commanded_equivalence_ratio" not in get:
        return 1.0, ["lambda not reported: 1 taken (closed loop), so enrichment at full load is missed"]
    reported = get["commanded_equivalence_ratio"]
    empty = np.isnan(reported)
    return np.where(empty, 1.0, reported), ["lambda as commanded" + (" (1 where missing)" if empty.any() else "")]


def _trims(get: dict[str, np.ndarray]) -> tuple[np.ndarray | float, str]:
    banks = []
    for bank in (1, 2):
        parts = [
            np.nan_to_num(get[name]) for name in (f"short_term_trim_{bank}", f"long_term_trim_{bank}") if name in get
        ]
        if parts:
            banks.append(sum(parts))
    if not banks:
        return 0.0, "no trims in the log"
    return sum(banks) / len(banks), f"trims of {len(banks)} bank{'s' if len(banks) > 1 else ''} applied"


def fuel_from_air(
    air_kg_s: np.ndarray, fuel: Fuel, lambda_: np.ndarray | float = 1.0, trims: np.ndarray | float = 0.0
) -> np.ndarray:
    """Return fuel flow in m3/s that burns `air_kg_s` at `lambda_` with the engine's `trims` (shares, 0.02 = +2 %)."""
    return air_kg_s / (fuel.stoichiometric_air_fuel_ratio * lambda_) * (1.0 + trims) / fuel.density_kg_m3


def speed_density_air(
    pressure_pa: np.ndarray,
    temperature_k: np.ndarray,
    engine_speed_rad_s: np.ndarray,
    displacement_m3: float,
    volumetric_efficiency: float | np.ndarray,
) -> np.ndarray:
    """Return the air flow in kg/s of a four-stroke engine: one swept volume of manifold air every two revolutions."""
    strokes_per_s = engine_speed_rad_s / (4 * np.pi)
    density = pressure_pa / (DRY_AIR_GAS_CONSTANT_J_KG_K * temperature_k)
    return volumetric_efficiency * density * displacement_m3 * strokes_per_s


def overrun(log: Log) -> np.ndarray:
    """Return the rows in which the car drives the engine and the fuel is shut off.

    Taken so (common practice, no source) where the car moves faster than 3 m/s, pedal or throttle is at rest, the
    engine turns at least 1.4 times as fast as at idle and above 1100 rpm, and manifold pressure (or load, or air flow
    for the engine speed) is below its idle value, and well below it in a log without pedal and throttle. Without any
    of these signs no row is marked.
    """
    table = log.table
    none = np.zeros(len(table), dtype=bool)
    if "engine_speed_rad_s" not in table or "speed_m_s" not in table:
        return none
    turning, speed = table["engine_speed_rad_s"].to_numpy(), table["speed_m_s"].to_numpy()
    rpm = 2 * np.pi / 60
    with np.errstate(invalid="ignore"):
        idling = (speed < 0.3) & (turning > 400 * rpm)
        idle_speed = float(np.median(turning[idling])) if idling.sum() >= 10 else 800 * rpm
        fast = (speed > 3.0) & (turning > max(1100 * rpm, 1.4 * min(idle_speed, 1000 * rpm)))
    if not fast.any():
        return none
    rest = _at_rest(table)
    low = none
    signs = 0
    with np.errstate(invalid="ignore"):
        if "manifold_pressure_pa" in table:
            pressure = table["manifold_pressure_pa"].to_numpy()
            idle = _median(pressure[idling], 28e3)
            low, signs = pressure < (0.8 * min(idle, 40e3) if rest is None else 0.92 * min(idle, 50e3)), 1
        elif "calculated_load" in table:
            load = table["calculated_load"].to_numpy()
            idle = _median(load[idling], 0.22)
            low, signs = load < (0.85 if rest is not None else 0.75) * min(idle, 0.3), 1
        elif "air_flow_kg_s" in table:
            per_turn = table["air_flow_kg_s"].to_numpy() / np.maximum(turning, 1e-9)
            idle = _median(per_turn[idling], np.nan)
            low, signs = per_turn < 0.75 * idle, int(np.isfinite(idle))
    if not signs:
        return none
    return fast & low & rest if rest is not None else fast & low


def _median(values: np.ndarray, otherwise: float) -> float:
    """Return the median of the finite values, or `otherwise` where there are fewer than ten."""
    good = values[np.isfinite(values)]
    return float(np.median(good)) if good.size >= 10 else otherwise


def _at_rest(table: Any) -> np.ndarray | None:
    for name in ("pedal", "relative_throttle", "throttle"):
        if name in table:
            opening = table[name].to_numpy()
            if np.isfinite(opening).sum() < 10:
                continue
            rest = float(np.nanquantile(opening, 0.02))
            margin = 0.015 if name != "throttle" else 0.03
            with np.errstate(invalid="ignore"):
                return opening <= rest + margin
    return None


def litres_and_metres(log: Log, flow: FuelFlow) -> tuple[float, float]:
    """Return the litres burnt and the metres driven over the rows for which both fuel and speed are known.

    What of one is known without the other says nothing of fuel for a distance. (0, 0) for a log without speed.
    """
    if "speed_m_s" not in log.table:
        return 0.0, 0.0
    speed, step_s = log.table["speed_m_s"].to_numpy(), log.table["step_s"].to_numpy()
    both = np.isfinite(flow.flow_m3_s) & np.isfinite(speed)
    return float((flow.flow_m3_s * step_s)[both].sum() * 1e3), float((speed * step_s)[both].sum())


def calibrated_efficiency(logs: Sequence[Log], engine: LoggedEngine, litres: float, distance_m: float) -> float:
    """Return the volumetric efficiency with which these logs burn what the pump says: `litres` over `distance_m`.

    Litres per kilometre of the logs (driving as on the tank that was filled) are matched to those of the receipt.
    Raises InputError where the logs do not use speed-density, hold under 1 km, or the answer is no volumetric
    efficiency.
    """
    burnt = driven = 0.0
    trial = LoggedEngine(engine.displacement_m3, engine.fuel, 1.0)
    for log in logs:
        flow = fuel_flow(log, trial)
        if flow.source != "speed-density" or flow.litres is None:
            raise InputError(
                Problem(
                    log.name,
                    "receipt",
                    f"fuel comes from {flow.source}",
                    "a log whose fuel comes from manifold pressure (speed-density)",
                )
            )
        litres_known, metres_known = litres_and_metres(log, flow)
        burnt, driven = burnt + litres_known, driven + metres_known
    if driven < 1000 or burnt <= 0:
        raise InputError(Problem("--receipt", "", f"the logs hold {driven / 1000:.2f} km", "at least 1 km of driving"))
    efficiency = litres / distance_m * driven / burnt
    if not 0.4 <= efficiency <= 1.3:
        raise InputError(
            Problem(
                "--receipt",
                "",
                f"it would take a volumetric efficiency of {efficiency:.2f}",
                "0.4-1.3: check litres, kilometres and displacement, and that the logs are driving like the tank's",
            )
        )
    return efficiency


def brake_power_w(
    log: Log, full_load_torque: tuple[np.ndarray, np.ndarray] | None = None
) -> tuple[np.ndarray, str] | None:
    """Return engine power in W row by row and where it comes from, or None where the log has no source for it.

    From torque: share × reference torque × engine speed, less the friction share where that is reported. From load:
    calculated load × torque at full load (`full_load_torque`: engine speeds in rad/s, rising, and N·m) × engine speed.
    """
    table = log.table
    if "engine_speed_rad_s" not in table:
        return None
    turning = table["engine_speed_rad_s"].to_numpy()
    if "actual_torque" in table and "reference_torque_n_m" in table:
        share = table["actual_torque"].to_numpy()
        words = "actual torque"
        if "friction_torque" in table:
            share = share - table["friction_torque"].to_numpy()
            words = "actual torque less friction torque"
        return share * table["reference_torque_n_m"].to_numpy() * turning, words
    if full_load_torque is not None and "calculated_load" in table:
        speeds, torque = full_load_torque
        available = np.interp(turning, speeds, torque)
        return table["calculated_load"].to_numpy() * available * turning, "calculated load and the torque curve"
    return None


def acceleration_m_s2(log: Log, over_s: float = 2.0) -> np.ndarray:
    """Return the acceleration of every row, from speeds `over_s` before and after (OBD speed comes in whole km/h)."""
    time_s, speed = log.table["time_s"].to_numpy(), log.table["speed_m_s"].to_numpy()
    good = np.isfinite(speed)
    if good.sum() < 2:
        return np.full(speed.size, np.nan)
    before, after = np.maximum(time_s - over_s, time_s[0]), np.minimum(time_s + over_s, time_s[-1])
    change = np.interp(after, time_s[good], speed[good]) - np.interp(before, time_s[good], speed[good])
    out = change / np.maximum(after - before, 1e-9)
    return np.where(good, out, np.nan)


def tractive_power_w(
    speed_m_s: np.ndarray,
    acceleration: np.ndarray,
    grade: np.ndarray | float,
    mass_kg: float,
    road_load: tuple[float, float, float],
    rotating_mass: float = 0.04,
) -> np.ndarray:
    """Return the power at the wheels in W: (A + B v + C v² + m g sin + (1 + rotating) m a) v, negative in braking.

    `grade` is rise over run, `rotating_mass` the share that wheels and shafts add (4 %, common practice, no source).
    """
    a, b, c = road_load
    slope = np.sin(np.arctan(grade))
    force = a + b * speed_m_s + c * speed_m_s**2 + mass_kg * GRAVITY_M_S2 * slope
    return (force + (1 + rotating_mass) * mass_kg * acceleration) * speed_m_s
