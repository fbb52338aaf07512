"""The app calls by its screens what the command line calls by its commands. Own rules, no source."""

from __future__ import annotations

import pytest

from energy.cli import COMMANDS
from energy.screens import catalogue
from energy.words.headings import one_line
from energy.words.rotor_choice import headings
from energy.words.screens import QUESTIONS, SCREEN_OF, in_the_app, to_the_field


def test_every_screen_has_one_question_and_every_command_named_has_a_screen() -> None:
    assert {screen.place: screen.question for screen in catalogue.SCREENS} == QUESTIONS
    assert set(SCREEN_OF) <= set(COMMANDS)
    assert set(SCREEN_OF.values()) <= set(QUESTIONS)


@pytest.mark.parametrize(
    ("by_command", "in_app"),
    [
        ("Use: windtoll loads SCENARIO.toml", 'Use: "What must it withstand?"'),
        ("several times that. Run windtoll loads.", 'several times that. See "What must it withstand?".'),
        ("raises thrust: run windtoll loads before", 'raises thrust: see "What must it withstand?" before'),
        ("out of stall (windtoll match)", 'out of stall ("What setting is best?")'),
        ("spin it up: windtoll loads --ladder", 'spin it up: "What must it withstand?"'),
        ("limits (windtoll keys rotor, mount, ...).", 'limits ("What is built, and how is it driven?").'),
        (
            'check windtoll loads with the pitch found here (--set rotor.pitch="3 deg")',
            'check "What must it withstand?" with that pitch',
        ),
        ("what windtoll record wrote", "what windtoll record wrote"),  # it runs in a terminal
        ("the more with --full", "the more with full"),
    ],
)
def test_commands_and_options_become_screens(by_command: str, in_app: str) -> None:
    assert in_the_app(by_command) == in_app


def test_a_link_names_its_field_or_its_part() -> None:
    assert to_the_field("trip.road_speed") == "Go to the field: road speed"
    assert to_the_field("rotor.curves") == "Go to the field: curves"  # a file, with no name in sentences
    assert to_the_field("other_sources") == "Go to the part: other sources"


def test_headings_of_one_line_do_not_take_over_those_before_them() -> None:
    said = one_line(headings("metric"))
    assert {"size m", "blades", "build", "against it", "starts at km/h"} <= set(said)
