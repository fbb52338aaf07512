"""The chain over draws: a scenario's uncertain inputs propagated through its answer."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from energy.chain.ledger import outcome_of_draws
from energy.progress import Progress, tell
from energy.scenario.inputs import correlations_of, inputs_of, ranges_of
from energy.scenario.read import Scenario
from energy.uncertainty.propagate import USUAL, OutcomeSpread, Sampling, propagate
from energy.uncertainty.quantiles import ChainOutcome
from energy.uncertainty.sensitivities import Chain
from vehicle.quantity import Uncertain


def steady_chain(scenario: Scenario) -> Chain:
    """Return the chain of a steady answer: draws in, change in fuel and heat out."""

    def chain(draws: Mapping[str, np.ndarray], progress: Progress | None = None) -> ChainOutcome:
        count = len(next(iter(draws.values())))
        drawn = outcome_of_draws(inputs_of(scenario, draws))
        tell(progress, 1.0)
        return ChainOutcome(
            *(np.broadcast_to(values, (count,)) for values in (drawn.change_w, drawn.heat_w, drawn.short_of_torque))
        )

    return chain


def spread_of(
    scenario: Scenario,
    chain: Chain | None = None,
    *,
    sampling: Sampling = USUAL,
    known: Mapping[str, Uncertain] | None = None,
    quick: Chain | None = None,
    progress: Progress | None = None,
) -> OutcomeSpread | None:
    """Return how sure a scenario's answer is, None where nothing it uses is uncertain.

    `known` puts other ranges in place of the scenario's (see energy/diagnosis/reconcile.py), `chain` another
    computation in place of the steady answer, `quick` a cheaper one for the sensitivities. `progress` is told the share
    done (see energy/progress.py).
    """
    return propagate(
        {**ranges_of(scenario), **(known or {})},
        chain or steady_chain(scenario),
        correlations=correlations_of(scenario),
        sampling=sampling,
        quick=quick,
        progress=progress,
    )
