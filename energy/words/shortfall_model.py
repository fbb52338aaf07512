"""Why so few watts as data."""

from __future__ import annotations

from typing import Literal

from energy.words.result_model import EstimateData, Number, ResultModel, said


class CauseData(ResultModel):
    """One cause, weighed against the readings."""

    cause: str = said("the cause: pitch, local_air, blades, stall, generator, element, belt, wiring, wind or meter")
    probability: Number = said("probability that it is at work", "1")
    explains: str = said("which kinds of reading it explains")
    watts_lost: Number = said("power that it takes away at that reading", "W")
    leaves: str = said("which readings it leaves open, and by how much")


class OutcomeData(ResultModel):
    """One outcome of a test, and what it would mean."""

    outcome: str = said("what would be seen")
    probability: Number = said("probability of that outcome", "1")
    cause: str | None = said("the likeliest cause then; null where nothing would be wrong")
    cause_probability: Number = said("probability of that cause then", "1")


class TestData(ResultModel):
    """One test."""

    __test__ = False

    what: str = said("what to do")
    minutes: float | int = said("time that it takes", "min")
    tools: str = said("what it takes")
    shrinks_by: Number = said("share of the open question that it resolves, on average", "1")
    outcomes: list[OutcomeData] = said("what may come out")


class SideData(ResultModel):
    """One side of the best pitch."""

    probability: Number = said("probability of this side, if pitch is the cause", "1")


class OffsetData(EstimateData, SideData):
    """Where the blades stand, on one side of the best pitch."""


class RepairedData(ResultModel):
    """The machine with its likeliest cause removed."""

    cause: str = said("the cause that is removed")
    watts: EstimateData = said("power at that reading then", "W")
    thrust_n: Number = said("thrust then, at the fastest reading", "N")
    rotor_speed_rad_s: Number = said("rotor speed then, at the fastest reading", "rad/s")


class ShortfallData(ResultModel):
    """Why the machine gave so few watts."""

    windtoll: Literal[1] = said("version of this form")
    title: str = said("title of the scenario")
    safe: bool | None = said("false where a reading breaks a limit; null where none does, since loads are not checked")
    dangers: list[str] = said("limits that the readings break, and what to change")
    warnings: list[str] = said("limits that it would break once the first cause is put right")
    headline: str = said("the answer in one line")
    may_be_operated: Literal["no", "not checked"] = said("whether it may be operated like this")
    more_than_expected: bool = said("whether more watts were read than the scenario's ranges allow")
    watts: Number = said("power that was read; null where none was", "W")
    expected_w: EstimateData = said("power that was expected at that reading", "W")
    causes: list[CauseData] = said("every cause, the most probable first")
    nothing_wrong: Number = said("probability that nothing is wrong", "1")
    fits: bool = said("whether any cause explains the readings")
    effective_draws: Number = said("simulations that fit, in the poorest likely cause: under 10, odds are rough", "1")
    undecided_between: list[str] = said("causes that the readings do not part; empty where one stands out")
    next_test: TestData | None = said("the test that resolves most per minute; null where there is none")
    other_tests: list[TestData] = said("the other tests")
    pitch_offset_deg: list[OffsetData] = said(
        "blade pitch less the dial's reading, if pitch is the cause; one entry a side of the best pitch", "deg"
    )
    repaired: RepairedData | None = said("what it would give without that cause; null where none stands out")
    decision_tree: list[str] = said("the tests in order, to print and tick")
