"""How far a computation is. What can take long takes `progress`: a function that is told the share done.

The share runs from 0 to 1, is never less than before, and is 1 at the end (unless an error is raised). Where the work
is
one array call that cannot be divided, it is told stage by stage, weighted by the time that each was measured to take.
No
number depends on whether anybody listens.
"""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float], None]

PATIENCE_S = 0.4  # what is done before needs no bar


def tell(progress: Progress | None, share: float) -> None:
    """Tell the share done, if anybody listens."""
    if progress is not None:
        progress(share)


def part(progress: Progress | None, start: float, end: float) -> Progress | None:
    """Return what to tell in a part of the work that takes the whole from `start` to `end`; None if nobody listens."""
    if progress is None:
        return None
    return lambda share: progress(start + (end - start) * share)
