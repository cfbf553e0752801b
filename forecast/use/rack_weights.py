"""Weights of a rack: how often does each wearer go out, and what share falls on each pair?

The choice among pairs follows each pair's weight (Luce's choice rule). Weights and going out are
discounted averages, pooled towards the rack and the panel. A pair's habit may have changed in any
of the last periods. Each possible day of a change counts by how well it explains the counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solespan.forecast.use.season import own_out_waves, own_waves, season_factor
from solespan.forecast.use.wear_counts import WearCounts

__all__ = ["RackWeights", "Waves", "faded", "rack_weights", "waves_of"]

_POOL_OUT_DAYS = 8.0
_WEIGHT_STEPS = 8
_CHANGES = (1, 2, 3, 4, 6, 8, 10, 13, 17, 22)  # periods back
_CHANGED_LEANING = 2.0  # of a weight since a change, in wear days worth `_STREAKS` each
_STREAKS = 2.0


@dataclass(frozen=True)
class Waves:
    """Yearly waves of the log weights, shape (2, pairs), and of going out, shape (4, wearers)."""

    pairs: np.ndarray
    out: np.ndarray


@dataclass(frozen=True)
class RackWeights:
    """Weights of pairs, going out of wearers, discounted wear days of pairs, at one origin."""

    weight: np.ndarray
    going_out: np.ndarray
    seen: np.ndarray


def waves_of(
    counts: WearCounts,
    season: dict[int, tuple[float, ...]],
    own_season: float,
    own_out_season: float,
    skip: int = 0,
) -> Waves:
    """Waves of pairs and wearers as known `skip` periods before the newest."""
    return Waves(
        own_waves(counts, season, own_season, skip),
        own_out_waves(counts, season, own_out_season, skip),
    )


def faded(values: np.ndarray, fade: np.ndarray) -> np.ndarray:
    """Sums over periods, the older the less; without waking threads as a product would."""
    return np.asarray(np.einsum("pt,t->p", values, fade))


def rack_weights(
    counts: WearCounts,
    half_life: float,
    leaning: float,
    change: float,
    waves: Waves,
    skip: int = 0,
    panel: float | None = None,
) -> RackWeights:
    """Weights and going out as known `skip` periods before the newest.

    Parameters
    ----------
    counts : WearCounts
    half_life : float
        Periods after which a count weighs half.
    leaning : float
        Wear days that each pair is given at the mean of its rack.
    change : float
        Chance per period that a pair's habit changes.
    waves : Waves
    skip : int
    panel : float, optional
        Mean of going out, by which wearers with little history go; default: that of these.
    """
    days, open_days = counts.days[:, skip:], counts.open_days[:, skip:]
    share = counts.year_share[skip:]
    fade = 0.5 ** (np.arange(days.shape[1]) / half_life)
    could = open_days * season_factor(waves.pairs, share)
    out_days = counts.by_wearer(days)
    weight = np.ones(len(days))
    seen = faded(days, fade)
    each = np.zeros_like(days)
    for _ in range(_WEIGHT_STEPS):
        total = counts.by_wearer(weight[:, None] * could)
        each = could * (fade * out_days / np.maximum(total, 1e-9))[counts.wearer]
        weight = (seen + leaning) / (each.sum(axis=1) + leaning)
    if change > 0.0:
        weight *= _since_change(days * fade, each * weight[:, None], change)
    season_out = season_factor(waves.out, share)
    went = faded(out_days, fade)
    could_go = faded(counts.most_open[:, skip:] * season_out, fade)
    if panel is None:
        panel = (went.sum() + 2.0) / (could_go.sum() + 5.0)
    going_out = (went + _POOL_OUT_DAYS) / (could_go + _POOL_OUT_DAYS / panel)
    return RackWeights(weight, going_out, seen)


def _since_change(days: np.ndarray, mean: np.ndarray, change: float) -> np.ndarray:
    """Mean factor of each pair's weight today, over all periods of a possible change.

    Counts before and after a change are Poisson about the mean times a gamma factor.
    """
    from scipy.special import gammaln  # noqa: PLC0415

    a = _CHANGED_LEANING
    seen, expected = np.cumsum(days, axis=1) / _STREAKS, np.cumsum(mean, axis=1) / _STREAKS

    def evidence(n: np.ndarray, m: np.ndarray) -> np.ndarray:
        return np.asarray(gammaln(a + n) - gammaln(a) - (a + n) * np.log1p(m / a) - n * np.log(a))

    n, m = seen[:, -1], expected[:, -1]
    logs, factors, before = [evidence(n, m)], [np.ones(len(days))], 0
    for period in _CHANGES:
        if period >= days.shape[1]:
            break
        since, due = seen[:, period - 1], expected[:, period - 1]
        chance = np.log(change * (period - before))
        logs.append(chance + evidence(since, due) + evidence(n - since, m - due))
        factors.append((a + since) / (a + due))
        before = period
    weights = np.exp(np.array(logs) - np.max(logs, axis=0))
    return np.asarray((weights * np.array(factors)).sum(axis=0) / weights.sum(axis=0))
