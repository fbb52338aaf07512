"""`windtoll loads`: what mount, bearing, blades and linkage must carry, before the first drive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from energy.commands import common
from energy.words.loads import (
    CAUTIONS,
    LADDER_CAUTIONS,
    LOAD_COLUMNS,
    as_data,
    case_words,
    headline,
    ladder_data,
    load_rows,
    margin_sentence,
    shown_load,
    travel_words,
)
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.strength.table import Ladder, LoadTable, Travel


@click.command("loads", short_help="What must mount, bearing, blades and linkage carry?")
@common.SCENARIO
@common.set_option
@common.units_option
@common.json_option
@click.option(
    "--ladder", is_flag=True, help="Only the spin-up ladder: speeds at which to stop and inspect in the shop."
)
def command(scenario: Path, overrides: tuple[str, ...], system: UnitSystem, as_json: bool, ladder: bool) -> None:
    """Say what mount, bearing, blade roots and pitch linkage of SCENARIO.toml must carry, before something breaks.

    Each load stands at the operating point and at the worst case (gust, passing truck, load cut) beside its limit. The
    tables [gust], [mount], [bearing], [blade_loads] and [linkage] of the scenario say what is there; what they leave out is
    named.

    \b
    Examples:
      windtoll loads scenario.toml
      windtoll loads scenario.toml --set gust.speed="15 m/s" --units us
      windtoll loads scenario.toml --ladder
    """
    from energy.scenario.read import load
    from energy.strength.table import load_table, spin_up_ladder

    checked = load(scenario, overrides)
    if ladder:
        rungs = spin_up_ladder(checked)
        if as_json:
            common.print_json({"ladder": ladder_data(rungs), "cautions": list(LADDER_CAUTIONS)})
        else:
            _print_ladder(rungs, system)
        return
    table = load_table(checked)
    if as_json:
        common.print_json(as_data(table))
    else:
        _print(table, system)


def _print(table: LoadTable, system: UnitSystem) -> None:
    out = common.console()
    if table.scenario.title:
        out.print(table.scenario.title, style="dim")
    out.print(headline(table), style="bold")
    common.heading(out, "Cases")
    common.pairs(out, case_words(table, system))
    common.heading(out, "Loads")
    out.print(_load_grid(table, system))
    if table.thin:
        common.heading(out, "Margins under 2, the thinnest first")
        common.bullets(out, [margin_sentence(row, system) for row in table.thin])
    told: list[str] = []
    for case, travel in table.travel.items():
        common.heading(out, f"Pitch linkage through its travel, {case} (+ towards feather, − towards fine)")
        out.print(_travel_grid(travel, system))
        said = travel_words(travel, table, system)
        common.bullets(out, [text for text in said if text not in told])
        told += said
    if table.left_out:
        common.heading(out, "Left out; these keys would add it")
        common.bullets(out, list(table.left_out))
    from energy.words.answer import assumption_words

    common.heading(out, "Assumed, for want of a value in the scenario")
    common.bullets(out, [assumption_words(entry) for entry in table.assumptions])
    common.heading(out, "Cautions")
    common.bullets(out, [*table.notes, *CAUTIONS])
    if table.ladder is not None:
        out.print()
        out.print("Before the first drive, spin it up in the shop: windtoll loads --ladder")


def _load_grid(table: LoadTable, system: UnitSystem) -> Any:
    from rich.table import Table

    grid = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    grid.add_column(LOAD_COLUMNS[0])
    for name in LOAD_COLUMNS[1:]:
        grid.add_column(name, justify="right", no_wrap=True)
    for row in load_rows(table, system):
        grid.add_row(*row)
    return grid


def _travel_grid(travel: Travel, system: UnitSystem) -> Any:
    from rich.table import Table

    grid = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("pitch", "air", "centrifugal", "friction ±", "on the actuator", "a loose blade"):
        grid.add_column(name, justify="right", no_wrap=True)
    for k in travel.shown():
        force = travel.actuator_n[k]
        direction = "turns to feather" if force > 0 else "turns to fine"
        if abs(force) <= travel.friction_n[k]:
            direction = "stays (friction)"
        grid.add_row(
            f"{figures(float(travel.pitch_deg[k]), 3)}°{' *' if travel.beyond_curves[k] else ''}",
            *(
                show(round(float(values[k]), 2), "torque", system, signed=True)
                for values in (travel.aerodynamic_n_m, travel.centrifugal_n_m)
            ),
            show(float(travel.friction_n_m[k]), "torque", system) if travel.friction_n_m[k] > 0 else "not told",
            shown_load(float(force), "force", system)
            + (f" ± {shown_load(float(travel.friction_n[k]), 'force', system)}" if travel.friction_n[k] > 0 else ""),
            direction,
        )
    return grid


def _print_ladder(ladder: Ladder, system: UnitSystem) -> None:
    from rich.table import Table

    out = common.console()
    top = ladder.rungs[-1]
    out.print(
        f"Spin-up in the shop, in {len(ladder.rungs)} steps up to {show(top.rotor_speed_rad_s, 'rotor_speed', system)} "
        f"({ladder.limit_from}): stop and inspect at each. Never above the last.",
        style="bold",
    )
    out.print()
    grid = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    names = (
        "step",
        "rotor speed",
        "tip speed",
        "pull of each blade",
        "of the limit's",
        "imbalance force",
        "root margin",
    )
    for name in names:
        grid.add_column(name, justify="right")
    for number, rung in enumerate(ladder.rungs, 1):
        grid.add_row(
            str(number),
            show(rung.rotor_speed_rad_s, "rotor_speed", system),
            show(rung.tip_speed_m_s, "tip_speed", system),
            shown_load(rung.centrifugal_n, "force", system),
            f"{100 * rung.share:.0f} %",
            shown_load(rung.imbalance_n, "force", system),
            "no rating given" if rung.root_margin is None else figures(rung.root_margin, 2),
        )
    out.print(grid)
    notes = [f"Imbalance force from {ladder.imbalance_from}; it turns with the rotor and shakes the mount once a turn."]
    if top.root_margin is not None and top.root_margin < 2:
        notes.append(
            f"At the last step the blade roots have a margin of {figures(top.root_margin, 2)} only: stop below it."
        )
    common.heading(out, "Notes")
    common.bullets(out, notes)
    common.heading(out, "Cautions")
    common.bullets(out, LADDER_CAUTIONS)
