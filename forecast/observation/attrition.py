"""Attrition: how likely is it that a pair is gone for good, though its last sole is still on?

A customer who leaves says nothing: the sole stays on in the records. A sole that is still on is
therefore a mixture: the pair is gone, or the sole has lasted. Source for customers at large, from
memory: Schmittlein, Morrison and Colombo, Management Science 33:1, 1987. A customer leaves with
some chance after each visit and at some rate in the years without one. A pair drops out of use at
a third of that rate. Chance and rate are learnt from soles that came off and soles that did not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

__all__ = ["Leaving", "Silence", "chance_gone", "chance_in_use", "learn_leaving"]

_YEAR_DAYS = 365.25
_PAIR_SHARE = 1.0 / 3.0  # of the customers' rate, at which a pair drops out; no source
# medians before any data, and the SD of their logit and log; common practice, no source
_AT_VISIT, _PER_YEAR, _SD = 0.06, 0.04, 0.8


@dataclass(frozen=True)
class Leaving:
    """Chance that a customer leaves after a visit, and rate of leaving per year without one."""

    at_visit: float = _AT_VISIT
    per_year: float = _PER_YEAR
    learnt_from: int = 0


@dataclass(frozen=True)
class Silence:
    """How long nothing was heard, of n soles.

    age_days : since the sole was fitted, or since its owner said that it is worn.
    quiet_days : since the wearer was last seen or logged.
    visited : whether the wearer was seen again after the sole was fitted.
    """

    age_days: np.ndarray
    quiet_days: np.ndarray
    visited: np.ndarray


def chance_gone(leaving: Leaving, silence: Silence) -> np.ndarray:
    """Chance that a pair is gone, before its wear is looked at, shape (n,)."""
    years = (silence.quiet_days + _PAIR_SHARE * silence.age_days) / _YEAR_DAYS
    stays = np.exp(-leaving.per_year * years) * np.where(
        silence.visited, 1.0, 1.0 - leaving.at_visit
    )
    return np.asarray(1.0 - stays)


def chance_in_use(gone: np.ndarray, lasts: np.ndarray) -> np.ndarray:
    """Chance that a pair is still in use, given that nobody came.

    Parameters
    ----------
    gone : ndarray
        Chance that it is gone, before its wear is looked at.
    lasts : ndarray
        Chance that a pair in use has not come in by now.
    """
    stays = (1.0 - gone) * lasts
    return np.asarray(stays / np.maximum(gone + stays, 1e-12))


def learn_leaving(came: Silence, waiting: Silence, lasts: np.ndarray) -> Leaving:
    """Learn how customers leave from soles that came off and soles that have not.

    Parameters
    ----------
    came, waiting : Silence
        Of soles that came off, on that day; of soles still on, today.
    lasts : ndarray, shape (soles still on,)
        Chance that a pair in use has not come in by now.
    """
    start = np.array([logit(_AT_VISIT), np.log(_PER_YEAR)])

    def value(at: np.ndarray) -> float:
        leaving = Leaving(float(expit(at[0])), float(np.exp(at[1])))
        gone = chance_gone(leaving, waiting)
        told = np.log(np.maximum(gone + (1.0 - gone) * lasts, 1e-12)).sum()
        stayed = np.log1p(-np.minimum(chance_gone(leaving, came), 1.0 - 1e-9)).sum()
        return float(0.5 * np.square((at - start) / _SD).sum() - told - stayed)

    found = minimize(value, start, method="Nelder-Mead", options={"xatol": 0.01, "fatol": 0.01})
    return Leaving(
        float(expit(found.x[0])), float(np.exp(found.x[1])), len(came.age_days) + len(lasts)
    )
