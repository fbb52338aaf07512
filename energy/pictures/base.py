"""What every picture is made of: chart, finding and numbers; colours; saved as PNG, SVG, HTML or CSV without a
network.
"""

from __future__ import annotations

import functools
import struct
import textwrap
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from energy.pictures.html import chart_page
from vehicle.files import MARK, checked_output, write_output
from vehicle.problems import InputError, Problem

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

PICTURE_KINDS = (".svg", ".png", ".html")
# Colours that stay apart for colour-blind readers (Okabe & Ito 2008, from memory), darkest first.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
BLUE, ORANGE, GREEN = COLOURS[0], COLOURS[1], COLOURS[2]
GREY, BLACK, GRID = "#8a949c", "#101418", "#dde2e6"
_FILE_WIDTH = 640  # pixels of a saved chart that fills its place on a screen
_READABLE: dict[str, Any] = {
    "labelFontSize": 13,
    "titleFontSize": 13,
    "labelColor": BLACK,
    "titleColor": BLACK,
    "gridColor": GRID,
    "domainColor": BLACK,
    "tickColor": BLACK,
    "labelOverlap": True,
    "labelSeparation": 6,
}
_NAMES: dict[str, Any] = {"labelOverlap": False}  # numbers on an axis may be left out where they crowd, names never


class Form(Protocol):
    """How a picture is drawn: from numbers (each table by its name) to a chart. Hashable, and without numbers of its
    own: what it draws is the same chart for every answer of its kind.
    """

    def __call__(self, numbers: Mapping[str, Any], /) -> Any:
        """Return the chart of numbers."""
        ...


@functools.lru_cache(maxsize=64)
def _formed(form: Form, names: tuple[str, ...]) -> dict[str, Any]:
    """Return the Vega-Lite chart of a form with its numbers left out, by their names."""
    import altair as alt

    drawn: dict[str, Any] = form({name: alt.NamedData(name) for name in names}).to_dict(validate=False)
    return drawn


@dataclass(frozen=True)
class Picture:
    """One picture (without title), the finding it shows, and its numbers; `fixed_width` where widths are to scale.

    `made` is a chart, or the form that one is made by of `numbers`: then a screen that is drawn anew makes no chart
    anew, and the browser changes the numbers of the one that stands there.
    """

    name: str
    title: str
    made: Any
    table: pd.DataFrame
    fixed_width: bool = False
    numbers: Mapping[str, pd.DataFrame] = field(default_factory=dict)

    @functools.cached_property
    def chart(self) -> Any:
        """The chart with its numbers."""
        return self.made(self.numbers) if self.numbers else self.made

    @functools.cached_property
    def shown(self) -> dict[str, Any]:
        """The Vega-Lite chart as a screen shows it: readable axes, no title (the finding stands above it).

        It is drawn as SVG on no ground of its own, so that the page's styles give it the colours of the theme. It is
        worked out once, as a screen is drawn anew with every change; its numbers are tables that go to the browser as
        they are. That it is valid is looked at by the tests, which takes longer than all else here.
        """
        import pyarrow as pa

        drawn, numbers = self._drawn_and_numbers()
        tables = {name: pa.Table.from_pandas(frame, preserve_index=False) for name, frame in numbers.items()}
        config = {**drawn.get("config", {}), "axis": _READABLE, "axisDiscrete": _NAMES, "background": "transparent"}
        return {**drawn, "config": config, "datasets": tables, "usermeta": {"embedOptions": {"renderer": "svg"}}}

    def _drawn_and_numbers(self) -> tuple[dict[str, Any], Mapping[str, pd.DataFrame]]:
        if self.numbers:
            return _formed(self.made, tuple(self.numbers)), self.numbers
        import pandas as pd

        drawn: dict[str, Any] = self.chart.to_dict(validate=False)
        return drawn, {name: pd.DataFrame(entries) for name, entries in drawn.pop("datasets", {}).items()}

    def titled(self) -> Any:
        """Return the chart as it is saved: with its title and a width of its own."""
        return _readable(self.headed())

    def headed(self) -> Any:
        """Return the chart with its title above it and a width of its own."""
        width = self.chart.width if self.fixed_width else _FILE_WIDTH
        lines = textwrap.wrap(self.title, max(24, int(width / 7.6)))
        chart: Any = self.chart
        chart = chart.properties(title={"text": lines, "anchor": "start", "fontSize": 15, "offset": 12})
        return chart if self.fixed_width else chart.properties(width=width)

    def svg(self) -> bytes:
        """Return the chart as SVG."""
        return as_svg(plain(self.titled()))

    def png(self) -> bytes:
        """Return the chart as PNG, at twice its size in pixels."""
        return as_png(plain(self.titled()))

    def csv(self) -> bytes:
        """Return the numbers, units in the header."""
        return bytes(self.table.to_csv(index=False, float_format="%.6g", lineterminator="\n").encode())


def stacked(pictures: Sequence[Picture]) -> Any:
    """Return pictures under each other as one chart to save, each with its title, scales of its own."""
    import altair as alt

    charts = alt.vconcat(*(picture.headed() for picture in pictures), spacing=30)
    return _readable(charts.resolve_scale(color="independent", strokeDash="independent"))


def _readable(chart: Any) -> Any:
    return chart.configure_axis(**_READABLE).configure_axisDiscrete(**_NAMES)


def checked_picture(path: Path, inputs: Iterable[Path] = (), *, force: bool = False) -> Path:
    """Return `path` if a picture can be written there; InputError for another kind of file, or where
    `vehicle.files.checked_output` refuses.
    """
    if path.suffix.lower() not in PICTURE_KINDS:
        raise InputError(
            Problem(str(path), "", f"a picture of kind {path.suffix or '(none)'}", ", ".join(PICTURE_KINDS))
        )
    checked_output(path, inputs, force=force)
    return path


def save(chart: alt.TopLevelMixin, path: Path, inputs: Iterable[Path] = (), *, force: bool = False) -> None:
    """Write a chart as SVG, PNG or self-contained HTML, whole or not at all. Raises InputError where it cannot."""
    checked_picture(path, inputs, force=force)
    write_output(path, _content(chart, path.suffix.lower()), inputs, force=force)


def _content(chart: alt.TopLevelMixin, kind: str) -> bytes:
    """Return a chart as the bytes of a file, with windtoll's mark near their beginning."""
    if kind == ".png":
        return _marked_png(as_png(plain(chart)))
    if kind == ".html":
        return chart_page(plain(chart), "windtoll").encode()
    opened, bracket, rest = as_svg(plain(chart)).decode().partition(">")
    return f"{opened}{bracket}<!-- {MARK} -->{rest}".encode()


def plain(chart: Any) -> dict[str, Any]:
    """Return a chart as Vega-Lite, as it is saved; that it is valid is looked at by the tests (tests/conftest.py)."""
    drawn: dict[str, Any] = chart.to_dict(validate=False)
    return drawn


def as_svg(drawn: dict[str, Any]) -> bytes:
    """Return a Vega-Lite chart as SVG."""
    import vl_convert

    return vl_convert.vegalite_to_svg(drawn, vl_version=_version()).encode()


def as_png(drawn: dict[str, Any]) -> bytes:
    """Return a Vega-Lite chart as PNG, at twice its size in pixels."""
    import vl_convert

    return vl_convert.vegalite_to_png(drawn, vl_version=_version(), scale=2.0, ppi=72)


def _version() -> str:
    """Return the version of Vega-Lite that charts are made for, as what draws them takes it: "6_1"."""
    import altair as alt

    return "_".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])


def _marked_png(png: bytes) -> bytes:
    """Return a PNG with a text chunk "Software" behind its header (ISO/IEC 15948, 11.3.4.3; from memory)."""
    header = 8 + 4 + 4 + 13 + 4  # signature; length, type, data and check sum of IHDR
    body = b"tEXtSoftware\0" + MARK.encode()
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return png[:header] + chunk + png[header:]


def series_lines(
    frame: pd.DataFrame | alt.NamedData, x: str, y: str, by: str, order: tuple[str, ...], colours: tuple[str, ...]
) -> alt.Chart:
    """Return lines of `y` over `x`, told apart by colour and dash; the nearest point tells its numbers."""
    import altair as alt

    dashes = [[1, 0], [6, 3], [2, 2], [8, 2, 2, 2]][: len(order)][::-1]
    return (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5, point={"opacity": 0, "size": 60})
        .encode(
            x=alt.X(f"{escaped(x)}:Q", title=x, scale=alt.Scale(nice=False)),
            y=alt.Y(f"{escaped(y)}:Q", title=y),
            color=alt.Color(
                f"{by}:N",
                title=None,
                sort=list(order),
                scale=alt.Scale(domain=list(order), range=list(colours)),
                legend=alt.Legend(
                    orient="top", labelFontSize=13, symbolType="stroke", symbolStrokeWidth=3, symbolSize=400
                ),
            ),
            strokeDash=alt.StrokeDash(f"{by}:N", sort=list(order), scale=alt.Scale(domain=list(order), range=dashes)),
            tooltip=[
                alt.Tooltip(f"{by}:N"),
                alt.Tooltip(f"{escaped(x)}:Q", title=x, format=".3~g"),
                alt.Tooltip(f"{escaped(y)}:Q", title=y, format=".3~g"),
            ],
        )
    )


def own_points(frame: pd.DataFrame | alt.NamedData, x: str, y: str, by: str) -> alt.Chart:
    """Return the scenario's own points as rings."""
    import altair as alt

    return (
        alt.Chart(frame)
        .mark_point(size=140, strokeWidth=2.5, color=BLACK, filled=False)
        .encode(
            x=alt.X(f"{escaped(x)}:Q"),
            y=alt.Y(f"{escaped(y)}:Q"),
            tooltip=[
                alt.Tooltip(f"{by}:N"),
                alt.Tooltip(f"{escaped(x)}:Q", title=f"as set: {x}", format=".3~g"),
                alt.Tooltip(f"{escaped(y)}:Q", title=y, format=".3~g"),
            ],
        )
    )


def escaped(column: str) -> str:
    """Return a column's name as Vega-Lite takes it: dots and brackets would be read as paths."""
    return column.replace("\\", "\\\\").replace(".", "\\.").replace("[", "\\[").replace("]", "\\]").replace(":", "\\:")
