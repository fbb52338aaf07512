"""The one or two questions that follow from an answer, each with why: for the app's screens and the command line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from energy.chain.limits import broken_limits
from energy.words.verdict import LIKELY, called, median_change_w, number, stall_warnings, verdict

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.uncertainty.measurement import Measurement
    from energy.words.verdict import Verdict

MOST = 2
_WITHOUT_SCENARIO = ("keys", "evidence")
_NO_CHANGE_W = 0.05
_WORTH_MEASURING = 0.1  # of the range: own rule, no source


@dataclass(frozen=True)
class NextQuestion:
    """A question that follows: the screen's place, the subcommand that answers it, and why it comes next."""

    place: str
    command: str
    why: str

    def line(self, scenario: str, said: str = "") -> str:
        """Return what to run next on a scenario file, and why; without the why where `said` names the command."""
        of_what = "" if self.command.partition(" ")[0] in _WITHOUT_SCENARIO else f" {scenario}"
        why = "" if f"windtoll {self.command}" in said else f" ({self.why[0].lower()}{self.why[1:].rstrip('.')})"
        return f"windtoll {self.command}{of_what}{why}"


def closing_lines(answered: Answered, first: Verdict, scenario: str) -> tuple[str, ...]:
    """Return the last lines of a short answer: where the whole one is, and what to run next on the scenario file."""
    said = " ".join((*first.dangers, *first.warnings, first.may_be_operated))
    asked = next_questions(answered, first)[: 1 if first.dangers else MOST]  # what is dangerous leaves one thing to do
    return (
        f"More: windtoll answer {scenario} --full",
        *(f"Next: {question.line(scenario, said)}" for question in asked),
    )


def next_questions(
    answered: Answered, known_verdict: Verdict | None = None, *, here: str = ""
) -> tuple[NextQuestion, ...]:
    """Return the questions that follow from an answer, the most pressing first; `here` is the place one stands at.

    `known_verdict` is the answer's verdict, where it is at hand.
    """
    known_verdict = verdict(answered, "metric") if known_verdict is None else known_verdict
    chosen: dict[str, NextQuestion] = {}
    for question in _pressing(answered, known_verdict):
        if question.place != here:
            chosen.setdefault(question.place, question)
    return tuple(chosen.values())[:MOST]


def _pressing(answered: Answered, verdict: Verdict) -> Iterator[NextQuestion]:
    if verdict.dangers:
        at_risk = () if answered.stall is None else answered.stall.at_risk
        broken = broken_limits(answered) or [risk.limit for risk in at_risk if risk.share > LIKELY]
        names = " and ".join(limit.name.lower() for limit in broken[:2])
        yield NextQuestion("setting", "match", f"Over a limit ({names}): look for a setting within the limits.")
    stalled = bool(stall_warnings(answered, "metric"))
    if stalled:
        yield NextQuestion("setting", "match", "A stalled rotor gives little heat: look for a setting that runs.")
    yield NextQuestion("loads", "loads", "Not checked yet: whether rotor, mount and brake hold when the load is cut.")
    if stalled:
        yield NextQuestion("rotor", "curves", "Its curves show where it stalls.")
    yield from _of_the_outcome(answered, verdict)
    measured = _worth_measuring(answered)
    if measured is not None:
        share = f"{100 * measured.shrinks_by:.0f} %"
        yield NextQuestion(
            "scenario",
            f"keys {measured.key.partition('.')[0]}",
            f"Least known: {called(measured.key)}. Measuring it narrows the range by {share}.",
        )
    yield NextQuestion("evidence", "evidence", "How far such numbers have been right before.")


def _of_the_outcome(answered: Answered, verdict: Verdict) -> Iterator[NextQuestion]:
    moving = number(answered.answer.inputs.road_speed_m_s) > 0
    what = "fuel" if answered.answer.inputs.fuel is not None else "battery energy"
    if verdict.word == "cannot tell":
        yield NextQuestion("plan", "plan", "Too close to call by calculation: runs on the road could decide it.")
    if verdict.word == "costs":
        yield NextQuestion("pay", "payback", f"It costs {what} like this: wind, descents or standing still may not.")
    # On overrun nothing is burnt either way: the heat is free, and there is no fuel to measure.
    if verdict.word == "saves" and moving and median_change_w(answered) < -_NO_CHANGE_W:
        yield NextQuestion("plan", "plan", f"It can save {what} here: runs on the road would prove it.")
    if verdict.word == "saves":
        yield NextQuestion("heat", "heat", f"No extra {what} here: how long until it is hot?")
    if verdict.word == "no effect":
        yield NextQuestion("rotor", "curves", "No heat here: see from which air speed on the rotor gives any.")


def _worth_measuring(answered: Answered) -> Measurement | None:
    measurements = () if answered.spread is None else answered.spread.measurements
    return next((m for m in measurements if m.shrinks_by >= _WORTH_MEASURING), None)
