"""A first heat capacity from two readings of a thermometer: "77 degF to 187 degF in 6 minutes at about 2 kW".

Energy in less what leaked, over the rise: C = (P t - loss) / (T2 - T1). What was read aloud is not exact, and what
leaked is not known unless a cool-down was read too: the interval is wide, and honest.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vehicle.problems import InputError, Problem
from vehicle.quantity import Estimate
from vehicle.units import QuantityError, parse

ACCEPTED = '"77 degF to 187 degF in 6 minutes at about 2 kW", or "... in 20 minutes with the power off"'
# Standard deviations, common practice, no source: a thermometer read aloud, watts read and "about", the clock.
_THERMOMETER_K, _WATTS, _ABOUT_WATTS, _CLOCK = 1.5, 0.03, 0.10, 0.04
# Time constants that boxes, ovens and tanks have (common practice, no source): what leaks where no cool-down was read.
_FASTEST_S, _SLOWEST_S = 20 * 60.0, 20 * 3600.0
_UNEVEN = 0.10  # of a quick warm-up: what the thermometer sees is not yet what the whole load has (no source)
_DRAWS, _SEED = 20_000, 5
_PATTERN = re.compile(
    r"^\s*(?P<first>[-+]?[\d.]+\s*[^\d\s.][^\d]*?|[-+]?[\d.]+)\s+to\s+(?P<last>[-+]?[\d.]+\s*[^\d]*?)\s+"
    r"(?:in|within|after)\s+(?P<time>(?:about\s+|~\s*)?[\d.]+\s*[a-z]+)\s*,?\s+"
    r"(?:(?:at|with)\s+(?P<about>about|around|roughly|~)?\s*(?P<power>[\d.]+\s*k?W)"
    r"|(?:with\s+)?(?:the\s+)?power\s+off|off)\s*$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Spell:
    """A warm-up or cool-down as read: two temperatures (K), the time between (s), watts (0: off), whether "about"."""

    first_k: float
    last_k: float
    time_s: float
    power_w: float
    about: bool


@dataclass(frozen=True)
class FirstCapacity:
    """Heat capacity (J/K) with its 95 % interval, loss (W/K) where a cool-down was read (else None), and remarks."""

    heat_capacity_j_k: Estimate
    loss_w_k: Estimate | None
    remarks: tuple[str, ...]


def read_spell(text: str) -> Spell:
    """Return what a sentence says.

    Parameters
    ----------
    text : such as "77 degF to 187 degF in 6 minutes at about 2 kW"

    Returns
    -------
    Temperatures [K], time [s] and power [W].

    Raises
    ------
    InputError
        With what would be accepted.
    """
    match = _PATTERN.match(text)
    if match is None:
        raise InputError(Problem("command line", "--reading", f'"{text}"', ACCEPTED))
    words = match.groupdict()
    time, roughly = re.subn(r"^(about|~)\s*", "", words["time"], flags=re.IGNORECASE)
    try:
        last = _temperature(words["last"], "")
        first = _temperature(words["first"], words["last"])
        spell = Spell(first, last, parse(time, "s"), parse(words["power"], "W") if words["power"] else 0.0, False)
    except QuantityError as error:
        raise InputError(Problem("command line", "--reading", str(error), ACCEPTED)) from None
    about = bool(words["about"]) or bool(roughly)
    _check(spell, text)
    return Spell(spell.first_k, spell.last_k, spell.time_s, spell.power_w, about)


def _temperature(text: str, other: str) -> float:
    """Return a temperature in K; one without a unit takes that of the other."""
    number = re.match(r"[-+]?[\d.]+", text)
    unit = text[number.end() :].strip() if number else ""
    unit = unit or re.sub(r"^[-+]?[\d.]+\s*", "", other).strip()
    unit = {"f": "degF", "°f": "degF", "c": "degC", "°c": "degC"}.get(unit.lower(), unit)
    return parse(f"{number.group(0) if number else text} {unit}", "K")


def _check(spell: Spell, text: str) -> None:
    rise = spell.last_k - spell.first_k
    wrong = ""
    if not spell.time_s > 0:
        wrong = "no time between the readings"
    elif spell.power_w > 0 and rise < 2:
        wrong = f"a rise of {rise:.1f} K under power"
    elif spell.power_w == 0 and rise > -2:
        wrong = f"a fall of {-rise:.1f} K with the power off"
    if wrong:
        accepted = "a rise of 2 K or more under power, a fall of 2 K or more with the power off"
        raise InputError(Problem("command line", f'--reading "{text}"', wrong, accepted))


def first_capacity(spells: Sequence[Spell], ambient_k: float | None = None) -> FirstCapacity:
    """Return a first heat capacity, and the loss where a cool-down was read.

    Parameters
    ----------
    spells : sequence of Spell
        At least one warm-up; a cool-down needs `ambient_k`.
    ambient_k : float, optional
        Temperature around the load [K]; by default the warm-up's first.

    Returns
    -------
    Heat capacity [J/K] and loss [W/K], with intervals.

    Raises
    ------
    InputError
        Without a warm-up, or where a cool-down comes without the temperature around.

    Notes
    -----
    One node with a linear loss, C dT/dt = P - G (T - Ta), solved exactly. With tau = C/G and e = exp(-t/tau), a
    cool-down is T2 - Ta = (T1 - Ta) e, and a warm-up has G = P (1 - e) / (T2 - Ta - (T1 - Ta) e), C = G tau. Without
    a cool-down tau is drawn between those of common loads.

    References
    ----------
    .. [1] One node with a linear loss, closed form above; the range of time constants: common practice, no source.
    """
    warm, cool = [s for s in spells if s.power_w > 0], [s for s in spells if s.power_w <= 0]
    if not warm:
        raise InputError(Problem("command line", "--reading", "no warm-up under known watts", ACCEPTED))
    if cool and ambient_k is None:
        raise InputError(Problem("command line", "--ambient", "missing with a cool-down", '"18 degC"'))
    draw = np.random.default_rng(_SEED)
    around = (warm[0].first_k if ambient_k is None else ambient_k) + 1.0 * draw.normal(size=_DRAWS)
    if cool:
        constant = _together([_constant(spell, around, draw) for spell in cool])
    else:
        constant = _FASTEST_S * (_SLOWEST_S / _FASTEST_S) ** draw.uniform(size=_DRAWS)
    capacity = _together([_capacity(spell, around, constant, draw) for spell in warm])
    good = np.isfinite(capacity) & np.isfinite(constant) & (capacity > 0)
    if good.mean() < 0.5:
        raise InputError(
            Problem("command line", "--reading", "readings that contradict each other", "temperatures above --ambient")
        )
    remarks = (
        []
        if cool
        else [
            "What leaked meanwhile is not known: let it cool down with the power off and give that reading too, with "
            "--ambient."
        ]
    )
    quick = min(spell.time_s for spell in warm)
    if quick < 600:
        remarks.append(
            "A quick warm-up: walls and contents may lag behind the thermometer, so that the whole load holds more."
        )
    loss = _estimate((capacity / constant)[good]) if cool else None
    return FirstCapacity(_estimate(capacity[good]), loss, tuple(remarks))


def _constant(spell: Spell, around: np.ndarray, draw: np.random.Generator) -> np.ndarray:
    first, last, time, _ = _drawn(spell, draw)
    with np.errstate(invalid="ignore", divide="ignore"):
        constant = time / np.log((first - around) / (last - around))
    return np.asarray(np.where((constant > 0) & (last > around), constant, np.nan))


def _capacity(spell: Spell, around: np.ndarray, constant: np.ndarray, draw: np.random.Generator) -> np.ndarray:
    first, last, time, power = _drawn(spell, draw)
    left = np.exp(-time / constant)
    leaked = power * -np.expm1(-time / constant) / (last - around - (first - around) * left)
    # What lags behind the thermometer is warmed later; the longer it takes, the less is behind.
    lag = 1 + _UNEVEN * np.abs(draw.normal(size=_DRAWS)) * np.exp(-spell.time_s / 1200)
    return np.asarray(leaked * constant * lag)


def _drawn(spell: Spell, draw: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    first = spell.first_k + _THERMOMETER_K * draw.normal(size=_DRAWS)
    last = spell.last_k + _THERMOMETER_K * draw.normal(size=_DRAWS)
    time = spell.time_s * np.exp((2 if spell.about else 1) * _CLOCK * draw.normal(size=_DRAWS))
    power = spell.power_w * np.exp((_ABOUT_WATTS if spell.about else _WATTS) * draw.normal(size=_DRAWS))
    return first, last, time, power


def _together(draws: list[np.ndarray]) -> np.ndarray:
    """Return the geometric mean of several spells, draw by draw."""
    return np.asarray(np.exp(np.mean(np.log(np.stack(draws)), axis=0)))


def _estimate(values: np.ndarray) -> Estimate:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Estimate(float(middle), float(low), float(high), 0.95)


def scenario_lines(first: FirstCapacity) -> str:
    """Return the `[load]` table of a scenario (TOML text); a loss that is not known is left to what it is.

    Parameters
    ----------
    first : capacity and loss

    Returns
    -------
    TOML text.
    """
    lines = ["# A first value from readings said aloud; intervals of 95 %. A log of a warm-up and cool-down is better."]
    lines.append("[load]")
    for key, estimate, scale, unit in (
        ("heat_capacity", first.heat_capacity_j_k, 1e-3, "kJ/K"),
        ("loss", first.loss_w_k, 1.0, "W/K"),
    ):
        if estimate is not None:
            value, (low, high) = estimate.estimate, estimate.ends
            ends = (("value", value), ("low", low), ("high", high))
            text = ", ".join(f'{name} = "{number * scale:.4g} {unit}"' for name, number in ends)
            lines.append(f"{key} = {{{text}}}")
    return "\n".join(lines) + "\n"
