"""Estimation (empirical Bayes): how are the population's parameters found?

Spreads by marginal likelihood with weak priors (empirical Bayes), noise and thumb by guarded Newton
steps. Observations are linearised about the current modes and the steps alternate (Lindstrom and
Bates, Biometrics 46:673, 1990).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import OptimizeResult, minimize

from solespan.forecast.model.ep_sites import learn_thumb, start_thumb
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.hand_over_noise import learn_logged, learn_unlogged
from solespan.forecast.model.hierarchy import solve
from solespan.forecast.model.inner_loop import Modes, modes, prior_centre
from solespan.forecast.model.linearise import Linearised, Noise, linearise
from solespan.forecast.model.parameter_layout import Belief, Coordinates, coordinates, learnable
from solespan.forecast.model.posterior_moments import gradient
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import GAUGES, THUMB, Panel
from solespan.forecast.priors import METHOD_SD_MM, UNLOGGED_SPREADS, Priors

__all__ = [
    "Estimate",
    "Keep",
    "Progress",
    "default_noise",
    "fit_rounds",
    "spread_penalty",
    "with_free",
]

Progress = Callable[[str, float], None]
Keep = Callable[[FitStart], None]
PROCESS_MEDIAN_MM = 0.02
_USUAL = Priors()
_LEAST_STEP, _MOST_STEP = 0.002, 0.15  # between differences by the log of a noise
_SLOW_FROM, _MOST_LONGER = 0.3, 2.2
_WORSE = 1e-6  # of the log likelihood: a search ended elsewhere than at its best
_FLAT = 0.01  # slope of the log likelihood by a log spread that counts as none
_CURVE_STEP = 0.01
# log spread from its prior median, at most: in the search from a start far away, at all, in SDs
_FARTHEST, _WIDEST, _FARTHEST_SDS = 5.0, 12.0, 4.0
_MATTERS = 0.05  # a log spread below this is as good as none
_NOTHING = 1e-6
_SETTLED = 0.08  # largest change of a log spread or noise between rounds


@dataclass(frozen=True)
class Estimate:
    """Where a fit ended.

    It holds unknowns, spreads and noise, and the population's posterior, its mean as a deviation
    from the prior's. It also holds the penalised negative log likelihood and the priors of its
    spreads. The inverse of the likelihood's curvature is by the logs of the free spreads.
    """

    layout: Coordinates
    spread: dict[str, float]
    noise: Noise
    population_mean: np.ndarray
    population_cov: np.ndarray
    objective: float
    rounds: int
    priors: Priors
    curvature_inverse: np.ndarray
    converged: bool

    @property
    def belief(self) -> Belief:
        """What it tells of the population."""
        return Belief(self.layout.population, self.population_mean, self.population_cov)


def default_noise() -> Noise:
    """Noise before any data."""
    return Noise(tuple(METHOD_SD_MM[g] for g in GAUGES), PROCESS_MEDIAN_MM, ThumbScale())


def spread_penalty(log_spread: np.ndarray, priors: Priors = _USUAL) -> tuple[float, np.ndarray]:
    """Negative log prior of the free log spreads, in order, and its gradient."""
    free = [priors.spreads[name] for name in priors.free]
    log_sd = np.array([s.log_sd for s in free])
    z = (log_spread - np.log([s.median for s in free])) / log_sd
    return 0.5 * float(z @ z), z / log_sd


def spread_objective(
    log_spread: np.ndarray,
    panel: Panel,
    layout: Coordinates,
    lin: Linearised,
    priors: Priors = _USUAL,
) -> tuple[float, np.ndarray]:
    """Negative penalised marginal log likelihood and its gradient by the free log spreads."""
    spread = with_free(priors, log_spread)
    posterior = solve(panel, layout, lin, spread)
    slope = gradient(panel, posterior, spread)
    value, out = spread_penalty(log_spread, priors)
    return value - posterior.log_likelihood, out - np.array([slope[n] for n in priors.free])


def with_free(priors: Priors, log_spread: np.ndarray) -> dict[str, float]:
    """All spreads: those held at their medians, and the free ones."""
    within = np.clip(log_spread, *_reach(priors, _WIDEST))
    free = dict(zip(priors.free, np.exp(within).tolist(), strict=True))
    return {name: free.get(name, s.median) for name, s in priors.spreads.items()}


def _reach(priors: Priors, most: float) -> tuple[np.ndarray, np.ndarray]:
    """Least and most that a search gives each free log spread; at most so far from its median."""
    free = [priors.spreads[name] for name in priors.free]
    middle = np.log([s.median for s in free])
    far = np.minimum(most, _FARTHEST_SDS * np.array([s.log_sd for s in free]))
    return middle - far, middle + far


def _noise_penalty(noise: Noise, priors: Priors) -> float:
    out = 0.0
    if priors.gauge_log_sd > 0.0:
        usual = [METHOD_SD_MM[g] for g in GAUGES]
        z = np.log(np.divide(noise.gauge_sd_mm, usual)) / priors.gauge_log_sd
        out += 0.5 * float(z @ z)
    if priors.process_log_sd > 0.0:
        z = np.log(noise.process_mm / PROCESS_MEDIAN_MM) / priors.process_log_sd
        out += 0.5 * float(z**2)
    return out


def improve_noise(
    panel: Panel,
    layout: Coordinates,
    spread: dict[str, float],
    noise: Noise,
    at: Modes,
    priors: Priors = _USUAL,
    settled: float = _MOST_STEP,
) -> Noise:
    """One guarded Newton step in the log of each gauge's SD and of the process noise.

    Differences are taken as far apart as the fit may be off. A reading counts for its gauge by the
    chance that it is no misreading, in the sum of squares and in the log determinant alike.
    """
    centre = prior_centre(layout)
    gauge = panel.obs_kind < THUMB
    slips = np.bincount(panel.obs_kind[gauge], 1.0 - at.lin.weight[gauge], minlength=len(GAUGES))

    def value(candidate: Noise) -> float:
        lin = linearise(
            panel,
            at.deviation,
            centre,
            candidate,
            at.lin.weight,
            at.stand.sites,
            at.log_rate_variance,
            at.stand.pace_variance,
            at.stand.pull,
            seek_slips=False,
        )
        found = solve(panel, layout, lin, spread).log_likelihood
        of_slips = float(slips @ np.log(candidate.gauge_sd_mm))
        return found + of_slips - _noise_penalty(candidate, priors)

    def moved(place: int, by: float) -> Noise:
        factor = float(np.exp(by))
        if place == len(GAUGES):
            return replace(noise, process_mm=noise.process_mm * factor)
        sds = list(noise.gauge_sd_mm)
        sds[place] *= factor
        return replace(noise, gauge_sd_mm=tuple(sds))

    step = float(np.clip(settled, _LEAST_STEP, _MOST_STEP))
    base = value(noise)
    seen = np.bincount(panel.obs_kind, minlength=len(GAUGES) + 1)[: len(GAUGES)] > 0
    shifts = np.zeros(len(GAUGES) + 1)
    for place in range(len(shifts)):
        is_gauge = place < len(GAUGES)
        if (priors.gauge_log_sd if is_gauge else priors.process_log_sd) <= 0.0:
            continue
        if is_gauge and not seen[place]:
            continue
        up, down = value(moved(place, step)), value(moved(place, -step))
        slope = (up - down) / (2 * step)
        curve = (up + down - 2 * base) / step**2
        shift = -slope / curve if curve < 0 else np.sign(slope) * 0.5
        shifts[place] = np.clip(shift, -0.5, 0.5)
    sds = tuple(float(s * np.exp(d)) for s, d in zip(noise.gauge_sd_mm, shifts, strict=False))
    return replace(noise, gauge_sd_mm=sds, process_mm=float(noise.process_mm * np.exp(shifts[-1])))


def _hastened(old: Noise, new: Noise, last_step: float) -> tuple[Noise, float]:
    """Lengthen the step of the process noise where the last two shrink like a geometric series.

    The spreads give way only after the noise has moved, so its steps are too short by themselves
    (Aitken's extrapolation). Returns the noise and the step to hold the next one against.
    """
    step = float(np.log(new.process_mm / old.process_mm))
    ratio = step / last_step if last_step else 0.0
    if not _SLOW_FROM < ratio < 1.0:
        return new, step
    longer = min(1.0 / (1.0 - ratio), _MOST_LONGER)
    return replace(new, process_mm=old.process_mm * float(np.exp(longer * step))), 0.0


def _settings_vector(spread: dict[str, float], noise: Noise, priors: Priors) -> np.ndarray:
    """Logs of the spreads that matter and of the noise: what has to stand still."""
    least = {name: max(min(_MATTERS, s.median), _NOTHING) for name, s in priors.spreads.items()}
    thumb = noise.thumb
    judged = (
        thumb.firm_from_mm - thumb.give_from_mm,
        thumb.sd_mm,
        noise.sending.sd_mm,
        noise.unlogged_sending.sd_mm,
        1.0 - noise.leaving.at_visit,
    )
    gauges = (*noise.gauge_sd_mm, noise.process_mm)
    return np.log([*(max(v, least[n]) for n, v in spread.items()), *gauges, *judged])


def _best_spreads(
    panel: Panel,
    layout: Coordinates,
    lin: Linearised,
    spread: dict[str, float],
    inverse: np.ndarray | None,
    priors: Priors,
    flat: float,
) -> tuple[OptimizeResult, np.ndarray]:
    """Find the best log spreads from where they stand, and the inverse of the curvature there.

    With the inverse of an earlier round a few steps do, as the noise will move them again. Without
    one, limited memory and bounds keep a start far away from running off.
    """
    start = np.log([spread[n] for n in priors.free])
    known = (panel, layout, lin, priors)
    seen: list[tuple[float, np.ndarray]] = []

    def objective(at: np.ndarray, *more: Any) -> tuple[float, np.ndarray]:
        value, slope = spread_objective(at, *more)
        if np.isfinite(value) and (not seen or value < seen[0][0]):
            seen[:] = [(value, at.copy())]  # a line search may end worse than it was
        return value, slope

    if inverse is None:
        found = minimize(
            objective,
            start,
            known,
            method="L-BFGS-B",
            jac=True,
            bounds=list(zip(*_reach(priors, _FARTHEST), strict=True)),
            options={"maxiter": 30, "ftol": 1e-6},
        )
        _keep_best(found, seen)
        return found, _inverse_curvature(found.x, *known)
    options = {"maxiter": 4, "gtol": flat, "hess_inv0": inverse}
    found = minimize(objective, start, known, method="BFGS", jac=True, options=options)
    _keep_best(found, seen)
    return found, _inverse(np.linalg.inv(found.hess_inv), priors)


def _keep_best(found: OptimizeResult, seen: list[tuple[float, np.ndarray]]) -> None:
    """Go back to the best that a search has seen, where it ended clearly worse."""
    if seen and not found.fun <= seen[0][0] + _WORSE:
        found.fun, found.x = seen[0]


def _inverse_curvature(
    log_spread: np.ndarray, panel: Panel, layout: Coordinates, lin: Linearised, priors: Priors
) -> np.ndarray:
    """Inverse of the curvature of `spread_objective`, from differences of its gradient."""

    def slope(at: np.ndarray) -> np.ndarray:
        return spread_objective(at, panel, layout, lin, priors)[1]

    here, steps = slope(log_spread), _CURVE_STEP * np.eye(len(log_spread))
    curvature = np.array([slope(log_spread + step) - here for step in steps]) / _CURVE_STEP
    return _inverse(curvature, priors)


def _inverse(curvature: np.ndarray, priors: Priors) -> np.ndarray:
    """Inverse of a curvature, symmetric and nowhere flatter than that of the prior."""
    flattest = max(priors.spreads[n].log_sd for n in priors.free) ** -2
    values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
    half = vectors / np.sqrt(np.maximum(values, flattest))
    return np.asarray(half @ half.T)


def fit_rounds(
    panel: Panel,
    progress: Progress | None = None,
    start: FitStart | None = None,
    keep: Keep | None = None,
    rounds: int = 8,
    *,
    layout: Coordinates | None = None,
    priors: Priors = _USUAL,
    settled: float = _SETTLED,
    known: Estimate | None = None,
) -> tuple[Estimate, Modes]:
    """Alternate modes, spreads and noise over a whole panel.

    Parameters
    ----------
    panel : Panel
    progress : callable (step, fraction), optional
    start : FitStart, optional
        Where an earlier fit ended, or had got to.
    keep : callable (FitStart), optional
        Told after each round where the fit stands.
    rounds : int
        Alternations of modes, spreads and noise at most, those of `start` included.
    layout : Coordinates, optional
        The unknowns, with priors of the population other than the usual ones.
    priors : Priors
        Of spreads and noise; published models are reproduced with flat ones.
    settled : float
        Largest change of a log spread or noise between rounds that counts as none.
    known : Estimate, optional
        Of other wearers, who log. Its population is what is believed before; its spreads and its
        noise stand, and only what concerns unlogged wear is learnt here.
    """
    told = known.belief if known else None
    layout = layout or coordinates(panel, facts=learnable(panel), told=told)
    learnt = UNLOGGED_SPREADS if known else tuple(priors.spreads)
    free = [n for n in priors.free if n in layout.spreads and n in learnt]
    priors = priors.holding(free, known.spread if known else {})
    spread = dict(start.spread) if start else {n: s.median for n, s in priors.spreads.items()}
    noise = start.noise if start else default_noise()
    if known:
        spread = known.spread | {n: spread[n] for n in UNLOGGED_SPREADS}
        noise = replace(known.noise, unlogged_sending=noise.unlogged_sending, leaving=noise.leaving)
    inverse: np.ndarray | None = None
    at: Modes | None = None
    objective = float("inf")
    converged = False
    done = 0
    gone = min(start.rounds, rounds - 1) if start else 0
    before, last_step = _settings_vector(spread, noise, priors), 0.0
    for done in range(gone + 1, rounds + 1):
        at = modes(panel, layout, spread, noise, start=at, steps=3 if at else 8)
        if progress:
            progress("spreads", 0.9 * (done - 0.5) / rounds)
        flat = min(_FLAT, _FLAT * settled / _SETTLED)
        found, inverse = _best_spreads(panel, layout, at.lin, spread, inverse, priors, flat)
        spread = with_free(priors, found.x)
        if known is None:
            old, noise = noise, improve_noise(panel, layout, spread, noise, at, priors, settled)
            noise, last_step = _hastened(old, noise, last_step)
            if done == 1 and start is None:
                noise = start_thumb(panel, at.lin, noise)
            noise = learn_thumb(panel, at.stand.sites, at.stand.cavities, noise)
            noise = replace(noise, sending=learn_logged(panel, layout, at, noise))
        noise = learn_unlogged(panel, noise, at.stand, spread["sender"])
        if keep:
            keep(FitStart(spread, noise, done))
        if progress:
            progress("noise", 0.9 * done / rounds)
        objective = float(found.fun)
        now = _settings_vector(spread, noise, priors)
        converged = float(np.abs(now - before).max()) < settled
        before = now
        if converged:
            break
    at = modes(panel, layout, spread, noise, start=at, steps=4)
    mean, cov = at.posterior.population_mean, at.posterior.population_cov
    assert inverse is not None  # noqa: S101 - there is a first round
    found = Estimate(layout, spread, noise, mean, cov, objective, done, priors, inverse, converged)
    return found, at
