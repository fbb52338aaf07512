"""The electrical side in words: ratings to ask for, dump load, short-circuit braking, and the order of connecting."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.strength.electrical_side import (
    CAPACITOR_FACTOR,
    DIODE_CURRENT_FACTOR,
    DIODE_VOLTAGE_FACTOR,
    FUSE_FACTOR,
    ElectricalSide,
    bridge_diodes,
    shown_places,
)
from energy.words.said import Said, SaidTable
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.strength.electrical_side import Braking
    from energy.words.loads_model import BrakingData

CAUTIONS = (
    "These volts can kill: at most 50 V AC or 120 V smooth DC count as extra-low voltage. Wiring by a licensed "
    "electrician; local codes come first.",
    "A thermostat, fuse or plug that opens IS a load cut: the rotor runs away within seconds unless a dump load or a "
    "brake takes over by itself.",
    "Parts rated for AC may not break DC: an arc stays. Ask for the DC rating at these volts.",
    "Short-circuit braking is never the only brake: it may not hold at speed, it heats winding and leads. Try it at "
    "low speed first.",
)
ORDER = (
    "Connect: rotor stopped and tied; element and earth first, then leads, then fuse, switch open; the generator last. "
    "Untie, let it turn slowly, close the switch below a fifth of the working speed.",
    "Disconnect: feather or brake first, wait for standstill, tie the blades, measure no volts between all terminals, "
    "then open. Never pull a plug on a turning rotor.",
    "Discharge capacitors through a resistor and measure before touching.",
)


def said(side: ElectricalSide, system: UnitSystem) -> Said:
    """Return the answer in words and rows."""
    danger = (
        f"Dangerous voltage: up to {_volts(side.open_rms_v)} "
        f"{'DC' if side.connection == 'direct_current' else 'AC rms between two wires'} without load at "
        f"{show(side.fastest_rad_s, 'rotor_speed', system)}."
        if side.dangerous
        else f"Within extra-low voltage: {_volts(side.open_rms_v)} without load at "
        f"{show(side.fastest_rad_s, 'rotor_speed', system)}."
    )
    return Said(
        [danger, _brake_words(side, system)],
        [
            SaidTable("What to ask for when buying", ("part", "what it sees", "ask for"), _ratings(side, system), 3),
            SaidTable(
                "Short circuit at the generator's terminals",
                ("rotor speed", "brake", "rotor, working", "rotor, worst air", "current", "winding heat"),
                _braking_rows(side, system),
            ),
        ],
        [("Notes", _notes(side, system)), ("Order of connecting", ORDER), ("Cautions", CAUTIONS)],
    )


def _volts(value: float) -> str:
    return f"{figures(value, 3)} V"


def _ampere(value: float) -> str:
    return f"{figures(value, 3)} A"


def _kind(side: ElectricalSide) -> str:
    return "AC" if side.connection == "three_phase" else "DC"


def _ratings(side: ElectricalSide, system: UnitSystem) -> list[tuple[str, str, str]]:
    kind, volts = _kind(side), side.open_rms_v if side.connection == "three_phase" else side.open_dc_v
    rows = [
        (
            f"fuse, {kind}",
            f"{_ampere(side.working_a)} working, {_ampere(side.highest_a)} at the fastest",
            f"{_ampere(side.fuse_a)} or the next above, rated {kind} {_volts(volts)}",
        ),
        (f"switch, thermostat contact, {kind}", f"the same, {_volts(volts)} when it opens", f"{kind} rated for both"),
    ]
    if side.connection == "rectifier":
        reverse, mean = bridge_diodes(side)
        rows.append(
            (
                "each diode of the bridge",
                f"{_volts(reverse)} reverse, {_ampere(mean)} mean; bridge heat "
                f"{show(side.rectifier_w, 'power', system)}",
                f"{_volts(DIODE_VOLTAGE_FACTOR * reverse)}, bridge {_ampere(DIODE_CURRENT_FACTOR * side.highest_a)} "
                "on a heat sink",
            )
        )
    if side.connection != "three_phase":
        asked = _volts(CAPACITOR_FACTOR * side.open_dc_v)
        rows.append(("capacitor, if any, DC", f"{_volts(side.open_dc_v)} without load", asked))
    rows.append(
        (
            "dump load",
            f"{show(side.dump_w, 'power', system)} working, {show(side.dump_worst_w, 'power', system)} in the worst "
            "air",
            f"{figures(side.element_ohm, 3)} Ω (as the element), {show(side.dump_worst_w, 'power', system)} "
            "continuously, closed before the element opens",
        )
    )
    return rows


def _brake_words(side: ElectricalSide, system: UnitSystem) -> str:
    brake = side.braking
    working, worst = brake.fails_from_rad_s(brake.rotor_n_m), brake.fails_from_rad_s(brake.worst_rotor_n_m)
    if math.isfinite(working):
        return (
            f"Short circuit is no brake from {show(working, 'rotor_speed', system)} upwards: there the rotor of the "
            "operating point is stronger."
        )
    if math.isfinite(worst):
        return (
            f"Short circuit slows the rotor of the operating point; in the worst air it fails from "
            f"{show(worst, 'rotor_speed', system)} upwards."
        )
    creeps = brake.creeps_at_rad_s(brake.worst_rotor_n_m)
    down_to = f" down to {show(creeps, 'rotor_speed', system)} in the worst air" if creeps > 0 else ""
    return f"By calculation the short circuit slows the rotor{down_to}; it is still not the only brake."


def _braking_rows(side: ElectricalSide, system: UnitSystem) -> list[tuple[str, ...]]:
    b = side.braking
    return [
        (
            show(float(b.rotor_speed_rad_s[k]), "rotor_speed", system),
            *(show(float(v[k]), "torque", system) for v in (b.torque_n_m, b.rotor_n_m, b.worst_rotor_n_m)),
            _ampere(float(b.current_a[k])),
            show(float(b.winding_w[k]), "power", system),
        )
        for k in shown_places(b)
    ]


def _notes(side: ElectricalSide, system: UnitSystem) -> list[str]:
    notes = [
        f"Fuse and switch: {FUSE_FACTOR:g} times the current; diodes: {DIODE_VOLTAGE_FACTOR:g} times the volts and "
        f"{DIODE_CURRENT_FACTOR:g} times the current; capacitor: {CAPACITOR_FACTOR:g} times the volts (common "
        "practice).",
        f"The brake is at its maximum at {show(side.braking.peak_at_rad_s, 'rotor_speed', system)}; above it the "
        "winding's inductance weakens it. Every range stands at its weak end for the torque, at its strong "
        "one for current and heat.",
        "Magnets and winding take this heat for seconds, not minutes: stop by feather or friction brake.",
    ]
    creeps = side.braking.creeps_at_rad_s(side.braking.rotor_n_m)
    if math.isfinite(creeps):
        notes.append(
            f"A shorted rotor does not stand still: it keeps turning at some {show(creeps, 'rotor_speed', system)} in "
            "the air of the operating point. Tie the blades before you come near."
        )
    if not side.fuse_opens_on_short:
        notes.insert(
            0,
            f"A short circuit gives only {_ampere(side.short_circuit_a)}: under twice the fuse, which may never blow. "
            "Insulate and route the leads as if there were none.",
        )
    return notes


def as_data(side: ElectricalSide) -> dict[str, Any]:
    """Return the electrical side as data for `--json` (SI)."""
    from energy.words.loads_model import DiodeData, DumpLoadData, ElectricalSideData

    reverse, mean = bridge_diodes(side)
    return ElectricalSideData(
        connection=side.connection,
        dangerous_voltage=side.dangerous,
        rotor_speed_rad_s=side.fastest_rad_s,
        open_circuit_rms_v=side.open_rms_v,
        open_circuit_peak_v=side.open_peak_v,
        working_a=side.working_a,
        highest_a=side.highest_a,
        short_circuit_a=side.short_circuit_a,
        fuse_a=side.fuse_a,
        fuse_opens_on_short_circuit=side.fuse_opens_on_short,
        diode=DiodeData(reverse_v=reverse, mean_a=mean) if side.connection == "rectifier" else None,
        dump_load=DumpLoadData(resistance_ohm=side.element_ohm, working_w=side.dump_w, worst_w=side.dump_worst_w),
        braking=_braking_data(side.braking),
        order=list(ORDER),
        cautions=list(CAUTIONS),
    ).model_dump()


def _braking_data(brake: Braking) -> BrakingData:
    from energy.words.loads_model import BrakingData

    keep = shown_places(brake)
    return BrakingData(
        rotor_speed_rad_s=brake.rotor_speed_rad_s[keep].tolist(),
        brake_n_m=brake.torque_n_m[keep].tolist(),
        rotor_n_m=brake.rotor_n_m[keep].tolist(),
        worst_rotor_n_m=brake.worst_rotor_n_m[keep].tolist(),
        current_a=brake.current_a[keep].tolist(),
        winding_w=brake.winding_w[keep].tolist(),
        fails_from_rad_s=brake.fails_from_rad_s(brake.rotor_n_m),
        fails_in_worst_air_from_rad_s=brake.fails_from_rad_s(brake.worst_rotor_n_m),
        creeps_at_rad_s=brake.creeps_at_rad_s(brake.rotor_n_m),
        creeps_in_worst_air_at_rad_s=brake.creeps_at_rad_s(brake.worst_rotor_n_m),
    )
