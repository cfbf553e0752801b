"""Year level (Gaussian state space): how many jobs will the coming year bring?

The simulated pairs say a number of jobs, and so do the counts of past half-years. Both are noisy
sights of one slowly moving log rate, whose growth may change. The pairs' number has a bias that is
alike in every year, so forecasts of past years show it. Growth, drift, bias and errors have unknown
sizes. A grid of sizes
is weighed by how well it explains the shop's own past, and its priors are common practice without a
source. Without a past the pairs stand alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import betainc, ndtr, pdtr

__all__ = ["PastYears", "YearLevel", "fit_level"]

# Sizes in log: drift a root year, growth a year, its change a root year, bias of the pairs' number,
# its error of a year.
DRIFT_SD = (0.02, 0.05, 0.10)
GROWTH_SD = {0.03: 0.3, 0.12: 0.4, 0.30: 0.3}  # sizes and their prior weights
BEND_SD = (0.0, 0.10)
# Variance of a count over its mean: a pair that came lately does not come again, so counts vary
# less than Poisson's.
DISPERSION = (0.6, 1.0)
# The last two are in parts of the spread that the simulated years have beyond a count's own.
ERROR_PARTS = (0.5, 1.0)
BIAS_PART, LARGE_BIAS_SD, LARGE_BIAS_CHANCE = 0.5, 0.30, 0.3
_LEAST_SPREAD = 0.03
SEASON_SD = 0.15  # of a half-year against the other
_FLAT_SD = 5.0
_MANY = 300


@dataclass(frozen=True)
class PastYears:
    """What a shop's past tells of its year.

    half_years : ndarray
        Jobs of each whole half-year of the record, the newest first.
    said : ndarray
        Jobs that forecasts made one, two, ... years ago said of the year after; NaN = none.
    """

    half_years: np.ndarray
    said: np.ndarray

    @classmethod
    def none(cls) -> PastYears:
        """A shop without a past."""
        return cls(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class YearLevel:
    """Belief about the log of the coming year's expected jobs: a mixture of normals.

    said : the number of the simulated pairs that it began from.
    dispersion : variance of the count over its mean, of each normal.
    """

    said: float
    weight: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    dispersion: np.ndarray

    @property
    def expected(self) -> float:
        """Expected jobs of the year."""
        return float(self.weight @ np.exp(np.minimum(self.mean + self.sd**2 / 2, 30.0)))

    def quantiles(self, shares: np.ndarray) -> np.ndarray:
        """Jobs of the year at some shares: the rate is unsure, and a count varies about it."""
        if self.expected > _MANY:  # a count of so many is a normal in log
            sd = np.sqrt(self.sd**2 + self.dispersion * np.exp(-self.mean))
            grid = _grid(self.mean, sd)
            below = ndtr((grid[:, None] - self.mean) / sd) @ self.weight
            return np.asarray(np.exp(np.interp(shares, below, grid)))
        found = []
        for dispersion in np.unique(self.dispersion):
            mine = self.dispersion == dispersion
            mean, sd, weight = self.mean[mine], self.sd[mine], self.weight[mine]
            grid = _grid(mean, sd)
            below = ndtr((grid[:, None] - mean) / sd) @ (weight / weight.sum())
            rates = np.exp(np.interp((np.arange(400) + 0.5) / 400, below, grid))
            found.append((weight.sum(), float(dispersion), rates))
        most = max(rates[-1] for *_, rates in found)
        counts = np.arange(int(most + 6 * np.sqrt(most)) + 7)
        total = sum(part * _below(counts, rates, spread) for part, spread, rates in found)
        return np.asarray(np.minimum(np.searchsorted(total, shares), counts[-1]), dtype=float)


def _grid(mean: np.ndarray, sd: np.ndarray) -> np.ndarray:
    return np.linspace((mean - 6 * sd).min(), (mean + 6 * sd).max(), 4001)


def _below(counts: np.ndarray, rates: np.ndarray, dispersion: float) -> np.ndarray:
    """Chance of at most so many: Poisson, or binomial where counts vary less; mean over rates."""
    if dispersion >= 1.0:
        return np.asarray(pdtr(counts[:, None], rates).mean(axis=1))
    left = rates / (1.0 - dispersion) - counts[:, None]
    share = betainc(np.maximum(left, 1e-9), counts[:, None] + 1.0, dispersion)
    return np.asarray(np.where(left > 0, share, 1.0).mean(axis=1))


def fit_level(past: PastYears, said: float, said_sd: float) -> YearLevel:
    """Weigh the pairs' number against the counts.

    Parameters
    ----------
    past : PastYears
    said, said_sd : float
        Mean and SD of the coming year's jobs as the pairs are simulated.
    """
    counts = np.asarray(past.half_years, float)
    back = np.asarray(past.said, float)
    years = 1.0 + np.flatnonzero(np.isfinite(back))
    seen = np.r_[
        np.log(2 * (counts + 0.5)), np.log(np.maximum(np.r_[said, back[np.isfinite(back)]], 0.5))
    ]
    halves = np.arange(1, len(counts) + 1)
    ago = np.r_[(halves + 0.5) / 2, 0.0, years]
    of_count = np.arange(len(seen)) < len(counts)
    of_pairs = (~of_count).astype(float)
    swing = np.where(of_count, np.r_[(-1.0) ** halves, np.zeros(1 + len(years))], 0.0)
    centre = seen.mean()
    noise = np.r_[1 / (counts + 0.5), np.zeros(1 + len(years))]
    shared = _FLAT_SD**2 + SEASON_SD**2 * np.outer(swing, swing)
    spread = _spread(said, said_sd)
    biases = ((BIAS_PART * spread, 1 - LARGE_BIAS_CHANCE), (LARGE_BIAS_SD, LARGE_BIAS_CHANCE))
    errors = [part * spread for part in ERROR_PARTS]
    told = []
    later, sooner = np.maximum.outer(ago, ago), np.minimum.outer(ago, ago)
    bent = sooner**2 * (3 * later - sooner) / 6  # an integrated random walk
    for drift, (growth, prior), bend, (bias, chance), error, dispersion in product(
        DRIFT_SD, GROWTH_SD.items(), BEND_SD, biases, errors, DISPERSION
    ):
        cov = (
            shared
            + growth**2 * np.outer(ago, ago)
            + bend**2 * bent
            + drift**2 * sooner
            + bias**2 * np.outer(of_pairs, of_pairs)
            + np.diag(dispersion * noise + error**2 * of_pairs)
        )
        root = np.linalg.cholesky(cov)
        # without a past, the mean of what is expected is what the pairs say
        told_by_pairs = seen - centre - of_pairs * (bias**2 + error**2) / 2
        white = np.linalg.solve(root, np.c_[told_by_pairs, np.full(len(seen), _FLAT_SD**2)])
        mean = centre + white[:, 1] @ white[:, 0]
        var = _FLAT_SD**2 - white[:, 1] @ white[:, 1]
        evidence = (
            -0.5 * white[:, 0] @ white[:, 0] - np.log(np.diag(root)).sum() + np.log(prior * chance)
        )
        told.append((evidence, mean, np.sqrt(var), dispersion))
    evidence, mean, sd, dispersions = np.array(told).T
    weight = np.exp(evidence - evidence.max())
    return YearLevel(float(said), weight / weight.sum(), mean, sd, dispersions)


def _spread(said: float, said_sd: float) -> float:
    """SD in log that the simulated years have beyond a Poisson count's."""
    said = max(said, 0.5)
    beyond = (said_sd / said) ** 2 - 1 / said
    return float(np.sqrt(np.clip(beyond, _LEAST_SPREAD**2, 0.5**2)))
