"""Item use (thinned demand).

How much of one item do simulated jobs take, how is that share learnt, and what does a hide hold?

A job takes an item with some chance: its size, leather and thickness decide. So the jobs of a use
are thinned by that chance, job by job. Half as many jobs vary more than half of all jobs would.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import WORKS

__all__ = [
    "BULK_USES",
    "PAIR_DM2",
    "YIELD_SHARE",
    "item_shares",
    "item_use",
    "pairs_of_leather",
]

BULK_USES = frozenset({"welt", "thread", "cement"})  # in metres and millilitres, by any amount
YIELD_SHARE = 0.7  # of a bend's area that becomes soles: common practice, no source
# Leather that a pair takes, flat and with the waste round it: common practice, no source.
PAIR_DM2: dict[str, float] = {"sole": 8.0, "half_sole": 4.5, "top_piece": 1.2}
_PRIOR_JOBS = 10.0  # shares by size and leather count as so many jobs: common practice, no source


def item_shares(expected: Sequence[float], used: Sequence[float]) -> np.ndarray:
    """Dirichlet weights of the items of one use, and last of none of them, shape (items + 1,).

    Parameters
    ----------
    expected : sequence of float
        Share of jobs that each item fits, from the pairs that are followed; at most 1 together.
    used : sequence of float
        Jobs that took each item by the stock book.
    """
    known = np.asarray(expected, dtype=float)
    if (known < 0).any() or known.sum() > 1 + 1e-9:
        raise BadHorizon("expected: shares are 0 or more and sum to 1 at most")
    prior = _PRIOR_JOBS * np.append(known, max(0.0, 1.0 - known.sum()))
    return np.asarray(prior + np.append(np.asarray(used, dtype=float), 0.0))


def item_use(
    counts: np.ndarray, use: str, weights: np.ndarray, place: int, rng: np.random.Generator
) -> np.ndarray:
    """What jobs take of one item by day, shape (years, days).

    Parameters
    ----------
    counts : ndarray of int, shape (years, days, works)
        Jobs by kind, in the order of `WORKS`.
    use : str
        What the item is used as.
    weights : ndarray
        As `item_shares` gives them. Each year draws its own share, as the share is not known.
    place : int
        Of the item in them.
    """
    own, rest = float(weights[place]), float(weights.sum() - weights[place])
    years = counts.shape[0]
    if own <= 0:
        return np.zeros(counts.shape[:2])
    share = np.ones(years) if rest <= 0 else np.asarray(rng.beta(own, rest, years))
    each = _each(use)
    out = np.zeros(counts.shape[:2])
    for work in np.flatnonzero(each):
        year, day = np.nonzero(counts[:, :, work])
        taken = rng.binomial(counts[year, day, work], share[year])
        out[year, day] += each[work] * taken
    return out


def _each(use: str) -> np.ndarray:
    quantities: list[Mapping[str, float]] = [dict(STANDARDS[work].uses) for work in WORKS]
    return np.array([one.get(use, 0.0) for one in quantities])


def pairs_of_leather(
    area_dm2: float, use: str, yield_share: float = YIELD_SHARE, pair_dm2: float | None = None
) -> int:
    """Whole pairs that a piece of leather gives.

    Parameters
    ----------
    area_dm2 : float
        Of the piece; a bend has about 100 to 140 dm2 (common practice, no source).
    yield_share : float
        Of the area that becomes soles.
    pair_dm2 : float, optional
        What a pair takes; left out = `PAIR_DM2` of the use.

    Raises
    ------
    BadHorizon
        The use is not cut from leather, a number is not positive, or not one pair comes of it.
    """
    each = PAIR_DM2.get(use) if pair_dm2 is None else pair_dm2
    if each is None:
        raise BadHorizon(f"use: {use!r} is not cut from a piece; cut are {', '.join(PAIR_DM2)}")
    if area_dm2 <= 0 or each <= 0 or not 0 < yield_share <= 1:
        raise BadHorizon("area and leather a pair are above 0; the yield is above 0, at most 1")
    pairs = int(np.floor(area_dm2 * yield_share / each + 1e-9))
    if not pairs:
        raise BadHorizon(f"area_dm2: {area_dm2:g} dm2 do not give one pair of {use}")
    return pairs
