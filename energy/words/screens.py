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
from vehicle.quantity import Spec
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
OF_STATIONS = (
    "From the root to the tip; twist counts towards feather. The rows that stand there are a textbook blade of your "
    "size: write over them."
)
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


# Notes and what is missing, by screen.
OF_BARS = "A bar's length is its share of the longest of its group."
NOTHING_DIFFERS = "Nothing differs yet: A and B are the same. Change a value, and come back."
WIDTHS_TO_SCALE = "Widths are to scale; what would be thinner than a pixel is drawn as one."
COLUMNS_OF_TRIP = "Columns time_s and speed_km_h (or speed_mph); grade, wind_speed_km_h and ambient_degc optional."
COLUMNS_OF_POWER = "Columns time_s and power_w; speed_km_h and ambient_degc optional."
NO_HEATING = "Not enough data to calculate when it is hot."
OF_PLAN_LINE = "Line: for the effect that the open scenario predicts; band: for its lowest and highest value."
OF_PILOT_RUNS = (
    "Three logs or more of equal runs (same road, speed and state of the turbine), or the logs of a test with "
    "its list of runs (runs.toml). They stay on this machine."
)
MORE_PAIRS = "The more pairs, the smaller the effect that they can show."
OF_CALL_SHEET = (
    "The passenger taps when a run begins and ends; what the phone shares cuts the log of the drive into runs: "
    'upload both under "What did the road say?".'
)
NO_PILOT_RUNS = "No log yet: the assumed figure is taken."
NO_FUEL_TO_CHANGE = "The scenario burns no fuel: no change of it is predicted."
NO_ENERGY_TO_CHANGE = "The scenario draws no battery energy: no change of it is predicted."


def no_prediction_for(used: str) -> str:
    """Return why nothing is predicted for runs that are judged by `used`."""
    return f"The runs are judged by {used}, and the open scenario has no {used}: it predicts nothing for them."


NO_NUMBER_OF_RUNS = "Not enough data to calculate a number of runs."
SPEED_OF_SCHEDULE = "Speed: as the scenario's schedule has it."
NO_CURVES = "This scenario has no curves to find a pitch with."
NO_PITCH = "Not enough data in this file to calculate the pitch."
NO_LOGS = "Nothing yet: upload the logs of runs with and without the turbine."
OF_LOGS = (
    "Upload the logs of the runs, any OBD logger's CSV or what windtoll record wrote, and the list of runs "
    "(runs.toml) if you have one, or the CSV that the passenger's call sheet shared: it says which run was "
    "driven how. A zip downloaded here works as well. Everything stays on this machine."
)
ONE_STATE_ONLY = "Not yet: upload or mark runs with the turbine working and runs without it."
LOGS_MISSING = "Not yet: the list of runs is there, its logs are not."
UNREADABLE_LOG = "A log cannot be read: see what was understood of the logs."
MARKED_BY_TWO = (
    "Marked to begin with by the order of the logs: two that follow each other are a pair, the turbine working "
    "in the first and stowed in the second, unless log or name says its state."
)
MARKED_BY_BLOCKS = (
    "Marked to begin with by the order of the logs: their states come as windtoll plan draws them, so in each "
    "block of four the first and third run are a pair (out), the second and fourth another (back)."
)
OF_ENGINE_DRIVEN = "Litres depend on it where the car reports no fuel rate; percent hardly does."
OF_PAIRS = (
    "A pair is two runs on the same road, in the same direction, within the same hour, one with the turbine "
    "and one without. Correct what is not so."
)
OF_RINGS = "The rings mark the air speed of the scenario; dashed lines are limits."
NUMBERS_STATED = "The numbers that matter, at the stated values"
OF_BLANKS = "At the stated values. Left blank: a limit is passed, or the rotor does not turn."
HOW_FLAT = "How flat the best is: heat stays within 5 %, the other settings held"
NOT_ON_THIS_MAP = " Settings with another ratio are not on this map."
NO_BEST_SETTING = "Not enough data to calculate a best setting for this scenario."
NO_WATTS = "Nothing yet: watts and road speed of one drive are enough to begin."
OF_SIZES = (
    "A hand-made rotor: shaded from the poor to the good end of the common range; the ring is the smallest "
    "that brings the heat. A larger rotor is loaded less, and drags less for the same heat."
)
FROM_SCENARIO = "These come from your scenario; change them as you like, the scenario stays as it is."
NO_SIZE = "No size can be calculated for these values."
OF_SWEEP_BARS = (
    "Bars: each setting's power coefficient, 95 % interval. Line: the smooth curve through them. Band: where "
    "the best lies."
)
NO_SWEEP = "Nothing yet: upload a drive on which one setting was stepped."
NO_SWEEP_RESULT = "Not enough data in this drive to calculate the best setting."
OF_READING_BAND = "Band: within the reading's 95 % interval."
NO_READING = "Nothing yet: say what was read, at which speed, and what the reading is good to."
NOT_COMPARED = "Readings and model cannot be compared yet."
NO_LOADS = "Not enough data to calculate the loads."


def fault_words(fault: Problem, system: UnitSystem) -> str:
    """Return a fault in one line; what its key takes in the units of `system`, where the fault says just that."""
    if fault.key not in quantity_keys():
        return str(fault)
    return str(replace(fault, accepted=accepted_words(fault.accepted, spec_of(fault.key), system)))


def accepted_words(accepted: str, spec: Spec, system: UnitSystem) -> str:
    """Return what a fault says would be accepted, with what its key takes in the units of `system`."""
    accepted = accepted.replace(spec.accepted(), spec.accepted(system))
    usual = plausible_words(spec)
    return accepted.replace(usual, plausible_words(spec, system)) if usual else accepted


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
