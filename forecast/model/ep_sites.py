"""EP sites (expectation propagation).

What do thumb grades, holes and soles still on say, given everything else?

Each is a site, a Gaussian pseudo-observation (expectation propagation, Minka 2001). It is moved
until the thickness has the mean and variance that it has with the grade, given its cavity. The
cavities also inform the distance of the thumb's cut points and the noise of a judgement. At the
fixed point, the grades' log chances in their cavities have the gradient of the evidence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from solespan.forecast.model.linearise import Linearised, Noise, Sites
from solespan.forecast.observation.survival_sites import gone_at, still_on_site
from solespan.forecast.observation.thumb import (
    ThumbScale,
    grade_bounds,
    interval_site,
    learn_scale,
    log_chance,
)
from solespan.forecast.panel.panel import HOLE, STILL_ON, THUMB, Panel

__all__ = ["Cavities", "bounds_of", "first_sites", "improve_sites", "learn_thumb", "start_thumb"]

_SITE_STEP = 0.8
_LOG_STEP = 0.05
_MOST_STEP = 0.4
# Distance of the cut points and noise of a judgement, mm: median and SD of the log. Common
# practice, no source.
_GAP_MM, _GAP_LOG_SD = 0.7, 0.4
_NOISE_MM, _NOISE_LOG_SD = 0.35, 0.4


@dataclass(frozen=True)
class Cavities:
    """What is known of the felt thickness at each site without it: mean and variance, shape (m,).

    The variance includes the process noise, which is taken as noise of the judgement.
    """

    mean_mm: np.ndarray
    variance_mm2: np.ndarray


def bounds_of(
    panel: Panel, rows: np.ndarray, noise: Noise
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Interval and noise of the grades at some observations."""
    grade = np.where(panel.obs_kind[rows] == HOLE, 3, panel.obs_grade[rows])
    low, high, sd = grade_bounds(grade, noise.thumb)
    on = panel.obs_kind[rows] == STILL_ON
    path = panel.obs_path[rows]
    low = np.where(on, noise.sent_at_mm(panel, path), low)
    # both feet of a logged sole are told apart, so each more loosely
    unlogged = panel.unlogged_path[path]
    told = noise.sending_sd_mm(unlogged) * np.where(unlogged, 1.0, 2.0)
    sd = np.where(on, told, sd)
    return low, np.where(on, np.inf, high), sd


def first_sites(panel: Panel, noise: Noise) -> Sites:
    """Sites of the grades before anything else is known: a loose guess round the nominal."""
    rows = np.flatnonzero(np.isin(panel.obs_kind, (THUMB, HOLE, STILL_ON)))
    low, high, sd = bounds_of(panel, rows, noise)
    guess = np.clip(panel.nominal_mm[panel.obs_path[rows]], low, high)
    return Sites(rows, *interval_site(low, high, sd, guess, np.ones(len(rows))))


def improve_sites(
    panel: Panel,
    noise: Noise,
    variance: np.ndarray,
    lin: Linearised,
    change: np.ndarray,
    sites: Sites,
) -> tuple[Sites, Cavities, np.ndarray]:
    """One damped step of expectation propagation for every grade.

    Parameters
    ----------
    variance : ndarray, shape (m,)
        Posterior variance of the thickness at each site, process noise not included.
    change : ndarray, shape (12, paths)
        From the interface values of `lin` to those of the posterior.

    Returns
    -------
    Sites
    Cavities
    ndarray, shape (m,)
        Move of each site's mean, weighed by its precision, mm.
    """
    rows = sites.rows
    if not len(rows):
        return sites, Cavities(np.zeros(0), np.zeros(0)), np.zeros(0)
    path, columns = panel.obs_path[rows], lin.columns[:, rows]
    mean = lin.fitted_mm[rows] + np.einsum("in,in->n", columns, change[:, path])
    walk = noise.process_mm * lin.wear_mm[rows]  # process noise, taken as noise of the judgement
    given = 1.0 / (sites.variance_mm2 + walk)
    cavity = 1.0 / np.maximum(1.0 / variance - given, 0.05 / variance)
    cavity_mean = cavity * (mean / variance - sites.mm * given)
    low, high, sd = bounds_of(panel, rows, noise)
    new_mm, total = interval_site(low, high, np.sqrt(sd**2 + walk), cavity_mean, cavity)
    on = np.flatnonzero((panel.obs_kind[rows] == STILL_ON) & panel.unlogged_path[path])
    new_mm[on], total[on] = still_on_site(
        low[on],
        np.sqrt(sd[on] ** 2 + walk[on]),
        gone_at(panel, rows[on], noise.leaving),
        cavity_mean[on],
        cavity[on],
    )
    new_variance = np.maximum(total - walk, 0.25 * sd**2)
    old_precision, precision = 1.0 / sites.variance_mm2, 1.0 / new_variance
    mixed = _SITE_STEP * precision + (1.0 - _SITE_STEP) * old_precision
    weighted = _SITE_STEP * precision * new_mm + (1.0 - _SITE_STEP) * old_precision * sites.mm
    moved = np.abs(weighted / mixed - sites.mm) * mixed * sd**2
    found = Sites(rows, weighted / mixed, 1.0 / mixed)
    return found, Cavities(cavity_mean, cavity + walk), moved


def start_thumb(panel: Panel, lin: Linearised, noise: Noise) -> Noise:
    """Take the thumb's cut points from grades on paths that a gauge follows as well, if enough."""
    thumb = panel.obs_kind == THUMB
    gauged = np.bincount(
        panel.obs_path[(panel.obs_kind < THUMB) & ~panel.obs_waist],
        minlength=len(panel.nominal_mm),
    )
    use = thumb & (gauged[panel.obs_path] >= 2)
    return replace(noise, thumb=learn_scale(panel.obs_grade[use], lin.fitted_mm[use], noise.thumb))


def learn_thumb(panel: Panel, sites: Sites, cavities: Cavities, noise: Noise) -> Noise:
    """One guarded Newton step in the logs of the cut points' distance and the judgement's noise.

    Where their middle lies is the thumb's shift, an unknown of the model.
    """
    thumbs = panel.obs_kind[sites.rows] == THUMB
    if not thumbs.any():
        return noise
    rows = sites.rows[thumbs]
    mean, variance = cavities.mean_mm[thumbs], cavities.variance_mm2[thumbs]
    scale = noise.thumb
    middle = 0.5 * (scale.firm_from_mm + scale.give_from_mm)
    here = np.log([scale.firm_from_mm - scale.give_from_mm, scale.sd_mm])

    def scale_at(at: np.ndarray) -> ThumbScale:
        gap, sd = np.exp(at).tolist()
        return ThumbScale(middle + 0.5 * gap, middle - 0.5 * gap, sd, len(rows))

    def value(at: np.ndarray) -> float:
        low, high, sd = bounds_of(panel, rows, replace(noise, thumb=scale_at(at)))
        total = np.sqrt(np.square(sd) + variance)
        z = (at - np.log([_GAP_MM, _NOISE_MM])) / [_GAP_LOG_SD, _NOISE_LOG_SD]
        chances = log_chance((low - mean) / total, (high - mean) / total)
        return float(chances.sum() - 0.5 * np.square(z).sum())

    step = _newton_step(value, here)
    base = value(here)
    while value(here + step) < base and np.abs(step).max() > 1e-3:
        step = 0.5 * step
    return replace(noise, thumb=scale_at(here + step))


def _newton_step(value: Callable[[np.ndarray], float], here: np.ndarray) -> np.ndarray:
    """Uphill step of a function of two numbers, by differences; at most `_MOST_STEP` each."""
    one, two = np.eye(2) * _LOG_STEP
    base, ahead, back = value(here), {}, {}
    for name, move in (("one", one), ("two", two), ("both", one + two)):
        ahead[name], back[name] = value(here + move), value(here - move)
    slope = np.array([ahead[n] - back[n] for n in ("one", "two")]) / (2.0 * _LOG_STEP)
    curve = {n: (ahead[n] + back[n] - 2.0 * base) / _LOG_STEP**2 for n in ahead}
    cross = 0.5 * (curve["both"] - curve["one"] - curve["two"])
    matrix = np.array([[curve["one"], cross], [cross, curve["two"]]])
    size, turn = np.linalg.eigh(-matrix)
    step = turn @ ((turn.T @ slope) / np.maximum(np.abs(size), 1.0))
    return np.asarray(np.clip(step, -_MOST_STEP, _MOST_STEP))
