"""Names that are scripts, in every HTML file that windtoll writes, opened in a real browser: none runs, none loads."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import altair as alt
import pandas as pd
import pytest
from tests_support import run

from energy.pictures.base import save

pytestmark = pytest.mark.usefixtures("few_draws")

_RUN = "window.broken=1"
HOSTILE = f"x</script><script>{_RUN}</script><img src=http://198.51.100.1/a onerror={_RUN}><svg onload={_RUN}>"

SHORT = f"</script><script>{_RUN}</script>"  # a name has at most 60 letters


DRAWN = ("picture", "report", "comparison")  # by scripts of the page's own, which its policy has to let run


def _hostile_runs(demos: Path, folder: Path) -> Path:
    """Return a list of runs whose vehicle, first pair and first log are called by scripts."""
    shutil.copytree(demos / "road_test", folder)
    listed = folder / "runs.toml"
    text = listed.read_text(encoding="utf-8")
    log = text.partition('file = "')[2].partition('"')[0]
    odd = f"r<img src=x onerror={_RUN}>.csv"
    if os.name == "posix":  # no such name elsewhere
        (folder / log).rename(folder / odd)
        text = text.replace(f'"{log}"', f'"{odd}"')
    text = "\n".join(line for line in text.splitlines() if not line.startswith(("[vehicle]", "name =")))
    text = text.replace("pair = 1\n", f"pair = '{SHORT}'\n").replace(
        "[engine]", f"[vehicle]\nname = '{HOSTILE}'\n[engine]", 1
    )
    listed.write_text(text, encoding="utf-8")
    return listed


@pytest.mark.parametrize("kind", ["picture", "report", "sheet", "call sheet", "road call sheet", "comparison"])
def test_no_name_becomes_a_script(browser: Any, demos: Path, van_folder: Path, tmp_path: Path, kind: str) -> None:
    scenario, target = van_folder / "scenario.toml", tmp_path / "x.html"
    lines = [
        line for line in scenario.read_text(encoding="utf-8").splitlines() if not line.startswith(("title", "what"))
    ]
    text = "\n".join(lines).replace("[heater]", f"[heater]\nwhat = '{SHORT}'")
    scenario.write_text(f"title = '{HOSTILE}'\n{text}", encoding="utf-8")
    arguments = {
        "report": ("answer", str(scenario), "--exact", "--report", str(target)),
        "sheet": ("plan", "--effect", "4 %", "--road", HOSTILE, "--speed", HOSTILE, "--sheet", str(target)),
        "call sheet": ("callsheet", str(scenario), "--out", str(target)),
        "road call sheet": ("plan", "--effect", "4 %", "--road", HOSTILE, "--call-sheet", str(target)),
        "comparison": ("compare", str(_hostile_runs(demos, tmp_path / "runs")), "--report", str(target)),
    }
    if kind == "picture":  # whatever a title or a row may hold
        frame = pd.DataFrame({"what": [HOSTILE, SHORT], "watts": [1.0, 2.0]})
        save(alt.Chart(frame, title=HOSTILE).mark_bar().encode(x="watts:Q", y="what:N"), target)
    else:
        done = run(*arguments[kind])
        assert done.returncode == 0, done.stderr
    written = target.read_text(encoding="utf-8")
    assert "window.broken=1" in written  # the name is in the page
    assert "Content-Security-Policy" in written
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(target.as_uri())
    if kind in DRAWN:
        page.wait_for_selector("svg")
    page.wait_for_function("[...document.images].every(image => image.complete)")
    page.evaluate(
        "new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))"
    )  # one that fails says so next
    assert page.evaluate("window.broken") is None
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    context.close()
