"""Names, units and ranges of log columns against python-obd, the reference library for SAE J1979 parameters."""

from __future__ import annotations

import math

import pytest

obd = pytest.importorskip("obd")

from obd.protocols import ECU  # noqa: E402
from obd.protocols.protocol import Message  # noqa: E402

from vehicle.logs.columns import BY_NAME, match_header, unit_factor  # noqa: E402

# python-obd's name, data bytes, and the value by the formula of SAE J1979 in the usual unit
SAMPLES = [
    ("SPEED", [0x5A], 90),
    ("RPM", [0x1A, 0xF8], (256 * 0x1A + 0xF8) / 4),
    ("ENGINE_LOAD", [0x80], 0x80 * 100 / 255),
    ("ABSOLUTE_LOAD", [0x00, 0x80], 0x80 * 100 / 255),
    ("MAF", [0x05, 0x00], 0x500 / 100),
    ("INTAKE_PRESSURE", [0x21], 33),
    ("INTAKE_TEMP", [0x40], 24),
    ("COOLANT_TEMP", [0x7B], 83),
    ("AMBIANT_AIR_TEMP", [0x3C], 20),
    ("BAROMETRIC_PRESSURE", [0x64], 100),
    ("SHORT_FUEL_TRIM_1", [0x85], (0x85 - 128) * 100 / 128),
    ("LONG_FUEL_TRIM_1", [0x70], (0x70 - 128) * 100 / 128),
    ("SHORT_FUEL_TRIM_2", [0x85], (0x85 - 128) * 100 / 128),
    ("LONG_FUEL_TRIM_2", [0x70], (0x70 - 128) * 100 / 128),
    ("COMMANDED_EQUIV_RATIO", [0x73, 0x33], 0x7333 * 2 / 65536),
    ("FUEL_RATE", [0x00, 0x54], 0x54 / 20),
    ("THROTTLE_POS", [0x30], 0x30 * 100 / 255),
    ("RELATIVE_THROTTLE_POS", [0x30], 0x30 * 100 / 255),
    ("RUN_TIME", [0x02, 0x10], 0x210),
    ("CONTROL_MODULE_VOLTAGE", [0x36, 0x10], 0x3610 / 1000),
    ("FUEL_LEVEL", [0x80], 0x80 * 100 / 255),
    ("ACCELERATOR_POS_D", [0x30], 0x30 * 100 / 255),
]


@pytest.mark.parametrize(("name", "data", "formula"), SAMPLES)
def test_column_of_each_command(name, data, formula):
    command = obd.commands[name]
    message = Message([])
    message.ecu = ECU.ENGINE
    message.data = bytearray([0x41, int(command.command[2:4], 16), *data])
    value = command.decode([message])
    assert float(value.magnitude) == pytest.approx(formula, rel=0.01)
    column = match_header(name)
    assert column.use == "used", name
    parameter = BY_NAME[column.parameter]
    # our usual unit and the unit that python-obd decodes to are the same quantity in SI
    factor, offset = unit_factor(parameter.kind, column.unit)
    ours = float(value.magnitude) * factor + offset
    assert parameter.low <= ours <= parameter.high
    written = match_header(f"{name.replace('AMBIANT', 'AMBIENT')} ({value.units})")
    assert written.use == "used", value.units
    again, shift = unit_factor(parameter.kind, written.unit)
    assert math.isclose(again, factor, rel_tol=1e-9)
    assert math.isclose(shift, offset, abs_tol=1e-9)


@pytest.mark.parametrize("name", [command.name for command in obd.commands[1] if command is not None])
def test_no_other_command_is_taken_for_one_of_ours(name):
    wanted = {sample[0] for sample in SAMPLES} | {"RELATIVE_ACCEL_POS"}
    column = match_header(name)
    if name not in wanted:
        assert column.use != "used", (name, column.parameter)
