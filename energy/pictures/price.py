"""Bars: what a kilowatt hour of heat takes from the turbine and from elsewhere, and how much of each limit is used."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import TYPE_CHECKING

from energy.pictures.base import BLACK, BLUE, ORANGE, Picture
from energy.words.price import price_sentence, prices_of_heat
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from energy.chain.answer import Answered
    from energy.words.first import LimitRow, Taken
    from energy.words.price import HeatPrice

STYLE = """
.wt-bars { display: grid; grid-template-columns: auto minmax(2rem, 1fr) auto; gap: 0.15rem 0.5rem;
  align-items: center; font-size: 0.95rem; margin: 0; }
.wt-bars i { display: block; height: 0.8rem; min-width: 2px; border-radius: 2px; background: var(--wt-blue);
  print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.wt-bars .over { background: var(--wt-danger); }
.wt-bars .to-limit { position: relative; }
.wt-bars .to-limit::after { content: ""; position: absolute; left: 80%; top: -0.2rem; bottom: -0.2rem;
  border-left: 3px double var(--wt-danger); }
.wt-bars .own { background: var(--wt-cost); height: 1rem; }
"""


def bars_html(prices: tuple[HeatPrice, ...]) -> str:
    """Return the prices as bars; the turbine's own is the thicker one."""
    return _bars([(price.source, price.amount, price.words) for price in prices])


def taken_html(rows: tuple[Taken, ...]) -> str:
    """Return what a turbine takes and gives as bars to one scale; what it takes is the thicker one."""
    return _bars([(row.name, row.amount, row.words) for row in rows])


def _bars(rows: Sequence[tuple[str, float, str]]) -> str:
    most = max((amount for _, amount, _ in rows), default=0.0) or 1.0
    texts = []
    for k, (name, amount, words) in enumerate(rows):
        own = ' class="own"' if k == 0 else ""
        width = f"{100 * max(amount, 0.0) / most:.1f}%"
        texts.append(
            f'<span>{html.escape(name)}</span><span><i{own} style="width:{width}"></i></span>'
            f"<span>{html.escape(words)}</span>"
        )
    return f'<div class="wt-bars">{"".join(texts)}</div>'


def limits_html(rows: tuple[LimitRow, ...]) -> str:
    """Return how much of each limit is used, as bars up to a line at the limit."""
    texts = []
    for row in rows:
        over = ' class="over"' if row.share > 1 + 1e-9 else ""
        texts.append(
            f'<span>{html.escape(row.name)}</span><span class="to-limit"><i{over} '
            f'style="width:{80 * min(row.share, 1.25):.1f}%"></i></span><span>{html.escape(row.words)}</span>'
        )
    return f'<div class="wt-bars">{"".join(texts)}</div>'


def price_of_heat(answered: Answered, system: UnitSystem) -> Picture | None:
    """Return the prices as a picture; None where no heat is made."""
    import altair as alt
    import pandas as pd

    prices = prices_of_heat(answered, system)
    if not prices:
        return None
    unit = prices[0].unit
    name = f"1 kWh of heat takes, {unit}" if "/" not in unit else f"price of heat, {unit}"
    frame = pd.DataFrame(
        {
            "source": [price.source for price in prices],
            name: [price.amount for price in prices],
            "words": [price.words for price in prices],
            "colour": [ORANGE] + [BLUE] * (len(prices) - 1),
        }
    )
    order = [price.source for price in prices]
    y = alt.Y("source:N", sort=order, title=None)
    most = max(price.amount for price in prices) or 1.0
    x = alt.X("amount:Q", title=name, scale=alt.Scale(domain=[0, 1.3 * most], nice=False))
    # Units hold slashes and dots, which a field's name must not: the chart reads plain names, the file has the units.
    base = alt.Chart(frame.rename(columns={name: "amount"})).encode(y=y, x=x)
    bars = base.mark_bar(height=18).encode(color=alt.Color("colour:N", scale=None))
    texts = base.mark_text(align="left", dx=6, fontSize=13, color=BLACK).encode(text=alt.Text("words:N"))
    chart = alt.layer(bars, texts).properties(height=34 * len(prices) + 10)
    return Picture("price_of_heat", price_sentence(answered, system), chart, frame[["source", name]])
