"""How windtoll speaks: phrases that readers stumbled over do not come back. Own rules of the project, no source.

Every text of the product that a user can meet is searched: string constants of the code (docstrings of commands
included, since they are the help), the templates of the pages and the command line's help. Each rule says why.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# (pattern, what stands instead and why)
RULES: dict[str, str] = {
    r"\b(told|tells|telling)\b|\btell (apart|loss|a |the )|cannot be told|can be told|cannot tell (?!$)": (
        "data show or report; what is missing is unknown: 'Not enough data to calculate ...'"
    ),
    r"for want of": "'Defaults used': short and plain",
    r"\bbesides?\b": "'next to', 'as well as', 'in addition to': beside reads like beside the point",
    r"\bgreatest (torque|engine|road|rotor|blade|thrust|error|difference|power)": "'highest', 'peak', 'maximum'",
    r"\b(the greatest|the least|at its most|at (the )?most \d|greatest (of|current|load)|least (drag|fuel per))\b": (
        "'maximum', 'minimum', 'smallest', 'largest': one way to say an extreme"
    ),
    r"as known (also)?:|where (they are|it is|that is) known|as far as known": "'optional'",
    r"take(n)? (\w+ ){0,4}away\b|put away|brought back|bring (one|it) back|undo to loaded": (
        "'download', 'remove', 'open', 'revert to loaded'"
    ),
    r"power (paid|got)|energy paid|pays for (it|the air)|the wind pays": (
        "'drag power', 'shaft power', 'the wind supplies it'"
    ),
    r"do not run it so|\bin work\b|\bby lot\b|\breckon(ed|s)?\b|carried on": (
        "'do not operate', 'open', 'random', 'calculate', 'extrapolated'"
    ),
    r"that makes heat exceed": "a label is a noun: 'break-even head wind'",
    r"\bdoubt\b|\d+ times out of 20|\d+ of \d+ draws|honest cases|almost certainly|very likely|nobody can tell": (
        "'uncertainty', '95 % interval', '90 % range', a likelihood with its number"
    ),
    r"\bmay stay stalled|like this: not checked|no number of runs removes|rejects no run|\bto none\)": (
        "'can get stuck in stall', 'not checked yet', 'errors that more runs cannot remove', 'never at worst': 'may' "
        "reads as leave"
    ),
    r"\bmay (boil|pass boiling|pay|save|get stuck|be reached)\b|\bdo not operate so\b": (
        "'can boil', 'can pay', 'do not operate it like this': 'may' is kept for what is allowed"
    ),
    r"\d+ % (power\b|confidence)|% chance \(at|with nearly 100 % chance \(at": (
        "'a chance of 80 %', '95 % interval': a reader knows chances, not the power of a test"
    ),
    r"\bpresent setting|to try instead|before it is operated": (
        "'today's setting', 'the best within the limits', 'check the new setting before operating it'"
    ),
    r"how far the real|how much (power|lift) |what rotor and body do|\bpays (less|more) drag": (
        "a name is a noun: 'the real rotor's power', 'the power of stalled sections'; drag is had, not paid"
    ),
    r"could explain it all|so far as the interval|made from \{|let expect|no credit for": (
        "'could explain all of it', 'the two ranges overlap', 'rests on', 'expected': read twice by readers"
    ),
    r"then (shaft|heat) energy|electrical energy, then|while it lasts|working \{100|working 100 %|passing factor \{": (
        "one number a line, each with its name; 'never stowed' says nothing of the power"
    ),
    r"\bhobby\b|tin of bread|palm-size|palm of|handbook collections?|web article|second-hand|every handbook": (
        "neutral sizes; a source has author, year and title, or is 'common practice, no source' or 'from memory'"
    ),
    r"leaving it at home": "'not fitted', 'the same vehicle without the turbine'",
    r"\bELM327\b": "a maker's chip name: 'serial OBD adapter'",
}
# The name of the chip is said once, where a buyer needs it.
ALLOWED = {("README.md", r"\bELM327\b")}


def _docstring(node: ast.AST) -> ast.Constant | None:
    body = getattr(node, "body", None)
    if not isinstance(node, (ast.Module, ast.FunctionDef, ast.ClassDef)) or not body:
        return None
    first = body[0].value if isinstance(body[0], ast.Expr) else None
    return first if isinstance(first, ast.Constant) and isinstance(first.value, str) else None


def _strings(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the string constants of a module that a user may meet; docstrings only of commands, whose help they are."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hidden = {
        id(_docstring(node))
        for node in ast.walk(tree)
        if not ("commands" in path.parts and isinstance(node, ast.FunctionDef) and node.name == "command")
    }
    for node in ast.walk(tree):
        is_text = isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value
        if is_text and id(node) not in hidden:
            yield node.lineno, node.value


@functools.cache
def texts() -> tuple[tuple[str, str], ...]:
    """Return every text of the product with the place it stands at; read once for all rules."""
    return tuple(_texts())


def _texts() -> Iterator[tuple[str, str]]:
    for folder in ("energy", "vehicle"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            for line, text in _strings(path):
                yield f"{path.relative_to(ROOT)}:{line}", text
        for path in sorted((ROOT / folder).rglob("*.html")):
            yield str(path.relative_to(ROOT)), re.sub(r"<(script|style).*?</\1>", "", path.read_text(), flags=re.S)
    yield "README.md", (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("pattern", RULES)
def test_phrases_that_readers_stumbled_over_do_not_come_back(pattern: str) -> None:
    found = [
        f"{place}: {match.group(0)!r} in {text[max(0, match.start() - 40) : match.end() + 30]!r}"
        for place, text in texts()
        for match in [re.search(pattern, text, re.IGNORECASE)]
        if match and (place, pattern) not in ALLOWED
    ]
    assert not found, f"instead: {RULES[pattern]}\n" + "\n".join(found)
