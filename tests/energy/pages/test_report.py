"""The one-page report: self-contained, escaped, and it carries the scenario that was answered."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from tests_support import run

from energy.chain.answer import answered
from energy.chain.load import opened
from energy.pages.report import report_page
from energy.scenario import bundle as bundles
from energy.words import answer as report
from energy.words.cautions import cautions
from energy.words.verdict import verdict


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.outside: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name.startswith("on"):
                self.outside.append(name)
            if name in ("src", "href", "xlink:href") and not str(value).startswith(("data:", "#")):
                self.outside.append(str(value))

    def handle_data(self, data: str) -> None:
        self.text += data


def _read(page: str) -> _Tags:
    found = _Tags()
    found.feed(page)
    return found


def test_it_holds_all_that_the_answer_says_and_loads_nothing(demos: Path) -> None:
    bundle = bundles.from_folder(demos / "van_water_tank" / "scenario.toml")
    told = answered(opened(bundle))
    found = _read(report_page(told, "metric", bundle))
    assert found.outside == []
    assert not {"script", "iframe", "link", "object", "img"} & set(found.tags)
    assert found.tags.count("svg") == 6
    said = verdict(told, "metric")
    for line in (*said.dangers, said.headline, *said.lines, said.may_be_operated, said.least_known):
        assert line in found.text
    for caution in cautions(told, "metric"):
        assert caution in found.text
    for entry in report.assumptions(told):
        assert report.assumption_words(entry) in found.text
    for row in report.ledger_lines(told, "metric"):
        assert row[3] in found.text


def test_the_scenario_is_attached_and_answers_the_same(demos: Path, tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    scenario = str(demos / "van_water_tank" / "scenario.toml")
    done = run(
        "answer", scenario, "--set", "trip.road_speed=70 mph", "--units", "us", "--report", str(target), "--brief"
    )
    assert done.returncode == 3, done.stderr  # at that speed the tips exceed their limit
    page = target.read_text(encoding="utf-8")
    printed = " ".join(done.stdout.split())
    zipped = re.search(r"data:application/zip;base64,([A-Za-z0-9+/=]+)", page)
    assert zipped
    back = bundles.from_uploads([("a.zip", base64.b64decode(zipped[1]))])
    said = verdict(answered(opened(back)), "us")
    assert said.dangers[0].startswith("Do not operate.")
    for line in (*said.dangers, said.headline, *said.lines):
        assert line in _read(page).text
        assert line in printed
    assert said.least_known in _read(page).text  # on the terminal what is dangerous leaves it to --full


def test_hostile_texts_stay_texts(demos: Path) -> None:
    bundle = bundles.from_folder(demos / "van_water_tank" / "scenario.toml")
    hostile = "</title><script>alert(1)</script><img src=x onerror=alert(2)>"
    bundle = bundles.with_value(bundle, "title", hostile)
    bundle = bundles.with_value(bundle, "note", "]]></style><svg onload=alert(3)>")
    bundle = bundles.with_value(bundle, "heater.what", '<b onclick="x()">tank</b>')
    told = answered(opened(bundle))
    found = _read(report_page(told, "metric", bundle))
    assert found.outside == []
    assert not {"script", "img", "b"} & set(found.tags)
    assert found.tags.count("svg") == 6
    assert hostile in found.text


@pytest.mark.parametrize(("name", "words"), [("report.txt", "ends in .html"), ("nowhere/r.html", "existing folder")])
def test_a_report_that_cannot_be_written_is_told_before_the_work(
    demos: Path, tmp_path: Path, name: str, words: str
) -> None:
    done = run("answer", str(demos / "van_water_tank" / "scenario.toml"), "--report", str(tmp_path / name))
    assert done.returncode == 2
    assert words in done.stderr
    assert list(tmp_path.iterdir()) == []
