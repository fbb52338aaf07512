"""The logs of a road test as understood, with columns to correct, and the runs to be marked."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from energy.progress import Progress
from energy.scenario.road_uploads import Uploads
from energy.screens import desk, page, typed, uploads, waiting
from energy.screens.desk import Work
from energy.words import screens as screen_words
from vehicle.driving.fuels import FUELS
from vehicle.logs.columns import BY_NAME, PARAMETERS, UNITS_TO_CHOOSE
from vehicle.logs.log import Log
from vehicle.logs.read import read_log
from vehicle.logs.text import headers_of
from vehicle.problems import InputError, shown
from vehicle.road_test.call_sheet import read_call_sheet, run_list_of
from vehicle.road_test.marks import (
    LEFT_OUT,
    Marks,
    base_name,
    burnt_fuel,
    columns_of,
    marked_by_order,
    marks_of,
    matched,
    on_battery,
    says_engine,
)
from vehicle.road_test.read import Reader, fitting
from vehicle.road_test.run_list import STATES

Logs = Mapping[str, Log | InputError]
_BY_ORDER = screen_words.MARKED_BY_TWO
_BY_PLAN = screen_words.MARKED_BY_BLOCKS
_NO_MEANING = ("ignore", "time")
_OF_AN_ENGINE = {"engine_speed_rad_s", "fuel_rate_m3_s", "fuel_mass_flow_kg_s", "air_flow_kg_s"}
# Bytes of all logs, read once (a road test may hold 20 long ones), and of what was compared with them.
SHELF = waiting.Shelf(512 * 1024 * 1024)


def note(text: str) -> None:
    """Show a text in small letters."""
    st.html(f'<p class="wt-note">{page.escape(text)}</p>')


def plain(text: str) -> str:
    """Return a user's text as a label shows it: letters, digits and spaces only, since labels are read as markup."""
    return "".join(c if c.isalnum() or c in " .%/-" else " " for c in text).strip()[:40] or "(no name)"


# ------------------------------------------------------------------------------------------------------ reading


@waiting.kept("Reading the log", SHELF)
def _log(
    progress: Progress | None, name: str, content: bytes, columns: tuple[tuple[str, str], ...]
) -> Log | InputError:
    """Return a log, or what is wrong with it; kept by its content and its columns' meanings."""
    try:
        with uploads.as_file(content, name) as path:
            return read_log(path, dict(columns), where=name)
    except InputError as error:
        return error


@waiting.cached
def _headers_of(name: str, content: bytes) -> tuple[str, ...]:
    """Return the headers of a log, none where it is no log (reading it says so)."""
    with uploads.as_file(content, name) as path:
        try:
            return headers_of(path)
        except InputError:
            return ()


def read(uploads: Uploads, columns: Mapping[str, str]) -> Logs:
    """Return every log by its plain name, or what is wrong with it, with a bar while many are read."""
    wanted = []
    for name, content in uploads.logs:
        said = {k: v for k, v in columns_of(uploads.text, name).items() if k.strip().lower() not in _lower(columns)}
        own = fitting(_headers_of(name, content), {**said, **columns})
        wanted.append((name, content, tuple(own.items())))
    if all(_log.held(*log) is not None for log in wanted):
        return {name: _log(name, content, fitted) for name, content, fitted in wanted}
    progress = page.Progress(f"Reading {len(wanted)} logs" if len(wanted) > 1 else "Reading the log")
    logs = {}
    try:
        for number, (name, content, fitted) in enumerate(wanted, 1):
            logs[name] = _log(name, content, fitted)
            progress(number / len(wanted))
    finally:
        progress.done()
    return logs


def cut_by_sheet(held: Uploads, logs: Logs, work: Work) -> Uploads:
    """Return the uploads with the list of runs that their call sheet makes of the logs; as they are without one.

    Raises InputError where the sheet fits no log.
    """
    if held.sheet is None:
        return held
    name, content = held.sheet
    read_logs = {log: runs for log, runs in logs.items() if isinstance(runs, Log)}
    if not read_logs:
        return held
    with uploads_file(content, name) as path:
        sheet = read_call_sheet(path)
    known = work.answered.scenario.engine
    engine = {} if known is None else {"fuel": known.fuel, "displacement": f"{known.displacement.value * 1e3:.6g} L"}
    text, said = run_list_of(sheet, read_logs, engine)
    return replace(held, text=text, listed=True, said=(*held.said, *said))


@contextlib.contextmanager
def uploads_file(content: bytes, name: str) -> Iterator[Path]:
    """Write an upload as a file of our own name; faults tell the user's name."""
    own = "call_sheet.csv"
    try:
        with uploads.as_file(content, own) as path:
            yield path
    except InputError as error:
        called = shown(base_name(name)).strip("'\"")
        raise InputError([replace(p, where=called) if p.where == own else p for p in error.problems]) from None


def reader(uploads: Uploads) -> Reader:
    """Return what reads a log of the uploads for the comparison, from what was read before where it is the same."""
    contents = dict(uploads.logs)

    def read_one(path: Path, columns: Mapping[str, str], _where: str) -> Log:
        log = _log(path.name, contents[path.name], tuple(columns.items()))
        if isinstance(log, InputError):
            raise log
        return log

    return read_one


def _lower(columns: Mapping[str, str]) -> set[str]:
    return {header.strip().lower() for header in columns}


def uploader(label: str, place: str) -> tuple[tuple[str, bytes], ...]:
    """Let logs, their list or a zip of both be uploaded; return those in use as (name, bytes)."""
    held = uploads.several(label, ("csv", "txt", "toml", "zip"), place)
    return tuple((upload.name, upload.content) for upload in held)


def states_in(log: Log) -> list[str]:
    """Return the states that a log itself marks, in their order."""
    return [] if log.states is None else [s for s in dict.fromkeys(map(str, log.states.tolist())) if s in STATES]


# ------------------------------------------------------------------------------------------------- what was understood


def understood(uploads: Uploads, logs: Logs) -> None:
    """Show what was read in each log, and let a column's meaning be corrected for all logs that have it."""
    page.bullets(uploads.said) if uploads.said else None
    if not logs:
        return
    faulty = [name for name, log in logs.items() if isinstance(log, InputError)]
    words = f"What was understood of {'the log' if len(logs) == 1 else f'the {len(logs)} logs'}"
    with st.expander(
        f"{words} (one cannot be used)" if len(faulty) == 1 else words, expanded=len(logs) == 1 or bool(faulty)
    ):
        for name in faulty:
            error = logs[name]
            assert isinstance(error, InputError)
            called = uploads.called[uploads.names().index(name)]
            page.problem_list([str(problem) for problem in error.problems], f"This log cannot be used: {called}")
        if len(logs) > 1:
            page.table(
                ("log", "rows", "time", "clock", "mind"),
                [_summary(uploads.called[k], logs[name]) for k, name in enumerate(uploads.names())],
                numbers=(1, 2),
                caption="Logs that were uploaded",
            )
        _columns_of_one(uploads, logs)
        _correct(uploads, logs)


def _summary(called: str, log: Log | InputError) -> tuple[str, str, str, str, str]:
    if isinstance(log, InputError):
        return called, "", "", "", "cannot be used"
    odd = sum(column.use == "not understood" for column in log.columns)
    mind = [f"{odd} column{'s' if odd > 1 else ''} not understood"] if odd else []
    mind += (
        [f"{len(log.repairs)} kinds of repair" if len(log.repairs) > 1 else "1 kind of repair"] if log.repairs else []
    )
    return called, str(log.rows), f"{log.duration_s / 60:.1f} min", log.clock, "; ".join([*mind, *log.notes])


def _columns_of_one(uploads: Uploads, logs: Logs) -> None:
    names = uploads.names()
    number = 0
    if len(names) > 1:
        number = st.selectbox(
            "Columns of which log?",
            range(len(names)),
            key="road which",
            format_func=lambda k: f"{k + 1}: {plain(names[k])}",
        )
    number = min(number or 0, len(names) - 1)
    log = logs[names[number]]
    page.finding(uploads.called[number])
    if isinstance(log, InputError):
        return
    page.table(
        ("column", "taken for", "use"),
        [
            (
                c.header.strip(),
                ", ".join(filter(None, (_words(c.parameter), c.unit))),
                ": ".join(filter(None, (c.use, c.note))),
            )
            for c in log.columns
        ],
        caption="Columns of the log",
    )
    said = [f"{log.rows} rows over {log.duration_s / 60:.1f} min; clock: {log.clock}"]
    page.bullets(said + [f"{repair.count} × {repair.what}" for repair in log.repairs] + list(log.notes))


def _words(parameter: str) -> str:
    return BY_NAME[parameter].words if parameter in BY_NAME else parameter


def corrections() -> dict[str, str]:
    """Return what the user said of columns on this screen: header to meaning, for all logs."""
    kept = desk.typed().get("road columns", {})
    return {str(k): str(v) for k, v in kept.items()} if isinstance(kept, dict) else {}


def _correct(uploads: Uploads, logs: Logs) -> None:
    """Let the meaning of one column be said, and taken back."""
    page.finding("Correct what a column means")
    headers = _headers(uploads, logs)
    if not headers:
        return
    said = corrections()
    with st.container(border=True):
        column = st.selectbox(
            "Column", range(len(headers)), key=f"column {_digest(*headers)}", format_func=lambda k: plain(headers[k])
        )
        meanings = [p.name for p in PARAMETERS] + list(_NO_MEANING)
        meaning = st.selectbox(
            "What it means",
            meanings,
            key="column meaning",
            format_func=lambda n: {"ignore": "nothing: leave it out"}.get(n, _words(n)),
        )
        kind = "time" if meaning == "time" else BY_NAME[meaning].kind if meaning in BY_NAME else "count"
        units = UNITS_TO_CHOOSE[kind]
        unit = st.selectbox("Unit of its numbers", units, key=f"column unit {kind}") if len(units) > 1 else units[0]
        header = headers[column or 0]
        words = "ignore" if meaning == "ignore" else f"{_words(meaning)} ({unit})" if unit else _words(meaning)

        def keep() -> None:
            desk.keep_typed("road columns", {**corrections(), header: words})

        st.button("Use this meaning in every log that has the column", key="correct", on_click=keep)
    for number, (known, meaning_of) in enumerate(list(said.items())):

        def forget(header: str = known) -> None:
            desk.keep_typed("road columns", {k: v for k, v in corrections().items() if k != header})

        note(f"You said: {known} is {meaning_of}.")
        st.button(f"Take that back: {plain(known)}", key=f"forget {number}", on_click=forget)


def _headers(uploads: Uploads, logs: Logs) -> list[str]:
    """Return the headers of all logs, each once, first those that were not understood or were corrected."""
    headers: dict[str, None] = {}
    for name, content in uploads.logs:
        headers |= dict.fromkeys(header.strip() for header in _headers_of(name, content) if header.strip())
    odd = {
        column.header.strip()
        for log in logs.values()
        if isinstance(log, Log)
        for column in log.columns
        if column.use == "not understood"
    }
    return sorted(headers, key=lambda header: header not in odd and header not in corrections())


# ------------------------------------------------------------------------------------------------------- the runs


def marked(uploads: Uploads, logs: Logs) -> list[Marks]:
    """Let the runs be marked, and return their marks: those of the list, or by the order of the logs, with what was
    edited.
    """
    names = uploads.names()
    if uploads.listed:
        first, missing, unnamed = matched(marks_of(uploads.text), names)
        first += [Marks(name, LEFT_OUT) for name in unnamed]
        said = []
        if missing:
            said.append(f"Not uploaded, so left out: {', '.join(missing)}.")
        if unnamed:
            said.append(
                f"No run of the list names these logs, so they are left out unless you mark them: {', '.join(unnamed)}."
            )
        page.bullets(said) if said else None
        heading = f"Runs as your list marks them ({sum(run.state != LEFT_OUT for run in first)}): change a mark"
    else:
        first, planned = marked_by_order([(name, _own_states(logs[name])) for name in names])
        heading = "Mark the runs"
    result = []
    with st.expander(heading, expanded=not uploads.listed):
        if not uploads.listed:
            note(_BY_PLAN if planned else _BY_ORDER)
            note(screen_words.OF_PAIRS)
        for number, run in enumerate(first):
            if run.file in names or run.metered:
                result.append(_run(number, run, uploads, logs.get(run.file)))
            else:
                result.append(run)
    return result


def _own_states(log: Log | InputError | None) -> list[str]:
    return states_in(log) if isinstance(log, Log) else []


def _run(number: int, first: Marks, uploads: Uploads, log: Log | InputError | None) -> Marks:
    """Let one run be marked; one without a log goes by its metered fuel."""
    called = f"no log, {first.metered}" if log is None else uploads.called[uploads.names().index(first.file)]
    st.html(f'<p class="wt-finding">Run {number + 1}: {page.escape(" ".join((called, first.part)))}</p>')
    states = _own_states(log)
    options = [*([""] if states or not first.state else []), "working", "stowed", "absent", LEFT_OUT]
    by_log = f"by the log: {', '.join(states)}" if states else "(not said)"
    words = {"": by_log, "stowed": "carried stowed", "absent": "left at home"}
    with st.container(horizontal=True, vertical_alignment="bottom"):
        state = _edited(
            number,
            uploads,
            first,
            "state",
            lambda key, value, keep: st.selectbox(
                f"run {number + 1}: turbine",
                options,
                index=options.index(value) if value in options else 0,
                key=key,
                on_change=desk.if_drawn(keep),
                width=212,
                format_func=lambda s: words.get(s, s),
            ),
        )

        def text(name: str, label: str, width: int, placeholder: str = "") -> str:
            return _edited(
                number,
                uploads,
                first,
                name,
                lambda key, value, keep: st.text_input(
                    f"run {number + 1}: {label}",
                    value,
                    key=key,
                    on_change=desk.if_drawn(keep),
                    width=width,
                    placeholder=placeholder,
                ),
            )

        pair = text("pair", "pair", 88)
        direction = text("direction", "direction", 140, "north, or out")
        wind = text("head_wind", "head wind", 160, first.wind or "2 m/s, tail -2 m/s")
    return replace(first, state=state, pair=pair, direction=direction, head_wind=wind)


def _edited(
    number: int, uploads: Uploads, first: Marks, name: str, widget: Callable[[str, str, Callable[[], None]], Any]
) -> str:
    """Return a mark as it was edited, else as it came; an edit stays with its run when other files come or go."""
    place = (_digest(uploads.text) if uploads.listed else "", str(number) if uploads.listed else "", first.file, name)
    held = f"road edit {_digest(*place)}"
    value = str(desk.typed().get(held, getattr(first, name)))
    key = desk.field_key(f"mark {_digest(*place, str(number), getattr(first, name))}")

    def keep() -> None:
        desk.keep_typed(held, str(st.session_state[key]))

    return str(widget(key, value, keep))


def engine(uploads: Uploads, logs: Logs, work: Work) -> dict[str, str]:
    """Let the engine of the car that was driven be said: as the list has it, else as the scenario in work.

    Not asked where the runs were driven on a battery, or the scenario drives on one and nothing speaks of an engine.
    What was typed before goes into the list all the same, and what the list says stays there.
    """
    said = says_engine(uploads.text)
    known = work.answered.scenario.engine
    if not uploads.listed and known is not None:
        said = {"fuel": known.fuel, "displacement": f"{known.displacement.value * 1e3:.6g} L"}
    options = ["", *FUELS]
    fuel = said.get("fuel", "")
    options += [fuel] if fuel not in options else []
    where = _digest(uploads.text, fuel, said.get("displacement", ""))
    names = {"fuel": f"road fuel {where}", "displacement": f"road displacement {where}"}
    before = {key: str(desk.typed()[name]) for key, name in names.items() if name in desk.typed()}
    electric = work.answered.scenario.battery is not None and not (burnt_fuel(uploads.text) or before)
    if on_battery(uploads.text) or (electric and not _show_an_engine(logs)):
        return before
    source = "" if uploads.listed or known is None else ", of the open scenario until you say otherwise"
    with st.expander(f"Engine of the car that was driven{source}"):
        note(screen_words.OF_ENGINE_DRIVEN)
        fuel = typed.choice("fuel", names["fuel"], options, fuel, lambda f: plain(f) if f else "(not said)")
        displacement = typed.text("displacement", names["displacement"], "2.2 L", said.get("displacement", ""))
    return {"fuel": fuel, "displacement": displacement}


def _show_an_engine(logs: Logs) -> bool:
    return any(isinstance(log, Log) and not _OF_AN_ENGINE.isdisjoint(log.table.columns) for log in logs.values())


def _digest(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode(errors="surrogatepass")).hexdigest()[:16]
