"""The serial OBD adapter and the control units behind it: opened, set up, asked with bounded waits, closed.

The only module that imports python-obd (GPL-2.0), and no module outside this package imports it when it is loaded:
recording is a process of its own. python-obd knows the protocols and takes their frames apart. Port, waits, set-up, the
choice of the engine's control unit and the checks of each line are ours: python-obd takes whichever unit answers first
for the engine, looks at no check byte, repeats a read of up to ten seconds ten times over, and never ends one on a port
that talks without a prompt.
"""

from __future__ import annotations

import os
import re
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from obd import protocols

from vehicle.recording.access import AdapterError, cannot_open, check_access, found_ports
from vehicle.recording.lines import (
    J1850,
    SUMMED,
    AdapterLine,
    engine_address,
    flipped,
    sorted_lines,
)
from vehicle.recording.parameters import ENGINE_EVIDENCE, PidParameter, decode, supported_in
from vehicle.recording.port import PROMPT, AdapterPort, Patience, PortGoneError, Reply, clock_s

# The adapter itself gives up on the car after at most about 1 s (its own time-out register, common practice, no
# source); Bluetooth adds some tenths.
QUESTION = Patience(total_s=4.0, quiet_s=2.0, search_s=20.0, answered_s=0.7)
SETTING = Patience(total_s=2.0, quiet_s=1.0)
RESET = Patience(total_s=3.0, quiet_s=1.5)
WAKE = Patience(total_s=1.0, quiet_s=0.4)
SEARCH = Patience(total_s=20.0, quiet_s=20.0, search_s=20.0, answered_s=1.5)
LISTEN_S = 1.2  # before the first byte is written to a port: another device may send a line a second
LISTEN_AGAIN_S = 0.3
QUIET_AFTER_RESET_S = 0.3
NOISE_REMEMBERED_S = 20.0
ENGINE_PATIENCE_S = 10.0  # how long a unit that may not be the engine's is asked for a better one
NO_CAR_TRIES = 3  # to get any list at all
BAUD_RATES = (38400, 9600, 115200, 230400, 57600, 19200, 500000)
_PROTOCOLS: dict[str, Any] = {
    "1": protocols.SAE_J1850_PWM,
    "2": protocols.SAE_J1850_VPW,
    "3": protocols.ISO_9141_2,
    "4": protocols.ISO_14230_4_5baud,
    "5": protocols.ISO_14230_4_fast,
    "6": protocols.ISO_15765_4_11bit_500k,
    "7": protocols.ISO_15765_4_29bit_500k,
    "8": protocols.ISO_15765_4_11bit_250k,
    "9": protocols.ISO_15765_4_29bit_250k,
    "A": protocols.SAE_J1939,
}
_RATE_OVER = 12  # questions


@dataclass(frozen=True)
class AdapterAnswer:
    """What came back for one question: a value, or none; `silent` where not even the adapter answered.

    `at_s` is when it was there, of the recorder's clock [s].
    """

    value: float | None
    silent: bool
    at_s: float


@dataclass(frozen=True)
class AdapterWanted:
    """What to open: port, baud rate [bit/s], the adapter's protocol digit ("1" to "A"); None: find it."""

    port: str | None = None
    baud_rate: int | None = None
    protocol: str | None = None


@dataclass(frozen=True)
class Waiter:
    """What acts while the adapter is waited for: `idle` at least ten times a second, `say` with what is waited for."""

    idle: Callable[[], None] = lambda: None
    say: Callable[[str], None] = lambda _: None


class Adapter:
    """An open adapter with an engine's control unit behind it. Ask one question at a time; `close` it when done.

    `engine` is the address of the engine's control unit as python-obd numbers it, None where the adapter cannot show
    addresses and a single unit answers.
    """

    def __init__(self, port: AdapterPort, name: str) -> None:
        self.name = name
        self.fast = False
        self.restarts = 0
        self.engine: int | None = None
        self.baud_rate = port.baud_rate
        self.headers = True
        self.protocol_id = ""
        self.damaged = 0
        self._port: AdapterPort | None = port
        self._parser: Any = None
        self.units = 0  # that answered any one question
        self._heard: tuple[str, ...] = ()
        self._counts: dict[int, list[int]] = {}
        self._took_s: deque[float] = deque(maxlen=_RATE_OVER)
        self._usual_took_s = 0.0
        self._noise_s = float("-inf")

    @property
    def protocol_name(self) -> str:
        """Return the protocol by the name of its standard."""
        return str(_PROTOCOLS[self.protocol_id].ELM_NAME)

    # -- setting up

    def reset(self) -> None:
        """Bring the adapter to its defaults, whatever an earlier program left it in. Raises AdapterError."""
        self._say_to(b"\x7f\x7f", WAKE)  # ends what it may be doing; no adapter knows this command
        for _ in range(3):
            if self._say_to(b"ATZ", RESET).whole:
                break
        else:
            raise _no_answer(self.name)
        if self._port is not None:
            self._port.read_until_quiet(QUIET_AFTER_RESET_S, 2.0)  # an answer owed to a killed program must not pass

    def set_up(self) -> None:
        """Set echo, line feeds, spaces and headers; notes what this adapter cannot do. Raises AdapterError."""
        if not self._say_to(b"ATE0", SETTING).whole and not self._say_to(b"ATE0", SETTING).whole:
            raise _no_answer(self.name)
        for command in (b"ATL0", b"ATS1"):
            self._say_to(command, SETTING)
        if not any("OK" in line for _ in range(2) for line in self._say_to(b"ATH1", SETTING).lines):
            self.headers = False

    def use_protocol(self, protocol_id: str) -> None:
        """Set a known protocol, without a search."""
        self.protocol_id = protocol_id
        self._parser = _PROTOCOLS[protocol_id]([])
        self._say_to(b"ATTP" + protocol_id.encode(), SETTING)

    def find_protocol(self, waiter: Waiter) -> None:
        """Let the adapter search for the car's protocol. Raises AdapterError."""
        waiter.say("searching for the car's protocol, up to 20 s")
        self._say_to(b"ATSP0", SETTING)
        for _ in range(2):  # a bus may fail to start at the first call
            reply = self._say_to(b"0100", SEARCH)
            if any("4100" in line.replace(" ", "") for line in reply.lines):
                break
            if any("UNABLE" in line for line in reply.lines):
                raise self.no_ignition()
        else:
            raise self.no_ignition()
        answer = "".join(self._say_to(b"ATDPN", SETTING).lines[-1:])
        self.use_parser(answer.removeprefix("A") if len(answer) > 1 else answer, reply)

    def use_parser(self, protocol_id: str, reply: Reply) -> None:
        """Take the protocol that the adapter names, or the one whose lines the first reply has. Raises AdapterError."""
        candidates = [protocol_id] if protocol_id in _PROTOCOLS else []
        for candidate in (*candidates, *"6713258"):
            if any(line.kind == "frame" for line in sorted_lines(reply.lines, candidate, headers=True)):
                self.protocol_id = candidate
                break
        else:
            if not candidates:
                raise self.no_ignition()
            self.protocol_id = protocol_id
        self._parser = _PROTOCOLS[self.protocol_id]([])

    def find_engine(self, waiter: Waiter, patience_s: float = ENGINE_PATIENCE_S) -> set[int]:
        """Choose the engine's control unit among those that answer; return what its first list says it supports.

        A unit at an engine's address that reports engine load, air or fuel is taken at once. Any other has to answer
        alone for `patience_s` [s]: a gearbox may wake up before the engine. Raises AdapterError.
        """
        lists: dict[int | None, set[int]] = {}
        most_frames = tries = 0
        end_s = clock_s() + patience_s
        while True:
            frames, reply = self._frames(b"0100")
            most_frames = max(most_frames, len(frames))
            self._check_addresses(reply, most_frames)
            for unit, data in frames:
                lists[unit] = lists.get(unit, set()) | (supported_in(0x00, data) or set())
            best = max(lists, key=lambda unit: self._likely(unit, lists[unit]), default=None)
            tries += 1
            if lists and self._surely_engine(best, lists[best], tries):
                break
            if clock_s() > end_s or (not lists and (not reply.heard or tries >= NO_CAR_TRIES)):
                break
            waiter.say("waiting for the engine's control unit to answer")
            if self._port is not None:
                self._port.pause(0.2)
        if not lists:
            raise self.no_ignition()
        if best is not None and not self._surely_engine(best, lists[best], tries):
            self._refuse_other_unit(best, lists[best])
        self.engine = best
        return lists[best]

    def _refuse_other_unit(self, unit: int, listed: set[int]) -> None:
        if len(listed & ENGINE_EVIDENCE) >= 2 or engine_address(self.protocol_id, unit):
            return
        raise AdapterError(
            "no engine",
            f"Only a control unit that reports no engine load, air flow or fuel answers (address {unit:02X}):"
            " that is not the engine. Switch the ignition on, or start the engine.",
        )

    def _check_addresses(self, reply: Reply, most_frames: int) -> None:
        """Find out whether the adapter shows who answers; refuse it where it does not and several units do."""
        if self.headers and not any(line.kind == "frame" for line in self._sorted(reply)):
            bare = sorted_lines(reply.lines, self.protocol_id, headers=False)
            if any(line.digits.startswith("4100") and len(line.digits) == 12 for line in bare if line.kind == "frame"):
                self.headers = False
        if not self.headers and most_frames > 1:
            raise AdapterError(
                "no engine",
                "Several control units answer, and this adapter cannot show which one (it ignores the setting for"
                " headers), so the engine's values cannot be kept apart. Use another adapter.",
            )

    def _likely(self, unit: int | None, listed: set[int]) -> tuple[bool, int, int]:
        at_engine = unit is None or engine_address(self.protocol_id, unit)
        evidence = len(listed & ENGINE_EVIDENCE)
        return at_engine and evidence > 0, evidence, len(listed)

    def _surely_engine(self, unit: int | None, listed: set[int], tries: int) -> bool:
        if unit is None:  # without addresses several replies have to show that a single unit answers
            return tries >= NO_CAR_TRIES
        return engine_address(self.protocol_id, unit) and bool(listed & ENGINE_EVIDENCE)

    def no_ignition(self) -> AdapterError:
        """Return what to raise where the adapter answers and the car does not."""
        said = self.heard()
        return AdapterError(
            "no ignition",
            f"The adapter on {self.name} answers{self._voltage()}, but the car does not"
            f"{f' ({said})' if said else ''}: switch the ignition on (the engine may be off)"
            " and push the adapter fully into its socket.",
        )

    def _voltage(self) -> str:
        heard = self._heard
        lines = self._say_to(b"ATRV", SETTING).lines
        self._heard = heard
        digits = lines[-1].rstrip("Vv") if lines else ""
        try:
            return f" and reads {float(digits):.1f} V"
        except ValueError:
            return ""

    # -- asking

    def ask(self, parameter: PidParameter) -> AdapterAnswer:
        """Return the engine's answer to one parameter.

        Where the lines carry no check and flipped ones came lately, a value counts only if two answers agree.
        """
        answer = self._ask_once(parameter)
        noisy = clock_s() - self._noise_s < NOISE_REMEMBERED_S
        if answer.value is None or self._checked_lines() or not noisy:
            return answer
        values = [answer.value]
        for _ in range(2):
            again = self._ask_once(parameter)
            if again.value in values:
                return again
            values += [again.value] if again.value is not None else []
        return AdapterAnswer(None, silent=False, at_s=clock_s())

    def _ask_once(self, parameter: PidParameter) -> AdapterAnswer:
        began_s = clock_s()
        counts = self._counts.setdefault(parameter.pid, [])
        counted = self.fast and (self.units == 1 or len(counts) >= 2)
        command = b"01%02X" % parameter.pid + (b"%X" % max(counts, default=1) if counted else b"")
        frames, reply = self._frames(command)
        if not counted and frames and reply.whole:
            counts.append(min(len(frames), 0xF))
            del counts[:-8]
        values = [v for unit, data in frames if unit == self.engine and (v := decode(parameter, data)) is not None]
        if not self.headers and len(frames) > 1:
            values = []  # no one can tell whose they are
        if values:
            self._took(clock_s() - began_s)
            return AdapterAnswer(values[-1], silent=False, at_s=reply.at_s)
        self._look_for_restart(parameter.pid, reply)
        return AdapterAnswer(None, silent=not reply.heard, at_s=clock_s())

    def _checked_lines(self) -> bool:
        return self.headers and (self.protocol_id in J1850 or self.protocol_id in SUMMED)

    def _frames(self, command: bytes) -> tuple[list[tuple[int | None, bytes]], Reply]:
        """Return the whole frames that came back to a question, each with its unit's address, and the reply."""
        reply = self._say_to(command, QUESTION)
        frames: list[tuple[int | None, bytes]] = []
        for line in self._sorted(reply):
            if line.kind == "damaged":
                self.damaged += 1
                if flipped(line):
                    self._noise_s = clock_s()
            elif line.kind == "frame" and not self.headers:
                frames.append((None, bytes.fromhex(line.digits)))
            elif line.kind == "frame":
                frames += [(m.tx_id, bytes(m.data)) for m in self._parser([line.digits]) if m.parsed()]
        self.units = max(self.units, len({unit for unit, _ in frames}))
        return frames, reply

    def _sorted(self, reply: Reply) -> list[AdapterLine]:
        return sorted_lines(reply.lines, self.protocol_id, headers=self.headers)

    def _look_for_restart(self, pid: int, reply: Reply) -> None:
        """Set the adapter up again where it has lost its settings: its supply may dip while the engine is cranked."""
        lines = self._sorted(reply)
        bare = f"41{pid:02X}"
        lost = any(line.kind == "banner" for line in lines) or (
            self.headers and any(line.digits.startswith(bare) for line in lines if line.kind == "damaged")
        )
        if lost and self._port is not None:
            self.restarts += 1
            self.set_up_again()

    def set_up_again(self) -> None:
        """Give a running adapter its settings again; leaves an adapter that does not answer as it is."""
        if self._port is None:
            return
        headers = self.headers
        self._port.read_until_quiet(QUIET_AFTER_RESET_S, 1.0)
        try:
            self.set_up()
        except AdapterError:
            self.headers = headers
            return
        self.headers = headers  # what the first set-up found is not unlearnt by one lost reply
        self._say_to(b"ATTP" + self.protocol_id.encode(), SETTING)

    def supported(self, first_pid: int) -> set[int] | None:
        """Return the parameter numbers above `first_pid` that the engine lists; None where no whole list came."""
        began_s = clock_s()
        one = b"1" if self.fast and self.units == 1 else b""
        frames, _ = self._frames(b"01%02X" % first_pid + one)
        lists = [supported_in(first_pid, data) for unit, data in frames if unit == self.engine]
        if any(listed is not None for listed in lists):
            self._took(clock_s() - began_s)
        return next((listed for listed in lists if listed is not None), None)

    def rate(self) -> float | None:
        """Return the questions that are answered in a second, from the last ones; None before the first."""
        return 1.0 / max(self._usual_took_s, 1e-4) if self._took_s else None

    def learn_from(self, before: Adapter) -> None:
        """Take over what is known of the car's rate and of how many units answer."""
        self.units = before.units
        self._counts = {pid: list(counts) for pid, counts in before._counts.items()}
        self._took_s.extend(before._took_s)
        self._usual_took_s = before._usual_took_s

    def usual_s(self) -> float:
        """Return how long a question and its answer take in usual running, with some reserve [s]."""
        return 1.5 * self._usual_took_s if self._took_s else QUESTION.quiet_s

    def _took(self, seconds: float) -> None:
        self._took_s.append(seconds)
        self._usual_took_s = sorted(self._took_s)[len(self._took_s) // 2]

    def _say_to(self, command: bytes, patience: Patience) -> Reply:
        if self._port is None:
            return Reply((), heard=False, whole=False)
        try:
            reply = self._port.ask(command, patience)
        except PortGoneError:
            self.close()
            return Reply((), heard=False, whole=False)
        echo = command.decode("ascii", errors="replace")
        lines = reply.lines[1:] if reply.lines and reply.lines[0].replace(" ", "") == echo else reply.lines
        self._heard = lines or self._heard
        return replace(reply, lines=lines)

    # -- the end

    def alive(self) -> bool:
        """Return whether the port is still open, as far as anyone can tell without asking."""
        return self._port is not None

    def heard(self) -> str:
        """Return the last line that the adapter sent, for the words about a gap; nothing where it is an answer."""
        last = self._heard[-1][:40] if self._heard else ""
        if not last.isascii() or not last.isprintable():
            return "unreadable characters"
        return "" if re.match(r"[0-9A-F]{2}", last) else last

    def silence_words(self) -> str:
        """Return who is silent, for the words about a gap."""
        if self._port is None:
            return "the port is gone"
        if self._port.silent_s() >= QUESTION.quiet_s * 0.9:
            return "the adapter does not answer"
        said = self.heard()
        return f"the car does not answer{f' ({said})' if said else ''}"

    def close(self) -> None:
        """Give the port back. Never raises: whoever closes has other troubles."""
        port, self._port = self._port, None
        if port is None:
            return
        try:
            port.close()
        except PortGoneError as error:
            self._heard = (*self._heard, f"while closing: {error}")


def open_adapter(wanted: AdapterWanted, waiter: Waiter | None = None) -> tuple[Adapter, set[int]]:
    """Return an open adapter with the engine found, and the parameter numbers of its first list.

    The port is a device ("/dev/ttyUSB0", "COM5") or an address ("socket://192.168.0.10:35000" for a Wi-Fi adapter);
    where none is named, every serial port is tried. Raises AdapterError.
    """
    waiter = waiter or Waiter()
    candidates = [wanted.port] if wanted.port else found_ports()
    if not candidates:
        raise AdapterError(
            "no adapter",
            "No OBD adapter found: no USB or Bluetooth serial port is there. Plug it in or pair it; name the port with"
            " --port, for a Wi-Fi adapter --port socket://ADDRESS:PORT.",
        )
    troubles: list[AdapterError] = []
    for candidate in candidates:
        try:
            return _open_one(candidate, wanted, waiter)
        except AdapterError as trouble:
            troubles.append(trouble)
    raise nearest_trouble(troubles)


def nearest_trouble(troubles: list[AdapterError]) -> AdapterError:
    """Return the trouble that came closest to a recording: a car that does not answer before a port of another kind."""
    order = ("no engine", "no ignition", "no permission", "busy", "no answer", "stranger", "no adapter")
    return min(troubles, key=lambda trouble: order.index(trouble.kind))


def _open_one(port: str, wanted: AdapterWanted, waiter: Waiter) -> tuple[Adapter, set[int]]:
    waiter.say(f"opening the adapter on {port}")
    adapter = _reset_adapter(port, wanted.baud_rate, waiter, LISTEN_S)
    try:
        if wanted.protocol:
            adapter.use_protocol(wanted.protocol)
        else:
            adapter.find_protocol(waiter)
        return adapter, adapter.find_engine(waiter)
    except BaseException:
        adapter.close()
        raise


def reopen_adapter(port: str, before: Adapter, waiter: Waiter) -> Adapter:
    """Return a new adapter on `port` for the engine that `before` recorded; whether it answers is still to be asked.

    Raises AdapterError.
    """
    adapter = _reset_adapter(port, None if port != before.name else before.baud_rate, waiter, LISTEN_AGAIN_S)
    try:
        adapter.use_protocol(before.protocol_id)
    except BaseException:
        adapter.close()
        raise
    adapter.engine = before.engine
    adapter.headers = adapter.headers and before.headers
    adapter.learn_from(before)
    return adapter


def _reset_adapter(name: str, baud_rate: int | None, waiter: Waiter, listen_s: float) -> Adapter:
    check_access(name)
    device = os.path.realpath(name) if os.path.islink(name) else name
    try:
        port = AdapterPort(device, baud_rate, waiter.idle)
    except (PortGoneError, ValueError) as error:
        raise cannot_open(name, str(error)) from None
    adapter = Adapter(port, name)
    try:
        _refuse_stranger(port, name, listen_s)
        if baud_rate is None and "://" not in name and not device.startswith("/dev/pts"):
            _find_baud_rate(port, name)
        adapter.baud_rate = port.baud_rate
        adapter.reset()
        adapter.set_up()
    except PortGoneError as error:
        adapter.close()
        raise cannot_open(name, str(error)) from None
    except BaseException:
        adapter.close()
        raise
    return adapter


def _refuse_stranger(port: AdapterPort, name: str, listen_s: float) -> None:
    """Listen before anything is written: an adapter is silent, or ends an old answer with its prompt."""
    began_s = clock_s()
    heard = port.read_until_quiet(listen_s, listen_s)
    if not heard:
        return
    heard += port.read_until_quiet(0.6, 2.5)
    if PROMPT in heard or not port.read_until_quiet(LISTEN_S, LISTEN_S):
        return
    text = "".join(c if c.isprintable() else "." for c in heard[:40].decode("ascii", errors="replace"))
    raise AdapterError(
        "stranger",
        f"Another device sends on {name} without being asked (in {clock_s() - began_s:.0f} s: {text!r}): that is no OBD"
        " adapter. Nothing was written to it. Name the adapter's port with --port.",
    )


def _find_baud_rate(port: AdapterPort, name: str) -> None:
    for rate in BAUD_RATES:
        try:
            port.baud_rate = rate
        except (ValueError, PortGoneError):  # a rate that this system does not know
            continue
        if port.ask(b"\x7f\x7f", Patience(total_s=0.5, quiet_s=0.3)).whole:
            return
    raise _no_answer(name)


def _no_answer(port: str) -> AdapterError:
    return AdapterError(
        "no answer",
        f"The port {port} opens, but no adapter answers on it: is it powered from the car, paired, and is the baud rate"
        " right (--baud)?",
    )


__all__ = ["Adapter", "AdapterAnswer", "AdapterError", "AdapterWanted", "Waiter", "open_adapter", "reopen_adapter"]
