"""The pitch system: force that its actuator must give, over rotor speed, against its rating."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.pictures.base import BLACK, BLUE, ORANGE, Picture
from energy.words import pitch_system as words
from vehicle.units import UnitSystem, label, show, to_user

if TYPE_CHECKING:
    from energy.strength.pitch_system import PitchSystem


def pitch_system_picture(pitch_system: PitchSystem, system: UnitSystem) -> Picture:
    """Return the maximum force over the travel by rotor speed, a line an air speed; dashed the rating where stated."""
    import altair as alt
    import pandas as pd

    force = label("force", system)
    rows = [
        {
            "rotor speed, rpm": to_user(row.rotor_speed_rad_s, "rotor_speed", system),
            "air at the rotor": show(row.air_speed_m_s, "speed", system),
            f"force, {force}": to_user(row.force_n, "force", system),
            "at pitch, °": row.pitch_deg,
        }
        for row in pitch_system.rows
    ]
    frame = pd.DataFrame(rows)
    names = list(dict.fromkeys(frame["air at the rotor"]))
    across = alt.X("rotor speed, rpm:Q", scale=alt.Scale(zero=True))
    lines = (
        alt.Chart(frame)
        .mark_line(point=True, strokeWidth=2)
        .encode(
            x=across,
            y=alt.Y(f"force, {force}:Q", title=f"force at the actuator, {force}", scale=alt.Scale(zero=True)),
            color=alt.Color(
                "air at the rotor:N",
                scale=alt.Scale(domain=names, range=[BLUE, ORANGE][: len(names)]),
                legend=alt.Legend(orient="top", labelFontSize=13),
            ),
            tooltip=["rotor speed, rpm:Q", "air at the rotor:N", f"force, {force}:Q", "at pitch, °:Q"],
        )
    )
    layers: list[Any] = [lines]
    if pitch_system.rating_n is not None:
        rating = pd.DataFrame({"rating": [to_user(pitch_system.rating_n, "force", system)]})
        rule = alt.Chart(rating).mark_rule(color=BLACK, strokeDash=[6, 4], strokeWidth=2)
        layers.append(rule.encode(y="rating:Q", tooltip=[alt.Tooltip("rating:Q", title=f"rating, {force}")]))
    title = " ".join(words.headlines(pitch_system, system))
    return Picture("pitch_system", title, alt.layer(*layers).properties(height=320), frame)
