"""The picture of a verdict's range: 90 % and 50 % on an axis with zero, baselines and the limit.

Drawn as HTML whose places are shares of the width: its texts keep their size from a phone to a printed page, and it is
there at once, without a script. Colours come from energy/pictures/palette.py.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

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
_KEY = "Long: 90 % range; short: 50 %; bar: median"


@dataclass(frozen=True)
class _Text:
    """A text under or above the axis, at its place as a share of the width; `lined` where a line leads down to it."""

    place: float
    words: str
    lined: bool = False

    @property
    def wide(self) -> float:
        """Its width as a share of the drawing's at phone width."""
        return len(self.words) * _LETTER


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
    above = _label(f"<strong>{html.escape(middle)}</strong>", _Text(at(interval.middle), middle))
    texts = [_Text(at(end), interval.figure(end)) for end in (ends[0], ends[-1]) if len(ends) == 5]
    texts += [_Text(at(mark.value), mark.words, lined=True) for mark in interval.marks]
    rows = _rows(texts)
    of_marks = zip(interval.marks, rows[len(texts) - len(interval.marks) :], strict=True)
    lines = "".join(_line(mark, at(mark.value), row) for mark, row in of_marks)
    under = "".join(
        '<div class="wt-strip-row">'
        + "".join(_label(html.escape(text.words), text) for text, row in zip(texts, rows, strict=True) if row == k)
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


def _side(text: _Text) -> str:
    """Return where a text stands at its place, so that it stays inside: from it, around it, or up to it.

    The text of a line never stands around it: the line would seem to belong to what it goes through.
    """
    half = text.wide / 2
    if text.place < half or (text.lined and text.place + text.wide <= 1):
        return "left"
    return "right" if text.lined or text.place > 1 - half else "middle"


def _label(markup: str, text: _Text) -> str:
    return f'<span class="{_side(text)}" style="left:{_percent(text.place)}">{markup}</span>'


def _span(text: _Text) -> tuple[float, float]:
    start = {"left": 0.0, "middle": text.wide / 2, "right": text.wide}[_side(text)]
    return text.place - start - _GAP, text.place - start + text.wide + _GAP


def _rows(texts: Sequence[_Text]) -> list[int]:
    """Return the row of each text under the axis, so that at phone width no two of a row touch, and no line goes
    through another one's text on its way down.

    Those that stand from their line are placed from the right, each under what is placed to its right; those that
    stand up to it from the left.
    """
    rows: dict[int, int] = {}

    def touches(k: int, row: int) -> bool:
        left, right = _span(texts[k])
        spans = (_span(texts[m]) for m, taken in rows.items() if taken == row)
        return any(right > a and left < b for a, b in spans)

    def crosses(k: int, row: int) -> bool:
        left, right = _span(texts[k])
        over = any(texts[m].lined and taken > row and left < texts[m].place < right for m, taken in rows.items())
        here = texts[k].place
        inside = ((_span(texts[m])[0] + _GAP, _span(texts[m])[1] - _GAP) for m, taken in rows.items() if taken < row)
        under = any(a < here < b for a, b in inside)
        return over or (texts[k].lined and under)

    def order(k: int) -> tuple[int, float]:
        text = texts[k]
        if not text.lined:
            return 0, text.place
        return (1, text.place) if _side(text) == "right" else (2, -text.place)

    for k in sorted(range(len(texts)), key=order):
        free = [row for row in range(len(texts)) if not touches(k, row)]
        rows[k] = next((row for row in free if not crosses(k, row)), free[0])
    return [rows[k] for k in range(len(texts))]


def _line(mark: Mark, place: float, row: int) -> str:
    kind = mark.kind if mark.kind in ("zero", "limit") else "other"
    return f'<i class="wt-strip-line {kind}" style="left:{_percent(place)};height:{2 + 1.3 * row + 0.15:.2f}rem"></i>'
