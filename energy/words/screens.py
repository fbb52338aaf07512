"""What the app's screens say besides an answer: the questions, the tour, and how a command's sentences read in the app.

A label of a field stands with its field; a sentence stands here.
"""

from __future__ import annotations

import re
from dataclasses import replace

from energy.scenario.keys import quantity_keys, spec_of
from energy.scenario.plausible import plausible_words
from energy.words.verdict import UNCHECKED, called
from vehicle.problems import Problem
from vehicle.units import UnitSystem

# The question of each screen by its place in the address.
QUESTIONS = {
    "fuel": "Does it save or cost fuel?",
    "pay": "When could it pay?",
    "compare": "What did my change do?",
    "evidence": "Why believe these numbers?",
    "scenario": "What is built, and how is it driven?",
    "size": "How large must it be?",
    "rotor": "What will the rotor do?",
    "setting": "What setting is best?",
    "heat": "When is it hot?",
    "loads": "What must it withstand?",
    "plan": "How many runs would prove it?",
    "road": "What did the road say?",
    "shortfall": "Why so few watts?",
    "pitch": "Is the pitch what the dial says?",
    "watts": "Do readings and model agree?",
}
# The screen that answers what a subcommand answers. Those that are left out have none: they are run in a terminal.
SCREEN_OF = {
    "answer": "fuel",
    "payback": "pay",
    "evidence": "evidence",
    "begin": "scenario",
    "keys": "scenario",
    "size": "size",
    "curves": "rotor",
    "match": "setting",
    "tune": "setting",
    "heat": "heat",
    "loads": "loads",
    "plan": "plan",
    "compare": "road",
    "shortfall": "shortfall",
    "truepitch": "pitch",
    "reconcile": "watts",
}

NOT_CHECKED_HERE = f'{UNCHECKED}: see "{QUESTIONS["loads"]}"'
BEING_WORKED_OUT = "How sure that is: being worked out."
FAULTY = "These values cannot be used; what you read below is the answer without them"
ESTIMATES = "Estimates for planning: no structural, electrical or roadworthiness approval. Nothing leaves this machine."
STATED_VALUES = (
    "Computed from the stated values. The verdict above is the median of the simulations, and can differ a little."
)
UNFORESEEN = (
    "Your work is saved. Undo the last step, or choose another question. The terminal that windtoll runs in has the "
    "details; please report them."
)
DEMO_IS_OPEN = "An invented demo is open: put in your own"
SAVED_AS_CHANGED = (
    "Everything is saved as you change it, on this machine only. A work holds its scenario with every step to undo, "
    "what you typed and what you uploaded."
)
NO_WORKS = "None yet. Change a value of the demo, begin a scenario of your own, or open a file."
GALLERY = "Invented demos to start from"
OF_GALLERY = "The picture: what the engine burns for the turbine, and the heat that comes of it, to one scale."
IN_ANOTHER_TAB = "This work was changed in another tab. What you see here is how it was before."
TAKEN_OVER = "This work was changed in another tab; you see it as it stands since then. Undo leads back, step by step."
DELETED_ELSEWHERE = "This work was deleted elsewhere. It is still open here; the next change saves it again."
BLADE_SCALED = "The textbook blade was scaled to the new diameter: radius and chord alike, its twist as before."
BEGIN = (
    "Five questions, then an answer with a wide range. After it you are asked, one at a time, for what would make it "
    "surer. What is open now stays in the list of your works."
)
BEGIN_OR_CHANGE = "What is open is an invented demo. Begin your own here, or change the demo."
OF_CSV_FILES = (
    "Curves, blade, polar, measured watts, torque curve and fuel map are CSV files that travel with the scenario. A "
    "file of the same name takes the place of the old one."
)
OF_LIVE = (
    "Type where windtoll record writes: a CSV file on this machine, or its folder (then the newest CSV file in it). "
    "Only CSV files that you name here are opened, nothing else is looked at, and nothing is changed."
)
ROAD_CAUTIONS = (
    "The driver drives. Starting, watching and marking a recording is a passenger's job.",
    "An interval holds for this vehicle, road, speed and weather: another day may say something else.",
)
READING_CAUTION = (
    "Readings on the road are the passenger's job. Wattmeter and leads of a turning generator can carry dangerous "
    "voltage: stop and lock the rotor before touching them."
)
OVER_SPEED_NOTES = (
    "Zero is what the verdict is compared with. The ring: your road speed; the band: 90 % range.",
    "The ring is the verdict, the line the stated values, the band the 90 % range.",
)
MARGINS_NOTE = (
    "Limit over load; bars end at 5. At 1 the limit is reached; a rough road or a hidden flaw can take a factor of 2."
)

TOUR = (
    (
        "What you see",
        "The verdict of an invented demo: what it costs, how sure that is, and what is worth a look after it.",
    ),
    ("Put in your own", f"Five questions under “{QUESTIONS['scenario']}” give you an answer of your own."),
    (
        "After you measured",
        "The last group of questions reads your logs: was it worth it, why so few watts, what next.",
    ),
)


def fault_words(fault: Problem, system: UnitSystem) -> str:
    """Return a fault in one line; what its key takes in the units of `system`, where the fault says just that."""
    if fault.key not in quantity_keys():
        return str(fault)
    spec = spec_of(fault.key)
    accepted = fault.accepted.replace(spec.accepted(), spec.accepted(system))
    usual = plausible_words(spec)
    if usual:
        accepted = accepted.replace(usual, plausible_words(spec, system))
    return str(replace(fault, accepted=accepted))


def to_the_field(place: str) -> str:
    """Return the words of a link to a field of the scenario ("trip.road_speed"), or to a part of it ("trip")."""
    table, _, key = place.partition(".")
    if not key:
        return f"Go to the part: {table.replace('_', ' ')}"
    # A file or a choice has no name in sentences: its key is read instead.
    return f"Go to the field: {called(place) if place in quantity_keys() else key.replace('_', ' ')}"


def _question(command: str) -> str:
    return f'"{QUESTIONS[SCREEN_OF[command]]}"'


_COMMANDS = "|".join(SCREEN_OF)
# What sentences shared with the command line call by a command or an option, as the app calls it. In this order.
_IN_THE_APP = (
    (re.compile(r"windtoll loads with the pitch found here \(--set [^)]*\)"), f"{_question('loads')} with that pitch"),
    (re.compile(r'--set trip\.road_speed="([^"]*)" predicts for that'), r"a road speed of \1 predicts for that"),
    (re.compile(r"windtoll keys [a-z_]+(?:, [a-z_]+)*(?:, \.\.\.)?"), _question("keys")),
    (re.compile(r"\bRun windtoll (?=(?:" + _COMMANDS + r")\b)"), "See windtoll "),
    (re.compile(r"\brun windtoll (?=(?:" + _COMMANDS + r")\b)"), "see windtoll "),
    (
        re.compile(r"windtoll (" + _COMMANDS + r")\b(?: --[a-z-]+| [A-Z_]+\.(?:toml|csv))*"),
        lambda match: _question(match[1]),
    ),
    (re.compile(r" \((?:all )?(?:with )?--[a-z-]+\)"), ""),
    (re.compile(r"(?<![\w'\"-])--([a-z]+(?:-[a-z]+)*)"), lambda option: option[1].replace("-", " ")),
)


def in_the_app(text: object) -> str:
    """Return a sentence that the command line says as well without its commands and options: here are screens."""
    words = str(text)
    for pattern, instead in _IN_THE_APP:
        words = pattern.sub(instead, words)
    return words
