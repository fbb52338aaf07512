"""The heated load once more in plain numbers: draw by draw in short steps of Runge and Kutta's fourth order.

Written from the balance of power of each node (Incropera & DeWitt, chapter 5), the law of Stefan and Boltzmann, wall
and film in series (film 5.7 + 3.8 v, McAdams 1954), the heat-to-mass analogy (air of 1.1 kg/m³, 1007 J/(kg K), Lewis
number 0.85), the vapour pressure of Wagner and Pruss (1993), and what a thermostat does; all from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from energy.heat import heater, steps
from energy.heat.heater import ElementControl, HeatingOutcome, HeatingSteps, SteadyPower, heat_up, simulate
from energy.heat.load import ElementLimits, HeatedLoad, SecondNode, Thermostat, coefficients
from energy.heat.steady import rates_at, slowest_time_constant_s
from energy.heat.steps import HeaterError

SIGMA, WATER = 5.670374419e-8, 4186.0
KIND = {"": 0, "power": 1, "time": 2, "boiling": 3}


def vapour_pressure_pa(t: float) -> float:
    tau = 1 - t / 647.096
    a = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
    powers = (1, 1.5, 3, 3.5, 4, 7.5)
    return 22.064e6 * math.exp(647.096 / t * sum(x * tau**p for x, p in zip(a, powers, strict=True)))


def latent_j_kg(t: float) -> float:
    return 2501e3 - (2501e3 - 2257e3) * (t - 273.15) / 100


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function is 0."""
    for _ in range(55):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return 0.5 * (low + high)


@dataclass
class World:
    """A load of single numbers."""

    capacity: float
    loss: float
    radiating: float = 0.0
    outside: float = 0.0
    water: float = 0.0
    open_area: float = 0.0
    humidity: float = 0.5
    film: float = 5.0
    pressure: float = 101_325.0
    second: tuple[float, float, float, float, float] | None = None  # capacity, coupling, loss, radiating, outside
    element: bool = False
    boiling: float = field(init=False)

    def __post_init__(self) -> None:
        self.boiling = root(lambda t: vapour_pressure_pa(t) - self.pressure, 300.0, 420.0) if self.water else math.inf

    @staticmethod
    def out(loss: float, area: float, radiating: float, t: float, ambient: float, wind: float) -> float:
        if area:
            wall = 1 / loss - 1 / (5.7 * area)
            loss = 1 / (wall + 1 / ((5.7 + 3.8 * wind) * area))
        return loss * (t - ambient) + SIGMA * radiating * (t**4 - ambient**4)

    def steam(self, t: float, ambient: float, left: float) -> float:
        if not (left > 0 and self.open_area):
            return 0.0
        density = [vapour_pressure_pa(x) / (461.523 * x) for x in (t, ambient)]
        flux = self.film / (1.1 * 1007 * 0.85 ** (2 / 3)) * (density[0] - self.humidity * density[1])
        return self.open_area * max(flux, 0.0) * latent_j_kg(t)

    def rates(self, state: list[float], power: float, ambient: float, wind: float, boils: bool) -> list[float]:
        """Return the rates of main, second, water, lost, vapour, stored."""
        t0, t1, left = state[:3]
        lost = out0 = self.out(self.loss, self.outside, self.radiating, t0, ambient, wind)
        net0, rate1, stored1 = power, 0.0, 0.0
        if self.second:
            c1, k, loss1, radiating1, outside1 = self.second
            out1 = self.out(loss1, outside1, radiating1, t1, ambient, wind)
            net1 = k * (t0 - t1) - out1 + (power if self.element else 0.0)
            net0 = (0.0 if self.element else power) - k * (t0 - t1)
            lost, rate1, stored1 = lost + out1, net1 / c1, net1
        net0 -= out0
        if boils:
            return [0.0, rate1, -net0 / latent_j_kg(t0), lost, net0, stored1]
        steam = self.steam(t0, ambient, left)
        held = self.capacity - self.water * WATER + left * WATER
        warmed = net0 - steam
        return [warmed / held, rate1, -steam / latent_j_kg(t0), lost, steam, warmed + stored1]

    def stepped(self, state: list[float], h: float, *air: float, boils: bool = False) -> list[float]:
        def at(step: float, rate: list[float]) -> list[float]:
            return [x + step * r for x, r in zip(state, rate, strict=True)]

        a = self.rates(state, *air, boils)
        b = self.rates(at(h / 2, a), *air, boils)
        c = self.rates(at(h / 2, b), *air, boils)
        d = self.rates(at(h, c), *air, boils)
        rates = zip(state, a, b, c, d, strict=True)
        return [x + h / 6 * (p + 2 * q + 2 * r + s) for x, p, q, r, s in rates]

    def holding(self, t: float, ambient: float, wind: float) -> float:
        """Return the power that holds the main node at a temperature, water topped up."""
        need = self.out(self.loss, self.outside, self.radiating, t, ambient, wind) + self.steam(t, ambient, self.water)
        if not self.second:
            return need
        _, k, loss1, radiating1, outside1 = self.second

        def out1(x: float) -> float:
            return self.out(loss1, outside1, radiating1, x, ambient, wind)

        if self.element:
            return need + out1(t + need / k)
        low, high = min(ambient, t), max(ambient, t)
        return need + out1(root(lambda x: out1(x) - k * (t - x), low, high))

    def ending(self, power: float, ambient: float, wind: float) -> float:
        hottest = min(self.boiling, 3000.0)
        return root(lambda t: self.holding(t, ambient, wind) - power, ambient - 1, hottest)


@dataclass
class Told:
    """What happened to a world."""

    state: list[float]
    given: float = 0.0
    refused: float = 0.0
    peak: float = 0.0
    second_peak: float = 0.0
    reached: float = math.nan
    given_then: float = math.nan
    boiling_from: float = math.nan
    dry_from: float = math.nan
    switchings: int = 0
    history: list[tuple[float, float, float]] = field(default_factory=list)


Row = tuple[float, float, float, float]  # length, offered, ambient, wind


def happened(
    world: World,
    rows: list[Row],
    start: float,
    target: float,
    *,
    cap: float = math.inf,
    levels: tuple[float, float] | None = None,
    cut_when_dry: bool = False,
) -> Told:
    """Return what happens, row by row; `levels` are where a thermostat opens and closes."""
    out = Told([start, start, world.water, 0.0, 0.0, 0.0], peak=start, second_peak=start)
    out.history.append((0.0, start, start))
    on, clock, boils = levels is None or start < levels[0], 0.0, False
    if start >= target:
        out.reached = out.given_then = 0.0
    for length, offered, ambient, wind in rows:
        left = length
        while left > 1e-9:
            power = min(offered, cap) if on else 0.0
            air = (power, ambient, wind)
            before = out.state
            boils = before[0] >= world.boiling - 1e-9 and before[2] > 0 and world.rates(before, *air, True)[4] > 0
            if boils and math.isnan(out.boiling_from):
                out.boiling_from = clock
            h = min(left, 2.5)
            checks: list[Callable[[list[float]], float]] = []
            if math.isnan(out.reached):
                checks.append(lambda s: s[0] - target)
            if levels is not None:
                checks.append((lambda s: s[0] - levels[0]) if on else (lambda s: levels[1] - s[0]))
            if before[2] > 0:
                checks.append(lambda s: -s[2])
                if not boils and before[0] < world.boiling - 1e-9:
                    checks.append(lambda s: s[0] - world.boiling)
            after = world.stepped(before, h, *air, boils=boils)
            passed = [check for check in checks if check(after) >= 0]
            if passed:

                def beyond(part: float, b=before, a=air, bo=boils, p=tuple(passed)) -> float:
                    return max(check(world.stepped(b, part, *a, boils=bo)) for check in p)

                h = min(h, root(beyond, 0.0, h) + 1e-9)
                after = world.stepped(before, h, *air, boils=boils)
            if before[2] > 0 and after[2] <= 1e-12 * world.water:
                after[2], out.dry_from = 0.0, clock + h
                on = on and not cut_when_dry
            out.state, clock, left = after, clock + h, left - h
            out.given += power * h
            out.refused += (offered - power) * h
            if math.isnan(out.reached) and after[0] >= target:
                out.reached, out.given_then = clock, out.given
            if levels is not None and (after[0] >= levels[0] if on else after[0] <= levels[1]):
                on, out.switchings = not on, out.switchings + 1
            out.peak, out.second_peak = max(out.peak, after[0]), max(out.second_peak, after[1])
        out.history.append((clock, out.state[0], out.state[1]))
    return out


def check_draw(found: HeatingOutcome, k: int, world: World, told: Told, mean: Row, target: float, near: float) -> None:
    """Hold every field of one draw against the plain numbers, temperatures to `near` kelvin."""

    def same(name: str, value: float, tolerance: float, relative: float = 2e-4) -> None:
        got = float(getattr(found, name)[k])
        assert got == pytest.approx(value, rel=relative, abs=tolerance, nan_ok=True), (name, k)

    _, power, ambient, wind = mean
    state, boils_first = told.state, target > world.boiling
    end, hold = world.ending(power, ambient, wind), world.holding(target, ambient, wind)
    reached = not math.isnan(told.reached) and not boils_first
    enough = end > target and not boils_first
    assert found.reason[k] == ("" if reached else "boiling" if boils_first else "time" if enough else "power")
    assert bool(found.reachable[k]) == (reached or enough)
    same("time_to_target_s", told.reached if reached else math.nan, near)
    same("energy_to_target_j", told.given_then if reached else math.nan, 1e3 * near)
    same("highest_temperature_k", min(max(end, told.peak), world.boiling), near, 1e-9)
    same("holding_power_w", math.nan if boils_first else hold, 1e-3, 1e-6)
    same("shortfall_w", math.nan if boils_first else max(hold - power, 0.0), 1e-3, 1e-6)
    same("available_power_w", power, 1e-6)
    same("target_k", target, 1e-9)
    same("ambient_k", ambient, 1e-9)
    same("peak_temperature_k", told.peak, near, 1e-9)
    same("final_temperature_k", state[0], near, 1e-9)
    same("second_peak_k", told.second_peak if world.second else math.nan, 3 * near, 1e-9)
    same("energy_given_j", told.given, 60.0, 1e-4)
    same("energy_refused_j", told.refused, 60.0, 1e-4)
    same("energy_lost_j", state[3], 3e3 * near)
    same("energy_in_vapour_j", state[4], 3e3 * near)
    same("energy_stored_j", state[5], 3e3 * near)
    same("water_left_kg", state[2], 1e-4)
    same("boiling_from_s", told.boiling_from, 2 * near)
    same("dry_from_s", told.dry_from, 5 * near)
    assert int(found.switchings[k]) == told.switchings
    times, main, second = np.array(told.history).T
    pick = np.searchsorted(times, found.history.time_s - 1e-6)
    assert found.history.time_s == pytest.approx(times[pick])
    assert np.abs(found.history.main_k[:, k] - main[pick]).max() < near
    if world.second:
        assert np.abs(found.history.second_k[:, k] - second[pick]).max() < 3 * near
    else:
        assert np.isnan(found.history.second_k[:, k]).all()


def as_load(worlds: list[World]) -> HeatedLoad:
    def each(name: str) -> np.ndarray:
        return np.array([getattr(world, name) for world in worlds])

    second = None
    if worlds[0].second:
        capacity, coupling, loss, radiating, outside = np.array([world.second for world in worlds]).T
        second = SecondNode(capacity, coupling, loss, radiating, outside, takes_power=worlds[0].element)
    return HeatedLoad(
        each("capacity"),
        each("loss"),
        each("radiating"),
        each("outside"),
        each("water"),
        each("open_area"),
        each("pressure"),
        each("humidity"),
        each("film"),
        second,
    )


OVEN = World(2500.0, 2.0, 0.06, 0.5)
TANK = World(9e3 + 2 * WATER, 1.5, 0.0, 0.0, 2.0, second=(700.0, 25.0, 0.1, 0.01, 0.0), element=True)
PAN = World(600 + 0.12 * WATER, 0.8, 0.01, 0.3, 0.12, 0.03, 0.7, 8.0, 90e3)
WALLED = World(900 + 0.1 * WATER, 0.2, 0.02, 0.0, 0.1, 0.01, second=(1500.0, 9.0, 1.6, 0.03, 0.4))
LEAKY = World(2e3, 0.0, second=(900.0, 12.0, 0.4, 0.0, 0.0))
BOX = World(2200.0, 0.3, 0.02, 0.0, second=(3500.0, 11.0, 2.0, 0.05, 0.6))


@pytest.mark.parametrize(
    ("base", "changes", "watts", "starts", "targets", "settings"),
    [
        # an oven: radiation, wind, a thermostat, an element that takes 900 W at most; driven twice
        (OVEN, {"capacity": (2500.0, 2900.0)}, 1000.0, (290.0, 395.0), (350.0, 380.0), {"levels": (390.0, 384.0)}),
        # an element in a tank, from above the target down and up again
        (BOX, {"loss": (0.3, 0.6)}, 900.0, (292.0, 340.0), (330.0, 320.0), {"cap": 800.0}),
        (BOX, {"loss": (0.3, 0.5)}, 1100.0, (292.0, 299.0), (312.0, 316.0), {"levels": (318.0, 314.0)}),
        (replace(TANK, capacity=2e3 + WATER, water=1.0), {}, 2600.0, (350.0, 365.0), (371.0, 368.0), {}),
        # a pan that steams, boils and runs dry, at 3000 m or so
        (PAN, {"water": (0.12, 0.1)}, 900.0, (330.0, 300.0), (360.0, 372.0), {"near": 0.2}),
        (PAN, {"water": (0.04, 0.1)}, 900.0, (330.0, 300.0), (360.0, 372.0), {"cut_when_dry": True, "near": 0.2}),
        # one that steams away below the boiling point: the product ends that at the end of a step of 5 s
        (replace(PAN, water=0.004), {"open_area": (0.05, 0.03)}, 200.0, (330.0, 335.0), (360.0, 340.0), {"near": 2.0}),
        (WALLED, {"water": (0.1, 0.05)}, 1500.0, (350.0, 345.0), (369.0, 380.0), {"cap": 1400.0}),
        (replace(TANK, second=(500.0, 12.0, 0.3, 0.0, 0.0)), {}, 1500.0, (320.0, 310.0), (325.0, 500.0), {}),
    ],
    ids=["oven", "box", "box held", "tank boils", "pan", "pan cut", "dries below", "walls boil", "tank"],
)
def test_a_trip_in_plain_numbers(base, changes, watts, starts, targets, settings) -> None:
    worlds = [replace(base, **{name: values[k] for name, values in changes.items()}) for k in range(2)]
    for world in worlds:  # the capacity counts the water
        world.capacity += (world.water - base.water) * WATER
    count, length = 80, 5.0
    moment = np.arange(count)
    power = watts * (0.75 + 0.3 * np.sin(moment / 9.0))
    ambient = 290.0 + 4.0 * np.sin(moment / 15.0)
    wind = 6.0 + 5.0 * np.cos(moment / 11.0)
    factor = np.array([1.0, 0.9])
    near = settings.get("near", 0.02)
    settings = {name: value for name, value in settings.items() if name != "near"}
    cap, levels = settings.get("cap", math.inf), settings.get("levels")
    thermostat = None if levels is None else Thermostat(sum(levels) / 2, levels[0] - levels[1])
    if levels is not None and base is OVEN:
        cap = 900.0
    found = simulate(
        as_load(worlds),
        HeatingSteps(power, length, ambient, wind, power_factor=factor, repeats=2),
        target_k=np.array(targets),
        start_k=np.array(starts),
        control=ElementControl(
            thermostat,
            None if math.isinf(cap) else ElementLimits(rated_power_w=cap),
            settings.get("cut_when_dry", False),
        ),
        most_records=41,
    )
    for k, world in enumerate(worlds):
        rows = [
            (length, float(p * factor[k]), float(a), float(w)) for p, a, w in zip(power, ambient, wind, strict=True)
        ]
        told = happened(world, rows * 2, starts[k], targets[k], **{**settings, "cap": cap})
        mean = (0.0, float(np.mean([min(row[1], cap) for row in rows])), float(ambient.mean()), float(wind.mean()))
        check_draw(found, k, world, told, mean, targets[k], near)


@pytest.mark.parametrize(
    ("worlds", "watts", "wind", "starts", "targets", "longest", "cap"),
    [
        ([OVEN, replace(OVEN, loss=2.6)], (700.0, 1500.0), 3.0, (290.0, 290.0), (360.0, 420.0), 900.0, 1300.0),
        ([BOX, replace(BOX, capacity=3000.0)], (700.0, 300.0), 8.0, (288.0, 340.0), (360.0, 330.0), 600.0, math.inf),
        ([PAN, replace(PAN, open_area=0.02)], (900.0, 1200.0), 2.0, (350.0, 355.0), (360.0, 372.0), 700.0, math.inf),
        ([TANK, replace(TANK, loss=3.0)], (900.0, 60.0), 0.0, (340.0, 330.0), (350.0, 350.0), 500.0, 800.0),
        # all of the loss by the walls, little of it
        ([LEAKY, replace(LEAKY, capacity=3e3)], (20.0, 3.0), 0.0, (300.0, 290.0), (320.0, 310.0), 900.0, math.inf),
    ],
    ids=["oven", "box", "pan", "tank", "leaky"],
)
def test_a_steady_power_in_plain_numbers(worlds, watts, wind, starts, targets, longest, cap) -> None:
    found = heat_up(
        as_load(worlds),
        SteadyPower(np.array(watts), 289.0, wind),
        target_k=np.array(targets),
        start_k=np.array(starts),
        limits=None if math.isinf(cap) else ElementLimits(rated_power_w=cap),
        longest_s=longest,
    )
    lengths = np.diff(found.history.time_s).tolist()
    assert sum(lengths) == pytest.approx(longest)
    for k, world in enumerate(worlds):
        rows = [(length, watts[k], 289.0, wind) for length in lengths]
        told = happened(world, rows, starts[k], targets[k], cap=cap, cut_when_dry=True)
        check_draw(found, k, world, told, (0.0, min(watts[k], cap), 289.0, wind), targets[k], 0.05)


def test_a_steady_power_goes_on_until_the_load_has_settled() -> None:
    # One node of 200 s: it ends at 300 + 100/5 K and starts at the ambient where nothing else is said.
    found = heat_up(HeatedLoad(1000.0, 5.0), SteadyPower(100.0, 300.0), target_k=310.0)
    assert found.final_temperature_k == pytest.approx(320.0, abs=1e-9)
    assert found.history.main_k[0, 0] == 300
    assert found.time_to_target_s == pytest.approx(200 * math.log(2))
    assert found.history.time_s[-1] == pytest.approx(40 * 200)  # forty time constants (own choice), no thirty days
    # Without any loss it is thirty days, the longest that is looked at (own choice).
    assert heat_up(HeatedLoad(1e9, 0.0), SteadyPower(1.0, 300.0), target_k=301.0).history.time_s[-1] == 30 * 86400


# One step


def one_step(world: World, state: list[float], h: float, power: float, ambient: float, wind: float) -> list[float]:
    """Return the state after one step of the load made linear at its start: the matrix exponential, and its integral.

    Slopes by differences of the plain rates (central, 0.01 K).
    """
    from scipy.linalg import expm

    def flows(t0: float, t1: float) -> np.ndarray:
        rates = world.rates([t0, t1, *state[2:]], power, ambient, wind, False)
        return np.array([rates[0], rates[1], rates[3], rates[4], rates[5]])

    start = flows(*state[:2])
    slope0 = (flows(state[0] + 0.01, state[1]) - flows(state[0] - 0.01, state[1])) / 0.02
    slope1 = (flows(state[0], state[1] + 0.01) - flows(state[0], state[1] - 0.01)) / 0.02
    # x = (rise 0, rise 1, their integrals, 1)
    matrix = np.zeros((5, 5))
    matrix[0, :2], matrix[1, :2] = (slope0[0], slope1[0]), (slope0[1], slope1[1])
    matrix[:2, 4] = start[:2]
    matrix[2, 0] = matrix[3, 1] = 1.0
    rise0, rise1, over0, over1, _ = expm(matrix * h) @ [0.0, 0.0, 0.0, 0.0, 1.0]
    lost, vapour = (start[n] * h + slope0[n] * over0 + slope1[n] * over1 for n in (2, 3))
    held = world.capacity - (world.water - state[2]) * WATER
    stored = held * rise0 + (world.second[0] * rise1 if world.second else 0.0)
    left = max(state[2] - vapour / latent_j_kg(state[0]), 0.0)
    return [state[0] + rise0, state[1] + rise1, left, state[3] + lost, state[4] + vapour, state[5] + stored]


STEAMING = replace(WALLED, pressure=2e5 * 0.99)


@pytest.mark.parametrize("h", [0.4, 30.0, 900.0])
@pytest.mark.parametrize("world", [OVEN, BOX, TANK, PAN, STEAMING, replace(BOX, element=True)])
def test_one_step_of_any_length_is_the_linear_load_solved(world: World, h: float) -> None:
    load = coefficients(as_load([world]), 1)
    air = (450.0, 291.0, 7.0)
    start = [331.0, 318.0, 0.9 * world.water, 11.0, 12.0, 13.0]
    state = steps.State(*(np.array([value]) for value in start))
    around = steps.surroundings(load, np.array([air[0]]), np.array([air[1]]), np.array([air[2]]))
    found = steps.advance(load, around, state, h)
    expected = one_step(world, start, h, *air)
    # The slope of steam is a difference over 0.01 K forwards: 3 in 10 000 of what the step changes.
    for place, (got, wanted, before) in enumerate(zip(found.all(), expected, start, strict=True)):
        if place == 1 and not world.second:
            assert got == start[1]
            continue
        assert float(got[0]) - before == pytest.approx(wanted - before, rel=3e-4 if load.steams else 1e-6), place


@pytest.mark.parametrize("world", [TANK, replace(WALLED, open_area=0.0), replace(PAN, open_area=0.0)])
@pytest.mark.parametrize("left", [0.1, 0.0005])
def test_boiling_for_a_while_in_plain_numbers(world: World, left: float) -> None:
    # The main node stays; what does not leak makes vapour, and what the last water cannot take warms the dry load.
    load = coefficients(as_load([world]), 1)
    boiling = float(load.boiling[0])
    assert boiling == pytest.approx(world.boiling, abs=1e-6)
    start, air, h = [boiling, boiling + 12, left, 0.0, 0.0, 0.0], (900.0, 290.0, 4.0), 20.0
    around = steps.surroundings(load, *(np.array([value]) for value in air))
    state = steps.State(*(np.array([value]) for value in start))
    assert steps.boils(load, around, state).tolist() == [True]
    ample = replace(world, water=world.water)
    plain = [*start[:2], 50.0, 0.0, 0.0, 0.0]
    for _ in range(40):
        plain = ample.stepped(plain, h / 40, *air, boils=True)
    heat, needed = plain[4], start[2] * latent_j_kg(world.boiling)
    vapour = min(heat, needed)
    water_left = start[2] - vapour / latent_j_kg(world.boiling)
    held = world.capacity - world.water * WATER + water_left * WATER
    found = steps.boil(load, around, state, np.array([h]))
    rest = heat - vapour
    assert float(found.main[0]) == pytest.approx(world.boiling + rest / held, abs=1e-5 + 1e-3 * rest / held)
    if world.second:
        assert float(found.second[0]) == pytest.approx(plain[1], abs=2e-3)
    assert float(found.water[0]) == pytest.approx(water_left, abs=1e-6)
    assert float(found.lost[0]) == pytest.approx(plain[3], rel=3e-4)
    assert float(found.vapour[0]) == pytest.approx(vapour, rel=1e-4)
    assert float(found.stored[0]) == pytest.approx(plain[5] + rest, rel=1e-4, abs=2.0)
    assert (left < 0.01) == (rest > 0)
    dry = float(steps.time_to_dry_s(load, around, state, np.array([h]))[0])
    assert dry == pytest.approx(h * min(needed / heat, 1.0), rel=1e-4)


def test_what_boils_has_water_is_hot_enough_and_gains() -> None:
    world = replace(TANK, loss=2.0)
    load = coefficients(as_load([world]), 1)
    leak = 2.0 * (world.boiling - 290.0)

    def stands(main: float, second: float, water: float) -> bool:
        state = steps.State(*(np.array([x]) for x in (main, second, water, 0.0, 0.0, 0.0)))
        around = steps.surroundings(load, np.array([500.0]), np.array([290.0]), None)
        return bool(steps.boils(load, around, state)[0])

    enough = world.boiling + leak / 25.0  # the element gives 25 W/K
    boiling = float(load.boiling[0])
    assert stands(boiling, enough + 0.01, 1.0)
    assert not stands(boiling, enough - 0.01, 1.0)
    assert not stands(boiling - 0.01, enough + 1, 1.0)
    assert not stands(boiling, enough + 1, 0.0)
    cold = steps.State(*(np.array([x]) for x in (boiling, boiling, 1.0, 0.0, 0.0, 0.0)))
    around = steps.surroundings(load, np.array([500.0]), np.array([290.0]), None)
    still = steps.boil(load, around, replace(cold, second=np.array([300.0])), np.array([10.0]))
    assert float(still.vapour[0]) == 0  # it cools instead
    assert float(still.main[0]) < boiling


# How quick a load is, and in how many pieces its steps are cut


@pytest.mark.parametrize("world", [OVEN, BOX, TANK, PAN, STEAMING, replace(BOX, element=True)])
def test_rates_are_eigenvalues_of_the_plain_rates(world: World) -> None:
    load = coefficients(as_load([world]), 1)
    around = steps.surroundings(load, np.zeros(1), np.array([291.0]), np.array([5.0]))
    slow, fast = rates_at(load, around, np.array([340.0]))

    def at(t0: float, t1: float) -> np.ndarray:
        return np.array(world.rates([t0, t1, world.water, 0.0, 0.0, 0.0], 100.0, 291.0, 5.0, False)[:2])

    jacobian = np.column_stack(
        [(at(340.01, 340.0) - at(339.99, 340.0)) / 0.02, (at(340.0, 340.01) - at(340.0, 339.99)) / 0.02]
    )
    rates = sorted(-np.linalg.eigvals(jacobian).real) if world.second else [-jacobian[0, 0]] * 2
    assert [float(slow[0]), float(fast[0])] == pytest.approx(rates, rel=3e-4)


def test_the_slow_part_in_still_air() -> None:
    # 1/(2 W/K) × 2500 J/K, with 4 σ εA T³ of radiation; one load without any loss.
    slope = 2.0 + 4 * SIGMA * 0.06 * 350.0**3
    both = HeatedLoad(2500.0, np.array([2.0, 0.0]), np.array([0.06, 0.0]))
    found = slowest_time_constant_s(both, 290.0, 350.0)
    assert found[0] == pytest.approx(2500 / slope)
    assert np.isnan(found[1])
    wide = HeatedLoad(2500.0, 2.0, outside_area_m2=3.0)
    assert slowest_time_constant_s(wide, 290.0, np.array([300.0, 350.0])) == pytest.approx([1250, 1250])


def test_steps_are_cut_where_the_loss_bends() -> None:
    # Own choice: a twentieth of the quickest time constant; a quarter, two nodes with a thermostat; else not at all.
    pace = Thermostat(350.0, 2.0)

    def longest(world: World, thermostat: Thermostat | None, hottest: float) -> float:
        load = coefficients(as_load([world]), 1)
        around = steps.surroundings(load, np.zeros(1), np.array([290.0]), None)
        return heater._longest_piece_s(load, around, np.array([hottest]), thermostat)

    plain = World(2000.0, 4.0)
    assert longest(plain, None, 350.0) == longest(plain, pace, 350.0) == math.inf
    bent = replace(plain, radiating=0.1)
    assert longest(bent, None, 400.0) == pytest.approx(0.05 * 2000 / (4 + 4 * SIGMA * 0.1 * 400**3))
    assert longest(bent, None, math.nan) == pytest.approx(longest(bent, None, 400.0))
    assert longest(bent, None, 5000.0) == pytest.approx(longest(bent, None, 2000.0))
    two = replace(plain, second=(500.0, 10.0, 1.0, 0.0, 0.0))
    assert longest(two, None, 350.0) == math.inf
    matrix = np.array([[14 / 2000, -10 / 2000], [-10 / 500, 11 / 500]])
    assert longest(two, pace, 350.0) == pytest.approx(0.25 / float(np.linalg.eigvals(matrix).real.max()))
    # Once the water is gone the load is quicker.
    wet = World(500.0 + WATER, 4.0, 0.1, water=1.0)
    assert longest(wet, None, 350.0) == pytest.approx(0.05 * 500 / (4 + 4 * SIGMA * 0.1 * 350**3))


def test_pieces_of_steps_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    lengths, index = heater._pieces(np.array([10.0, 25.0]), 2, 10.0)
    assert lengths == pytest.approx([10, 25 / 3, 25 / 3, 25 / 3] * 2)
    assert index.tolist() == [0, 1, 1, 1] * 2
    whole, order = heater._pieces(np.array([10.0, 25.0]), 3, math.inf)
    assert (whole.tolist(), order.tolist()) == ([10, 25] * 3, [0, 1] * 3)
    assert heater._pieces(np.array([30.0]), 1, 10.0)[0].tolist() == [10, 10, 10]
    # An absurdly quick node: at most 20 000 pieces, or four a step.
    many, which = heater._pieces(np.array([1000.0, 1.0, 1e-4]), 1, 1e-3)
    assert 19_900 < many.size <= 20_000
    assert [float(many[which == k].sum()) for k in range(3)] == pytest.approx([1000, 1, 1e-4])
    assert np.ptp(many[which == 0]) == 0
    assert heater._pieces(np.full(20_000, 1.0), 1, 1e-3)[0].size == 80_000
    monkeypatch.setattr(heater, "MOST_STEPS", 100)
    assert heater._pieces(np.ones(50), 2, math.inf)[0].size == 100
    with pytest.raises(HeaterError, match="101 steps; accepted: at most 100"):
        heater._pieces(np.ones(101), 1, math.inf)


def test_steps_that_grow_by_three_in_a_hundred() -> None:
    found = heater._growing_steps(1000.0, first=0.5, largest=20.0)
    assert found.sum() == pytest.approx(1000)
    growing = found[found[1:].argmin() :] if found[0] > found[1] else found
    ratio = growing[1:] / growing[:-1]
    assert found[0] == 0.5
    climb = int(np.argmax(ratio < 1.02))
    assert ratio[:climb] == pytest.approx([1.03] * climb)
    assert climb > 60
    assert np.ptp(found[climb + 2 :]) < 1e-9
    assert 19 < found[-1] <= 20
    assert found.max() <= 20 * 1.03
    assert heater._growing_steps(1000.0, first=1e-9, largest=20.0)[0] == pytest.approx(1e-4)
    assert heater._growing_steps(1000.0, first=50.0, largest=20.0)[0] == pytest.approx(20)


# What a march tells, and what it is not given


def test_a_march_tells_how_far_it_is() -> None:
    shares: list[float] = []
    simulate(
        HeatedLoad(1e4, 1.0),
        HeatingSteps(np.full(250, 10.0), 1.0, 290.0),
        target_k=300.0,
        start_k=290.0,
        progress=shares.append,
    )
    assert shares[0] == 0
    assert shares[-1] == 1
    assert np.diff(shares) == pytest.approx([2 / 250] * (len(shares) - 1))
    few: list[float] = []
    trip = HeatingSteps(np.full(7, 10.0), 1.0, 290.0)
    simulate(HeatedLoad(1e4, 1.0), trip, target_k=300.0, start_k=290.0, progress=few.append)
    assert few == pytest.approx([k / 7 for k in range(8)])


def test_what_is_said_of_nothing_else() -> None:
    load = HeatedLoad(1.0, 1.0)
    assert (load.radiating_area_m2, load.outside_area_m2, load.water_kg, load.open_water_area_m2) == (0, 0, 0, 0)
    # sea level (US Standard Atmosphere 1976), half of the vapour that air can hold, 5 W/(m² K) (common practice)
    assert (load.pressure_pa, load.relative_humidity, load.water_film_w_m2_k) == (101_325, 0.5, 5)
    assert load.second_node is None
    node = SecondNode(1.0, 1.0)
    assert (node.loss_w_k, node.radiating_area_m2, node.outside_area_m2, node.takes_power) == (0, 0, 0, False)
    limits = ElementLimits()
    assert all(math.isnan(x) for x in (limits.rated_power_w, limits.rated_voltage_v, limits.resistance_ohm))
    assert math.isnan(limits.surface_limit_k)
    trip = HeatingSteps(1.0, 1.0, 290.0)
    assert (trip.air_speed_m_s, trip.power_factor, trip.repeats, trip.fine) == (0, 1, 1, False)
    assert SteadyPower(1.0, 290.0).air_speed_m_s == 0
    control = ElementControl()
    assert (control.thermostat, control.limits, control.cut_when_dry) == (None, None, False)
    # a history has a record every so many steps, and of 400 no more than 361 (own choice: a point each in a chart)
    told = simulate(HeatedLoad(1e4, 1.0), HeatingSteps(np.ones(400), 1.0, 290.0), target_k=300.0, start_k=290.0)
    assert told.history.time_s.size == 361


# Where something happens inside a long step


def linear(world: World, power: float, ambient: float, start: float, seconds: float) -> float:
    """Return the main temperature of two nodes without radiation after a while, by the matrix exponential."""
    from scipy.linalg import expm

    assert world.second is not None
    c1, k, loss1, _, _ = world.second
    into = (0.0, power) if world.element else (power, 0.0)
    matrix = np.zeros((3, 3))
    matrix[0] = [-(k + world.loss) / world.capacity, k / world.capacity, 0.0]
    matrix[1] = [k / c1, -(k + loss1) / c1, 0.0]
    matrix[0, 2], matrix[1, 2] = into[0] / world.capacity, into[1] / c1
    return ambient + float((expm(matrix * seconds) @ [start - ambient, start - ambient, 1.0])[0])


@pytest.mark.parametrize("element", [True, False])
@pytest.mark.parametrize("long_s", [300.0, 2000.0, 20_000.0])
def test_the_boiling_of_two_nodes_begins_inside_a_long_step(element: bool, long_s: float) -> None:
    # One step without a bend: the cubic through its ends is far off, what begins is found all the same.
    world = World(2e3 + 0.5 * WATER, 1.0, water=0.5, second=(900.0, 12.0, 0.4, 0.0, 0.0), element=element)
    found = simulate(as_load([world]), HeatingSteps(1800.0, long_s, 290.0), target_k=360.0, start_k=300.0)
    for name, level in (("boiling_from_s", world.boiling), ("time_to_target_s", 360.0)):
        at = root(lambda t, level=level: linear(world, 1800.0, 290.0, 300.0, t) - level, 0.0, 300.0)
        assert float(getattr(found, name)[0]) == pytest.approx(at, abs=1e-3)
    assert found.switchings.tolist() == [0]


def test_what_has_boiled_away_holds_no_heat() -> None:
    # 0.3 kg under a lid, 1000 W at the boiling point for 400 s, then nothing: it cools as what is left of it does.
    world = World(500.0 + 0.3 * WATER, 1.5, water=0.3)
    power = np.repeat([1000.0, 0.0], 400)
    boiling = float(coefficients(as_load([world]), 1).boiling[0])
    found = simulate(as_load([world]), HeatingSteps(power, 1.0, 300.0), target_k=500.0, start_k=boiling)
    left = 0.3 - 400 * (1000 - 1.5 * (boiling - 300)) / latent_j_kg(boiling)
    assert found.water_left_kg == pytest.approx(left, rel=1e-4)
    cooled = (boiling - 300) * math.exp(-400 * 1.5 / (500 + left * WATER))
    assert found.final_temperature_k - 300 == pytest.approx(cooled, rel=1e-3)
    assert found.boiling_from_s.tolist() == [0]


def test_long_steps_of_a_straight_loss_are_exact_whatever_changes_between_them() -> None:
    # Steps of many lengths, in still air and in wind by turns: one exponential each.
    lengths = [300.0, 900.0, 900.0, 900.0, 50.0, 900.0, 900.0]
    wind = [0.0, 15.0, 1.0, 1.25, 14.0, 9.0, 9.4]
    power = [800.0, 900.0, 100.0, 0.0, 900.0, 700.0, 700.0]
    loads = HeatedLoad(np.array([2500.0, 4000.0]), 2.0, outside_area_m2=0.5)
    found = simulate(loads, HeatingSteps(power, lengths, 290.0, wind), target_k=500.0, start_k=300.0)
    still = simulate(
        replace(loads, outside_area_m2=0.0), HeatingSteps(power, lengths, 290.0), target_k=500.0, start_k=300.0
    )
    for k, capacity in enumerate((2500.0, 4000.0)):
        for outcome, airs in ((found, wind), (still, [0.0] * 7)):
            at = 300.0
            for row, (length, watts, air) in enumerate(zip(lengths, power, airs, strict=True)):
                loss = World.out(2.0, 0.5, 0.0, 291.0, 290.0, air)
                end = 290 + watts / loss
                at = end + (at - end) * math.exp(-length * loss / capacity)
                assert outcome.history.main_k[row + 1, k] == pytest.approx(at, abs=1e-8)


def test_a_thermostat_rests_in_a_march_of_many_events() -> None:
    # On 67.6 s, off 192.3 s (worked in test_heater.py): 60 of both in one step are 120 switchings, far from too many;
    # a band so narrow that it switches each tenth of a second is refused.
    on, off = 5000 * math.log(149 / 147), 5000 * math.log(53 / 51)
    levels = ElementControl(Thermostat(352.0, 2.0))
    trip = HeatingSteps(400.0, 60 * (on + off) - 1.0, 300.0)
    found = simulate(HeatedLoad(10e3, 2.0), trip, target_k=352.9, start_k=351.0, control=levels)
    assert found.switchings.tolist() == [119]
    assert found.energy_given_j == pytest.approx(60 * on * 400)
    assert found.time_to_target_s == pytest.approx(5000 * math.log(149 / 147.1))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"thermostat": Thermostat(340.0, 0.1)}, ""),
        ({"thermostat": Thermostat(340.0, 0.099)}, "0.1 K or more"),
        ({"thermostat": Thermostat(340.0, math.inf)}, "0.1 K or more"),
        ({"repeats": 1}, ""),
        ({"power_w": 0.0}, ""),
        ({"ambient_k": 1.0}, ""),
        ({"ambient_k": 0.99}, "ambient_k holds 0.99; accepted: 1 or more"),
        ({"start_k": 0.99}, "start_k holds 0.99; accepted: 1 or more"),
        ({"target_k": 0.99}, "target_k holds 0.99"),
        ({"power_factor": -0.1}, "power_factor holds -0.1; accepted: 0 or more"),
        ({"air_speed_m_s": -0.1}, "air_speed_m_s holds -0.1; accepted: 0 or more"),
        ({"durations_s": [60.0, -1.0]}, "above 0 s"),
        ({"durations_s": [60.0, math.inf]}, "finite time"),
        ({"durations_s": np.ones((2, 2))}, r"shape \(2, 2\)"),
        ({"power_w": np.ones((2, 3)), "ambient_k": np.full((2, 2), 290.0)}, r"\[2, 3\]"),
    ],
)
def test_trips_up_to_their_limits(change, words) -> None:
    given = {"power_w": 100.0, "durations_s": 60.0, "ambient_k": 290.0, "target_k": 320.0, "start_k": 290.0} | change
    control = ElementControl(given.pop("thermostat", None))
    target, start = given.pop("target_k"), given.pop("start_k")
    if not words:
        assert simulate(HeatedLoad(1e4, 1.0), HeatingSteps(**given), target_k=target, start_k=start, control=control)
        return
    with pytest.raises(HeaterError, match=words):
        simulate(HeatedLoad(1e4, 1.0), HeatingSteps(**given), target_k=target, start_k=start, control=control)
