"""The tables of the scenario file: what each key means, its unit, limits, default and source, how it is measured.

One declaration a key, in the module of its subject. A key added there appears in `windtoll keys`;
energy/scenario/inputs.py reads it.
"""

from __future__ import annotations

import functools

from energy.scenario.keys.air import Air, WindClimate
from energy.scenario.keys.base import NO_SOURCE, Price, Table
from energy.scenario.keys.costs import CostsTable
from energy.scenario.keys.garage import Bearing, BladeLoads, Gust, Linkage, Mount
from energy.scenario.keys.heat import CreditTable, HeaterTable, LoadTable, OtherSourcesTable, Prices
from energy.scenario.keys.knowledge import MeasurementTable, UncertaintyTable
from energy.scenario.keys.rotor import BladeTable, Drive, GeneratorTable, RotorTable
from energy.scenario.keys.vehicle import BatteryTable, EngineTable, TripTable, VehicleTable
from vehicle.quantity import Spec

__all__ = ["MAY_BE_LEFT_OUT", "NO_SOURCE", "TABLES", "TEXTS", "UNUSUAL", "Price", "Table", "quantity_keys", "spec_of"]

TABLES: dict[str, type[Table]] = {
    "air": Air,
    "rotor": RotorTable,
    "blade": BladeTable,
    "drive": Drive,
    "generator": GeneratorTable,
    "heater": HeaterTable,
    "load": LoadTable,
    "vehicle": VehicleTable,
    "engine": EngineTable,
    "battery": BatteryTable,
    "trip": TripTable,
    "wind_climate": WindClimate,
    "credit": CreditTable,
    "other_sources": OtherSourcesTable,
    "prices": Prices,
    "costs": CostsTable,
    "uncertainty": UncertaintyTable,
    "gust": Gust,
    "mount": Mount,
    "bearing": Bearing,
    "blade_loads": BladeLoads,
    "linkage": Linkage,
    "measurement": MeasurementTable,
}
TEXTS = ("title", "note")
UNUSUAL = "unusual"  # the list of keys, at the top of the file, whose values are meant though they are not plausible
# May be left out: all their keys have defaults.
MAY_BE_LEFT_OUT = (
    "air",
    "drive",
    "heater",
    "load",
    "credit",
    "other_sources",
    "prices",
    "costs",
    "gust",
    "measurement",
    "uncertainty",
)


@functools.cache  # every answer asks it of every key
def spec_of(key: str) -> Spec:
    """Return the rules of a quantity's key ("rotor.diameter")."""
    table, name = key.split(".")
    spec = _spec(TABLES[table], name)
    assert spec is not None
    return spec


def quantity_keys() -> list[str]:
    """Return the keys of all tables that hold a quantity, or a list of them."""
    return [f"{table}.{name}" for table, model in TABLES.items() for name in model.model_fields if _spec(model, name)]


def _spec(model: type[Table], name: str) -> Spec | None:
    extra = model.model_fields[name].json_schema_extra
    spec = extra.get("spec") if isinstance(extra, dict) else None
    return spec if isinstance(spec, Spec) else None
