"""`windtoll tune`: which setting of a stepped drive was best, and which to try next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.diagnosis.tuning import SettingResult, Tuned

ROWS_TITLE = "Settings (power coefficient: watts of the load over the wind's own, steady stretches only)"
CAUTIONS = (
    "The passenger steps and logs, the driver drives. Never change a setting by hand on a turning rotor.",
    "More watts are more drag, thrust and rotor speed: look at windtoll answer and windtoll loads with the new setting.",
)


@click.command("tune", short_help="Which setting of a stepped drive was best? Which to try next?")
@common.SCENARIO
@click.argument("sweep", type=click.Path(path_type=Path), metavar="SWEEP.csv")
@common.set_option
@common.units_option
@common.json_option
def command(scenario: Path, sweep: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool) -> None:
    """Say which setting of the drive in SWEEP.csv was best, how sure that is, and which setting to try next.

    Columns: time, electrical power, one setting (pitch, resistance or ratio), and air speed, or road speed with the head
    wind where it is known; rotor speed if logged. Units stand in the header: time_s, electrical_power_w, pitch_deg,
    air_speed_km_h, road_speed_mph, wind_speed_mph, rotor_speed_rpm. Hold each setting half a minute or more, and go
    through them twice or more, in another order each time.

    \b
    Examples:
      windtoll tune scenario.toml sweep.csv
      windtoll tune scenario.toml sweep.csv --json
    """
    from energy.chain.load import load
    from energy.diagnosis.tuning import tuned_of_file

    checked = load(scenario, overrides)
    with common.progress("Weighing the settings") as progress:
        found = tuned_of_file(checked, sweep, progress)
    if as_json:
        common.print_json(_data(found))
    else:
        _print(found, checked.title, system)


def _data(found: Tuned) -> dict[str, Any]:
    return {
        "kind": found.kind,
        "best": {"setting": found.best, "low": found.low, "high": found.high},
        "next": found.next,
        "settings": [
            {
                "setting": one.setting,
                "power_coefficient": one.power_coefficient,
                "low": one.low,
                "high": one.high,
                "peak_w": one.peak_w,
                "mean_w": one.mean_w,
                "energy_wh": one.energy_j / 3600,
                "seconds": one.seconds,
                "visits": one.visits,
                "stretches": one.stretches,
            }
            for one in found.settings
        ],
        "no_difference_between": [list(pair) for pair in found.alike],
        "any_difference_seen": found.best_is_told,
        "at_edge": found.at_edge,
        "lag_s": found.lag_s,
        "too_short": list(found.skipped),
    }


def setting_words(kind: str, value: float) -> str:
    """Return a setting as people say it: "4.0°", "9.5 Ω", "2.5"."""
    text = f"{value:.1f}" if kind == "pitch" else f"{value:.3g}"
    return f"{text}{'°' if kind == 'pitch' else ' Ω' if kind == 'resistance' else ''}".replace("-", "−")


def headlines(found: Tuned) -> list[str]:
    """Return the answer in two sentences."""

    def shown(value: float) -> str:
        return setting_words(found.kind, value)

    if not found.best_is_told:
        first = (
            f"No difference can be seen between any of these settings; the best {found.kind} lies anywhere from "
            f"{shown(found.low)} to {shown(found.high)}."
        )
    else:
        first = (
            f"Best {found.kind}: {shown(found.best)} ({shown(found.low)} to {shown(found.high)}, 19 times out of 20)."
        )
        if found.at_edge:
            first += " It may lie beyond the settings that were tried."
    where = (
        "beyond what was tried, as the best may lie there" if found.next_beyond else "there a reading would teach most"
    )
    return [first, f"Try {shown(found.next)} next: {where}."]


def notes_of(found: Tuned, system: UnitSystem) -> list[str]:
    """Return what a builder should know of these numbers."""

    def shown(value: float) -> str:
        return setting_words(found.kind, value)

    said = []
    if found.best_is_told:
        said += [f"No difference can be seen between {shown(a)} and {shown(b)}." for a, b in found.alike]
    peak: SettingResult = max(found.settings, key=lambda one: one.peak_w)
    top: SettingResult = max(found.settings, key=lambda one: one.power_coefficient)
    said.append(
        f"The greatest peak, {show(peak.peak_w, 'power', system)} at {shown(peak.setting)}, was a gust: it says nothing of the "
        f"setting. The mean there was {show(peak.mean_w, 'power', system)}"
        + ("." if peak is top else f", and {shown(top.setting)} made more of the same wind.")
    )
    if found.inertia_used:
        said.append(
            "What the turning rotor stores and gives back is taken off, by its logged speed and the blades' masses."
        )
    elif found.lag_s > 0:
        said.append(f"The watts follow the wind by about {figures(found.lag_s, 2)} s; that lag is allowed for.")
    if not found.wind_is_known:
        said.append(
            "The wind was not logged: its gusts count as scatter, and a wind that turned counts as a setting. Log air speed, or "
            "drive both ways."
        )
    if found.visits_vary:
        said.append(
            "Each setting was held once: a slow change of wind or road would look like a setting. Go through them again in "
            "another order."
        )
    if found.skipped:
        said.append(
            f"Too short to judge: {', '.join(shown(v) for v in found.skipped)}. Hold each half a minute or more."
        )
    return said


def setting_headings(found: Tuned) -> list[str]:
    """Return the headings of the table of settings, with a line break where a narrow column wants one."""
    return [found.kind, "power\ncoefficient", "held", "stretches", "mean", "energy", "peak"]


def setting_rows(found: Tuned, system: UnitSystem) -> list[list[str]]:
    """Return what every setting gave as texts under `setting_headings`."""
    return [
        [
            setting_words(found.kind, one.setting),
            f"{one.power_coefficient:.4f} ± {0.5 * (one.high - one.low):.4f}",
            f"{one.seconds:.0f} s",
            f"{one.stretches} in {one.visits}",
            show(one.mean_w, "power", system),
            f"{one.energy_j / 3600:.1f} Wh",
            show(one.peak_w, "power", system),
        ]
        for one in found.settings
    ]


def _print(found: Tuned, title: str, system: UnitSystem) -> None:
    from rich.table import Table

    out = common.console()
    if title:
        out.print(title, style="dim")
    for text in headlines(found):
        out.print(text, style="bold")
    common.heading(out, ROWS_TITLE)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in setting_headings(found):
        table.add_column(name, justify="right", no_wrap=True)
    for texts in setting_rows(found, system):
        table.add_row(*texts)
    out.print(table)
    common.heading(out, "Notes")
    common.bullets(out, notes_of(found, system))
    common.heading(out, "Cautions")
    common.bullets(out, CAUTIONS)
