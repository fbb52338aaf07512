"""How the app looks: its typeface, its colours in both themes, what the first screen is made of, and dark charts.

Values stand in energy/pictures/palette.py; nothing here names a colour but those that charts are drawn in.
"""

from __future__ import annotations

from pathlib import Path

from energy.pictures import interval, price
from energy.pictures.base import BLACK, COLOURS, GREY, GRID
from energy.pictures.palette import FONT, style_variables

LOGO, MARK = (str(Path(__file__).with_name(name)) for name in ("logo.svg", "mark.svg"))

_TYPE = f"""
@font-face {{ font-family: "Atkinson Hyperlegible Next"; font-weight: 200 800; font-display: swap;
  src: url("/windtoll/atkinson_hyperlegible_next.woff2") format("woff2"); }}
[data-testid="stApp"], [data-testid="stApp"] p, [data-testid="stApp"] label {{ font-family: {FONT}; }}
[data-testid="stLogo"] {{ height: 2.4rem; max-width: none; }}
"""
_FIRST = """
.wt-loud { display: block; font-size: clamp(1.7rem, 1.1rem + 2.4vw, 2.9rem); line-height: 1.1; font-weight: 780;
  letter-spacing: -0.01em; }
.costs .wt-loud { color: var(--wt-cost); }
.saves .wt-loud { color: var(--wt-gain); }
.wt-danger p:first-child { font-size: 1.4rem; line-height: 1.2; color: var(--wt-danger); }
.danger .wt-loud { font-size: 1.5rem; }
@media (min-width: 641px) { .wt-loud { display: inline; } }
.wt-loud.wt-long { font-size: 1.45rem; line-height: 1.3; font-weight: 650; }
[data-testid="stColumn"] .wt-loud { font-size: 1.5rem; display: block; }
.wt-quiet { font-size: 1.05rem; font-weight: 550; }
.wt-cards { display: grid; grid-template-columns: 1fr 1fr 1.35fr; gap: 0.6rem; margin: 0.3rem 0; }
.wt-card { background: var(--wt-card); border: 1px solid var(--wt-line); border-radius: 8px; padding: 0.5rem 0.8rem;
  overflow-wrap: anywhere; min-width: 0; }
.wt-card h2 { font-size: 0.95rem; font-weight: 600; color: var(--wt-soft); margin: 0; padding: 0; }
.wt-card strong { display: block; font-size: 1.6rem; line-height: 1.2; }
.wt-card p { margin: 0; font-size: 0.95rem; color: var(--wt-soft); }
.wt-next { border-left: 8px solid var(--wt-blue); padding: 0.1rem 0 0.1rem 0.7rem; margin: 0; }
@media (max-width: 640px) {
  .wt-cards { grid-template-columns: 1fr 1fr; gap: 0.4rem; }
  .wt-card { padding: 0.35rem 0.6rem; }
  .wt-card:nth-child(3) { grid-column: 1 / -1; }
  .wt-card strong { font-size: 1.35rem; }
  h1 { font-size: 1.2rem !important; padding: 0 !important; }
  [data-testid="stMainBlockContainer"] > [data-testid="stVerticalBlock"] { gap: 0.6rem; }
  .wt-title { font-size: 0.9rem; line-height: 1.3; }
}
"""


def _charts() -> str:
    """Return rules that turn what charts draw in black and grey to the theme's ink; series keep their colours."""
    chart = '[data-testid="stVegaLiteChart"] svg'
    inks = (BLACK, COLOURS[6])
    strokes = ", ".join(f'{chart} [stroke="{ink}"]' for ink in inks)
    fills = ", ".join(f'{chart} path[fill="{ink}"]' for ink in inks)
    return (
        f"{chart} text {{ fill: var(--wt-ink); font-family: {FONT}; }} "
        f"{strokes} {{ stroke: var(--wt-ink); }} {fills} {{ fill: var(--wt-ink); }} "
        f'{chart} text[stroke="white"], {chart} path[stroke="white"] {{ stroke: var(--wt-paper); }} '
        # Cells that touch show a seam where a browser smooths their edges.
        f"{chart} .mark-rect path {{ shape-rendering: crispEdges; }} "
        f'{chart} [stroke="{GRID}"] {{ stroke: var(--wt-faint); }} '
        f'{chart} [stroke="{GREY}"] {{ stroke: var(--wt-line); }} '
        f'{chart} path[fill="{GREY}"] {{ fill: var(--wt-line); }}'
    )


STYLE = style_variables() + _TYPE + _FIRST + interval.STYLE + price.STYLE + _charts()
