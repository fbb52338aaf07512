"""The ideal rotor by momentum theory, in closed form: what the tests hold break-even winds against."""

from __future__ import annotations

import numpy as np

from vehicle.arrays import Values


def ideal_break_even_head_wind(induction: Values, chain_efficiency: Values = 1.0) -> np.ndarray:
    """Return the head wind over road speed at which an ideal rotor's power pays for its own drag.

    Momentum theory [1]_: P = 4a(1−a)²·½ρA(V+w)³ and drag power 4a(1−a)·½ρA(V+w)²·V, so P·η = drag power at
    w/V = 1/(η·(1 − a)) − 1; for η = 1 that is a/(1 − a): half the road speed at the Betz point.

    Parameters
    ----------
    induction : float or array
        Axial induction factor a of the rotor [-]; 1/3 at the Betz point.
    chain_efficiency : float or array, optional
        Heat over shaft power η [-].

    Returns
    -------
    array
        Head wind over road speed w/V [-]; 0 or less where still air suffices.

    References
    ----------
    .. [1] Momentum theory of the actuator disc (Rankine, Froude, Betz), as in every handbook of wind energy.
    """
    return 1 / (np.asarray(chain_efficiency) * (1 - np.asarray(induction, float))) - 1
