"""Rotors next to each other and their blades, as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import Number, ResultModel, said


class StationData(ResultModel):
    """One station of a blade."""

    radius_m: Number = said("radius", "m")
    chord_m: Number = said("chord", "m")
    angle_deg: Number = said("angle to the rotor plane, positive towards feather", "deg")
    narrowed: bool = said("whether the chord is narrower than the formula's, so that blades pass each other")


class BuildData(ResultModel):
    """What carries a blade."""

    material: Literal["plate", "wood"] = said("bent aluminium sheet, or carved wood")
    thickness_m: Number = said("thickness of the sheet, or of the wood at the widest chord", "m")
    blade_mass_kg: Number = said("mass of a blade", "kg")
    root_stress_pa: Number = said("stress at the root: bending in a gust and pull", "Pa")
    buildable: bool = said("whether it can be built like that")
    against: str = said("why it cannot; empty if it can")
    no_plate: str = said("why bent sheet will not do; empty if it will")


class BladeData(ResultModel):
    """A textbook blade."""

    source: str = said("formula and its source")
    number_of_blades: int = said("blades of the rotor", "1")
    tip_speed_ratio: Number = said("tip speed over air speed that it is drawn for", "1")
    stations: list[StationData] = said("stations from root to tip")
    build: BuildData = said("what carries it")


class CandidateRotorData(ResultModel):
    """One rotor, turned towards feather until it brings just the heat."""

    diameter_m: Number = said("rotor diameter", "m")
    number_of_blades: int = said("blades", "1")
    tip_speed_ratio: Number = said("tip speed over air speed", "1")
    heat_power_w: Number = said("heat into the load", "W")
    thrust_n: Number = said("force along the rotor's axis", "N")
    drag_power_w: Number = said("power at the wheels that the rotor's drag takes", "W")
    fuel_change_l_per_h: Number = said("added fuel", "L/h")
    rotor_speed_rpm: Number = said("rotor speed", "rpm")
    tip_speed_m_s: Number = said("speed of the blade tips", "m/s")
    root_pull_n: Number = said("centrifugal pull of one blade", "N")
    starting_air_m_s: Number = said("air speed at the rotor from which it starts; null for never", "m/s")
    against: list[str] = said("why it is no choice; empty if it is one")
    blade: BladeData = said("its blade")


class RotorsData(ResultModel):
    """Rotors next to each other."""

    chosen: int | None = said("place of the one to choose among the rotors; null where none will do", "1")
    rotors: list[CandidateRotorData] = said("every diameter, number of blades and tip-speed ratio")
