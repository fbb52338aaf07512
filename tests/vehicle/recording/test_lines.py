"""Lines of a serial adapter: whole, damaged, text or banner."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicle.recording.lines import crc_j1850, engine_address, flipped, sorted_lines, sum_of_bytes

# By hand from the forms of SAE J1850, ISO 9141-2, ISO 14230-2 and ISO 15765-4 (from memory), 90 km/h; the check byte of
# J1850 by long division, as in serial_adapter.py.
WHOLE = {
    "2": "48 6B 10 41 0D 5A C6",
    "3": "48 6B 10 41 0D 5A 6B",
    "4": "83 F1 10 41 0D 5A 2C",
    "5": "83 F1 10 41 0D 5A 2C",
    "6": "7E8 03 41 0D 5A",
    "7": "18 DA F1 10 03 41 0D 5A",
    "8": "7E8 03 41 0D 5A AA AA AA AA",
    "9": "18 DA F1 10 03 41 0D 5A 00 00 00 00",
}


def kind(line: str, protocol_id: str, *, headers: bool = True) -> str:
    return sorted_lines([line], protocol_id, headers=headers)[0].kind


def test_check_bytes_are_those_of_the_standards() -> None:
    # Check value of CRC-8/SAE-J1850 in catalogues of such codes, from memory; the second is the line of a supported-
    # parameters answer that manuals of serial adapters print, from memory.
    assert crc_j1850(b"123456789") == 0x4B
    assert crc_j1850(bytes.fromhex("48 6B 10 41 00 BE 3E B8 11")) == 0xFA
    assert sum_of_bytes(bytes.fromhex("48 6B 10 41 0D 5A")) == 0x6B  # by hand: 0x16B


@pytest.mark.parametrize("protocol_id", WHOLE)
def test_a_whole_line_is_a_frame(protocol_id: str) -> None:
    assert kind(WHOLE[protocol_id], protocol_id) == "frame"
    assert kind(WHOLE[protocol_id].replace(" ", ""), protocol_id) == "frame"


@pytest.mark.parametrize("protocol_id", ["2", "3", "4", "5"])
@given(place=st.integers(0, 6), bit=st.integers(0, 7))
def test_one_flipped_bit_never_passes_where_lines_are_checked(protocol_id: str, place: int, bit: int) -> None:
    data = bytearray.fromhex(WHOLE[protocol_id])
    data[place] ^= 1 << bit
    assert kind(" ".join(f"{byte:02X}" for byte in data), protocol_id) == "damaged"


@pytest.mark.parametrize("protocol_id", WHOLE)
@given(data=st.data())
def test_a_line_that_lost_one_or_two_characters_never_passes(protocol_id: str, data: st.DataObject) -> None:
    line = WHOLE[protocol_id]
    lost = data.draw(st.sets(st.sampled_from([i for i, c in enumerate(line) if c != " "]), min_size=1, max_size=2))
    torn = "".join(c for i, c in enumerate(line) if i not in lost)
    found = sorted_lines([torn], protocol_id, headers=True)[0]
    assert found.kind != "frame"


def test_a_byte_that_acknowledges_a_frame_is_left_out() -> None:
    frame = bytes.fromhex("41 6B 10 41 0D 5A")
    text = (frame + bytes([crc_j1850(frame), 0x10])).hex().upper()
    (line,) = sorted_lines([text], "1", headers=True)
    assert (line.kind, line.digits) == ("frame", text[:-2])


@pytest.mark.parametrize(
    "text",
    ["NO DATA", "SEARCHING...", "BUS INIT: ...OK", "BUS INIT: ...ERROR", "UNABLE TO CONNECT", "STOPPED", "?", "OK"],
)
def test_what_adapters_say_is_text(text: str) -> None:
    assert kind(text, "3") == "text"


def test_an_answer_behind_the_words_of_a_search_counts() -> None:
    (line,) = sorted_lines(["SEARCHING...7E8 03 41 0D 5A"], "6", headers=True)
    assert (line.kind, line.digits) == ("frame", "7E803410D5A")


@pytest.mark.parametrize("text", ["serial adapter v1.4", "LV RESET"])
def test_a_banner_shows_a_restart(text: str) -> None:
    assert kind(text, "6") == "banner"


def test_flips_and_losses_are_told_apart() -> None:
    lines = sorted_lines(["7E8 03 4q 0D 5A", "7E8 03 4 0D 5A", "7E8 03 41 0D 5A"], "6", headers=True)
    assert [flipped(line) for line in lines] == [True, False, False]


def test_addresses_of_engines() -> None:
    # SAE J2178-1 and ISO 15765-4, from memory: engines at 10 to 17, the first unit at 7E8.
    assert engine_address("3", 0x10)
    assert engine_address("7", 0x11)
    assert not engine_address("7", 0x18)
    assert engine_address("6", 0)
    assert not engine_address("6", 1)
