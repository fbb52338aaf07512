"""Road load coefficients from coast-downs: lines and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vehicle.units import UnitSystem, convert, figures, show, to_user

if TYPE_CHECKING:
    from vehicle.driving.coastdown import CoastDown
    from vehicle.quantity import Estimate


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


# Units of A, B and C as coast-down sheets of the place have them.
_COEFFICIENT_UNITS = {
    "metric": ("N", "N/(m/s)", "N/(m/s)^2"),
    "us": ("lbf", "lbf/mph", "lbf/mph^2"),
    "uk": ("N", "N/mph", "N/mph^2"),
}


def in_words(fit: CoastDown, system: UnitSystem = "metric") -> list[str]:
    """Return the fit as lines."""
    from vehicle.driving.coastdown import ROTATING_WORDS

    percent = f"{100 * fit.level:.0f} %"
    assumed = any(run.assumed for run in fit.used)
    lines = []
    if fit.unusable:
        lines.append(f"Do not use these coefficients: {fit.unusable}. Look at brakes, gear, wind and road of the runs.")
    lines += [f"  {remark}" for remark in fit.remarks]
    mass = show(fit.mass_kg, "mass", system)
    lines += [f"Road load from {fit.runs} coast-downs ({fit.pairs} pairs), mass {mass}, {percent} intervals:"]
    for name, unit, coefficient in _coefficients(fit, system):
        value, low, high = (figures(end, 4) for end in (coefficient.estimate, *coefficient.ends))
        lines.append(f"  {name.upper()} = {value:>9} {unit:<10} ({low} to {high})")
    lines.append("  force at speed:")
    for v, force in zip(fit.speeds_m_s, fit.force_n, strict=True):
        ends = (figures(to_user(end, "force", system), 3) for end in force.ends)
        speed, pull = f"{show(v, 'speed', system):>9}", f"{show(force.estimate, 'force', system):>9}"
        lines.append(f"    {speed}  {pull}  ({' to '.join(ends)})")
    lines.append(
        f"  wind along the road {show(abs(fit.head_wind_m_s), 'speed', system, digits=2)}, grade "
        f"{figures(100 * fit.grade, 2)} %: both taken out, by runs "
        f"{'that slow differently every second time' if assumed else 'in both directions'}"
    )
    lines.append(f"  the fit misses the logged speeds by {show(fit.residual_m_s, 'speed', system, digits=2)}")
    lines += [f"  mind: {text}" for text in fit.warnings]
    return [*lines, f"  mind: {ROTATING_WORDS}"]


def _coefficients(fit: CoastDown, system: UnitSystem) -> list[tuple[str, str, Estimate]]:
    """Return a, b and c: name, unit, and the coefficient in that unit."""
    units = _COEFFICIENT_UNITS[system]
    fitted = (fit.a_n, fit.b_n_s_m, fit.c_n_s2_m2)
    return [
        (name, unit, coefficient.times(convert(1.0, si, unit)))
        for name, unit, si, coefficient in zip("abc", units, _COEFFICIENT_UNITS["metric"], fitted, strict=True)
    ]


def for_the_scenario(fit: CoastDown, system: UnitSystem = "metric") -> list[str]:
    """Return the lines to write into a scenario, never to be broken; none of a fit that is not to be used."""
    if fit.unusable:
        return []
    lines = [f"For the scenario (± at {100 * fit.level:.0f} %):", "  [vehicle]"]
    for name, unit, coefficient in _coefficients(fit, system):
        low, high = coefficient.ends
        half = (high - low) / 2
        lines.append(
            f'  coastdown_{name} = {{ value = "{coefficient.estimate:.4g} {unit}", plus_minus = "{half:.2g} {unit}" }}'
        )
    return lines
