"""A first capacity once more by draws of our own, and the sentences it is read from up to their limits."""

from __future__ import annotations

import numpy as np
import pytest

from energy.heat.two_readings import FirstCapacity, Spell, first_capacity, read_spell, scenario_lines
from vehicle.problems import InputError
from vehicle.quantity import Estimate

COUNT = 60_000


def by_hand(spells: list[Spell], ambient_k: float | None) -> list[list[float]]:
    """Return the ends and middles of capacity and loss.

    A thermometer read aloud ± 1.5 K, watts ± 3 % ("about": 10 %), the clock ± 4 % ("about": 8 %), the air around ± 1 K
    (standard deviations); a time constant of 20 min to 20 h where none was read; what lags behind the thermometer a
    tenth, less as e^(−t/20 min): common practice, no source.
    """
    rng = np.random.default_rng(77)
    around = (spells[0].first_k if ambient_k is None else ambient_k) + rng.normal(size=COUNT)
    constant = np.exp(rng.uniform(np.log(1200), np.log(72_000), COUNT))
    logs: dict[bool, list[np.ndarray]] = {True: [], False: []}
    for warm in (False, True):
        for spell in spells:
            if (spell.power_w > 0) != warm:
                continue
            one = spell.first_k + rng.normal(0, 1.5, COUNT) - around
            two = spell.last_k + rng.normal(0, 1.5, COUNT) - around
            time = spell.time_s * np.exp(rng.normal(0, 0.08 if spell.about else 0.04, COUNT))
            if not warm:
                with np.errstate(invalid="ignore", divide="ignore"):
                    found = -time / np.log(two / one)
                logs[False].append(np.log(np.where((found > 0) & (two > 0), found, np.nan)))
                continue
            if logs[False]:
                constant = np.exp(sum(logs[False]) / len(logs[False]))
            watts = spell.power_w * np.exp(rng.normal(0, 0.10 if spell.about else 0.03, COUNT))
            # T2 = Ta + P/G + (T1 − Ta − P/G) e^(−t/tau), solved for G
            kept = np.exp(-time / constant)
            loss = watts * (1 - kept) / (two - one * kept)
            behind = 1 + 0.1 * np.abs(rng.normal(size=COUNT)) * np.exp(-spell.time_s / 1200)
            logs[True].append(np.log(loss * constant * behind))
    capacity = np.exp(sum(logs[True]) / len(logs[True]))
    good = np.isfinite(capacity) & np.isfinite(constant)
    return [np.quantile(x[good], [0.025, 0.5, 0.975]).tolist() for x in (capacity, capacity / constant)]


WARM = Spell(293.0, 353.0, 1500.0, 1500.0, False)


@pytest.mark.parametrize(
    ("spells", "ambient"),
    [
        ([WARM], None),
        ([Spell(293.0, 353.0, 300.0, 1500.0, False)], None),  # quick: much behind the thermometer
        ([Spell(293.0, 303.0, 60.0, 1500.0, False)], None),  # a small rise: the thermometer
        ([Spell(293.0, 493.0, 1200.0, 1500.0, True)], None),  # "about": watts and clock
        ([Spell(293.0, 493.0, 1200.0, 1500.0, False)], 290.0),
        ([WARM, Spell(353.0, 323.0, 2000.0, 0.0, False)], 291.0),
        ([WARM, Spell(353.0, 300.0, 6000.0, 0.0, False)], 291.0),  # near the air around
        ([WARM, Spell(300.0, 353.0, 1300.0, 1500.0, True), Spell(353.0, 323.0, 2000.0, 0.0, True)], 293.0),
        ([WARM, Spell(353.0, 323.0, 2000.0, 0.0, False), Spell(340.0, 310.0, 2600.0, 0.0, False)], 291.0),
    ],
)
def test_intervals_by_draws_of_our_own(spells: list[Spell], ambient: float | None) -> None:
    found = first_capacity(spells, ambient)
    for name, (low, middle, high) in zip(("heat_capacity_j_k", "loss_w_k"), by_hand(spells, ambient), strict=True):
        estimate = getattr(found, name)
        if name == "loss_w_k" and len(spells) == 1:
            assert estimate is None
            continue
        # 20 000 draws know an end to about a fiftieth of a standard deviation
        near = 0.04 * (high - low) / 2
        assert [estimate.low, estimate.high] == pytest.approx([low, high], abs=near), name
        assert estimate.estimate == pytest.approx(middle, abs=near / 2)
        assert estimate.level == 0.95
    quick = min(spell.time_s for spell in spells if spell.power_w > 0) < 600
    assert [text.split(":")[0] for text in found.remarks] == (
        ["What leaked meanwhile is not known"] * (len(spells) == 1) + ["A quick warm-up"] * quick
    )


@pytest.mark.parametrize(("time_s", "quick"), [(599.0, True), (600.0, False)])
def test_ten_minutes_are_no_quick_warm_up(time_s: float, quick: bool) -> None:
    remarks = first_capacity([Spell(293.0, 353.0, time_s, 1500.0, False)]).remarks
    assert any("quick" in text for text in remarks) == quick


def test_readings_that_contradict_each_other() -> None:
    # cooled to below the air around: hardly a draw has a time constant
    with pytest.raises(InputError, match="contradict"):
        first_capacity([WARM, Spell(353.0, 285.0, 2000.0, 0.0, False)], 295.0)
    # Warmer with the power off: what would fall towards the air around has no time constant.
    with pytest.raises(InputError, match="contradict"):
        first_capacity([Spell(293.0, 353.0, 100.0, 1500.0, False), Spell(310.0, 353.0, 6000.0, 0.0, False)], 291.0)
    # Colder than the air around and colder still, at ever less pace: it does not go towards that air either.
    with pytest.raises(InputError, match="contradict"):
        first_capacity([WARM, Spell(270.0, 283.0, 2000.0, 0.0, False)], 295.0)


@pytest.mark.parametrize(
    ("text", "spell"),
    [
        ("20 degC to 22 degC in 5 minutes at 1 kW", Spell(293.15, 295.15, 300.0, 1000.0, False)),
        ("22 degC to 20 degC in 5 minutes with the power off", Spell(295.15, 293.15, 300.0, 0.0, False)),
        ("22 degC to 20 degC in 5 minutes, power off", Spell(295.15, 293.15, 300.0, 0.0, False)),
        ("22 degC to 20 degC in 5 minutes off", Spell(295.15, 293.15, 300.0, 0.0, False)),
        ("-10 to +20 c within about 2 h at 500 W", Spell(263.15, 293.15, 7200.0, 500.0, True)),
        ("32 °F to 212 °F after ~ 90 min at around 1.5 kW", Spell(273.15, 373.15, 5400.0, 1500.0, True)),
        ("0 to 20 degC in about 10 min at 500 W", Spell(273.15, 293.15, 600.0, 500.0, True)),
        ("0 degC to 20 degC in 10 min with roughly 500 W", Spell(273.15, 293.15, 600.0, 500.0, True)),
        ("0 to 20 degC in ~10 min at 500 W", Spell(273.15, 293.15, 600.0, 500.0, True)),
        ("0 degC to 20 degC in 10 min at ~500 W", Spell(273.15, 293.15, 600.0, 500.0, True)),
    ],
)
def test_sentences_as_they_are_said(text: str, spell: Spell) -> None:
    found = read_spell(text)
    got = [getattr(found, name) for name in ("first_k", "last_k", "time_s", "power_w")]
    assert got == pytest.approx([spell.first_k, spell.last_k, spell.time_s, spell.power_w])
    assert found.about == spell.about


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("20 degC to 21.9 degC in 5 minutes at 1 kW", "a rise of 1.9 K under power"),
        ("21.9 degC to 20 degC in 5 minutes with the power off", "a fall of 1.9 K with the power off"),
        ("20 degC to 60 degC in 0 minutes at 1 kW", "no time between the readings"),
        ("20 degC to 60 degC in 5 kg at 1 kW", "accepted"),
        ("20 degC to 60 degC", "accepted"),
    ],
)
def test_sentences_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read_spell(text)
    assert said in str(caught.value)


def test_the_table_of_a_first_value_line_by_line() -> None:
    both = FirstCapacity(Estimate(12_345.0, 10e3, 15e3, 0.95), Estimate(5.0, 4.0, 6.5, 0.95), ())
    lines = scenario_lines(both).splitlines()
    assert lines[1:] == [
        "[load]",
        'heat_capacity = {value = "12.35 kJ/K", low = "10 kJ/K", high = "15 kJ/K"}',
        'loss = {value = "5 W/K", low = "4 W/K", high = "6.5 W/K"}',
    ]
    alone = FirstCapacity(both.heat_capacity_j_k, None, ())
    assert scenario_lines(alone).splitlines() == lines[:3]
