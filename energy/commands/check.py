"""`windtoll check`: is the scenario file right?"""

from __future__ import annotations

from pathlib import Path

import click

from energy.commands import common


@click.command("check", short_help="Check a scenario file, all faults at once.")
@common.SCENARIO
@common.set_option
@common.json_option
def command(scenario: Path, overrides: tuple[str, ...], as_json: bool) -> None:
    """Check SCENARIO.toml and the CSV files it names, and list every fault at once, one line each.

    Computes nothing. Exit status 0 where the file is right (warnings do not count), 2 where it is not.
    """
    from energy.chain.load import load
    from energy.scenario.inputs import inputs_of
    from energy.words.check_model import CheckData

    checked = load(scenario, overrides)
    assumed = inputs_of(checked).assumptions
    if as_json:
        document = CheckData(valid=True, warnings=list(checked.warnings), assumed=[entry.key for entry in assumed])
        common.print_json(document.model_dump())
        return
    out = common.console()
    out.print(
        f"{scenario}: no fault found; {len(assumed)} values are left to defaults (windtoll answer --full lists them).",
        soft_wrap=True,
    )
    common.bullets(out, [f"warning: {text}" for text in checked.warnings])
