"""The verdict of an answer: danger first, then the headline, then one number a line, then what is least known.

Every output that gives an answer begins with these lines: the command line, the app, the report, JSON.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from energy.aero.momentum import BETZ_LIMIT
from energy.chain.ledger import Answer, TurbineAtWork
from energy.chain.limits import OperatingLimit, broken_limits, limits_of
from energy.chain.stall import LimitAtRisk, StallRisk
from energy.scenario.keys import spec_of
from energy.uncertainty.quantiles import ALMOST_CERTAIN
from vehicle.constants import IMPERIAL_GALLON_M3, MILE_M, US_GALLON_M3
from vehicle.quantity import Estimate
from vehicle.units import UnitSystem, figures, label, show, show_pair, to_user

if TYPE_CHECKING:
    from energy.aero.curves import RotorCurves
    from energy.chain.answer import Answered
    from energy.chain.matching import Setting
    from energy.chain.place import PlaceRisk
    from energy.chain.trip import TripAnswer
    from energy.chain.trip_stall import TripStallRisk
    from energy.scenario.inputs import Inputs
    from energy.scenario.read import Scenario
    from energy.uncertainty.measurement import Measurement

_ABOVE_BETZ = 1.02  # of rounding and dense air: own rule, no source
NO_HEAT_W = 0.5  # up to here heat is none: own rule, no source
LIKELY = 0.5  # of the simulations: the answer is their median, and beyond the limit from here on
_SURELY_STALLED = 0.95  # of the simulations: from here on one group is shown
Operate = Literal["no", "not checked"]
_LITRES_PER_KWH = 3.6e9  # m³/J -> L/kWh
DO_NOT_OPERATE = "Do not operate."
_UNLOADED_KEY = 'generator.load_connected = "after_spin_up"'
UNLOADED_SET = "generator.load_connected=after_spin_up"
_NEEDS_A_PUSH = (
    "Does not start by itself, even unloaded: its torque at standstill is too small for cogging and friction. The "
    "numbers hold only once faster air has started it. Never start it by hand."
)
MAY_IT = "May it be operated like this?"
UNCHECKED = f"{MAY_IT} Not checked yet"
NOT_CHECKED = f"{UNCHECKED}: run windtoll loads SCENARIO.toml"
ELSEWHERE = "In less wind: not checked yet (windtoll loads SCENARIO.toml)"
OVER_RATING = " Above its rating the element burns out or its cut-out opens: a load cut."
_CLEAN_AIR_M = 0.5  # over the roof or out from the side: common practice, no source
NOT_LIKE_THIS = f"{MAY_IT} No."
THEN_LOADS = "Once changed, run windtoll loads first"


def clean_air(system: UnitSystem) -> str:
    """Return where the clean air round a blunt vehicle is, and how its wake dies away."""
    away = show(_CLEAN_AIR_M, "length", system, digits=1)
    return (
        f"Clean air is at least {away} above the roof or {away} out from the side, for the whole disc; behind a blunt "
        "back the air circulates for one to two body heights (common practice, no source), and further back the lost "
        "speed dies away only as distance to the power −2/3 (Howell, SAE 2011-01-0178)"
    )


@dataclass(frozen=True, kw_only=True)
class FirstLines:
    """The first lines of an output, each whole in itself.

    `dangers` are the broken limits and what to change, the first beginning with "Do not operate."; empty where none is
    broken. `warnings` say what may happen (a rotor that stays stalled). `headline` is the answer, `lines` hold one
    number each, `least_known` says what would narrow the range most (empty where nothing would). `not_when` says in
    which wind a warning forbids it, where it is allowed neither there nor checked elsewhere: "in that wind".
    """

    dangers: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    headline: str
    lines: tuple[str, ...] = ()
    least_known: str = ""
    operate: Operate = "not checked"
    not_when: str = ""

    @property
    def may_be_operated(self) -> str:
        """The line that says whether the machine may be operated like this."""
        if self.operate == "no":
            return f"{NOT_LIKE_THIS} {THEN_LOADS}"
        return f"{MAY_IT} No, not {self.not_when}. {ELSEWHERE}" if self.not_when else NOT_CHECKED

    @property
    def loud(self) -> str:
        """What stands largest: the headline up to its bracket, or its first sentence."""
        end = self.headline.find(" (")
        first = self.headline.find(". ") + 1
        return self.headline[: min((place for place in (end, first) if place > 0), default=None)]

    @property
    def quiet(self) -> str:
        """The rest of the headline."""
        return self.headline[len(self.loud) :].strip()

    @property
    def sentence(self) -> str:
        """Danger, headline and numbers as one text."""
        return " ".join([*self.dangers, *self.warnings, _ended(self.headline), *(_ended(line) for line in self.lines)])

    @property
    def words(self) -> str:
        """The sentence, then what is least known."""
        return f"{self.sentence} {self.least_known}".rstrip()


@dataclass(frozen=True, kw_only=True)
class Verdict(FirstLines):
    """The verdict of an answer: `word` is the outcome in a word, `case` what the answer is compared with."""

    word: Literal["costs", "saves", "cannot tell", "no effect"]
    case: str


def shortened(verdict: Verdict) -> Verdict:
    """Return the first lines of a short answer: what is dangerous or stalled comes before what to measure."""
    return replace(verdict, least_known="") if verdict.dangers or verdict.warnings else verdict


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def number(value: Any) -> float:
    """Return a nominal (0-dimensional) result as a float."""
    return float(np.asarray(value))


def verdict(answered: Answered, system: UnitSystem) -> Verdict:
    """Return the verdict on a scenario: what is dangerous, what working costs or saves, and what would make it
    surer.
    """
    dangers = dangers_of(answered, system)
    word, headline, lines = _outcome(answered, system)
    return Verdict(
        word=word,
        dangers=dangers,
        warnings=doubts(answered, system),
        headline=headline,
        lines=(
            conditions_line(answered, system),
            *torque_on_trip(answered),
            *lines,
            *_better_pitch_line(answered, system),
            *place_lines(answered.place, system),
            *unmeasured_thrust_line(answered),
        ),
        least_known=least_known(answered, system),
        case=_case(answered),
        operate="no" if dangers else "not checked",
    )


def dangers_of(answered: Answered, system: UnitSystem) -> tuple[str, ...]:
    """Return the limits that an answer breaks, else those that most of its simulations break, and what to change."""
    broken = danger_lines(broken_limits(answered), limits_of(answered), system)
    return broken or likely_beyond(answered.stall, system)


def doubts(answered: Answered, system: UnitSystem) -> tuple[str, ...]:
    """Return what makes the numbers of an answer doubtful, whether its rotor is stalled: before every headline that
    rests on that answer.
    """
    return (
        *too_many_watts(answered.answer.inputs, answered.at_its_most),
        *_beyond_curves_line(answered),
        *(_torque_line(answered) if answered.trip is None else ()),
        *stall_warnings(answered, system),
    )


def torque_on_trip(answered: Answered) -> tuple[str, ...]:
    """Return, as a line, that the engine lacks torque on a trip: some moments of it. At one speed it is a doubt."""
    return () if answered.trip is None else tuple(line.rstrip(".") for line in _torque_line(answered))


def danger_lines(
    broken: Sequence[OperatingLimit], stated: Sequence[OperatingLimit], system: UnitSystem, where: str = ""
) -> tuple[str, ...]:
    """Return what is over its limit, the most exceeded first, and what to change; empty where nothing is.

    `where` says of which state that is, where it is not the one that was asked about: "At the best setting: ".
    """
    if not broken:
        return ()
    return _do_not_operate([limit_sentence(limit, system) for limit in broken], broken, where)


def likely_beyond(stall: StallRisk | None, system: UnitSystem) -> tuple[str, ...]:
    """Return the limits that hold at the stated values and that most simulations break, as dangers; else nothing."""
    likely = () if stall is None else [one for one in stall.at_risk if one.share > LIKELY]
    if not likely:
        return ()
    return _do_not_operate([limit_at_risk_sentence(one, system) for one in likely], [one.limit for one in likely])


def _do_not_operate(sentences: Sequence[str], limits: Sequence[OperatingLimit], where: str = "") -> tuple[str, ...]:
    """Return the sentences on limits, one or more, after the order not to operate it, and what to change."""
    first, *others = sentences
    return (f"{DO_NOT_OPERATE} {where}{first}", *others, _what_to_change({limit.key for limit in limits}))


def limit_at_risk_sentence(risk: LimitAtRisk, system: UnitSystem) -> str:
    """Return in a sentence that a part of the simulations breaks a limit."""
    limit = show(risk.limit.limit, risk.limit.kind, system)
    return f"In {100 * risk.share:.0f} % of the simulations {risk.limit.in_a_sentence} exceeds {limit}, its limit."


def stall_warnings(answered: Answered, system: UnitSystem) -> tuple[str, ...]:
    """Return that the rotor is stalled or may get stuck so, at one speed or on a part of the trip; empty where not."""
    return (*stall_lines(answered.stall, system), *trip_stall_lines(answered.trip_stall, system))


def stall_lines(stall: StallRisk | None, system: UnitSystem) -> tuple[str, ...]:
    """Return that the rotor is stalled or may stay so, with both heats and what to do; empty where that is unlikely."""
    if stall is None:
        return ()
    push = (_NEEDS_A_PUSH,) if stall.needs_a_push else ()
    if not stall.matters:
        return push
    if stall.stands:
        connected = "" if stall.starts_unloaded else " with the load connected"
        return (f"Does not start. The rotor stands still{connected}. {_best_setting(stall, system)}",)
    remedy = _out_of_stall(stall, system)
    slow, running = stall.stalled_heat_w, stall.running_heat_w
    if running is None or slow is None or stall.share > _SURELY_STALLED:
        gives = "" if slow is None else f", and gives {show(slow.estimate, 'power', system, digits=2)}"
        speed = f"tip-speed ratio {figures(stall.tip_speed_ratio, 2)}"
        return (*push, f"Stalled blades: the rotor turns, but far too slowly ({speed}){gives}. {remedy}")
    return (
        *push,
        f"Can get stuck in stall: in {100 * stall.share:.0f} % of the simulations, with {_group(slow, system)}; the "
        f"others give {_group(running, system)}. {remedy}",
    )


def _out_of_stall(stall: StallRisk, system: UnitSystem) -> str:
    """Return what takes a rotor out of stall that turns; never what would break a limit."""
    if stall.two_speeds and stall.beyond_limits:
        return f"{_not_unloaded(stall.beyond_limits, system)} {_best_setting(stall, system)}"
    unloaded = f"onnect the load after the start ({_UNLOADED_KEY}), before it reaches its highest rotor speed."
    if stall.two_speeds:
        return f"C{unloaded}"
    if stall.at_stated_values:
        return _best_setting(stall, system)
    other = "Another pitch, ratio or element takes it out of stall (windtoll match)"
    # Stalled all the same although its load is connected after the start, or in every simulation: that does not help.
    return f"{other}." if stall.starts_unloaded or stall.share >= _SURELY_STALLED else f"{other}, or c{unloaded}"


def _not_unloaded(beyond: Sequence[OperatingLimit], system: UnitSystem) -> str:
    """Return that a load connected after the start would let the rotor run beyond its limits, and which."""
    over = " ".join(limit_sentence(limit, system) for limit in beyond)
    return f"At this setting do not connect the load after the start: the rotor would run beyond its limits. {over}"


def trip_stall_lines(stall: TripStallRisk | None, system: UnitSystem) -> tuple[str, ...]:
    """Return that the rotor works stalled on a part of the trip, what that gives and what to do; empty where not."""
    if stall is None or not stall.matters:
        return ()
    share, (low, high) = stall.energy_share.estimate, stall.energy_share.ends
    inside = f" (90 % range {100 * low:.0f} to {100 * high:.0f} %)" if high > low else ""
    part = "most" if share > 0.5 else "part"
    unloaded = show(stall.unloaded_heat_w.estimate * stall.over_s, "energy", system, digits=2)
    if stall.starting_unloaded_helps:
        remedy = f"With the load connected only after each start ({_UNLOADED_KEY}) it would give {unloaded}."
        if stall.beyond_limits:
            remedy = _not_unloaded(stall.beyond_limits, system)
    else:
        remedy = "Another pitch, ratio or element takes it out of stall (windtoll match)."
    return (
        f"Stalled for {part} of the trip: {100 * share:.0f} % of the air's energy{inside} meets a stalled "
        f"rotor. {remedy}",
    )


def place_lines(place: PlaceRisk | None, system: UnitSystem) -> tuple[str, ...]:
    """Return that the air where the rotor sits decides, and where clean air is; empty where it does not."""
    if place is None:
        return ()
    over_s, kind = (1.0, "power") if place.over_s is None else (place.over_s, "energy")
    slow, fast = (
        f"{show(heat * over_s, kind, system, digits=2) if heat > 0.5 else 'no heat'} at {factor:.2g}"
        for heat, factor in ((place.slow_heat_w, place.slow_factor), (place.fast_heat_w, place.fast_factor))
    )
    return (f"The air where the rotor sits decides: {slow} of the free air speed, {fast}", clean_air(system))


def _best_setting(stall: StallRisk, system: UnitSystem) -> str:
    """Return what the setting of most heat would give instead of a stalled rotor."""
    best = stall.best
    if best is None:
        return "No pitch, ratio or element within the limits makes it work in this air."
    heat = show(best.outcome.heat_w.estimate, "power", system, digits=2)
    element = show(best.resistance_ohm, "resistance", system, digits=2)
    later, see = "", "windtoll match"
    if stall.best_unloaded:
        later, see = ", its load connected only after the start", f"{see} --set {UNLOADED_SET}"
    return (
        f"The best setting within the limits would give {heat}{_cost_of(best, system)}: pitch "
        f"{figures(best.pitch_deg, 2)}°, drive ratio {figures(best.ratio, 2)}, element {element}{later} (see {see}; "
        "check the loads of that setting before you operate it)."
    )


def _better_pitch_line(answered: Answered, system: UnitSystem) -> tuple[str, ...]:
    """Return that another pitch would give clearly more heat, and at what cost; empty where none does."""
    best = answered.better_pitch
    if best is None:
        return ()
    heat, own = (
        show(float(turbine.heat_power_w), "power", system, digits=2)
        for turbine in (best.answer.turbine, answered.answer.turbine)
    )
    return (
        f"Pitch far from its best: {figures(best.pitch_deg, 2)}° would give {heat} instead of {own} within the "
        f"limits{_cost_of(best, system)}, at the stated values (see windtoll match; check the loads of that setting "
        "before you operate it)",
    )


def _cost_of(best: Setting, system: UnitSystem) -> str:
    """Return what the heat of a setting costs in fuel; nothing where it costs none."""
    fuel = best.answer.inputs.fuel
    flow = math.nan if fuel is None else best.outcome.change_w.estimate / fuel.heating_value_j_per_m3
    if not flow > 0:
        return ""
    return f" and cost {show(flow, 'fuel_flow', system, signed=True, digits=2)} in all"


def _torque_line(answered: Answered) -> tuple[str, ...]:
    """Return that the engine cannot drive what was asked, and in which state; else nothing."""
    result = answered.answer
    without, working = (bool(state.supply.enough_torque) for state in (result.without, result.states["working"]))
    if without and working:
        share = short_of_torque(answered)
        return (short_of_torque_sentence(answered, share),) if share > LIKELY else ()
    baseline_state = "not fitted" if result.compared_with == "absent" else "stowed"
    state = "with the turbine working" if without else f"{baseline_state} or working"
    return (
        f"The engine does not have the torque for {_driven_at(answered)}, {state}. The fuel is that of a fuller "
        "throttle than it has.",
    )


def short_of_torque(answered: Answered) -> float:
    """Return the share of the simulations in which the engine lacks torque, where at the stated values it does not."""
    result = answered.answer
    enough = result.without.supply.enough_torque & result.states["working"].supply.enough_torque
    return 0.0 if answered.spread is None or not bool(enough) else answered.spread.short_of_torque


def short_of_torque_sentence(answered: Answered, share: float) -> str:
    """Return in a sentence that in a part of the simulations the engine cannot drive what was asked."""
    return (
        f"In {100 * share:.0f} % of the simulations the engine does not have the torque for {_driven_at(answered)}: "
        "the fuel there is that of a fuller throttle than it has."
    )


def _driven_at(answered: Answered) -> str:
    return "this speed" if answered.trip is None else "all of this trip"


def beyond_curves(curves: RotorCurves) -> str:
    """Return that the rotor runs past what its curves hold."""
    return (
        "The load is too light: the rotor would run past the last tip-speed ratio of the curves "
        f"({curves.tip_speed_ratio[-1]:g}). Rotor speed, heat and drag there are extrapolated, and can be anything."
    )


def _beyond_curves_line(answered: Answered) -> tuple[str, ...]:
    """Return that at the one speed the rotor runs past its curves: then the answer stands on nothing; else nothing."""
    curves = answered.answer.inputs.turbine.curves
    if answered.trip is not None or curves is None or not bool(answered.answer.turbine.beyond_data):
        return ()
    return (beyond_curves(curves),)


def too_many_watts(inputs: Inputs, hardest: TurbineAtWork) -> tuple[str, ...]:
    """Return that measured watts need more power at the shaft than the air gives any rotor; else nothing."""
    coefficient = number(hardest.power_coefficient)
    if inputs.turbine.measured is None or not coefficient > _ABOVE_BETZ * BETZ_LIMIT:
        return ()
    efficiency = figures(number(inputs.turbine.chain_efficiency), 2)
    return (
        f"Too many watts for this air: with rotor.chain_efficiency at {efficiency} they need a power coefficient of "
        f"{figures(coefficient, 2)} at the shaft, and no rotor in free air exceeds {figures(BETZ_LIMIT, 3)} (Betz). "
        "Watts, air speed, diameter or that efficiency is wrong, and this answer with it.",
    )


def unmeasured_thrust_line(answered: Answered) -> tuple[str, ...]:
    """Return that the thrust was not measured, what is assumed, and that it is to be measured next; else nothing."""
    assumed = answered.answer.inputs.turbine.unmeasured_thrust
    if assumed is None:
        return ()
    key = "mean_lift_coefficient" if assumed.thrust_coefficient is None else "thrust_coefficient"
    if key in answered.scenario.rotor.model_fields_set:
        return ()
    known = getattr(answered.scenario.rotor, key)
    span = f"{figures(known.low, 2)} to {figures(known.high, 2)}"
    if assumed.thrust_coefficient is None:
        what = f"estimated from rotor speed and a mean lift coefficient of {span}"
        how = "a load cell under the mount"
    else:
        what = f"a thrust coefficient of {span} is assumed"
        how = "a load cell under the mount, or at least the rotor speed next to the watts"
    return (f"Thrust, and with it the fuel, was not measured: {what}. Measure it next ({how})",)


def _group(heat_w: Estimate, system: UnitSystem) -> str:
    low, high = heat_w.ends
    return f"{show(low, 'power', system, digits=2)} to {show(high, 'power', system, digits=2)}"


def limit_sentence(limit: OperatingLimit, system: UnitSystem) -> str:
    """Return a broken limit in a sentence: "Thrust 209 lbf exceeds its limit of 90 lbf."."""
    value, most = show_pair(limit.value, limit.limit, limit.kind, system)
    return (
        f"{limit.name} {value} exceeds its limit of {most}.{OVER_RATING if limit.key == 'heater.rated_power' else ''}"
    )


def _what_to_change(keys: set[Any]) -> str:
    """Return what brings the limits that are broken back in."""
    if keys <= {"heater.rated_power", "generator.highest_current"}:
        return "What to change: an element rated for it, or a setting that takes less (windtoll match)."
    return (
        "What to change: drive slower, do not operate it in such a wind, or choose a setting within the limits "
        "(windtoll match)."
    )


_STATES = {"absent": "not fitted", "stowed": "stowed"}


def _case(answered: Answered) -> str:
    credited = answered.answer.inputs.credit.replaces_alternator
    credit = ", credited with the alternator's work that it replaces" if credited else ""
    return f"compared with turbine {_STATES[answered.answer.compared_with]}{credit}"


def baseline(answered: Answered) -> str:
    """Return what the answer is compared with, in words."""
    against = {
        "absent": "the same vehicle without the turbine",
        "stowed": "the same vehicle with it stowed",
    }[answered.answer.compared_with]
    if answered.answer.inputs.credit.replaces_alternator:
        against += " and the same heat from the engine's alternator"
    return against


def _outcome(answered: Answered, system: UnitSystem) -> tuple[Any, str, tuple[str, ...]]:
    """Return the outcome in a word, the headline, and the lines under it."""
    result, spread = answered.answer, answered.spread
    change, heat = median_change_w(answered), median_heat_w(answered)
    small = 1e-9 * abs(number(result.without.supply.source_w)) + 0.05
    heats = heat > NO_HEAT_W
    nominal = "costs" if change > small else "saves" if change < -small or heats else "no effect"
    heat_line = heat_words(answered, system)
    # Standing still no draw changes the fuel: then the heat alone is open, however small.
    fuel_is_open = spread is not None and max(abs(end) for end in spread.change_w) > small
    if spread is not None and fuel_is_open and nominal != "no effect" and spread.verdict != nominal:
        unpriced = heat_words(answered, system, priced=False)  # a price would say that it costs
        return "cannot tell", _too_close(answered, system), (unpriced, *_against_absent(answered, system))
    if change > small:
        return "costs", _changed("Costs", answered, system), (heat_line, *_against_absent(answered, system))
    if change < -small:
        return "saves", _changed("Saves", answered, system), (heat_line, *_against_absent(answered, system))
    if heats:
        return "saves", f"No extra {_source(answered)}. {_free_heat(answered, system)}", ()
    return "no effect", f"No effect: no extra {_source(answered)}, and no heat.", ()


def _changed(verb: str, answered: Answered, system: UnitSystem) -> str:
    """Return the headline of a change: "Costs fuel: +2.7 L/h (90 % range 2.0 to 3.6; +34 %)"."""
    of_what = _source(answered)
    value, kind = _median_change(answered)
    inside = [*_range(answered, kind, system), *_share(answered), *_economy(answered, system)]
    over = "" if answered.trip is None else " over the trip"
    bracket = f" ({'; '.join(inside)})" if inside else ""
    return f"{verb} {of_what}: {show(value, kind, system, signed=True, digits=2)}{over}{bracket}"


def _range(answered: Answered, kind: str, system: UnitSystem) -> list[str]:
    """Return the 90 % range of the change and, where it is not, how likely the outcome is."""
    spread = answered.spread
    if spread is None:
        return []
    drawn, _ = drawn_change(answered)
    words = range_words(drawn, kind, system)
    unit = f" {label(kind, system)}"
    texts = [f"90 % range {words.removesuffix(unit) if kind != 'power' else words}"]
    likely = max(spread.probability_saves, spread.probability_costs)
    if likely < ALMOST_CERTAIN:
        texts.append(f"likelihood {100 * likely:.0f} %")
    return texts


def _share(answered: Answered) -> list[str]:
    base = number(answered.answer.without.supply.source_w)
    return [f"{figures(100 * median_change_w(answered) / base, 2, signed=True)} %"] if base > 0 else []


def mpg(answer: Answer, system: UnitSystem, change_w: float | None = None) -> tuple[float, float] | None:
    """Return (without, working) miles per gallon, US or imperial; None where it has no meaning.

    Working changes the source power by `change_w`; None takes the stated values.
    """
    speed, fuel = number(answer.inputs.road_speed_m_s), answer.inputs.fuel
    base = number(answer.without.supply.source_w)
    flows = [base, number(answer.states["working"].supply.source_w) if change_w is None else base + change_w]
    if fuel is None or speed <= 0 or min(flows) <= 0:
        return None
    without, working = (miles_per_gallon(flow / fuel.heating_value_j_per_m3 / speed, system) for flow in flows)
    return without, working


def litres_per_kwh(answer: Answer) -> float:
    """Return the extra fuel over the heat, in L per kWh; NaN without fuel or heat."""
    heat, volume = number(answer.turbine.heat_power_w), number(answer.change.volume_m3_s)
    return volume / heat * _LITRES_PER_KWH if heat > 0 else math.nan


def miles_per_gallon(fuel_m2: float, system: UnitSystem) -> float:
    """Return the miles per gallon (imperial for "uk", else US) of fuel for a distance [m3/m]."""
    return (IMPERIAL_GALLON_M3 if system == "uk" else US_GALLON_M3) / MILE_M / fuel_m2


def pack_kwh_per_100km(answer: Answer, change_w: float | None = None) -> float:
    """Return the change in energy from the pack over the way, in kWh/100 km; NaN for fuel, or where it stands.

    `change_w` is the change in source power; None takes that of the stated values.
    """
    speed = number(answer.inputs.road_speed_m_s)
    if answer.inputs.fuel is not None or speed <= 0:
        return math.nan
    return (number(answer.change.power_w) if change_w is None else change_w) / speed * KWH_PER_100_KM


KWH_PER_100_KM = 1e5 / 3.6e6  # of J/m


def pack_energy_unit(system: UnitSystem) -> tuple[str, float]:
    """Return the unit of battery energy per distance, of miles where those are read, and what J/m are multiplied by."""
    if system == "metric":
        return "kWh/100 km", KWH_PER_100_KM
    return "kWh/100 mi", KWH_PER_100_KM * MILE_M / 1e3


def _economy(answered: Answered, system: UnitSystem) -> list[str]:
    """Return the miles per gallon before and after, where miles are read."""
    change = median_change_w(answered)
    pair = mpg(answered.answer, system, change) if system != "metric" and answered.trip is None else None
    per_100km = pack_kwh_per_100km(answered.answer, change)
    if math.isfinite(per_100km) and answered.trip is None:
        unit, factor = pack_energy_unit(system)
        return [f"{figures(per_100km / KWH_PER_100_KM * factor, 2, signed=True)} {unit}"]
    return [f"from {pair[0]:.1f} {'down' if pair[1] < pair[0] else 'up'} to {pair[1]:.1f} mpg"] if pair else []


def _too_close(answered: Answered, system: UnitSystem) -> str:
    """Return the headline of an answer whose range holds both saving and costing."""
    spread = answered.spread
    assert spread is not None
    value, kind = _median_change(answered)
    drawn, _ = drawn_change(answered)
    between = range_words(drawn, kind, system)
    between = between if kind == "power" else between.removesuffix(f" {label(kind, system)}")
    saves, costs = round(100 * spread.probability_saves), round(100 * spread.probability_costs)
    what = _source(answered)
    # On overrun nothing is saved, and nothing is burnt.
    save = f"it saves {what}" if drawn[0] < 0 else f"it takes no extra {what}"
    return (
        f"Too close to call. {show(value, kind, system, signed=True, digits=2)} (90 % range {between}); "
        f"in {saves} % of the simulations {save}, in {costs} % it costs {what}."
    )


def _source(answered: Answered) -> str:
    """Return what the vehicle drives by, as a headline names it."""
    return "fuel" if answered.answer.inputs.fuel is not None else "battery energy"


def _against_absent(answered: Answered, system: UnitSystem) -> tuple[str, ...]:
    """Return what working costs against a vehicle without the turbine, where the answer is compared with another state.

    A saving against carrying the turbine stowed is no saving against leaving it off.
    """
    result = answered.answer
    if result.compared_with != "stowed" or result.inputs.credit.replaces_alternator:
        return ()
    watts = number(result.states["working"].supply.source_w) - number(result.states["absent"].supply.source_w)
    if abs(watts) < 0.05:
        return ()
    fuel = result.inputs.fuel
    value = watts * answered.over_s / (1.0 if fuel is None else fuel.heating_value_j_per_m3)
    kind = answered.power_kind if fuel is None else answered.fuel_kind
    verb = "costs" if watts > 0 else "saves"
    return (
        f"Against the same vehicle without it: {verb} "
        f"{show(value, kind, system, signed=True, digits=2)} (at the stated values)",
    )


def heat_words(answered: Answered, system: UnitSystem, *, priced: bool = True) -> str:
    """Return the heat and its price: "Heat into the tank: 1.77 kW, at 1.5 L of diesel per kWh"."""
    heat, what = median_heat_w(answered), answered.scenario.heater.what
    if heat <= NO_HEAT_W:
        return f"Heat into {what}: none"
    price = _price(answered, system) if priced and median_change_w(answered) > 0 else ""
    return f"Heat into {what}: {show(heat * answered.over_s, answered.power_kind, system)}{price}"


def _price(answered: Answered, system: UnitSystem) -> str:
    """Return the price of the heat in fuel; empty without a price."""
    change, heat, fuel = median_change_w(answered), median_heat_w(answered), answered.answer.inputs.fuel
    if fuel is None:
        return f", at {figures(change / heat, 2)} kWh from the battery per kWh of heat"
    volume = change / fuel.heating_value_j_per_m3 / heat
    return f", at {show(volume, 'fuel_per_heat', system).replace(' per kWh', '')} of {fuel.in_words} per kWh"


def _free_heat(answered: Answered, system: UnitSystem) -> str:
    """Return the heat that costs no fuel, its range, and what supplies it."""
    kind, what = answered.power_kind, answered.scenario.heater.what
    heat = show(median_heat_w(answered) * answered.over_s, kind, system, digits=2)
    inside = f" (90 % range {range_words(drawn_heat(answered), kind, system)})" if answered.spread is not None else ""
    return f"It puts {heat}{inside} into {what}; {_who_pays(answered.answer)}."


def _who_pays(result: Answer) -> str:
    if number(result.inputs.road_speed_m_s) == 0:
        return "the wind supplies it"
    if np.any(np.asarray(result.inputs.longest_idle_s) > 0):  # a trip
        return "stops, wind, or energy that the brakes would waste supply it"
    spent = "the engine is on overrun" if result.inputs.fuel is not None else "the drive takes back all it can"
    return f"{spent}: the brakes would otherwise waste that power"


# The figures of the verdict: the median of the draws; without draws the value at the stated inputs.


def median_change_w(answered: Answered) -> float:
    """Return the change in source power (W) that the verdict states; over a trip its mean."""
    return answered.outcome.change_w.estimate


def median_heat_w(answered: Answered) -> float:
    """Return the heat (W) that the verdict states; over a trip its mean."""
    return answered.outcome.heat_w.estimate


def _median_change(answered: Answered) -> tuple[float, str]:
    """Return the change and what kind of quantity it is: fuel flow (m³/s) or volume, power (W) or energy."""
    watts, fuel = median_change_w(answered) * answered.over_s, answered.answer.inputs.fuel
    return (watts, answered.power_kind) if fuel is None else (watts / fuel.heating_value_j_per_m3, answered.fuel_kind)


def drawn_change(answered: Answered) -> tuple[tuple[float, ...], str]:
    """Return the quantiles of the change and what kind of quantity they are: fuel flow (m³/s) or power (W)."""
    assert answered.spread is not None
    fuel, over = answered.answer.inputs.fuel, answered.over_s
    drawn = _quantiles(answered.outcome.change_w, answered.outcome.half_change_w)
    if fuel is None:
        return tuple(value * over for value in drawn), answered.power_kind
    return tuple(value * over / fuel.heating_value_j_per_m3 for value in drawn), answered.fuel_kind


def drawn_heat(answered: Answered) -> tuple[float, ...]:
    """Return the quantiles of the heat: W, or J over a trip."""
    assert answered.spread is not None
    drawn = _quantiles(answered.outcome.heat_w, answered.outcome.half_heat_w)
    return tuple(value * answered.over_s for value in drawn)


def _quantiles(whole: Estimate, half: Estimate) -> tuple[float, ...]:
    (low, high), (lower, upper) = whole.ends, half.ends
    return low, lower, whole.estimate, upper, high


_NEXT_TO_NOTHING = 1 / 200


def range_words(quantiles: Sequence[float], kind: str, system: UnitSystem, *, inner: bool = False) -> str:
    """Return the 90 % (or 50 %) range of quantiles, as "2.0 to 3.6 L/h"."""
    low, high = (quantiles[1], quantiles[3]) if inner else (quantiles[0], quantiles[-1])
    # A two-hundredth of the other end is nothing beside it, and would read "−3.9e−05".
    low, high = (0.0 if abs(end) < _NEXT_TO_NOTHING * max(abs(low), abs(high)) else end for end in (low, high))
    signed = low < 0
    if kind == "power" and low != 0:  # its unit goes by size
        first = show(low, kind, system, signed=signed, digits=2)
    else:
        first = figures(to_user(low, kind, system), 2, signed=signed)
    return f"{first} to {show(high, kind, system, signed=signed, digits=2)}"


# Where and when.


def _stated(answered: Answered) -> tuple[float, float, float, float]:
    """Return road speed (m/s), grade, wind speed (m/s) and its angle off the bow (degrees) of a sentence."""
    inputs, air = answered.answer.inputs, answered.scenario.air  # of a schedule the inputs have the mean speed
    angle = math.degrees(air.wind_from.value) % 360
    return number(inputs.road_speed_m_s), number(inputs.grade), air.wind_speed.value, min(angle, 360 - angle)


def conditions(answered: Answered, system: UnitSystem) -> str:
    """Return where and when as the beginning of a sentence: "At 100 km/h in still air on the flat"."""
    if answered.trip is not None:
        return f"Over {_trip_words(answered, answered.trip, system)}"
    speed, grade, _, _ = _stated(answered)
    place = f"At {show(speed, 'speed', system)}" if speed > 0 else "Standing"
    road = _grade_words(grade) if speed > 0 else ""
    return f"{place} {_air_words(answered, system)}{road and f' {road}'}"


def conditions_line(answered: Answered, system: UnitSystem) -> str:
    """Return where and when and compared with what, as a line: "100 km/h, still air, level road, against ..."."""
    if answered.trip is not None:
        where = _trip_words(answered, answered.trip, system)
        return f"{where[0].upper()}{where[1:]}, against {baseline(answered)}"
    speed, grade, _, _ = _stated(answered)
    air = _air_words(answered, system).removeprefix("in ")
    if speed == 0:
        return f"Parked, {air}, against {baseline(answered)}"
    road = "level road" if abs(grade) < 1e-9 else _grade_words(grade)
    return f"{show(speed, 'speed', system)}, {air}, {road}, against {baseline(answered)}"


def _grade_words(grade: float) -> str:
    if abs(grade) < 1e-9:
        return "on the flat"
    percent = figures(abs(grade) * 100, 2)
    article = "an" if percent.startswith(("8", "11", "18")) else "a"
    return f"{'up' if grade > 0 else 'down'} {article} {percent} % grade"


_WORKS = {
    "always": "",
    "braking_or_descending": ", working only while braking or descending",
    "only_parked": ", working only while standing",
    "below_speed": ", working only below {}",
    "above_speed": ", working only above {}",
}


def _trip_words(answered: Answered, trip: TripAnswer, system: UnitSystem) -> str:
    steps = trip.steps
    climbs = f", climbing {show(steps.climb_m, 'length', system)} in all" if steps.climb_m > 0.5 else ""
    climate = answered.scenario.wind_climate
    if np.isfinite(steps.wind_speed_m_s).any():
        air = ", in the wind along the way"
    elif climate is not None and "wind_speed" not in answered.scenario.air.model_fields_set:
        air = f", in the winds of a year (mean {show(climate.mean_speed.value, 'speed', system)})"
    else:
        air = f", {_air_words(answered, system).removeprefix('in ')}"
    return (
        f"the {show(steps.distance_m, 'distance', system)} of {trip.name} ({show(steps.total_s, 'time', system)})"
        f"{climbs}{air}{policy_words(answered.scenario, system)}"
    )


def policy_words(scenario: Scenario, system: UnitSystem) -> str:
    """Return when the turbine works on a trip, as it goes on in a sentence; empty where it always does."""
    asked = scenario.trip
    limit = show(asked.works_speed.value, "speed", system) if asked.works_speed is not None else ""
    return _WORKS[asked.works].format(limit)


def _air_words(answered: Answered, system: UnitSystem) -> str:
    _, _, wind, off = _stated(answered)
    if wind < 0.05:
        return "in still air"
    aslant = "ahead and the side" if 30 <= off < 60 else "behind and the side" if 120 < off <= 150 else "the side"
    kind = "head wind" if off < 30 else "tail wind" if off > 150 else f"wind from {aslant}"
    turned = f" ({off:.0f}° off the bow)" if 1 < off < 179 else ""
    return f"in a {kind} of {show(wind, 'speed', system)}{turned}"


# What is least known.


_WHOSE = {
    "air": "the air's ",
    "rotor": "the rotor's ",
    "blade": "the blade's ",
    "drive": "the drive's ",
    "generator": "the generator's ",
    "heater": "the element's ",
    "load": "the load's ",
    "vehicle": "the vehicle's ",
    "engine": "the engine's ",
    "battery": "the battery's ",
    "wind_climate": "the wind climate's ",
}


def called(key: str) -> str:
    """Return an input's name in a sentence."""
    table, _, name = key.partition(".")
    whose = _WHOSE.get(table, "")
    return spec_of(key).called or f"{whose}{name.replace('_', ' ')}"


def least_known(answered: Answered, system: UnitSystem) -> str:
    """Return what widens the range most and what measuring it would do; empty where nothing is uncertain."""
    spread = answered.spread
    if spread is None or not spread.sensitivities:
        return ""
    first = sorted(spread.sensitivities, key=lambda s: -s.first_order)
    count = 2 if len(first) > 1 and first[0].first_order <= 0.5 else 1
    names = [" with ".join(called(key) for key in s.inputs) for s in first[:count]]
    keys = [key for s in first[:count] for key in s.inputs]
    helping = [m for m in spread.measurements if m.key in keys and m.shrinks_by >= 0.1]
    it = "it" if count == 1 and len(keys) == 1 else called(helping[0].key) if helping else ""
    tail = f" {_measure_words(helping[0], it, system)}" if helping else ""
    return f"Least known: {' and '.join(names)}.{tail}"


def _measure_words(measured: Measurement, name: str, system: UnitSystem) -> str:
    share = measured.shrinks_by
    what = "halve the range" if 0.45 <= share <= 0.55 else f"narrow the range by {100 * share:.0f} %"
    return f"Measuring {name} to ± {shown_width(measured, system)} ({measured.how}) would {what}."


def shown_width(measured: Measurement, system: UnitSystem = "metric") -> str:
    """Return a measurement's ± in a unit that people read, or as a share of what it is a share of."""
    spec = spec_of(measured.key)
    if spec.measured is not None and spec.measured.of:
        return f"{100 * measured.plus_minus:.2g} % {spec.measured.of}"
    if spec.unit == "K":
        return show(measured.plus_minus, "temperature_difference", system, digits=2)
    return spec.shown(measured.plus_minus, system)
