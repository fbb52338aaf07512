"""What follows from a solved section state by its definition: induction, swirl and loss, arrays of its shape."""

from __future__ import annotations

import numpy as np

from energy.aero.blade_element import Sections, SectionStates, tip_loss_factor


def axial_induction(state: SectionStates) -> np.ndarray:
    """Axial induction a: 1 - a is the axial part of the relative speed."""
    return np.asarray(1.0 - np.sin(np.radians(state.inflow_deg)) * state.relative_speed)


def swirl_speed(state: SectionStates) -> np.ndarray:
    """Swirl a' lambda_r: what the tangential part of the relative speed has over the local speed ratio."""
    across = np.cos(np.radians(state.inflow_deg)) * state.relative_speed
    return np.asarray(across - (state.local_speed_ratio + state.residual))


def loss(sections: Sections, state: SectionStates) -> np.ndarray:
    """Prandtl's factor of tip and root."""
    ends = sections.tip_exponent, sections.root_exponent
    return tip_loss_factor(np.sin(np.radians(state.inflow_deg)), *(end[:, None, None] for end in ends))
