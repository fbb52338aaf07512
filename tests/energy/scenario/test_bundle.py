"""A scenario that travels: the same answer after editing, taking away and bringing back; nothing hostile comes in."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from energy.chain.answer import answered
from energy.chain.load import load, opened
from energy.scenario import bundle as bundles
from energy.scenario.bundle import Bundle
from energy.scenario.keys import TABLES
from energy.words import answer as report
from energy.words.verdict import verdict
from vehicle.problems import InputError


@pytest.fixture
def van_bundle(demos: Path) -> Bundle:
    return bundles.from_folder(demos / "van_water_tank" / "scenario.toml")


def _zip(entries: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize("name", ["van_water_tank", "camper_oven", "pickup_drying_box", "parked_on_a_ridge"])
def test_a_bundle_answers_as_its_file_does_also_after_a_journey(demos: Path, name: str) -> None:
    path = demos / name / "scenario.toml"
    bundle = bundles.from_folder(path)
    back = bundles.from_uploads([("mine.zip", bundles.to_zip(bundle))])
    assert back == bundle
    expected = report.as_data(answered(load(path)))
    assert report.as_data(answered(opened(back))) == expected


def test_editing_keeps_comments_and_gives_what_the_command_lines_set_gives(demos: Path, van_bundle: Bundle) -> None:
    edited = bundles.with_value(van_bundle, "trip.road_speed", "65 mph")
    edited = bundles.with_value(edited, "rotor.power_factor", {"value": 0.9, "low": 0.8, "high": 1.0})
    edited = bundles.with_value(edited, "prices.gas", None)
    assert "# generator turns per rotor turn" in edited.text
    assert bundles.value_at(edited, "prices.gas") is None
    settings = ["trip.road_speed=65 mph", "rotor.power_factor={ value = 0.9, low = 0.8, high = 1.0 }"]
    told = answered(load(demos / "van_water_tank" / "scenario.toml", settings))
    assert verdict(answered(opened(edited)), "us") == verdict(told, "us")
    assert bundles.changes(van_bundle, edited) == [
        ("trip.road_speed", "100 km/h", "65 mph"),
        ("prices.gas", "0.95 EUR/L", None),
        ("rotor.power_factor", None, {"value": 0.9, "low": 0.8, "high": 1.0}),
    ]


def test_settings_of_the_command_line_are_written_into_the_text(van_bundle: Bundle) -> None:
    changed = bundles.with_overrides(van_bundle, ["credit.replaces_alternator=true", "trip.road_speed=65 mph"])
    assert bundles.value_at(changed, "credit.replaces_alternator") is True
    assert bundles.value_at(changed, "trip.road_speed") == "65 mph"


def test_tables_come_and_go(van_bundle: Bundle) -> None:
    electric = bundles.with_table(bundles.without_table(van_bundle, "engine"), "battery")
    assert verdict(answered(opened(electric)), "metric").word == "costs"


def test_faults_are_told_in_the_words_of_the_command_line(demos: Path, van_bundle: Bundle) -> None:
    path = demos / "van_water_tank" / "scenario.toml"
    with pytest.raises(InputError) as by_file:
        load(path, ["rotor.diameter=-1 m"])
    with pytest.raises(InputError) as by_bundle:
        opened(bundles.with_value(van_bundle, "rotor.diameter", "-1 m"))
    (told,), (shown,) = by_file.value.problems, by_bundle.value.problems
    assert (shown.key, shown.read, shown.accepted) == (told.key, told.read, told.accepted)
    assert shown.where == "scenario.toml"


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "/etc/passwd", "..\\up.csv", "sub/rotor_curves.csv", "other.csv", "a\u0000.csv"]
)
def test_a_scenario_reaches_no_file_that_did_not_come_with_it(van_bundle: Bundle, name: str) -> None:
    with pytest.raises(InputError) as caught:
        opened(bundles.with_value(van_bundle, "rotor.curves", name))
    assert "came with the scenario" in str(caught.value) or "no file name" in str(caught.value)
    assert "root:" not in str(caught.value)


@pytest.mark.parametrize("name", ["../up.csv", "/abs.csv", "..\\up.csv", "a/../../up.csv", "C:\\up.csv"])
def test_a_zip_that_leads_elsewhere_is_refused(van_bundle: Bundle, name: str) -> None:
    content = _zip({"scenario.toml": van_bundle.text.encode(), name: b"x"})
    with pytest.raises(InputError, match="leads elsewhere"):
        bundles.from_uploads([("mine.zip", content)])


@pytest.mark.parametrize(
    ("uploads", "words"),
    [
        ([], "no TOML file"),
        ([("a.toml", b""), ("b.toml", b"")], "2 TOML files"),
        ([("a.toml", b"\xff\xfe")], "not UTF-8"),
        ([("a.toml", b"x = ")], "not TOML"),
        ([("a.toml", b"[" * 3000)], "not TOML|nested"),
        ([("a.zip", b"PK not a zip")], "cannot be read"),
        ([("a.toml", b""), ("x<script>.csv", b"")], "this file name"),
        ([("a.toml", b""), (".csv", b"")], "this file name"),
        ([("a.toml", b""), ("x.exe", b"")], "this file name"),
        ([("a.toml", b""), ("big.csv", b"x" * (bundles.MOST_FILE_BYTES + 1))], "bytes"),
        ([("a.toml", b"#" * 2_000_000)], "bytes"),
    ],
)
def test_odd_uploads_are_refused_in_one_sentence(uploads: list[tuple[str, bytes]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        bundles.from_uploads(uploads)


def test_a_zip_that_swells_is_refused(van_bundle: Bundle) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("scenario.toml", van_bundle.text)
        archive.writestr("zeros.csv", b"0" * (bundles.MOST_FILE_BYTES * 4))
    with pytest.raises(InputError, match="at most"):
        bundles.from_uploads([("mine.zip", out.getvalue())])


def test_a_zipped_folder_and_a_file_managers_extras_are_taken_as_meant(van_bundle: Bundle) -> None:
    entries = {f"mine/{name}": content for name, content in van_bundle.files}
    content = _zip({"mine/scenario.toml": van_bundle.text.encode(), "__MACOSX/._scenario.toml": b"x", **entries})
    assert bundles.from_uploads([("mine.zip", content)]) == van_bundle


def test_every_key_that_names_a_file_is_known_as_one() -> None:
    texts = {
        f"{table}.{key}": info.description
        for table, model in TABLES.items()
        for key, info in model.model_fields.items()
        if "str" in str(info.annotation) and "Literal" not in str(info.annotation)
    }
    assert [key for key, words in texts.items() if not bundles.is_file_key(words)] == ["heater.what"]


def test_a_begun_blade_grows_with_the_diameter_and_ones_own_does_not() -> None:
    from energy.aero.textbook_blade import textbook_blade
    from energy.chain.begin import Beginning, begin, blade_csv
    from energy.chain.load import opened
    from energy.chain.matching import thriftiest

    bundle = begin(Beginning(pitch="6 deg", ratio="2.5", element="12 ohm"), thriftiest)
    grown = bundles.with_diameter(bundle, "72 in")
    content = dict(grown.files)["blade.csv"].decode().splitlines()
    # The textbook blade of that size, computed anew: radius and chord go with the radius of the tip.
    expected = blade_csv(textbook_blade(0.9144, 3, 70 / (25 * 1.05))).decode().splitlines()
    assert bundles.GUESS in content[0]
    for one, other in zip(content[2:], expected[2:], strict=True):
        assert [float(v) for v in one.split(",")] == pytest.approx([float(v) for v in other.split(",")], abs=2e-4)
    assert opened(grown).rotor.diameter.value == pytest.approx(1.8288)
    assert "rotor.blade" in bundles.guesses(grown)
    own = bundles.with_file(bundle, "blade.csv", dict(bundle.files)["blade.csv"].replace(b"a guess", b"measured"))
    assert bundles.with_diameter(own, "72 in").files == own.files
    faulty = bundles.with_diameter(bundle, "wide")
    assert faulty.files == bundle.files
    assert bundles.value_at(faulty, "rotor.diameter") == "wide"


def test_whoever_changes_the_tables_that_he_was_given_changes_no_others(demos: Path) -> None:
    bundle = bundles.from_folder(demos / "van_water_tank" / "scenario.toml")
    tables = bundle.data()
    tables["rotor"].clear()
    del tables["title"]
    assert bundle.data()["title"]
    assert bundle.data()["rotor"]["diameter"]
