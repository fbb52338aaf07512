"""The picture of how far every structural load is from its limit."""

from __future__ import annotations

import html
import re
from pathlib import Path

import vl_convert

from energy.chain.load import load
from energy.pictures.base import save
from energy.pictures.margins import margins_picture
from energy.strength.table import structural_loads


def test_every_bar_has_its_name_saved_and_on_the_screen(demos: Path, tmp_path: Path) -> None:
    table = structural_loads(load(demos / "van_water_tank" / "scenario.toml"))
    picture = margins_picture(table)
    assert picture is not None
    names = {row.name for row in table.rows if row.margin is not None}
    assert len(names) > 8
    path = tmp_path / "margins.svg"
    save(picture.titled(), path)
    axes = {name: style for name, style in picture.shown["config"].items() if name.startswith("axis")}
    on_screen = vl_convert.vegalite_to_svg({**picture.chart.to_dict(), "config": axes})
    for drawn in (path.read_text(encoding="utf-8"), on_screen):
        assert not re.findall(r'<text[^>]*opacity="0"', drawn)  # a label that was left out is there, but cannot be seen
        words = html.unescape(" ".join(re.findall(r">([^<>]+)<", drawn)))
        assert [name for name in names if name.split(",")[0][:20] not in words] == []
