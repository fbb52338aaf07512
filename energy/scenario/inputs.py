"""From a checked scenario to the numbers that the physics takes: floats, or arrays where draws are given.

One value and ten thousand draws go the same way: `draws` maps a key ("trip.road_speed") to an array that takes the
place of the scenario's value; all arrays must broadcast.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from energy.aero.air import (
    AirAtVehicle,
    density_kg_m3,
    rotor_air_speed_m_s,
    shear_speed_factor,
    standard_atmosphere,
    turbulence_factors,
    wind_triangle,
)
from energy.aero.curves import RotorCurves
from energy.electrical import ElectricalChain, hot_resistance_ohm
from energy.scenario.defaults import FUEL_DEFAULTS
from energy.scenario.element import element_rating_w
from energy.scenario.files import MeasuredPower
from energy.scenario.keys import NO_SOURCE, spec_of
from energy.scenario.keys.names import ListKey, QuantityKey
from energy.scenario.read import Scenario
from vehicle.arrays import Values
from vehicle.driving.engine import Battery, Engine, TorqueCurve
from vehicle.driving.fuels import FUELS, Fuel
from vehicle.driving.road_load import RoadLoad, from_coastdown, from_drag_area
from vehicle.quantity import Uncertain

COPPER_PER_K = 0.00393
"""Rise of copper's resistance per kelvin, of that at 20 degC: IEC 60028."""
RATING_DENSITY_KG_M3 = 1.157
"""Density of the air in which engines are rated: 99 kPa dry, 25 degC (SAE J1349, June 1990, as transcribed)."""


@dataclass(frozen=True)
class Assumption:
    """A value that an answer used and the user did not give: key, SI value and range, unit, and where it comes from."""

    key: str
    value: float | str
    low: float | None
    high: float | None
    unit: str
    source: str


@dataclass(frozen=True)
class UnmeasuredThrust:
    """What is assumed of the thrust of a rotor known by its watts: a thrust coefficient, or blades that turn.

    `thrust_coefficient` is None where rotor speeds were measured: solidity and mean lift coefficient then give it.
    """

    thrust_coefficient: Values | None
    solidity: Values
    lift_coefficient: Values


@dataclass(frozen=True)
class Turbine:
    """The turbine of an answer in numbers; see the scenario's keys for meanings. SI; pitch in degrees."""

    diameter_m: Values
    pitch_deg: Values  # of the curves: from the rotor plane, positive towards feather
    power_factor: Values
    thrust_factor: Values
    departures: tuple[Values, ...]  # of the curves' slopes
    curves: RotorCurves | None
    measured: MeasuredPower | None
    unmeasured_thrust: UnmeasuredThrust | None
    chain: ElectricalChain | None
    chain_efficiency: Values
    load_connected_after_spin_up: bool
    mass_kg: Values
    mount_drag_area_m2: Values
    stowed: str
    stopped_drag_area_m2: Values
    feathered_drag_area_m2: Values
    local_speed_factor: Values
    mount_speed_factor: Values
    interaction_factor: Values
    turns_into_wind: bool
    highest_rotor_speed_rad_s: Values | None
    highest_tip_speed_m_s: Values
    highest_thrust_n: Values | None
    highest_current_a: Values | None
    rated_power_w: Values | None


@dataclass(frozen=True)
class AlternatorPath:
    """The alternator path: whether the turbine is credited with it, and its efficiency from engine shaft to element."""

    replaces_alternator: bool
    path_efficiency: Values


@dataclass(frozen=True)
class OtherEfficiencies:
    """Efficiencies of other ways to the same heat."""

    burner_efficiency: Values
    mains_charge_efficiency: Values
    battery_energy_per_mass_j_kg: Values


@dataclass(frozen=True)
class Inputs:
    """All that the ledger needs, as floats or arrays of one broadcast shape."""

    density_kg_m3: Values
    temperature_k: Values
    road_speed_m_s: Values
    grade: Values
    acceleration_m_s2: Values
    air: AirAtVehicle
    rotor_air_speed_m_s: np.ndarray  # working air speed at the disc, with yaw and local speed
    free_air_speed_m_s: np.ndarray  # the same without the local speed factor
    turbine: Turbine
    road_load: RoadLoad
    engine: Engine | Battery
    fuel: Fuel | None
    compared_with: str
    credit: AlternatorPath
    other_sources: OtherEfficiencies
    longest_idle_s: Values  # on a trip; 0 for a steady drive
    assumptions: tuple[Assumption, ...]
    used: tuple[QuantityKey, ...]


class KeyReader:
    """Reads keys of a scenario (or their draws) and remembers which were read, and which were left to defaults."""

    def __init__(self, scenario: Scenario, draws: Mapping[str, np.ndarray]) -> None:
        self.scenario, self.draws = scenario, draws
        self.used: dict[QuantityKey, None] = {}  # in the sequence of their first reading
        self.assumptions: dict[str, Assumption] = {}

    def __call__(self, key: QuantityKey) -> float | np.ndarray:
        """Return a key's value in SI; the scenario or a default must give it."""
        value = self.maybe(key)
        assert value is not None, f"{key} has no value"
        return value

    def maybe(self, key: QuantityKey) -> float | np.ndarray | None:
        """Return a key's value in SI, None where neither scenario nor default gives it."""
        value = self.uncertain(key)
        if value is None and key not in self.draws:
            return None
        self.used[key] = None
        nominal = value.value if value is not None else None
        return self.draws.get(key, nominal)

    def uncertain(self, key: QuantityKey) -> Uncertain | None:
        """Return a key's value with its range, and note it where it is assumed."""
        table_name, name = key.split(".")
        table = self.scenario.table(table_name)
        value = getattr(table, name, None)
        assert value is None or isinstance(value, Uncertain)
        spec = spec_of(key)
        if value is None and key in FUEL_DEFAULTS and self.scenario.engine is not None:
            value, source = FUEL_DEFAULTS[key][self.scenario.engine.fuel]
            self._assume(key, value, spec.unit, source)
        elif value is not None and table is not None and name not in table.model_fields_set:
            self._assume(key, value, spec.unit, self.scenario.reasons.get(key, spec.source))
        return value

    def all_of(self, key: ListKey) -> np.ndarray:
        """Return the values of a list key (no draws)."""
        table_name, name = key.split(".")
        entries = getattr(self.scenario.table(table_name), name)
        return np.array([entry.value for entry in entries])

    def say(self, key: str, value: str, source: str) -> None:
        """Note an assumption that is no number."""
        self.assumptions[key] = Assumption(key, value, None, None, "", source)

    def note(self, key: QuantityKey, value: float, source: str) -> None:
        """Note a value (SI) that stands for one that is not given."""
        self._assume(key, Uncertain(value, value, value), spec_of(key).unit, source)

    def _assume(self, key: str, value: Uncertain, unit: str, source: str) -> None:
        ranged = value.shape != "exact"
        self.assumptions[key] = Assumption(
            key, value.value, value.low if ranged else None, value.high if ranged else None, unit, source
        )


def values_of(
    scenario: Scenario, keys: Sequence[QuantityKey], draws: Mapping[str, Values] | None = None
) -> tuple[dict[str, Values], tuple[Assumption, ...]]:
    """Return the values (SI) of some of a scenario's keys, those that have one, and which of them were assumed."""
    read = KeyReader(scenario, {key: np.asarray(value, float) for key, value in (draws or {}).items()})
    values = {key: read.maybe(key) for key in keys}
    return {key: value for key, value in values.items() if value is not None}, tuple(read.assumptions.values())


def ranges_of(scenario: Scenario, keys: Sequence[QuantityKey] | None = None) -> dict[str, Uncertain]:
    """Return the inputs that are not known exactly, stated or default, by key (SI): of `keys`, or those an
    answer uses.
    """
    read = KeyReader(scenario, {})
    ranges = {key: read.uncertain(key) for key in (inputs_of(scenario).used if keys is None else keys)}
    return {key: value for key, value in ranges.items() if value is not None and value.standard_deviation > 0}


def correlations_of(scenario: Scenario) -> tuple[tuple[str, str, float], ...]:
    """Return the scenario's pairs of inputs that err together, each with its correlation coefficient."""
    return tuple((pair.first, pair.second, pair.coefficient.value) for pair in scenario.uncertainty.correlated)


def reader(scenario: Scenario, draws: Mapping[str, Values] | None = None) -> KeyReader:
    """Return a reader of single keys, which remembers what was assumed: for questions beside the ledger."""
    return KeyReader(scenario, {key: np.asarray(value, float) for key, value in (draws or {}).items()})


def inputs_of(scenario: Scenario, draws: Mapping[str, Values] | None = None) -> Inputs:
    """Return the numbers of a scenario; `draws` (key -> array in SI) takes the place of single values."""
    read = reader(scenario, draws)
    temperature, density = _air(read)
    road_speed = _road_speed(read)
    idle: Values = 0.0
    if scenario.schedule is not None:
        idle = read("trip.longest_idle")
        if scenario.wind_climate is not None:
            read("wind_climate.mean_speed")
            read("wind_climate.shape")
    air = wind_triangle(road_speed, _wind_speed(read), read("air.wind_from"))
    turns = scenario.rotor.turns_into_wind
    exponent = 0.0 if turns else read("rotor.yaw_exponent")
    local = read("rotor.local_speed_factor")
    turbine = _turbine(read, local)
    engine, fuel = _engine(read, density)
    credit = _credit(read)
    other = OtherEfficiencies(
        read("other_sources.burner_efficiency"),
        read("other_sources.mains_charge_efficiency"),
        read("other_sources.battery_energy_per_mass"),
    )
    return Inputs(
        density_kg_m3=density,
        temperature_k=temperature,
        road_speed_m_s=road_speed,
        grade=read("trip.grade"),
        acceleration_m_s2=read("trip.acceleration"),
        air=air,
        rotor_air_speed_m_s=rotor_air_speed_m_s(air, exponent, local, turns_into_wind=turns),
        free_air_speed_m_s=rotor_air_speed_m_s(air, exponent, 1.0, turns_into_wind=turns),
        turbine=turbine,
        road_load=_road_load(read),
        engine=engine,
        fuel=fuel,
        compared_with=scenario.trip.compared_with,
        credit=credit,
        other_sources=other,
        longest_idle_s=idle,
        assumptions=tuple(read.assumptions.values()),
        used=tuple(read.used),
    )


def _air(read: KeyReader) -> tuple[Values, np.ndarray]:
    temperature, humidity = read("air.temperature"), read("air.relative_humidity")
    pressure = read.maybe("air.pressure")
    if pressure is None:
        pressure = standard_atmosphere(read("air.altitude"))[1]
    return temperature, density_kg_m3(temperature, pressure, humidity)


def _road_speed(read: KeyReader) -> Values:
    speed = read.maybe("trip.road_speed")
    if speed is None:  # steady questions about a scenario that has a schedule
        assert read.scenario.schedule is not None
        speed = read.scenario.schedule.mean_moving_speed_m_s
        read.note("trip.road_speed", speed, "mean speed of the schedule while it moves")
    return speed


def _wind_speed(read: KeyReader) -> Values:
    """Return the wind at hub height: as given, or brought down from the height where it was measured."""
    wind, height, hub = read("air.wind_speed"), read.maybe("air.wind_measured_at"), read.maybe("rotor.hub_height")
    if height is None or hub is None:
        return wind
    factor = shear_speed_factor(hub, np.asarray(read("rotor.diameter")) / 2, height, read("air.shear_exponent"))
    return wind * factor


def _turbine(read: KeyReader, local: Values) -> Turbine:
    scenario = read.scenario
    diameter = read("rotor.diameter")
    pitch: Values | None = read.maybe("rotor.pitch")
    if pitch is None:
        pitch = scenario.curves.pitch_deg[0] if scenario.curves is not None else 0.0
    else:
        pitch = scenario.pitch_convention.chord_angle_deg(np.asarray(pitch))
    for k, note in enumerate(scenario.curves.notes if scenario.curves is not None else (), 1):
        computed = scenario.curves is not None and scenario.curves.stalled_torque_share is not None
        read.say(
            f"rotor.{'blade' if computed else 'curves'} ({k})",
            note,
            "computed curves" if computed else "the curve file",
        )
    read.say(
        "rotor.local_speed_factor (rule)",
        "drag on the vehicle = force in the local air, times the factor where it is above 1",
        "energy: what a part takes from air that the body has sped up, the body's own drag supplies; no source",
    )
    # Watts measured over air speed hold the gusts of that day already.
    by_curves = scenario.measured is None
    gust_power, gust_thrust = turbulence_factors(read("air.turbulence") if by_curves else 0.0)
    solidity = read("rotor.solidity")
    blade_area = np.pi / 4 * np.asarray(diameter) ** 2 * solidity
    chain = _chain(read) if scenario.generator is not None and scenario.measured is None else None
    after_spin_up = scenario.generator is not None and scenario.generator.load_connected == "after_spin_up"
    return Turbine(
        diameter_m=diameter,
        pitch_deg=pitch,
        power_factor=read("rotor.power_factor") * gust_power if by_curves else 1.0,
        thrust_factor=read("rotor.thrust_factor") * gust_thrust,
        departures=_departures(read),
        curves=scenario.curves,
        measured=scenario.measured,
        unmeasured_thrust=_unmeasured_thrust(read, solidity),
        chain=chain,
        chain_efficiency=read("rotor.chain_efficiency") if scenario.measured is not None else 1.0,
        load_connected_after_spin_up=after_spin_up,
        mass_kg=read("rotor.turbine_mass"),
        mount_drag_area_m2=read("rotor.mount_drag_area"),
        stowed=scenario.rotor.stowed,
        stopped_drag_area_m2=blade_area * read("rotor.stowed_drag_coefficient"),
        feathered_drag_area_m2=blade_area * read("rotor.feathered_drag_coefficient"),
        local_speed_factor=local,
        mount_speed_factor=read("rotor.mount_speed_factor"),
        interaction_factor=read("rotor.interaction_factor"),
        turns_into_wind=scenario.rotor.turns_into_wind,
        highest_rotor_speed_rad_s=read.maybe("rotor.highest_rotor_speed"),
        highest_tip_speed_m_s=read("rotor.highest_tip_speed"),
        highest_thrust_n=read.maybe("rotor.highest_thrust"),
        highest_current_a=read.maybe("generator.highest_current") if chain is not None else None,
        rated_power_w=element_rating_w(scenario),
    )


def _departures(read: KeyReader) -> tuple[Values, ...]:
    """Return how far the inputs that bend the curves lie from what the curves hold for."""
    curves = read.scenario.curves
    slopes = () if curves is None else curves.slopes
    return tuple(np.asarray(read(cast(QuantityKey, slope.key))) - slope.stated for slope in slopes)


def _unmeasured_thrust(read: KeyReader, solidity: Values) -> UnmeasuredThrust | None:
    """Return what is assumed of the thrust where watts were measured and thrust was not."""
    scenario, measured = read.scenario, read.scenario.measured
    if measured is None or measured.thrust_n is not None:
        return None
    if measured.rotor_speed_rad_s is None or "thrust_coefficient" in scenario.rotor.model_fields_set:
        return UnmeasuredThrust(read("rotor.thrust_coefficient"), solidity, 0.0)
    return UnmeasuredThrust(None, solidity, read("rotor.mean_lift_coefficient"))


def _chain(read: KeyReader) -> ElectricalChain:
    generator = read.scenario.generator
    assert generator is not None
    element = hot_resistance_ohm(
        read("heater.resistance"), read("heater.temperature_coefficient"), read("heater.element_temperature")
    )
    rectified = generator.connection == "rectifier"
    inductance = read("generator.winding_inductance")
    matters = np.any(np.asarray(inductance) > 0)
    return ElectricalChain(
        connection=generator.connection,
        ratio=read("drive.ratio"),
        belt_efficiency=read("drive.efficiency"),
        voltage_constant_v_s=read("generator.voltage_constant"),
        winding_resistance_ohm=hot_resistance_ohm(
            read("generator.winding_resistance"), COPPER_PER_K, read("generator.winding_temperature")
        ),
        winding_inductance_h=inductance,
        pole_pairs=read("generator.pole_pairs") if matters else 1.0,
        friction_torque_n_m=read("generator.friction_torque"),
        cogging_torque_n_m=read("generator.cogging_torque"),
        iron_loss_w=read("generator.iron_loss"),
        eddy_share=read("generator.eddy_share"),
        rectifier_drop_v=read("generator.rectifier_drop") if rectified else 0.0,
        lead_resistance_ohm=read("heater.lead_resistance"),
        element_resistance_ohm=element,
    )


def _road_load(read: KeyReader) -> RoadLoad:
    mass, rolling = read("vehicle.mass"), read("vehicle.rolling_resistance")
    area = read.maybe("vehicle.drag_area")
    if area is not None:
        load = from_drag_area(mass, area, rolling)
    else:
        b = read.maybe("vehicle.coastdown_b")
        load = from_coastdown(
            mass,
            read("vehicle.coastdown_a"),
            0.0 if b is None else b,
            read("vehicle.coastdown_c"),
            read("vehicle.coastdown_air_density"),
            rolling,
        )
    if read.scenario.schedule is not None or np.any(np.asarray(read("trip.acceleration")) != 0):
        load = replace(load, rotating_mass_factor=read("vehicle.rotating_mass_factor"))
    return load


def _engine(read: KeyReader, density: Values) -> tuple[Engine | Battery, Fuel | None]:
    table = read.scenario.engine
    if table is None:
        return Battery(
            read("battery.drive_efficiency"),
            read("battery.regeneration_efficiency"),
            read("battery.regeneration_limit"),
            read("battery.auxiliary_power"),
            read("battery.charging_efficiency"),
        ), None
    fuel = FUELS[table.fuel]
    read.say(
        f"fuel {fuel.name}",
        f"{fuel.heating_value_j_per_m3 / 3.6e9:.2f} kWh and {fuel.co2_kg_per_m3 / 1e3:.2f} kg CO2 per litre",
        fuel.sources,
    )
    curve = read.scenario.torque_curve
    if curve is None:
        peak = float(np.mean(read("engine.peak_torque")))
        curve = TorqueCurve(np.array([0.0]), np.array([peak]))
        read.say("engine.torque_curve", "peak torque at every engine speed", f"no curve given; {NO_SOURCE}")
    by_map = read.scenario.fuel_map is not None
    displacement = read("engine.displacement")
    return Engine(
        fuel=fuel,
        displacement_m3=displacement,
        indicated_efficiency=1.0 if by_map else read("engine.indicated_efficiency"),
        friction_mean_pressure_pa=0.0 if by_map else read("engine.friction_mean_pressure"),
        idle_speed_rad_s=read("engine.idle_speed"),
        torque_curve=curve,
        travel_per_radian_m=_travel_per_radian(read),
        drivetrain_efficiency=read("engine.drivetrain_efficiency"),
        lowest_driving_speed_rad_s=read("engine.lowest_driving_speed"),
        highest_speed_rad_s=read("engine.highest_speed"),
        overrun_cut_off=table.overrun_cut_off,
        runs_when_parked=table.runs_when_parked,
        accessory_power_w=read("engine.accessory_power"),
        fuel_map=read.scenario.fuel_map,
        drivetrain_spin_force_n=_drivetrain_spin_force(read),
        torque_factor=(np.asarray(density) / RATING_DENSITY_KG_M3) ** read("engine.torque_follows_air_density"),
        full_load_enrichment=read("engine.full_load_enrichment"),
        converter_slip=read("engine.converter_slip"),
        converter_locks_above_m_s=read("engine.converter_locks_above"),
    ), fuel


def _drivetrain_spin_force(read: KeyReader) -> Values:
    """Return the spin loss of gearbox and axle in N: none where coast-down coefficients hold it, unless it is given.

    A coast-down in neutral turns axle and gearbox: its A and B hold what these take without torque (SAE J1263 form).
    """
    engine, vehicle = read.scenario.engine, read.scenario.vehicle
    assert engine is not None
    if vehicle.drag_area is None and "drivetrain_spin_force" not in engine.model_fields_set:
        read.note("engine.drivetrain_spin_force", 0.0, "the coast-down coefficients hold the spin loss")
        return 0.0
    return read("engine.drivetrain_spin_force")


def _travel_per_radian(read: KeyReader) -> np.ndarray:
    """Return metres of road per radian of the engine in each gear, lowest gear first."""
    engine = read.scenario.engine
    assert engine is not None
    if engine.speed_per_1000_rpm is not None:
        return read.all_of("engine.speed_per_1000_rpm") / (1000 * 2 * np.pi / 60)
    final, radius = read("engine.final_drive_ratio"), read("engine.tyre_radius")
    return float(np.mean(radius)) / (read.all_of("engine.gear_ratios") * float(np.mean(final)))


def _credit(read: KeyReader) -> AlternatorPath:
    path = read("credit.inverter_efficiency")
    if read.scenario.engine is not None:
        path = np.asarray(path) * read("credit.alternator_efficiency") * read("credit.alternator_belt_efficiency")
    return AlternatorPath(read.scenario.credit.replaces_alternator, path)
