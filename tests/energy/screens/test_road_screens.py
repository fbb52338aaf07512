"""The road-test screens without a browser: uploads, lists of runs, columns, marks, live view and plan, against the
commands.
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import time
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest
from tests_support import computed_once, recorded_downloads, run

from energy.chain.draws import spread_of
from energy.chain.road_test import RoadTest
from energy.scenario import bundle as bundles
from energy.scenario.road_uploads import taken, to_zip
from energy.screens import road, road_marks, waiting
from vehicle.problems import InputError

SCRIPT = """
import streamlit as st
from energy.screens import catalogue, desk
desk.start()
next(s for s in catalogue.SCREENS if s.module == {screen!r}).shows()()
"""
LEVELS = (8.0, 7.0, 8.1, 7.05, 7.9, 6.95)


def _at(screen: str) -> AppTest:
    return AppTest.from_string(SCRIPT.format(screen=screen), default_timeout=300).run()


def _said(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def _answer(app: AppTest) -> str:
    said = _said(app)
    return said[said.index('class="wt-verdict"') :].partition("</p>")[0].partition(">")[2]


def _typed(app: AppTest, kind: str, name: str) -> Any:
    return next(w for w in getattr(app, kind) if w.key and w.key.startswith(f"typed {name}#"))


def _upload(app: AppTest, files: list[tuple[str, bytes]]) -> AppTest:
    shown = app.file_uploader[0].set_value([(name, content, "text/csv") for name, content in files]).run()
    assert not shown.exception
    return shown


def _drive(fuel_l_h: float, seed: int, header: str = "vehicle speed (km/h)", factor: float = 1.0) -> bytes:
    """Return a log of 6 minutes at about 90 km/h, invented: a little noise, and a fuel rate."""
    rng = np.random.default_rng(seed)
    rows = [f"time (s),{header},engine fuel rate (L/h),engine speed (rpm)"]
    for k in range(360):
        speed = 90 + 2 * np.sin(k / 30) + rng.normal(0, 0.3)
        rows.append(f"{k},{factor * speed:.2f},{fuel_l_h * (speed / 90) ** 2 + rng.normal(0, 0.05):.4f},2200")
    return "\n".join(rows).encode()


def _compare(folder: Path, *options: str) -> dict[str, Any]:
    done = run("compare", str(folder / "runs.toml"), "--json", *options)
    assert done.returncode == 0, done.stderr
    data: dict[str, Any] = json.loads(done.stdout)
    return data


@pytest.fixture(scope="module", autouse=True)
def _draws_of_one_scenario_once(few_draws: None) -> Iterator[None]:
    """Draw once what the app and the command line both draw of a scenario; each makes its own prediction of it."""
    with computed_once(spread_of):
        yield


VAN = str(Path(__file__).parents[3] / "scenarios" / "van_water_tank" / "scenario.toml")


@pytest.fixture(autouse=True)
def offered(monkeypatch: pytest.MonkeyPatch) -> dict[str, bytes]:
    """What the last run offered for download, by the button's key."""
    return recorded_downloads(monkeypatch, "take road test")


def _taken_away(offered: dict[str, bytes], folder: Path) -> dict[str, Any]:
    """Unpack the zip taken away, and return what the command says of it; the list taken away alone is the same."""
    with zipfile.ZipFile(io.BytesIO(offered["take road test"])) as archive:
        archive.extractall(folder)
    assert (folder / "runs.toml").read_bytes() == offered["take runs"]
    return _compare(folder, "--scenario", VAN)


def test_nothing_yet() -> None:
    shown = _at("road")
    assert not shown.exception
    assert "Nothing yet" in _answer(shown)


@pytest.fixture
def compared(monkeypatch: pytest.MonkeyPatch) -> list[RoadTest]:
    """Keep no comparison of another test; list those that are made."""
    found: list[RoadTest] = []
    real = road.road_test

    def recorded(*args: Any, **kwargs: Any) -> RoadTest:
        found.append(real(*args, **kwargs))
        return found[-1]

    monkeypatch.setattr(road, "road_test", recorded)
    monkeypatch.setattr(road.comparison_of, "_own", waiting.Shelf(10**9))
    return found


def test_a_list_with_its_logs_gives_the_commands_verdict_with_no_further_click(
    demos: Path, compared: list[RoadTest]
) -> None:
    folder = demos / "road_test"
    shown = _upload(_at("road"), [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())])
    data = _compare(folder, "--scenario", str(demos / "van_water_tank" / "scenario.toml"))
    assert _answer(shown) == data["verdict"]["headline"]
    said = _said(shown)
    assert data["agreement"][1:] in said
    assert all(warning in said for warning in data["warnings"])
    assert f"{data['effect_percent']['estimate']:+.2f} %" in said
    assert shown.text_input(key=next(t.key for t in shown.text_input if t.label == "run 2: direction")).value == "south"
    assert [100 * change.adjusted for change in compared[-1].answer.changes] == pytest.approx(
        [entry["adjusted_change_percent"] for entry in data["runs"]]
    )


def test_comparisons_are_kept_by_their_input_within_bytes(
    demos: Path, monkeypatch: pytest.MonkeyPatch, compared: list[RoadTest]
) -> None:
    """As many as there is room for, not so many: a road test may hold twenty long logs."""
    bundle = bundles.from_folder(demos / "van_water_tank" / "scenario.toml")
    held = taken([(p.name, p.read_bytes()) for p in sorted((demos / "road_test").iterdir())])
    monkeypatch.setattr(road.comparison_of, "_own", wide := waiting.Shelf(10**9))
    asked = [bundles.with_value(bundle, "vehicle.mass", f"{mass} kg") for mass in (2011, 2012, 2013)]

    def compare(one: bundles.Bundle) -> None:
        road.comparison_of(held, held.text, one, "working", "stowed")

    for one in (*asked, *asked):
        compare(one)
    assert len(compared) == 3
    room = int(0.8 * wide.bytes)
    monkeypatch.setattr(road.comparison_of, "_own", narrow := waiting.Shelf(room))
    compared.clear()
    for one in asked:
        compare(one)
        assert narrow.bytes <= room
    compare(asked[2])
    assert len(compared) == 3
    compare(asked[0])
    assert len(compared) == 4


def test_a_missing_and_an_unnamed_log_are_told(demos: Path) -> None:
    folder = demos / "road_test"
    files = [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())]
    shown = _upload(_at("road"), [*files[1:], ("<u>other</u>.csv", _drive(8, 1))])
    said = _said(shown)
    assert f"Not uploaded, so left out: {files[0][0]}." in said
    assert "No run of the list names these logs" in said
    assert "<u>" not in said
    assert "&lt;u&gt;other&lt;/u&gt;.csv" in said
    assert "Costs fuel: +" in _answer(shown)  # of the pairs that are whole
    assert "pair 1 has no run in the other state" in said


def test_a_list_without_its_logs_and_two_lists_are_told() -> None:
    assert "its logs are not" in _answer(_upload(_at("road"), [("runs.toml", b'[[run]]\nfile = "a.csv"')]))
    shown = _upload(_at("road"), [("runs.toml", b""), ("more.toml", b""), ("a.csv", _drive(8, 1))])
    assert "2 lists of runs" in _said(shown)
    shown = _upload(_at("road"), [("runs.toml", b"[["), ("a.csv", _drive(8, 1))])
    assert "not TOML" in _said(shown)


def test_logs_without_a_list_give_what_the_command_line_says_of_them(tmp_path: Path, offered: dict[str, bytes]) -> None:
    names = ["<b>run</b>.csv", "../../run2.csv", "c.csv", "d.csv", "e.csv", "f.csv"]
    logs = [_drive(level, seed) for seed, level in enumerate(LEVELS)]
    shown = _upload(_at("road"), list(zip(names, logs, strict=True)))
    lines = ['[engine]\nfuel = "diesel"\ndisplacement = "2.2 L"']
    for number, content in enumerate(logs, 1):
        (tmp_path / f"log_{number:02d}.csv").write_bytes(content)
        state = "working" if number % 2 else "stowed"
        lines.append(f'[[run]]\nfile = "log_{number:02d}.csv"\nstate = "{state}"\npair = "{(number + 1) // 2}"')
    (tmp_path / "runs.toml").write_text("\n".join(lines))
    data = _compare(tmp_path)
    assert _answer(shown) == data["verdict"]["headline"]
    assert data["conclusion"] == "costs"
    assert "by the order of the logs" in _said(shown)
    assert "<b>run</b>" not in _said(shown)
    assert "&lt;b&gt;run&lt;/b&gt;.csv" in _said(shown)
    assert "run2.csv is called" not in _said(shown).replace("../../run2.csv is called run2.csv", "")
    (tmp_path / "away").mkdir()
    assert _taken_away(offered, tmp_path / "away")["verdict"]["headline"] == data["verdict"]["headline"]


def test_the_first_verdict_waits_for_whole_pairs_and_marks_change_it(tmp_path: Path, offered: dict[str, bytes]) -> None:
    logs = [
        (f"{name}.csv", _drive(level, seed)) for seed, (name, level) in enumerate(zip("abcdef", LEVELS, strict=True))
    ]
    assert _answer(_upload(_at("road"), logs[:1])).startswith("Not yet")
    assert "pair 2 has no run stowed" in _answer(_upload(_at("road"), logs[:3]))
    shown = _upload(_at("road"), logs)
    first = _answer(shown)
    for number in (1, 2):  # the first pair the other way round
        states = next(box for box in shown.selectbox if box.label == f"run {number}: turbine")
        shown = states.set_value("stowed" if number == 1 else "working").run()
    assert _answer(shown) != first
    shown = next(box for box in shown.text_input if box.label == "run 1: head wind").set_value("fast").run()
    assert "cannot be compared yet" in _answer(shown)
    assert "run[1].head_wind" in _said(shown)
    shown = next(box for box in shown.text_input if box.label == "run 1: head wind").set_value("").run()
    data = _taken_away(offered, tmp_path)
    assert data["verdict"]["headline"] == _answer(shown)
    assert [entry["state"] for entry in data["runs"]][:2] == ["stowed", "working"]
    fewer = _upload(shown, logs[:4])  # the marks stay with their logs
    assert next(box for box in fewer.selectbox if box.label == "run 2: turbine").value == "working"


def test_an_edit_goes_over_the_list_and_the_rest_of_it_stays(
    demos: Path, tmp_path: Path, offered: dict[str, bytes]
) -> None:
    folder = demos / "road_test"
    shown = _upload(_at("road"), [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())])
    before = _answer(shown)
    for box in ("run 1: turbine", "run 3: turbine"):  # pair 1 is left out
        shown = next(b for b in shown.selectbox if b.label == box).set_value("left out").run()
    assert _answer(shown) != before
    data = _taken_away(offered, tmp_path)
    assert data["verdict"]["headline"] == _answer(shown)
    assert data["pairs"] == 5
    text = (tmp_path / "runs.toml").read_text()
    assert 'mass = "2955 kg"' in text
    assert "No vehicle was driven" in text  # its comment
    assert text.count("exclude = true") == 2


@pytest.mark.parametrize("listed", [False, True])
def test_a_corrected_column_changes_the_result_and_travels_with_the_list(
    tmp_path: Path, listed: bool, offered: dict[str, bytes]
) -> None:
    mph = 1 / 1.609344
    logs = [
        (f"{n}.csv", _drive(level, s, "Spd2", mph)) for s, (n, level) in enumerate(zip("abcdef", LEVELS, strict=True))
    ]
    entries = [
        f'[[run]]\nfile = "{n}.csv"\nstate = "{"stowed" if k % 2 else "working"}"\npair = {k // 2}\n'
        + ('columns = { "Spd2" = "vehicle speed (km/h)" }\n' if k == 0 else "")
        for k, n in enumerate("abcdef")
    ]
    files = [*logs, ("runs.toml", "".join(entries).encode())] if listed else logs
    shown = _upload(_at("road"), files)
    assert "cannot be compared yet" in _answer(shown)
    assert "no vehicle speed in the log" in _said(shown)

    def correct(unit: str) -> AppTest:
        box = next(b for b in shown.selectbox if b.label == "Column")
        box.set_value(0)  # what was not understood comes first
        shown.selectbox(key="column meaning").set_value("speed_m_s")
        shown.run()
        shown.selectbox(key="column unit speed").set_value(unit).run()
        return shown.button(key="correct").click().run()

    shown = correct("km/h")
    in_km_h = _answer(shown)
    shown = correct("mph")
    data = _taken_away(offered, tmp_path)
    assert data["verdict"]["headline"] == _answer(shown)
    assert data["runs"][0]["mean_speed_km_h"] == pytest.approx(90, abs=1)
    assert f"{data['effect_l_per_100km']['estimate']:+.3f} L/100 km" in _said(shown)
    assert tomllib.loads((tmp_path / "runs.toml").read_text())["columns"] == {"Spd2": "vehicle speed (mph)"}
    assert in_km_h.startswith("Costs fuel")
    shown = next(b for b in shown.button if b.label == "Take that back: Spd2").click().run()
    assert "cannot be compared yet" in _answer(shown)


def test_a_log_that_cannot_be_read_is_told() -> None:
    shown = _upload(_at("road"), [("a.csv", b"\x00\x01garbage")])
    assert "This log cannot be used" in _said(shown)
    assert "cannot be compared yet" in _answer(shown)
    good = [(f"{n}.csv", _drive(level, s)) for s, (n, level) in enumerate(zip("bcde", LEVELS, strict=False))]
    shown = _upload(shown, [*good, ("x.csv", b"\x00\x01garbage")])
    assert "cannot be compared yet" in _answer(shown)
    shown = next(box for box in shown.selectbox if box.label == "run 5: turbine").set_value("left out").run()
    assert _answer(shown).startswith("Costs fuel: ")


def test_two_of_one_name_and_two_of_one_content() -> None:
    a, b = _drive(8, 1), _drive(7, 2)
    found = taken([("x/run.csv", a), ("y/run.csv", b), ("x/run.csv", a)])
    assert found.names() == ["run.csv", "run_2.csv"]
    assert any("uploaded twice" in text for text in found.said)
    assert any("y/run.csv is called run_2.csv" in text for text in found.said)


def test_the_zip_comes_back_and_a_hostile_one_does_not() -> None:
    logs = [("a.csv", b"1"), ("b.csv", b"2")]
    back = taken([("test.zip", to_zip('[[run]]\nfile = "a.csv"', logs))])
    assert back.logs == tuple(logs)
    assert back.listed
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("../../evil.csv", "x")
    with pytest.raises(InputError, match="leads elsewhere"):
        taken([("evil.zip", out.getvalue())])


def test_logs_stay_when_another_screen_was_looked_at(demos: Path) -> None:
    folder = demos / "road_test"
    shown = _upload(_at("road"), [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())])
    answer = _answer(shown)
    again = AppTest.from_string(SCRIPT.format(screen="road"), default_timeout=300)
    for key in ("bundle", "loaded", "kept", "system", "round", "typed", "uploads"):
        again.session_state[key] = shown.session_state[key]
    again.run()
    assert _answer(again) == answer
    again.button(key="remove road logs").click().run()
    assert "Nothing yet" in _answer(again)


def test_the_price_of_carrying_it_can_be_asked(tmp_path: Path) -> None:
    logs = [(f"{n}.csv", _drive(level, s)) for s, (n, level) in enumerate(zip("abcdef", LEVELS, strict=True))]
    states = ("working", "stowed", "absent") * 2
    entries = [f'[[run]]\nfile = "{n}.csv"\nstate = "{s}"\n' for n, s in zip("abcdef", states, strict=True)]
    text = "".join(entries)
    shown = _upload(_at("road"), [*logs, ("runs.toml", text.encode())])
    assert "Runs: 2 working, 2 stowed" in _said(shown)
    shown = _typed(shown, "radio", "road compared").set_value("stowed against absent").run()
    for name, content in (*logs, ("runs.toml", text.encode())):
        (tmp_path / name).write_bytes(content)
    assert _answer(shown) == _compare(tmp_path, "--state", "stowed", "--scenario", VAN)["verdict"]["headline"]


def test_a_prediction_for_another_speed_is_offered_for_the_one_driven() -> None:
    logs = [(f"{n}.csv", _drive(level, s)) for s, (n, level) in enumerate(zip("abcdef", LEVELS, strict=True))]
    shown = _upload(_at("road"), logs)
    assert "the prediction is for 100 km/h" in _said(shown)
    shown = shown.button(key="predict for driven").click().run()
    assert bundles.value_at(shown.session_state["bundle"], "trip.road_speed").startswith("90")
    assert "the prediction is for" not in _said(shown)


def test_a_value_that_is_asked_for_seldom_is_greyed_with_its_age(tmp_path: Path) -> None:
    """Every tenth row holds the fuel rate: 9 s after it nothing says that it stopped, and it is not current either."""
    cells = [row.split(",") for row in _drive(8.0, 1).decode().splitlines()]
    rows = [c if k == 0 or k % 10 == 1 else [*c[:2], "", *c[3:]] for k, c in enumerate(cells)]
    recording = tmp_path / "run_01.csv"
    for count, ages in ((201, ["9", "10"]), (204, [])):  # a second may go by until it is looked at
        recording.write_text("\n".join(",".join(row) for row in rows[:count]) + "\n")
        shown = _at("road")
        _typed(shown, "text_input", "live file").set_value(str(tmp_path)).run()
        old = re.findall(r"<tr class=wt-old>(.*?)</tr>", _said(shown))
        assert len(old) == min(len(ages), 1)
        assert all(re.findall(r"(\d+) s old", row)[0] in ages for row in old)
        assert "no answer any more" not in _said(shown)


def test_a_recording_that_grows_is_watched(tmp_path: Path) -> None:
    recording = tmp_path / "run_01.csv"
    rows = _drive(8.0, 1).decode().splitlines()
    recording.write_text("\n".join(rows[:101]) + "\n")
    shown = _at("road")
    _typed(shown, "text_input", "live file").set_value(str(tmp_path)).run()
    assert not shown.exception
    assert "100 rows" in _said(shown)
    assert "vehicle speed" in _said(shown)
    assert ">Recording<" in _said(shown)
    recording.write_text("\n".join(rows[:201]) + "\n")
    shown.run()
    assert "200 rows" in _said(shown)
    assert "class=wt-old" not in _said(shown)
    late = [",".join([*row.split(",")[:2], "", row.split(",")[3]]) for row in rows[201:208]]  # no fuel rate for 7 s
    recording.write_text("\n".join([*rows[:201], *late]) + "\n")
    shown.run()
    old = re.findall(r"<tr class=wt-old>(.*?)</tr>", _said(shown))
    assert len(old) == 1
    assert re.search(r"[78] s old", old[0])
    lost = [",".join([*row.split(",")[:2], "", row.split(",")[3]]) for row in rows[201:241]]  # the fuel rate stops
    recording.write_text("\n".join([*rows[:201], *lost]) + "\n")
    shown.run()
    old = re.findall(r"<tr class=wt-old>(.*?)</tr>", _said(shown))
    assert len(old) == 1
    assert "fuel" in old[0]
    assert "no answer any more, 40 s old" in old[0]
    then = time.time() - 60
    os.utime(recording, (then, then))
    shown.run()
    assert "Stopped: no new row for" in _said(shown)
    assert len(re.findall("<tr class=wt-old>", _said(shown))) == 3  # all of them: no current value
    _typed(shown, "text_input", "live file").set_value(str(tmp_path / "none.csv")).run()
    assert "no such file or folder yet" in _said(shown)
    _typed(shown, "text_input", "live file").set_value("/etc/passwd").run()
    assert "a file of kind (none)" in _said(shown)
    assert "root:" not in _said(shown)


def test_the_plan_is_the_commands(demos: Path, tmp_path: Path, offered: dict[str, bytes]) -> None:
    shown = _at("plan")
    _typed(shown, "selectbox", "plan power").set_value("90")
    _typed(shown, "text_input", "plan length").set_value("20 km")
    _typed(shown, "radio", "plan spread").set_value("my own figure").run()
    _typed(shown, "text_input", "plan spread percent").set_value("8").run()
    _typed(shown, "radio", "plan without").set_value("absent").run()
    shown.button(key="another order").click().run()
    assert not shown.exception
    options = ("--chance", "90", "--length", "20 km", "--spread", "8 %", "--without", "absent", "--seed", "2")
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    done = run("plan", scenario, *options, "--json", "--sheet", str(tmp_path / "sheet.html"))
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert _answer(shown) == data["sentence"]
    assert f"{data['distance_km']:.3g} km" in _said(shown)
    assert offered["take sheet"] == (tmp_path / "sheet.html").read_bytes()
    wanted = [f"<td>{entry['state']}</td>" for entry in data["order"]]
    assert all(cell in _said(shown) for cell in wanted)


def test_the_plan_takes_the_scatter_of_pilot_runs(demos: Path) -> None:
    folder = demos / "road_test"
    shown = _at("plan")
    _typed(shown, "radio", "plan spread").set_value("from logs of mine").run()
    assert "No log yet" in _said(shown)
    shown = _upload(shown, [(p.name, p.read_bytes()) for p in sorted(folder.iterdir())])
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    done = run("plan", scenario, "--runs", str(folder / "runs.toml"), "--json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert _answer(shown) == data["sentence"]
    assert f"Two equal runs differ by {data['spread_percent']:.2g} % of the fuel" in _said(shown)
    shown = _upload(shown, [("a.csv", _drive(8, 1))])
    assert "at least three runs of one state" in _said(shown)


def test_a_plan_for_a_scenario_that_burns_nothing(demos: Path) -> None:
    app = AppTest.from_string(SCRIPT.format(screen="plan"), default_timeout=300)
    bundle = bundles.from_folder(demos / "parked_on_a_ridge" / "scenario.toml")
    app.session_state["system"], app.session_state["round"] = "us", 0
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = bundle
    app.run()
    assert not app.exception
    assert "no change of it is predicted" in _said(app)
    assert "show an effect of" in _answer(app)
    assert road.predicted(bundle, "working", "stowed") is None


def test_runs_of_metered_fuel_need_no_log(tmp_path: Path) -> None:
    """The list alone is compared, its runs can be marked, and the list to download says what was marked."""
    fuel = (1.06, 1.0, 1.01, 1.05, 1.06, 0.99, 1.0, 1.07)
    states = ("working", "stowed", "stowed", "working") * 2
    text = "".join(
        f'[[run]]\nstate = "{state}"\npair = {1 + 2 * (k // 4) + k % 2}\nfuel_used = "{litres} L"\n'
        'distance = "15 km"\nduration = "10 min"\n'
        for k, (state, litres) in enumerate(zip(states, fuel, strict=True))
    )
    (tmp_path / "runs.toml").write_text(text)
    app = _upload(_at("road"), [("runs.toml", text.encode())])
    effect = _compare(tmp_path)["effect_percent"]["estimate"]
    assert f"+{effect:.1f} %" in _answer(app)
    assert "Costs fuel" in _answer(app)
    assert "Run 1: no log, 1.06 L over 15 km" in _said(app)
    chosen = next(box for box in app.selectbox if box.label == "run 8: turbine")
    assert chosen.value == "working"
    left = chosen.set_value("left out").run()
    assert not left.exception
    assert "3 complete pairs" in _said(left)


def _on_battery(demos: Path, folder: Path) -> bundles.Bundle:
    """Return the van with a battery drive."""
    shutil.copytree(demos / "van_water_tank", folder)
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    start = text.index("\n[engine]") + 1
    text = text[:start] + "[battery]\n\n" + text[text.index("\n[", start) + 1 :]
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    return bundles.from_folder(folder / "scenario.toml")


def _opened(screen: str, bundle: bundles.Bundle) -> AppTest:
    app = AppTest.from_string(SCRIPT.format(screen=screen), default_timeout=300)
    app.session_state["system"], app.session_state["round"] = "metric", 0
    for key in ("bundle", "loaded", "kept"):
        app.session_state[key] = bundle
    return app.run()


def test_runs_of_a_battery_vehicle(demos: Path, tmp_path: Path) -> None:
    """Judged by their energy; the open scenario predicts them where it drives on a battery, and says so where not."""
    used = (3.36, 3.20, 3.18, 3.35, 3.41, 3.21, 3.24, 3.33)
    states = ("working", "stowed", "stowed", "working") * 2
    text = "".join(
        f'[[run]]\nstate = "{state}"\npair = {1 + 2 * (k // 4) + k % 2}\nenergy_used = "{kwh:.2f} kWh"\n'
        'distance = "15 km"\nduration = "10 min"\n'
        for k, (state, kwh) in enumerate(zip(states, used, strict=True))
    )
    burns = _upload(_at("road"), [("runs.toml", text.encode())])
    assert "Costs battery energy" in _answer(burns)
    assert "The runs are judged by battery energy, and the open scenario has no battery energy" in _said(burns)
    assert not [box for box in burns.expander if box.label.startswith("Engine of the car")]
    assert "Run 1: no log, 3.36 kWh over 15 km" in _said(burns)
    draws = _upload(_opened("road", _on_battery(demos, tmp_path / "van")), [("runs.toml", text.encode())])
    assert not draws.exception
    assert "Costs battery energy" in _answer(draws)
    assert "Predicted +" in _said(draws)
    assert "the open scenario has no" not in _said(draws)


def test_a_plan_for_a_battery_vehicle(demos: Path, tmp_path: Path) -> None:
    app = _opened("plan", _on_battery(demos, tmp_path / "van"))
    assert not app.exception
    assert "% of the battery energy" in _answer(app)
    assert "write energy_used of every run into the list of runs" in _said(app)
    assert "Battery and tyres warm before the first run" in _said(app)


def _engine_box(app: AppTest) -> list[Any]:
    return [box for box in app.expander if box.label.startswith("Engine of the car")]


def _runs_by_energy(head: str = "", used: tuple[str, ...] = ("3.36 kWh", "3.20 kWh", "3.18 kWh", "3.35 kWh")) -> bytes:
    states = ("working", "stowed", "stowed", "working")
    runs = (
        f'[[run]]\nstate = "{state}"\npair = {1 + k % 2}\ndistance = "15 km"\nduration = "10 min"\n'
        + (f'energy_used = "{energy}"\n' if energy else 'file = "c.csv"\n')
        for k, (state, energy) in enumerate(zip(states, used, strict=True))
    )
    return (head + "".join(runs)).encode()


def test_runs_on_a_battery_ask_for_no_engine_and_drop_none(offered: dict[str, bytes]) -> None:
    """What the list says of an engine, and what was typed before, stays in the list that is taken away."""
    listed = _runs_by_energy('[engine]\nfuel = "diesel"\ndisplacement = "2.0 L"\n')
    app = _upload(_at("road"), [("runs.toml", listed)])
    assert not _engine_box(app)
    assert tomllib.loads(offered["take runs"].decode())["engine"] == {"fuel": "diesel", "displacement": "2.0 L"}
    text = listed.decode()
    app.session_state["typed"][f"road displacement {road_marks._digest(text, 'diesel', '2.0 L')}"] = "2.2 L"
    app.run()
    assert not _engine_box(app)
    assert tomllib.loads(offered["take runs"].decode())["engine"] == {"fuel": "diesel", "displacement": "2.2 L"}
    half = _upload(_at("road"), [("runs.toml", _runs_by_energy(used=("3.36 kWh", "", "3.18 kWh", "3.35 kWh")))])
    assert not _engine_box(half)


def test_a_battery_scenario_asks_for_an_engine_only_where_one_shows(demos: Path, tmp_path: Path) -> None:
    bundle = _on_battery(demos, tmp_path / "van")
    speed = b"time (s),vehicle speed (km/h)\n" + b"".join(b"%d,90\n" % k for k in range(360))
    logs = [("a.csv", speed), ("b.csv", speed.replace(b"90", b"91"))]
    assert _engine_box(_upload(_at("road"), logs))
    assert not _engine_box(_upload(_opened("road", bundle), logs))
    burns = [("a.csv", _drive(8.0, 1)), ("b.csv", _drive(7.0, 2))]
    assert _engine_box(_upload(_opened("road", bundle), burns))
    said = [*logs, ("runs.toml", b'[engine]\nfuel = "diesel"\n[[run]]\nfile = "a.csv"\nstate = "working"\n')]
    assert _engine_box(_upload(_opened("road", bundle), said))
    typed = _upload(_opened("road", bundle), logs)
    typed.session_state["typed"][f"road fuel {road_marks._digest('', '', '')}"] = "petrol"
    assert _engine_box(typed.run())
