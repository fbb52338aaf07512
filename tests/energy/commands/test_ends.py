"""How the command line ends when something goes wrong around it. Own rules of the project; POSIX where pipes are."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from tests_support import program, run, run_alone, run_apart

from vehicle import units

POSIX = pytest.mark.skipif(os.name != "posix", reason="pipes, devices and signals of POSIX")


@pytest.fixture(scope="module")
def scenario(demos: Path) -> str:
    return str(demos / "van_water_tank" / "scenario.toml")


def test_no_cache_of_units_is_kept_that_could_be_damaged(tmp_path: Path, scenario: str) -> None:
    home = {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    done = run_alone("answer", scenario, "--exact", "--brief", **home)
    assert done.returncode == 0, done.stderr
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@POSIX
def test_a_reader_that_goes_away_is_no_fault(scenario: str) -> None:
    process = subprocess.Popen(program("answer", scenario, "--exact"), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    with process.stderr as stderr:
        assert stderr.read() == b""
    assert process.wait(60) == 0


@POSIX
def test_a_full_disk_behind_standard_output_is_one_sentence(scenario: str) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(program("keys"), stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "standard output: cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr


@pytest.mark.parametrize("as_json", [False, True])
def test_what_nobody_foresaw_is_one_sentence_and_a_file(
    tmp_path: Path, scenario: str, as_json: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also an EOFError, which click would call an interrupt."""

    def broken(text: str, unit: str) -> float:
        raise EOFError("cut short")

    monkeypatch.setattr(units, "parse", broken)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    done = run("answer", scenario, *(["--json"] if as_json else []), WINDTOLL_TRACEBACK="")
    assert done.returncode == 70
    assert "EOFError: cut short" in done.stderr
    assert "Traceback" not in done.stderr
    (file,) = tmp_path.glob("windtoll_fault_*.txt")
    assert str(file) in done.stderr
    assert "Traceback" in file.read_text()
    assert scenario in file.read_text()


@POSIX
@pytest.mark.parametrize("after_s", [0.05, 0.15, 0.3, 0.6])
def test_an_interrupt_is_one_word_whenever_it_comes(scenario: str, after_s: float) -> None:
    ready = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\nfrom energy.cli import main\n"
    code = f"{ready}import sys; sys.argv[1:] = ['answer', {scenario!r}]\nprint('on', flush=True)\nmain()"
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(after_s)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode in (130, 0)  # 0: it was quicker
    assert "Traceback" not in said
    if process.returncode == 130:
        assert said.strip() == "interrupted"


IN_TIDYING = """
class Tidied:
    def __del__(self):
        raise KeyboardInterrupt
def parse(text, unit):
    Tidied()
    raise ZeroDivisionError
"""
IN_COMPILED_CODE = """
import ctypes
@ctypes.PYFUNCTYPE(None)
def printed_and_handed_on():
    try:
        raise KeyboardInterrupt
    except KeyboardInterrupt as error:
        sys.excepthook(type(error), error, error.__traceback__)
        raise
def parse(text, unit):
    printed_and_handed_on()
    raise ZeroDivisionError
"""
IN_AN_IMPORT = """
def parse(text, unit):
    try:
        raise KeyboardInterrupt
    except KeyboardInterrupt as error:
        raise ImportError("initialization failed") from error
"""


@pytest.mark.parametrize("broken", [IN_TIDYING, IN_COMPILED_CODE, IN_AN_IMPORT])
def test_an_interrupt_where_it_cannot_be_raised_is_not_lost(scenario: str, broken: str) -> None:
    """What is raised in a `__del__`, an import's own tidying or compiled code, Python may print and then go on."""
    code = f"import sys; sys.argv[1:] = ['answer', {scenario!r}]\nfrom energy import cli\n"
    code += f"from vehicle import units\n{broken}\nunits.parse = parse\ncli.main()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr.strip()) == (130, "", "interrupted")


@POSIX
def test_an_interrupt_after_the_answer_changes_nothing() -> None:
    code = "import os, sys; sys.argv[1:] = ['keys']\nfrom energy.cli import main\n"
    code += "class Last:\n    def __del__(self, kill=os.kill, me=os.getpid()): kill(me, 2)\n"
    code += "sys.last_of_all = Last()\nmain()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


@POSIX
def test_pipes_devices_and_long_names_as_inputs(tmp_path: Path, scenario: str) -> None:
    os.mkfifo(tmp_path / "pipe")
    asked = [
        arguments
        for name in (str(tmp_path / "pipe"), "/dev/zero", "a" * 300)
        for arguments in (("answer", name), ("heat", scenario, "--trip", name), ("read", name), ("join", name, name))
    ]
    found = run_apart(*asked)
    assert len(found) == len(asked), f"waits for ever: {asked[len(found)]}"
    for arguments, (status, _, told) in zip(asked, found, strict=True):
        assert status == 2, (arguments, told)
        assert "1 problem" in told, arguments


@pytest.mark.parametrize("arguments", [("heat", "--power"), ("shortfall",), ("read",), ("compare",)], ids=" ".join)
@pytest.mark.parametrize("name", ["a" * 300, "a/" * 3000], ids=["long", "deep"])
def test_a_name_too_long_for_the_system_is_one_problem(scenario: str, arguments: tuple[str, ...], name: str) -> None:
    first = [scenario] if arguments[0] in ("heat", "shortfall") else []
    done = run(arguments[0], *first, *arguments[1:], name)
    assert done.returncode == 2
    assert "1 problem" in done.stderr


@pytest.mark.parametrize(
    ("given", "status"), [("6.7", 2), ("7", 0), ("{low = 5, high = 8}", 0), ("{low = 5, high = 6.5}", 2)]
)
def test_pole_pairs_are_whole(scenario: str, given: str, status: int) -> None:
    done = run("check", scenario, "--set", f"generator.pole_pairs={given}")
    assert done.returncode == status
    assert ("a whole number" in done.stderr) == (status == 2)


@POSIX
def test_no_room_for_the_examples_says_why(tmp_path: Path) -> None:
    """What copies a folder gathers its errors and has no word of the system for them."""
    code = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (100, resource.RLIM_INFINITY))\n"
    code += f"import sys; sys.argv[1:] = ['example', {str(tmp_path / 'mine')!r}]; from energy.cli import main; main()"
    env = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=False)
    assert done.returncode == 2
    assert "File too large" in done.stderr
    assert list((tmp_path / "mine").iterdir()) == []


def test_an_integer_of_thousands_of_digits(tmp_path: Path, scenario: str) -> None:
    file = tmp_path / "x.toml"
    file.write_text(f"[air]\nwind_speed = {'9' * 5000}\n")
    for arguments in (("answer", str(file)), ("compare", str(file)), ("reconcile", scenario, str(file))):
        done = run(*arguments)
        assert done.returncode == 2, done.stderr
        assert "Traceback" not in done.stderr
    assert run("answer", scenario, "--set", f"air.wind_speed={'9' * 5000}").returncode == 2


_NUMBER = re.compile(r"[-−+]?\d+(?:\.\d+)?")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437"])
def test_no_number_loses_its_sign(scenario: str, encoding: str) -> None:
    """The ledger is full of negative watts; what a legacy console shows has the same numbers.

    One of the consoles is that of a process of its own.
    """
    arguments = ("answer", scenario, "--exact", "--full")
    whole = run(*arguments).stdout
    alone = encoding == "ascii"
    done = run_alone(*arguments, PYTHONIOENCODING=encoding) if alone else run(*arguments, encoding=encoding)
    assert done.returncode == 0, done.stderr
    signed = [text.replace("−", "-") for text in _NUMBER.findall(whole) if text[0] in "-−"]
    assert len(signed) > 5
    shown = [text for text in _NUMBER.findall(done.stdout) if text[0] == "-"]
    assert [text for text in signed if text not in shown] == []
    assert not re.search(r"\?\d", done.stdout)


def test_every_command_keeps_its_signs_on_every_console(demos: Path, scenario: str, tmp_path: Path) -> None:
    """Each command's text, put through the encoding as `main` does it: no digit gets a "?" where a sign stood."""
    from energy.commands.streams import carry_signs

    carry_signs()
    runs = str(demos / "road_test" / "runs.toml")
    folder = demos / "van_water_tank"
    texts = {
        "answer": ("answer", scenario, "--exact", "--full"),
        "payback": ("payback", scenario, "--exact"),
        "loads": ("loads", scenario, "--full"),
        "heat": ("heat", scenario, "--exact"),
        "size": ("size", "--heat", "1 kW", "--speed", "80 km/h"),
        "curves": ("curves", scenario),
        "truepitch": ("truepitch", scenario, str(folder / "measured.csv")),
        "tune": ("tune", scenario, str(folder / "sweep.csv")),
        "compare": ("compare", runs),
        "plan": ("plan", "--effect", "4 %"),
        "read": ("read", str(sorted((demos / "road_test").glob("*.csv"))[0])),
        "fit": ("fit", "load", str(folder / "warm_up_log.csv")),
        "check": ("check", scenario),
        "keys": ("keys",),
        "begin": ("begin", str(tmp_path / "mine")),
    }
    from click.testing import CliRunner

    from energy.cli import group

    for name, arguments in texts.items():
        done = CliRunner().invoke(group(), list(arguments))
        assert done.exit_code in (0, 3), (name, done.output, done.exception)  # 3: the rows are over a limit on purpose
        for encoding in ("ascii", "cp1252", "cp437"):
            shown = done.output.encode(encoding, "windtoll_signs").decode(encoding)
            for sign in ("-", "+"):
                before = re.findall(rf"[{sign}{'−' if sign == '-' else ''}](\d[\d.]*)", done.output)
                after = re.findall(rf"[{sign}](\d[\d.]*)", shown)
                missing = [number for number in before if number not in after]
                assert missing == [], (name, encoding, sign)


@POSIX
def test_an_output_never_replaces_what_the_run_reads(van_folder: Path) -> None:
    scenario = van_folder / "scenario.toml"
    before = {path.name: path.read_bytes() for path in van_folder.iterdir()}
    for arguments in (
        ("curves", str(scenario), "--out", str(scenario), "--force"),
        ("curves", str(scenario), "--out", str(van_folder / "rotor_curves.csv"), "--force"),
        ("plan", "--effect", "4 %", "--sheet", str(van_folder / "trip.csv")),
        ("read", str(van_folder / "trip.csv"), "--out", str(van_folder / "trip.csv"), "--force"),
    ):
        done = run(*arguments)
        assert done.returncode == 2, arguments
        assert {path.name: path.read_bytes() for path in van_folder.iterdir()} == before, arguments
