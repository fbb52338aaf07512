"""What a kilowatt hour of heat takes, from the turbine and from elsewhere: one list for screen, chart and table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from energy.words.answer import other_money_per_hour
from energy.words.verdict import median_change_w, median_heat_w, number
from vehicle.driving.engine import Battery
from vehicle.units import UnitSystem, figures, label, to_user

if TYPE_CHECKING:
    from energy.chain.answer import Answered

_J_PER_KWH = 3.6e6
_SHORT = {"alternator": "alternator", "pack": "battery pack", "burner": "gas burner", "mains": "mains charge"}


@dataclass(frozen=True)
class HeatPrice:
    """What 1 kWh of heat takes from one source: an amount in `unit` to compare by, and the words for it."""

    source: str
    amount: float
    unit: str
    words: str


def prices_of_heat(answered: Answered, system: UnitSystem) -> tuple[HeatPrice, ...]:
    """Return the turbine first, then the other sources, all in one unit; empty where no heat is made.

    In money where every price is known, else in litres (or gallons) of what is burnt; for a battery drive in kWh of
    charge. A turbine that takes no fuel costs nothing. What has no price in that unit is left out, and so is exhaust
    heat, which is free but a workshop's job.
    """
    if median_heat_w(answered) <= 0.5:
        return ()
    return _in_money(answered) or _in_energy(answered, system)


def _per_kwh(answered: Answered, amount: float) -> float:
    """Return an amount per second, at the heat of the stated values, as an amount per kWh of heat."""
    heat = number(answered.answer.turbine.heat_power_w)
    return amount / heat * _J_PER_KWH if heat > 0 else math.nan


def _turbine_w(answered: Answered) -> float:
    """Return source power over heat (W/W) of the turbine, from the figures that the verdict states."""
    return max(median_change_w(answered), 0.0) / median_heat_w(answered)


def _in_money(answered: Answered) -> tuple[HeatPrice, ...]:
    prices, fuel, engine = answered.scenario.prices, answered.answer.inputs.fuel, answered.answer.inputs.engine
    price = prices.fuel if fuel is not None else prices.electricity
    if price is None:
        return ()
    if fuel is not None:
        own = _turbine_w(answered) * _J_PER_KWH / fuel.heating_value_j_per_m3 * 1e3 * price.amount
    else:
        assert isinstance(engine, Battery)
        own = _turbine_w(answered) / number(engine.charging_efficiency) * price.amount
    priced = [("turbine", own)]
    for name, short in _SHORT.items():
        if name in answered.answer.other_sources:
            money = other_money_per_hour(answered, name)
            if money is None:
                return ()
            priced.append((short, _per_kwh(answered, money / 3600.0)))
    return _listed(priced, f"{price.currency}/kWh", {})


def _in_energy(answered: Answered, system: UnitSystem) -> tuple[HeatPrice, ...]:
    prices, fuel, others = [], answered.answer.inputs.fuel, answered.answer.other_sources
    if fuel is None:
        engine = answered.answer.inputs.engine
        assert isinstance(engine, Battery)
        prices.append(("turbine", _turbine_w(answered) / number(engine.charging_efficiency)))
        prices += [
            (_SHORT[name], _per_kwh(answered, number(others[name].mains_w)) / _J_PER_KWH)
            for name in ("pack", "mains")
            if name in others
        ]
        return _listed(prices, "kWh of charge per kWh", {})
    per_litre = to_user(1.0, "volume", system)
    prices.append(("turbine", _turbine_w(answered) * _J_PER_KWH / fuel.heating_value_j_per_m3 * per_litre))
    prices.append((_SHORT["alternator"], _per_kwh(answered, number(others["alternator"].fuel_m3_s)) * per_litre))
    prices.append((_SHORT["burner"], _per_kwh(answered, number(others["burner"].gas_m3_s)) * per_litre))
    of = {"turbine": f" of {fuel.in_words}", "alternator": f" of {fuel.in_words}", "gas burner": " of gas"}
    return _listed(prices, label("volume", system), of)


def _listed(prices: list[tuple[str, float]], unit: str, of: dict[str, str]) -> tuple[HeatPrice, ...]:
    return tuple(
        HeatPrice(source, amount, unit, "free" if amount < 1e-6 else f"{figures(amount, 2)} {unit}{of.get(source, '')}")
        for source, amount in prices
        if math.isfinite(amount)
    )


def price_sentence(answered: Answered, system: UnitSystem) -> str:
    """Return which source's heat costs least, as the finding of the picture."""
    prices = prices_of_heat(answered, system)
    if not prices:
        return "No heat, so no price of heat"
    own, others = prices[0], prices[1:]
    if own.amount < 1e-6:
        return "The turbine's heat takes no extra fuel here"
    if not others:
        return f"1 kWh of heat from the turbine takes {own.words}"
    cheapest = min(others, key=lambda price: price.amount)
    if cheapest.amount <= 0:
        return f"1 kWh of heat from the turbine takes {own.words}; from the {cheapest.source} it is free"
    times = own.amount / cheapest.amount
    if times < 1:
        return f"The turbine's heat is the cheapest here: {own.words} for 1 kWh"
    return f"1 kWh of heat from the turbine takes {own.words}, {figures(times, 2)} times that of the {cheapest.source}"
