"""Published checks recomputed: figures from what is measured, on data small enough for scalar arithmetic."""

from __future__ import annotations

import dataclasses
import itertools
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from energy.aero.blade import CurveSettings, PitchConvention, Root, blade_curves, read_blade
from energy.aero.polar import read_polars
from energy.chain import certified, evidence
from energy.chain.certified import CertifiedFuel, within_families
from energy.scenario.demos import published_folder
from vehicle.driving.engine import Engine, TorqueCurve, drive
from vehicle.driving.fuels import FUELS
from vehicle.quantity import Estimate

# Certified vehicles

MILE_M, POUND_KG, POUND_FORCE_N = 1609.344, 0.45359237, 4.4482216152605
SCHEDULE = "time_s,speed_mph\n0,0\n5,0\n9,18\n15,18\n22,46\n40,46\n46,38\n52,38\n60,0\n66,0\n"


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first petrol and the first diesel car of the lists, on a minute of driving."""
    folder = tmp_path_factory.mktemp("published")
    table = pd.read_csv(published_folder() / "certified_fuel" / "vehicles.csv")
    chosen = pd.concat([table[table.fuel == fuel].head(1) for fuel in ("petrol", "diesel")])
    (folder / "certified_fuel").mkdir()
    chosen.to_csv(folder / "certified_fuel" / "vehicles.csv", index=False)
    (folder / "drive_cycles").mkdir()
    for name in ("highway.csv", "udds.csv"):
        (folder / "drive_cycles" / name).write_text(SCHEDULE, encoding="utf-8")
    return folder


# Defaults of the engine's keys: indicated efficiency, friction mean pressure (Pa).
DEFAULTS = {"petrol": (0.40, 145e3, 100.0), "diesel": (0.46, 155e3, 150.0)}


def engine_by_hand(row: Any) -> Engine:
    table = certified.default_engine(row.fuel, 1e-3, np.array([1.0]))  # what does not depend on the vehicle
    efficiency, friction, torque = DEFAULTS[row.fuel]
    assert table.indicated_efficiency == pytest.approx(efficiency)
    top = MILE_M / 3600 / (row.engine_rpm_per_mph_top_gear * math.pi / 30)
    first = {4: 4.0, 5: 4.6, 6: 5.6, 7: 6.4, 8: 7.0}.get(int(row.gears), 7.6)
    count = int(row.gears)
    gears = [top / first ** ((count - 1 - k) / (count - 1)) for k in range(count)]
    return dataclasses.replace(
        table,
        displacement_m3=row.displacement_l * 1e-3,
        friction_mean_pressure_pa=friction,
        torque_curve=TorqueCurve(np.array([0.0]), np.array([torque * row.displacement_l])),
        travel_per_radian_m=np.array(gears),
    )


@pytest.mark.parametrize("test", ["highway", "city"])
def test_fuel_of_certified_vehicles_second_by_second(few: Path, test: str) -> None:
    """Road load A + B v + C v², inertia with what turns, the engine's fuel; it idles through the stops."""
    shares: list[float] = []
    found = certified.predicted(few, shares.append, test=test)
    assert shares == [0.0]
    times = [tuple(map(float, line.split(","))) for line in SCHEDULE.splitlines()[1:]]
    for k, row in enumerate(found.table.itertuples(index=False)):
        engine = engine_by_hand(row)
        fuel = work = distance = 0.0
        a, b, c = (
            POUND_FORCE_N * each / (MILE_M / 3600) ** power
            for power, each in enumerate(
                (row.coastdown_a_lbf, row.coastdown_b_lbf_per_mph, row.coastdown_c_lbf_per_mph2)
            )
        )
        mass = row.equivalent_test_weight_lb * POUND_KG
        for (t0, v0), (t1, v1) in itertools.pairwise(times):
            seconds, speed = t1 - t0, (v0 + v1) / 2 * MILE_M / 3600
            acceleration = (v1 - v0) * MILE_M / 3600 / seconds
            wheel = (a + b * speed + c * speed**2 + 1.03 * mass * acceleration) * speed if speed else 0.0
            running = dataclasses.replace(engine, runs_when_parked=True)
            supply = drive(running, wheel, speed)
            fuel += float(supply.source_w) * seconds
            work += wheel * seconds * (speed > 0 and float(supply.source_w) > 0)
            distance += speed * seconds
        assert found.predicted_j_m[k] == pytest.approx(fuel / distance, rel=1e-9)
        assert found.wheel_work_j_m[k] == pytest.approx(work / distance, rel=1e-9)
        burnt = FUELS[row.fuel]
        grams = getattr(row, f"{test}_co2_g_per_mile")
        measured = grams / 1000 / MILE_M / burnt.co2_kg_per_m3 * burnt.heating_value_j_per_m3
        assert found.measured_j_m[k] == pytest.approx(measured)
        assert found.error[k] == pytest.approx(found.predicted_j_m[k] / measured - 1)
    assert found.of("diesel").tolist() == [False, True]


def huber_slope(groups: list[list[tuple[float, float]]]) -> float:
    """Slope with an effect for each group, weights min(1, 1.345 s / |r|), s = 1.4826 · median of |r| (Huber 1981)."""
    weights = [[1.0] * len(group) for group in groups]
    slope = math.nan
    for _ in range(60):
        top = bottom = 0.0
        centred = []
        for group, weight in zip(groups, weights, strict=True):
            total = sum(weight)
            x_mean = sum(w * x for w, (x, _) in zip(weight, group, strict=True)) / total
            y_mean = sum(w * y for w, (_, y) in zip(weight, group, strict=True)) / total
            centred.append([(x - x_mean, y - y_mean) for x, y in group])
            top += sum(w * (x - x_mean) * (y - y_mean) for w, (x, y) in zip(weight, group, strict=True))
            bottom += sum(w * (x - x_mean) ** 2 for w, (x, _) in zip(weight, group, strict=True))
        slope = top / bottom
        residuals = [[abs(y - slope * x) for x, y in group] for group in centred]
        scale = 1.4826 * float(np.median([r for group in residuals for r in group if r > 1e-9]))
        weights = [[min(1.0, 1.345 * scale / r) if r > 0 else 1.0 for r in group] for group in residuals]
    return slope


def family_table() -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """Five families with levels of their own, a slope of 0.8, scatter and two outliers; some rows that do not count."""
    rng = np.random.default_rng(8)
    rows, x, y = [], [], []

    def add(size: float, explaining: float, measured: float, **changes: Any) -> None:
        row = dict.fromkeys(certified.DISTINCT, 0.0) | {"displacement_l": size, "transmission": "manual", "gears": 6}
        row |= {"fuel": "petrol", "rated_power_hp": 100, "engine_rpm_per_mph_top_gear": 30.0, "coastdown_a_lbf": 30.0}
        rows.append(row | {"highway_co2_g_per_mile": measured, "coastdown_c_lbf_per_mph2": explaining} | changes)
        x.append(explaining)
        y.append(measured)

    for family in range(5):
        for k in range(4 + family):
            explaining = 1000 + 200 * family + rng.uniform(0, 300)
            add(
                1.0 + family,
                explaining,
                400 * family + 0.8 * explaining + rng.normal(0, 8) + 250 * (k == 2 and family < 2),
            )
    counted = len(rows)
    for family in range(3):  # the same car in another year
        add(1.0 + family, x[family], y[family])
        rows[-1] = dict(rows[family])
        x[-1], y[-1] = x[family], y[family]
    add(1.0, 9000.0, 5.0, fuel="diesel")
    add(1.0, 9000.0, 5.0, coastdown_a_lbf=100.1)  # slips of the lists
    add(1.0, 9000.0, 5.0, engine_rpm_per_mph_top_gear=40.0, gears=7)
    add(77.0, 1500.0, 0.0)
    add(77.0, 1501.9, 9000.0)  # a family in which next to nothing changes
    assert counted == 30
    return pd.DataFrame(rows), np.array(x), np.array(y)


def test_what_changes_within_families() -> None:
    table, x, y = family_table()
    found = within_families(CertifiedFuel(table, y, x, x), "petrol", x)
    groups: dict[float, list[tuple[float, float]]] = {}
    for k in range(30):
        groups.setdefault(float(table.displacement_l[k]), []).append((float(x[k]), float(y[k])))
    assert found == pytest.approx(huber_slope(list(groups.values())), rel=1e-9)
    assert found == pytest.approx(0.8, abs=0.05)


def test_rows_that_are_slips_do_not_count() -> None:
    table, x, y = family_table()
    plain = within_families(CertifiedFuel(table, y, x, x), "petrol", x)
    at = int(np.flatnonzero(table.coastdown_a_lbf == 100.1)[0])
    for edge, counts in ((100.0, True), (100.1, False)):
        moved = table.copy()
        moved["coastdown_a_lbf"] = 30.0
        moved.loc[at, "coastdown_a_lbf"] = edge
        assert (within_families(CertifiedFuel(moved, y, x, x), "petrol", x) != pytest.approx(plain)) == counts
    at = int(np.flatnonzero(table.engine_rpm_per_mph_top_gear == 40.0)[0])
    for rpm, gears, counts in ((39.9, 7, True), (40.0, 7, False), (40.0, 8, False), (40.0, 6, True)):
        moved = table.copy()
        family = moved.displacement_l == 1.0
        moved.loc[family, ["engine_rpm_per_mph_top_gear", "gears"]] = (rpm, gears)
        slope = within_families(CertifiedFuel(moved, y, x, x), "petrol", x)
        without = within_families(CertifiedFuel(moved[~family], y[~family], x[~family], x), "petrol", x[~family])
        assert (slope != pytest.approx(without)) == counts
    assert at > 0


# Evidence


def test_the_rotor_in_the_tunnel_wind_by_wind() -> None:
    folder = published_folder()
    found = evidence._rotor(folder)
    data = folder / "two_blade_rotor"
    means = pd.read_csv(data / "measured_means.csv", comment="#")
    blade = read_blade(data / "blade_geometry.csv", 2, Root(aerofoil_start_m=1.2575, diameter_m=0.218))
    winds = found.x[: len(means)]
    assert found.x.tolist() == np.tile(winds, 4).tolist()
    assert found.group.tolist() == [
        name
        for name in ("shaft power", "thrust", "shaft power, polar at Re 300 000", "shaft power, polar at Re 650 000")
        for _ in winds
    ]
    for k, polars_of in ((0, (1000,)), (1, (1000, 300, 650))):
        row = means.iloc[k]
        wind = float(row.wind_speed_m_s)
        ratio = float(row.rpm) * math.pi / 30 * blade.tip_radius_m / wind
        force = 0.5 * float(row.air_density_kg_m3) * math.pi * blade.tip_radius_m**2 * wind**2
        for place, thousands in zip((0, 2, 3), polars_of, strict=False):
            polars = read_polars(data / f"polar_s809_re{thousands}k.csv", 1e3 * thousands)
            settings = CurveSettings(convention=PitchConvention(measured_at=1.0))
            curves = blade_curves(blade, polars, np.array([ratio]), np.array([3.0]), settings)
            power = float(curves.power_coefficient[0, 0]) * force * wind / (1e3 * float(row.shaft_power_kw)) - 1
            assert found.y[place * len(winds) + k] == pytest.approx(power, rel=1e-6)
            if thousands == 1000:
                thrust = float(curves.thrust_coefficient[0, 0]) * force / float(row.thrust_estimate_n) - 1
                assert found.y[len(winds) + k] == pytest.approx(thrust, rel=1e-6)
    for place, speed in enumerate(winds.tolist()):
        each = found.y.reshape(4, -1)[:, place]
        assert found.figures[f"power_error_at_{speed:g}_m_s"] == each[0]
        assert found.figures[f"thrust_error_at_{speed:g}_m_s"] == each[1]
        assert found.figures[f"lowest_power_error_at_{speed:g}_m_s_with_other_polars"] == min(each[2:])
        assert found.figures[f"highest_power_error_at_{speed:g}_m_s_with_other_polars"] == max(each[2:])


def test_figures_of_certified_vehicles(monkeypatch: pytest.MonkeyPatch) -> None:
    table = pd.DataFrame({"fuel": ["petrol"] * 5 + ["diesel"] * 3})
    measured = np.full(8, 100.0)
    predicted = np.array([90.0, 95.0, 100.0, 114.9, 120.0, 84.9, 100.0, 130.0])
    made = CertifiedFuel(table, measured, predicted, np.full(8, 30.0))
    monkeypatch.setattr(evidence, "predicted", lambda folder, progress: made)
    seen: list[tuple[str, float]] = []

    def slope(vehicles: Any, fuel: str, explaining: np.ndarray) -> float:
        seen.append((fuel, float(explaining[0])))
        return {90.0: 0.9, 30.0: 4.0}[float(explaining[0])]

    monkeypatch.setattr(evidence, "within_families", slope)
    (found,) = evidence._vehicles(Path(), None)
    assert seen == [("petrol", 90.0), ("petrol", 30.0), ("diesel", 90.0), ("diesel", 30.0)]
    expected = {
        "petrol_vehicles": 5.0,
        "petrol_error_05": -0.10 + 0.2 * 0.05,  # a fifth of the way to the next of five
        "petrol_error_50": 0.0,
        "petrol_error_95": 0.149 + 0.8 * 0.051,
        "petrol_within_15_percent": 0.8,
        "petrol_measured_over_predicted_change": 0.9,
        "petrol_fuel_to_wheels": 0.25,
        "diesel_vehicles": 3.0,
        "diesel_error_05": -0.151 + 0.1 * 0.151,
        "diesel_error_50": 0.0,
        "diesel_error_95": 0.9 * 0.3,
        "diesel_within_15_percent": 1 / 3,
        "diesel_measured_over_predicted_change": 0.9,
        "diesel_fuel_to_wheels": 0.25,
    }
    assert found.figures == pytest.approx(expected)
    assert (found.key, found.x.tolist(), found.y.tolist()) == ("vehicles", measured.tolist(), predicted.tolist())
    assert found.group.tolist() == table.fuel.tolist()


def test_figures_of_random_splits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Effect and interval of four splits without a turbine, and of four where it costs three per cent."""
    nothing = np.array([[0.01, -0.01, 0.03], [-0.02, -0.03, -0.01], [0.02, 0.01, 0.03], [0.0, -0.02, 0.02]])
    three = np.array([[0.04, 0.01, 0.07], [0.01, -0.01, 0.03], [0.05, 0.04, 0.06], [0.0, -0.02, 0.02]])
    asked: list[float] = []

    def pieces(folder: Any, added: float) -> Any:
        asked.append(added)
        return added

    monkeypatch.setattr(evidence, "_SPLITS", 4)
    monkeypatch.setattr(evidence, "_pieces", pieces)

    def splits(added: Any, tell: Any) -> np.ndarray:
        tell(0.5)
        return nothing if added == 0 else three

    monkeypatch.setattr(evidence, "_splits", splits)
    shares: list[float] = []
    found = evidence._road_test(Path(), shares.append)
    assert shares == pytest.approx([0.25, 0.75])
    assert asked == [0.0, 0.03]
    assert found.figures == pytest.approx(
        {
            "splits": 4.0,
            "false_alarms": 0.5,
            "mean_effect_where_there_is_none": 0.0025,
            "mean_effect_where_it_is_3_percent": 0.025,
            "coverage_of_3_percent": 0.5,
        }
    )
    assert found.x.tolist() == [1, 2, 3, 4]
    assert found.y.tolist() == [-0.02, 0.0, 0.01, 0.02]
    assert found.low.tolist() == [-0.03, -0.02, -0.01, 0.01]
    assert found.high.tolist() == [-0.01, 0.02, 0.03, 0.03]
    assert found.group.tolist() == ["false alarm", "holds zero", "holds zero", "false alarm"]


@dataclasses.dataclass(frozen=True)
class Driven:
    state: str
    number: int
    pair: str = ""


def test_splits_drive_each_pair_once_with_and_once_without(monkeypatch: pytest.MonkeyPatch) -> None:
    runs = [{state: Driven(state, k) for state in ("stowed", "working")} for k in range(6)]
    seen: list[tuple[str, ...]] = []

    def effect(chosen: Any) -> Estimate:
        assert [run.number for run in chosen] == list(range(6))
        assert [run.pair for run in chosen] == ["0", "0", "1", "1", "2", "2"]
        states = tuple(run.state for run in chosen)
        assert all({states[k], states[k + 1]} == {"stowed", "working"} for k in (0, 2, 4))
        seen.append(states)
        return Estimate(0.01 * len(seen), None if len(seen) == 1 else -1.0, 1.0, 0.95)

    monkeypatch.setattr(evidence, "_SPLITS", 64)
    monkeypatch.setattr(evidence, "effect_alone", effect)
    shares: list[float] = []
    found = evidence._splits(runs, shares.append)  # type: ignore[arg-type]
    assert found.shape == (64, 3)
    assert found[:, 0] == pytest.approx([0.01 * (k + 1) for k in range(64)])
    assert math.isnan(found[0, 1])
    assert found[1, 1:].tolist() == [-1.0, 1.0]
    assert shares == pytest.approx([(k + 1) / 64 for k in range(64)])
    assert len(set(seen)) == 8  # every order comes
    first = sum(states[0] == "working" for states in seen)
    assert 16 < first < 48


def test_real_drives_are_cut_into_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drive of 400 s, of which 90 s make a run: four; the one that stands does not count, and pairs are whole."""
    cut: list[Any] = []

    @dataclasses.dataclass(frozen=True)
    class Log:
        table: pd.DataFrame
        name: str

    @dataclasses.dataclass(frozen=True)
    class Flow:
        flow_m3_s: float

    def windows(piece: Any, flow: Any, run: Any) -> Any:
        cut.append((piece, flow.flow_m3_s, run))
        standing = piece.name.startswith("drive1") and piece.name.endswith("2")
        few = piece.name.startswith("live1") and piece.name.endswith("1")
        fuel = 0.0 if standing else flow.flow_m3_s
        return SimpleNamespace(weight_s=np.ones(2 if few else 3), mean_fuel_m3_s=fuel, state=run.state, name=piece.name)

    logs = {"drive1": np.arange(0.0, 400.0, 10.0) + 0.0, "live1": np.arange(0.0, 271.0, 10.0)}
    monkeypatch.setattr(
        evidence, "read_log", lambda path: Log(pd.DataFrame({"time_s": logs[Path(path).stem]}), Path(path).stem)
    )
    monkeypatch.setattr(evidence, "fuel_flow", lambda piece, engine: Flow(2.0))
    monkeypatch.setattr(evidence, "windows_of", windows)
    found = evidence._pieces(Path("x"), 0.03)
    # drive1: 390 s long, four runs, one stands; live1: 270 s, three runs, one too short: five, so four in pairs.
    assert [one["stowed"].name for one in found] == ["drive1 0", "drive1 1", "drive1 3", "live1 0"]
    assert [one["working"].state for one in found] == ["working"] * 4
    assert [one["stowed"].state for one in found] == ["stowed"] * 4
    for one in found:
        assert one["working"].mean_fuel_m3_s == pytest.approx(1.03 * one["stowed"].mean_fuel_m3_s)
    for piece, _, _ in cut:
        assert piece.table["time_s"].iloc[0] == 0
        assert len(piece.table) == 9
        assert piece.table["time_s"].iloc[-1] == 80


def test_the_air_and_the_warm_up_in_closed_form() -> None:
    """US Standard Atmosphere 1976: 1.2250, 1.1117, 1.0066, 0.9093 kg/m³; a lump cools as exp(-t G / C)."""
    air = evidence._air()
    assert air.x.tolist() == [0.0, 1000.0, 2000.0, 3000.0]
    assert np.abs(air.y).max() == air.figures["greatest_error"] < 1e-3
    assert set(air.group) == {"density"}
    warm = evidence._warm_up()
    times = 250.0 * np.arange(21)
    assert warm.x.tolist() == [*times, *times]
    closed = [290 + 20 * math.exp(-t * 4 / 5000) + 75 * (1 - math.exp(-t * 4 / 5000)) for t in times]
    assert warm.y[21:] == pytest.approx(closed, rel=1e-12)
    assert warm.y[:21] == pytest.approx(closed, abs=1e-6)
    assert warm.figures["greatest_error_k"] == pytest.approx(np.abs(warm.y[:21] - warm.y[21:]).max())
    assert warm.group.tolist() == ["computed"] * 21 + ["closed form"] * 21


def test_all_checks_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    shares: list[float] = []

    def vehicles(folder: Any, progress: Any) -> tuple[str, ...]:
        progress(0.5)
        return ("vehicles",)

    def road(folder: Any, progress: Any) -> str:
        progress(0.5)
        return "road"

    for name, made in (("_rotor", lambda f: "rotor"), ("_vehicles", vehicles), ("_road_test", road)):
        monkeypatch.setattr(evidence, name, made)
    monkeypatch.setattr(evidence, "_warm_up", lambda: "warm")
    monkeypatch.setattr(evidence, "_air", lambda: "air")
    assert evidence.evidence(shares.append) == ("rotor", "vehicles", "road", "warm", "air")  # type: ignore[comparison-overlap]
    assert shares == pytest.approx([0.1, 0.2, 0.625, 1.0])
