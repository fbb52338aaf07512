"""Which parameter is asked next, and what its answers and silences say about adapter and car."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from vehicle.recording.adapter import Adapter, AdapterAnswer
from vehicle.recording.parameters import PARAMETERS, PidParameter
from vehicle.recording.port import clock_s
from vehicle.recording.schedule import FAST_CAR_PER_S, Plan, plan_for
from vehicle.recording.watch import Watch

SILENT_LIMIT = 2  # questions in sequence without a single byte from the adapter: it is gone
MISSES_BEFORE_RARE = 10  # a parameter that never answers, though the car says it has it, is asked in turn only
ROWS_BEFORE_FAST = 1
FAST_STRIKES = 3
PLAN_AGAIN_S = 2.0
LISTS_AGAIN_S = (10.0, 60.0, 300.0)  # after the first row: a control unit that wakes up may list more than at first
LIST_TRIES = 3
OTHERS_ANSWER_S = 3.0  # since any answer: a question without one is no miss of its parameter where nothing answers
_NEVER_S = -1e9


class FastMode:
    """Whether questions name the number of answers to wait for, which spares the adapter's time-out.

    Not every adapter knows it. An answer that comes only without it is a strike; after `FAST_STRIKES` it stays off.
    """

    def __init__(self, *, allowed: bool) -> None:
        self.allowed = allowed
        self._strikes = 0

    def strike(self) -> None:
        """Count an answer that came only outside fast mode."""
        self._strikes += 1
        self.allowed = self._strikes < FAST_STRIKES


class Questions:
    """The questions of one recording: what is due, who answered, and whether the adapter counts as gone.

    Parameters
    ----------
    first_list
        Numbers that the engine's first list names.
    slow_interval_s
        Least time between two questions for the same slow parameter [s].
    fast_mode
        Whether the adapter's fast mode may be used.
    event
        Called with a sentence where something happened that the passenger should see.
    """

    def __init__(
        self, first_list: set[int], *, slow_interval_s: float, fast_mode: FastMode, event: Callable[[str], None]
    ) -> None:
        self.supported = set(first_list)
        self.wanted: tuple[PidParameter, ...] = ()
        self.fast_mode = fast_mode
        self.watch = Watch()
        self.plan = Plan((), (), slow_interval_s)
        self.last_good_s = clock_s()
        self._began_s = clock_s()
        self._slow_interval_s = slow_interval_s
        self._event = event
        self._asked_s: dict[str, float] = {}
        self._misses: dict[str, int] = {}
        self._missed_s: dict[str, float] = {}
        self._last_answered: PidParameter | None = None
        self._silent = self._whole_rows = self._list_rounds = self._probes = 0
        self._planned_s = _NEVER_S

    # -- what the car has

    def read_lists(self, adapter: Adapter) -> None:
        """Ask for the lists of supported parameters, and keep whatever any of them names."""
        before = set(self.wanted)
        if not before:  # a single unit needs no time-out that waits for others
            adapter.fast = self.fast_mode.allowed and adapter.units == 1
        for first_pid in (0x00, 0x20, 0x40, 0x60):
            if first_pid and first_pid not in self.supported:
                break
            if first_pid == 0 and not before and self.supported:
                continue  # the list that the engine was chosen by
            for _ in range(LIST_TRIES):  # one torn line must not cost a parameter
                listed = adapter.supported(first_pid)
                if listed is not None:
                    self.supported |= listed
                    break
                adapter.fast = False
        self.wanted = tuple(p for p in PARAMETERS if p.pid in self.supported)
        new = [p for p in self.wanted if p not in before]
        if before and new:
            self._event(f"the engine reports more than at first: {', '.join(p.label for p in new)}")
        if new:
            self._planned_s = _NEVER_S

    def look_at_lists_again(self, adapter: Adapter) -> None:
        """Ask for the lists again some times during the recording."""
        rounds = self._list_rounds
        if rounds < len(LISTS_AGAIN_S) and clock_s() - self._began_s >= LISTS_AGAIN_S[rounds]:
            self._list_rounds += 1
            self.read_lists(adapter)

    def look_at_lists_soon(self) -> None:
        """Ask for the lists again at the next row: after a gap another key position may have woken up more."""
        self._list_rounds = min(self._list_rounds, len(LISTS_AGAIN_S) - 1)
        self._began_s = min(self._began_s, clock_s() - LISTS_AGAIN_S[self._list_rounds])

    # -- what is due

    def due(self, adapter: Adapter, at_s: float) -> list[PidParameter]:
        """Return what to ask in a row begun at `at_s` [s]: what is asked in each row, and one of the others if due.

        On a fast car the first row asks everything.
        """
        if at_s - self._planned_s >= PLAN_AGAIN_S:
            self._plan_again(adapter, at_s)
        again = self.watch.missing_again()
        in_turn = [
            p for p in self.plan.in_turn if at_s - self._asked_s.get(p.column, _NEVER_S) >= self._turn_s(p, again)
        ]
        in_turn.sort(key=lambda p: self._asked_s.get(p.column, _NEVER_S))
        everything = not self._asked_s and (adapter.rate() or 0.0) >= FAST_CAR_PER_S
        return [*self.plan.each_row, *(in_turn if everything else in_turn[:1])]

    def _turn_s(self, parameter: PidParameter, again: frozenset[str]) -> float:
        return 1.0 if parameter.column in again else self.plan.turn_s

    def _plan_again(self, adapter: Adapter, at_s: float) -> None:
        rare = frozenset(column for column, misses in self._misses.items() if misses >= MISSES_BEFORE_RARE)
        self.plan = plan_for(self.wanted, adapter.rate(), self._slow_interval_s, rare)
        self._planned_s = at_s

    def probe(self) -> PidParameter:
        """Return what to ask while nothing answers: by turns what answered last, and what is asked in each row."""
        self._probes += 1
        candidates = [self._last_answered or self.wanted[0], *self.plan.each_row]
        return candidates[self._probes % len(candidates)]

    # -- asking

    def ask(self, adapter: Adapter, parameter: PidParameter) -> float | None:
        """Ask once, in fast mode twice where the first stays empty; return the value and keep the counts."""
        self._asked_s[parameter.column] = clock_s()
        damaged = adapter.damaged
        answer = adapter.ask(parameter)
        silent = int(answer.silent)
        if answer.value is None and adapter.fast and adapter.alive():
            answer = self._ask_outside_fast_mode(adapter, parameter, damaged)
            silent += answer.silent
        at_s = answer.at_s
        if answer.value is None:
            self._silent = self._silent + silent if answer.silent else 0
            if at_s - self.last_good_s < OTHERS_ANSWER_S:
                self._missed(parameter, at_s)
            return None
        self._silent = 0
        self._misses[parameter.column] = 0
        self._last_answered = parameter
        self.last_good_s = at_s
        if parameter.column in self.watch.stopped():
            self._event(f"answers again: {parameter.label}")
        self.watch.answered(parameter.column, answer.value, at_s)
        return answer.value

    def _missed(self, parameter: PidParameter, at_s: float) -> None:
        """Count a question that this parameter left without an answer, only if others answered since the last one."""
        others_answered = self.last_good_s > self._missed_s.get(parameter.column, _NEVER_S)
        self._missed_s[parameter.column] = at_s
        if not others_answered:
            return
        misses = self._misses[parameter.column] = self._misses.get(parameter.column, 0) + 1
        if misses == MISSES_BEFORE_RARE:
            self._planned_s = _NEVER_S
        if self.watch.missed(parameter.column, at_s):
            self._event(f"no answer any more: {parameter.label}")

    def _ask_outside_fast_mode(self, adapter: Adapter, parameter: PidParameter, damaged: int) -> AdapterAnswer:
        adapter.fast = False
        answer = adapter.ask(parameter)
        if answer.value is not None and adapter.damaged == damaged:
            self.fast_mode.strike()
        adapter.fast = self.fast_mode.allowed
        if not self.fast_mode.allowed:
            self._event("fast mode off: this adapter loses answers in it")
        return answer

    def gone(self, adapter: Adapter) -> str:
        """Return why the adapter counts as gone, or an empty text."""
        if not adapter.alive():
            return "the port is gone"
        return "the adapter does not answer" if self._silent >= SILENT_LIMIT else ""

    def hole_s(self, adapter: Adapter | None) -> float:
        """Return from how long without an answer on [s] a hole counts as a gap: three questions, 2 s at least."""
        rate = adapter.rate() if adapter is not None else None
        return max(2.0, min(3.0 / rate, 4.0) if rate else 2.0)

    def row_done(self, adapter: Adapter, *, whole: bool) -> None:
        """Count a row; after some whole ones in sequence use the fast mode."""
        self._whole_rows = self._whole_rows + 1 if whole else 0
        if self._whole_rows >= ROWS_BEFORE_FAST and not adapter.fast and self.fast_mode.allowed:
            adapter.fast = True

    def begin_again(self) -> None:
        """Forget the counts that belong to a connection that is gone."""
        self._silent = self._whole_rows = 0


def columns_of(parameters: Iterable[PidParameter]) -> tuple[str, ...]:
    """Return the columns of parameters."""
    return tuple(p.column for p in parameters)
