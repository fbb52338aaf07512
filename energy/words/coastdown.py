"""Road load coefficients from coast-downs: lines and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vehicle.driving.coastdown import CoastDown


def as_data(fit: CoastDown) -> dict[str, Any]:
    """Return the fit for `--json`."""
    from energy.words.coastdown_model import CoastDownData, CoastRunData, ForceData
    from energy.words.result_model import estimate_data

    return CoastDownData(
        coastdown_a_n=estimate_data(fit.a_n),
        coastdown_b_n_s_m=estimate_data(fit.b_n_s_m),
        coastdown_c_n_s2_m2=estimate_data(fit.c_n_s2_m2),
        level=fit.level,
        force=[
            ForceData(speed_km_h=v * 3.6, **vars(force)) for v, force in zip(fit.speeds_m_s, fit.force_n, strict=True)
        ],
        head_wind_m_s=fit.head_wind_m_s,
        grade_percent=100 * fit.grade,
        residual_km_h=fit.residual_m_s * 3.6,
        runs=[
            CoastRunData(
                name=run.name,
                direction="+" if run.direction > 0 else "-",
                seconds=run.time_s[-1],
                from_km_h=run.speed_m_s[0] * 3.6,
                to_km_h=run.speed_m_s[-1] * 3.6,
            )
            for run in fit.used
        ],
        pairs=fit.pairs,
        remarks=list(fit.remarks),
        unusable=fit.unusable,
        directions_assumed=any(run.assumed for run in fit.used),
        warnings=list(fit.warnings),
    ).model_dump()


def in_words(fit: CoastDown) -> list[str]:
    """Return the fit as lines, with what to write into the scenario."""
    from vehicle.driving.coastdown import ROTATING_WORDS

    percent = f"{100 * fit.level:.0f} %"
    assumed = any(run.assumed for run in fit.used)
    lines = []
    if fit.unusable:
        lines.append(f"Do not use these coefficients: {fit.unusable}. Look at brakes, gear, wind and road of the runs.")
    lines += [f"  {remark}" for remark in fit.remarks]
    lines += [f"Road load from {fit.runs} coast-downs ({fit.pairs} pairs), mass {fit.mass_kg:.0f} kg:"]
    for name, unit, coefficient in (
        ("A", "N", fit.a_n),
        ("B", "N/(m/s)", fit.b_n_s_m),
        ("C", "N/(m/s)^2", fit.c_n_s2_m2),
    ):
        lines.append(
            f"  {name} = {coefficient.estimate:9.4g} {unit:<10} "
            f"({coefficient.low:.4g} … {coefficient.high:.4g}, {percent})"
        )
    lines.append("  force at speed:")
    for v, force in zip(fit.speeds_m_s, fit.force_n, strict=True):
        lines.append(f"    {v * 3.6:5.0f} km/h  {force.estimate:7.1f} N  ({force.low:.1f} … {force.high:.1f})")
    lines.append(
        f"  wind along the road {abs(fit.head_wind_m_s):.2f} m/s, grade {100 * fit.grade:.3f} %: both taken out, by "
        f"runs {'that slow differently every second time' if assumed else 'in both directions'}"
    )
    lines.append(f"  the fit leaves {fit.residual_m_s * 3.6:.2f} km/h of the speeds")
    lines += [f"  mind: {text}" for text in fit.warnings]
    if not fit.unusable:
        lines += _for_scenario(fit, percent)
    return [*lines, "", f"  {ROTATING_WORDS}"]


def _for_scenario(fit: CoastDown, percent: str) -> list[str]:
    """Return the lines to write into a scenario."""
    lines = ["", f"For the scenario (± {percent}):", "  [vehicle]"]
    for key, unit, coefficient in (
        ("a", "N", fit.a_n),
        ("b", "N/(m/s)", fit.b_n_s_m),
        ("c", "N/(m/s)^2", fit.c_n_s2_m2),
    ):
        low, high = coefficient.ends
        half = (high - low) / 2
        lines.append(
            f'  coastdown_{key} = {{ value = "{coefficient.estimate:.4g} {unit}", plus_minus = "{half:.2g} {unit}" }}'
        )
    return lines
