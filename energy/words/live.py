"""A recording that is watched while another terminal writes it, in words."""

from __future__ import annotations

from energy.words.read import in_usual_unit
from energy.words.record import OLD_S
from vehicle.logs.columns import BY_NAME
from vehicle.logs.tail import Look
from vehicle.units import UnitSystem, figures, show

HEADINGS = ("quantity", "last value", "age")
CAPTION = "Last values of the recording"
ASKED = "Recording to watch: a CSV file or its folder on this machine"
NOTHING_YET = "Nothing to watch yet; it is looked for again"


def lines(look: Look, name: str) -> list[str]:
    """Return what stands under the condition: how much there is, and the turbine's state."""
    return [f"{name}: {look.rows} rows over {_clock(look.duration_s)}", *_turbine(look)]


def rows(look: Look, system: UnitSystem) -> list[tuple[str, str, str]]:
    """Return the last values as rows under `HEADINGS`."""
    return [
        (BY_NAME[name].words, value_words(name, value, system), age(look, name)) for name, value in look.values.items()
    ]


def value_words(name: str, value: float, system: UnitSystem) -> str:
    """Return a value in the units to show."""
    kind = {"speed": "speed", "volume flow": "fuel_flow"}.get(BY_NAME[name].kind)
    if kind is not None:
        return show(value, kind, system)
    shown, unit = in_usual_unit(name, value, system)
    return f"{figures(shown, 3)} {unit}"


def age(look: Look, name: str) -> str:
    """Return how old a value is where it is no longer the current one, and whether this parameter alone stopped."""
    age_s = look.ages_s[name] + look.silent_s
    if name not in look.old and not look.stopped:
        return f"{_clock(age_s)} old" if age_s > OLD_S else ""
    return f"{_clock(age_s)} old" if look.gap or look.stopped else f"no answer any more, {_clock(age_s)} old"


def condition(look: Look) -> str:
    """Return how the recording stands: it grows, it waits, it stopped."""
    since = f"no new row for {_clock(look.silent_s)}"
    if look.gap:
        return f"Waiting, {since}: {look.gap}"
    if look.stopped:
        return f"Stopped: {since}. It has ended, or it waits for the adapter or the car"
    return "Recording"


def _turbine(look: Look) -> list[str]:
    return [f"turbine: {look.state}"] if look.state else []


def _clock(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = seconds / 60
    return f"{minutes:.1f} min" if minutes < 90 else f"{minutes / 60:.1f} h"
