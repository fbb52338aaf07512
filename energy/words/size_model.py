"""The table of rotor diameters as data."""

from __future__ import annotations

from energy.words.result_model import Number, ResultModel, said
from energy.words.rotor_choice_model import RotorsData


class DiameterData(ResultModel):
    """One diameter, loaded as far as the heat needs."""

    diameter_m: Number = said("rotor diameter", "m")
    heat_power_w: Number = said("heat into the load", "W")
    enough: bool = said("whether that is the heat that is wanted")
    thrust_n: Number = said("force along the rotor's axis", "N")
    drag_power_w: Number = said("power at the wheels that the rotor's drag takes", "W")
    fuel_change_l_per_h: Number = said("added fuel", "L/h")
    rotor_speed_rpm: Number = said("rotor speed", "rpm")
    generator_speed_rpm: dict[str, Number] = said("generator speed by drive ratio", "rpm")


class GradeData(ResultModel):
    """Rotors of one quality."""

    power_coefficient: Number = said("maximum power coefficient of such a rotor", "1")
    share_of_betz_limit: Number = said("that coefficient over the Betz limit of 16/27", "1")
    needed_diameter_m: Number = said("diameter that the heat needs", "m")
    rows: list[DiameterData] = said("one entry a diameter")


class SizeData(ResultModel):
    """How big a rotor for the heat that is wanted, by momentum theory."""

    wanted_heat_w: Number = said("heat that is wanted", "W")
    tip_speed_m_s: Number = said("speed of the blade tips", "m/s")
    grades: dict[str, GradeData] = said("rotors by quality: the ideal one, a realistic hand-made one, a poor, a good")
    notes: list[str] = said("what was assumed")
    rotors: RotorsData = said("rotors of textbook blades next to each other")
