"""Does the turbine pay in money: parts and work, fuel over its life, against other ways to the same heat.

Over a year it makes heat while driving and standing, and takes fuel for it and for being carried. Each other way makes
the same heat: the alternator by fuel, a second battery by mains electricity, gas by its burner. The turbine has paid
when what it saves a year has made up for what it costs more to build; a way that is dearer a year is never caught up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from energy.scenario.inputs import Assumption, inputs_of, ranges_of, values_of
from energy.scenario.keys import NO_SOURCE, Price
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from energy.uncertainty.draws import draws_of, ppf, sobol_sample
from vehicle.arrays import Values
from vehicle.driving.fuels import FUELS
from vehicle.quantity import Estimate, Uncertain
from vehicle.units import figures

LEVEL = 0.9
_SEED = 23  # apart from the draws of turbine and winds
_KEYS: tuple[QuantityKey, ...] = (
    "costs.turbine_parts",
    "costs.turbine_hours",
    "costs.alternator_parts",
    "costs.alternator_hours",
    "costs.battery_parts",
    "costs.battery_hours",
    "costs.gas_parts",
    "costs.gas_hours",
    "costs.hour_value",
    "costs.life_years",
    "costs.driving_hours",
    "costs.parked_hours",
    "costs.carried_hours",
    "costs.energy_price_factor",
    "other_sources.burner_efficiency",
    "other_sources.mains_charge_efficiency",
)
# Where the scenario names no price, per litre or kWh of euro or dollar: common practice, no source.
ASSUMED_PRICES = {
    "fuel": Uncertain(1.6, 0.8, 2.1, "triangular"),
    "gas": Uncertain(1.0, 0.6, 1.4, "triangular"),
    "electricity": Uncertain(0.3, 0.12, 0.45, "triangular"),
}
ANY_CURRENCY = "EUR or USD"
# A coin is worth about a euro where prices are between a third and three times the assumed ones: own choice, no source.
_ABOUT_A_EURO = 3.0
_IN_MONEY = ("turbine_parts", "alternator_parts", "battery_parts", "gas_parts", "hour_value")
WAYS = {"alternator": "alternator with inverter", "battery": "mains-charged second battery", "gas": "gas burner"}


@dataclass(frozen=True)
class YearFlows:
    """Means over the winds of a year, (1 + draws,) W: heat while driving and standing; what is taken from fuel or pack
    above the vehicle without turbine, working and stowed; and by the alternator for each watt of heat.

    `drives` is false for a vehicle that parks: what driving takes and gives is then 0.
    """

    driving_heat_w: np.ndarray
    added_w: np.ndarray
    stowed_w: np.ndarray
    parked_heat_w: np.ndarray
    alternator_per_heat: np.ndarray
    drives: bool


@dataclass(frozen=True)
class HeatingWay:
    """One way to the heat of a year: what it costs to build, to run for a year, and for each kWh over its life.

    `pays_back_years` is when the turbine has made up for it (inf: never within its life), `pays_share` in how many of
    the simulations it does; None for the turbine itself.
    """

    key: str
    name: str
    build: Estimate
    per_year: Estimate
    per_kwh: Estimate
    pays_back_years: Estimate | None
    pays_share: float | None


@dataclass(frozen=True)
class Money:
    """The turbine in money against other ways to the same heat; money in `currency`."""

    currency: str
    life_years: Estimate
    hours: Mapping[str, Estimate]  # a year: driving, parked, carried
    per_euro: float  # what the assumed amounts, which are of euro or dollar, were multiplied by
    heat_kwh: Estimate  # a year
    source_kwh: Estimate  # a year from fuel or pack, for working and carrying
    turbine: HeatingWay
    others: tuple[HeatingWay, ...]
    assumed: tuple[Assumption, ...]
    remarks: tuple[str, ...]


def money_of(scenario: Scenario, flows: YearFlows) -> Money:
    """Return what the turbine costs over its life against other ways to its heat; entry 0 of the flows is as stated."""
    count = flows.driving_heat_w.size - 1
    values, assumed = values_of(scenario, _KEYS, _draws(scenario, count))
    costs = {key.partition(".")[2]: np.broadcast_to(np.asarray(v, float), (count + 1,)) for key, v in values.items()}
    currency, prices, remarks = _prices(scenario, count)
    per_euro = _per_euro(scenario, currency)
    left = {name for name in _IN_MONEY if name not in scenario.costs.model_fields_set}
    costs = {name: value * (per_euro if name in left else 1.0) for name, value in costs.items()}
    assumed = tuple(_in_currency(entry, per_euro) for entry in assumed)
    prices = {name: price * costs["energy_price_factor"] for name, price in prices.items()}
    driving, parked = costs["driving_hours"], costs["parked_hours"]
    heat_kwh = (flows.driving_heat_w * driving + flows.parked_heat_w * parked) / 1e3
    source_kwh = (flows.added_w * driving + flows.stowed_w * costs["carried_hours"]) / 1e3
    per_source_kwh = _price_of_source(scenario, prices)
    run = {
        "turbine": source_kwh * per_source_kwh,
        "alternator": heat_kwh * flows.alternator_per_heat * per_source_kwh,
        "battery": heat_kwh / costs["mains_charge_efficiency"] * prices["electricity"],
        "gas": heat_kwh / costs["burner_efficiency"] * prices["gas"] / (FUELS["lpg"].heating_value_j_per_m3 / 3.6e9),
    }
    build = {name: costs[f"{name}_parts"] + costs[f"{name}_hours"] * costs["hour_value"] for name in run}
    life = costs["life_years"]

    def way(key: str, name: str) -> HeatingWay:
        with np.errstate(divide="ignore", invalid="ignore"):
            each = np.where(heat_kwh > 0, (build[key] / life + run[key]) / heat_kwh, np.inf)
        years, share = None, None
        if key != "turbine":
            back = years_to_pay(build["turbine"] - build[key], run[key] - run["turbine"], life)
            back = np.where(heat_kwh > 0, back, np.inf)
            years, share = _estimate(back), float(np.mean(np.isfinite(back[1:] if count else back)))
        return HeatingWay(key, name, _estimate(build[key]), _estimate(run[key]), _estimate(each), years, share)

    used = ("driving", "parked", "carried") if flows.drives else ("parked",)
    hours = {name: _estimate(costs[f"{name}_hours"]) for name in used}
    others = dict(WAYS)
    if scenario.battery is not None:
        others["alternator"] = "the vehicle's own pack, with inverter"
    return Money(
        currency=currency,
        life_years=_estimate(life),
        hours=hours,
        per_euro=per_euro,
        heat_kwh=_estimate(heat_kwh),
        source_kwh=_estimate(source_kwh),
        turbine=way("turbine", "turbine"),
        others=tuple(way(key, name) for key, name in others.items()),
        assumed=assumed,
        remarks=remarks,
    )


def years_to_pay(more_to_build: Values, saved_a_year: Values, life_years: Values) -> np.ndarray:
    """Return after how many years a source has made up for another one; inf where it does not within its life.

    Parameters
    ----------
    more_to_build : float or array
        What it costs more to build [money]; negative where it is cheaper.
    saved_a_year : float or array
        What it saves a year [money/year]; negative where it is dearer to run.
    life_years : float or array
        How long both last [year].

    Returns
    -------
    array
        Years [year]: 0 where it is cheaper to build and stays ahead over its life.
    """
    more, saved, life = (np.asarray(v, float) for v in (more_to_build, saved_a_year, life_years))
    with np.errstate(divide="ignore", invalid="ignore"):
        years = np.where(more <= 0, 0.0, np.where(saved > 0, more / np.where(saved > 0, saved, 1.0), np.inf))
    return np.where(more <= saved * life, years, np.inf)


def _draws(scenario: Scenario, count: int) -> dict[str, Values]:
    """Return the costs' keys as (1 + count,) values: as stated, then draws."""
    if not count:
        return {}
    ranges = ranges_of(scenario, _KEYS)
    drawn = draws_of(ranges, sobol_sample(count, len(ranges), seed=_SEED))
    return {key: np.concatenate([[value.value], drawn[key]]) for key, value in ranges.items()}


def _prices(scenario: Scenario, count: int) -> tuple[str, dict[str, np.ndarray], tuple[str, ...]]:
    """Return the currency, the prices per litre or kWh (1 + count,), and what was assumed of them."""
    stated = {name: getattr(scenario.prices, name) for name in ASSUMED_PRICES}
    known = {name: price for name, price in stated.items() if isinstance(price, Price)}
    currency = next((price.currency for price in known.values()), ANY_CURRENCY)
    unit = sobol_sample(count, len(stated), seed=_SEED + 1) if count else np.zeros((0, len(stated)))
    prices, remarks, per_euro = {}, [], _per_euro(scenario, currency)
    for column, (name, of_euros) in enumerate(ASSUMED_PRICES.items()):
        usual = _times(of_euros, per_euro)
        price = known.get(name)
        if price is not None and price.currency == currency:
            prices[name] = np.full(1 + count, price.amount)
            continue
        prices[name] = np.concatenate([[usual.value], ppf(usual, unit[:, column])])
        why = "not given" if price is None else f"in {price.currency}, the others in {currency}"
        if name == "fuel" and scenario.battery is not None:  # its energy is priced as electricity: none was used
            continue
        per = "kWh" if name == "electricity" else "L"
        remarks.append(
            f"prices.{name} is {why}: {usual.value:g} {currency}/{per} ({usual.low:g} to {usual.high:g}) was used, "
            f"{NO_SOURCE}"
        )
    if per_euro != 1:
        remarks.append(
            f"amounts of money not given are at {figures(per_euro, 2)} {currency} to the euro, from the prices given"
        )
    return currency, prices, tuple(remarks)


def _per_euro(scenario: Scenario, currency: str) -> float:
    """Return what an assumed amount of euro or dollar is in the scenario's currency.

    1 where the stated prices look like those of a coin worth about a euro; else their mean ratio to the assumed ones.
    """
    stated = {name: getattr(scenario.prices, name) for name in ASSUMED_PRICES}
    ratios = [
        price.amount / ASSUMED_PRICES[name].value
        for name, price in stated.items()
        if isinstance(price, Price) and price.currency == currency and price.amount > 0
    ]
    ratio = float(np.exp(np.mean(np.log(ratios)))) if ratios else 1.0
    return 1.0 if 1 / _ABOUT_A_EURO <= ratio <= _ABOUT_A_EURO else ratio


def _times(value: Uncertain, factor: float) -> Uncertain:
    return Uncertain(value.value * factor, value.low * factor, value.high * factor, value.shape)


def _in_currency(entry: Assumption, per_euro: float) -> Assumption:
    """Return an assumed amount of money in the scenario's currency; other assumptions as they are."""
    if entry.key.partition(".")[2] not in _IN_MONEY or not isinstance(entry.value, float) or per_euro == 1:
        return entry
    low, high = (None if end is None else end * per_euro for end in (entry.low, entry.high))
    return replace(entry, value=entry.value * per_euro, low=low, high=high)


def _price_of_source(scenario: Scenario, prices: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return the price of a kWh out of fuel or pack."""
    if scenario.battery is not None:
        return prices["electricity"] / scenario.battery.charging_efficiency.value
    fuel = inputs_of(scenario).fuel
    assert fuel is not None
    return prices["fuel"] / (fuel.heating_value_j_per_m3 / 3.6e9)


def _estimate(values: np.ndarray) -> Estimate:
    """Return the median of the draws with the ends that hold `LEVEL` of them; without draws the value as stated."""
    if values.size == 1:
        return Estimate(float(values[0]), float(values[0]), float(values[0]), LEVEL)
    tail = (1 - LEVEL) / 2
    low, middle, high = np.quantile(values[1:], [tail, 0.5, 1 - tail], method="nearest")
    return Estimate(float(middle), float(low), float(high), LEVEL)
