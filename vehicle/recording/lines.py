"""Lines of a serial OBD adapter: which one is a whole answer of a control unit, and which is damaged, text or a banner.

Forms of the lines: SAE J1978 and ISO 15031-5 with the headers of SAE J1850, ISO 9141-2, ISO 14230-4 and ISO 15765-4,
from memory. J1850 lines end in a cyclic redundancy check, those of ISO 9141-2 and ISO 14230-4 in a sum; what an adapter
prints of a CAN frame carries none, so there only the length can show damage.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

J1850, SUMMED, CAN_11_BIT, CAN_29_BIT = ("1", "2"), ("3", "4", "5"), ("6", "8"), ("7", "9", "A")
"""Numbers of the protocols, as an adapter names them, by the form of their lines."""

Kind = Literal["frame", "text", "damaged", "banner"]

_TEXTS = re.compile(
    r"(NO DATA|UNABLE TO CONNECT|SEARCHING\.*|BUS INIT: ?\.*(OK|ERROR)?|BUS (ERROR|BUSY)|CAN ERROR|DATA ERROR|FB ERROR"
    r"|BUFFER FULL|STOPPED|ACT ALERT|ERR\d\d|OK|\?)"
)
_PROGRESS = re.compile(r"^(SEARCHING\.*|BUS INIT: ?\.*(OK)?)\s*")
_BANNER = re.compile(r"\bv\d+\.\d|LV RESET|OBD", re.IGNORECASE)
_HEX = re.compile(r"[0-9A-F]{2,3}( ?[0-9A-F]{2})*")
_ANSWER = 0x41
_LEAST_FRAME = 8  # characters


@dataclass(frozen=True)
class AdapterLine:
    """One line that an adapter sent: its kind, and its hexadecimal digits without spaces where it is a frame."""

    kind: Kind
    text: str
    digits: str = ""


def crc_j1850(data: Iterable[int]) -> int:
    """Return the cyclic redundancy check of SAE J1850: polynomial 0x1D, begun with 0xFF, inverted at the end."""
    value = 0xFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value << 1 ^ 0x1D) & 0xFF if value & 0x80 else value << 1
    return value ^ 0xFF


def sum_of_bytes(data: Iterable[int]) -> int:
    """Return the check byte of ISO 9141-2 and ISO 14230-2: the sum of all bytes before it, modulo 256."""
    return sum(data) % 256


def sorted_lines(lines: Sequence[str], protocol_id: str, *, headers: bool) -> list[AdapterLine]:
    """Return each line with its kind; `headers` is whether the adapter shows who sent it."""
    return [_sorted(line, protocol_id, headers=headers) for line in lines]


def _sorted(line: str, protocol_id: str, *, headers: bool) -> AdapterLine:
    text = _PROGRESS.sub("", line).strip()
    if not text or _TEXTS.fullmatch(text) or _TEXTS.fullmatch(line):
        return AdapterLine("text", line)
    if _HEX.fullmatch(text):
        digits = text.replace(" ", "")
        whole = _whole(digits, protocol_id) if headers else _whole_without_header(digits)
        if whole:
            return AdapterLine("frame", line, whole)
        return AdapterLine("damaged", line, digits)
    return AdapterLine("banner" if _BANNER.search(text) else "damaged", line)


def flipped(line: AdapterLine) -> bool:
    """Return whether a damaged line is a frame but for one or two characters: bits were flipped on the way.

    A line that only lost characters shows by its length; a flipped digit of a CAN frame does not show at all, so that
    flips elsewhere are a warning.
    """
    wrong = len(re.findall("[^0-9A-F ]", line.text))
    return line.kind == "damaged" and wrong in (1, 2) and len(line.text) >= _LEAST_FRAME


def _whole(digits: str, protocol_id: str) -> str:
    """Return the digits of a whole frame, without what follows its check byte, or an empty text."""
    if protocol_id in CAN_11_BIT:
        return digits if re.match("7E[89A-F]", digits) and _can_data_fits(digits[3:]) else ""
    if protocol_id in CAN_29_BIT:
        return digits if digits.startswith("18DAF1") and _can_data_fits(digits[8:]) else ""
    if len(digits) % 2:
        return ""
    data = bytes.fromhex(digits)
    if not 6 <= len(data) <= 12:
        return ""
    if protocol_id in SUMMED:
        return digits if _sum_fits(data) else ""
    if crc_j1850(data[:-1]) == data[-1]:
        return digits
    # SAE J1850 PWM units acknowledge a frame with a byte behind its check; some adapters print it.
    return digits[:-2] if protocol_id == "1" and len(data) > 6 and crc_j1850(data[:-2]) == data[-2] else ""


def _sum_fits(data: bytes) -> bool:
    if sum_of_bytes(data[:-1]) != data[-1]:
        return False
    length = data[0] & 0x3F
    return not data[0] & 0x80 or length == 0 or length == len(data) - 4  # ISO 14230-2: the format byte tells the length


def _can_data_fits(digits: str) -> bool:
    """Return whether a CAN data field is one single frame, as long as it says or filled up to eight bytes."""
    if len(digits) % 2 or len(digits) < 4:
        return False
    length = int(digits[:2], 16)
    return 1 <= length <= 7 and len(digits) // 2 in (length + 1, 8)


def _whole_without_header(digits: str) -> str:
    return digits if len(digits) % 2 == 0 and len(digits) >= 6 and digits.startswith(f"{_ANSWER:02X}") else ""


def engine_address(protocol_id: str, address: int) -> bool:
    """Return whether the standards give an address (as python-obd numbers it) to an engine's control unit.

    ISO 15765-4 recommends 7E8 (numbered 0 here) on 11-bit CAN; SAE J2178-1 gives 0x10 to 0x17 to engines.
    """
    return address == 0 if protocol_id in CAN_11_BIT else 0x10 <= address <= 0x17
