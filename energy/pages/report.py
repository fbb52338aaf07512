"""The one-page report: an answer as one self-contained HTML file, to read anywhere, print, and keep.

Verdict, pictures, numbers, ledger, assumptions with sources, cautions, version, and the scenario itself attached. All texts
of the user are escaped; the file loads nothing from anywhere and runs no script.
"""

from __future__ import annotations

import base64
import html
import importlib.metadata
from collections.abc import Iterable, Sequence

from energy.pictures.answer import fuel_over_speed, operating_line
from energy.pictures.base import Picture
from energy.pictures.flow import flow_picture
from energy.scenario.bundle import Bundle, to_zip
from energy.words import answer as report
from energy.words.answer import Told
from vehicle.units import UnitSystem

_STYLE = """
:root { color: #101418; background: #fff; font: 15px/1.45 system-ui, sans-serif; }
body { max-width: 60rem; margin: 1.5rem auto; padding: 0 1rem; }
h1 { font-size: 1.15rem; font-weight: 500; margin: 0; } h2 { font-size: 1.1rem; margin: 1.4rem 0 0.3rem; }
.verdict { font-size: 1.5rem; font-weight: 650; line-height: 1.3; margin: 0.3rem 0; }
.small { color: #3d4852; font-size: 0.88rem; }
.pictures { display: flex; flex-wrap: wrap; gap: 1.5rem; align-items: flex-start; }
figure { margin: 0; max-width: 100%; } figure svg { max-width: 100%; height: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: 0.2rem 0.7rem 0.2rem 0; border-bottom: 1px solid #b6bfc7; }
th { border-bottom: 2px solid #101418; } .number { text-align: right; white-space: nowrap; }
.caution { border: 2px solid #101418; border-left-width: 10px; background: #fff4d6; padding: 0.4rem 0.8rem; }
.scroll { overflow-x: auto; } ul { margin: 0.2rem 0; padding-left: 1.2rem; } body, pre { overflow-wrap: anywhere; }
pre { white-space: pre-wrap; border: 1px solid #b6bfc7; padding: 0.6rem; font-size: 0.82rem; }
@media print { body { margin: 0; max-width: none; } figure, .caution, tr { break-inside: avoid; } }
"""


def report_page(told: Told, system: UnitSystem, bundle: Bundle) -> str:
    """Return the report of an answer as HTML; `bundle` is the scenario that was answered, attached as text and zip."""
    verdict = report.verdict(told, system)
    title = told.scenario.title or "windtoll report"
    pictures: list[Picture] = [flow_picture(told, system), fuel_over_speed(told, system)]
    pictures += operating_line(told, system)
    parts = [
        f"<h1>{_e(title)}</h1>",
        f'<p class="verdict">{_e(verdict.sentence)}</p>',
        f'<p class="small">({_e(verdict.case)})</p>',
        *([f'<p class="doubt">{_e(verdict.doubt)}</p>'] if verdict.doubt else []),
        '<div class="pictures">' + "".join(_figure(picture) for picture in pictures[:2]) + "</div>",
        "<h2>Cautions</h2>",
        f'<div class="caution">{_list(report.cautions(told, system))}</div>',
        "<h2>Numbers</h2>",
        _table(("", ""), report.key_numbers(told, system)),
        *(
            ["<h2>How sure it is</h2>", _table(("", ""), report.sure_rows(told, system))]
            if told.spread is not None
            else []
        ),
        "<h2>What the rotor does</h2>",
        f"<p>{_e(report.rotor_sentence(told, system))}</p>",
        '<div class="pictures">' + "".join(_figure(picture) for picture in pictures[2:]) + "</div>",
        "<h2>Ledger, in watts</h2>",
        '<p class="small">What comes in is positive, what goes out negative; each account sums to zero.</p>',
        _table(("account", "", "without", "working", "difference"), report.ledger_lines(told, system), (2, 3, 4)),
        "<h2>The same heat from elsewhere</h2>",
        _table(("source", "what it takes", "mind"), report.other_lines(told, system)),
        "<h2>Assumed, for want of a value in the scenario, with sources</h2>",
        _list(report.assumption_words(entry) for entry in report.assumptions(told)),
        "<h2>The scenario</h2>",
        f"<p>{_attachment(bundle)}</p><pre>{_e(bundle.text)}</pre>",
        f'<p class="small">windtoll {_e(_version())}. An estimate for planning: no structural, electrical or '
        "roadworthiness approval.</p>",
    ]
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_e(title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body>\n</html>\n"
    )


def _e(text: object) -> str:
    return html.escape(str(text), quote=True)


def _figure(picture: Picture) -> str:
    svg = picture.svg().decode()
    # Identifiers of clip paths and the like are numbered anew in every drawing: keep those of one page apart.
    return f'<figure role="img" aria-label="{_e(picture.title)}">{_own_ids(svg, picture.name)}</figure>'


def _own_ids(svg: str, name: str) -> str:
    import re

    return re.sub(r'(id="|url\(#|href="#)', rf"\g<1>{name}-", svg)


def _list(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{_e(text)}</li>" for text in texts) + "</ul>"


def _table(header: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int] = ()) -> str:
    def cells(texts: Sequence[str], tag: str) -> str:
        mark = ' class="number"'
        return "".join(f"<{tag}{mark if k in numbers else ''}>{_e(t)}</{tag}>" for k, t in enumerate(texts))

    head = f"<tr>{cells(header, 'th')}</tr>" if any(header) else ""
    body = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in rows)
    return f'<div class="scroll"><table>{head}{body}</table></div>'


def _attachment(bundle: Bundle) -> str:
    content = base64.b64encode(to_zip(bundle)).decode()
    names = ", ".join(["scenario.toml", *bundle.names()])
    return f'<a download="windtoll_scenario.zip" href="data:application/zip;base64,{content}">Attached as a zip</a>: {_e(names)}.'


def _version() -> str:
    try:
        return importlib.metadata.version("windtoll")
    except importlib.metadata.PackageNotFoundError:  # run from a checkout that was not installed
        return "(not installed)"
