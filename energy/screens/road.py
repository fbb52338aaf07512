"""What did the road say? Logs uploaded, understood, marked as runs, and the effect with its interval."""

from __future__ import annotations

import streamlit as st

from energy.chain.prediction import Prediction, scenario_prediction
from energy.chain.road_test import ComparisonAsked, RoadTest, at_other_speed, driven_m_s, road_test
from energy.pictures.road import effect_picture
from energy.progress import Progress
from energy.scenario import bundle as bundles
from energy.scenario.bundle import Bundle
from energy.scenario.road_uploads import Uploads, laid_out, taken, to_zip
from energy.screens import desk, live, page, road_marks, typed, waiting
from energy.screens.desk import Work
from energy.screens.road_marks import Logs
from energy.words import road_test as road_test_words
from energy.words import screens as screen_words
from energy.words.screens import NOT_CHECKED_HERE, QUESTIONS, ROAD_CAUTIONS
from vehicle.logs.log import Log
from vehicle.problems import InputError
from vehicle.road_test.comparison import half_pairs
from vehicle.road_test.marks import LEFT_OUT, Marks, marks_of, with_marks
from vehicle.road_test.rule import rule_words
from vehicle.road_test.run_list import STATES, Manifest, read_manifest
from vehicle.units import show as shown

_HEADING = QUESTIONS["road"]


def show() -> None:
    """Show the screen."""
    work = desk.work()
    top = st.container()
    held = _uploaded()
    comparison: RoadTest | None = None
    sentence, why = screen_words.NO_LOGS, list[str]()
    try:
        uploads = taken(held)
        if uploads.logs or (uploads.listed and any(run.metered for run in marks_of(uploads.text))):
            comparison, sentence, why = _judged(uploads, work)
        elif uploads.listed or uploads.sheet:
            sentence = screen_words.LOGS_MISSING
    except InputError as error:
        sentence, why = "The runs cannot be compared yet.", [str(problem) for problem in error.problems]
    with top:
        first = None if comparison is None else road_test_words.verdict(comparison, desk.system())
        lines = () if first is None else (NOT_CHECKED_HERE, *first.lines)
        if first is not None and first.dangers:
            page.first_lines(work, _HEADING, first)
        else:
            page.answer_line(work, _HEADING, sentence, *lines)
        if first is not None and first.warnings and not first.dangers:
            page.problem_list(first.warnings, "Before you trust this answer")
        if why:
            page.problem_list(why, "Why")
        if comparison is not None:
            _shown(comparison, work)
    with st.expander("Watch a recording while windtoll record writes it in another terminal"):
        live.show()
    page.cautions(ROAD_CAUTIONS)
    page.assumptions(work)


def _uploaded() -> tuple[tuple[str, bytes], ...]:
    """Let files be uploaded; return those held, which stay while other screens are looked at."""
    page.finding("Your road test")
    road_marks.note(screen_words.OF_LOGS)
    return road_marks.uploader("Logs of engine data (CSV) and their list (runs.toml)", "road logs")


def _judged(uploads: Uploads, work: Work) -> tuple[RoadTest | None, str, list[str]]:
    """Show what was understood and let it be marked; return the comparison if there is one, the answer, and why not."""
    columns = road_marks.corrections()
    with st.container():
        logs = road_marks.read(uploads, columns)
    uploads = road_marks.cut_by_sheet(uploads, logs, work)
    road_marks.understood(uploads, logs)
    marks = road_marks.marked(uploads, logs)
    engine = road_marks.engine(uploads, logs, work)
    text = with_marks(uploads.text, marks, columns, engine)
    compared = _what_is_compared(_states(marks, logs))
    _take_away(uploads, text)
    if any(isinstance(logs.get(run.file), InputError) for run in marks if run.state != LEFT_OUT):
        return None, "The runs cannot be compared yet.", [screen_words.UNREADABLE_LOG]
    if compared is None:
        return None, screen_words.ONE_STATE_ONLY, []
    with_state, without_state = compared
    if not uploads.listed:
        half = half_pairs(_states(marks, logs), with_state, without_state)
        if half:
            return None, f"Not yet: {'; '.join(half)}.", []
    try:
        comparison = comparison_of(uploads, text, work.usable, with_state, without_state)
    except InputError as error:
        return None, "The runs cannot be compared yet.", [str(problem) for problem in error.problems]
    return comparison, road_test_words.verdict(comparison, desk.system()).headline, []


def _states(marks: list[Marks], logs: Logs) -> list[tuple[str, str]]:
    """Return (state, pair) of every run that counts; of one that the log marks, those of the log."""
    states = []
    for run in marks:
        log = logs.get(run.file)
        if run.state in STATES:
            states.append((run.state, run.pair))
        elif run.state != LEFT_OUT and isinstance(log, Log):
            states += [(state, run.pair) for state in road_marks.states_in(log)]
    return states


def _what_is_compared(states: list[tuple[str, str]]) -> tuple[str, str] | None:
    """Let the user say what is held against what, where more than one thing can be; None where nothing can.

    The first is what `windtoll compare` takes: working compared with stowed if there are such runs, else absent.
    """
    there = {state for state, _ in states}
    possible = [("working", "stowed"), ("working", "absent"), ("stowed", "absent")]
    possible = [pair for pair in possible if set(pair) <= there]
    if len(possible) < 2:
        return possible[0] if possible else None
    words = {
        ("working", "stowed"): "working, against carried stowed",
        ("working", "absent"): "working, against left at home",
        ("stowed", "absent"): "carried stowed, against left at home",
    }
    names = {" against ".join(pair): pair for pair in possible}
    chosen = typed.way("What is compared", "road compared", tuple(names), lambda name: words[names[name]])
    return names[chosen]


def _take_away(uploads: Uploads, text: str) -> None:
    with st.container(horizontal=True):
        st.download_button(
            "Download the list of runs (runs.toml)",
            data=text.encode(),
            file_name="runs.toml",
            mime="application/toml",
            key="take runs",
            on_click="ignore",
        )
        st.download_button(
            "Download list and logs (zip)",
            data=lambda: to_zip(text, uploads.logs),
            file_name="road_test.zip",
            mime="application/zip",
            key="take road test",
            on_click="ignore",
        )
    road_marks.note("windtoll compare runs.toml says the same of them; the zip opens here again.")


@waiting.kept("Comparing the runs with the prediction", road_marks.SHELF)
def comparison_of(
    progress: Progress | None, uploads: Uploads, text: str, bundle: Bundle, with_state: str, without_state: str
) -> RoadTest:
    """Return the comparison beside the scenario's prediction. Raises InputError."""
    with laid_out(text, uploads.logs) as path:
        test = read_manifest(path)
        return road_test(
            test,
            ComparisonAsked(with_state, without_state),
            predict=lambda one, other: _predicted_for(test, bundle, one, other),
            planned_m_s=planned_m_s(bundle),
            read=road_marks.reader(uploads),
            progress=progress,
        )


def _predicted_for(test: Manifest, bundle: Bundle, with_state: str, without_state: str) -> Prediction | None:
    """Return what the open scenario predicts; None where it does not drive on what the runs are judged by."""
    if (desk.scenario_of(bundle).battery is not None) != test.on_battery:
        return None
    return predicted(bundle, with_state, without_state)


@waiting.kept("Working out what the scenario predicts")
def predicted(progress: Progress | None, bundle: Bundle, with_state: str, without_state: str) -> Prediction | None:
    """Return what the scenario predicts of fuel and load, or of battery energy; None where it uses neither."""
    with bundles.laid_out(bundle) as path:
        try:
            return scenario_prediction(path, (), with_state, without_state, progress)
        except InputError:  # a scenario that burns and draws nothing predicts no change of it
            return None


def planned_m_s(bundle: Bundle) -> float | None:
    """Return the one road speed that a scenario is for; None where it has a schedule, or none."""
    trip = desk.scenario_of(bundle).trip
    return None if trip.schedule is not None or trip.road_speed is None else trip.road_speed.value


def _shown(comparison: RoadTest, work: Work) -> None:
    """Show the picture, what the measurement says of the prediction, the numbers, and how they were reached."""
    page.picture(
        effect_picture(comparison),
        "Above: the effect with its interval, and the prediction of the open scenario. Under it every pair (or "
        "run), each "
        "run brought to the conditions of its pair: a line's length is what the turbine did in that pair.",
        headed=False,
    )
    planned, driven = planned_m_s(work.usable), driven_m_s(comparison.answer)
    if comparison.predicted is not None and planned is not None and at_other_speed(planned, comparison.answer):
        speed = shown(driven, "speed", desk.system())
        if st.button(f"Predict for the {speed} that was driven", key="predict for driven"):
            desk.put_value("trip.road_speed", speed)
            desk.renew()
            st.rerun()
    if (desk.scenario_of(work.usable).battery is not None) != comparison.test.on_battery:
        road_marks.note(screen_words.no_prediction_for(comparison.answer.used))
    page.finding("What else could explain it")
    page.bullets(road_test_words.explains_words(comparison, desk.system()))
    others = road_test_words.other_warnings(comparison)
    if others:
        page.finding("Mind")
        page.bullets(others)
    page.table(
        ("quantity", "estimate", "interval"),
        road_test_words.number_rows(comparison, desk.system()),
        numbers=(1,),
        caption="What was found",
    )
    with st.expander(f"How it was reached, run by run ({len(comparison.answer.runs)})"):
        page.bullets([*road_test_words.how_words(comparison), *rule_words(comparison.answer.used)])
        page.table(
            road_test_words.run_columns(comparison),
            road_test_words.run_rows(comparison, desk.system()),
            numbers=(3, 4, 5, 6),
            caption="Runs that were compared",
        )
        again = road_test_words.reconcile_words(comparison)
        if again:
            road_marks.note("For windtoll reconcile, as a result of yours:")
            st.code("\n".join(again), language="toml", wrap_lines=True)
