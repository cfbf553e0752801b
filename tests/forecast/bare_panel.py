"""How is the nested model fitted to bare arrays by the alternation of Lindstrom and Bates?

The engine's own linearisation and elimination, with every part that published fits do not have
taken away: no packing, no thumb, no process noise to speak of, a flat prior for the population and
none for the spreads. Spreads and residual by maximum likelihood of the linearised model, as R's
nlme does (Lindstrom and Bates, Biometrics 46:673, 1990).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from solespan.forecast.covariates import FLAGS
from solespan.forecast.model.hierarchy import Posterior, solve
from solespan.forecast.model.inner_loop import prior_centre
from solespan.forecast.model.linearise import Noise, Sites, linearise
from solespan.forecast.model.parameter_layout import Coordinates, coordinates
from solespan.forecast.model.thumb import ThumbScale
from solespan.forecast.panel.exposure import Exposure
from solespan.forecast.panel.panel import Panel
from solespan.forecast.priors import SPREADS

NO_SITES = Sites(np.zeros(0, int), np.zeros(0), np.zeros(0))
ABSENT_SD = 1e-3  # of a spread that the published model does not have
FLAT_SD = 1e4
TINY_PROCESS_MM = 1e-12
MOST_ROUNDS = 40
MODE_STEPS = 10


def bare_panel(
    y: npt.ArrayLike,
    x: npt.ArrayLike,
    shoe: npt.ArrayLike,
    pair: npt.ArrayLike | None = None,
    wearer: npt.ArrayLike | None = None,
) -> Panel:
    """Lay out what falls with exposure, one path a shoe, two shoes a pair at most.

    y, x : shape (rows,), any order; x at least 0. shoe, pair, wearer : labels; a shoe without a
    pair is a pair of its own, a pair without a wearer has its own wearer.
    """
    pair = shoe if pair is None else pair
    wearer = pair if wearer is None else wearer
    order = np.lexsort((x, shoe, pair, wearer))
    y, x, shoe, pair, wearer = (np.asarray(v)[order] for v in (y, x, shoe, pair, wearer))
    path = np.cumsum(np.r_[False, shoe[1:] != shoe[:-1]])
    first = np.flatnonzero(np.r_[True, path[1:] != path[:-1]])
    path_pair = np.cumsum(np.r_[False, pair[first][1:] != pair[first][:-1]])
    pair_first = first[np.flatnonzero(np.r_[True, path_pair[1:] != path_pair[:-1]])]
    pair_wearer = np.cumsum(np.r_[False, wearer[pair_first][1:] != wearer[pair_first][:-1]])
    paths, rows = np.arange(len(first)), np.arange(len(y))
    nothing, none = np.zeros(len(y), int), np.zeros(len(first), int)
    return Panel(
        wearer_ids=np.unique(pair_wearer).astype(object),
        pair_ids=pair[pair_first].astype(object),
        pair_wearer=pair_wearer,
        sole_ids=shoe[first].astype(object),
        path_begin=np.full(len(first), -1),
        sole_pair=path_pair,
        sole_fitted=none,
        path_pair=path_pair,
        path_sole=paths,
        path_foot=np.r_[False, path_pair[1:] == path_pair[:-1]].astype(int),
        path_point=none,
        path_end=np.r_[first[1:], len(y)] - 1,
        current=np.ones(len(first), bool),
        nominal_mm=np.zeros(len(first)),
        limit_mm=none.astype(float),
        material=none,
        drives=none.astype(float),
        obs_path=path,
        obs_target=rows,
        obs_kind=nothing,
        obs_mm=y.astype(float),
        obs_grade=nothing - 1,
        obs_waist=np.zeros(len(y), bool),
        obs_check=rows,
        target_sole=path,
        target_day=rows,
        exposure=Exposure(
            base=x[:, None].astype(float),
            driving=np.zeros((len(y), 1)),
            silent=np.zeros(len(y)),
            flags=np.zeros((1, len(FLAGS))),
        ),
        as_of_day=0,
    )


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
