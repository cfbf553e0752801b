"""How much will each pair be worn from today on, and how sure is that?

Logged wear is counted in periods of four weeks. A pair's present pace is a discounted average that
leans on the wearer's other pairs (gamma-Poisson); the discount and the leaning are those that
forecast the user's own past best. The error of that forecast is learnt from the same past: what
was said at earlier days against what was logged after them. Season is one yearly wave per dress
code. A planned rotation may replace all this.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

__all__ = ["PERIOD_DAYS", "Pace", "UseFit", "WearCounts", "current_pace", "fit_use"]

PERIOD_DAYS = 28
_YEAR_DAYS = 365.25
HALF_LIVES = (3.0, 6.0, 12.0, 26.0)  # periods
LEANING = (2.0, 6.0, 15.0, 40.0)  # wear days
ORIGINS = (2, 3, 5, 7, 9, 12, 15, 19, 24)  # periods back
HORIZONS = (1, 2, 3, 6, 12)
# What is believed of the error before any history: variance of (actual / expected) as
# dispersion/expected + uncertainty/known days + drift * years. Common practice, no source.
PRIOR_ERROR = (1.6, 1.5, 0.02, 0.06)
PRIOR_WEIGHT = 40.0


@dataclass(frozen=True)
class WearCounts:
    """Wear of pairs by period, newest period first.

    worn : ndarray, shape (pairs, periods)
        Standard wear days logged.
    days : ndarray, shape (pairs, periods)
        Wear days logged.
    open_days : ndarray, shape (pairs, periods)
        Days on which the pair could have been worn and the wearer was logging.
    group : ndarray of int, shape (pairs,)
        Dress code.
    wearer : ndarray of int, shape (pairs,)
    year_share : ndarray, shape (periods,)
        Where in the year the middle of each period lies, 0 to 1.
    """

    worn: np.ndarray
    days: np.ndarray
    open_days: np.ndarray
    group: np.ndarray
    wearer: np.ndarray
    year_share: np.ndarray


@dataclass(frozen=True)
class UseFit:
    """What was learnt of use from the whole panel.

    half_life_periods, leaning_days : memory and leaning that forecast the past best.
    error : (dispersion, uncertainty, floor, drift per year): variance of actual/expected is
    dispersion/expected days + uncertainty/known days + floor + drift * years ahead.
    bias_log : log of actual/expected over the past, shrunk.
    season : {group: (cosine, sine)} of the log pace.
    scored : number of (pair, origin, horizon) triples behind it.
    """

    half_life_periods: float
    leaning_days: float
    error: tuple[float, float, float, float]
    bias_log: float
    season: dict[int, tuple[float, float]]
    scored: int

    def to_dict(self) -> dict[str, object]:
        """Plain values that JSON can hold."""
        out = asdict(self)
        out["season"] = {str(k): list(v) for k, v in self.season.items()}
        return out

    @classmethod
    def from_dict(cls, data: dict[str, object]) -> UseFit:
        """Undo `to_dict`."""
        values: dict[str, object] = dict(data)
        values["error"] = tuple(values["error"])  # type: ignore[arg-type]
        season = values["season"]
        values["season"] = {int(k): tuple(v) for k, v in season.items()}  # type: ignore[attr-defined]
        return cls(**values)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Pace:
    """Present pace of pairs.

    wear_days_per_day : ndarray, shape (pairs,)
        Wear days per calendar day, season taken out.
    exposure_per_wear_day : ndarray, shape (pairs,)
        Standard wear days per wear day.
    known_days : ndarray, shape (pairs,)
        Discounted wear days behind the pace, leaning included.
    """

    wear_days_per_day: np.ndarray
    exposure_per_wear_day: np.ndarray
    known_days: np.ndarray


def season_factor(wave: tuple[float, float], year_share: np.ndarray) -> np.ndarray:
    """Factor of the pace at a place in the year, geometric mean one."""
    angle = 2 * np.pi * year_share
    return np.asarray(np.exp(wave[0] * np.cos(angle) + wave[1] * np.sin(angle)))


def _season_table(season: dict[int, tuple[float, float]], counts: WearCounts) -> np.ndarray:
    """Season factor per pair and period."""
    groups = int(counts.group.max(initial=0)) + 1
    rows = [season_factor(season.get(g, (0.0, 0.0)), counts.year_share) for g in range(groups)]
    return np.asarray(rows)[counts.group]


def current_pace(
    counts: WearCounts,
    half_life_periods: float,
    leaning_days: float,
    season: dict[int, tuple[float, float]],
    skip: int = 0,
) -> Pace:
    """Pace of every pair as known `skip` periods before the newest.

    A pair's own discounted count is pooled with its wearer's mean pace per pair, as if
    `leaning_days` wear days had been seen at that pace; a wearer with little history leans on the
    whole panel.
    """
    days, worn = counts.days[:, skip:], counts.worn[:, skip:]
    factor = _season_table(season, counts)[:, skip:]
    open_days = counts.open_days[:, skip:] * factor
    fade = 0.5 ** (np.arange(days.shape[1]) / half_life_periods)
    seen, could = days @ fade, open_days @ fade
    exposure = worn @ fade
    n = int(counts.wearer.max(initial=0)) + 1

    def by_wearer(values: np.ndarray) -> np.ndarray:
        return np.bincount(counts.wearer, weights=values, minlength=n)

    total_rate = (seen.sum() + 1.0) / (could.sum() + 4.0)
    wearer_rate = (by_wearer(seen) + 10.0 * 1.0) / (by_wearer(could) + 10.0 / total_rate)
    mean = wearer_rate[counts.wearer]
    rate = (seen + leaning_days) / (could + leaning_days / mean)
    total_exposure = (exposure.sum() + 5.0) / (seen.sum() + 5.0)
    wearer_exposure = (by_wearer(exposure) + 20.0 * total_exposure) / (by_wearer(seen) + 20.0)
    per_day = (exposure + 15.0 * wearer_exposure[counts.wearer]) / (seen + 15.0)
    return Pace(rate, per_day, seen + leaning_days)


def fit_use(counts: WearCounts) -> UseFit:
    """Learn season, memory, leaning and the error of the pace from the panel's own history.

    Parameters
    ----------
    counts : WearCounts

    Returns
    -------
    UseFit
        With little history everything falls back to the prior and `scored` says so.
    """
    season = _fit_season(counts)
    best: tuple[float, float, float] = (np.inf, 6.0, 6.0)
    for half_life in HALF_LIVES:
        for leaning in LEANING:
            expected, actual, *_ = _past(counts, half_life, leaning, season)
            if len(expected) < 20:
                continue
            mu, n = np.maximum(expected, 1e-6), actual
            deviance = mu - n + n * np.log(np.maximum(n, 1e-12) / mu) * (n > 0)
            loss = float(np.mean(deviance / np.sqrt(1.0 + mu)))
            if loss < best[0] - 1e-9:
                best = (loss, half_life, leaning)
    _, half_life, leaning = best
    expected, actual, known, years = _past(counts, half_life, leaning, season)
    error, bias = _fit_error(expected, actual, known, years)
    return UseFit(half_life, leaning, error, bias, season, len(expected))


def _past(
    counts: WearCounts, half_life: float, leaning: float, season: dict[int, tuple[float, float]]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Expected and actual wear days after earlier origins: expected, actual, known days, years."""
    factor = _season_table(season, counts)
    parts = []
    for origin in ORIGINS:
        if counts.days.shape[1] <= origin + 2:
            continue
        pace = current_pace(counts, half_life, leaning, season, skip=origin)
        before = counts.open_days[:, origin : origin + 3].sum(axis=1) > PERIOD_DAYS
        for horizon in HORIZONS:
            if horizon > origin:
                continue
            ahead = slice(origin - horizon, origin)
            could = counts.open_days[:, ahead]
            whole = before & (could.sum(axis=1) > 0.8 * PERIOD_DAYS * horizon)
            expected = pace.wear_days_per_day * (could * factor[:, ahead]).sum(axis=1)
            actual = counts.days[:, ahead].sum(axis=1)
            years = np.full(len(expected), horizon * PERIOD_DAYS / _YEAR_DAYS)
            parts.append(
                np.array([expected[whole], actual[whole], pace.known_days[whole], years[whole]])
            )
    if not parts:
        return (np.zeros(0),) * 4
    joined = np.concatenate(parts, axis=1)
    return joined[0], joined[1], joined[2], joined[3]


def _fit_error(
    expected: np.ndarray, actual: np.ndarray, known: np.ndarray, years: np.ndarray
) -> tuple[tuple[float, float, float, float], float]:
    """Non-negative least squares of squared relative errors, with the prior as extra rows."""
    from scipy.optimize import nnls  # noqa: PLC0415

    prior = np.asarray(PRIOR_ERROR)
    keep = expected > 0.5
    expected, actual, known, years = expected[keep], actual[keep], known[keep], years[keep]
    bias = 0.0
    if len(expected):
        long = years >= 2 * PERIOD_DAYS / _YEAR_DAYS
        shrink = 300.0
        bias = float(
            np.log((actual[long].sum() + shrink) / (expected[long].sum() + shrink))
        )
    expected = expected * np.exp(bias)
    square = np.square(np.clip(actual / np.maximum(expected, 1e-9) - 1.0, -1.0, 3.0))
    terms = np.array([1.0 / np.maximum(expected, 1e-9), 1.0 / known, np.ones_like(known), years]).T
    scale = 1.0 / np.maximum(terms @ prior, 1e-6)
    # neighbouring origins and horizons share days: a pair counts for about a fifth of its rows
    rows = terms * (scale * np.sqrt(0.2))[:, None]
    anchor = np.diag(1.0 / prior) * np.sqrt(PRIOR_WEIGHT)
    solution, _ = nnls(
        np.concatenate([rows, anchor]),
        np.concatenate([square * scale * np.sqrt(0.2), anchor @ prior]),
    )
    return (float(solution[0]), float(solution[1]), float(solution[2]), float(solution[3])), bias


def _fit_season(counts: WearCounts) -> dict[int, tuple[float, float]]:
    """One yearly wave per dress code by a few Poisson scoring steps, shrunk towards none."""
    angle = 2 * np.pi * counts.year_share
    basis = np.array([np.cos(angle), np.sin(angle)])
    out: dict[int, tuple[float, float]] = {}
    for group in np.unique(counts.group):
        rows = counts.group == group
        days, open_days = counts.worn[rows], counts.open_days[rows]
        wave = np.zeros(2)
        for _ in range(6):
            factor = np.exp(wave @ basis)
            could = open_days * factor
            rate = (days.sum(axis=1) + 0.5) / (could.sum(axis=1) + 5.0)
            mean = rate[:, None] * could
            residual = (days - mean).sum(axis=0)
            centre = (mean @ basis.T) / np.maximum(mean.sum(axis=1), 1e-9)[:, None]
            spread = np.einsum("ij,aj,bj->ab", mean, basis, basis)
            spread -= np.einsum("ia,ib,i->ab", centre, centre, mean.sum(axis=1))
            # use comes in streaks: counts carry about a third of their nominal information,
            # and the wave's prior SD is 0.25
            wave = wave + np.linalg.solve(
                spread / 3.0 + np.eye(2) / 0.25**2,
                basis @ residual / 3.0 - wave / 0.25**2,
            )
        out[int(group)] = (float(wave[0]), float(wave[1]))
    return out
