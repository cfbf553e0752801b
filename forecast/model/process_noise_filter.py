"""Kalman filter of the process noise.

How are the rows of a path made independent of each other, and what do they add up to?

Wear is a random walk, so the observations of a path share its noise. A Kalman filter along every
path removes from each row what earlier rows say about the walk. The products of the rows that are
left are all that the elimination needs. The rows are taken rank by rank: the first of every path,
then the second, and so on. Paths with most rows come first, so each rank is one stretch of
neighbouring numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.panel.ranks import Ranks

__all__ = ["Whitened", "whiten"]

_FEW_PATHS = 200  # below this one large product is faster than several small ones


@dataclass(frozen=True)
class Whitened:
    """What is left of the rows of n paths.

    gram : ndarray, shape (rows' width, rows' width, n)
        Cross products of the whitened rows.
    log_det : float
        Sum of log innovation variances.
    state : ndarray, shape (rows' width, n)
        By how much each path's walk at its last row is what that row says.
    process_mm2, seen_mm : ndarray, shape (n,)
        Variance of the walk that remains there, and the expected wear.
    """

    gram: np.ndarray
    log_det: float
    state: np.ndarray
    process_mm2: np.ndarray
    seen_mm: np.ndarray


def whiten(
    rows: np.ndarray,
    wear_mm: np.ndarray,
    variance_mm2: np.ndarray,
    ranks: Ranks,
    process_mm: float,
) -> Whitened:
    """Whiten the rows of every path against its process noise.

    Parameters
    ----------
    rows : ndarray, shape (width, observations)
        Derivatives and, last, the data; columns that are zero throughout cost nothing.
    wear_mm, variance_mm2 : ndarray, shape (observations,)
        Expected wear and error variance.
    ranks : Ranks
    process_mm : float
        Variance of wear per mm of expected wear.
    """
    width, n_paths = len(rows), len(ranks.front)
    kept = np.flatnonzero(rows.any(axis=1))
    order, back = ranks.order, ranks.back
    rows, wear, variance = rows[kept[:, None], order], wear_mm[order], variance_mm2[order]
    state = np.zeros((len(kept), n_paths))
    process, seen = np.zeros(n_paths), np.zeros(n_paths)
    gram = np.zeros((len(kept), len(kept), n_paths))
    spread = np.empty(len(order))
    begin = 0
    for m in ranks.many:
        at, begin = slice(begin, begin + m), begin + m
        process[:m] += process_mm * np.maximum(wear[at] - seen[:m], 0.0)
        np.maximum(seen[:m], wear[at], out=seen[:m])
        spread[at] = process[:m] + variance[at]
        gap = rows[:, at] - state[:, :m]
        gain = process[:m] / spread[at]
        state[:, :m] += gain * gap
        process[:m] *= 1.0 - gain
        gap /= np.sqrt(spread[at])
        if m < _FEW_PATHS:
            gram[:, :, :m] += gap[:, None] * gap
        else:
            for i, row in enumerate(gap):
                gram[i, i:, :m] += row * gap[i:]
    for i in range(len(kept)):
        gram[i:, i] = gram[i, i:]
    whole = np.zeros((width, width, n_paths))
    whole[kept[:, None], kept] = gram[:, :, back]
    whole_state = np.zeros((width, n_paths))
    whole_state[kept] = state[:, back]
    log_det = float(np.log(spread).sum())
    return Whitened(whole, log_det, whole_state, process[back], seen[back])
