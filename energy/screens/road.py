"""What did the road say? Logs uploaded, understood, marked as runs, and the effect with its interval."""

from __future__ import annotations

import functools
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from energy import bundle as bundles
from energy.bundle import Bundle
from energy.commands.read import in_usual_unit
from energy.pictures import BLACK, BLUE, ORANGE, Picture
from energy.prediction import scenario_effect
from energy.road_test import RoadTest, in_words, road_test
from energy.screens import desk, page
from vehicle.log_columns import PARAMETERS
from vehicle.manifest import STATES, read_manifest
from vehicle.obd_log import Log, read_log
from vehicle.problems import InputError
from vehicle.units import figures

_HEADING = "What did the road say?"
_LEAVE = "(as read)"
_MEANINGS = (_LEAVE, "ignore", *(f"{p.words} ({p.usual_unit})" if p.usual_unit else p.words for p in PARAMETERS))
_Files = tuple[tuple[str, bytes], ...]
_Columns = tuple[tuple[str, str], ...]


@functools.lru_cache(maxsize=32)
def _log(name: str, content: bytes, columns: _Columns) -> Log:
    with tempfile.TemporaryDirectory(prefix="windtoll-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        return read_log(path, dict(columns), where=name)


@functools.lru_cache(maxsize=8)
def _compared(files: _Files, manifest: str, bundle: Bundle, without: str) -> RoadTest:
    """Return the comparison of the uploaded runs beside the scenario's prediction."""
    with tempfile.TemporaryDirectory(prefix="windtoll-") as folder:
        for name, content in files:
            (Path(folder) / name).write_bytes(content)
        path = Path(folder) / "runs.toml"
        path.write_text(manifest, encoding="utf-8")

        def predict(with_state: str, without_state: str) -> tuple[float, float] | None:
            with bundles.laid_out(bundle) as scenario:
                try:
                    return scenario_effect(scenario, (), with_state, without_state)
                except InputError:  # a scenario without fuel predicts no change of fuel
                    return None

        return road_test(read_manifest(path), without_state=without, predict=predict)


def show() -> None:
    """Show the screen."""
    work = desk.work()
    top = st.container()
    st.html(
        '<p class="wt-note">Upload the logs of your road test: any OBD logger\'s CSV, or what windtoll record wrote. One log '
        "a run; runs of one pair are driven on the same road within the same hour, one with the turbine working and one "
        "without. They stay on this machine.</p>"
    )
    uploads = st.file_uploader("Logs of engine data (CSV)", type=["csv", "txt"], accept_multiple_files=True, key="logs")
    files = _named([(upload.name, upload.getvalue()) for upload in uploads])
    columns: dict[str, _Columns] = {}
    faulty = False
    for number, (name, content) in enumerate(files, 1):
        with st.expander(f"Log {number}: what was understood", expanded=len(files) == 1):
            faulty |= not _understood(number, name, content, columns)
    sentence = "Nothing yet: upload the logs of runs with and without the turbine."
    found = None
    if files and not faulty:
        manifest = _marked(files, columns)
        try:
            with st.spinner("Comparing the runs", show_time=True):
                found = _compared(files, manifest, work.usable, st.session_state.get("road without", "stowed"))
            sentence = found.answer.words
        except InputError as error:
            sentence = "The runs cannot be compared yet."
            page.problem_list([str(problem) for problem in error.problems], "Why")
        st.download_button(
            "Take the list of runs away (runs.toml, for windtoll compare)",
            data=manifest.encode(),
            file_name="runs.toml",
            mime="application/toml",
            key="take runs",
            on_click="ignore",
        )
    with top:
        page.answer_line(work, _HEADING, sentence)
    if found is not None:
        page.picture(_picture(found), headed=False)
        page.finding("How it was reached")
        page.bullets([line.strip().removeprefix("- ") for line in in_words(found) if line.strip()])
    with st.expander("Watch a recording while windtoll record writes it in another terminal"):
        _live()
    page.cautions(("The driver drives. Starting, watching and marking a recording is a passenger's job.",))


def _live() -> None:
    """Show the last values of a recording on this machine's disk, read anew every two seconds."""
    name = st.text_input(
        "The file that is being written (its place on this machine)", key="live file", placeholder="/home/me/run_01.csv"
    )
    if name.strip():
        _follow(Path(name.strip()).expanduser())


@st.fragment(run_every=2.0)
def _follow(path: Path) -> None:
    if path.suffix.lower() != ".csv" or not path.is_file():
        page.problem_list(
            [f"{path}: no such CSV file; accepted: the file that windtoll record writes"], "Not to be seen"
        )
        return
    try:
        log = read_log(path)
    except InputError as error:
        page.problem_list([str(problem) for problem in error.problems], "Not yet to be read")
        return
    words = {p.name: p.words for p in PARAMETERS}
    rows = []
    for name in log.table.columns:
        known = log.table[name].dropna()
        if name in words and len(known):
            value, unit = in_usual_unit(name, float(known.iloc[-1]))
            rows.append((words[name], f"{figures(value, 3)} {unit}"))
    since = max(0.0, time.time() - path.stat().st_mtime)
    late = f", last written {since:.0f} s ago: is it still recording?" if since > 10 else ""
    page.bullets([f"{log.rows} rows over {log.duration_s / 60:.1f} min{late}"])
    page.table(("quantity", "last value"), rows, caption="Last values of the recording")


def _named(uploads: Sequence[tuple[str, bytes]]) -> _Files:
    """Return the uploads under names of our own: what was uploaded is never used as a path."""
    return tuple((f"log_{number:02d}.csv", content) for number, (_, content) in enumerate(uploads, 1))


def _understood(number: int, name: str, content: bytes, columns: dict[str, _Columns]) -> bool:
    """Show what was read in a log and let a column's meaning be corrected; return whether it can be used."""
    uploads = st.session_state.get("logs") or []
    if number <= len(uploads):
        st.html(f'<p class="wt-note">{page.escape(uploads[number - 1].name)}</p>')
    try:
        log = _log(name, content, ())
        chosen = _corrections(number, log)
        columns[name] = chosen
        log = _log(name, content, chosen)
    except InputError as error:
        page.problem_list([str(problem) for problem in error.problems], "This log cannot be used")
        return False
    page.table(
        ("column", "taken for", "unit", "use", "mind"),
        [(c.header.strip(), c.parameter, c.unit, c.use, c.note) for c in log.columns],
        caption=f"Columns of log {number}",
    )
    said = [f"{log.rows} rows over {log.duration_s / 60:.1f} min; clock: {log.clock}"]
    said += [f"{repair.count} × {repair.what}" for repair in log.repairs] + list(log.notes)
    page.bullets(said)
    return True


def _corrections(number: int, log: Log) -> _Columns:
    chosen = []
    if st.checkbox("Correct what a column means", key=f"correct {number}"):
        for column in log.columns:
            header = column.header.strip()
            meaning = st.selectbox(
                f"log {number}, column {column.index + 1}: {_plain(header)}",
                _MEANINGS,
                key=f"meaning {number} {header}",
            )
            if meaning != _LEAVE:
                chosen.append((header, str(meaning)))
    return tuple(chosen)


def _plain(text: str) -> str:
    """Return a header as a label shows it: letters, digits and spaces only, since labels are read as markup."""
    return "".join(c if c.isalnum() or c in " .%/-" else " " for c in text)[:40] or "(no name)"


def _marked(files: _Files, columns: dict[str, _Columns]) -> str:
    """Let the runs be marked; return them as the text of a list of runs."""
    import tomlkit

    document = tomlkit.document()
    engine = desk.work().told.scenario.engine
    if engine is not None:
        table = tomlkit.table()
        table["fuel"] = engine.fuel
        table["displacement"] = f"{engine.displacement.value * 1e3:.6g} L"
        document["engine"] = table
    runs = tomlkit.aot()
    page.finding("Mark the runs")
    for number, (name, _) in enumerate(files, 1):
        with st.container(border=True, horizontal=True, vertical_alignment="bottom"):
            state = st.selectbox(
                f"log {number}: turbine", STATES, index=2 if number % 2 else 1, key=f"state {number}", width=180
            )
            pair = st.text_input(f"log {number}: pair", value=str((number + 1) // 2), key=f"pair {number}", width=120)
            direction = st.text_input(f"log {number}: direction", key=f"direction {number}", width=150)
            wind = st.text_input(
                f"log {number}: head wind", key=f"wind {number}", width=170, placeholder="2 m/s, tail wind negative"
            )
        run = tomlkit.table()
        run["file"], run["state"] = name, state
        for key, value in (("pair", pair), ("direction", direction), ("head_wind", wind)):
            if value.strip():
                run[key] = value.strip()
        if columns.get(name):
            own: Any = tomlkit.inline_table()
            own.update(dict(columns[name]))
            run["columns"] = own
        runs.append(run)
    document["runs"] = runs
    st.radio(
        "without means",
        ("stowed", "absent"),
        key="road without",
        horizontal=True,
        format_func={"stowed": "carried stowed", "absent": "left at home"}.__getitem__,
    )
    return tomlkit.dumps(document)


def _picture(told: RoadTest) -> Picture:
    """Return the measured effect as an interval beside the prediction, and the mean of every run under it."""
    import altair as alt
    import pandas as pd

    found = told.answer
    rows = [("measured", 100 * found.effect.estimate, found.effect.low, found.effect.high)]
    if told.predicted is not None:
        predicted, error = told.predicted
        rows.append(("predicted", 100 * predicted, predicted - error, predicted + error))
    rows += [(f"{run.name}, {run.state}", 100 * run.adjusted, None, None) for run in found.changes]
    frame = pd.DataFrame(rows, columns=["what", "change of fuel, %", "low", "high"])
    frame["low"], frame["high"] = 100 * frame["low"].astype(float), 100 * frame["high"].astype(float)
    frame["kind"] = ["measured", *(["predicted"] if told.predicted is not None else []), *["run"] * len(found.runs)]
    y = alt.Y("what:N", title=None, sort=list(frame["what"]), axis=alt.Axis(labelLimit=170))
    x = alt.X("change of fuel, %:Q", title=f"fuel against {found.without_state}, %")
    colour = alt.Color(
        "kind:N",
        legend=None,
        scale=alt.Scale(domain=["measured", "predicted", "run"], range=[BLUE, ORANGE, BLACK]),
    )
    tip = ["what:N", *(alt.Tooltip(f"{n}:Q", format="+.2f") for n in ("change of fuel, %", "low", "high"))]
    points = (
        alt.Chart(frame)
        .mark_point(filled=True, size=90, opacity=1)
        .encode(x=x, y=y, color=colour, shape=alt.Shape("kind:N", legend=None), tooltip=tip)
    )
    spans = alt.Chart(frame.dropna(subset=["low", "high"])).mark_rule(strokeWidth=4)
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=BLACK).encode(x="zero:Q")
    layers = alt.layer(zero, spans.encode(x="low:Q", x2="high:Q", y=y, color=colour, tooltip=tip), points)
    return Picture("road_test_effect", found.words, layers.properties(height=alt.Step(28)), frame)
