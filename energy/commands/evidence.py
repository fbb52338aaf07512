"""`windtoll evidence`: the published checks, computed anew, with their errors and what they do not cover."""

from __future__ import annotations

from pathlib import Path

import click

from energy.commands import common


@click.command("evidence", short_help="Why believe these numbers? Published checks, computed anew.")
@common.json_option
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    metavar="FILE.svg",
    help="Draw each check (.svg, .png or .html), its name behind that of FILE: FILE_rotor.svg and so on.",
)
def command(as_json: bool, picture: Path | None) -> None:
    """Compute each published check from data that ship with windtoll: predicted against measured.

    \b
    Examples:
      windtoll evidence
      windtoll evidence --picture checks.svg
    """
    from energy.chain.evidence import evidence
    from energy.pictures.base import checked_picture, save
    from energy.words.evidence import NOT_FOUND, as_data, check_words, sentence

    if picture is not None:
        checked_picture(picture)
    with common.progress("Computing the checks") as progress:
        checks = evidence(progress)
    written = []
    if picture is not None:
        from energy.pictures.evidence import evidence_picture

        for check in checks:
            path = picture.with_name(f"{picture.stem}_{check.key}{picture.suffix}")
            save(evidence_picture(check).titled(), path)
            written.append(str(path))
    if as_json:
        common.print_json(as_data(checks, written))
        return
    out = common.console()
    out.print(sentence(checks), style="bold")
    out.print(NOT_FOUND)
    for check in checks:
        words = check_words(check)
        common.heading(out, words.finding)
        common.pairs(out, [("error", words.error), ("source", words.source), ("not covered", words.not_covered)])
    for name in written:
        out.print(f"written: {name}", soft_wrap=True)
