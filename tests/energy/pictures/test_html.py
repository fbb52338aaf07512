"""Data in a picture's page stays data (HTML Standard, restrictions for contents of script elements; from memory)."""

from __future__ import annotations

import json
import struct
import zlib
from html.parser import HTMLParser
from pathlib import Path

import altair as alt
import pandas as pd
from hypothesis import example, given
from hypothesis import strategies as st

from energy.pictures.base import save
from energy.pictures.html import chart_page, json_in_html
from vehicle.files import MARK

HOSTILE = "</script><script>document.title='x'</script><!--<script>&lt;\u2028'\""


class _Scripts(HTMLParser):
    """The scripts of a page as Python's parser finds them: (attributes, text)."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[dict[str, str | None], str]] = []
        self.inside = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag == "script"
        if self.inside:
            self.found.append((dict(attrs), ""))

    def handle_endtag(self, tag: str) -> None:
        self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.found[-1] = (self.found[-1][0], self.found[-1][1] + data)


@given(st.text())
@example(HOSTILE)
def test_json_in_html_is_the_same_data_without_a_sign_that_html_reads(text: str) -> None:
    written = json_in_html({text: [text]})
    assert not set(written) & set("<>&\u2028\u2029")
    assert json.loads(written) == {text: [text]}


def test_a_page_holds_its_own_two_scripts_and_the_data_whatever_is_in_it() -> None:
    page = chart_page({"title": HOSTILE}, HOSTILE)
    scripts = _Scripts(page).found
    assert [attributes for attributes, _ in scripts] == [{"type": "application/json", "id": "spec"}, {}, {}]
    assert json.loads(scripts[0][1]) == {"title": HOSTILE}
    assert "default-src 'none'" in page
    assert "unsafe-eval" not in page


def test_pictures_carry_the_mark_and_are_drawn_anew(tmp_path: Path) -> None:
    chart = alt.Chart(pd.DataFrame({"x": [1.0, 2.0]})).mark_point().encode(x="x:Q")
    for kind in ("svg", "png", "html"):
        path = tmp_path / f"x.{kind}"
        save(chart, path)
        assert MARK.encode() in path.read_bytes()[:1024], kind
        save(chart, path)
    png = (tmp_path / "x.png").read_bytes()
    at, names = 8, []
    while at < len(png):  # every chunk's check sum holds (PNG: CRC-32 over type and data)
        (length,) = struct.unpack(">I", png[at : at + 4])
        body = png[at + 4 : at + 8 + length]
        assert zlib.crc32(body) == struct.unpack(">I", png[at + 8 + length : at + 12 + length])[0]
        names.append(body[:4])
        at += 12 + length
    assert names[:2] == [b"IHDR", b"tEXt"]
