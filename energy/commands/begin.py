"""`windtoll begin`: a scenario of one's own from a few options, typical values with ranges for the rest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from energy.chain.begin import LOADS, PLACES, ROTOR_FILES, VEHICLES, Beginning, begin, drawn_blade
from energy.commands import common
from energy.words import rotor_choice
from energy.words.cautions import pressing_cautions
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import InputError, Problem
from vehicle.units import UnitSystem

_FUELS = ("petrol", "e10", "diesel", "lpg", "battery")


@click.command("begin", short_help="Begin a scenario of your own from what you know.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--vehicle", type=click.Choice(list(VEHICLES)), default="van", show_default=True)
@click.option("--fuel", type=click.Choice(_FUELS), help="By default what most of its kind run on.")
@click.option("--mass", default="", help='With load and people: "2100 kg".')
@click.option("--displacement", default="", help='Engine size: "1.9 L".')
@click.option("--road-speed", default="90 km/h", show_default=True)
@click.option("--wind-speed", default="", help='From ahead, still air by default: "20 km/h".')
@click.option("--engine-speed", default="", help='In top gear at that road speed: "2300 rpm".')
@click.option("--diameter", default="1.5 m", show_default=True, help="Of the rotor.")
@click.option("--blades", "number_of_blades", type=click.IntRange(1, 60), default=3, show_default=True)
@click.option("--place", type=click.Choice(list(PLACES)), default="above_roof", show_default=True)
@click.option("--stations", type=click.Path(path_type=Path), help="CSV of the blade's radius, chord and twist.")
@click.option("--watts", type=click.Path(path_type=Path), help="CSV of watts measured over air speed.")
@click.option("--curves", type=click.Path(path_type=Path), help="CSV of the rotor's curves.")
@click.option("--pitch", default="", help='Positive towards feather: "4 deg".')
@click.option("--connection", type=click.Choice(["rectifier", "three_phase", "direct_current"]), default="rectifier")
@click.option("--voltage-constant", default="", help='Between two leads, nothing connected: "60 V/krpm".')
@click.option("--winding-resistance", default="", help='Between two leads: "0.8 ohm".')
@click.option("--ratio", default="", help="Generator turns per rotor turn.")
@click.option("--element", default="", help='Resistance of the heating element: "12 ohm".')
@click.option("--load", type=click.Choice(list(LOADS)), default="water_tank", show_default=True)
@click.option("--volume", default="", help='Of tank or box: "30 L".')
@click.option("--title", default="")
@common.units_option
@common.json_option
def command(folder: Path, system: UnitSystem, as_json: bool, **known: Any) -> None:
    """Write a scenario of your own into FOLDER, from what you know; the rest is typical, marked as a guess.

    Typical values stand in the file with wide ranges, so the answer says what to measure first. Of pitch, ratio and
    element you may leave out what you do not have yet: values that fit each other are found.

    \b
    Examples:
      windtoll begin mine --vehicle van --fuel diesel --diameter "1.6 m" --place behind
      windtoll begin mine --watts my_watts.csv --road-speed "60 mph"
    """
    from energy.chain.answer import answered
    from energy.chain.load import opened
    from energy.chain.matching import thriftiest
    from energy.chain.rotor_choice import rotors_like
    from energy.scenario import bundle as bundles
    from energy.words.begin_model import BeginData

    files = {name: known.pop(name) for name in ROTOR_FILES}
    known["fuel"] = known["fuel"] or ""
    given = [name for name, path in files.items() if path is not None]
    _check(folder, given)
    _check_use(known, given)
    table: dict[str, Any] = {"rotor_by": given[0], "rotor_csv": _read(files[given[0]])} if given else {}
    beginning = Beginning(**known, **table)
    bundle = begin(beginning, thriftiest)
    result = answered(opened(bundle))
    drawn = drawn_blade(beginning) if beginning.rotor_by == "typical" else None
    rotors = None if drawn is None else rotors_like(result.scenario)
    _write(folder, (*bundle.files, (bundles.SCENARIO_NAME, bundle.text.encode())))
    path = folder / bundles.SCENARIO_NAME
    verdict = verdict_of(result, system)
    if as_json:
        begun = BeginData(
            written=[str(path), *(str(folder / name) for name, _ in bundle.files)],
            verdict=verdict.word,
            safe=False if verdict.dangers else None,
            guesses=list(bundles.guesses(bundle)),
            sentence=verdict.words,
            blade=None if drawn is None else rotor_choice.blade_data(*drawn),
            rotors=None if rotors is None else rotor_choice.as_data(rotors),
        )
        common.print_json(begun.model_dump())
        common.leave(verdict)
        return
    out = common.console()
    common.print_verdict(out, verdict)
    common.bullets(out, pressing_cautions(result, system))
    out.print(f"Written: {path}", soft_wrap=True)
    guesses = ", ".join(bundles.guesses(bundle))
    if guesses:
        out.print(f"Still guesses, marked in the file: {guesses}. Put your own, then ask again:")
    out.print(f"  windtoll answer {path}", soft_wrap=True)
    if drawn is not None and rotors is not None:
        common.print_blade(out, *drawn, system)
        common.print_rotors(out, rotors, system)
        common.heading(out, "Cautions for building")
        common.bullets(out, rotor_choice.DANGER)
    common.leave(verdict)


def _check(folder: Path, given: Sequence[str]) -> None:
    """Refuse two files that say how the rotor is known, and a folder that holds something."""
    if len(given) > 1:
        raise InputError(Problem(f"--{given[1]}", "", f"given together with --{given[0]}", "one of them"))
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(Problem(str(folder), "", "is there and not empty", "a new or empty folder"))


_OF_AN_ENGINE = ("displacement", "engine_speed")
_OF_A_GENERATOR = ("pitch", "voltage_constant", "winding_resistance", "ratio", "element")


def _check_use(known: Mapping[str, Any], given: Sequence[str]) -> None:
    """Refuse options that would be dropped without a word: an engine's of a battery, a generator's next to watts."""
    problems = []
    for clash, names, without in (
        (known["fuel"] == "battery", _OF_AN_ENGINE, "--fuel battery"),
        ("watts" in given, _OF_A_GENERATOR, "--watts"),
    ):
        for name in names:
            if clash and known[name]:
                option = f"--{name.replace('_', '-')}"
                problems.append(Problem(option, "", f"{known[name]}, given together with {without}", "one of them"))
    if problems:
        raise InputError(problems)


def _write(folder: Path, files: Iterable[tuple[str, bytes]]) -> None:
    from vehicle.files import write_output

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files:
            write_output(folder / name, content)
    except OSError as error:
        raise InputError(
            Problem(str(folder), "", f"cannot be written ({error.strerror})", "a folder you may write to")
        ) from None


def _read(path: Path) -> bytes:
    from energy.scenario.bundle import MOST_FILE_BYTES
    from vehicle.files import read_input

    try:
        return read_input(path, MOST_FILE_BYTES, "a CSV file")
    except OSError as error:
        raise InputError(Problem(str(path), "", f"cannot be read ({error.strerror})", "a CSV file")) from None
