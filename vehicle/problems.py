"""What is wrong with an input, in one sentence a builder can act on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One fault of one input: where it is, what was read there, what would be accepted.

    `where` is a file name (or "--set", "--heat"), `key` the place in it ("trip.road_speed", "row 12, column watts").
    """

    where: str
    key: str
    read: str
    accepted: str

    def __str__(self) -> str:
        """Return the fault as one line."""
        place = f"{self.where}: {self.key}" if self.key else self.where
        return f"{place}: {self.read}; accepted: {self.accepted}" if self.accepted else f"{place}: {self.read}"

    def as_dict(self) -> dict[str, str]:
        """Return the fault as data, for `--json`."""
        return {"file": self.where, "key": self.key, "read": self.read, "accepted": self.accepted}


class InputError(Exception):
    """Input that cannot be used: carries every `Problem` found, so that all are told at once."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        assert self.problems, "an input error without a problem says nothing"
        super().__init__("\n".join(str(problem) for problem in self.problems))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word` (for typos), or None where nothing is near."""
    import difflib  # only for typos: the command line starts without it

    by_lower = {entry.lower(): entry for entry in known}
    near = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[near[0]] if near else None


def shown(value: object, length: int = 60) -> str:
    """Return a value as it was read, on one line, control characters escaped, cut to `length`."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
    return text if len(text) <= length else text[: length - 1] + "…"
