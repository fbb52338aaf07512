"""The search for a setting on heats and fuels of closed form, whose best, thriftiest and flat places are known."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from ledger_by_hand import number

from energy.chain import matching as chain
from energy.chain.load import load
from energy.chain.settings import SETTINGS, Given, look_of
from energy.chain.trip import answer_trip
from energy.scenario.read import Scenario

FIRST = [np.linspace(0, 18, 7), 2.5 * np.geomspace(0.25, 4, 9), 9.0 * np.geomspace(0.1, 10, 9)]
EFFORT = chain._Effort((7, 9, 9), 9, 5)
PEAK = (7.3, 3.1, 12.0)


def bell(settings: np.ndarray) -> np.ndarray:
    """1 kW at `PEAK`, falling with the squares of degrees and of logarithms of ratios."""
    pitch, ratio, ohms = settings.T
    off = ((pitch - PEAK[0]) / 6) ** 2 + np.log(ratio / PEAK[1]) ** 2 + (np.log(ohms / PEAK[2]) / 2) ** 2
    return 1000 / (1 + off)


def looks(
    heat: Callable[[np.ndarray], np.ndarray],
    change: Callable[[np.ndarray], np.ndarray] = lambda s: np.full(len(s), 500.0),
    drag: Callable[[np.ndarray], np.ndarray] = lambda s: np.full(len(s), 50.0),
) -> Callable[..., Given]:
    """Return what tries settings of such a rotor; the fuel is not known where it is not asked for."""

    def look(settings: np.ndarray, *, fuel: bool = False) -> Given:
        return Given(heat(settings), change(settings) if fuel else np.full(len(settings), np.nan), drag(settings))

    return look


def counted(look: Callable[..., Given], counts: list[int]) -> Callable[..., Given]:
    """Return a look that notes how many settings it was given."""

    def noted(settings: np.ndarray, *, fuel: bool = False) -> Given:
        counts.append(len(settings))
        return look(settings, fuel=fuel)

    return noted


def test_every_setting_that_was_tried_is_counted() -> None:
    counts: list[int] = []
    look = counted(looks(bell, lambda s: 2000 - bell(s)), counts)
    _, tried = chain._best(look, EFFORT, FIRST, None)
    assert tried == sum(counts)
    counts.clear()
    _, _, tried = chain._closed_in(look, EFFORT, np.array([2.0, 1.2, 5.0]), FIRST, 0.0)
    assert tried == sum(counts)
    counts.clear()
    _, tried = chain._thriftiest(look, EFFORT, FIRST, np.array(PEAK))
    assert tried == sum(counts) - 1  # but for the best, whose heat is asked for once more


def test_the_best_is_closed_in_on() -> None:
    shares: list[float] = []
    best, tried = chain._best(looks(bell), EFFORT, FIRST, shares.append)
    assert best is not None
    assert best == pytest.approx(PEAK, rel=5e-3)
    assert bell(best[None, :])[0] > 999.9
    assert tried >= 7 * 9 * 9 + 4 * 9 * 9 * 9
    assert tried <= 7 * 9 * 9 + 4 * 10 * 10 * 10
    assert shares == [0.0, 0.4, 0.48, 0.56, 0.64]
    assert chain._best(looks(lambda s: np.full(len(s), np.nan)), EFFORT, FIRST, None) == (None, 567)


def test_a_best_at_the_edge_stays_within_the_first_look() -> None:
    best, _ = chain._best(looks(lambda s: s[:, 0] - s[:, 1] + s[:, 2]), EFFORT, FIRST, None)
    assert best == pytest.approx((18.0, 0.625, 90.0))


def test_a_look_closer_keeps_the_best_and_its_neighbours() -> None:
    """Two old values to each side, held to the first look; a held value stays; the best itself is looked at again."""
    ranges = [np.array([0.0, 3.0, 6.0, 9.0, 12.0]), np.array([2.5]), np.array([1.0, 2.0, 4.0, 8.0, 16.0])]
    closer = chain._zoom(ranges, np.array([6.0, 2.5, 16.0]), ranges, 4)
    assert closer[0] == pytest.approx([0.0, 4.0, 6.0, 8.0, 12.0])
    assert closer[1].tolist() == [2.5]
    assert closer[2] == pytest.approx([4.0, 8.0, 12.0, 16.0])
    # Narrower ranges than the first ones are held to them alone.
    inner = [np.array([-1.0, 3.0, 7.0]), np.array([2.5]), np.array([7.0, 14.0, 28.0])]
    held = chain._zoom(inner, np.array([3.0, 2.5, 14.0]), ranges, 3)
    assert held[0] == pytest.approx([0.0, 3.0, 3.5, 7.0])
    assert held[2] == pytest.approx([7.0, 11.5, 14.0, 16.0])
    low = chain._zoom([np.linspace(0, 10, 11), *ranges[1:]], np.array([9.0, 2.5, 1.0]), ranges, 3)
    assert low[0] == pytest.approx([7.0, 8.5, 9.0, 10.0])
    assert low[2] == pytest.approx([1.0, 2.5, 4.0])


def test_values_around_a_middle() -> None:
    """Degrees in even steps, ratios in even proportions; nothing outside the whole range; a held one stays."""
    degrees = np.linspace(0, 20, 5)
    assert chain._around(degrees, 10.0, 0.1, 5) == pytest.approx([8, 9, 10, 11, 12])
    assert chain._around(degrees, 19.0, 0.1, 3) == pytest.approx([17, 19, 20])
    assert chain._around(degrees, 0.0, 0.1, 3) == pytest.approx([0, 2])
    proportions = np.geomspace(1, 16, 5)
    assert chain._around(proportions, 4.0, 0.25, 3) == pytest.approx([2, 4, 8])
    assert chain._around(proportions, 12.0, 0.25, 3) == pytest.approx([6, 12, 16])
    assert chain._around(np.array([2.5]), 2.5, 0.3, 5).tolist() == [2.5]


def test_fuel_per_heat_counts_only_where_enough_heat_is_made() -> None:
    heats = np.array([1000.0, 700.0, 699.9, np.nan, 900.0])
    burnt = np.array([3000.0, 1400.0, 10.0, 0.0, -90.0])
    grid = np.zeros((5, 3))
    look = looks(lambda s: heats, lambda s: burnt)
    cost = chain._fuel_per_heat(look, grid, 700.0)
    assert cost[[0, 1, 4]] == pytest.approx([3.0, 2.0, -0.1])
    assert np.isinf(cost[[2, 3]]).all()
    # Fuel that changes nowhere by more than a twentieth of a watt: drag per heat decides.
    drag = np.array([50.0, 20.0, 1.0, 1.0, 90.0])
    parked = looks(lambda s: heats, lambda s: np.array([0.04, 0.0, 9.0, 9.0, -0.04]), lambda s: drag)
    assert chain._fuel_per_heat(parked, grid, 700.0)[[0, 1, 4]] == pytest.approx([0.05, 20 / 700, 0.1])
    rolls = looks(lambda s: heats, lambda s: np.array([0.04, 0.0, 9.0, 9.0, -0.06]), lambda s: drag)
    assert chain._fuel_per_heat(rolls, grid, 700.0)[[0, 1, 4]] == pytest.approx([4e-5, 0.0, -0.06 / 900])


def test_the_thriftiest_makes_seven_tenths_of_the_best() -> None:
    """Fuel of 200 W and 0.05 W for heat to the power 1.5: per heat it falls to its least, and rises."""

    def fuel(settings: np.ndarray) -> np.ndarray:
        return 0.05 * bell(settings) ** 1.5 + 200

    # d/dh (200 / h + 0.05 h^0.5) = 0 at h = (200 / 0.025)^(2/3) = 400 W: below seven tenths, which therefore bind.
    best = np.array(PEAK)
    at, tried = chain._thriftiest(looks(bell, fuel), EFFORT, FIRST, best)
    assert bell(at[None, :])[0] == pytest.approx(700, rel=2e-3)
    assert bell(at[None, :])[0] >= 700 * (1 - 1e-9)
    assert tried > 568

    def heavy(settings: np.ndarray) -> np.ndarray:
        return 0.05 * bell(settings) ** 1.5 + 650

    # (650 / 0.025)^(2/3) = 878 W: above them, found by itself.
    at, _ = chain._thriftiest(looks(bell, heavy), EFFORT, FIRST, best)
    assert bell(at[None, :])[0] == pytest.approx((650 / 0.025) ** (2 / 3), rel=0.02)


def test_places_to_close_in_from_lie_apart() -> None:
    """Of least cost first, three cells of the first look from each other, four at most, none that costs infinitely."""
    first = [np.arange(12.0), np.array([1.0]), np.array([1.0])]
    grid = np.stack([np.arange(12.0), np.ones(12), np.ones(12)], axis=1)
    cost = np.array([5.0, 1.0, 2.0, 3.0, 0.5, 9.0, 9.5, 4.0, 10.0, 11.0, 12.0, np.inf])
    found = [at[0] for at in chain._apart(grid, cost, first)]
    assert found == [4.0, 1.0, 7.0, 10.0]
    cost[10] = np.inf
    assert [at[0] for at in chain._apart(grid, cost, first)] == [4.0, 1.0, 7.0]
    wide = np.stack([np.arange(30.0), np.ones(30), np.ones(30)], axis=1)
    apart = chain._apart(wide, np.arange(30.0), [np.arange(30.0), first[1], first[2]])
    assert [at[0] for at in apart] == [0.0, 3.0, 6.0, 9.0]


def test_closing_in_goes_where_the_least_lies() -> None:
    def fuel(settings: np.ndarray) -> np.ndarray:
        return 2000 - bell(settings)

    look = looks(bell, fuel)
    start = np.array([2.0, 1.2, 5.0])
    at, least, tried = chain._closed_in(look, EFFORT, start, FIRST, 0.0)
    assert at == pytest.approx(PEAK, rel=0.02)
    assert least == pytest.approx(1.0, rel=1e-4)  # 1000 W of fuel for 1000 W of heat
    assert tried <= 14 * 126
    held = [FIRST[0], FIRST[1][4:5], FIRST[2]]
    kept, _, _ = chain._closed_in(look, EFFORT, np.array([7.0, 2.5, 12.0]), held, 0.0)
    assert kept[1] == 2.5
    nowhere, least, tried = chain._closed_in(look, EFFORT, start, FIRST, 1e9)
    assert (nowhere.tolist(), least) == (start.tolist(), np.inf)
    assert 100 <= tried <= 126


@pytest.mark.parametrize("k", [0, 1, 2])
def test_how_flat_the_best_is(k: int) -> None:
    """1000 / (1 + x²) W is 5 % less at x² = 1/19: the width of the bell there, or the limit before."""
    best = np.array(PEAK)
    x = math.sqrt(1 / 0.95 - 1)
    ends = [
        (PEAK[0] - 6 * x, PEAK[0] + 6 * x),
        *((p / math.exp(s * x), p * math.exp(s * x)) for p, s in zip(PEAK[1:], (1, 2), strict=True)),
    ]
    low, high = ends[k]
    step = [18 / 400, PEAK[1] * 3.75 / 400, PEAK[2] * 3.75 / 400][k]
    found = chain._flatness(looks(bell), best, k, FIRST)
    assert found.key == SETTINGS[k]
    assert low <= found.low <= low + 1.01 * step
    assert high - 1.01 * step <= found.high <= high
    assert (found.low_is_limit, found.high_is_limit) == (False, False)

    def cut(settings: np.ndarray) -> np.ndarray:
        over = settings[:, k] > (PEAK[k] + high) / 2
        return np.where(over | (settings[:, k] < (PEAK[k] + low) / 2), np.nan, bell(settings))

    limited = chain._flatness(looks(cut), best, k, FIRST)
    assert (limited.low_is_limit, limited.high_is_limit) == (True, True)
    assert limited.low == pytest.approx((PEAK[k] + low) / 2, abs=1.01 * step)
    assert limited.high == pytest.approx((PEAK[k] + high) / 2, abs=1.01 * step)
    flat = chain._flatness(looks(lambda s: np.full(len(s), 10.0)), best, k, FIRST)
    # Flat throughout: half of the pitches to each side within the curves; a quarter to four times of the others.
    whole = [(0.0, 7.3 + 9), (PEAK[1] / 4, PEAK[1] * 4), (PEAK[2] / 4, PEAK[2] * 4)][k]
    assert (flat.low, flat.high) == pytest.approx(whole)
    assert (flat.low_is_limit, flat.high_is_limit) == (False, False)
    if k == 0:
        upper = chain._flatness(looks(lambda s: np.full(len(s), 10.0)), np.array([14.0, *PEAK[1:]]), 0, FIRST)
        assert (upper.low, upper.high) == pytest.approx((5.0, 18.0))


def test_the_first_look_and_the_effort(van: Scenario, demos: Path) -> None:
    own = chain._own_values(van)
    assert own.tolist() == [pytest.approx(4.0), 2.5, 9.0]
    first = chain._first_ranges(van, own, ("drive.ratio",))
    assert van.curves is not None
    dial = van.pitch_convention.setting_deg(van.curves.pitch_deg)
    assert (first[0][0], first[0][-1]) == (pytest.approx(min(dial)), pytest.approx(max(dial)))
    assert first[1].tolist() == [2.5]
    assert (first[2][0], first[2][-1]) == pytest.approx((0.9, 90.0))
    assert np.diff(np.log(first[2])) == pytest.approx(np.log(100) / (len(first[2]) - 1))
    free = chain._first_ranges(van, own, ())[1]
    assert (free[0], free[-1]) == pytest.approx((0.625, 10.0))
    town = load(demos / "van_in_town" / "scenario.toml")
    assert len(chain._first_ranges(town, own, ())[1]) < len(free)  # a trip takes longer to try
    two = dataclasses.replace(van.curves, pitch_deg=van.curves.pitch_deg[:2])
    between = chain._first_ranges(dataclasses.replace(van, curves=two), own, ())[0]
    assert len(between) == len(first[0])
    assert (between[0], between[-1]) == pytest.approx(sorted(van.pitch_convention.setting_deg(two.pitch_deg)))
    without = load(demos / "van_water_tank" / "scenario.toml")
    unset = without.rotor.model_copy(update={"pitch": None})
    start = chain._own_values(dataclasses.replace(without, rotor=unset))[0]
    assert start == pytest.approx(float(van.pitch_convention.setting_deg(van.curves.pitch_deg[:1])[0]))


def test_binding_limits_and_settings_at_the_edge(demos: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chain, "_STEADY", chain._Effort((4, 5, 5), 4, 3))
    monkeypatch.setattr(chain, "_LOOKS", 3)
    path = demos / "van_water_tank" / "scenario.toml"
    found = chain.match(load(path, ["generator.highest_current=6 A"]))
    best = found.best.answer
    assert best.turbine.electrical is not None
    turns = number(best.turbine.rotor_speed_rad_s)
    shares = {
        "rotor speed": turns * 30 / math.pi / 900,
        "blade tip speed": turns * 0.9 / 80,
        "thrust": number(best.turbine.thrust_n) / 2500,
        "current": number(best.turbine.electrical.current_a) / 6,
        "power into the element": number(best.turbine.heat_power_w) / 3000,
    }
    assert set(found.binding) == {name for name, share in shares.items() if share > 0.97}
    at = (found.best.pitch_deg, found.best.ratio, found.best.resistance_ohm)
    rims = [(0, 18), (0.625, 10), (0.9, 90)]
    edges = []
    for key, value, (low, high) in zip(SETTINGS, at, rims, strict=True):
        if abs(value - low) <= 1e-3 * low + 1e-8 or abs(value - high) <= 1e-3 * high:
            edges.append(key)
    assert list(found.at_edge) == edges
    assert {flat.key for flat in found.flatness} == set(SETTINGS)
    held = chain.match(load(path), SETTINGS[1:])
    assert {flat.key for flat in held.flatness} == {"rotor.pitch"}
    assert held.best.ratio == held.thriftiest.ratio == 2.5
    assert held.best.resistance_ohm == 9.0
    assert held.own.pitch_deg == pytest.approx(4.0)
    assert held.tried > 4 + 4 * 4
    whole = chain.best_setting(load(path, ["generator.highest_current=6 A"]))
    assert whole is not None
    assert (whole.pitch_deg, whole.ratio, whole.resistance_ohm) == pytest.approx(at)
    assert whole.outcome.heat_w.low == whole.outcome.heat_w.high
    assert whole.outcome.heat_w.estimate == pytest.approx(number(best.turbine.heat_power_w))


def test_a_limit_binds_from_97_of_a_hundred_on(demos: Path) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    own = chain._own_values(load(path))
    thrust = number(chain._setting(load(path), own, exact=True).answer.turbine.thrust_n)
    for share, binds in ((0.969, False), (0.971, True), (1.0, True)):
        scenario = load(path, [f"rotor.highest_thrust={thrust / share} N"])
        assert chain._binding(chain._setting(scenario, own, exact=True)) == (("thrust",) if binds else ())


def test_what_settings_give_at_a_steady_speed(demos: Path) -> None:
    """Each as an answer of its own; no heat where a limit is passed, nothing turns or the curves do not reach."""
    scenario = load(demos / "van_water_tank" / "scenario.toml", ["rotor.highest_thrust=190 N"])
    settings = np.array([[4.0, 2.5, 9.0], [10.0, 2.5, 9.0], [4.0, 2.5, 60.0], [4.0, 10.0, 0.9], [14.0, 1.5, 20.0]])
    given = look_of(scenario)(settings, fuel=True)
    lazy = look_of(scenario)(settings)
    assert np.isnan(lazy.change_w).all()
    seen = set()
    for k, at in enumerate(settings):
        setting = chain._setting(scenario, at, exact=True)
        alone, turbine = setting.answer, setting.answer.turbine
        assert turbine.electrical is not None
        turns = number(turbine.rotor_speed_rad_s)
        fine = turns * 30 / math.pi <= 900 and number(turbine.thrust_n) <= 190 and turns * 0.9 <= 80
        fine = fine and number(turbine.electrical.current_a) <= 16 and number(turbine.heat_power_w) <= 3000
        fine = fine and turns > 0 and not turbine.beyond_data and number(turbine.heat_power_w) > 0
        seen.add(fine)
        heat = number(turbine.heat_power_w) if fine else math.nan
        assert given.heat_w[k] == lazy.heat_w[k] == pytest.approx(heat, nan_ok=True) or math.isnan(heat)
        assert math.isnan(given.heat_w[k]) == math.isnan(lazy.heat_w[k]) == (not fine)
        assert given.change_w[k] == pytest.approx(number(alone.change.power_w))
        assert given.rotor_drag_n[k] == pytest.approx(number(turbine.rotor_drag_n))
    assert seen == {True, False}


def test_a_map_of_heat_is_its_single_settings(van: Scenario) -> None:
    ohms, pitches, heat = chain.heat_map(van, 2.0)
    assert (len(ohms), len(pitches), heat.shape) == (61, 41, (41, 61))
    assert (ohms[0], ohms[-1], pitches[0], pitches[-1]) == pytest.approx((0.9, 90.0, 0.0, 18.0))
    for i, j in ((3, 10), (20, 30), (40, 60)):
        alone = look_of(van)(np.array([[pitches[i], 2.0, ohms[j]]])).heat_w[0]
        assert heat[i, j] == pytest.approx(alone, nan_ok=True)
    assert np.isfinite(heat).any()


def test_what_settings_give_over_a_trip(demos: Path, tmp_path: Path) -> None:
    for name in ("scenario.toml", "rotor_curves.csv"):
        (tmp_path / name).write_bytes((demos / "van_in_town" / name).read_bytes())
    (tmp_path / "urban.csv").write_text("time_s,speed_km_h\n0,60\n100,60\n104,50\n200,50\n", encoding="utf-8")
    scenario = load(tmp_path / "scenario.toml")
    settings = np.array([[4.0, 2.5, 9.0], [8.0, 2.0, 14.0]])
    given = look_of(scenario)(settings, fuel=True)
    assert np.isnan(look_of(scenario)(settings).change_w).all()
    for k, at in enumerate(settings):
        trip = answer_trip(scenario, dict(zip(SETTINGS, map(float, at), strict=True)))
        # Steps nearly alike put together and 20 air speeds: two per cent.
        assert given.heat_w[k] == pytest.approx(number(trip.mean.turbine.heat_power_w), rel=0.02)
        assert given.change_w[k] == pytest.approx(number(trip.mean.change.power_w), rel=0.02)
        assert given.rotor_drag_n[k] == pytest.approx(number(trip.mean.turbine.rotor_drag_n), rel=0.02)
    trip = answer_trip(scenario)
    most = number(trip.most.thrust_n)
    for share, kept in ((0.99, False), (1.0005, False), (1.01, True)):  # within 0.2 % of a limit is too near
        close = load(tmp_path / "scenario.toml", [f"rotor.highest_thrust={most * share} N"])
        own = chain._own_values(close)
        assert np.isfinite(look_of(close)(own[None, :]).heat_w[0]) == kept
