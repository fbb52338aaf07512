"""A rotor's curves as data."""

from __future__ import annotations

from energy.words.result_model import Number, Numbers, NumberTable, ResultModel, said


class BestPointData(ResultModel):
    """The best of all curves."""

    pitch_deg: Number = said("pitch of that curve, positive towards feather", "deg")
    tip_speed_ratio: Number = said("tip speed over air speed", "1")
    power_coefficient: Number = said("shaft power over the power of the air through the disc", "1")


class RotorAtData(ResultModel):
    """What the rotor does in air of one speed."""

    air_speed_m_s: Number = said("air speed at the rotor", "m/s")
    rotor_speed_rad_s: Number = said("rotor speed", "rad/s")
    tip_speed_ratio: Number = said("tip speed over air speed", "1")
    pitch_deg: Number = said("pitch of the curve, positive towards feather", "deg")
    air_density_kg_m3: Number = said("density of the air", "kg/m^3")
    power_coefficient: Number = said("shaft power over the power of the air through the disc", "1")
    thrust_coefficient: Number = said("thrust over dynamic pressure times disc area", "1")
    shaft_power_w: Number = said("power at the rotor shaft", "W")
    thrust_n: Number = said("force along the rotor's axis", "N")
    stalled_torque_share: Number = said("share of the torque that comes from stalled sections; null if unknown", "1")
    stall_delay: bool = said("whether the curves have stall delay")


class CurvesData(ResultModel):
    """The curves: a row a pitch, a column a tip-speed ratio."""

    best: BestPointData = said("the best of all curves")
    condition: RotorAtData | None = said("what was asked with --air; null without it")
    tip_speed_ratio: Numbers = said("tip-speed ratios of the columns", "1")
    pitch_deg: Numbers = said("pitches of the rows, positive towards feather", "deg")
    power_coefficient: NumberTable = said("power coefficient by pitch and tip-speed ratio", "1")
    thrust_coefficient: NumberTable = said("thrust coefficient by pitch and tip-speed ratio", "1")
    thrust_is_estimated: bool = said("whether thrust was estimated from power")
    stalled_torque_share: NumberTable | None = said(
        "share of the torque that comes from stalled sections, by pitch and tip-speed ratio; null if unknown", "1"
    )
    notes: list[str] = said("what was assumed")
    written: list[str] = said("files that were written")
