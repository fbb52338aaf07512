"""The published checks in words: finding, error in one line, source, and what a check does not cover."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from energy.chain.evidence import Check
from energy.words.result_model import Number, ResultModel, said

QUESTION = "Why believe these numbers?"
NOT_FOUND = (
    "No published measurement of a rotor on a vehicle was found: rotor and engine are each held to what was measured, "
    "the heater to a closed form only, the whole to nothing."
)


@dataclass(frozen=True)
class CheckWords:
    """One check in words."""

    key: str
    finding: str
    error: str
    source: str
    not_covered: str


class PublishedCheckData(ResultModel):
    """One check as data."""

    key: str = said("name of the check")
    finding: str = said("what it shows")
    error: str = said("its error in one line")
    source: str = said("where the measured values are published")
    not_covered: str = said("what the check says nothing about")
    figures: dict[str, Number] = said("its figures", "1 for shares and numbers of cases, K for temperatures")


class EvidenceData(ResultModel):
    """All checks, computed anew."""

    checks: list[PublishedCheckData] = said("one entry a check")
    not_found: str = said("what was looked for and not found")
    written: list[str] = said("files that were written")


def check_words(check: Check) -> CheckWords:
    """Return one check in words."""
    finding, error = _SAID[check.key](check.figures)
    source, not_covered = _SOURCES[check.key]
    return CheckWords(check.key, finding, error, source, not_covered)


def sentence(checks: Sequence[Check]) -> str:
    """Return the evidence in one sentence: what agrees, and what does not."""
    figures = {check.key: check.figures for check in checks}
    cars, rotor = figures["vehicles"], figures["rotor"]
    return (
        f"windtoll is off by {_percent(cars['petrol_error_50'])} (petrol) and {_percent(cars['diesel_error_50'])} "
        f"(diesel) in the highway fuel of {cars['petrol_vehicles'] + cars['diesel_vehicles']:.0f} certified vehicles "
        f"(median), by {_percent(rotor['power_error_at_7_m_s'])} in the power of a wind-tunnel rotor in attached flow, "
        f"and by {_in_stall(rotor)}, in deep stall."
    )


def as_data(checks: Sequence[Check], written: Sequence[str] = ()) -> dict[str, Any]:
    """Return all checks as data for `--json`."""
    rows = [
        PublishedCheckData.model_validate(vars(check_words(check)) | {"figures": check.figures}) for check in checks
    ]
    return EvidenceData(checks=rows, not_found=NOT_FOUND, written=list(written)).model_dump()


def _percent(share: float) -> str:
    return f"{100 * share:+.1f} %".replace("-", "−")


def _whole(share: float) -> str:
    return f"{100 * share:.3g} %"


def _rotor(f: dict[str, float]) -> tuple[str, str]:
    attached, stalled = f["power_error_at_7_m_s"], f["power_error_at_15_m_s"]
    return (
        f"Wind-tunnel rotor: power {_percent(attached)} in attached flow; in deep stall {_in_stall(f)}",
        f"At 7 m/s power {_percent(attached)}, thrust {_percent(f['thrust_error_at_7_m_s'])}; at 15 m/s, where the "
        f"blades are stalled, power {_percent(stalled)}, thrust {_percent(f['thrust_error_at_15_m_s'])}. With the "
        "section's polars measured at lower Reynolds numbers (pressure drag only) power there is "
        f"{_percent(f[f'lowest_{_OTHERS}'])} to {_percent(f[f'highest_{_OTHERS}'])}.",
    )


_OTHERS = "power_error_at_15_m_s_with_other_polars"


def _in_stall(f: dict[str, float]) -> str:
    """Return the error of power in deep stall, over the polars of the section."""
    errors = [f["power_error_at_15_m_s"], f[f"lowest_{_OTHERS}"], f[f"highest_{_OTHERS}"]]
    return f"{_percent(min(errors)).removesuffix(' %')} to {_percent(max(errors))}, by the polar taken"


def _vehicles(f: dict[str, float]) -> tuple[str, str]:
    def one(fuel: str) -> str:
        return (
            f"{fuel} {_percent(f[f'{fuel}_error_50'])} (90 % of them from {_percent(f[f'{fuel}_error_05'])} to "
            f"{_percent(f[f'{fuel}_error_95'])}; {_whole(f[f'{fuel}_within_15_percent'])} within 15 %)"
        )

    def change(fuel: str) -> str:
        return f"{f[f'{fuel}_measured_over_predicted_change']:.2f} ({fuel})"

    return (
        f"Certified vehicles: median error {_percent(f['petrol_error_50'])} for petrol, "
        f"{_percent(f['diesel_error_50'])} for diesel",
        f"Highway fuel: {one('petrol')}; {one('diesel')}. Between vehicles of one family with different road load, "
        f"fuel changes by {change('petrol')} and {change('diesel')} times what is predicted.",
    )


def _road_test(f: dict[str, float]) -> tuple[str, str]:
    return (
        f"Road test on real drives without a turbine: {_whole(f['false_alarms'])} false alarms where 5 % are allowed",
        f"{f['splits']:.0f} random orders of runs: an effect is found where there is none in "
        f"{_whole(f['false_alarms'])} (5 % allowed); 3 % more fuel is found as "
        f"{_percent(f['mean_effect_where_it_is_3_percent'])} on average, and "
        f"{_whole(f['coverage_of_3_percent'])} of the 95 % intervals hold it.",
    )


def _warm_up(f: dict[str, float]) -> tuple[str, str]:
    error_k = f["greatest_error_k"]
    worst, below = (f"{error_k:.1g} K", "") if error_k >= 1e-6 else ("a millionth of a kelvin", "below ")
    over = f"{f['time_constants']:.2g} time constants"
    return f"Warm-up: within {worst} of the closed form", f"Largest difference over {over}: {below}{worst}."


def _air(f: dict[str, float]) -> tuple[str, str]:
    worst = f"{100 * f['greatest_error']:.2g} %"
    return f"Air density: within {worst} of the standard table", f"Largest error from sea level to 3000 m: {worst}."


_SAID: dict[str, Callable[[dict[str, float]], tuple[str, str]]] = {
    "rotor": _rotor,
    "vehicles": _vehicles,
    "road_test": _road_test,
    "warm_up": _warm_up,
    "air": _air,
}
_SOURCES = {
    "rotor": (
        "NREL/TP-500-29955 (geometry, polars; DOI 10.2172/15000240) and phase VI means (DOI 10.21947/WDH-DAP/1910052); "
        "two blades, 10 m diameter, Reynolds number near one million",
        "another reference of the pitch (with it real power in deep stall is up to 2.3 times the computed), small "
        "rotors at low Reynolds numbers, bent plates, yaw, gusts, air that a vehicle has disturbed; thrust was "
        "estimated from blade pressures",
    ),
    "vehicles": (
        "US Environmental Protection Agency, test car lists of 2014 to 2019: certified road load in, highway CO2 out",
        "the friction default is fitted to these vehicles (the change with road load is not); cold engines, town, "
        "vans, motorhomes, hybrids, vehicles before 2014",
    ),
    "road_test": (
        "two logs of one petrol car, open dataset github.com/eron93br/carOBD (IEEE 8891367), cut into runs of 90 s",
        "other cars and readers, filling by tank, wind that differs between the runs with and without",
    ),
    "warm_up": (
        "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5, equation 5.25 (from memory)",
        "any measured load: how well capacity and loss of yours are known; radiation, boiling and a thermostat",
    ),
    "air": ("US Standard Atmosphere 1976, table (from memory)", "the weather of the day"),
}
