"""Which pitch, ratio and element resistance give the most heat at the scenario's speed, within its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from energy.chain.ledger import Answer, TurbineAtWork, answer, turbine_at_work
from energy.chain.limits import keeps_limits, stated_limits
from energy.chain.outcome import Outcome, steady_outcome
from energy.progress import Progress, tell
from energy.scenario.inputs import Inputs, inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem

SETTINGS: tuple[QuantityKey, ...] = ("rotor.pitch", "drive.ratio", "heater.resistance")
FLAT_SHARE = 0.05  # "as good as the best": within 5 % of its heat
THRIFTY_SHARE = 0.7  # the thriftiest setting still makes this share of the greatest heat
_POINTS = (21, 25, 33)  # of pitch, ratio, resistance in the first look
_ZOOMS = 4
_POINTS_CLOSE, _LOOKS = 9, 14  # of each setting while closing in on the thriftiest, and how often it looks
_STARTS, _CANDIDATES = 4, 2000  # places from which it closes in, among so many of the least fuel per heat
_NO_FUEL_W = 0.05  # a change in fuel power that is none
_SHARES_DONE = (0.0, 0.4, 0.48, 0.56, 0.64, 0.72)  # of the time that a match takes, before each look and the thriftiest


@dataclass(frozen=True)
class Setting:
    """One setting with what it gives: SI, pitch in degrees.

    `answer` holds at the stated values, which the limits are held against; `outcome` is the answer, over all draws.
    """

    pitch_deg: float
    ratio: float
    resistance_ohm: float
    answer: Answer
    outcome: Outcome


@dataclass(frozen=True)
class Flatness:
    """The range of one setting (others held at the best) within which heat stays within 5 % of the best."""

    key: str
    low: float
    high: float
    low_is_limit: bool  # a limit, not the heat, ends the range there
    high_is_limit: bool


@dataclass(frozen=True)
class Match:
    """The best setting, the thriftiest one, the scenario's own, how flat the best is, and which limits bind."""

    scenario: Scenario
    best: Setting
    thriftiest: Setting
    own: Setting
    flatness: tuple[Flatness, ...]
    binding: tuple[str, ...]
    at_edge: tuple[str, ...]
    tried: int


def match(scenario: Scenario, held: tuple[str, ...] = (), progress: Progress | None = None) -> Match:
    """Return the setting with the most heat within the scenario's limits; keys of `held` keep the scenario's value.

    Looks over a grid of pitch (that of the curves), ratio (0.25 to 4 times the scenario's) and resistance (0.1 to 10
    times), then zooms in. `progress` is told the share done (see energy/progress.py). Raises InputError where
    no setting keeps the limits.
    """
    if scenario.curves is None or scenario.generator is None or scenario.heater.resistance is None:
        raise InputError(
            Problem(
                scenario.name,
                "rotor.measured_power",
                "a measured table has no setting to match",
                "rotor.curves with [generator] and heater.resistance",
            )
        )
    own = _own_values(scenario)
    first = _first_ranges(scenario, own, held)
    best_at, tried = _best(scenario, first, progress)
    if best_at is None:
        raise InputError(
            Problem(
                scenario.name,
                "rotor",
                "no pitch, ratio and resistance keeps every limit and makes heat",
                "wider limits (highest_rotor_speed, highest_tip_speed, highest_thrust, highest_current, rated_power)",
            )
        )
    tell(progress, _SHARES_DONE[-1])
    thrifty_at, more = _thriftiest(scenario, first, best_at)
    flat = tuple(
        _flatness(scenario, best_at, k, first) for k in range(3) if SETTINGS[k] not in held and np.ptp(first[k]) > 0
    )
    inputs, turbine = _at(scenario, best_at[None, :])
    edge = tuple(
        SETTINGS[k]
        for k in range(3)
        if np.ptp(first[k]) > 0
        and (np.isclose(best_at[k], first[k][0], rtol=1e-3) or np.isclose(best_at[k], first[k][-1], rtol=1e-3))
    )
    tell(progress, 1.0)
    return Match(
        scenario=scenario,
        best=_setting(scenario, best_at),
        thriftiest=_setting(scenario, thrifty_at),
        own=_setting(scenario, own),
        flatness=flat,
        binding=_binding(inputs, turbine),
        at_edge=edge,
        tried=tried + more,
    )


def _best(scenario: Scenario, first: list[np.ndarray], progress: Progress | None) -> tuple[np.ndarray | None, int]:
    """Return the setting of most heat by looking and zooming in, None where none keeps the limits; and how many were
    tried.
    """
    ranges, tried = first, 0
    best_at: np.ndarray | None = None
    for step in range(1 + _ZOOMS):
        tell(progress, _SHARES_DONE[step])
        grid = _grid(ranges)
        tried += len(grid)
        heat = _heat_within_limits(scenario, grid)
        if not np.isfinite(heat).any():
            break
        best_at = grid[int(np.nanargmax(heat))]
        ranges = _zoom(ranges, best_at, first)
    return best_at, tried


def best_setting(scenario: Scenario) -> Setting | None:
    """Return the setting of most heat within the scenario's limits, None where none keeps them and makes heat.

    Its outcome is at the stated values: `over_draws` has it over all that is uncertain.
    """
    best_at, _ = _best(scenario, _first_ranges(scenario, _own_values(scenario), ()), None)
    return None if best_at is None else _setting(scenario, best_at, exact=True)


def over_draws(scenario: Scenario, setting: Setting) -> Setting:
    """Return a setting with its outcome over all that is uncertain."""
    return _setting(scenario, np.array([setting.pitch_deg, setting.ratio, setting.resistance_ohm]))


def thriftiest(scenario: Scenario, held: tuple[str, ...], progress: Progress | None = None) -> Setting:
    """Return the setting of least fuel per heat, as `match` finds it: what to begin with.

    Not that of most heat, which often lies beside a stall or a limit that no guess can be trusted to miss.
    """
    return match(scenario, held, progress).thriftiest


def _own_values(scenario: Scenario) -> np.ndarray:
    assert scenario.curves is not None
    assert scenario.heater.resistance is not None
    pitch = (
        scenario.rotor.pitch.value
        if scenario.rotor.pitch is not None
        else float(scenario.pitch_convention.setting_deg(scenario.curves.pitch_deg[:1])[0])
    )
    return np.array([pitch, scenario.drive.ratio.value, scenario.heater.resistance.value])


def _first_ranges(scenario: Scenario, own: np.ndarray, held: tuple[str, ...]) -> list[np.ndarray]:
    assert scenario.curves is not None
    pitches = np.sort(scenario.pitch_convention.setting_deg(scenario.curves.pitch_deg))  # as the dial reads
    full = [
        np.linspace(pitches[0], pitches[-1], _POINTS[0]) if len(pitches) > 1 else pitches[:1],
        own[1] * np.geomspace(0.25, 4, _POINTS[1]),
        own[2] * np.geomspace(0.1, 10, _POINTS[2]),
    ]
    return [own[k : k + 1] if SETTINGS[k] in held else full[k] for k in range(3)]


def _grid(ranges: list[np.ndarray]) -> np.ndarray:
    return np.stack([axis.ravel() for axis in np.meshgrid(*ranges, indexing="ij")], axis=1)


def _at(scenario: Scenario, grid: np.ndarray) -> tuple[Inputs, TurbineAtWork]:
    inputs = inputs_of(scenario, dict(zip(SETTINGS, grid.T, strict=True)))
    return inputs, turbine_at_work(inputs, with_free_run=False)


def _heat_within_limits(scenario: Scenario, grid: np.ndarray) -> np.ndarray:
    """Return the heat (W) of each setting, NaN where a limit is passed, nothing turns or the curves do not reach."""
    return _legal_heat(*_at(scenario, grid))


def _legal_heat(inputs: Inputs, turbine: TurbineAtWork) -> np.ndarray:
    fine = turbine.turning & ~turbine.beyond_data & (turbine.heat_power_w > 0) & keeps_limits(inputs, turbine)
    return np.where(fine, turbine.heat_power_w, np.nan)


def _zoom(ranges: list[np.ndarray], best: np.ndarray, first: list[np.ndarray]) -> list[np.ndarray]:
    closer = []
    for k, axis in enumerate(ranges):
        if len(axis) == 1:
            closer.append(axis)
            continue
        place = int(np.argmin(np.abs(axis - best[k])))
        low, high = axis[max(0, place - 2)], axis[min(len(axis) - 1, place + 2)]
        low, high = max(low, first[k][0]), min(high, first[k][-1])
        closer.append(np.unique(np.append(np.linspace(low, high, 15), best[k])))
    return closer


def _thriftiest(scenario: Scenario, first: list[np.ndarray], best: np.ndarray) -> tuple[np.ndarray, int]:
    """Return the setting of least fuel per heat among those that make 70 % of the best heat, and how many were tried.

    From several places of the first look, as limits cut what is allowed into corners: each is closed in on by itself.
    """
    enough = THRIFTY_SHARE * float(_heat_within_limits(scenario, best[None, :])[0])
    grid = np.concatenate([_grid(first), best[None, :]])
    cost = _fuel_per_heat(scenario, grid, enough)
    tried, per_heat = len(grid), []
    for start in [best, *_apart(grid, cost, first)]:
        at, least, more = _closed_in(scenario, start, first, enough)
        tried += more
        per_heat.append((least, at))
    return min(per_heat, key=lambda pair: pair[0])[1], tried


def _apart(grid: np.ndarray, cost: np.ndarray, first: list[np.ndarray]) -> list[np.ndarray]:
    """Return the settings of least cost that lie at least three cells of the first look from each other."""
    cells = np.stack([np.searchsorted(axis, grid[:, k]) for k, axis in enumerate(first)], axis=1)
    starts: list[int] = []
    for place in np.argsort(cost)[:_CANDIDATES]:
        if np.isfinite(cost[place]) and all(np.abs(cells[place] - cells[other]).max() >= 3 for other in starts):
            starts.append(int(place))
        if len(starts) == _STARTS:
            break
    return [grid[place] for place in starts]


def _closed_in(
    scenario: Scenario, start: np.ndarray, first: list[np.ndarray], enough_w: float
) -> tuple[np.ndarray, float, int]:
    """Return the setting of least fuel per heat near `start`, that fuel, and how many were tried.

    The look narrows only once its best no longer lies on its rim.
    """
    at, least, tried = start, np.inf, 0
    widths = [0.0 if len(axis) == 1 else 2.0 / (len(axis) - 1) for axis in first]  # of the whole range, to each side
    for _ in range(_LOOKS):
        ranges = [_around(axis, at[k], widths[k]) for k, axis in enumerate(first)]
        grid = np.concatenate([_grid(ranges), at[None, :]])
        cost = _fuel_per_heat(scenario, grid, enough_w)
        tried += len(grid)
        place = int(np.argmin(cost))
        if not np.isfinite(cost[place]):
            break
        at, least = grid[place], float(cost[place])
        rim = any(
            len(axis) > 1 and at[k] in (axis[0], axis[-1]) and first[k][0] < at[k] < first[k][-1]
            for k, axis in enumerate(ranges)
        )
        if not rim:
            widths = [0.4 * width for width in widths]
    return at, least, tried


def _around(whole: np.ndarray, middle: float, width: float) -> np.ndarray:
    """Return values around `middle` within the `whole` range, `width` of it to each side; ratios are in proportion."""
    if len(whole) == 1:
        return whole
    steps = np.linspace(-width, width, _POINTS_CLOSE)
    if np.isclose(whole[1] - whole[0], whole[-1] - whole[-2]):
        values = middle + steps * (whole[-1] - whole[0])
    else:
        values = middle * (whole[-1] / whole[0]) ** steps
    return np.unique(np.clip(values, whole[0], whole[-1]))


def _fuel_per_heat(scenario: Scenario, grid: np.ndarray, enough_w: float) -> np.ndarray:
    """Return the change in fuel (or pack) power per heat of each setting, mount drag and mass included.

    Infinite where a limit is passed or less than `enough_w` of heat is made. Where no setting changes the fuel
    (standing, or rolling downhill), the rotor's drag per heat (s/m) instead.
    """
    inputs, turbine = _at(scenario, grid)
    outcome = answer(inputs, turbine, with_other_sources=False)
    heat = _legal_heat(outcome.inputs, outcome.turbine)
    fine = np.nan_to_num(heat, nan=-1.0) >= enough_w * (1 - 1e-12)
    change = np.broadcast_to(outcome.change.power_w, heat.shape)
    burnt = change if bool(np.any(np.abs(change[fine]) > _NO_FUEL_W)) else outcome.turbine.rotor_drag_n
    return np.where(fine, burnt / np.where(fine, heat, 1.0), np.inf)


def _flatness(scenario: Scenario, best: np.ndarray, k: int, first: list[np.ndarray]) -> Flatness:
    low, high = (
        (best[k] - 0.5 * np.ptp(first[k]), best[k] + 0.5 * np.ptp(first[k])) if k == 0 else (best[k] / 4, best[k] * 4)
    )
    low, high = (max(low, first[k][0]), min(high, first[k][-1])) if k == 0 else (low, high)
    axis = np.unique(np.append(np.linspace(low, high, 401), best[k]))
    grid = np.repeat(best[None, :], len(axis), axis=0)
    grid[:, k] = axis
    heat = _heat_within_limits(scenario, grid)
    place = int(np.argmin(np.abs(axis - best[k])))
    good = heat >= (1 - FLAT_SHARE) * heat[place]
    start = place
    while start > 0 and good[start - 1]:
        start -= 1
    stop = place
    while stop < len(axis) - 1 and good[stop + 1]:
        stop += 1
    return Flatness(
        SETTINGS[k],
        float(axis[start]),
        float(axis[stop]),
        low_is_limit=start > 0 and bool(np.isnan(heat[start - 1])),
        high_is_limit=stop < len(axis) - 1 and bool(np.isnan(heat[stop + 1])),
    )


def _binding(inputs: Inputs, turbine: TurbineAtWork) -> tuple[str, ...]:
    return tuple(one.in_a_sentence for one in stated_limits(inputs, turbine) if float(np.max(one.share)) > 0.97)


def _setting(scenario: Scenario, at: np.ndarray, *, exact: bool = False) -> Setting:
    values: dict[QuantityKey, float] = {key: float(value) for key, value in zip(SETTINGS, at, strict=True)}
    stated = answer(inputs_of(scenario, {key: np.asarray(value) for key, value in values.items()}))
    outcome = steady_outcome(scenario, values, exact=exact)
    return Setting(float(at[0]), float(at[1]), float(at[2]), stated, outcome)


def heat_map(scenario: Scenario, ratio: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (resistances in ohm, pitches as the dial reads, heat in W (pitches, resistances)) at one ratio.

    Heat is NaN where a limit is passed or nothing turns.
    """
    _, _, resistances = _first_ranges(scenario, _own_values(scenario), ())
    resistances = np.geomspace(resistances[0], resistances[-1], 61)
    pitches = _first_ranges(scenario, _own_values(scenario), ())[0]
    if len(pitches) > 1:
        pitches = np.linspace(pitches[0], pitches[-1], 41)
    grid = _grid([pitches, np.array([ratio]), resistances])
    return resistances, pitches, _heat_within_limits(scenario, grid).reshape(len(pitches), len(resistances))
