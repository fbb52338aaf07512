"""`windtoll example`: demo scenarios to start from."""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path

import click

from energy.commands import common
from energy.scenario.demos import demo_folder
from vehicle.problems import InputError, Problem, shown


@click.command("example", short_help="Copy the demo scenarios into a folder of yours.")
@click.argument("folder", type=click.Path(path_type=Path))
@common.json_option
def command(folder: Path, as_json: bool) -> None:
    """Copy the demo scenarios and an invented road test into FOLDER, to start your own from.

    The vehicles and rotors are invented; the wind-tunnel rotor is a published one to check windtoll with. Nothing
    that is already in FOLDER is overwritten."""
    source = demo_folder()
    names = sorted(entry.name for entry in source.iterdir() if any(entry.glob("*.toml")))
    there = [name for name in names if (folder / name).exists()]
    if folder.exists() and not folder.is_dir():
        raise InputError(Problem(str(folder), "", "is a file", "a folder, new or existing"))
    if there:
        raise InputError(
            Problem(str(folder), "", f"already holds {', '.join(there)}", "a folder without them, or a new one")
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _copy_whole(source, folder, names)
    except OSError as error:
        raise InputError(
            Problem(str(folder), "", f"cannot be written ({_why(error)})", "a folder with room that you may write to")
        ) from None
    written = sorted(path for name in names for path in (folder / name).glob("*.toml"))
    if as_json:
        from energy.words.begin_model import ExampleData

        common.print_json(ExampleData(written=[str(path) for path in written]).model_dump())
        return
    out = common.console()
    out.print("Demo scenarios, yours to change (all invented, but the published wind-tunnel rotor):")
    for path in written:
        out.print(f"  {path}", soft_wrap=True)
    van = folder / "van_water_tank" / "scenario.toml"
    out.print(f"Try: windtoll answer {van}", soft_wrap=True)
    out.print(f"     windtoll compare {folder / 'road_test' / 'runs.toml'} --scenario {van}", soft_wrap=True)


def _why(error: OSError) -> str:
    """Return the system's word for an error; what copies a folder gathers its errors as (from, to, text)."""
    if error.strerror or not isinstance(error, shutil.Error):
        return error.strerror or shown(error)
    first = str(error.args[0][0][2])
    return re.sub(r"^\[Errno \d+\] ", "", first).partition(":")[0]


def _copy_whole(source: Path, folder: Path, names: list[str]) -> None:
    """Copy folders so that an interrupt or a full disk leaves none of them: copied aside, then moved into place."""
    placed: list[Path] = []
    with tempfile.TemporaryDirectory(dir=folder, prefix=".windtoll-") as aside:
        for name in names:
            shutil.copytree(source / name, Path(aside) / name)
        try:
            for name in names:
                (Path(aside) / name).rename(folder / name)
                placed.append(folder / name)
        except BaseException:
            for path in placed:
                shutil.rmtree(path)
            raise
