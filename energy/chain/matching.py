"""Which pitch, ratio and element resistance give the most heat within the limits: at a steady speed, or over a trip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from energy.chain.ledger import Answer, answer
from energy.chain.limits import stated_limits
from energy.chain.outcome import Outcome, SteadyOrTrip, outcome_of, steady_outcome, trip_outcome
from energy.chain.settings import SETTINGS, Look, look_of
from energy.progress import Progress, tell
from energy.scenario.inputs import inputs_of
from energy.scenario.keys.names import QuantityKey
from energy.scenario.read import Scenario
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    from energy.chain.trip import TripAnswer

FLAT_SHARE = 0.05  # "as good as the best": within 5 % of its heat
THRIFTY_SHARE = 0.7  # the thriftiest setting still makes this share of the greatest heat
_ZOOMS = 4
_LOOKS = 14  # how often it looks while closing in on the thriftiest
_STARTS, _CANDIDATES = 4, 2000  # places from which it closes in, among so many of the least fuel per heat
_PITCHES = 41  # along one line of settings
# Times the heat, and more watts, that are worth turning blades for: own rule, beyond what the thriftiest gives up.
_CLEARLY_MORE, _WORTH_W = 1.05 / THRIFTY_SHARE, 20.0
_NO_FUEL_W = 0.05  # a change in fuel power that is none
_SHARES_DONE = (0.0, 0.4, 0.48, 0.56, 0.64, 0.72)  # of the time that a match takes, before each look and the thriftiest


@dataclass(frozen=True)
class _Effort:
    """How many values of each setting are looked at: at first (pitch, ratio, resistance), zooming in, closing in."""

    first: tuple[int, int, int]
    zoom: int
    close: int


# Over a trip a setting takes ten times as long to try.
_STEADY, _TRIP = _Effort((21, 25, 33), 15, 9), _Effort((13, 15, 19), 9, 5)


@dataclass(frozen=True)
class Setting(SteadyOrTrip):
    """One setting with what it gives: SI, pitch in degrees.

    `answer` holds at the stated values, which the limits are held against; `outcome` is the answer, over all draws.
    Over a trip both are means over its time, and `trip` is the answer of the whole.
    """

    pitch_deg: float
    ratio: float
    resistance_ohm: float
    answer: Answer
    outcome: Outcome
    trip: TripAnswer | None = None


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
    search = _searched(scenario, held, progress)
    first, best_at = search.first, search.best_at
    flat = tuple(
        _flatness(search.look, best_at, k, first) for k in range(3) if SETTINGS[k] not in held and np.ptp(first[k]) > 0
    )
    best = _setting(scenario, best_at)
    edge = tuple(
        SETTINGS[k]
        for k in range(3)
        if np.ptp(first[k]) > 0
        and (np.isclose(best_at[k], first[k][0], rtol=1e-3) or np.isclose(best_at[k], first[k][-1], rtol=1e-3))
    )
    tell(progress, 1.0)
    return Match(
        scenario=scenario,
        best=best,
        thriftiest=_setting(scenario, search.thrifty_at),
        own=_setting(scenario, _own_values(scenario)),
        flatness=flat,
        binding=_binding(best),
        at_edge=edge,
        tried=search.tried,
    )


@dataclass(frozen=True)
class _Search:
    """Where a search came to, in the order of `SETTINGS`, and with what it looked."""

    look: Look
    first: list[np.ndarray]
    best_at: np.ndarray
    thrifty_at: np.ndarray
    tried: int


def _searched(scenario: Scenario, held: tuple[str, ...], progress: Progress | None) -> _Search:
    """Return the settings of most heat and of least fuel per heat; see `match`."""
    if scenario.curves is None or scenario.generator is None or scenario.heater.resistance is None:
        raise InputError(
            Problem(
                scenario.name,
                "rotor.measured_power",
                "a measured table has no setting to match",
                "rotor.curves with [generator] and heater.resistance",
            )
        )
    look, effort = look_of(scenario), _effort_of(scenario)
    first = _first_ranges(scenario, _own_values(scenario), held)
    best_at, tried = _best(look, effort, first, progress)
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
    thrifty_at, more = _thriftiest(look, effort, first, best_at)
    best_heat, thrifty_heat = look(np.stack([best_at, thrifty_at])).heat_w
    if thrifty_heat > best_heat:  # in a corner between limits the closer look of the thriftiest finds more heat as well
        best_at = thrifty_at
    return _Search(look, first, best_at, thrifty_at, tried + more)


def _effort_of(scenario: Scenario) -> _Effort:
    return _STEADY if scenario.schedule is None else _TRIP


def _best(
    look: Look, effort: _Effort, first: list[np.ndarray], progress: Progress | None
) -> tuple[np.ndarray | None, int]:
    """Return the setting of most heat by looking and zooming in, None where none keeps the limits; and how many were
    tried.
    """
    ranges, tried = first, 0
    best_at: np.ndarray | None = None
    for step in range(1 + _ZOOMS):
        tell(progress, _SHARES_DONE[step])
        grid = _grid(ranges)
        tried += len(grid)
        heat = look(grid).heat_w
        if not np.isfinite(heat).any():
            break
        best_at = grid[int(np.nanargmax(heat))]
        ranges = _zoom(ranges, best_at, first, effort.zoom)
    return best_at, tried


def best_setting(scenario: Scenario) -> Setting | None:
    """Return the setting of most heat within the scenario's limits, None where none keeps them and makes heat.

    Its outcome is at the stated values: `over_draws` has it over all that is uncertain.
    """
    first = _first_ranges(scenario, _own_values(scenario), ())
    best_at, _ = _best(look_of(scenario), _effort_of(scenario), first, None)
    return None if best_at is None else _setting(scenario, best_at, exact=True)


def better_pitch(scenario: Scenario, own_heat_w: float) -> Setting | None:
    """Return the pitch of most heat within the limits at the steady speed, all else as set, at the stated values.

    None where it does not give clearly more than `own_heat_w`, or there is no pitch to choose. A look along one line
    of settings costs an answer next to nothing: a ratio or element as well could give more still.
    """
    curves = scenario.curves
    if scenario.schedule is not None or scenario.generator is None or scenario.heater.resistance is None:
        return None
    if curves is None or len(curves.pitch_deg) < 2:
        return None
    ranges = _first_ranges(scenario, _own_values(scenario), SETTINGS[1:])
    grid = _grid([np.linspace(ranges[0][0], ranges[0][-1], _PITCHES), *ranges[1:]])
    heat = np.nan_to_num(look_of(scenario)(grid).heat_w)
    at = int(np.argmax(heat))
    if heat[at] < max(_CLEARLY_MORE * own_heat_w, own_heat_w + _WORTH_W):
        return None
    return _setting(scenario, grid[at], exact=True)


def over_draws(scenario: Scenario, setting: Setting) -> Setting:
    """Return a setting with its outcome over all that is uncertain."""
    return _setting(scenario, np.array([setting.pitch_deg, setting.ratio, setting.resistance_ohm]))


def thriftiest(scenario: Scenario, held: tuple[str, ...], progress: Progress | None = None) -> Setting:
    """Return the setting of least fuel per heat, as `match` finds it: what to begin with.

    Not that of most heat, which often lies beside a stall or a limit that no guess can be trusted to miss. Its outcome
    is at the stated values: `over_draws` has it over all that is uncertain.
    """
    setting = _setting(scenario, _searched(scenario, held, progress).thrifty_at, exact=True)
    tell(progress, 1.0)
    return setting


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
    points = _effort_of(scenario).first
    full = [
        np.linspace(pitches[0], pitches[-1], points[0]) if len(pitches) > 1 else pitches[:1],
        own[1] * np.geomspace(0.25, 4, points[1]),
        own[2] * np.geomspace(0.1, 10, points[2]),
    ]
    return [own[k : k + 1] if SETTINGS[k] in held else full[k] for k in range(3)]


def _grid(ranges: list[np.ndarray]) -> np.ndarray:
    return np.stack([axis.ravel() for axis in np.meshgrid(*ranges, indexing="ij")], axis=1)


def _zoom(ranges: list[np.ndarray], best: np.ndarray, first: list[np.ndarray], points: int) -> list[np.ndarray]:
    closer = []
    for k, axis in enumerate(ranges):
        if len(axis) == 1:
            closer.append(axis)
            continue
        place = int(np.argmin(np.abs(axis - best[k])))
        low, high = axis[max(0, place - 2)], axis[min(len(axis) - 1, place + 2)]
        low, high = max(low, first[k][0]), min(high, first[k][-1])
        closer.append(np.unique(np.append(np.linspace(low, high, points), best[k])))
    return closer


def _thriftiest(look: Look, effort: _Effort, first: list[np.ndarray], best: np.ndarray) -> tuple[np.ndarray, int]:
    """Return the setting of least fuel per heat among those that make 70 % of the best heat, and how many were tried.

    From several places of the first look, as limits cut what is allowed into corners: each is closed in on by itself.
    """
    enough = THRIFTY_SHARE * float(look(best[None, :]).heat_w[0])
    grid = np.concatenate([_grid(first), best[None, :]])
    cost = _fuel_per_heat(look, grid, enough)
    tried, per_heat = len(grid), []
    for start in [best, *_apart(grid, cost, first)]:
        at, least, more = _closed_in(look, effort, start, first, enough)
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
    look: Look, effort: _Effort, start: np.ndarray, first: list[np.ndarray], enough_w: float
) -> tuple[np.ndarray, float, int]:
    """Return the setting of least fuel per heat near `start`, that fuel, and how many were tried.

    The look narrows only once its best no longer lies on its rim.
    """
    at, least, tried = start, np.inf, 0
    widths = [0.0 if len(axis) == 1 else 2.0 / (len(axis) - 1) for axis in first]  # of the whole range, to each side
    for _ in range(_LOOKS):
        ranges = [_around(axis, at[k], widths[k], effort.close) for k, axis in enumerate(first)]
        grid = np.concatenate([_grid(ranges), at[None, :]])
        cost = _fuel_per_heat(look, grid, enough_w)
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


def _around(whole: np.ndarray, middle: float, width: float, points: int) -> np.ndarray:
    """Return values around `middle` within the `whole` range, `width` of it to each side; ratios are in proportion."""
    if len(whole) == 1:
        return whole
    steps = np.linspace(-width, width, points)
    if np.isclose(whole[1] - whole[0], whole[-1] - whole[-2]):
        values = middle + steps * (whole[-1] - whole[0])
    else:
        values = middle * (whole[-1] / whole[0]) ** steps
    return np.unique(np.clip(values, whole[0], whole[-1]))


def _fuel_per_heat(look: Look, grid: np.ndarray, enough_w: float) -> np.ndarray:
    """Return the change in fuel (or pack) power per heat of each setting, mount drag and mass included.

    Infinite where a limit is passed or less than `enough_w` of heat is made. Where no setting changes the fuel
    (standing, or rolling downhill), the rotor's drag per heat (s/m) instead.
    """
    given = look(grid, fuel=True)
    fine = np.nan_to_num(given.heat_w, nan=-1.0) >= enough_w * (1 - 1e-12)
    burnt = given.change_w if bool(np.any(np.abs(given.change_w[fine]) > _NO_FUEL_W)) else given.rotor_drag_n
    return np.where(fine, burnt / np.where(fine, given.heat_w, 1.0), np.inf)


def _flatness(look: Look, best: np.ndarray, k: int, first: list[np.ndarray]) -> Flatness:
    low, high = (
        (best[k] - 0.5 * np.ptp(first[k]), best[k] + 0.5 * np.ptp(first[k])) if k == 0 else (best[k] / 4, best[k] * 4)
    )
    low, high = (max(low, first[k][0]), min(high, first[k][-1])) if k == 0 else (low, high)
    axis = np.unique(np.append(np.linspace(low, high, 401), best[k]))
    grid = np.repeat(best[None, :], len(axis), axis=0)
    grid[:, k] = axis
    heat = look(grid).heat_w
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


def _binding(best: Setting) -> tuple[str, ...]:
    stated = stated_limits(best.answer.inputs, best.at_its_most)
    return tuple(one.in_a_sentence for one in stated if float(np.max(one.share)) > 0.97)


def _setting(scenario: Scenario, at: np.ndarray, *, exact: bool = False) -> Setting:
    values: dict[QuantityKey, float] = {key: float(value) for key, value in zip(SETTINGS, at, strict=True)}
    where = float(at[0]), float(at[1]), float(at[2])
    if scenario.schedule is not None:
        from energy.chain.trip import answer_trip

        trip = answer_trip(scenario, values)
        return Setting(*where, trip.mean, trip_outcome(scenario, values, trip.mean), trip)
    stated = answer(inputs_of(scenario, {key: np.asarray(value) for key, value in values.items()}))
    if exact:
        return Setting(
            *where, stated, outcome_of((float(stated.change.power_w),), (float(stated.turbine.heat_power_w),))
        )
    return Setting(*where, stated, steady_outcome(scenario, values))


def heat_map(scenario: Scenario, ratio: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (resistances in ohm, pitches as the dial reads, heat in W (pitches, resistances)) at one ratio.

    Heat is NaN where a limit is passed or nothing turns.
    """
    _, _, resistances = _first_ranges(scenario, _own_values(scenario), ())
    resistances = np.geomspace(resistances[0], resistances[-1], 61)
    pitches = _first_ranges(scenario, _own_values(scenario), ())[0]
    if len(pitches) > 1:
        pitches = np.linspace(pitches[0], pitches[-1], _PITCHES)
    grid = _grid([pitches, np.array([ratio]), resistances])
    return resistances, pitches, look_of(scenario)(grid).heat_w.reshape(len(pitches), len(resistances))
