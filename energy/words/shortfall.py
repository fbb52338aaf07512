"""Why so few watts: what to check first, why, and what then; sentences, rows, the tree to print, and data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.uncertainty.quantiles import SURE
from energy.words.result_model import estimate_data
from energy.words.verdict import FirstLines, danger_lines, limit_sentence
from vehicle.units import UnitSystem, show

if TYPE_CHECKING:
    from energy.diagnosis.shortfall import CauseFound, Shortfall
    from energy.diagnosis.shortfall_tests import SeenOutcome, Test, TreeStep
    from energy.words.shortfall_model import RepairedData, TestData

CAUTIONS = (
    "Set pitch, measure ohms and touch leads only with the rotor stopped and locked: a turning generator carries "
    "dangerous voltage. The passenger reads, the driver drives.",
    "A pitch, belt or element that works again raises thrust, rotor speed and heat: run windtoll loads before the next "
    "drive.",
    "Never open the load of a fast rotor to test it: without load it overspeeds. Spin the generator by drill on the "
    "bench with the blades off; keep hands and sleeves clear.",
)
CAUSE_NAMES = {
    "pitch": "blade pitch is not where the dial says",
    "local_air": "air at the rotor is slower than assumed",
    "blades": "blades give less than their curves",
    "stall": "rotor is stalled on its slow steady speed",
    "generator": "generator or winding",
    "element": "element is not the stated resistance",
    "belt": "belt slips",
    "wiring": "cables or contacts lose voltage",
    "wind": "tail wind on the day",
    "meter": "meter shows too few watts",
}
FIXES = {
    "pitch": "Set the blades by an angle gauge on the blade itself, and mark the dial anew.",
    "local_air": "Raise the rotor into free air, or state the lower local speed factor in the scenario.",
    "blades": "Clean and smooth the leading edges, and compare section and twist with the plan.",
    "stall": "Let the rotor spin up before the load comes on, or use an element of more ohms.",
    "generator": "Compare open-circuit volts and ohms of all three pairs with the data sheet; mend a lost phase.",
    "element": "Replace or rewire the element, or state its measured ohms in the scenario.",
    "belt": "Tension the belt, clean the pulleys, or use a toothed belt.",
    "wiring": "Clean and tighten every contact; use thicker leads.",
    "wind": "Drive both ways and take the mean; note the wind.",
    "meter": "Read with a true-rms meter made for chopped or rectified current; state its scale.",
}
CHANNEL_NAMES = {
    "electrical_power_w": "watts",
    "rotor_speed_rad_s": "rotor speed",
    "voltage_v": "volts",
    "current_a": "amperes",
    "thrust_n": "thrust",
    "air_speed_m_s": "air speed at the rotor",
    "free_air_speed_m_s": "free air speed",
}
_LESS = {"rotor_speed_rad_s": "rotor_speed_rpm", "voltage_v": "voltage_v", "free_air_speed_m_s": "free_air_speed_m_s"}
_CLOSE = 0.08  # what is shown within this share of what a cause predicts is explained
_LIKELY = ((0.9, "almost certain"), (0.7, "likely"), (0.45, "about even"), (0.2, "possible"), (0.0, "unlikely"))
# A slipping belt passes on torque and loses speed; ohms of leads or winding pass on current and lose volts: of the same
# shaft power the same share is lost, so that rotor speed, volts and amperes at the element are the same.
_ALIKE = {"belt", "wiring", "generator"}
CAUSE_HEADINGS = ("cause", "probability", "watts lost", "explains", "leaves open")
_CERTAIN = 0.7  # probability from which a cause is named though the watts are as expected
_LED = 0.8  # probability of a cause after a test from which its fix is named
_SHOWN = 0.01  # probability from which a cause stands in the table


def likelihood(probability: float) -> str:
    """Return a probability in words with its number: "likely, 74 %"."""
    word = next(word for least, word in _LIKELY if probability >= least)
    return f"{word}, {percent(probability)}"


def percent(share: float) -> str:
    """Return a share as whole percent, never a false 0 or 100."""
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def first_lines(shortfall: Shortfall, system: UnitSystem) -> FirstLines:
    """Return the first lines: limits that the readings break, what to check first, watts expected, the next test."""
    dangers = danger_lines(shortfall.dangers, shortfall.dangers, system)
    return FirstLines(
        dangers=dangers,
        warnings=_once_repaired(shortfall, system),
        headline=headline(shortfall),
        lines=(
            *_next_lines(shortfall),
            *_watts_line(shortfall, system),
            *_perhaps_nothing(shortfall),
            *without_words(shortfall),
        ),
        operate="no" if dangers else "not checked",
    )


def _watts_line(shortfall: Shortfall, system: UnitSystem) -> tuple[str, ...]:
    expected = shortfall.expected
    low, high = expected.ends
    text = f"Expected at that reading: {show(expected.estimate, 'power', system)}"
    text += f" (90 % range {show(low, 'power', system)} to {show(high, 'power', system)})"
    if shortfall.watts is None:
        return (text,)
    return (f"Measured: {show(shortfall.watts, 'power', system)}{_where(shortfall, system)}", text)


def _where(shortfall: Shortfall, system: UnitSystem) -> str:
    """Return at which of the readings, where there is more than one."""
    readings, at = shortfall.readings, shortfall.at
    if len(readings) < 2:
        return ""
    road, dial = readings.road_speed_m_s[at], readings.dial_deg[at]
    text = f" at {show(float(road), 'speed', system)}" if math.isfinite(road) else ""
    return text + (f", dial at {dial:g}°" if math.isfinite(dial) else "")


def _perhaps_nothing(shortfall: Shortfall) -> tuple[str, ...]:
    """Return that the watts lie within what is expected, so that there may be no fault."""
    watts, low = shortfall.watts, shortfall.expected.ends[0]
    if watts is None or watts < low or not to_look_for(shortfall) or shortfall.causes[0].probability >= SURE:
        return ()
    return (
        "Perhaps nothing is wrong: what was read lies within the expected range. Measure before taking anything apart",
    )


def _next_lines(shortfall: Shortfall) -> tuple[str, ...]:
    if not to_look_for(shortfall):
        return ()
    said = []
    if shortfall.tests and (shortfall.undecided_between or shortfall.causes[0].probability < 0.95):
        said.append(f"Next test, {shortfall.tests[0].minutes:g} min: {shortfall.tests[0].what}")
        said.append(". ".join(f"If {o.words}: {_meaning(o)}" for o in shortfall.tests[0].outcomes))
    if {"belt", "wiring"} <= set(shortfall.undecided_between) <= _ALIKE:
        said.append("A slipping belt, a poor contact and a bad winding look alike to every meter on the road")
    if shortfall.rough:
        said.append(
            f"These probabilities are rough: only {max(shortfall.effective, 1):.0f} of the simulations fit all the "
            "readings. Use the order, not the numbers, and check the first cause before you change anything"
        )
    return tuple(said)


def to_look_for(shortfall: Shortfall) -> bool:
    """Return whether there is something to look for."""
    if shortfall.too_many or shortfall.nothing > 0.5:
        return False
    return shortfall.watts is None or shortfall.short or shortfall.causes[0].probability >= _CERTAIN


def headline(shortfall: Shortfall) -> str:
    """Return what to check first, in one sentence."""
    causes = shortfall.causes
    if shortfall.too_many:
        return (
            "More watts than expected, so nothing takes watts away. Check the reading first: its unit, the meter's "
            "scale (peak or mean), the road speed, a head wind."
        )
    if shortfall.nothing > 0.5:
        return "Nothing to look for: these readings lie within what the scenario's own ranges allow."
    if not to_look_for(shortfall):
        return f"No shortfall. {_enough_words(shortfall)}"
    if not shortfall.fits:
        return (
            "No cause explains all of these readings. Check units and columns first; nearest is: "
            f"{CAUSE_NAMES[causes[0].cause]}."
        )
    if shortfall.undecided_between:
        names = [CAUSE_NAMES[c] for c in shortfall.undecided_between[:3]]
        more = len(shortfall.undecided_between) - len(names)
        others = [f"{more} more"] if more > 0 else []
        listed = "; ".join([*names, *others])
        if causes[0].cause not in shortfall.undecided_between:
            certain = f"{CAUSE_NAMES[causes[0].cause]} ({likelihood(causes[0].probability)})"
            return f"Check first: {certain}. With it one of these: {listed}."
        return f"Undecided between {len(shortfall.undecided_between)} causes: {listed}."
    first = causes[0]
    if causes[1].probability >= 0.7:
        return f"Two causes at once: {CAUSE_NAMES[first.cause]}, and {CAUSE_NAMES[causes[1].cause]}."
    return f"Check first: {CAUSE_NAMES[first.cause]} ({likelihood(first.probability)})."


def _enough_words(shortfall: Shortfall) -> str:
    """Return that the watts are as expected, or more."""
    assert shortfall.watts is not None  # without watts there is always something to look for
    read, expected = (show(watts, "power", "metric") for watts in (shortfall.watts, shortfall.expected.estimate))
    if shortfall.watts > 1.1 * shortfall.expected.estimate:
        return f"{read} were read, more than the {expected} expected."
    return f"{read} were read, {expected} are expected: a difference under 10 %."


def explains(cause: CauseFound) -> str:
    """Return which kinds of reading a cause explains, as far as they can be read."""
    close = [CHANNEL_NAMES[c] for c in cause.leaves if _explained(cause, c)]
    if not close:
        return "none of the readings"
    return ", ".join(close) + (", together with another cause" if cause.with_another else "")


def leaves(cause: CauseFound) -> str:
    """Return what a cause leaves open: how far the readings are from what it predicts."""
    return ", ".join(
        f"{CHANNEL_NAMES[c]} read {_times(off)} it predicts"
        for c, off in cause.leaves.items()
        if not _explained(cause, c)
    )


def _explained(cause: CauseFound, channel: str) -> bool:
    return abs(math.log(max(cause.leaves[channel], 1e-6))) <= max(_CLOSE, cause.error[channel])


def _times(ratio: float) -> str:
    if 0.5 < ratio < 2:
        return f"{100 * abs(ratio - 1):.0f} % {'below' if ratio < 1 else 'above'} what"
    return f"{ratio:.2g} times what"


def cause_rows(shortfall: Shortfall, system: UnitSystem) -> list[list[str]]:
    """Return the causes worth a look, highest first, as texts under CAUSE_HEADINGS."""
    return [
        [
            CAUSE_NAMES[c.cause],
            percent(c.probability),
            show(c.watts_lost, "power", system, digits=2) + (" not shown, not lost" if c.cause == "meter" else ""),
            explains(c) if c.leaves else "",
            leaves(c),
        ]
        for c in shortfall.causes
        if c.probability >= _SHOWN
    ]


def to_do(shortfall: Shortfall, system: UnitSystem) -> list[str]:
    """Return what to fix or set, the watts that it would bring, and the structural loads if it works."""
    if not to_look_for(shortfall) or not shortfall.fits:
        return []
    first = shortfall.causes[0].cause
    said = _after_the_test(shortfall) if shortfall.undecided_between else []
    if first not in shortfall.undecided_between:
        said = [FIXES[first], *said]
    if first == "pitch":
        said += _pitch_words(shortfall)
    after = shortfall.repaired
    if after is not None and first not in ("meter", "wind"):
        low, high = after.watts.ends
        repaired = f"With this cause removed ({CAUSE_NAMES[first]}), it" if shortfall.undecided_between else "It"
        said.append(
            f"{repaired} would give {show(after.watts.estimate, 'power', system)} at that reading "
            f"(90 % range {show(low, 'power', system)} to {show(high, 'power', system)})."
        )
        loads = [
            f"{name} {show(value, kind, system)}"
            for name, value, kind in (
                ("thrust", after.thrust_n, "force"),
                ("rotor speed", after.rotor_speed_rad_s, "rotor_speed"),
            )
            if math.isfinite(value)
        ]
        if loads:
            said.append(f"Structural loads then, at the fastest reading: {', '.join(loads)}.")
    return said


def _after_the_test(shortfall: Shortfall) -> list[str]:
    """Return the test to make before anything is changed, and what to do after each outcome."""
    if not shortfall.tests:
        first = shortfall.causes[0].cause
        return [f"If the cause is this ({CAUSE_NAMES[first]}): {FIXES[first]}"]
    test = shortfall.tests[0]
    other = "" if shortfall.causes[0].cause in shortfall.undecided_between else "other "
    said = [f"Make this test before any {other}repair: {test.what} It takes {test.minutes:g} min; tools: {test.tools}."]
    for outcome in test.outcomes:
        then = "The decision tree shows the next test."
        if outcome.cause is None:
            then = "Change nothing."
        elif outcome.then >= _LED:
            then = FIXES[outcome.cause]
        said.append(f"Outcome: {outcome.words}. {_meaning(outcome, likely=True)}. {then}")
    return said


def _once_repaired(shortfall: Shortfall, system: UnitSystem) -> tuple[str, ...]:
    """Return which limits the machine breaks once the first cause is put right, at the fastest reading."""
    after = shortfall.repaired
    if after is None or not after.broken or not to_look_for(shortfall) or not shortfall.fits:
        return ()
    first = shortfall.causes[0].cause
    if first in ("meter", "wind"):
        return ()
    worst, *others = after.broken
    said = f"After the repair (cause: {CAUSE_NAMES[first]}), at the fastest reading: {limit_sentence(worst, system)}"
    if others:
        said += f" Also over its limit: {', '.join(limit.in_a_sentence for limit in others)}."
    return (said,)


def _pitch_words(shortfall: Shortfall) -> list[str]:
    """Return where the blades stand if pitch is the cause: both sides, where both are left."""
    said = []
    for share, offset in shortfall.offset_deg:
        if share < 0.05:
            continue
        low, high = offset.ends
        way = "more" if offset.estimate > 0 else "less"
        text = f"If pitch is the cause, the blades stand {abs(offset.estimate):.1f}° {way} than the dial reads "
        text += f"(95 % interval {low:+.1f} to {high:+.1f}°)".replace("-", "−")
        said.append(text + (f"; {percent(share)} of pitch's probability." if share < 0.95 else "."))
    return said


def outcome_rows(test: Test) -> list[list[str]]:
    """Return a test's outcomes: words, probability, what it would mean."""
    return [[o.words, percent(o.probability), _meaning(o)] for o in test.outcomes]


def _meaning(outcome: SeenOutcome, *, likely: bool = False) -> str:
    name = "nothing is wrong" if outcome.cause is None else CAUSE_NAMES[outcome.cause]
    return f"Then {likelihood(outcome.then)}: {name}" if likely else f"{name} (chance {percent(outcome.then)})"


def test_lines(shortfall: Shortfall) -> list[str]:
    """Return the tests worth their minutes, one a line."""
    return [
        f"{t.what} {t.minutes:g} min, {t.tools}; resolves {percent(t.shrinks_by)} of what is open."
        for t in shortfall.tests[:3]
    ]


def tree_lines(step: TreeStep | None, depth: int = 0) -> list[str]:
    """Return the decision tree as lines to print and tick."""
    if step is None:
        return []
    pad = "    " * depth
    lines = [f"{pad}{step.test.what} ({step.test.minutes:g} min; {step.test.tools})"]
    for outcome, further in step.branches:
        arrow = f"{pad}  [ ] {outcome.words}: "
        lines.append(arrow + (_meaning(outcome) if further is None else "then"))
        lines += tree_lines(further, depth + 1)
    return lines


def without_words(shortfall: Shortfall) -> list[str]:
    """Return what can be concluded without what was not read: the next columns, if there is anything open."""
    missing = [name for c, name in CHANNEL_NAMES.items() if c in _LESS and not shortfall.readings.known(c)]
    if not missing or not shortfall.undecided_between or not to_look_for(shortfall):
        return []
    return [f"Not measured yet: {', '.join(missing)}. With them, more causes could be separated"]


def as_data(shortfall: Shortfall, title: str, system: UnitSystem) -> dict[str, Any]:
    """Return the diagnosis as data for `--json`."""
    from energy.words.shortfall_model import CauseData, OffsetData, ShortfallData

    tests = [_test_data(test) for test in shortfall.tests]
    first = first_lines(shortfall, system)
    return ShortfallData(
        windtoll=1,
        title=title,
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        warnings=list(first.warnings),
        headline=first.headline,
        may_be_operated=first.operate,
        more_than_expected=shortfall.too_many,
        watts=shortfall.watts,
        expected_w=estimate_data(shortfall.expected),
        causes=[
            CauseData(
                cause=c.cause,
                probability=c.probability,
                explains=explains(c) if c.leaves else "",
                watts_lost=c.watts_lost,
                leaves=leaves(c),
            )
            for c in shortfall.causes
        ],
        nothing_wrong=shortfall.nothing,
        fits=shortfall.fits,
        effective_draws=shortfall.effective,
        undecided_between=list(shortfall.undecided_between),
        next_test=tests[0] if tests else None,
        other_tests=tests[1:],
        pitch_offset_deg=[OffsetData(probability=share, **vars(offset)) for share, offset in shortfall.offset_deg],
        repaired=_repaired_data(shortfall),
        decision_tree=tree_lines(shortfall.tree),
    ).model_dump()


def _repaired_data(shortfall: Shortfall) -> RepairedData | None:
    from energy.words.shortfall_model import RepairedData

    after = shortfall.repaired
    if after is None:
        return None
    return RepairedData(
        cause=shortfall.causes[0].cause,
        watts=estimate_data(after.watts),
        thrust_n=after.thrust_n,
        rotor_speed_rad_s=after.rotor_speed_rad_s,
    )


def _test_data(test: Test) -> TestData:
    from energy.words.shortfall_model import OutcomeData, TestData

    return TestData(
        what=test.what,
        minutes=test.minutes,
        tools=test.tools,
        shrinks_by=test.shrinks_by,
        outcomes=[
            OutcomeData(outcome=o.words, probability=o.probability, cause=o.cause, cause_probability=o.then)
            for o in test.outcomes
        ],
    )
