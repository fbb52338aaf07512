"""One stretch of rolling out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class CoastRun:
    """One stretch of rolling out: seconds from its start, speeds in m/s, +1 or −1 for the direction.

    `assumed`: nothing shows the direction, the runs are taken to alternate. `note`: what was cut off when it was found.
    """

    name: str
    time_s: np.ndarray
    speed_m_s: np.ndarray
    direction: int
    assumed: bool = False
    note: str = ""
