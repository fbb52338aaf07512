"""The plan of a road test: sentences, lines and data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from energy.chain.road_plan import MOST_ORDERED, RoadPlan
from energy.words.verdict import FirstLines, danger_lines
from vehicle.constants import MILE_M
from vehicle.road_test.sources import source_word
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.chain.limits import OperatingLimit

MANY_PAIRS = 40


def speed_words(speed_m_s: float | None) -> str:
    """Return a road speed for the sheet, in both of the units that people drive by."""
    if speed_m_s is None:  # a schedule, or nothing known: no one speed
        return "one steady speed"
    return f"{show(speed_m_s, 'speed', 'metric')} ({show(speed_m_s, 'speed', 'us')})"


def plan_sentence(plan: RoadPlan) -> str:
    """Return the answer in one sentence."""
    sure = f"judged by the {100 * plan.level:g} % interval"
    against = f"working compared with {plan.without_state}"
    planned = f"{plan.pairs_planned} pairs ({2 * plan.pairs_planned} runs)"
    if plan.effect is None:
        shown = plan.smallest_shown(plan.pairs_planned, plan.power)
        return (
            f"{planned} are enough to show an effect of {100 * shown:.1f} % of the {_source(plan)} or more, {against}, "
            f"with a chance of {100 * plan.power:.0f} % ({sure})."
        )
    effect = f"the predicted {100 * plan.effect:+.1f} % of the {_source(plan)}, {against},"
    chance = plan.chance(abs(plan.effect), plan.pairs_planned)
    if plan.pairs_asked is None and plan.pairs_planned > MANY_PAIRS:
        return (
            f"{planned} would be needed to show {effect} with a chance of {100 * plan.power:.0f} % ({sure}): too many "
            "to drive."
        )
    if chance < plan.power:
        return f"{planned} show {effect} with a chance of only {_chance_words(chance)} ({sure})."
    return f"{planned} are enough to show {effect} with a chance of {_chance_words(chance)} ({sure})."


def _source(plan: RoadPlan) -> str:
    return source_word(plan.on_battery)


ON_A_BATTERY = (
    "windtoll compare judges these runs by battery energy: write energy_used of every run into the list of runs, as "
    "the vehicle's display counted it, or a meter at the charger after the run"
)


def _chance_words(chance: float) -> str:
    return "nearly 100 %" if chance > 0.995 else f"{100 * chance:.0f} %"


def effort_words(plan: RoadPlan, system: UnitSystem = "metric") -> str:
    """Return the way and time of all runs in words; "" where the length of a run is not known."""
    if plan.distance_m is None:
        return ""
    hours = plan.driving_s
    time = "" if hours is None else f", {hours / 3600:.1f} h of driving; turning around comes on top"
    one, way = (_way(metres, system) for metres in (plan.run_length_m or 0.0, plan.distance_m))
    return f"{2 * plan.pairs_planned} runs of {one}: {way} in all{time}"


def _way(metres: float, system: UnitSystem) -> str:
    km, mi = f"{metres / 1000:.3g} km", f"{metres / MILE_M:.3g} mi"
    return f"{km} ({mi})" if system == "metric" else f"{mi} ({km})"


def changes_words(plan: RoadPlan) -> str:
    """Return how often the rotor is changed, how long that takes, and what the other order would do."""
    own, other = plan.changes, plan.other_changes

    def time(count: int) -> str:
        return f"{count} change{'' if count == 1 else 's'} of the turbine, {count * plan.change_s / 60:.0f} min"

    planned, way = ("few changes", "in the ideal order") if plan.few_changes else ("ideal order", "with few changes")
    said = f"Order planned ({planned}): {time(own)}; {way}: {time(other)}"
    if plan.effect is None:
        return f"{said}."
    chance = plan.chance(abs(plan.effect), plan.pairs_planned)
    instead = plan.chance(abs(plan.effect), plan.pairs_planned, few=not plan.few_changes)
    now, then = _chance_words(chance), _chance_words(instead)
    if now == then:
        return f"{said}. The chance is {now} either way."
    return f"{said}, with a chance of {then} instead of {now}."


def first_lines(plan: RoadPlan, broken: Sequence[OperatingLimit], system: UnitSystem) -> FirstLines:
    """Return the first lines: which limits the scenario breaks, how many pairs show the effect."""
    dangers = danger_lines(broken, broken, system)
    return FirstLines(
        dangers=dangers,
        headline=plan_sentence(plan),
        lines=(ON_A_BATTERY,) if plan.on_battery else (),
        operate="no" if dangers else "not checked",
    )


def spread_words(plan: RoadPlan) -> str:
    """Return how much two equal runs differ, and where that comes from."""
    share = figures(100 * plan.spread.share, 2)
    return f"Two equal runs differ by {share} % of the {_source(plan)} (standard deviation): {plan.spread.words}."


def plan_words(plan: RoadPlan, system: UnitSystem = "metric") -> list[str]:
    """Return what follows the first lines: what the plan rests on, what can be shown, without the run sheet."""
    out = [
        spread_words(plan),
    ]
    if plan.effect is not None:
        whole = ", since runs come in whole blocks, out and back" if plan.pairs_asked is None else ""
        out.append(f"Fewest pairs that show {100 * plan.effect:+.1f} % ({plan.pairs_planned} are planned{whole}):")
        for pairs in dict.fromkeys(plan.needed.values()):
            chances = [f"{100 * power:.0f} %" for power, needed in plan.needed.items() if needed == pairs]
            out.append(f"  {pairs} pairs for a chance of {' and of '.join(chances)}")
        if (plan.needed[plan.power] or 0) > MANY_PAIRS:
            out.append(f"  {TOO_MANY}")
    out += ["Smallest effect that is shown with a chance of 80 %:"]
    out += [f"  {n:>3} pairs: {100 * shown:.1f} %" for n, shown in plan.smallest.items()]
    return out + notes(plan, system)


TOO_MANY = (
    "That is more than a few days of driving: a steadier road, longer runs (20 minutes) and a calmer day shrink the "
    "spread; or measure a larger effect (a higher speed)."
)


def notes(plan: RoadPlan, system: UnitSystem = "metric") -> list[str]:
    """Return what else is to be said of a plan."""
    said = []
    least = abs(plan.effect or 0.0) - plan.error
    if plan.effect is not None and plan.error > 0:
        if least > 0:
            chance = plan.chance(least, plan.pairs_planned)
            small = math.copysign(100 * least, plan.effect)
            said.append(
                f"The prediction is {100 * plan.effect:+.1f} % ± {100 * plan.error:.1f} %: if the effect is only "
                f"{small:+.1f} %, {plan.pairs_planned} pairs show it with a chance of {_chance_words(chance)}."
            )
        else:
            said.append(
                f"The prediction is {100 * plan.effect:+.1f} % ± {100 * plan.error:.1f} %: the effect may be too small "
                f"to show."
            )
    effort = effort_words(plan, system)
    if effort:
        said.append(f"{effort}.")
    said.append(changes_words(plan))
    said.append(f"The chances count with {plan.spread.heavier:g} times this spread, since some real runs lie far off.")
    if plan.pairs_asked is not None and plan.pairs_planned != plan.pairs_asked:
        said.append(f"({plan.pairs_planned} pairs are planned, not {plan.pairs_asked}: two make a block, out and back)")
    if plan.pairs_planned > MOST_ORDERED:
        said.append(f"(the order below is for the first {MOST_ORDERED} pairs)")
    return said


def as_data(plan: RoadPlan, first: FirstLines) -> dict[str, Any]:
    """Return the plan for `--json`."""
    from energy.words.plan_model import PlanData, PlannedRunData

    chance = None
    if plan.effect is not None:
        chance = 100 * plan.chance(abs(plan.effect), plan.pairs_planned)
    return PlanData(
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        sentence=plan_sentence(plan),
        effect_percent=None if plan.effect is None else 100 * plan.effect,
        spread_percent=100 * plan.spread.share,
        spread_from=plan.spread.words,
        level=plan.level,
        power=plan.power,
        pairs_needed=plan.needed[plan.power],
        pairs_for_80_percent_power=plan.needed[0.8],
        pairs_for_90_percent_power=plan.needed[0.9],
        pairs_planned=plan.pairs_planned,
        chance_percent=chance,
        distance_km=None if plan.distance_m is None else plan.distance_m / 1000,
        changes=plan.changes,
        few_changes=plan.few_changes,
        changes_in_the_other_order=plan.other_changes,
        change_min=plan.change_s / 60,
        chance_in_the_other_order_percent=None
        if plan.effect is None
        else 100 * plan.chance(abs(plan.effect), plan.pairs_planned, few=not plan.few_changes),
        driving_h=None if plan.driving_s is None else plan.driving_s / 3600,
        smallest_effect_percent={str(n): 100 * shown for n, shown in plan.smallest.items()},
        order=[PlannedRunData.model_validate(run.as_dict()) for run in plan.order],
    ).model_dump()
