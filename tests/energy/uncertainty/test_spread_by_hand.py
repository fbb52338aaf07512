"""Draws, quantiles, shares of the variance and what a measurement would do, worked out once more by hand.

The chains are small functions, so that everything after them can be put together again from the same sequence: the
scrambled Sobol numbers are those of scipy, the indices the formulas of Saltelli et al. 2010 (table 2, b and f).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from scipy import stats

from energy.progress import Progress, tell
from energy.uncertainty import draws as of_draws
from energy.uncertainty.measurement import measurements_of, size_of, width_once_measured
from energy.uncertainty.propagate import OutcomeSpread, Sampling, propagate, spread_of_outcome
from energy.uncertainty.quantiles import (
    QUANTILES,
    ChainOutcome,
    estimate_of,
    figure_of,
    interval_width,
    quantiles,
    saves_and_costs,
)
from energy.uncertainty.sensitivities import (
    Figure,
    Sensitivity,
    groups_of,
    sensitivities_of,
    sensitivity_indices,
)
from vehicle.quantity import Uncertain, exact

LOCAL, MASS, EDDY, OHM, DRIVE = (
    "rotor.local_speed_factor",
    "vehicle.mass",
    "generator.eddy_share",
    "heater.resistance",
    "drive.efficiency",
)
KNOWN = {
    LOCAL: Uncertain(0.6, 0.5, 0.7, "triangular"),
    MASS: Uncertain(2900.0, 2700.0, 3100.0, "normal"),
    EDDY: Uncertain(0.5, 0.3, 0.7, "uniform"),
    OHM: Uncertain(9.0, 8.0, 10.5, "triangular"),
}
NORMAL_95 = 1.959963984540054  # two-sided 95 % of a normal


@dataclass
class Recorded:
    """A chain that keeps what it was asked: fuel by `fuel`, heat by `heat`, of the draws' mapping."""

    fuel: object
    heat: object = lambda d: d[OHM] * 0 + 5.0
    asked: list[dict[str, np.ndarray]] = field(default_factory=list)

    def __call__(self, draws: Mapping[str, np.ndarray], progress: Progress | None = None, /) -> ChainOutcome:
        self.asked.append(dict(draws))
        tell(progress, 0.5)
        tell(progress, 1.0)
        return ChainOutcome(np.asarray(self.fuel(draws)), np.asarray(self.heat(draws)))


def fuel(d: Mapping[str, np.ndarray]) -> np.ndarray:
    return 4000 * (d[LOCAL] - 0.6) + 0.8 * (d[MASS] - 2900) * (1 + 3 * (d[EDDY] - 0.5)) + 300.0


def by_scipy(value: Uncertain) -> stats.rv_continuous:
    span = value.high - value.low
    if value.shape == "normal":
        return stats.norm(value.value, span / 2 / NORMAL_95)
    if value.shape == "uniform":
        return stats.uniform(value.low, span)
    return stats.triang((value.value - value.low) / span, value.low, span)


def cube_by_scipy(rows: int, columns: int, seed: int) -> np.ndarray:
    return stats.qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(seed)).random(rows)


def drawn(share: np.ndarray, known: Mapping[str, Uncertain] = KNOWN) -> dict[str, np.ndarray]:
    return {key: by_scipy(value).ppf(share[:, k]) for k, (key, value) in enumerate(known.items())}


# --- draws ---


def test_the_sequence_is_that_of_the_library_held_inside_and_kept() -> None:
    sample = of_draws.sobol_sample(64, 3, seed=7)
    assert sample == pytest.approx(cube_by_scipy(64, 3, 7), abs=1e-15)
    assert of_draws.sobol_sample(64, 3, seed=7) is sample
    assert (of_draws.sobol_sample(64, 3, seed=8) != sample).any()
    with pytest.raises(ValueError, match="read-only"):
        sample[0, 0] = 0.5
    assert of_draws.sobol_sample(16, 2) == pytest.approx(cube_by_scipy(16, 2, 20_011), abs=1e-15)
    assert of_draws.standard_scores(32, 2, seed=7) == pytest.approx(stats.norm.ppf(cube_by_scipy(32, 2, 7)))


def test_ends_of_the_shapes_are_met_and_an_exact_value_stays() -> None:
    share = np.array([0.0, 0.25, 0.5, 1.0])
    assert of_draws.ppf(Uncertain(2.0, 1.0, 5.0, "uniform"), share) == pytest.approx([1, 2, 3, 5])
    # Triangular from 1 over 2 to 5: a quarter lies below its mode, F = (x − 1)²/4 there, 1 − (5 − x)²/12 above.
    assert of_draws.ppf(Uncertain(2.0, 1.0, 5.0, "triangular"), share) == pytest.approx([1, 2, 5 - math.sqrt(6), 5])
    assert (of_draws.ppf(exact(3.0), share) == 3).all()
    assert (of_draws.ppf(Uncertain(3.0, 3.0, 3.0, "triangular"), share) == 3).all()
    assert (of_draws.ppf(Uncertain(4.0, 3.0, 5.0, "exact"), share) == 4).all()
    assert (of_draws.ppf(Uncertain(3.0, 3.0, 3.0, "uniform"), share) == 3).all()


def test_values_are_held_at_both_kinds_of_limits() -> None:
    # At least 0.3 and at most 3; above 0 only, where the end itself is not allowed; none at all.
    held = of_draws.within_limits("rotor.interaction_factor", np.array([-1.0, 0.2, 0.4, 2.9, 7.0]))
    assert held == pytest.approx([0.3, 0.3, 0.4, 2.9, 3.0])
    above = of_draws.within_limits("heater.resistance", np.array([-2.0, -1.0, 1.0, 4.0, 9.0]))
    assert above[2:] == pytest.approx([1, 4, 9])
    assert above[0] == above[1]
    assert above[0] == pytest.approx(1e-6 * 2)  # a millionth of the median distance from the limit: own choice
    share = of_draws.within_limits("drive.efficiency", np.array([0.5, 1.2]))
    assert share == pytest.approx([0.5, 1.0])
    assert of_draws.within_limits("rotor.mount_drag_area", np.array([-0.1, 0.2])) == pytest.approx([0.0, 0.2])


def test_inputs_that_err_together_have_the_correlation_of_their_scores() -> None:
    keys, pairs = [LOCAL, MASS, EDDY], [(EDDY, LOCAL, 0.6), (MASS, "not.there", 0.9), ("not.there", MASS, 0.9)]
    root = of_draws.correlation_root(keys, pairs)
    by_hand = np.array([[1, 0, 0.6], [0, 1, 0], [0.6, 0, 1]])
    assert root @ root.T == pytest.approx(by_hand)
    assert (np.triu(root, 1) == 0).all()
    with pytest.raises(np.linalg.LinAlgError):
        of_draws.correlation_root(keys, [(LOCAL, MASS, 0.9), (MASS, EDDY, 0.9), (LOCAL, EDDY, -0.9)])
    share = cube_by_scipy(128, 3, 3)
    scores = stats.norm.ppf(share)
    together = np.stack([scores[:, 0], scores[:, 1], 0.6 * scores[:, 0] + 0.8 * scores[:, 2]], axis=1)
    three = {key: KNOWN[key] for key in keys}
    found = of_draws.draws_of(three, share, pairs)
    for key, values in drawn(stats.norm.cdf(together), three).items():
        assert found[key] == pytest.approx(values), key
    plain = of_draws.draws_of(three, share)
    for key, values in drawn(share, three).items():
        assert plain[key] == pytest.approx(values), key


def test_scores_to_values_and_an_input_known_anew() -> None:
    found = of_draws.values_at({MASS: KNOWN[MASS], EDDY: KNOWN[EDDY]}, np.array([[0.0, 0.0], [1.0, -1.0]]))
    assert found[MASS] == pytest.approx([2900, 2900 + 200 / NORMAL_95])
    assert found[EDDY] == pytest.approx([0.5, 0.3 + 0.4 * stats.norm.cdf(-1)])
    anew = of_draws.replaced(KNOWN[EDDY], 0.45, 0.02)
    assert (anew.value, anew.shape) == (0.45, "normal")
    assert (anew.low, anew.high) == pytest.approx((0.45 - 0.02 * NORMAL_95, 0.45 + 0.02 * NORMAL_95))
    assert anew.standard_deviation == pytest.approx(0.02)


# --- quantiles ---


def test_quantiles_and_estimates_at_their_levels() -> None:
    values = np.arange(201.0)[::-1]
    assert QUANTILES == (0.05, 0.25, 0.5, 0.75, 0.95)
    assert quantiles(values) == pytest.approx((10, 50, 100, 150, 190))
    assert interval_width(values) == pytest.approx(180)
    found = estimate_of(values**2, 0.9)
    assert (found.low, found.estimate, found.high, found.level) == pytest.approx((100, 10_000, 190**2, 0.9))
    outcome = ChainOutcome(np.array([1.0]), np.array([2.0]))
    assert (figure_of(outcome, "fuel")[0], figure_of(outcome, "heat")[0]) == (1.0, 2.0)


def test_what_counts_as_no_change_of_fuel_and_as_no_heat() -> None:
    # Own choice: 0.05 W of fuel are rounding, half a watt of heat is none.
    change = np.array([0.06, 0.04, -0.06, -0.04, 0.04, -0.04, 0.06])
    heat = np.array([0.0, 0.0, 0.0, 0.0, 0.6, 0.6, 9.0])
    saves, costs = saves_and_costs(ChainOutcome(change, heat))
    assert costs.tolist() == [True, False, False, False, False, False, True]
    assert saves.tolist() == [False, False, True, False, True, True, False]
    assert not saves_and_costs(ChainOutcome(np.zeros(1), np.array([0.4])))[0].any()
    edge = saves_and_costs(ChainOutcome(np.array([0.05, -0.05]), np.array([0.5, 0.5])))
    assert not np.any(edge)


def test_the_spread_of_an_outcome_and_which_figure_it_is_about() -> None:
    change = np.concatenate([np.full(30, -2.0), np.zeros(20), np.full(50, 4.0)])
    heat = np.where(np.arange(100) < 40, 1.0, 0.0)
    spread = spread_of_outcome(ChainOutcome(change, heat))
    assert spread.draws == 100
    assert spread.change_w == pytest.approx(np.quantile(change, QUANTILES))
    assert spread.heat_w == pytest.approx(np.quantile(heat, QUANTILES))
    assert spread.probability_saves == pytest.approx(0.40)
    assert spread.probability_costs == pytest.approx(0.50)
    assert (spread.of, spread.sensitivities, spread.measurements) == ("fuel", (), ())
    assert spread.outcome.change_w is change
    # A change that draws do not move leaves the heat to be looked at.
    assert spread_of_outcome(ChainOutcome(np.array([7.0, 7.0 + 5e-7]), np.array([1.0, 2.0]))).of == "heat"
    assert spread_of_outcome(ChainOutcome(np.array([7.0, 7.0 + 5e-6]), np.array([1.0, 2.0]))).of == "fuel"


def test_sure_is_from_ninety_five_percent_on() -> None:
    at = replace(spread_of_outcome(ChainOutcome(np.zeros(2), np.zeros(2))), probability_saves=0.95)
    assert at.verdict == "saves"
    assert replace(at, probability_saves=0.949, probability_costs=0.95).verdict == "costs"
    assert replace(at, probability_saves=0.949, probability_costs=0.949).verdict == "cannot tell"


# --- sensitivities ---


def test_groups_join_through_a_third_key_in_the_keys_sequence() -> None:
    keys = ["a", "b", "c", "d", "e"]
    assert groups_of(keys, []) == [("a",), ("b",), ("c",), ("d",), ("e",)]
    pairs = [("e", "b", 0.1), ("d", "e", 0.1), ("c", "x", 0.3), ("x", "a", 0.3)]
    assert groups_of(keys, pairs) == [("a",), ("b", "d", "e"), ("c",)]


def saltelli(a: np.ndarray, b: np.ndarray, ab: np.ndarray) -> tuple[float, float]:
    """First order and total of one group: Saltelli et al. 2010, table 2 (b) and (f), values centred by their mean."""
    middle = np.mean(np.concatenate([a, b]))
    variance = np.var(np.concatenate([a, b]))
    first = np.mean((b - middle) * (ab - a)) / variance
    return float(first), float(np.mean((a - ab) ** 2) / 2 / variance)


def test_indices_by_their_formulas_and_their_errors_by_resampled_rows() -> None:
    cube = cube_by_scipy(256, 6, 4)
    first, second = cube[:, :3], cube[:, 3:]

    def function(x: np.ndarray) -> np.ndarray:
        return 3 * x[:, 0] + 2 * x[:, 1] * x[:, 2]

    groups = [[0], [1, 2]]
    found = sensitivity_indices(function, first, second, groups)
    errors = np.random.default_rng(9)
    for k, group in enumerate(groups):
        mixed = first.copy()
        mixed[:, group] = second[:, group]
        a, b, ab = function(first), function(second), function(mixed)
        assert (found[0][k], found[2][k]) == pytest.approx(saltelli(a, b, ab))
        # Other rows drawn: standard errors agree but for the luck of fifty resamples, a tenth of them each.
        again = [saltelli(a[r], b[r], ab[r]) for r in errors.integers(0, 256, (400, 256))]
        assert found[1][k] == pytest.approx(np.std([one for one, _ in again]), rel=0.35)
        assert found[3][k] == pytest.approx(np.std([total for _, total in again]), rel=0.35)
    told = sensitivity_indices(function, first, second, groups, at_first=function(first), at_second=function(second))
    for one, other in zip(found, told, strict=True):
        assert one == pytest.approx(other, rel=1e-12)
    # Given values are used, not computed again.
    wrong = sensitivity_indices(function, first, second, groups, at_first=function(second), at_second=function(first))
    assert wrong[0] != pytest.approx(found[0])


def test_sensitivities_by_hand_with_one_that_does_nothing_and_two_that_err_together() -> None:
    chain = Recorded(fuel)
    pairs = ((LOCAL, EDDY, 0.5),)
    figure = Figure(KNOWN, chain, "fuel", pairs)
    cube = cube_by_scipy(128, 8, 5)

    def values(share: np.ndarray) -> np.ndarray:
        scores = stats.norm.ppf(share)
        scores[:, 2] = 0.5 * scores[:, 0] + math.sqrt(0.75) * scores[:, 2]
        return np.stack(list(drawn(stats.norm.cdf(scores)).values()), axis=1)

    first, second = values(cube[:, :4]), values(cube[:, 4:])

    def at(table: np.ndarray) -> np.ndarray:
        return fuel(dict(zip(KNOWN, table.T, strict=True)))

    told: list[float] = []
    found = sensitivities_of(figure, cube, at(first), at(second), told.append)
    assert {one.inputs for one in found} == {(LOCAL, EDDY), (MASS,)}  # the resistance does nothing
    for one in found:
        columns = [list(KNOWN).index(key) for key in one.inputs]
        mixed = first.copy()
        mixed[:, columns] = second[:, columns]
        by_hand = saltelli(at(first), at(second), at(mixed))
        assert (one.first_order, one.total) == pytest.approx(by_hand)
        assert 0 < one.first_order_error < 0.3
        assert 0 < one.total_error < 0.3
    assert [one.first_order for one in found] == sorted((one.first_order for one in found), reverse=True)
    # Thirty-two rows of each of three groups, then every row of the two that act.
    assert [len(asked[LOCAL]) for asked in chain.asked] == [3 * 32, 2 * 128]
    assert told == pytest.approx([0.05, 0.1, 0.55, 1.0])
    assert sensitivities_of(replace(figure, chain=Recorded(lambda d: d[MASS] * 0)), cube, first[:, 0], second[:, 0])
    still = replace(figure, chain=Recorded(lambda d: d[MASS] * 0 + 1.0))
    assert sensitivities_of(still, cube, np.ones(128), np.ones(128)) == ()


def test_an_input_of_hardly_any_effect_is_left_out_after_a_look() -> None:
    """Own choice: what moves no draw of the look by a hundredth of the figure's deviation is not weighed."""
    cube = cube_by_scipy(64, 8, 6)
    first = drawn(cube[:, :4])
    second = drawn(cube[:, 4:])
    moves = float(np.max(np.abs(second[OHM] - first[OHM])[:32]))
    deviation = float(np.std(first[MASS]))
    for share, kept in ((0.0105, True), (0.0095, False)):
        slope = share * deviation / moves

        def chain(d: Mapping[str, np.ndarray], p: Progress | None = None, /, slope: float = slope) -> ChainOutcome:
            return ChainOutcome(d[MASS] + slope * d[OHM], d[MASS])

        figure = Figure(KNOWN, chain, "fuel")
        found = sensitivities_of(figure, cube, figure.at(cube[:, :4]), figure.at(cube[:, 4:]))
        assert ((OHM,) in {one.inputs for one in found}) is kept


def test_a_figure_is_fuel_or_heat_at_the_draws_of_its_shares() -> None:
    chain = Recorded(fuel, lambda d: 2 * d[OHM])
    share = cube_by_scipy(16, 4, 1)
    told: list[float] = []
    assert Figure(KNOWN, chain, "fuel").at(share, told.append) == pytest.approx(fuel(drawn(share)))
    assert Figure(KNOWN, chain, "heat").at(share) == pytest.approx(2 * drawn(share)[OHM])
    assert told == [0.5, 1.0]


# --- measurements ---


def width_by_hand(known: Mapping[str, Uncertain], key: str, plus_minus: float, share: np.ndarray) -> float:
    """The mean width of the 90 % interval, the value found at the middles of the fifths of what is known."""
    column, widths = list(known).index(key), []
    for centre in by_scipy(known[key]).ppf([0.1, 0.3, 0.5, 0.7, 0.9]):
        d = drawn(share, known)
        d[key] = centre + plus_minus / NORMAL_95 * stats.norm.ppf(share[:, column])
        low, high = np.quantile(fuel(d), [0.05, 0.95])
        widths.append(high - low)
    return float(np.mean(widths))


def test_the_width_once_measured_by_hand() -> None:
    share = cube_by_scipy(128, 4, 2)
    chain = Recorded(fuel)
    figure = Figure(KNOWN, chain, "fuel")
    told: list[float] = []
    for key, plus_minus in ((LOCAL, 0.03), (MASS, 20.0), (EDDY, 0.05)):
        found = width_once_measured(figure, key, plus_minus, share, told.append)
        assert found == pytest.approx(width_by_hand(KNOWN, key, plus_minus, share)), key
    assert told[:2] == [0.5, 1.0]
    assert len(chain.asked) == 3
    # Measured by itself, an input errs with no other: the pair falls away, a pair of others stays.
    together = replace(figure, correlations=((LOCAL, MASS, 0.9),))
    assert width_once_measured(together, MASS, 20.0, share) == pytest.approx(width_by_hand(KNOWN, MASS, 20.0, share))
    assert width_once_measured(together, EDDY, 0.05, share) > 1.05 * width_by_hand(KNOWN, EDDY, 0.05, share)


def _acts(key: str, total: float) -> Sensitivity:
    return Sensitivity((key,), total, 0.01, total, 0.01)


def test_what_measuring_would_do_by_hand() -> None:
    share = cube_by_scipy(256, 4, 2)
    figure = Figure(KNOWN, Recorded(fuel), "fuel")
    at_share = fuel(drawn(share))
    acting = [_acts(LOCAL, 0.5), _acts(MASS, 0.4), _acts(EDDY, 0.1), _acts(OHM, 0.05)]
    told: list[float] = []
    found = measurements_of(figure, acting, share, at_share, most=4, progress=told.append)
    half = share[:128]
    before = np.subtract(*np.quantile(at_share[:128], [0.95, 0.05]))
    # A tenth of an ohm: ± 2 % of 9 Ω, or of the middle of its range where that is more; nothing measures the eddies.
    widths = {LOCAL: 0.03, MASS: 20.0, OHM: 0.02 * 9.25}
    assert {one.key for one in found} == set(widths)
    for one in found:
        assert one.plus_minus == pytest.approx(widths[one.key])
        after = width_by_hand(KNOWN, one.key, one.plus_minus, half)
        assert one.shrinks_by == pytest.approx(1 - after / before, abs=1e-9)
        assert one.how in ("two anemometers: one on the mount, one in free air", "a weighbridge", "an ohmmeter")
    assert [one.shrinks_by for one in found] == sorted((one.shrinks_by for one in found), reverse=True)
    assert told == pytest.approx([1 / 6, 1 / 3, 1 / 2, 2 / 3, 5 / 6, 1])
    # Three inputs at most if nothing else is said, and none of little weight (2 %, own choice).
    assert len(measurements_of(figure, acting, share, at_share)) == 2
    light = [_acts(LOCAL, 0.5), _acts(MASS, 0.019), _acts(OHM, 0.021)]
    assert {one.key for one in measurements_of(figure, light, share, at_share)} == {LOCAL, OHM}
    # A group that errs together is measured one by one; what is known as well already is not worth it.
    pair = [Sensitivity((LOCAL, MASS), 0.9, 0.01, 0.9, 0.01)]
    assert {one.key for one in measurements_of(figure, pair, share, at_share)} == {LOCAL, MASS}
    for half_width, worth in ((19.9, False), (20.1, True)):
        fine = {**KNOWN, MASS: Uncertain(2900.0, 2900 - half_width, 2900 + half_width, "normal")}
        keys = {one.key for one in measurements_of(replace(figure, inputs=fine), acting, share, at_share)}
        assert (MASS in keys) is worth
    flat = measurements_of(figure, acting[:1], share, np.ones(256))
    assert flat[0].shrinks_by == 0.0


def test_many_rows_are_cut_to_a_thousand_and_twenty_four() -> None:
    chain = Recorded(fuel)
    share = cube_by_scipy(4096, 4, 2)
    measurements_of(Figure(KNOWN, chain, "fuel"), [_acts(MASS, 0.5)], share, fuel(drawn(share)))
    assert len(chain.asked[0][MASS]) == 5 * 1024


def test_the_size_that_a_relative_error_is_a_share_of() -> None:
    assert size_of(Uncertain(-3.0, -4.0, -1.0)) == 3.0
    assert size_of(Uncertain(1.0, 0.0, 6.0)) == 3.0
    assert size_of(Uncertain(-1.0, -7.0, 1.0)) == 3.0


# --- all together ---


@pytest.mark.parametrize("pairs", [(), ((LOCAL, MASS, 0.4),)], ids=["apart", "together"])
def test_a_whole_propagation_by_hand(pairs: tuple) -> None:
    sampling = Sampling(draws=256, sensitivity_rows=64, seed=11)
    chain = Recorded(fuel, lambda d: 3 * d[OHM])
    told: list[float] = []
    inputs = {DRIVE: exact(0.95), **KNOWN}
    spread = propagate(inputs, chain, correlations=pairs, sampling=sampling, progress=told.append)
    cube = cube_by_scipy(128, 8, 11)
    both = np.concatenate([cube[:, :4], cube[:, 4:]])
    figure = Figure(KNOWN, Recorded(fuel), "fuel", pairs)
    draws = of_draws.draws_of(KNOWN, both, pairs)
    assert DRIVE not in chain.asked[0]
    for key, values in draws.items():
        assert chain.asked[0][key] == pytest.approx(values)
    change = fuel(draws)
    assert spread.draws == 256
    assert spread.change_w == pytest.approx(np.quantile(change, QUANTILES))
    assert spread.heat_w == pytest.approx(np.quantile(3 * draws[OHM], QUANTILES))
    assert spread.probability_costs == pytest.approx(np.mean(change > 0.05))
    assert spread.probability_saves == pytest.approx(np.mean(change < -0.05))
    assert spread.of == "fuel"
    assert spread.sensitivities == sensitivities_of(figure, cube[:64], change[:64], change[128:192])
    assert spread.measurements == measurements_of(figure, spread.sensitivities, both, change)
    assert len(spread.measurements) == 2
    # By the clock: a fifth for the draws, up to three fifths for the sensitivities (as measured), then measurements.
    assert told[:2] == pytest.approx([0.1, 0.2])
    assert told[2:6] == pytest.approx([0.22, 0.24, 0.42, 0.6])
    assert told[-1] == 1.0
    assert told == sorted(told)


def test_a_quicker_chain_weighs_what_the_whole_one_drew() -> None:
    sampling = Sampling(draws=256, sensitivity_rows=32, seed=11)
    chain, quick = Recorded(fuel), Recorded(lambda d: 2 * fuel(d))
    told: list[float] = []
    spread = propagate(KNOWN, chain, sampling=sampling, quick=quick, progress=told.append)
    cube = cube_by_scipy(128, 8, 11)
    base = np.concatenate([cube[:32, :4], cube[:32, 4:]])
    figure = Figure(KNOWN, Recorded(quick.fuel), "fuel")
    at_base = figure.at(base)
    assert len(chain.asked) == 1
    assert [len(asked[MASS]) for asked in quick.asked[:1]] == [64]
    assert quick.asked[0][MASS] == pytest.approx(drawn(base)[MASS])
    assert spread.sensitivities == sensitivities_of(figure, cube[:32], at_base[:32], at_base[32:])
    assert spread.measurements == measurements_of(figure, spread.sensitivities, base, at_base)
    assert spread.change_w == pytest.approx(
        np.quantile(fuel(drawn(np.concatenate([cube[:, :4], cube[:, 4:]]))), QUANTILES)
    )
    assert told[:4] == pytest.approx([0.14, 0.28, 0.30, 0.32])
    assert told[7] == pytest.approx(0.75)
    assert told[-1] == 1.0
    # More rows than draws are never asked for.
    few = propagate(KNOWN, chain, sampling=Sampling(draws=64, sensitivity_rows=512, seed=11), quick=quick)
    assert few is not None
    assert len(quick.asked[-1][MASS]) == 5 * 32


def test_what_is_not_asked_is_not_computed() -> None:
    told: list[float] = []
    chain = Recorded(fuel)
    plain = propagate(KNOWN, chain, sampling=Sampling(draws=64, with_sensitivity=False), progress=told.append)
    assert isinstance(plain, OutcomeSpread)
    assert (plain.sensitivities, plain.measurements, len(chain.asked)) == ((), (), 1)
    assert told == pytest.approx([0.5, 1.0, 1.0])
    told.clear()
    assert propagate({DRIVE: exact(0.95)}, chain, progress=told.append) is None
    assert told == [1.0]
    assert len(chain.asked) == 1
    # Nothing moves: neither fuel nor heat has a share that an input could take.
    still = propagate(KNOWN, Recorded(lambda d: d[MASS] * 0), sampling=Sampling(draws=64))
    assert still.sensitivities == ()
    heat = propagate(KNOWN, Recorded(lambda d: d[MASS] * 0, lambda d: d[OHM]), sampling=Sampling(draws=64))
    assert heat.of == "heat"
    assert [one.inputs for one in heat.sensitivities] == [(OHM,)]
    usual = Sampling()
    assert (usual.draws, usual.sensitivity_rows, usual.seed, usual.with_sensitivity) == (4096, 1024, 20_011, True)
