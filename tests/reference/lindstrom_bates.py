"""How are start and log rate fitted by the alternation of Lindstrom and Bates, as R's nlme does?

The engine's own linearisation and elimination at the tangents of the modes (the forecasts' lines
are moved off them by what their bends take away, which comes nearer to the exact answer), with a
flat prior for the population and none for the spreads. Spreads and residual by maximum likelihood
of the linearised model (Lindstrom and Bates, Biometrics 46:673, 1990).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from solespan.forecast.model.hierarchy import Posterior, solve
from solespan.forecast.model.inner_loop import prior_centre
from solespan.forecast.model.linearise import Noise, Sites, linearise
from solespan.forecast.model.parameter_layout import Coordinates, coordinates
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import Panel
from solespan.forecast.priors import SPREADS

NO_SITES = Sites(np.zeros(0, int), np.zeros(0), np.zeros(0))
ABSENT_SD = 1e-3  # of a spread that the published model does not have
FLAT_SD = 1e4
TINY_PROCESS_MM = 1e-12
MOST_ROUNDS = 40
MODE_STEPS = 10


@dataclass(frozen=True)
class Found:
    """Where the alternation ended: fixed effects a and l, SDs by name with `resid`, likelihood."""

    start: float
    log_rate: float
    sd: dict[str, float]
    llf: float


class LindstromBates:
    """The engine on a bare panel, with some spreads free and the others all but absent.

    panel : Panel
    free : names of `forecast.priors.SPREADS`.
    start, log_rate : float
        About where the fixed effects lie.
    """

    def __init__(self, panel: Panel, free: tuple[str, ...], start: float, log_rate: float) -> None:
        self.panel, self.free = panel, free
        self.layout: Coordinates = replace(
            coordinates(panel, ("level", "start_mm")),
            prior_mean=np.array([log_rate, start]),
            prior_sd=np.full(2, FLAT_SD),
        )
        self.centre = prior_centre(self.layout)

    def solved(self, log_sd: np.ndarray, deviation: np.ndarray) -> Posterior:
        """Posterior of the model linearised at a deviation; log_sd of `free`, then residual."""
        *spread, resid = np.exp(log_sd)
        noise = Noise((float(resid),) * 3, TINY_PROCESS_MM, ThumbScale())
        weight = np.ones(len(self.panel.obs_kind))
        lin = linearise(
            self.panel, deviation, self.centre, noise, weight, NO_SITES, seek_slips=False
        )
        sds = dict.fromkeys(SPREADS, ABSENT_SD) | dict(zip(self.free, spread, strict=True))
        return solve(self.panel, self.layout, lin, sds)

    def llf(self, posterior: Posterior) -> float:
        """Log likelihood at the best fixed effects: the flat prior's integral taken out again."""
        covariance = float(np.linalg.slogdet(posterior.population_cov)[1])
        flat = len(posterior.population_mean) * np.log(FLAT_SD) - 0.5 * covariance
        rows = 0.5 * len(self.panel.obs_mm) * np.log(2.0 * np.pi)
        return posterior.log_likelihood + float(flat - rows)

    def fit(self, sd: tuple[float, ...], tolerance: float = 1e-5) -> Found:
        """Alternate modes and spreads from some SDs (of `free`, then residual) until both stand."""
        log_sd, deviation = np.log(sd), np.zeros_like(self.centre)
        for _ in range(MOST_ROUNDS):
            for _step in range(MODE_STEPS):
                posterior = self.solved(log_sd, deviation)
                moved = self.layout.interface(posterior.unknowns()) - deviation
                deviation = deviation + moved
                if np.abs(moved).max() < tolerance:
                    break
            here = deviation
            found = minimize(
                lambda at, here=here: -self.llf(self.solved(at, here)), log_sd, method="L-BFGS-B"
            )
            step, log_sd = np.abs(found.x - log_sd).max(), found.x
            if step < tolerance:
                break
        posterior = self.solved(log_sd, deviation)
        log_rate, start = self.layout.prior_mean + posterior.population_mean
        sds = dict(zip((*self.free, "resid"), np.exp(log_sd).tolist(), strict=True))
        return Found(float(start), float(log_rate), sds, self.llf(posterior))
