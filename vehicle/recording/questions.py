"""Which parameter is asked next, and what its answers and silences say about adapter and car."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from vehicle.recording.adapter import Adapter, AdapterAnswer, clock_s
from vehicle.recording.parameters import PidParameter

SILENT_LIMIT = 2  # questions in sequence without any sign of life from the adapter: it is gone
EMPTY_LIMIT = 6  # questions in sequence without a usable answer from the car: look at the connection
MISSES_BEFORE_RARE = 10  # a parameter that never answers, though the car says it has it, is asked rarely
ROWS_BEFORE_FAST = 5
FAST_STRIKES = 3
_NEVER_S = -1e9


class FastMode:
    """Whether the adapter's fast mode may be tried, and how often it has lost an answer.

    Fast mode repeats a question by a bare return and names the number of answers to wait for; not every adapter can.
    """

    def __init__(self, *, allowed: bool) -> None:
        self.allowed = allowed
        self._strikes = 0

    def lost_an_answer(self) -> None:
        """Count an answer that came only outside fast mode; after `FAST_STRIKES` of them fast mode stays off."""
        self._strikes += 1
        self.allowed = self._strikes < FAST_STRIKES

    def prove(self, adapter: Adapter, parameters: Sequence[PidParameter]) -> bool:
        """Switch fast mode on if every repeated question of a trial is answered, else off for good; return which."""
        adapter.fast = True
        for parameter in parameters:
            for _ in range(3):  # the third is sent as a bare repeat, which some adapters do not answer
                if adapter.ask(parameter).value is None:
                    adapter.fast = self.allowed = False
                    return False
        return True


class Questions:
    """The questions of one recording: what is due, who answered, and whether the connection counts as lost.

    Parameters
    ----------
    wanted
        What the car says it has, of what windtoll records.
    slow_interval_s
        Time between two questions for the same slow parameter [s].
    fast_mode
        Whether the adapter's fast mode may be used.
    event
        Called with a sentence where something happened that the passenger should see.
    """

    def __init__(
        self,
        wanted: Sequence[PidParameter],
        *,
        slow_interval_s: float,
        fast_mode: FastMode,
        event: Callable[[str], None],
    ) -> None:
        self.wanted = tuple(wanted)
        self.fast_mode = fast_mode
        self._slow_interval_s = slow_interval_s
        self._event = event
        self._asked_s: dict[str, float] = {}
        self._misses: dict[str, int] = {}
        self._last_answered: PidParameter | None = None
        self._empty = self._silent = self._whole_rows = 0

    def due(self, at_s: float) -> list[PidParameter]:
        """Return what to ask in a row begun at `at_s` [s]: the fast ones, and one slow one that is due (all at
        first).
        """
        slow = [
            p
            for p in self.wanted
            if not self._is_fast(p) and at_s - self._asked_s.get(p.column, _NEVER_S) >= self._slow_interval_s
        ]
        first = not any(p.column in self._asked_s for p in slow)
        slow.sort(key=lambda p: self._asked_s.get(p.column, _NEVER_S))
        return self._fast_ones() + (slow if first else slow[:1])

    def _is_fast(self, parameter: PidParameter) -> bool:
        return parameter.fast and self._misses.get(parameter.column, 0) < MISSES_BEFORE_RARE

    def _fast_ones(self) -> list[PidParameter]:
        return [p for p in self.wanted if self._is_fast(p)]

    def ask(self, adapter: Adapter, parameter: PidParameter) -> float | None:
        """Ask once, in fast mode twice where the first stays empty; return the value and keep the counts."""
        self._asked_s[parameter.column] = clock_s()
        answer = adapter.ask(parameter)
        silent = int(answer.silent)
        if answer.value is None and adapter.fast and adapter.alive():
            answer = self._ask_outside_fast_mode(adapter, parameter)
            silent += answer.silent
        if answer.value is None:
            self._empty += 1
            self._silent = self._silent + silent if answer.silent else 0
            self._misses[parameter.column] = self._misses.get(parameter.column, 0) + 1
        else:
            self._empty = self._silent = 0
            self._misses[parameter.column] = 0
            self._last_answered = parameter
        return answer.value

    def _ask_outside_fast_mode(self, adapter: Adapter, parameter: PidParameter) -> AdapterAnswer:
        adapter.fast = False
        answer = adapter.ask(parameter)
        if answer.value is not None:
            self.fast_mode.lost_an_answer()
        adapter.fast = self.fast_mode.allowed
        if not self.fast_mode.allowed:
            self._event("fast mode off: this adapter loses answers in it")
        return answer

    def lost(self, adapter: Adapter) -> str:
        """Return why the connection counts as lost, or an empty text."""
        if not adapter.alive():
            return "the port is gone"
        if self._silent >= SILENT_LIMIT:
            return "the adapter does not answer"
        if self._empty >= EMPTY_LIMIT and not self._still_there(adapter):
            heard = adapter.heard()
            return f"the car does not answer{f' ({heard})' if heard.isprintable() and heard else ''}"
        return ""

    def _still_there(self, adapter: Adapter) -> bool:
        """Return whether a parameter that has answered before still does: a car may claim many that it never gives."""
        known = [self._last_answered] if self._last_answered else self.wanted[:3]
        if not any(adapter.ask(parameter).value is not None for parameter in known):
            return False
        self._empty = 0
        return True

    def row_done(self, adapter: Adapter, *, whole: bool) -> None:
        """Count a row; after some whole ones in sequence try the fast mode."""
        self._whole_rows = self._whole_rows + 1 if whole else 0
        if self._whole_rows < ROWS_BEFORE_FAST or adapter.fast or not self.fast_mode.allowed:
            return
        if not self.fast_mode.prove(adapter, self._fast_ones()):
            self._event("fast mode stays off: this adapter does not answer all of it")

    def begin_again(self) -> None:
        """Forget the counts that belong to a connection that is gone."""
        self._empty = self._silent = self._whole_rows = 0
