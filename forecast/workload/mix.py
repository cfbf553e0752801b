"""Work mix (Dirichlet): which kind of work does a job turn out to be?

Shares by kind from the shop's own jobs, with a Dirichlet prior that counts as ten jobs (common
practice, no source). Each simulated year draws its own shares.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.frames import WORKS

__all__ = ["SOLE_WORKS", "WorkMix", "fit_mix"]

SOLE_WORKS = ("full_sole", "half_sole", "rewelt")
_PRIOR_JOBS = 10.0
_PRIOR_OF_SOLES = {"full_sole": 0.75, "half_sole": 0.20, "rewelt": 0.05}
_PRIOR_OF_NEWCOMERS = {
    "full_sole": 0.40,
    "half_sole": 0.18,
    "top_piece": 0.28,
    "toe_plate": 0.08,
    "rewelt": 0.03,
    "heel_block": 0.03,
}


@dataclass(frozen=True)
class WorkMix:
    """Dirichlet weights in the order of `frames.WORKS`: of soles that are due, of newcomers."""

    of_soles: np.ndarray
    of_newcomers: np.ndarray


def fit_mix(jobs: pd.DataFrame, of_newcomer: np.ndarray) -> WorkMix:
    """Count kinds of work.

    Parameters
    ----------
    jobs : DataFrame
        Table `frames.BENCH_JOBS`.
    of_newcomer : ndarray of bool, shape (jobs,)
        Which jobs were on pairs that nobody followed.
    """
    return WorkMix(
        _weights(jobs["work"][jobs["work"].isin(SOLE_WORKS)], _PRIOR_OF_SOLES),
        _weights(jobs["work"][of_newcomer], _PRIOR_OF_NEWCOMERS),
    )


def _weights(works: pd.Series, prior: Mapping[str, float]) -> np.ndarray:
    seen = works.value_counts()
    # no draw may be all zeros, so a kind nobody does keeps a trace
    return np.array([_PRIOR_JOBS * prior.get(w, 0.0) + seen.get(w, 0) + 1e-3 for w in WORKS])
