"""The pitch system: force that its actuator must give, over its travel, by term, and over rotor speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from energy.pictures.base import BLACK, BLUE, COLOURS, GREEN, GREY, ORANGE, Picture, escaped
from energy.words import pitch_system as words
from vehicle.units import UnitSystem, label, show, to_user

if TYPE_CHECKING:
    from energy.strength.pitch_system import PitchSystem

_PITCH = "pitch, °"
_AIR, _SPEED, _TERM, _SHOWN = "air at the rotor", "rotor speed", "term", "taken"
_DASHES = ([1, 0], [6, 3], [2, 2])


def pitch_system_pictures(pitch_system: PitchSystem, system: UnitSystem) -> tuple[Picture, Picture, Picture]:
    """Return the force over the travel, its terms at the fastest rotor speed, and its maximum over rotor speed."""
    return _over_travel(pitch_system, system), _terms(pitch_system, system), _over_speed(pitch_system, system)


def _over_travel(pitch_system: PitchSystem, system: UnitSystem) -> Picture:
    """Return the force over the travel: colour by rotor speed, dashed by air speed, the rating as a rule."""
    import altair as alt
    import pandas as pd

    force = f"force at the actuator, {label('force', system)}"
    frame: Any = pd.concat(
        [
            pd.DataFrame(
                {
                    _SPEED: show(line.rotor_speed_rad_s, "rotor_speed", system),
                    _AIR: show(line.air_speed_m_s, "speed", system),
                    _PITCH: line.travel.pitch_deg,
                    force: line.force_n * to_user(1.0, "force", system),
                }
            )
            for line in pitch_system.lines
        ],
        ignore_index=True,
    )
    speeds, airs = (list(dict.fromkeys(frame[name])) for name in (_SPEED, _AIR))
    colours = COLOURS[: len(speeds)]
    lines = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5)
        .encode(
            x=alt.X(f"{_PITCH}:Q", title=words.TRAVEL_AXIS, scale=alt.Scale(nice=False)),
            y=alt.Y(f"{escaped(force)}:Q", title=force, scale=alt.Scale(zero=True)),
            color=alt.Color(
                f"{_SPEED}:N", sort=speeds, scale=alt.Scale(domain=speeds, range=list(colours)), legend=_legend()
            ),
            strokeDash=alt.StrokeDash(
                f"{_AIR}:N",
                sort=airs,
                scale=alt.Scale(domain=airs, range=list(_DASHES[: len(airs)])),
                legend=_legend(columns=1),
            ),
            tooltip=[_SPEED, _AIR, alt.Tooltip(f"{_PITCH}:Q", format=".3~g"), _number(force)],
        )
    )
    # Words at each line's top: four colours are not apart for every eye.
    tops = frame.loc[frame[frame[_AIR] == airs[-1]].groupby(_SPEED)[force].idxmax()]
    names = alt.Chart(tops).mark_text(dy=-8, fontSize=13, color=BLACK)
    at = {"x": alt.X(f"{_PITCH}:Q"), "y": alt.Y(f"{escaped(force)}:Q"), "text": alt.Text(f"{_SPEED}:N")}
    layers = [lines, names.encode(**at), *_rating(pitch_system, system)]
    title = words.travel_finding(pitch_system, system)
    return Picture("pitch_force", title, alt.layer(*layers).properties(height=320), frame)


def _terms(pitch_system: PitchSystem, system: UnitSystem) -> Picture:
    """Return what each term puts on the actuator over the travel, at the fastest rotor speed in the worst air."""
    import altair as alt
    import pandas as pd

    line = pitch_system.lines[-1]
    travel = line.travel
    unit = label("force", system)
    force = f"force, {unit} (+ towards feather)"
    values = {
        words.CENTRIFUGAL: travel.centrifugal_n_m * travel.per_moment,
        words.AIR: travel.aerodynamic_n_m * travel.per_moment,
        words.FRICTION: abs(travel.friction_n),
    }
    frame: Any = pd.concat(
        [
            pd.DataFrame({_TERM: n, _PITCH: travel.pitch_deg, force: v * to_user(1.0, "force", system)})
            for n, v in values.items()
        ],
        ignore_index=True,
    )
    names = list(values)
    lines = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5)
        .encode(
            x=alt.X(f"{_PITCH}:Q", title=words.TRAVEL_AXIS, scale=alt.Scale(nice=False)),
            y=alt.Y(f"{escaped(force)}:Q", title=force),
            color=alt.Color(
                f"{_TERM}:N", sort=names, scale=alt.Scale(domain=names, range=[BLUE, ORANGE, GREEN]), legend=_legend()
            ),
            strokeDash=alt.StrokeDash(
                f"{_TERM}:N", sort=names, scale=alt.Scale(domain=names, range=list(_DASHES)), legend=None
            ),
            tooltip=[_TERM, alt.Tooltip(f"{_PITCH}:Q", format=".3~g"), _number(force)],
        )
    )
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=GREY).encode(y="zero:Q")
    return Picture(
        "pitch_terms", words.terms_finding(pitch_system, system), alt.layer(zero, lines).properties(height=260), frame
    )


def _over_speed(pitch_system: PitchSystem, system: UnitSystem) -> Picture:
    """Return the maximum over the travel by rotor speed, stated and with every range at its unfavourable end."""
    import altair as alt
    import pandas as pd

    unit = label("force", system)
    rpm, force = f"rotor speed, {label('rotor_speed', system)}", f"maximum over the travel, {unit}"
    stated = [
        {
            rpm: to_user(row.rotor_speed_rad_s, "rotor_speed", system),
            _SHOWN: f"{show(row.air_speed_m_s, 'speed', system)}, stated values",
            force: to_user(row.force_n, "force", system),
            "at pitch, °": row.pitch_deg,
        }
        for row in pitch_system.rows
    ]
    worst = [
        {rpm: to_user(s, "rotor_speed", system), _SHOWN: words.WORST_LINE, force: to_user(f, "force", system)}
        for s, f in zip(pitch_system.speeds_rad_s.tolist(), pitch_system.worst_n.tolist(), strict=True)
    ]
    frame = pd.DataFrame([*stated, *worst])
    names = list(dict.fromkeys(frame[_SHOWN]))
    colours = [*(BLUE, ORANGE)[: len(names) - 1], BLACK]
    lines = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5, point={"opacity": 0, "size": 60})
        .encode(
            x=alt.X(f"{escaped(rpm)}:Q", title=rpm, scale=alt.Scale(zero=True, nice=False)),
            y=alt.Y(f"{escaped(force)}:Q", title=force, scale=alt.Scale(zero=True)),
            color=alt.Color(
                f"{_SHOWN}:N", sort=names, scale=alt.Scale(domain=names, range=colours), legend=_legend(columns=1)
            ),
            strokeDash=alt.StrokeDash(
                f"{_SHOWN}:N",
                sort=names,
                scale=alt.Scale(domain=names, range=[[6, 3], [2, 2], [1, 0]][-len(names) :]),
                legend=None,
            ),
            tooltip=[_SHOWN, _number(rpm), _number(force), alt.Tooltip("at pitch, °:Q", format=".3~g")],
        )
    )
    layers = [lines, *_rating(pitch_system, system)]
    if math.isfinite(pitch_system.stalls_from_rad_s):
        at = pd.DataFrame({"stalls": [to_user(pitch_system.stalls_from_rad_s, "rotor_speed", system)]})
        rule = alt.Chart(at).mark_rule(color=ORANGE, strokeWidth=2)
        layers.append(rule.encode(x="stalls:Q", tooltip=[alt.Tooltip("stalls:Q", title="stalls from", format=".3~g")]))
    return Picture(
        "pitch_speed", words.speed_finding(pitch_system, system), alt.layer(*layers).properties(height=300), frame
    )


def _legend(columns: int = 2) -> Any:
    import altair as alt

    return alt.Legend(
        orient="top",
        labelFontSize=13,
        columns=columns,
        symbolStrokeWidth=3,
        symbolType="stroke",
        title=None,
        labelLimit=320,
    )


def _number(name: str) -> Any:
    import altair as alt

    return alt.Tooltip(f"{escaped(name)}:Q", title=name, format=".3~g")


def _rating(pitch_system: PitchSystem, system: UnitSystem) -> list[Any]:
    """Return the actuator's rating as a rule with its name; nothing where none is stated."""
    import altair as alt
    import pandas as pd

    if pitch_system.rating_n is None:
        return []
    value = to_user(pitch_system.rating_n, "force", system)
    at = alt.Chart(pd.DataFrame({"rating": [value], "text": [words.RATING]}))
    return [
        at.mark_rule(color=BLACK, strokeDash=[6, 4], strokeWidth=2).encode(
            y="rating:Q", tooltip=[alt.Tooltip("rating:Q", title=words.RATING, format=".3~g")]
        ),
        at.mark_text(align="left", dx=4, dy=10, x=0, color=BLACK, fontSize=13).encode(y="rating:Q", text="text:N"),
    ]
