"""The energy flow from fuel and wind to heat: a stream that runs downwards, each loss leaving it to the right.

Widths are to scale, in pixels, along the whole stream. All numbers are rows of the ledger.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from energy.chain.answer import Answered
from energy.pictures.base import BLACK, BLUE, GREEN, GREY, ORANGE, Picture
from vehicle.units import UnitSystem, figures, show

_WIDTH, _WIDEST, _LEFT, _RADIUS, _GAP, _LINE = 350.0, 110.0, 8.0, 5.0, 7.0, 15.0
_NOTHING_W = 0.5
_STEP = 20.0  # of the height, so that little changes do not make another chart
_WEIGHTS: tuple[Literal["bold", "normal"], ...] = ("bold", "normal")
_HEAT = "heat into the load"
_FUEL_WORDS = {"fuel": "fuel power", "battery pack": "pack power"}
_LESS = {"brakes": "braking"}


@dataclass(frozen=True)
class Flow:
    """Watts of one stream, all positive: into and out of the vehicle, into and out of the turbine; the heat."""

    into_vehicle: tuple[tuple[str, float], ...]
    lost_by_vehicle: tuple[tuple[str, float], ...]
    rotor_drag: float
    into_rotor: tuple[tuple[str, float], ...]
    lost_by_turbine: tuple[tuple[str, float], ...]
    heat: float


def flow_of(answered: Answered, *, difference: bool) -> Flow:
    """Return the stream of the trip with the turbine working or, with `difference`, of what working adds to it.

    In a difference, a loss that grows smaller is an inflow ("less of ..."). The parts of the electrical loss are one.
    """
    outcome = answered.answer
    rows = {(account, name): float(watts) for account, name, watts in outcome.ledger}
    if difference:
        for account, name, watts in outcome.without.rows:
            rows[account, name] = rows.get((account, name), 0.0) - float(watts)
    road = [(name, watts) for (account, name), watts in rows.items() if account in ("road", "alternator")]
    drag = rows.get(("road", "rotor drag"), 0.0)
    source = {"fuel", "battery pack"}

    def inflow(name: str) -> str:
        if name in source:
            return f"more {_FUEL_WORDS[name]}" if difference else _FUEL_WORDS[name]
        words = {"grade": "descent", "acceleration": "slowing down"}.get(name, name)
        if not difference:
            return words
        return "heat no longer made by the alternator" if name == _HEAT else f"less {_LESS.get(name, words)}"

    others = [(name, watts) for name, watts in road if name != "rotor drag"]
    into = [(inflow(name), watts) for name, watts in others if watts > _NOTHING_W]
    lost = [(f"{name} spared" if name in source else name, -watts) for name, watts in others if watts < -_NOTHING_W]
    wind = rows.get(("rotor", "wind"), 0.0)
    wake = -rows.get(("rotor", "wake and blade loss"), 0.0)
    shaft = rows.get(("electrical", "shaft"), 0.0)
    heat = -rows.get(("electrical", _HEAT), 0.0)
    turbine = [("wind", wind), ("wake and blade loss", -wake), ("belt, generator, wiring", heat - shaft)]
    turbine_in = [(name if name == "wind" else f"less {name}", watts) for name, watts in turbine if watts > _NOTHING_W]
    names = {"wind": "given to the wind"}
    turbine_out = [(names.get(name, name), -watts) for name, watts in turbine if watts < -_NOTHING_W]
    if drag > _NOTHING_W:  # a tail wind pushes the rotor, and the rotor the vehicle; or a working rotor drags less
        into.append(("less rotor drag" if difference else "push on the rotor", drag))
        turbine_out.insert(0, ("less rotor drag" if difference else "push on the vehicle", drag))
    return Flow(
        tuple(into),
        tuple(lost),
        max(-drag, 0.0),
        tuple(turbine_in),
        tuple(turbine_out),
        max(heat, 0.0),
    )


def flow_title(answered: Answered, flow: Flow, system: UnitSystem, *, difference: bool) -> str:
    """Return what the diagram shows, as a sentence."""
    heat, load = show(flow.heat, "power", system), answered.scenario.heater.what
    entering = [*flow.into_vehicle, *flow.into_rotor]
    if not entering:
        return f"{'Nothing more is paid' if difference else 'Nothing is paid'}, and {heat} goes into {load}"
    sources = [
        f"{show(watts, 'power', system)} {'' if name.startswith(('more ', 'less ')) else 'of '}{name}"
        for name, watts in entering
    ]
    share = 100 * flow.heat / sum(watts for _, watts in entering)
    words = sources[0] if len(sources) == 1 else f"{', '.join(sources[:-1])} and {sources[-1]}"
    return f"Of {words}, {heat} ({figures(share, 2)} %) arrives in {load}"


def flow_picture(answered: Answered, system: UnitSystem, *, difference: bool = True) -> Picture:
    """Return the energy-flow diagram, 350 pixels wide, and its numbers."""
    import pandas as pd

    flow = flow_of(answered, difference=difference)
    shapes, texts, height = _drawn(flow, answered.scenario.heater.what, system)
    polygons = pd.DataFrame(
        [
            {"x": x, "y": y, "order": k, "shape": number, "flow": name, "power": power, "colour": colour}
            for number, (name, power, colour, points) in enumerate(shapes)
            for k, (x, y) in enumerate(points)
        ],
        columns=["x", "y", "order", "shape", "flow", "power", "colour"],
    )
    labels = pd.DataFrame(texts, columns=["x", "y", "text", "weight"])
    numbers: dict[str, pd.DataFrame] = {"areas": polygons}
    numbers |= {weight: labels[labels["weight"] == weight] for weight in _WEIGHTS}
    return Picture(
        "energy_flow_change" if difference else "energy_flow",
        flow_title(answered, flow, system, difference=difference),
        _FlowForm(height),
        _numbers(flow),
        fixed_width=True,
        numbers=numbers,
    )


@dataclass(frozen=True)
class _FlowForm:
    """How the flow is drawn: areas, and words in two weights; `height` is that of the whole, in pixels."""

    height: float

    def __call__(self, numbers: Mapping[str, Any], /) -> Any:
        import altair as alt

        x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=[0, _WIDTH], nice=False, zero=False))
        y = alt.Y("y:Q", axis=None, scale=alt.Scale(domain=[self.height, 0], nice=False, zero=False))
        areas = (
            alt.Chart(numbers["areas"])
            .mark_line(filled=True, strokeWidth=0, interpolate="linear")
            .encode(
                x=x,
                y=y,
                order=alt.Order("order:Q"),
                detail=alt.Detail("shape:N"),
                color=alt.Color("colour:N", scale=None),
                tooltip=[alt.Tooltip("flow:N"), alt.Tooltip("power:N")],
            )
        )
        layers: list[Any] = [areas]
        for weight in _WEIGHTS:
            text = alt.Chart(numbers[weight]).mark_text(
                align="left", baseline="middle", fontSize=13, fontWeight=weight, color=BLACK, limit=_WIDTH
            )
            layers.append(text.encode(x=x, y=y, text=alt.Text("text:N")))
        return alt.layer(*layers).properties(width=_WIDTH, height=self.height).configure_view(stroke=None)


def _numbers(flow: Flow) -> Any:
    import pandas as pd

    parts = [("into the vehicle", flow.into_vehicle), ("lost by the vehicle", flow.lost_by_vehicle)]
    parts += [("from vehicle to rotor", (("rotor drag", flow.rotor_drag),)), ("into the rotor", flow.into_rotor)]
    parts += [("lost by the turbine", flow.lost_by_turbine), ("arrives", ((_HEAT, flow.heat),))]
    rows = [(where, name, watts) for where, entries in parts for name, watts in entries]
    return pd.DataFrame(rows, columns=["where", "flow", "power, W"])


_Shape = tuple[str, str, str, list[tuple[float, float]]]
_Text = tuple[float, float, str, str]


@dataclass
class _Sheet:
    """What is drawn so far: polygons and texts, in pixels from the top left. `end` is where losses end."""

    scale: float
    end: float
    system: UnitSystem
    shapes: list[_Shape]
    texts: list[_Text]

    def say(self, name: str, watts: float) -> str:
        return f"{name} {self.watts(watts)}"

    def watts(self, watts: float) -> str:
        return show(watts, "power", self.system)

    def entering(self, parts: tuple[tuple[str, float], ...], left: float, y: float) -> float:
        """Write what enters from above, a line each; return where it goes on."""
        for name, watts in parts:
            self.texts.append((left, y + _LINE / 2, f"↓ {self.say(name, watts)}", "bold"))
            y += _LINE
        return y + 3

    def stream(
        self, losses: tuple[tuple[str, float], ...], left: float, y: float, width: float, colour: str
    ) -> tuple[float, float]:
        """Draw a stream from `y` down with its losses leaving to the right; return where and how wide it goes on."""
        self.shapes.append(("stream", "", colour, _box(left, y, width, y + 8)))
        y += 8
        for name, watts in losses:
            thick = watts * self.scale
            drawn = max(thick, 1.0)
            self.shapes.append((name, self.say("", watts).strip(), GREY, _leaving(left + width, y, drawn, self.end)))
            width -= thick
            step = max(thick, _LINE) + _GAP
            self.texts.append((self.end + 8, y + _RADIUS + drawn / 2, self.say(name, watts), "normal"))
            self.shapes.append(("stream", "", colour, _box(left, y, max(width, 0.0), y + step)))
            y += step
        return y, width


def _drawn(flow: Flow, load: str, system: UnitSystem) -> tuple[list[_Shape], list[_Text], float]:
    """Return polygons, texts and the height of the drawing, in pixels from the top left."""
    vehicle = sum(w for _, w in flow.into_vehicle)
    turbine = flow.rotor_drag + sum(w for _, w in flow.into_rotor)
    scale = _WIDEST / max(vehicle, turbine, 1e-9)
    wind = sum(w for _, w in flow.into_rotor) * scale
    joins = wind > 0 and flow.rotor_drag > _NOTHING_W
    left = _LEFT + (wind + 55.0 if joins else 0.0)
    sheet = _Sheet(scale, left + _WIDEST + 3 * _RADIUS + 8.0, system, [], [])
    y = 0.0
    if vehicle > _NOTHING_W:
        y = sheet.entering(flow.into_vehicle, left, y)
        y, _ = sheet.stream(flow.lost_by_vehicle, left, y, vehicle * scale, ORANGE)
    if turbine > _NOTHING_W:
        y = _turbine_drawn(sheet, flow, load, left, y)
    return sheet.shapes, sheet.texts, float(_STEP * np.ceil((y + 6) / _STEP))


def _turbine_drawn(sheet: _Sheet, flow: Flow, load: str, left: float, y: float) -> float:
    """Draw the turbine's part of the stream from `y` down; return where it ends."""
    wind = sum(w for _, w in flow.into_rotor) * sheet.scale
    width, joins = 0.0, wind > 0 and flow.rotor_drag > _NOTHING_W
    if flow.rotor_drag > _NOTHING_W:
        width, start = flow.rotor_drag * sheet.scale, y
        y += 12 if not joins else max(wind, _LINE) + 22
        sheet.shapes.append(("rotor drag", sheet.watts(flow.rotor_drag), ORANGE, _box(left, start, width, y)))
        sheet.texts.append((left + width + 8, y - 6, sheet.say("rotor drag", flow.rotor_drag), "bold"))
    else:
        y = sheet.entering(flow.into_rotor, left, y)
    if joins:
        name, watts = flow.into_rotor[0]
        sheet.shapes.append((name, sheet.watts(watts), GREEN, _joining(left, y, wind)))
        sheet.texts.append((0.0, y - wind - _RADIUS - 9, sheet.say(name, watts), "bold"))
    left -= wind if joins else 0.0
    y, _ = sheet.stream(flow.lost_by_turbine, left, y, width + wind, BLUE)
    if flow.heat > _NOTHING_W:
        heat, name = max(flow.heat * sheet.scale, 1.5), f"heat into {load}"
        sheet.shapes.append((name, sheet.watts(flow.heat), BLUE, _arrow(left, y, heat)))
        y += 24 + heat / 2
        sheet.texts.append((_LEFT, y + _LINE / 2, sheet.say(name, flow.heat), "bold"))
        y += _LINE
    return y


def _box(left: float, top: float, width: float, bottom: float) -> list[tuple[float, float]]:
    bottom += 0.6  # no hairline between two boxes
    return [(left, top), (left + width, top), (left + width, bottom), (left, bottom), (left, top)]


def _arc(cx: float, cy: float, radius: float, start_deg: float, stop_deg: float) -> list[tuple[float, float]]:
    angles = np.radians(np.linspace(start_deg, stop_deg, 13))
    return [(float(cx + radius * np.cos(a)), float(cy + radius * np.sin(a))) for a in angles]


def _leaving(right: float, top: float, thick: float, end: float) -> list[tuple[float, float]]:
    """Return a band that leaves the right edge of a stream and turns to the right, ending in a point."""
    centre = right + _RADIUS
    inner = _arc(centre, top, _RADIUS, 180, 90)
    outer = _arc(centre, top, _RADIUS + thick, 90, 180)
    upper, lower = top + _RADIUS, top + _RADIUS + thick
    tip = [(end - 5, upper), (end, (upper + lower) / 2), (end - 5, lower)]
    return [*inner, *tip, *outer, inner[0]]


def _joining(left: float, bottom: float, thick: float) -> list[tuple[float, float]]:
    """Return a band that comes from the left edge of the drawing and turns down beside a stream."""
    centre = left - thick - _RADIUS
    outer = _arc(centre, bottom, _RADIUS + thick, -90, 0)
    inner = _arc(centre, bottom, _RADIUS, 0, -90)
    top = bottom - _RADIUS - thick
    return [(0.0, top), *outer, *inner, (0.0, bottom - _RADIUS), (0.0, top)]


def _arrow(left: float, top: float, width: float) -> list[tuple[float, float]]:
    head = max(width / 2, 5.0)
    middle = left + width / 2
    neck = top + 16
    return [
        (left, top),
        (left + width, top),
        (left + width, neck),
        (middle + head, neck),
        (middle, neck + head),
        (middle - head, neck),
        (left, neck),
        (left, top),
    ]
