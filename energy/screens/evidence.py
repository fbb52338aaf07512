"""Why believe these numbers? The published checks, computed anew: picture, error, source, what is not covered."""

from __future__ import annotations

from energy.chain.evidence import Check, evidence
from energy.pictures.evidence import evidence_picture
from energy.progress import Progress
from energy.screens import desk, page
from energy.screens.waiting import kept
from energy.words.cautions import cautions
from energy.words.evidence import NOT_FOUND, QUESTION, check_words, sentence


@kept("Computing the checks")
def _checks(progress: Progress | None) -> tuple[Check, ...]:
    return evidence(progress)


def show() -> None:
    """Show the screen."""
    work = desk.work()
    checks = _checks()
    page.answer_line(work, QUESTION, sentence(checks), NOT_FOUND)
    for check in checks:
        words = check_words(check)
        page.picture(evidence_picture(check), words.error)
        page.bullets([f"Source: {words.source}.", f"Not covered: {words.not_covered}."])
    page.cautions(cautions(work.answered, desk.system()))
    page.assumptions(work)
