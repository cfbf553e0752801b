"""Season of use: when in the year is each pair, and each rack, worn more than at other times?

Log weights of pairs have one yearly wave, going out has a yearly and a half-yearly one. A dress
code and the panel have theirs. A pair and a wearer have their own beside it, pooled towards it.
Poisson scoring steps find them, the going out or the shares as they stand. Use comes in streaks, so
counts carry a third of their information.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from solespan.forecast.use.wear_counts import WearCounts

__all__ = ["STILL", "fit_season", "own_out_waves", "own_waves", "pair_waves", "season_factor"]

STILL = (0.0, 0.0, 0.0, 0.0)
_SEASON_SD = (0.25, 0.25, 0.12, 0.12)  # of the yearly and the half-yearly wave
_STREAKS = 3.0
_LEVEL_SD = 0.7  # log, of a pair in its rack, of a wearer in the panel
_STEPS = 6
_MOST_STEP = 1.0


def season_factor(wave: np.ndarray, year_share: np.ndarray) -> np.ndarray:
    """Factor of the pace at places in the year, shape (..., places), for waves (2 or 4, ...)."""
    return np.asarray(np.exp(_log_factor(wave, year_share)))


def _log_factor(wave: np.ndarray, year_share: np.ndarray) -> np.ndarray:
    wave = np.asarray(wave)
    log = np.zeros((*wave.shape[1:], len(year_share)))
    for height, swing in zip(wave, _swings(year_share), strict=False):
        log += np.multiply.outer(height, swing)
    return log


def _swings(year_share: np.ndarray) -> np.ndarray:
    """Cosine and sine of the year and of the half-year at places in the year."""
    angle = 2 * np.pi * year_share
    return np.array([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])


def pair_waves(season: dict[int, tuple[float, ...]], group: np.ndarray) -> np.ndarray:
    """Wave of each pair's dress code, shape (2, pairs)."""
    table = np.zeros((2, int(group.max(initial=0)) + 1))
    for code, wave in season.items():
        if 0 <= code < table.shape[1]:
            table[:, code] = wave
    return table[:, group]


def own_waves(
    counts: WearCounts, season: dict[int, tuple[float, ...]], spread: float, skip: int = 0
) -> np.ndarray:
    """Wave of each pair's log weight, its dress code's and its own, shape (2, pairs).

    Parameters
    ----------
    counts : WearCounts
    season : dict
        Waves of dress codes; see `UseFit`.
    spread : float
        SD of the height of a pair's own wave.
    skip : int
        Periods before the newest that are not known.
    """
    waves = pair_waves(season, counts.group)
    days, share = counts.days[:, skip:], counts.year_share[skip:]
    if spread <= 0.0 or not days.shape[1]:
        return waves
    open_days = counts.open_days[:, skip:] * season_factor(waves, share)
    out_days = counts.by_wearer(days)

    def expected(log: np.ndarray) -> np.ndarray:
        weight = open_days * np.exp(log)
        total = np.maximum(counts.by_wearer(weight), 1e-9)
        return np.asarray(weight * (out_days / total)[counts.wearer])

    return np.asarray(waves + _own(days, expected, _swings(share)[:2], (spread, spread)))


def own_out_waves(
    counts: WearCounts, season: dict[int, tuple[float, ...]], spread: float, skip: int = 0
) -> np.ndarray:
    """Wave of each wearer's going out, that of all and the own, shape (4, wearers)."""
    wave = np.array(season.get(-1, STILL))
    waves = np.repeat(wave[:, None], len(counts.first), axis=1)
    could, share = counts.most_open[:, skip:], counts.year_share[skip:]
    if spread <= 0.0 or not could.shape[1]:
        return waves
    out_days = counts.by_wearer(counts.days[:, skip:])
    could = could * season_factor(wave, share)
    rate = (out_days.sum(axis=1) + 0.5) / (could.sum(axis=1) + 2.0)
    could = rate[:, None] * could

    def expected(log: np.ndarray) -> np.ndarray:
        return np.asarray(could * np.exp(log))

    return np.asarray(waves + _own(out_days, expected, _swings(share), (spread,) * 4))


def _own(
    days: np.ndarray,
    expected: Callable[[np.ndarray], np.ndarray],
    swings: np.ndarray,
    spread: tuple[float, ...],
) -> np.ndarray:
    """Own waves, shape (waves, rows), of counts whose mean follows the log level and wave."""
    design = np.concatenate([np.ones((1, swings.shape[1])), swings])
    precision = np.array([_LEVEL_SD, *spread]) ** -2.0
    theta = np.zeros((len(days), len(design)))
    for _ in range(_STEPS):
        mean = expected(np.einsum("pk,kt->pt", theta, design))
        gradient = np.einsum("pt,kt->pk", days - mean, design) / _STREAKS - theta * precision
        information = np.einsum("pt,kt,lt->pkl", mean, design, design) / _STREAKS
        information += np.diag(precision)
        step = np.linalg.solve(information, gradient[:, :, None])[:, :, 0]
        theta += np.clip(step, -_MOST_STEP, _MOST_STEP)
    return theta[:, 1:].T


def fit_season(counts: WearCounts) -> dict[int, tuple[float, ...]]:
    """Waves of the weights by dress code, then of going out, shrunk towards none."""
    swings = _swings(counts.year_share)
    season: dict[int, tuple[float, ...]] = {int(g): (0.0, 0.0) for g in np.unique(counts.group)}
    out_days = counts.by_wearer(counts.days)
    level = np.zeros(len(counts.days))
    for _ in range(6):
        weight = np.exp(level)[:, None] * counts.open_days
        weight *= season_factor(pair_waves(season, counts.group), counts.year_share)
        total = np.maximum(counts.by_wearer(weight), 1e-9)
        mean = weight * (out_days / total)[counts.wearer]
        season = {
            g: _wave_step(counts.days, mean, counts.group == g, swings[:2], season[g])
            for g in season
        }
        level += np.log((counts.days.sum(axis=1) + 6.0) / (mean.sum(axis=1) + 6.0))
    could = counts.most_open
    wave: tuple[float, ...] = STILL
    every = np.ones(len(could), bool)
    for _ in range(4):
        seasonal = could * season_factor(np.asarray(wave), counts.year_share)
        rate = (out_days.sum(axis=1) + 0.5) / (seasonal.sum(axis=1) + 2.0)
        wave = _wave_step(out_days, rate[:, None] * seasonal, every, swings, wave)
    season[-1] = wave
    return season


def _wave_step(
    days: np.ndarray,
    mean: np.ndarray,
    rows: np.ndarray,
    swings: np.ndarray,
    wave: tuple[float, ...],
) -> tuple[float, ...]:
    """One scoring step."""
    precision = np.array(_SEASON_SD[: len(swings)]) ** -2.0
    residual = (days[rows] - mean[rows]).sum(axis=0)
    total = mean[rows].sum(axis=0)
    information = (swings * total) @ swings.T / _STREAKS + np.diag(precision)
    gradient = swings @ residual / _STREAKS - np.asarray(wave) * precision
    moved = np.asarray(wave) + np.linalg.solve(information, gradient)
    return tuple(float(height) for height in moved)
