"""Loads by name to start from, until a builder has fitted his own from a log. Each number says where it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from energy.heat.load import HeatedLoad
from energy.heat.steps import HeaterError
from energy.heat.water import SPECIFIC_HEAT_J_KG_K
from vehicle.quantity import Uncertain

COMMON_PRACTICE = "common practice, no source"


def _between(value: float, low: float, high: float) -> Uncertain:
    return Uncertain(value, low, high, "triangular")


@dataclass(frozen=True)
class NamedLoad:
    """A load to start from: heat capacity (J/K) and loss (W/K) with their ranges and where they come from."""

    name: str
    heat_capacity_j_k: Uncertain
    capacity_source: str
    loss_w_k: Uncertain
    loss_source: str
    water_kg: float = 0.0

    def heater(self) -> HeatedLoad:
        """Return the load at its middle values, as one node.

        Returns
        -------
        The load.
        """
        return HeatedLoad(self.heat_capacity_j_k.value, self.loss_w_k.value, water_kg=self.water_kg)


def _positive(name: str, value: float, unit: str, most: float) -> None:
    if not 0 < value <= most:
        raise HeaterError(f"{name} is {value:g} {unit}; accepted: above 0, at most {most:g} {unit}")


def water_tank(litres: float, *, full: float = 1.0, vented: bool = True) -> NamedLoad:
    """Return an insulated water tank of some litres, filled to the share `full`.

    Loss: the standing loss that an energy label of class C allows at most, 16.66 + 8.33 V^0.4 W (V in litres, as
    transcribed in `tests/outside`), over a difference of 45 K (65 °C in a room of 20 °C, from memory). From half of
    that (a well-made small tank) to three times it (a home-made jacket, pipes, a rack in the wind).
    `vented` water can boil away; in a closed tank with its safety valve it is not modelled to boil.

    Parameters
    ----------
    litres : [L] volume
    full : [-] filled share, above 0, to 1
    vented : whether water can boil away

    Returns
    -------
    The load, with ranges.

    Raises
    ------
    HeaterError
        For a share that cannot be.

    References
    ----------
    .. [1] Commission Delegated Regulation (EU) No 812/2013, class C of hot-water storage tanks (number of the
       Regulation from memory); the rest common practice, no source.
    """
    _positive("the tank", litres, "L", 10_000)
    if not 0 < full <= 1:
        raise HeaterError(f"a tank is filled to a share above 0, up to 1, not {full:g}")
    kilograms = litres * full * 0.99  # between the densities at 20 and 70 °C
    water, steel = kilograms * SPECIFIC_HEAT_J_KG_K, 0.15 * litres * 490.0
    label = (16.66 + 8.33 * litres**0.4) / 45.0
    return NamedLoad(
        f"water tank, {litres:.3g} L",
        _between(steel + water, 0.3 * steel + water, 2.0 * steel + water),
        f"water: IAPWS SR6-08, 0.99 kg/L; vessel 0.05-0.3 kg of steel a litre: {COMMON_PRACTICE}",
        _between(label, 0.5 * label, 3.0 * label),
        f"EU energy label, class C limit of the standing loss, over 45 K (from memory); range: {COMMON_PRACTICE}",
        kilograms if vented else 0.0,
    )


def insulated_box(litres: float, *, insulation_mm: float = 40.0) -> NamedLoad:
    """Return an empty box of some litres inside, as a cube, lined with mineral wool or foam of 0.035-0.05 W/(m K).

    Walls: conduction through the insulation in series with 1/(7.9 W/(m² K)) inside (convection 2.50 and radiation 5.42,
    EN ISO 6946, quoted in Energies 14(18) 5953, 2021) and still air outside. Door, feed-throughs and corners add
    20-150 %.

    Parameters
    ----------
    litres : [L] volume inside
    insulation_mm : [mm] thickness of the lining

    Returns
    -------
    The load, with ranges.

    References
    ----------
    .. [1] EN ISO 6946, quoted in Energies 14(18) 5953 (2021); the rest common practice, no source.
    """
    _positive("the box", litres, "L", 10_000)
    _positive("its insulation", insulation_mm, "mm", 500)
    inside = 6.0 * (litres / 1000.0) ** (2 / 3)
    thickness = insulation_mm / 1000.0
    area = 0.5 * (inside + 6.0 * ((litres / 1000.0) ** (1 / 3) + 2 * thickness) ** 2)

    def loss(conductivity: float, leaks: float) -> float:
        return leaks * area / (thickness / conductivity + 2.0 / 7.92)

    lining = inside * 0.0015 * 7850.0 * 490.0  # 1.5 mm of sheet steel
    return NamedLoad(
        f"insulated box, {litres:.3g} L",
        _between(lining, 0.4 * lining, 2.5 * lining),
        f"1.5 mm of sheet steel inside, or wood, or racks: {COMMON_PRACTICE}",
        _between(loss(0.04, 1.5), loss(0.035, 1.2), loss(0.05, 2.5)),
        f"conduction through the insulation, films of EN ISO 6946 (2.50 + 5.42 W/(m² K)); leaks: {COMMON_PRACTICE}",
    )


def small_electric_oven() -> NamedLoad:
    """Return a table-top electric oven of 20-35 L, empty.

    One metered small oven (common practice, no source): 2.2 kW for 5 minutes to 200 °C, then about 1 kW to hold it:
    1 kW over 180 K is 5.6 W/K, and of the 0.183 kWh about 0.14 kWh are stored, 2.8 kJ/K.

    Returns
    -------
    The load, with ranges.

    References
    ----------
    .. [1] Common practice, no source.
    """
    return NamedLoad(
        "small electric oven",
        _between(2800.0, 1800.0, 5000.0),
        f"one metered oven, 0.183 kWh of preheat to 200 °C less its loss; range: {COMMON_PRACTICE}",
        _between(5.6, 3.5, 7.0),
        f"the same oven, about 1 kW to hold 200 °C; range: {COMMON_PRACTICE}",
    )


def domestic_oven() -> NamedLoad:
    """Return a built-in electric oven of 55-75 L, empty: 2-3 kW, 180 °C in 8-15 min, 0.6-1.2 kW to hold.

    Returns
    -------
    The load, with ranges.

    References
    ----------
    .. [1] Common practice, no source.
    """
    return NamedLoad(
        "domestic oven", _between(8500.0, 6500.0, 10500.0), COMMON_PRACTICE, _between(5.6, 3.8, 7.5), COMMON_PRACTICE
    )


def load_of_kind(kind: str, litres: float, *, full: float = 1.0, insulation_mm: float = 40.0) -> NamedLoad:
    """Return the load that a scenario calls by `kind`; litres matter for water_tank and insulated_box.

    Parameters
    ----------
    kind : "water_tank", "insulated_box", "small_electric_oven" or "domestic_oven"
    litres : [L] volume
    full : [-] filled share of a tank
    insulation_mm : [mm] lining of a box

    Returns
    -------
    The load, with ranges.
    """
    if kind == "water_tank":
        return water_tank(litres, full=full)
    if kind == "insulated_box":
        return insulated_box(litres, insulation_mm=insulation_mm)
    return {"small_electric_oven": small_electric_oven, "domestic_oven": domestic_oven}[kind]()


CONTENTS_J_KG_K: Mapping[str, tuple[float, str]] = {
    "water": (SPECIFIC_HEAT_J_KG_K, "IAPWS SR6-08"),
    "vegetables, fruit, fresh herbs (90 % water)": (3851.0, "Siebel's formula, from memory"),
    "potatoes (78 % water)": (3449.0, "Siebel's formula, from memory"),
    "lean meat (72 % water)": (3248.0, "Siebel's formula, from memory"),
    "dough (45 % water)": (2344.0, "Siebel's formula, from memory"),
    "cooking oil": (2000.0, "from memory"),
    "wood": (1600.0, "from memory"),
    "aluminium": (900.0, "from memory"),
    "fire brick, stone": (900.0, "from memory"),
    "steel": (490.0, "from memory"),
}
"""Specific heat of what is put in, J/(kg K), and where the number comes from."""

CONTENTS_BY_WORD: Mapping[str, str] = {
    **dict.fromkeys(("vegetables", "fruit", "herbs"), "vegetables, fruit, fresh herbs (90 % water)"),
    "water": "water",
    "potatoes": "potatoes (78 % water)",
    "meat": "lean meat (72 % water)",
    "dough": "dough (45 % water)",
    "oil": "cooking oil",
    "wood": "wood",
    "aluminium": "aluminium",
    "stone": "fire brick, stone",
    "steel": "steel",
}
"""What a scenario calls the contents, and their name in `CONTENTS_J_KG_K`."""
