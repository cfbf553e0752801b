"""Full-panel fit: how are spreads and population found over a whole panel, part by part?

Spreads and noise are sought on some wearers; one Newton step then moves the spreads to the optimum
over all. Parts are whole wearers, so that all a part has to tell the others is a small sum
(`forecast.model.hierarchy.Totals`) and a gradient. A `Runner` of `forecast.panel.wearer_parts` says
where parts are: here, in blocks that fit the processor's cache, or on other machines.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial, reduce
from operator import add
from typing import Any

import numpy as np

from solespan.forecast.model.block_elimination import Level
from solespan.forecast.model.estimation import (
    Estimate,
    Keep,
    Progress,
    fit_rounds,
    spread_penalty,
    with_free,
)
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.hierarchy import (
    Posterior,
    Totals,
    levels_of,
    population_of,
    solve,
    with_population,
)
from solespan.forecast.model.inner_loop import (
    FIRST_STEPS,
    IterationState,
    Modes,
    line_up_moving,
    lined_up,
    moved_on,
)
from solespan.forecast.model.linearise import Linearised, Noise
from solespan.forecast.model.parameter_layout import (
    Belief,
    Coordinates,
    Facts,
    coordinates,
    learnable,
)
from solespan.forecast.model.posterior_moments import gradient
from solespan.forecast.panel.panel import (
    Panel,
    panel_part,
    panel_range,
    some_wearers,
    unlogged_wearers,
    wearer_blocks,
)
from solespan.forecast.panel.rate_ages import with_moving_rates
from solespan.forecast.panel.wearer_parts import Runner, Threads
from solespan.forecast.priors import DRIFTS, SPREADS

__all__ = [
    "ENOUGH_PATHS",
    "as_found",
    "by_logging",
    "cut",
    "estimate",
    "fit_spreads",
    "over_everyone",
]

ENOUGH_PATHS = 5000  # spreads and noise are sought on so many, then moved to all
_BLOCK_PATHS = 3000
_STEPS = 4
_MOST_STEP = 0.2  # of a log spread
# Sizes of a drift and of its trend, times their prior medians. Then the gain in the log likelihood
# over none from which rates are taken to wander. The first has only the trend of all. Large panels
# see even a drift that is not worth its uncertainty, the second: there the gain over it counts.
_DRIFT_TRIES = ((0.02, 0.02), (0.5, 0.02), (1.0, 0.2), (2.0, 0.2), (4.0, 0.2), (1.0, 1.0))
_DRIFT_GAIN, _GAIN_PER_WEARER = 3.0, 0.03
Population = tuple[np.ndarray, np.ndarray, float]


@dataclass(frozen=True)
class Part:
    """Some wearers' panel, where it stands, and what it says just now."""

    panel: Panel
    layout: Coordinates
    stand: IterationState
    lin: Linearised | None = None
    levels: tuple[Level, Level, Level, Level] | None = None
    totals: Totals | None = None
    posterior: Posterior | None = None


def estimate(
    panel: Panel,
    progress: Progress | None = None,
    start: FitStart | None = None,
    keep: Keep | None = None,
) -> Estimate:
    """Fit the population of a panel; parameters as `forecast.model.estimation.fit_spreads`."""
    known, parts = None, by_logging(panel)
    for part in parts:
        found = _estimate_part(part, progress, start, keep, known)
        known = found if known is None else cut(known, found)
    assert known is not None  # noqa: S101 - a panel has wearers
    return known


def fit_spreads(
    panel: Panel,
    progress: Progress | None = None,
    start: FitStart | None = None,
    keep: Keep | None = None,
    *,
    known: Estimate | None = None,
) -> Estimate:
    """Fit a panel with rates that stand still, and again with rates that wander if that pays.

    Parameters as `forecast.model.estimation.fit_rounds`. The spreads of the drift are zero where
    it does not pay.
    """
    found, at = fit_rounds(panel, progress, start, keep, known=known)
    if known is not None:
        return found
    best = None if panel.unlogged.all() else _drift_that_pays(panel, found, at)
    if best is None:
        spread = found.spread | dict.fromkeys(DRIFTS, 0.0)
        priors = found.priors.holding(found.priors.free, spread)
        return replace(found, spread=spread, priors=priors)
    start = FitStart(_times_drift(found.spread, *best), found.noise)
    return fit_rounds(with_moving_rates(panel), progress, start, keep)[0]


def _drift_that_pays(panel: Panel, found: Estimate, at: Modes) -> tuple[float, float] | None:
    """Which of `_DRIFT_TRIES` to start from; None where rates are better taken to stand still.

    Everything else is held where the fit with still rates ended: lines, sites and weights.
    """
    moving = with_moving_rates(panel)
    lin = line_up_moving(moving, at, found.noise)
    layout = coordinates(moving, facts=learnable(moving))
    still = solve(moving, found.layout, lin, found.spread).log_likelihood
    common, little, *gains = (
        solve(moving, layout, lin, _times_drift(found.spread, *sizes)).log_likelihood - still
        for sizes in _DRIFT_TRIES
    )
    best = int(np.argmax(gains))
    beyond = min(_DRIFT_GAIN, _GAIN_PER_WEARER * len(panel.wearer_ids))
    if common < _DRIFT_GAIN and gains[best] < max(_DRIFT_GAIN, little + beyond):
        return None
    return _DRIFT_TRIES[best + 2]


def _times_drift(spread: dict[str, float], drift: float, trend: float) -> dict[str, float]:
    factor = {name: trend if name.endswith("trend") else drift for name in DRIFTS}
    return spread | {name: f * SPREADS[name].median for name, f in factor.items()}


def by_logging(panel: Panel) -> list[Panel]:
    """Wearers who log, then those who do not; one panel where all are alike."""
    silent = unlogged_wearers(panel)
    if silent.all() or not silent.any():
        return [panel]
    return [panel_part(panel, ~silent), panel_part(panel, silent)]


def cut(known: Estimate, found: Estimate) -> Estimate:
    """Join what wearers who log told with what the others told given it.

    The others move nothing that those who log have told: a cut posterior (Plummer, Statistics and
    Computing 25:37, 2015; from memory). What they told of their own unknowns is compared with
    the population that those who log told of.
    """
    p = len(known.layout.population)
    own_cov = found.population_cov[:p, :p]
    slope = np.linalg.solve(own_cov, found.population_cov[:p, p:]).T
    moved = known.population_mean - found.population_mean[:p]
    mean = np.concatenate([known.population_mean, found.population_mean[p:] + slope @ moved])
    cross = slope @ known.population_cov
    rest = found.population_cov[p:, p:] - slope @ own_cov @ slope.T + cross @ slope.T
    cov = np.block([[known.population_cov, cross.T], [cross, rest]])
    return replace(
        found,
        population_mean=mean,
        population_cov=0.5 * (cov + cov.T),
        objective=known.objective + found.objective,
        rounds=max(known.rounds, found.rounds),
        converged=known.converged and found.converged,
    )


def _estimate_part(
    panel: Panel,
    progress: Progress | None,
    start: FitStart | None,
    keep: Keep | None,
    known: Estimate | None,
) -> Estimate:
    """Fit wearers who are alike in logging."""
    if known is not None and start is not None:
        start = replace(start, rounds=0)
    small = some_wearers(panel, ENOUGH_PATHS)
    found = fit_spreads(small, progress, start, keep, known=known)
    if small is panel:
        return found
    if progress:
        progress("everyone", 0.8)
    panel = as_found(panel, found)
    parts = [panel_range(panel, *block) for block in wearer_blocks(panel, _BLOCK_PATHS)]
    share = len(small.wearer_ids) / len(panel.wearer_ids)
    return over_everyone(Threads(), parts, learnable(panel), found, share)


def as_found(panel: Panel, found: Estimate) -> Panel:
    """Return the panel with rates that wander, where the estimate has them wander."""
    return with_moving_rates(panel) if found.spread[DRIFTS[0]] > 0.0 else panel


def over_everyone(
    runner: Runner, panels: list[Any], facts: Facts, found: Estimate, share: float
) -> Estimate:
    """Move an estimate from some wearers to all.

    Parameters
    ----------
    runner : Runner
    panels : list of Panel, or handles of them
    facts : Facts
        Of all panels together.
    found : Estimate
    share : float
        Of the wearers that it was found on.
    """
    noise = found.noise
    told = found.layout.told
    parts = runner.map(partial(_laid_out, facts=facts, noise=noise, told=told), panels)
    layout: Coordinates = runner.gather(runner.map(_layout, parts[:1]))[0]
    spread = found.spread
    for step in range(_STEPS):
        lined, population = _solved(
            runner, parts, layout, noise, spread, settled=step > FIRST_STEPS
        )
        move = partial(_moved, noise=noise, spread=spread, population=population)
        parts = runner.map(move, lined)
    slopes = runner.gather(
        runner.map(partial(_slope, spread=spread, free=found.priors.free), parts)
    )
    priors = found.priors
    here = np.log([spread[n] for n in priors.free])
    slope = spread_penalty(here, priors)[1] - np.sum(slopes, axis=0)
    # the curvature was found on some, and grows with their number
    step_by = np.clip(-found.curvature_inverse @ slope * share, -_MOST_STEP, _MOST_STEP)
    spread = with_free(priors, here + step_by)
    _, (mean, cov, log_likelihood) = _solved(runner, parts, layout, noise, spread, settled=True)
    return replace(
        found,
        layout=layout,
        spread=spread,
        population_mean=mean,
        population_cov=cov,
        objective=spread_penalty(here + step_by, priors)[0] - log_likelihood,
    )


def _solved(
    runner: Runner,
    parts: list[Any],
    layout: Coordinates,
    noise: Noise,
    spread: dict[str, float],
    *,
    settled: bool,
) -> tuple[list[Any], Population]:
    """Linearise every part, and solve for the population."""
    lined = runner.map(partial(_lined, noise=noise, spread=spread, settled=settled), parts)
    totals = reduce(add, runner.gather(runner.map(_totals, lined)))
    return lined, population_of(layout, totals)


def _laid_out(panel: Panel, facts: Facts, noise: Noise, told: Belief | None) -> Part:
    layout = coordinates(panel, facts=facts, told=told)
    return Part(panel, layout, IterationState.first(panel, layout, noise))


def _layout(part: Part) -> Coordinates:
    return part.layout


def _lined(part: Part, noise: Noise, spread: dict[str, float], *, settled: bool) -> Part:
    lin = lined_up(part.panel, part.layout, noise, part.stand, settled=settled)
    levels, totals = levels_of(part.panel, part.layout, lin, spread)
    return replace(part, lin=lin, levels=levels, totals=totals)


def _totals(part: Part) -> Totals:
    assert part.totals is not None  # noqa: S101 - set by _lined
    return part.totals


def _moved(part: Part, noise: Noise, spread: dict[str, float], population: Population) -> Part:
    assert part.levels is not None and part.lin is not None  # noqa: S101, PT018 - set by _lined
    posterior = with_population(part.panel, part.layout, part.levels, spread, *population)
    stand = moved_on(part.panel, noise, part.lin, posterior, part.stand)
    return replace(part, stand=stand, posterior=posterior)


def _slope(part: Part, spread: dict[str, float], free: list[str]) -> np.ndarray:
    assert part.posterior is not None  # noqa: S101 - set by _moved
    slope = gradient(part.panel, part.posterior, spread)
    return np.array([slope[n] for n in free])
