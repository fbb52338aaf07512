"""Which setting of a stepped drive was best, and which to try next: sentences, rows and data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from energy.words.cautions import of_the_file
from energy.words.result_model import ends_data
from energy.words.verdict import FirstLines, danger_lines, limit_sentence
from vehicle.units import UnitSystem, figures, show

if TYPE_CHECKING:
    from energy.diagnosis.tuning import SettingResult, Tuned
    from energy.scenario.read import Scenario


ROWS_TITLE = "Settings (power coefficient: watts of the load over the wind's own, steady stretches only)"


CAUTIONS = (
    "The passenger steps and logs, the driver drives. Never change a setting by hand on a turning rotor.",
    "More watts are more drag, thrust and rotor speed: look at windtoll answer and windtoll loads with the new "
    "setting.",
)


def cautions_of(scenario: Scenario) -> list[str]:
    """Return what could hurt someone or break, after what is odd or unusual about the scenario's values."""
    return [*of_the_file(scenario), *CAUTIONS]


LEVEL = 0.95  # of the intervals


def as_data(tuned: Tuned, scenario: Scenario) -> dict[str, Any]:
    """Return what every setting gave as data for `--json`."""
    from energy.words.tune_model import SteppedData, TuneData

    first = first_lines(tuned, "metric")
    return TuneData(
        safe=False if first.dangers else None,
        dangers=list(first.dangers),
        warnings=list(first.warnings),
        headline=first.headline,
        may_be_operated=first.operate,
        kind=tuned.kind,
        best=ends_data((tuned.low, tuned.best, tuned.high), LEVEL),
        next=tuned.next,
        settings=[
            SteppedData(
                setting=one.setting,
                power_coefficient=ends_data((one.low, one.power_coefficient, one.high), LEVEL),
                peak_w=one.peak_w,
                mean_w=one.mean_w,
                energy_wh=one.energy_j / 3600,
                seconds=one.seconds,
                visits=one.visits,
                stretches=one.stretches,
            )
            for one in tuned.settings
        ],
        no_difference_between=[list(pair) for pair in tuned.alike],
        any_difference_seen=tuned.best_is_known,
        at_edge=tuned.at_edge,
        by_readings=tuned.by_readings,
        lag_s=tuned.lag_s,
        too_short=list(tuned.skipped),
        cautions=cautions_of(scenario),
    ).model_dump()


def setting_words(kind: str, value: float) -> str:
    """Return a setting as people say it: "4.0°", "9.5 Ω", "2.5"."""
    text = f"{value:.1f}" if kind == "pitch" else f"{value:.3g}"
    return f"{text}{'°' if kind == 'pitch' else ' Ω' if kind == 'resistance' else ''}".replace("-", "−")


def first_lines(tuned: Tuned, system: UnitSystem) -> FirstLines:
    """Return the first lines: which limits the drive or its best setting breaks, the best setting, the next to try."""
    limits = tuned.limits
    logged = () if limits is None else limits.logged
    best = () if limits is None else limits.best
    dangers = danger_lines(logged, logged, system)
    if best and not logged:
        dangers = danger_lines(best, best, system, "At the best setting, in the fastest air of this drive: ")
    beyond = () if limits is None or tuned.next == tuned.best else limits.next
    headline, more = headlines(tuned)
    name = setting_words(tuned.kind, tuned.next)
    warned = tuple(
        f"Do not try {name} in the fastest air of this drive: {limit_sentence(one, system)}" for one in beyond
    )
    return FirstLines(
        dangers=dangers, warnings=warned, headline=headline, lines=(more,), operate="no" if dangers else "not checked"
    )


def headlines(tuned: Tuned) -> list[str]:
    """Return the answer in two sentences."""

    def shown(value: float) -> str:
        return setting_words(tuned.kind, value)

    if not tuned.best_is_known:
        first = (
            f"No difference can be seen between any of these settings; the best {tuned.kind} lies anywhere from "
            f"{shown(tuned.low)} to {shown(tuned.high)}."
        )
    else:
        ends = f"({shown(tuned.low)} to {shown(tuned.high)}, 95 % interval)"
        first = f"Best {tuned.kind}, as judged in the same wind: {shown(tuned.best)} {ends}."
        if tuned.at_edge:
            first += " It may lie beyond the settings that were tried."
    where = (
        "beyond what was tried, as the best may lie there"
        if tuned.next_beyond
        else "a reading there would narrow the answer most"
    )
    return [first, f"To be surer, measure at {shown(tuned.next)} next: {where}."]


def notes_of(tuned: Tuned, system: UnitSystem) -> list[str]:
    """Return what a builder should know of these numbers."""

    def shown(value: float) -> str:
        return setting_words(tuned.kind, value)

    said = []
    if tuned.by_readings:
        count = sum(one.stretches for one in tuned.settings)
        said.append(
            f"Wide, from {count} single readings: each is its watts over the wind's power at that moment, and a number "
            "read off in gusts is taken as good to 5 % at best (common practice). More readings, or a log of half a "
            "minute a setting, narrow it."
        )
    if tuned.best_is_known:
        said += [f"No difference can be seen between {shown(a)} and {shown(b)}." for a, b in tuned.alike]
    peak: SettingResult = max(tuned.settings, key=lambda one: one.peak_w)
    top: SettingResult = max(tuned.settings, key=lambda one: one.power_coefficient)
    said.append(
        f"The highest peak, {show(peak.peak_w, 'power', system)} at {shown(peak.setting)}, was a gust: it says "
        f"nothing of the "
        f"setting. The mean there was {show(peak.mean_w, 'power', system)}"
        + ("." if peak is top else f", and {shown(top.setting)} made more of the same wind.")
    )
    if tuned.inertia_used:
        said.append(
            "What the turning rotor stores and gives back is taken off, by its logged speed and the blades' masses."
        )
    elif tuned.lag_s > 0:
        said.append(f"The watts follow the wind by about {figures(tuned.lag_s, 2)} s; that lag is allowed for.")
    if not tuned.wind_is_known:
        said.append(
            "The wind was not logged: its gusts count as scatter, and a wind that turned counts as a setting. Log air "
            "speed, or "
            "drive both ways."
        )
    if tuned.visits_vary:
        said.append(
            "Each setting was held once: a slow change of wind or road would look like a setting. Go through them "
            "again in "
            "another order."
        )
    if tuned.skipped:
        said.append(
            f"Too short to judge: {', '.join(shown(v) for v in tuned.skipped)}. Hold each half a minute or more."
        )
    return said


def setting_headings(tuned: Tuned) -> list[str]:
    """Return the headings of the table of settings, with a line break where a narrow column wants one."""
    return [tuned.kind, "power\ncoefficient", "held", "stretches", "mean", "energy", "peak"]


def setting_rows(tuned: Tuned, system: UnitSystem) -> list[list[str]]:
    """Return what every setting gave as texts under `setting_headings`."""
    return [
        [
            setting_words(tuned.kind, one.setting),
            f"{one.power_coefficient:.4f} ± {0.5 * (one.high - one.low):.4f}",
            f"{one.seconds:.0f} s",
            f"{one.stretches} in {one.visits}",
            show(one.mean_w, "power", system),
            f"{one.energy_j / 3600:.1f} Wh",
            show(one.peak_w, "power", system),
        ]
        for one in tuned.settings
    ]
