"""Where do the unknowns of a panel stand, at given spreads and noise?

Linearising the observations, solving, and moving the grades' sites take turns until nothing moves:
the posterior is then the normal nearest to the true one (its mean, not its mode).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.coordinates import INTERFACE, Coordinates
from forecast.grades import Cavities, improve_sites
from forecast.hierarchy import Posterior, solve
from forecast.linearise import Linearised, Noise, Sites, first_sites, linearise, pull_of_bends
from forecast.moments import bent_covariance, soles_down
from forecast.panel import Panel

__all__ = ["Modes", "modes", "prior_centre"]

_RATE = INTERFACE.index("log_rate")
_FIRST_STEPS = 1  # before readings are judged as slips, and lines moved off their tangents


def prior_centre(layout: Coordinates) -> np.ndarray:
    """Interface values at the prior means, shape (12, paths)."""
    n_paths = layout.weight.shape[1]
    random = len(layout.names) - len(layout.population)
    values = np.zeros((len(layout.names), n_paths))
    values[random:] = layout.prior_mean[:, None]
    return layout.interface(values)


@dataclass(frozen=True)
class Modes:
    """Where alternating linearisation and solution stands.

    deviation : ndarray, shape (12, paths)
        Interface values at the modes, less the prior centre.
    cavities : Cavities
        What is known at each site without it.
    pull : ndarray, shape (12, paths)
        `forecast.linearise.pull_of_bends`.
    log_rate_variance : ndarray, shape (paths,)
        Posterior variance of the log rates.
    """

    posterior: Posterior
    lin: Linearised
    deviation: np.ndarray
    sites: Sites
    cavities: Cavities
    pull: np.ndarray
    log_rate_variance: np.ndarray


def modes(
    panel: Panel,
    layout: Coordinates,
    spread: dict[str, float],
    noise: Noise,
    *,
    population: tuple[np.ndarray, np.ndarray] | None = None,
    start: Modes | None = None,
    steps: int = 8,
    tolerance: float = 5e-4,
) -> Modes:
    """Alternate linearising and solving at fixed spreads until the modes stand still.

    Parameters
    ----------
    panel, layout, spread, noise
        The model.
    population : (mean, covariance), optional
        Posterior of the population from a fit, when only what lies below is asked.
    start : Modes, optional
        Where to start; default the prior means.
    steps : int
        At most so many.
    """
    centre = prior_centre(layout)
    pull = np.zeros_like(centre) if start is None else start.pull
    if start is None:
        deviation, weight = np.zeros_like(centre), np.ones(len(panel.obs_kind))
        sites, variance = first_sites(panel, noise), np.zeros(len(panel.nominal_mm))
    else:
        deviation, weight, sites = start.deviation, start.lin.weight, start.sites
        variance = start.log_rate_variance
    for step in range(steps):
        settled = step > _FIRST_STEPS or start is not None
        lin = linearise(
            panel,
            deviation,
            centre,
            noise,
            weight,
            sites,
            variance,
            pull if settled else None,
            seek_slips=settled,
        )
        weight = lin.weight
        posterior = solve(panel, layout, lin, spread, population)
        change = layout.interface(posterior.unknowns()) - deviation
        change[_RATE] = np.clip(change[_RATE], -1.0, 1.0)
        deviation = deviation + change
        down = soles_down(posterior)
        bent = bent_covariance(posterior, down)
        variance = bent[_RATE][_RATE]
        pull = pull_of_bends(lin, bent)
        sites, cavities, moved = improve_sites(panel, noise, posterior, lin, change, sites, down)
        if step > 2 and max(float(np.abs(change).max(initial=0.0)), moved) < tolerance:
            break
    return Modes(posterior, lin, deviation, sites, cavities, pull, variance)
