"""The structural loads, and each of their parts, as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import IN_UNIT, Number, Numbers, ResultModel, said


class CornerData(ResultModel):
    """The conditions at which a load has its maximum."""

    pitch_deg: Number = said("blade pitch as the scenario's dial reads it", "deg")
    rotor_speed_rad_s: Number = said("rotor speed", "rad/s")
    air_speed_m_s: Number = said("air speed at the rotor", "m/s")


class LoadData(ResultModel):
    """One load in one case."""

    name: str = said("what is loaded, and in which case")
    value: Number = said("the load; null where it is not known", IN_UNIT)
    unit: str = said("SI unit of value and limit")
    limit: Number = said("what it is held against; null where there is no limit", IN_UNIT)
    margin: Number = said("limit over value (value over limit where the limit is a minimum): below 1 it is broken", "1")
    limit_from: str | None = said("where the limit comes from: a key, or in words")
    corner: CornerData | None = said("where the maximum of the worst case lies; null where it is not searched for")


class CaseData(ResultModel):
    """The conditions of one case."""

    air_speed_m_s: Number = said("air speed at the rotor", "m/s")
    rotor_speed_rad_s: Number = said("rotor speed; null where it is not known", "rad/s")
    thrust_n: Number = said("force along the rotor's axis", "N")
    thrust_from: str = said("how the thrust was found")


class TravelData(ResultModel):
    """The pitch linkage through its travel: one number a pitch, moments of one blade."""

    positive: Literal["towards feather"] = said("direction in which moments and forces count as positive")
    pitch_deg: Numbers = said("pitches of the travel", "deg")
    aerodynamic_n_m: Numbers = said("moment of the air", "N m")
    centrifugal_n_m: Numbers = said("moment of the blade's mass", "N m")
    friction_n_m: Numbers = said("moment of friction, either way", "N m")
    actuator_n: Numbers = said("force on the actuator, without friction", "N")
    friction_n: Numbers = said("force of friction at the actuator, either way", "N")
    changes_sign_at_deg: Numbers = said("pitches where the force changes sign", "deg")
    loose_blade_settles_at_deg: Numbers = said("pitches at which a loose blade would settle", "deg")


class RungData(ResultModel):
    """One step of the spin-up in the shop."""

    rotor_speed_rpm: Number = said("rotor speed", "rpm")
    tip_speed_m_s: Number = said("speed of the blade tips", "m/s")
    centrifugal_n: Number = said("pull of each blade", "N")
    share_of_limit: Number = said("that pull over the pull at the last step", "1")
    imbalance_n: Number = said("force of the imbalance", "N")
    root_margin: Number = said("rated pull of the blade root over the pull; null where no rating is given", "1")


class LoadsData(ResultModel):
    """What mount, bearing, blades and linkage must carry."""

    safe: bool | None = said("false where a load is over its limit: do not operate; null else: no structural sign-off")
    may_be_operated: Literal["no", "not checked"] = said("whether the machine may be operated like this")
    over_limit: list[str] = said("loads over their limit, the most exceeded first")
    loads: list[LoadData] = said("every load in each case")
    cases: dict[str, CaseData] = said("conditions of the operating point and of the worst case")
    linkage: dict[str, TravelData] = said("the pitch linkage through its travel, by case; empty without a linkage")
    ladder: list[RungData] = said("steps of the spin-up in the shop; empty where it cannot be computed")
    left_out: list[str] = said("what is left out, and the keys that would add it")
    notes: list[str] = said("what was assumed in the worst case")
    cautions: list[str] = said("what could hurt someone or break")


class SpinStepData(ResultModel):
    """What one step of the spin-up takes and holds."""

    rotor_speed_rpm: Number = said("rotor speed", "rpm")
    motor_torque_n_m: Number = said("torque of the driving motor at the rotor shaft, twice the drag", "N m")
    motor_w: Number = said("power of the driving motor, twice the drag", "W")
    energy_j: Number = said("energy that all blades hold", "J")
    thrown_m_s: Number = said("speed of a blade that leaves", "m/s")
    thrown_j: Number = said("energy of a blade that leaves", "J")
    actuator_n: Number = said("maximum force on the pitch actuator in still air; null without a linkage", "N")
    bearing_n: Number = said("radial load on the bearing with the imbalance", "N")
    amplification: Number = said("movement of the mount over a stiff one's; null without a natural frequency", "1")
    near_critical: bool = said("whether the speed is within a fifth of a critical one: do not stay")


class SpinLogData(ResultModel):
    """A log of the spin-up against the plan."""

    top_rpm: Number = said("maximum rotor speed", "rpm")
    largest_mm_s: Number = said("largest vibration, root mean square", "mm/s")
    largest_at_rpm: Number = said("rotor speed of the largest vibration", "rpm")
    stop_from_rpm: Number = said("lowest rotor speed with vibration over the stop limit; null where none was", "rpm")
    peak_rpm: Number = said("rotor speed of a peak below the top; null where there is none", "rpm")
    imbalance_g_mm: Number = said("imbalance that would shake like it; null without a natural frequency", "g mm")
    above_ladder: bool = said("whether it went above the last step: do not operate")


class LadderData(ResultModel):
    """The spin-up ladder."""

    ladder: list[RungData] = said("steps of the spin-up: stop and inspect at each")
    steps: list[SpinStepData] = said("what each step takes and holds")
    natural_frequency_hz: Number = said("first natural frequency of the mount; null where not stated", "Hz")
    critical_rpm: dict[str, Number] = said("rotor speeds that shake it, by how often a turn", "rpm")
    stop_rules: list[str] = said("when to stop at once")
    log: SpinLogData | None = said("the log that was read back; null without one")
    safe: bool | None = said("false where the log went over a limit: do not operate; null else")
    cautions: list[str] = said("what could hurt someone or break")


class DiodeData(ResultModel):
    """What a rectifier's diodes must stand."""

    reverse_v: Number = said("reverse voltage to ask for", "V")
    mean_a: Number = said("mean forward current to ask for", "A")


class DumpLoadData(ResultModel):
    """The dump load that keeps the rotor loaded when the element is switched off."""

    resistance_ohm: Number = said("resistance", "ohm")
    working_w: Number = said("power at the operating point", "W")
    worst_w: Number = said("power in the worst case", "W")


class BrakingData(ResultModel):
    """Braking by a short circuit of the generator: one number a rotor speed."""

    rotor_speed_rad_s: Numbers = said("rotor speeds", "rad/s")
    brake_n_m: Numbers = said("braking torque at the rotor", "N m")
    rotor_n_m: Numbers = said("torque of the rotor in the air of the operating point", "N m")
    worst_rotor_n_m: Numbers = said("torque of the rotor in the air of the worst case", "N m")
    current_a: Numbers = said("current of the short circuit", "A")
    winding_w: Numbers = said("heat in the winding", "W")
    fails_from_rad_s: Number = said("rotor speed from which the brake fails; null where it holds", "rad/s")
    fails_in_worst_air_from_rad_s: Number = said("the same in the air of the worst case", "rad/s")
    creeps_at_rad_s: Number = said(
        "rotor speed at which a shorted rotor keeps turning; null where it speeds up", "rad/s"
    )
    creeps_in_worst_air_at_rad_s: Number = said("the same in the air of the worst case", "rad/s")


class ElectricalSideData(ResultModel):
    """Fuse, switch, diodes, dump load and short-circuit brake."""

    connection: Literal["rectifier", "three_phase", "direct_current"] = said("how generator and element are connected")
    dangerous_voltage: bool = said("whether a touch can be dangerous at the highest rotor speed")
    rotor_speed_rad_s: Number = said("the highest rotor speed, without load", "rad/s")
    open_circuit_rms_v: Number = said("open-circuit voltage at that speed, root mean square", "V")
    open_circuit_peak_v: Number = said("open-circuit voltage at that speed, peak", "V")
    working_a: Number = said("current at the operating point", "A")
    highest_a: Number = said("highest current into the element", "A")
    short_circuit_a: Number = said("current of a short circuit", "A")
    fuse_a: Number = said("rating of the fuse to ask for", "A")
    fuse_opens_on_short_circuit: bool = said("whether a short circuit would open that fuse")
    diode: DiodeData | None = said("what the diodes must stand; null without a rectifier")
    dump_load: DumpLoadData = said("the dump load")
    braking: BrakingData = said("braking by a short circuit")
    order: list[str] = said("the order in which to switch")
    cautions: list[str] = said("what could hurt someone or break")


class PitchRowData(ResultModel):
    """The maximum over the travel at one rotor speed; moments of one blade, positive towards feather."""

    rotor_speed_rad_s: Number = said("rotor speed", "rad/s")
    air_speed_m_s: Number = said("air speed at the rotor", "m/s")
    force_n: Number = said("force at the actuator, friction added", "N")
    pitch_deg: Number = said("pitch at which it lies", "deg")
    centrifugal_n_m: Number = said("moment of the blade's mass there", "N m")
    aerodynamic_n_m: Number = said("moment of the air there", "N m")
    friction_n_m: Number = said("moment of friction there, either way", "N m")


class PitchSystemData(ResultModel):
    """The pitch system: its force by rotor speed, and what to ask for."""

    rows: list[PitchRowData] = said("one entry a rotor speed, at the stated values")
    asked_n: Number = said("force to ask for, every range at its unfavourable end", "N")
    rating_n: Number = said("rating of the actuator; null where none is given", "N")
    stalls_from_rad_s: Number = said("rotor speed from which the actuator stalls; null where it does not", "rad/s")
    drives_towards: Literal["fine", "feather"] = said("where the blades drive without their actuator")
    arm_needed_m: Number = said("arm that brings the force below the rating; null without a rating", "m")
    counterweight_kg: Number = said("counterweight a blade that cancels the centrifugal part", "kg")
    counterweight_arm_m: Number = said("its distance from the pitch axis", "m")
    rod_travel_m: Number = said("travel of the rod", "m")
    back_drive_n: Number = said("force that pushes on an actuator that holds", "N")
    self_locking: bool = said("whether the actuator locks itself")
    cautions: list[str] = said("what could hurt someone or break")


class KindOfBearingData(ResultModel):
    """One kind of bearing with the ratings of the scenario's."""

    kind: str = said("kind of bearing")
    yours: bool = said("whether it is the scenario's")
    life_h: Number = said("life at the operating point, thrust alone", "h")
    life_with_moment_h: Number = said("life with the gyroscopic moment of bumps all the time", "h")
    static_safety: Number = said("static rating over the worst equivalent load", "1")
    axial_share: Number = said("axial load over what the kind takes; null without such a rule", "1")
    suited: str = said("whether it suits, in a few words")


class BearingsData(ResultModel):
    """Life and safety of each kind of bearing (ISO 281, ISO 76)."""

    thrust_n: Number = said("thrust at the operating point", "N")
    radial_n: Number = said("radial load at the operating point", "N")
    worst_thrust_n: Number = said("thrust in the worst case", "N")
    worst_radial_n: Number = said("radial load in the worst case", "N")
    kinds: list[KindOfBearingData] = said("one entry a kind")
    cautions: list[str] = said("what could hurt someone or break")


class RootStressData(ResultModel):
    """The blade root in one case."""

    pull_n: Number = said("centrifugal pull", "N")
    bending_n_m: Number = said("bending moment", "N m")
    stress_pa: Number = said("stress of pull and bending", "Pa")
    safety: Number = said("strength over stress; null where no strength is given", "1")
    rotor_speed_rad_s: Number = said("rotor speed", "rad/s")


class BladeRootData(ResultModel):
    """Stress, safety and first flapwise frequency of the blade root."""

    section: str = said("the section that was computed")
    operating: RootStressData = said("at the operating point")
    worst: RootStressData = said("in the worst case")
    strength_pa: Number = said("strength of the root; null where it is not given", "Pa")
    safety_wanted: Number = said("safety that is wanted", "1")
    standing_frequency_hz: Number = said("first flapwise frequency of the standing blade; null if unknown", "Hz")
    working_frequency_hz: Number = said("the same at the rotor speed of the operating point", "Hz")
    meets_per_turn_rad_s: dict[str, Number] = said(
        "rotor speeds at which that frequency meets 1, 2, 3 ... per turn", "rad/s"
    )
    cautions: list[str] = said("what could hurt someone or break")
