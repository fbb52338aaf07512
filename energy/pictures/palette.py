"""The one place of windtoll's colours and type: chosen to be read in sunlight, on paper, and at night in a cab.

Every text colour here stands on its own ground with a contrast of 7 to 1 or more in both themes (WCAG 2 asks for 4.5; a
test calculates it), as glare takes about half of what a screen in a garage has. Cost and gain differ in lightness as
well as in hue, and never by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

FONT = '"Atkinson Hyperlegible Next", "Atkinson Hyperlegible", "DejaVu Sans", Verdana, system-ui, sans-serif'


@dataclass(frozen=True)
class Palette:
    """One theme: texts, grounds and lines as #rrggbb."""

    ink: str  # text, axes, marks
    soft: str  # notes
    paper: str  # the page
    card: str  # what stands out from the page a little; the sidebar
    line: str  # frames
    faint: str  # grids, rules between rows
    cost: str  # fuel that is spent
    cost_soft: str
    gain: str  # fuel that is spared
    gain_soft: str
    blue: str  # links, what can be pressed
    danger: str
    danger_paper: str
    caution_paper: str


LIGHT = Palette(
    ink="#101418",
    soft="#3a4652",
    paper="#ffffff",
    card="#f1f4f2",
    line="#76828c",
    faint="#d5dce0",
    cost="#8f3300",
    cost_soft="#f0bd97",
    gain="#00563e",
    gain_soft="#a5dcc5",
    blue="#0a4a82",
    danger="#8f1d1d",
    danger_paper="#fdecec",
    caution_paper="#fff1cc",
)
DARK = Palette(
    ink="#f3f6f8",
    soft="#bfcad3",
    paper="#0e151b",
    card="#19232b",
    line="#84929d",
    faint="#33424d",
    cost="#ffa26b",
    cost_soft="#7d4117",
    gain="#5fd8ad",
    gain_soft="#175a45",
    blue="#93c8f5",
    danger="#ffa19a",
    danger_paper="#3a1617",
    caution_paper="#352b10",
)


def declared(palette: Palette) -> str:
    """Return the colours of one theme as declarations of CSS variables."""
    return " ".join(f"--wt-{f.name.replace('_', '-')}: {getattr(palette, f.name)};" for f in fields(palette))


def style_variables() -> str:
    """Return the colours as CSS variables that follow the theme of what they stand in (`color-scheme`).

    A browser without `light-dark()` gets the theme of its system.
    """
    both = " ".join(
        f"--wt-{f.name.replace('_', '-')}: light-dark({getattr(LIGHT, f.name)}, {getattr(DARK, f.name)});"
        for f in fields(Palette)
    )
    return (
        f":root {{ {declared(LIGHT)} }} "
        f"@media (prefers-color-scheme: dark) {{ :root {{ {declared(DARK)} }} }} "
        f"@supports (color: light-dark(#000, #fff)) {{ :root {{ {both} }} }}"
    )
