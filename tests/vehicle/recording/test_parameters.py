"""Decoders of the recorded parameters against the standard's formulas and python-obd's decoders."""

from __future__ import annotations

import obd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from obd.protocols.protocol import Message
from recording_support import FORMULAS

from vehicle.recording.parameters import PARAMETERS, PidParameter, decode


def test_every_parameter_has_its_formula_here() -> None:
    assert {p.column: (p.pid, p.size) for p in PARAMETERS} == {name: f[:2] for name, f in FORMULAS.items()}


@pytest.mark.parametrize("parameter", PARAMETERS, ids=lambda p: p.column)
def test_decoder_follows_the_standard_over_its_whole_range(parameter: PidParameter) -> None:
    _, size, formula = FORMULAS[parameter.column]
    for raw in range(0, 256**size, 1 if size == 1 else 7):
        answer = bytes([0x41, parameter.pid]) + raw.to_bytes(size, "big")
        assert decode(parameter, answer) == pytest.approx(formula(raw), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("parameter", [p for p in PARAMETERS if p.pid < 0x60], ids=lambda p: p.column)
def test_decoder_agrees_with_python_obd(parameter: PidParameter) -> None:
    theirs = obd.commands[1][parameter.pid]
    tolerance = 6e-4 if parameter.pid == 0x44 else 1e-9  # python-obd rounds 2/65536 to 0.0000305
    for raw in range(0, 256**parameter.size, 1 if parameter.size == 1 else 251):
        answer = bytes([0x41, parameter.pid]) + raw.to_bytes(parameter.size, "big")
        message = Message([])
        message.data, message.ecu = bytearray(answer), obd.ECU.ENGINE
        assert decode(parameter, answer) == pytest.approx(theirs([message]).value.magnitude, rel=tolerance, abs=1e-9)


@given(st.binary(max_size=8), st.sampled_from(PARAMETERS))
def test_only_a_whole_answer_to_this_question_is_a_value(answer: bytes, parameter: PidParameter) -> None:
    whole = len(answer) >= 2 + parameter.size and answer[:2] == bytes([0x41, parameter.pid])
    assert (decode(parameter, answer) is not None) == whole


@given(st.sampled_from(PARAMETERS), st.binary(min_size=2, max_size=2), st.integers(0, 3))
def test_a_truncated_answer_is_never_zero(parameter: PidParameter, data: bytes, kept: int) -> None:
    answer = (bytes([0x41, parameter.pid]) + data[: parameter.size])[: min(kept, 1 + parameter.size)]
    assert decode(parameter, answer) is None
