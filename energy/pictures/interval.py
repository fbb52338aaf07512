"""The picture of a verdict's range: 90 % and 50 % on an axis with zero, baselines and the limit.

Drawn as HTML whose places are shares of the width: its texts keep their size from a phone to a printed page, and it is
there at once, without a script. Colours come from energy/pictures/palette.py.
"""

from __future__ import annotations

import html
from collections.abc import Sequence

from energy.words.interval import Interval, Mark

STYLE = """
.wt-strip { margin: 0.2rem 0 0.4rem; font-size: 0.95rem; color: var(--wt-ink); line-height: 1.2; }
.wt-strip p { margin: 0; }
.wt-strip-name { color: var(--wt-soft); }
.wt-strip-field { position: relative; margin: 0 0.4rem; }
.wt-strip-row { position: relative; height: 1.3rem; }
.wt-strip-row span { position: absolute; white-space: nowrap; background: var(--wt-paper); padding: 0 2px; }
.wt-strip-row .middle { transform: translateX(-50%); }
.wt-strip-row .right { transform: translateX(-100%); }
.wt-strip-row strong { font-size: 1.1rem; }
.wt-strip-bar { position: relative; height: 2rem; }
.wt-strip-bar i { position: absolute; display: block; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.wt-strip-bar .axis { left: 0; right: 0; top: 1rem; height: 0; border-top: 2px solid var(--wt-line); }
.wt-strip-bar .ninety { top: 0.45rem; height: 1.1rem; border: 1px solid var(--wt-cost); border-radius: 3px;
  background: var(--wt-cost-soft); box-sizing: border-box; }
.wt-strip-bar .fifty { top: 0.25rem; height: 1.5rem; border-radius: 3px; background: var(--wt-cost); }
.wt-strip .saves .ninety { background: var(--wt-gain-soft); border-color: var(--wt-gain); }
.wt-strip .saves .fifty { background: var(--wt-gain); }
.wt-strip .open .ninety { background: var(--wt-faint); border-color: var(--wt-soft); }
.wt-strip .open .fifty { background: var(--wt-soft); }
.wt-strip-bar .median { top: 0; height: 2rem; width: 6px; margin-left: -3px; background: var(--wt-ink);
  border: 1px solid var(--wt-paper); box-sizing: content-box; margin-top: -1px; }
.wt-strip-line { position: absolute; width: 0; border-left: 2px dashed var(--wt-soft); top: 1.3rem; }
.wt-strip-line.zero { border-left: 2px solid var(--wt-ink); }
.wt-strip-line.limit { border-left: 3px double var(--wt-danger); }
"""

_MARGIN = 0.05  # of the span, on either side
# A text's width as a share of the drawing's at phone width (342 px, 7.4 px a letter at 15 px): texts that keep apart
# there keep apart on anything wider.
_LETTER = 7.4 / 342
_GAP = 0.02
_KEY = "Pale: 90 % range; dark: 50 %; bar: median"


def domain_of(intervals: Sequence[Interval]) -> tuple[float, float]:
    """Return the ends of an axis on which all of the intervals stand with their marks."""
    values = [value for one in intervals for value in (*one.ends, *(mark.value for mark in one.marks))]
    low, high = min(values), max(values)
    span = (high - low) or 1.0
    return low - _MARGIN * span, high + _MARGIN * span


def interval_html(interval: Interval, domain: tuple[float, float] | None = None, *, outcome: str = "costs") -> str:
    """Return the picture of one range. `outcome` (the verdict's word) chooses its colour.

    `domain` is the axis, where several pictures share one.
    """
    low, high = domain or domain_of([interval])

    def at(value: float) -> float:
        return (value - low) / (high - low)

    kind = {"costs": "costs", "saves": "saves"}.get(outcome, "open")
    ends, words = interval.ends, html.escape(interval.words, quote=True)
    bar = '<i class="axis"></i>'
    if len(ends) == 5:
        bar += _box("ninety", at(ends[0]), at(ends[4])) + _box("fifty", at(ends[1]), at(ends[3]))
    bar += f'<i class="median" style="left:{_percent(at(interval.middle))}"></i>'
    middle = f"{interval.figure(interval.middle)} {interval.unit}"
    above = _label(f"<strong>{html.escape(middle)}</strong>", at(interval.middle), middle)
    texts = [(at(end), interval.figure(end)) for end in (ends[0], ends[-1]) if len(ends) == 5]
    texts += [(at(mark.value), mark.words) for mark in interval.marks]
    rows = _rows(texts)
    of_marks = zip(interval.marks, rows[len(texts) - len(interval.marks) :], strict=True)
    lines = "".join(_line(mark, at(mark.value), row) for mark, row in of_marks)
    under = "".join(
        '<div class="wt-strip-row">'
        + "".join(_label(html.escape(w), place, w) for (place, w), row in zip(texts, rows, strict=True) if row == k)
        + "</div>"
        for k in range(max(rows, default=-1) + 1)
    )
    key = f'<p class="wt-strip-name">{_KEY}</p>' if len(ends) == 5 else ""
    return (
        f'<div class="wt-strip" role="img" aria-label="{words}"><div class="wt-strip-field {kind}">'
        f'<div class="wt-strip-row">{above}</div>{lines}<div class="wt-strip-bar">{bar}</div>{under}</div>{key}</div>'
    )


def _percent(share: float) -> str:
    return f"{100 * share:.2f}%"


def _box(name: str, left: float, right: float) -> str:
    width = max(right - left, 0.004)
    return f'<i class="{name}" style="left:{_percent(left)};width:{_percent(width)}"></i>'


def _side(place: float, words: str) -> str:
    """Return where a text stands at its place: from it, around it, or up to it, so that it stays inside."""
    half = len(words) * _LETTER / 2
    if place < half:
        return "left"
    return "right" if place > 1 - half else "middle"


def _label(markup: str, place: float, words: str) -> str:
    return f'<span class="{_side(place, words)}" style="left:{_percent(place)}">{markup}</span>'


def _span(place: float, words: str) -> tuple[float, float]:
    wide = len(words) * _LETTER
    start = {"left": place, "middle": place - wide / 2, "right": place - wide}[_side(place, words)]
    return start - _GAP, start + wide + _GAP


def _rows(texts: Sequence[tuple[float, str]]) -> list[int]:
    """Return the row of each text under the axis, so that no two of a row touch at phone width."""
    taken: list[list[tuple[float, float]]] = []
    rows = []
    for place, words in texts:
        left, right = _span(place, words)
        free = (k for k, row in enumerate(taken) if all(right <= a or left >= b for a, b in row))
        k = next(free, len(taken))
        if k == len(taken):
            taken.append([])
        taken[k].append((left, right))
        rows.append(k)
    return rows


def _line(mark: Mark, place: float, row: int) -> str:
    kind = mark.kind if mark.kind in ("zero", "limit") else "other"
    return f'<i class="wt-strip-line {kind}" style="left:{_percent(place)};height:{2 + 1.3 * row + 0.15:.2f}rem"></i>'
