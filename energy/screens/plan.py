"""How many runs would prove it? Pairs of runs for the predicted effect, their order, and a sheet to take along."""

from __future__ import annotations

import streamlit as st

from energy.chain.road_plan import (
    PlanAsked,
    RoadPlan,
    RunSpread,
    assumed_spread,
    road_plan,
    spread_of_runs,
    typed_length,
    typed_spread,
)
from energy.pages import call_sheet
from energy.pages.run_sheet import as_html
from energy.pictures.road import plan_picture
from energy.scenario.road_uploads import Uploads, laid_out, taken
from energy.screens import desk, dials, page, road_marks, typed
from energy.screens.desk import Work
from energy.screens.road import planned_m_s, predicted
from energy.words import call_sheet as call_words
from energy.words import plan as plan_words
from energy.words import run_sheet
from energy.words import screens as screen_words
from energy.words.screens import QUESTIONS
from vehicle.problems import InputError, Problem, shown
from vehicle.road_test.marks import Marks, marks_of, matched, with_marks
from vehicle.road_test.run_list import read_manifest
from vehicle.road_test.sources import source_word

_HEADING = QUESTIONS["plan"]
_ASSUMED, _OWN, _LOGS = "assumed", "my own figure", "from logs of mine"
_PAIRS_WITHOUT_EFFECT, _MOST_PAIRS = 6, 1000
_LENGTH = {"metric": "15 km", "us": "10 mi", "uk": "10 mi"}


def show() -> None:
    """Show the screen."""
    work = desk.work()
    top = st.container()
    page.finding("What the test is to be")
    plan, why = None, list[str]()
    without, power, typed_pairs, length = _asked(work)
    on_battery = desk.scenario_of(work.usable).battery is not None
    few = typed.tick("few changes of the turbine: out and back in one state before it is changed", "plan few")
    try:
        spread = _spread(on_battery)
        expected = predicted(work.usable, "working", without)
        effect = None if expected is None else (expected.share, expected.error)
        speed, pairs = planned_m_s(work.usable), _pairs(typed_pairs)
        plan = road_plan(
            effect,
            spread,
            PlanAsked(
                pairs=pairs or (_PAIRS_WITHOUT_EFFECT if effect is None else None),
                without_state=without,
                power=power / 100,
                speed=plan_words.speed_words(speed),
                seed=_seed(),
                run_length_m=typed_length(length, "length of a run") if length else None,
                speed_m_s=speed,
                few_changes=few,
                on_battery=on_battery,
            ),
        )
        if effect is None:
            why = [screen_words.NO_ENERGY_TO_CHANGE if on_battery else screen_words.NO_FUEL_TO_CHANGE]
    except InputError as error:
        why = [str(problem) for problem in error.problems]
    with top:
        page.answer_line(work, _HEADING, plan_words.plan_sentence(plan) if plan else screen_words.NO_NUMBER_OF_RUNS)
        if why:
            page.problem_list(why, "Mind" if plan else "Why")
        if plan is not None:
            page.picture(plan_picture(plan), _note(plan), headed=False)
            page.bullets([*([plan_words.ON_A_BATTERY] if on_battery else []), *_said(plan)])
    if plan is not None:
        _sheet(plan)
        _numbers(plan)
    page.cautions((run_sheet.CAUTIONS[0], run_sheet.WEATHER[0], *run_sheet.CAUTIONS[1:], *run_sheet.WEATHER[1:]))
    page.assumptions(work)


def _asked(work: Work) -> tuple[str, float, str, str]:
    """Return the state to drive against, the wanted chance in %, the pairs and a run's length as typed."""
    scenario, system = work.answered.scenario, desk.system()
    left, right = st.columns(2)
    with left:
        if scenario.trip.schedule is None and scenario.trip.road_speed is not None:
            dials.one("trip.road_speed", work)
        else:
            road_marks.note(screen_words.SPEED_OF_SCHEDULE)
        length = typed.text("length of one run, one way", "plan length", _LENGTH[system], start=_LENGTH[system])
    with right:
        chosen = typed.choice(
            "wanted chance to see the predicted effect", "plan power", ("80", "90", "95"), "80", lambda p: f"{p} %"
        )
        pairs = typed.text("pairs to drive", "plan pairs", example="as many as that needs")
    without = typed.way(
        "against",
        "plan without",
        ("stowed", "absent"),
        {"stowed": "carrying it stowed", "absent": "not fitting it"}.__getitem__,
    )
    return without, float(chosen), pairs, length.strip()


def _pairs(text: str) -> int:
    """Return the pairs asked for, 0 for as many as are needed. Raises InputError."""
    if text in ("", "0"):
        return 0
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and 2 <= int(text) <= _MOST_PAIRS):
        accepted = f"a whole number from 2 to {_MOST_PAIRS}, or nothing for as many as are needed"
        raise InputError(Problem("what you typed", "pairs to drive", shown(text), accepted))
    return int(text)


def _spread(on_battery: bool) -> RunSpread:
    """Return how much the fuel, or battery energy, of two equal runs differs. Raises InputError."""
    used = source_word(on_battery)
    how = typed.way(f"how much the {used} of two equal runs differs", "plan spread", (_ASSUMED, _OWN, _LOGS))
    if how == _OWN:
        label = f"standard deviation of that difference, % of the {used}"
        percent = typed.text(label, "plan spread percent", start="4")
        return typed_spread(percent if percent.endswith("%") else f"{percent} %", "standard deviation")
    if how == _LOGS:
        return _spread_of_logs(on_battery)
    return assumed_spread(on_battery)


def _spread_of_logs(on_battery: bool) -> RunSpread:
    road_marks.note(screen_words.OF_PILOT_RUNS)
    label = "Pilot runs: logs (CSV), with their list (runs.toml) if there is one"
    held = taken(road_marks.uploader(label, "plan logs"))
    if not held.logs and not (held.listed and any(run.metered for run in marks_of(held.text))):
        road_marks.note(screen_words.NO_PILOT_RUNS)
        return assumed_spread(on_battery)
    kept: dict[Uploads, RunSpread] = st.session_state.setdefault("plan spreads", {})
    if held not in kept:
        progress = page.Progress("Reading the pilot runs")
        try:
            with laid_out(_list(held), held.logs) as path:
                spread = spread_of_runs(
                    read_manifest(path), "the logs", read=road_marks.reader(held), progress=progress
                )
        finally:
            progress.done()
        kept.clear()
        kept[held] = spread
    return kept[held]


def _list(held: Uploads) -> str:
    """Return the list of the pilot runs: as uploaded, or equal runs."""
    if held.listed:
        runs, _, _ = matched(marks_of(held.text), held.names())
        return with_marks(held.text, runs)
    return with_marks("", [Marks(name, "stowed") for name in held.names()])


def _seed() -> int:
    """Return the number that fixes the order; another one each time another order is asked for."""
    seed = desk.typed().get("plan seed", 1)
    return seed if isinstance(seed, int) else 1


def _another() -> None:
    desk.keep_typed("plan seed", _seed() + 1)


def _note(plan: RoadPlan) -> str:
    if plan.effect is None:
        return screen_words.MORE_PAIRS
    if not plan.error:
        return ""
    return screen_words.OF_PLAN_LINE


def _said(plan: RoadPlan) -> list[str]:
    needed = [f"{pairs} for {100 * power:.0f} %" for power, pairs in plan.needed.items() if pairs is not None]
    return [
        *(
            [f"Pairs needed, by the chance to see it: {', '.join(needed)}. Two pairs make a block, out and back."]
            if needed
            else []
        ),
        *plan_words.notes(plan, desk.system()),
        plan_words.spread_words(plan),
        *([plan_words.TOO_MANY] if plan.pairs_planned > plan_words.MANY_PAIRS else []),
    ]


def _sheet(plan: RoadPlan) -> None:
    page.finding(f"Run sheet: {len(plan.order)} runs, {plan.road}, {plan.speed}")
    with st.container(horizontal=True):
        st.download_button(
            "Download the run sheet (HTML, to print)",
            data=as_html(plan.order, plan.speed, plan.road, on_battery=plan.on_battery).encode(),
            file_name="run_sheet.html",
            mime="text/html",
            key="take sheet",
            on_click="ignore",
        )
        st.download_button(
            "Download the call sheet for the passenger's phone (HTML, works without network)",
            data=call_sheet.as_html(
                call_words.road_test_data(
                    plan.order,
                    f"{plan.road}, {plan.speed}",
                    desk.system(),
                    plan.run_s,
                    on_battery=plan.on_battery,
                )
            ).encode(),
            file_name="call_sheet.html",
            mime="text/html",
            key="take road call sheet",
            on_click="ignore",
        )
        st.button("Draw another random order", key="another order", on_click=_another)
    road_marks.note(screen_words.OF_CALL_SHEET)
    road_marks.note(f"This order is number {_seed()}; it stays with your work.")
    first = plan.order[: run_sheet.MOST_ON_ONE_PAGE]
    page.table(
        ("run", "block", "pair", "direction", "turbine"),
        [(str(r.number), str(r.block), str(r.pair), r.direction, r.state) for r in first],
        caption="Run sheet",
    )
    if len(first) < len(plan.order):
        road_marks.note(f"… and {len(plan.order) - len(first)} more: print a sheet for each day.")
    with st.expander("Keep the same in every run"):
        page.bullets(run_sheet.keep_the_same(plan.on_battery))


def _numbers(plan: RoadPlan) -> None:
    page.finding("Smallest effect that can be shown with 80 % chance")
    page.table(
        ("pairs", "runs", "effect"),
        [(str(n), str(2 * n), f"{100 * share:.1f} %") for n, share in plan.smallest.items()],
        numbers=(0, 1, 2),
        caption="Smallest effect that can be shown",
    )
