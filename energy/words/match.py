"""The best setting in words: what the command line and the app both say of it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.chain.answer import Answered
from energy.chain.limits import in_order, operating_limits
from energy.chain.matching import Flatness, Match, Setting
from energy.words.verdict import (
    DO_NOT_OPERATE,
    NO_HEAT_W,
    UNLOADED_SET,
    FirstLines,
    conditions_line,
    limit_sentence,
    litres_per_kwh,
    number,
)
from vehicle.units import UnitSystem, figures, label, show, to_user

if TYPE_CHECKING:
    from energy.scenario.read import Scenario
    from energy.words.match_model import SettingData
    from energy.words.result_model import EstimateData

ROWS_TITLE = "Settings (heat and fuel: median of the simulations; the rest: at the stated values)"
_FRAGILE = 0.9  # of the heat at the stated values: own rule, no source
SETTING_NAMES = {"rotor.pitch": "pitch", "drive.ratio": "drive ratio", "heater.resistance": "resistance"}


def map_title(best: Setting, system: UnitSystem) -> str:
    """Return where the map of settings has its maximum."""
    return (
        f"At a drive ratio of {figures(best.ratio, 3)} the heat is at its maximum at a pitch of "
        f"{pitch_words(best.pitch_deg)} and {show(best.resistance_ohm, 'resistance', system)}"
    )


def pitch_words(pitch_deg: float) -> str:
    """Return a pitch as a dial can be set: to a tenth of a degree."""
    return f"{round(pitch_deg, 1) + 0.0:.1f}°".replace("-", "−")


def own_limits(result: Match, system: UnitSystem) -> list[str]:
    """Return the limits that the scenario's own setting breaks, in sentences, the most exceeded first."""
    inputs, turbine = result.own.answer.inputs, result.own.at_its_most
    return [limit_sentence(one, system) for one in in_order(operating_limits(inputs, turbine))]


LOADS_FIRST = "Check the new setting before operating it: windtoll loads"


def first_lines(match: Match, system: UnitSystem) -> FirstLines:
    """Return the first lines: which limits the scenario's own setting breaks, the best setting, what the own gives."""
    best = match.best
    where = conditions_line(Answered(match.scenario, best.answer, math.nan, trip=best.trip), system)
    gives, own = (_heat_with_range(setting, system) for setting in (best, match.own))
    setting = (
        f"pitch {pitch_words(best.pitch_deg)}, drive ratio {figures(best.ratio, 3)}, element "
        f"{show(best.resistance_ohm, 'resistance', system)}"
    )
    broken = own_limits(match, system)
    if broken:
        limits = "a limit" if len(broken) == 1 else f"{len(broken)} limits"
        return FirstLines(
            dangers=(f"{DO_NOT_OPERATE} Today's setting breaks {limits}.", *broken),
            headline=f"The best within the limits: {gives}",
            lines=(
                where,
                f"Setting: {setting}",
                *_fragile_line(best, system),
                *_start_unloaded_line(match),
                LOADS_FIRST,
            ),
            operate="no",
        )
    return FirstLines(
        headline=f"{_maximum(best)} within the stated limits: {gives}",
        lines=(
            where,
            f"Setting: {setting}",
            f"Today's setting gives {own}{_beyond_its_curves(match.own)}",
            *_fragile_line(best, system),
            *_start_unloaded_line(match),
            LOADS_FIRST,
        ),
    )


def _maximum(best: Setting) -> str:
    """Return what the headline calls the maximum: no setting is worth building in air that gives no heat."""
    none = best.outcome.heat_w.estimate <= NO_HEAT_W
    return "Next to no heat in this air at any setting" if none else "Maximum heat"


def _beyond_its_curves(own: Setting) -> str:
    """Return, after its heat, that the scenario's own setting lets the rotor run past its curves; else nothing."""
    return "; extrapolated, as the rotor would run past its curves there" if bool(own.at_its_most.beyond_data) else ""


def _heat_with_range(setting: Setting, system: UnitSystem) -> str:
    """Return the heat of a setting as its answer gives it: "1.83 kW (90 % range 1.1 to 2.4 kW)"."""
    heat = setting.outcome.heat_w
    low, high = heat.ends
    inside = f" (90 % range {_heat(low, setting, system, digits=2)} to {_heat(high, setting, system, digits=2)})"
    over = "" if setting.trip is None else " over the trip"
    return f"{_heat(heat.estimate, setting, system)}{over}{inside if high > low else ''}"


def _heat(heat_w: float, setting: Setting, system: UnitSystem, *, digits: int = 3) -> str:
    """Return heat as the answer gives it: a power, or the energy over a trip."""
    return show(heat_w * setting.over_s, "power" if setting.trip is None else "energy", system, digits=digits)


def _fragile_line(best: Setting, system: UnitSystem) -> tuple[str, ...]:
    """Return that the best setting gives far less over the simulations than as stated: it lies next to a stall."""
    if not _is_fragile(best):
        return ()
    stated, heat = number(best.answer.turbine.heat_power_w), best.outcome.heat_w.estimate
    return (
        f"That setting is fragile: {_heat(stated, best, system)} at the stated values; in half of the simulations "
        f"less than {_heat(heat, best, system)}, as the rotor stalls or turns too fast for its curves there",
    )


def _is_fragile(best: Setting) -> bool:
    """Return whether the best setting gives far less over the simulations than as stated."""
    return best.outcome.heat_w.estimate <= _FRAGILE * number(best.answer.turbine.heat_power_w)


def _start_unloaded_line(match: Match) -> tuple[str, ...]:
    """Return that the search holds for a load that is always connected, where stall spoils its best."""
    generator = match.scenario.generator
    if generator is None or generator.load_connected == "after_spin_up" or not _is_fragile(match.best):
        return ()
    return (
        "With a switch or relay that connects the load only after the start other settings run, and can give more: "
        f"windtoll match --set {UNLOADED_SET}",
    )


def notes_of(result: Match) -> list[str]:
    """Return what a builder has to know before he trusts the best setting."""
    notes = []
    if result.binding:
        notes.append(f"Held back by the limit of {', '.join(result.binding)}.")
    notes += [
        f"The best {SETTING_NAMES[key]} lies at the edge of what was looked over: look further by changing the "
        f"scenario's own."
        for key in result.at_edge
    ]
    notes.append(
        "Drive ratio and resistance trade against each other: a setting that keeps resistance over ratio squared is "
        "nearly as good."
    )
    notes.append(
        "More heat is more drag. Look at what it costs and at the loads with this setting before cutting metal."
    )
    return notes


def rows_of(settings: tuple[Setting, ...], system: UnitSystem) -> list[tuple[str, list[str]]]:
    """Return what each setting gives, as (name, a text for each setting)."""
    turbines, over_trip = [s.at_its_most for s in settings], settings[0].trip is not None
    most = "highest " if over_trip else ""

    def texts(values: Any, kind: str) -> list[str]:
        return [show(float(np.asarray(v)), kind, system) for v in values]

    rows = [
        ("pitch", [pitch_words(s.pitch_deg) for s in settings]),
        ("drive ratio", [figures(s.ratio, 3) for s in settings]),
        ("element", texts([s.resistance_ohm for s in settings], "resistance")),
        ("heat", [_heat(s.outcome.heat_w.estimate, s, system) for s in settings]),
        (f"{most}rotor speed", texts([t.rotor_speed_rad_s for t in turbines], "rotor_speed")),
        *([] if over_trip else [("tip-speed ratio", [figures(float(t.tip_speed_ratio), 3) for t in turbines])]),
        (f"{most}thrust", texts([t.thrust_n for t in turbines], "force")),
        (f"{most}current", texts([t.electrical.current_a for t in turbines if t.electrical is not None], "current")),
    ]
    if settings[0].answer.inputs.fuel is not None:
        rows += [
            (
                "change in fuel",
                [
                    show(_fuel_m3_s(s) * s.over_s, "volume" if over_trip else "fuel_flow", system, signed=True)
                    for s in settings
                ],
            ),
            (
                f"fuel for the heat, {label('fuel_per_heat', system)}",
                [figures(to_user(_fuel_per_heat(s), "fuel_per_heat", system), 2) for s in settings],
            ),
        ]
    return rows


def _fuel_m3_s(setting: Setting) -> float:
    """Return the change in fuel of a setting as its answer gives it; NaN where no fuel is burnt."""
    fuel = setting.answer.inputs.fuel
    return math.nan if fuel is None else setting.outcome.change_w.estimate / fuel.heating_value_j_per_m3


def _fuel_per_heat(setting: Setting) -> float:
    """Return the extra fuel over the heat of a setting, m³/J, as the verdict gives its price; NaN without heat."""
    heat = setting.outcome.heat_w.estimate
    return _fuel_m3_s(setting) / heat if heat > 0 else math.nan


def flat_words(flatness: Flatness, system: UnitSystem) -> str:
    """Return the range of one setting within which heat stays within 5 % of the best."""

    def one(value: float) -> str:
        if flatness.key == "heater.resistance":
            return show(value, "resistance", system)
        return pitch_words(value) if flatness.key == "rotor.pitch" else figures(value, 3)

    ends = [" (a limit ends it)" if limit else "" for limit in (flatness.low_is_limit, flatness.high_is_limit)]
    return f"{one(flatness.low)}{ends[0]} to {one(flatness.high)}{ends[1]}"


def setting_data(setting: Setting) -> SettingData:
    """Return a setting as typed data."""
    from energy.words.match_model import SettingData
    from energy.words.result_model import estimate_data

    turbine, change, most = setting.answer.turbine, setting.answer.change, setting.at_its_most
    return SettingData(
        pitch_deg=setting.pitch_deg,
        ratio=setting.ratio,
        resistance_ohm=setting.resistance_ohm,
        heat_power_w=number(turbine.heat_power_w),
        heat_power_w_interval=estimate_data(setting.outcome.heat_w),
        rotor_speed_rpm=number(most.rotor_speed_rad_s) * 30 / math.pi,
        tip_speed_ratio=None if setting.trip is not None else number(turbine.tip_speed_ratio),
        thrust_n=number(most.thrust_n),
        current_a=None if most.electrical is None else number(most.electrical.current_a),
        fuel_change_l_per_h=number(change.volume_m3_s) * 3.6e6,
        fuel_change_l_per_h_interval=_fuel_data(setting),
        fuel_per_heat_l_per_kwh=litres_per_kwh(setting.answer),
    )


def _fuel_data(setting: Setting) -> EstimateData | None:
    """Return the change in fuel with its range, L/h; None where no fuel is burnt."""
    from energy.words.result_model import ends_data

    fuel, change = setting.answer.inputs.fuel, setting.outcome.change_w
    if fuel is None:
        return None
    low, high = change.ends
    return ends_data([w / fuel.heating_value_j_per_m3 * 3.6e6 for w in (low, change.estimate, high)], change.level)


def cautions_of(scenario: Scenario) -> list[str]:
    """Return what could hurt someone or break, after what is odd or unusual about the scenario's values."""
    from energy.words.cautions import BLADE, ESTIMATE, of_the_file

    return [*of_the_file(scenario), BLADE, ESTIMATE]


def as_data(result: Match, scenario: Scenario) -> dict[str, Any]:
    """Return the settings as data for `--json`."""
    from energy.words.match_model import FlatnessData, MatchData

    broken = own_limits(result, "metric")
    return MatchData(
        safe=False if broken else None,
        may_be_operated=first_lines(result, "metric").operate,
        broken_limits=broken,
        best=setting_data(result.best),
        lowest_fuel_per_heat=setting_data(result.thriftiest),
        own=setting_data(result.own),
        within_5_percent=[FlatnessData.model_validate(vars(one)) for one in result.flatness],
        binding_limits=list(result.binding),
        at_edge_of_search=list(result.at_edge),
        settings_tried=result.tried,
        cautions=cautions_of(scenario),
    ).model_dump()
