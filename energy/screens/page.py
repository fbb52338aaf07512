"""Pieces that the screens share: the verdict, charts with their exports, tables, cautions, folded assumptions.

Texts that a user wrote are escaped before they reach the page; none is read as markup.
"""

from __future__ import annotations

import base64
import html
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from energy.pictures.base import Picture
from energy.pictures.price import bars_html
from energy.scenario.keys import TABLES
from energy.screens import catalogue, desk, look
from energy.screens.desk import Work
from energy.screens.waiting import Progress as Progress
from energy.words import answer as report
from energy.words.first import cards as cards_of
from energy.words.next_question import next_questions
from energy.words.price import prices_of_heat
from energy.words.said import Said
from energy.words.screens import BEING_WORKED_OUT, FAULTY, NOT_CHECKED_HERE, fault_words, in_the_app, to_the_field
from energy.words.verdict import FirstLines, Verdict
from energy.words.verdict import verdict as verdict_of
from vehicle.problems import Problem
from vehicle.units import UnitSystem

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from energy.chain.answer import Answered

_ONE_LINE = 36  # letters that stand in one line where they are largest

STYLE = (
    f"<style>{look.STYLE}"
    + """
h1 { font-size: 1.5rem !important; padding: 0.4rem 0 !important; }
.block-container, [data-testid="stMainBlockContainer"] { max-width: 1080px; padding-top: 2.6rem; padding-bottom: 4rem; }
.wt-title { color: var(--wt-soft); margin: 0; font-size: 0.95rem; overflow-wrap: anywhere; }
.wt-verdict { font-size: 1.45rem; line-height: 1.35; font-weight: 650; margin: 0.2rem 0 0.2rem;
  overflow-wrap: anywhere; }
.wt-verdict.costs { border-left: 8px solid var(--wt-cost); padding-left: 0.7rem; }
.wt-verdict.saves { border-left: 8px solid var(--wt-gain); padding-left: 0.7rem; }
.wt-verdict.cannot, .wt-verdict.no { border-left: 8px solid var(--wt-soft); padding-left: 0.7rem; }
.wt-verdict.danger { border-left: 8px solid var(--wt-danger); padding-left: 0.7rem; }
.wt-danger { background: var(--wt-danger-paper); border: 2px solid var(--wt-danger); padding: 0.4rem 0.7rem;
  margin: 0 0 0.4rem; }
.wt-danger p { margin: 0; font-size: 1.2rem; }
.wt-headline { display: block; }
.wt-line { display: block; font-size: 1.02rem; font-weight: 450; }
.wt-case { color: var(--wt-soft); margin: 0 0 0.4rem; }
.wt-finding { font-size: 1.08rem; font-weight: 650; margin: 0.6rem 0 0; overflow-wrap: anywhere;
  text-wrap: balance; }
.wt-caution { border: 2px solid var(--wt-ink); border-left-width: 10px; background: var(--wt-caution-paper);
  padding: 0.6rem 0.8rem;
  margin: 0.3rem 0; }
.wt-finding, .wt-caution h2, .wt-problem h2 { padding: 0; }
.wt-caution h2, .wt-problem h2 { font-size: 1rem; margin: 0 0 0.2rem; }
.wt-caution ul, .wt-problem ul, .wt-list { margin: 0; padding-left: 1.1rem; }
.wt-problem { border: 2px solid var(--wt-danger); border-left-width: 10px;
  background: var(--wt-danger-paper); padding: 0.6rem 0.8rem;
  margin: 0.3rem 0;
  overflow-wrap: anywhere; }
.wt-least { color: var(--wt-ink); margin: 0 0 0.5rem; overflow-wrap: anywhere; }
.wt-least:only-child { margin-top: -0.6rem; }
.wt-progress p { margin: 0 0 0.2rem; }
.wt-progress progress { appearance: none; width: 100%; height: 0.8rem; border: 1px solid var(--wt-ink);
  background: var(--wt-paper); }
.wt-progress progress::-webkit-progress-bar { background: var(--wt-paper); }
.wt-progress progress::-webkit-progress-value { background: var(--wt-blue); }
.wt-progress progress::-moz-progress-bar { background: var(--wt-blue); }
.wt-scroll { overflow-x: auto; background: /* a shade at each side on which more of the table is */
  linear-gradient(to right, var(--wt-paper) 40%, transparent) left / 2.5rem 100% no-repeat local,
  linear-gradient(to left, var(--wt-paper) 40%, transparent) right / 2.5rem 100% no-repeat local,
  linear-gradient(to right, var(--wt-faint), transparent) left / 0.9rem 100% no-repeat scroll,
  linear-gradient(to left, var(--wt-faint), transparent) right / 0.9rem 100% no-repeat scroll; }
.wt-drawn { display: block; width: 120px; height: 60px; margin: 0.3rem 0 0.6rem; background: currentColor; }
.wt-table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
.wt-table th, .wt-table td { border-bottom: 1px solid var(--wt-faint); padding: 0.28rem 0.6rem 0.28rem 0;
  text-align: left;
  vertical-align: top;
  overflow-wrap: break-word; }
.wt-table th { border-bottom: 2px solid var(--wt-ink); vertical-align: bottom; }
.wt-table td:first-child:not(.number) { min-width: 7.5rem; }
.wt-table td:not(.number) { min-width: 5rem; }
.wt-table .number + :not(.number) { padding-left: 1rem; }
.wt-table .number { text-align: right; white-space: nowrap; }
[data-testid="stMain"] [data-testid="stPageLink"] a p { color: var(--wt-blue); text-decoration: underline;
  white-space: normal; }
.wt-note { color: var(--wt-soft); font-size: 0.9rem; margin: 0.1rem 0 0.5rem; overflow-wrap: anywhere; }
@media (max-width: 640px) {
  .block-container, [data-testid="stMainBlockContainer"] { padding: 3.6rem 1rem 3rem; }
  .wt-verdict { font-size: 1.2rem; }
}
@media print { [data-testid="stSidebar"], header { display: none; } }
</style>"""
)


def escape(text: object) -> str:
    """Return a text as HTML that shows it."""
    return html.escape(str(text), quote=True)


def verdict(work: Work, heading: str, more: Callable[[Answered], str] = lambda answered: "") -> Callable[[], Answered]:
    """Show the screen's question, what is wrong with the scenario if anything, and the verdict of the usable one.

    The verdict of the values as exact comes at once. Call what is returned, after the rest of the screen is drawn,
    to put the verdict with its interval in its place; it returns that answer. `more` makes HTML that goes with it.
    """
    st.title(heading)
    problems(work)
    slot, under = st.empty(), st.empty()
    # What was told with its interval before stands at once; else the quick one until the draws are done.
    before = desk.answered_of.held(work.usable)
    _verdict(slot, work.answered if before is None else before, more)
    _doubt(under, BEING_WORKED_OUT if before is None else _doubt_of(before))

    def surely() -> Answered:
        if before is not None:
            return before
        try:
            with under:
                answered = desk.answered_of(work.usable)
        except Exception:
            under.empty()
            raise
        _doubt(under, _doubt_of(answered))
        _verdict(slot, answered, more)
        return answered

    return surely


def _doubt_of(answered: Answered) -> str:
    return verdict_of(answered, desk.system()).least_known


def _doubt(slot: DeltaGenerator, words: str) -> None:
    if words:
        slot.html(f'<p class="wt-least">{escape(words)}</p>')
    else:
        slot.empty()


def _verdict(slot: DeltaGenerator, answered: Answered, more: Callable[[Answered], str]) -> None:
    title = f'<p class="wt-title">{escape(answered.scenario.title)}</p>' if answered.scenario.title else ""
    slot.html(title + verdict_html(verdict_of(answered, desk.system())) + more(answered))


def verdict_html(first_lines: FirstLines) -> str:
    """Return first lines as HTML: danger first, then the headline, then one number a line."""
    danger = " ".join(f"<p>{escape(in_the_app(line))}</p>" for line in (*first_lines.dangers, *first_lines.warnings))
    alert = f'<div class="wt-danger" role="alert">{danger}</div> ' if danger else ""
    word = first_lines.word if isinstance(first_lines, Verdict) else ""
    kind = "danger" if first_lines.dangers else word.partition(" ")[0]
    lines = " ".join(f'<span class="wt-line">{escape(in_the_app(line))}.</span>' for line in first_lines.lines)
    end = "" if first_lines.headline.endswith(".") else "."
    size = "wt-loud" if len(first_lines.loud) <= _ONE_LINE else "wt-loud wt-long"
    loud = first_lines.loud if first_lines.quiet else f"{first_lines.loud}{end}"
    quiet = f' <span class="wt-quiet">{escape(first_lines.quiet)}{end}</span>' if first_lines.quiet else ""
    return (
        f'<div class="wt-verdict {kind}" role="status">{alert}'
        f'<span class="wt-headline"><span class="{size}">{escape(loud)}</span>{quiet}</span> {lines}</div>'
        f'<p class="wt-case">{escape(_operate(first_lines))}</p>'
    )


def cards_html(answered: Answered, system: UnitSystem) -> str:
    """Return the three numbers of an answer: fuel, heat, and the price of heat from here and elsewhere."""
    prices = prices_of_heat(answered, system)
    texts = []
    for card in cards_of(answered, system):
        lines = "".join(f"<p>{escape(line)}</p>" for line in card.lines)
        texts.append(f"<h2>{escape(card.name)}</h2><strong>{escape(card.value)}</strong>{lines}")
    if prices:
        texts.append(f"<h2>1 kWh of heat takes</h2>{bars_html(prices)}")
    return f'<div class="wt-cards">{"".join(f"""<div class="wt-card">{text}</div>""" for text in texts)}</div>'


def _operate(first_lines: FirstLines) -> str:
    """Return whether it may be operated like this, as the app says it: by its screens, not by commands."""
    if first_lines.operate == "no" or first_lines.not_when:
        return in_the_app(first_lines.may_be_operated)
    return NOT_CHECKED_HERE


def first_lines(work: Work, heading: str, first_lines: FirstLines) -> None:
    """Show a screen's question and the first lines of its own answer."""
    st.title(heading)
    problems(work)
    title = f'<p class="wt-title">{escape(work.answered.scenario.title)}</p>' if work.answered.scenario.title else ""
    st.html(title + verdict_html(first_lines))


def answer_line(work: Work, heading: str, sentence: str, *more: str) -> None:
    """Show a screen's question and its own answer in one sentence, and what goes with it under that."""
    st.title(heading)
    problems(work)
    title = f'<p class="wt-title">{escape(work.answered.scenario.title)}</p>' if work.answered.scenario.title else ""
    lines = "".join(f'<p class="wt-case">{escape(in_the_app(line))}</p>' for line in more)
    st.html(f'{title}<p class="wt-verdict" role="status">{escape(in_the_app(sentence))}</p>{lines}')


def cannot(work: Work, heading: str, sentence: str, why: Sequence[object], words: str = "Why") -> None:
    """Show a screen's question, that it cannot be answered, and the faults that stand in the way."""
    answer_line(work, heading, sentence)
    problem_list([_fault(each) for each in why], words)


def _fault(fault: object) -> str:
    return fault_words(fault, desk.system()) if isinstance(fault, Problem) else str(fault)


def problems(work: Work) -> None:
    """Show what is wrong with the scenario in work."""
    if work.problems:
        problem_list([_fault(problem) for problem in work.problems], FAULTY)
        _field_links(work)


def _field_links(work: Work) -> None:
    """Link the field of each fault, where it has one: the screen of the scenario opens its part and goes to it."""
    pages: dict[str, Any] = st.session_state.get("pages", {})
    for place in dict.fromkeys(place for problem in work.problems if (place := field_of(problem.key))):
        if "scenario" in pages:
            st.page_link(pages["scenario"], label=to_the_field(place), query_params={**desk.address(), "field": place})


def field_of(key: str) -> str:
    """Return the field that a fault's key belongs to ("trip.road_speed"), its part alone where it is of no one field,
    "" where it is of no part of the scenario.
    """
    table, _, rest = key.partition(":")[0].partition(".")
    table, name = table.strip("[]"), rest.partition(".")[0].partition("[")[0]
    if table not in TABLES:
        return ""
    return f"{table}.{name}" if name in TABLES[table].model_fields else table


def problem_list(texts: Sequence[str], heading: str) -> None:
    """Show faults as an alert."""
    items = "".join(f"<li>{escape(in_the_app(text))}</li>" for text in texts)
    st.html(f'<div class="wt-problem" role="alert"><h2>{escape(heading)}</h2><ul>{items}</ul></div>')


def picture(shown: Picture, note: str = "", *, headed: bool = True) -> None:
    """Show a chart under the finding that it shows (unless the screen's answer says it), and its files to take away."""
    if headed:
        finding(shown.title)
    chart(shown)
    if note:
        st.html(f'<p class="wt-note">{escape(note)}</p>')
    with st.expander(f"Download this picture ({shown.name.replace('_', ' ')})"):
        for kind, mime, content in (
            ("svg", "image/svg+xml", shown.svg),
            ("png", "image/png", shown.png),
            ("csv", "text/csv", shown.csv),
        ):
            st.download_button(
                f"{kind.upper()}: {shown.name}.{kind}",
                data=content,
                file_name=f"{shown.name}.{kind}",
                mime=mime,
                key=f"take {shown.name} {kind}",
                on_click="ignore",
            )


def chart(shown: Picture) -> None:
    """Show a chart by itself: inside what is folded, where nothing more can be folded."""
    st.vega_lite_chart(
        shown.shown,
        width="content" if shown.fixed_width else "stretch",
        theme=None,
        alt=shown.title,
        key=f"chart {shown.name}",
    )


def drawn_html(svg: str) -> str:
    """Return a small drawing as a shape in the text's colour: the framework takes SVG out of HTML."""
    if not svg:
        return ""
    label = svg.partition('aria-label="')[2].partition('"')[0]
    content = base64.b64encode(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).encode()).decode()
    shape = f"url(data:image/svg+xml;base64,{content}) left / contain no-repeat"
    style = f"-webkit-mask: {shape}; mask: {shape}"
    return f'<span class="wt-drawn" role="img" aria-label="{label}" style="{style}"></span>'


def finding(text: str) -> None:
    """Show a heading in the middle of a screen."""
    st.html(f'<h2 class="wt-finding">{escape(text)}</h2>')


def table(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    numbers: Sequence[int] = (),
    caption: str,
    old: Sequence[int] = (),
) -> None:
    """Show a small table; columns of `numbers` stand to the right, rows of `old` are grey. It scrolls by itself where
    it is too wide.
    """

    def row(cells: Sequence[str], tag: str) -> str:
        scope = ' scope="col"' if tag == "th" else ""
        return "".join(
            f"<{tag}{scope}{' class=number' if k in numbers else ''}>{escape(cell)}</{tag}>"
            for k, cell in enumerate(cells)
        )

    body = "".join(f"<tr{' class=wt-old' if k in old else ''}>{row(cells, 'td')}</tr>" for k, cells in enumerate(rows))
    head = f"<thead><tr>{row(header, 'th')}</tr></thead>" if any(header) else ""
    st.html(
        f'<div class="wt-scroll" role="region" aria-label="{escape(caption)}" tabindex="0">'
        f'<table class="wt-table">{head}<tbody>{body}</tbody></table></div>'
    )


def cautions(texts: Sequence[str]) -> None:
    """Show what could hurt someone or make the answer wrong, the first three at once and the others folded."""

    def block(some: Sequence[str]) -> str:
        return "<ul>" + "".join(f"<li>{escape(in_the_app(text))}</li>" for text in some) + "</ul>"

    if texts:
        st.html(f'<div class="wt-caution" role="note"><h2>Caution</h2>{block(texts[:3])}</div>')
    if len(texts) > 3:
        with st.expander("1 more caution" if len(texts) == 4 else f"{len(texts) - 3} more cautions"):
            st.html(f'<div class="wt-caution">{block(texts[3:])}</div>')


def assumptions(work: Work) -> None:
    """Show the values that were assumed, with range and source, folded."""
    entries = report.assumptions(work.answered)
    with st.expander(f"Defaults used ({len(entries)})"):
        items = "".join(f"<li>{escape(report.assumption_words(entry, desk.system()))}</li>" for entry in entries)
        st.html(f'<ul class="wt-list">{items}</ul>')


def bullets(texts: Sequence[str]) -> None:
    """Show texts as a list."""
    items = "".join(f"<li>{escape(in_the_app(text))}</li>" for text in texts)
    st.html(f'<ul class="wt-list">{items}</ul>')


def said(said: Said, *, headed: bool = True) -> None:
    """Show what a question says: headlines, tables, lists."""
    if headed:
        bullets(said.headlines)
    for each in said.tables:
        finding(each.title)
        numbers = range(each.left, len(each.columns))
        table(each.columns, each.rows, numbers=numbers, caption=each.title)
    for title, texts in said.lists:
        finding(title)
        bullets(texts)


def next_steps(answered: Answered, here: str) -> None:
    """Show the one or two questions that follow from an answer, each with why; `here` is the place one stands at."""
    chosen = next_questions(answered, verdict_of(answered, desk.system()), here=here)
    if not chosen:
        return
    finding("What to check next")
    for question in chosen:
        st.html(f'<p class="wt-next">{escape(question.why)}</p>')
        link(question.place)


def link(place: str) -> None:
    """Show a link to the screen at a place, named by its question."""
    asked = next(screen.question for screen in catalogue.SCREENS if screen.place == place)
    pages: dict[str, Any] = st.session_state.get("pages", {})
    if place in pages:
        st.page_link(pages[place], label=asked, query_params=desk.address())
    else:  # a screen by itself, without the app's frame
        st.html(f"<p>{escape(asked)}</p>")


def report_button(work: Work) -> None:
    """Offer the one-page report of the usable scenario."""
    from energy.pages.report import report_page

    system = desk.system()
    st.download_button(
        "Download the one-page report (HTML, to print or keep)",
        data=lambda: report_page(desk.answered_of(work.usable), system, work.usable).encode(),
        file_name="windtoll_report.html",
        mime="text/html",
        key="take report",
        on_click="ignore",
    )
