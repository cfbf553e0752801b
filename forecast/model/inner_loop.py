"""Posterior modes (inner loop): where do the unknowns of a panel stand, at given spreads and noise?

Linearising the observations, solving, and moving the grades' sites take turns until nothing moves.
The result is the Gaussian approximation nearest to the posterior (its mean, not its mode).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.model.dense import FEW_PATHS, DenseRack, DenseState
from solespan.forecast.model.ep_sites import Cavities, first_sites, improve_sites
from solespan.forecast.model.hierarchy import Posterior, solve
from solespan.forecast.model.linearise import Linearised, Noise, Sites, linearise
from solespan.forecast.model.parameter_layout import INTERFACE, PAST, SILENT, TREND, Coordinates
from solespan.forecast.model.posterior_moments import (
    NestedState,
    past_shares,
    pull_of_bends,
)
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.rate_ages import STEP_YEARS, aged

__all__ = [
    "FIRST_STEPS",
    "STILL",
    "IterationState",
    "Modes",
    "line_up_moving",
    "lined_up",
    "modes",
    "moved_on",
    "prior_centre",
]

_RATE = INTERFACE.index("log_rate")
_WIDTH = len(INTERFACE)
_FARTHEST_PACE = 4.0  # log pace from its prior: a fiftieth, or fifty times as often
# A step back by more than this share of the last is a swing, where that was long enough.
_SWING, _LONG, _LEAST_SHARE = 0.5, 0.01, 0.1
STILL = 1e-3  # log rate or mm: a step that counts as none
FIRST_STEPS = 1  # before misreadings are judged, and lines moved off their tangents


def prior_centre(layout: Coordinates) -> np.ndarray:
    """Interface values at the prior means, shape (12, paths)."""
    n_paths = layout.weight.shape[1]
    random = len(layout.names) - len(layout.population)
    values = np.zeros((len(layout.names), n_paths))
    values[random:] = layout.prior_mean[:, None]
    return layout.interface(values)


@dataclass(frozen=True)
class IterationState:
    """Where alternating linearisation and solution stands.

    deviation : ndarray, shape (12, paths)
        Interface values at the modes, less the prior centre.
    weight : ndarray, shape (observations,)
        Of readings.
    sites, cavities
        Of grades, and what is known at each without it.
    pull : ndarray, shape (12, paths)
        `pull_of_bends`.
    log_rate_variance, pace_variance : ndarray, shape (paths,)
        Posterior variance of the log rates (of their means over the wear so far, where rates
        wander), and what the pace of unlogged days adds to it.
    moved : ndarray, shape (paths,)
        How far each path came in the last step.
    swing : ndarray, shape (paths,)
        The last step of log rate and log pace together, as it was asked for.
    share : ndarray, shape (paths,)
        Which share of a step is taken: less where steps swung to and fro.
    """

    deviation: np.ndarray
    weight: np.ndarray
    sites: Sites
    cavities: Cavities
    pull: np.ndarray
    log_rate_variance: np.ndarray
    pace_variance: np.ndarray
    moved: np.ndarray
    swing: np.ndarray
    share: np.ndarray

    @classmethod
    def first(cls, panel: Panel, layout: Coordinates, noise: Noise) -> IterationState:
        """The prior means."""
        nothing = np.zeros_like(prior_centre(layout))
        return cls(
            deviation=nothing,
            weight=np.ones(len(panel.obs_kind)),
            sites=first_sites(panel, noise),
            cavities=Cavities(np.zeros(0), np.zeros(0)),
            pull=nothing,
            log_rate_variance=np.zeros(len(panel.nominal_mm)),
            pace_variance=np.zeros(len(panel.nominal_mm)),
            moved=np.full(len(panel.nominal_mm), np.inf),
            swing=np.zeros(len(panel.nominal_mm)),
            share=np.ones(len(panel.nominal_mm)),
        )


@dataclass(frozen=True)
class Modes:
    """A posterior, the lines it was found with, and where it stands."""

    posterior: Posterior
    lin: Linearised
    stand: IterationState

    @property
    def deviation(self) -> np.ndarray:
        """Interface values at the modes, less the prior centre, shape (12, paths)."""
        return self.stand.deviation

    @cached_property
    def centre(self) -> np.ndarray:
        """Interface values at the prior means, shape (12, paths)."""
        return prior_centre(self.posterior.layout)

    @cached_property
    def value(self) -> np.ndarray:
        """Interface values at the modes, shape (12, paths)."""
        return np.asarray(self.centre + self.deviation)

    @property
    def log_rate_variance(self) -> np.ndarray:
        """Posterior variance of the log rates, shape (paths,)."""
        return self.stand.log_rate_variance


def modes(
    panel: Panel,
    layout: Coordinates,
    spread: dict[str, float],
    noise: Noise,
    *,
    population: tuple[np.ndarray, np.ndarray] | None = None,
    start: Modes | None = None,
    steps: int = 8,
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
    at = IterationState.first(panel, layout, noise) if start is None else start.stand
    rack = None
    if population is not None and len(panel.nominal_mm) <= FEW_PATHS:
        rack = DenseRack(panel, layout, spread, population)
    for step in range(steps):
        settled = step > FIRST_STEPS or start is not None
        lin = lined_up(panel, layout, noise, at, settled=settled)
        if rack is None:
            posterior = solve(panel, layout, lin, spread, population)
            at = moved_on(panel, noise, lin, posterior, at)
        else:
            at = _moved(panel, noise, lin, rack.solve(lin), at)
        if step > FIRST_STEPS + 1 and at.moved.max(initial=0.0) < STILL:
            break
    if rack is not None:
        posterior = solve(panel, layout, lin, spread, population)
    return Modes(posterior, lin, at)


def lined_up(
    panel: Panel, layout: Coordinates, noise: Noise, at: IterationState, *, settled: bool
) -> Linearised:
    """Linearise here; once `settled`, with misreadings sought and lines off their tangents."""
    return linearise(
        panel,
        at.deviation,
        prior_centre(layout),
        noise,
        at.weight,
        at.sites,
        at.log_rate_variance,
        at.pace_variance,
        at.pull if settled else None,
        seek_slips=settled,
    )


def line_up_moving(panel: Panel, at: Modes, noise: Noise) -> Linearised:
    """Linearise where still rates stand, with the columns of rates that wander beside them.

    `panel` has rates that move, `at` is of the same with still ones. The bends pull at a step back
    as they do at the log rate.
    """
    stand = at.stand

    def lined(pull: np.ndarray) -> Linearised:
        return linearise(
            panel,
            stand.deviation,
            at.centre,
            noise,
            stand.weight,
            stand.sites,
            stand.log_rate_variance,
            stand.pace_variance,
            pull,
            seek_slips=False,
        )

    with_rate = NestedState(at.posterior).bent_covariance()[_RATE]
    gram = lined(stand.pull).products(np.arange(_WIDTH))[PAST]
    pull = stand.pull.copy()
    pull[PAST] = -np.einsum("kbn,bn->kn", gram, with_rate)
    return lined(pull)


def moved_on(
    panel: Panel, noise: Noise, lin: Linearised, posterior: Posterior, at: IterationState
) -> IterationState:
    """Stand at a posterior's means, with sites and pulls to match."""
    return _moved(panel, noise, lin, NestedState(posterior), at)


def _moved(
    panel: Panel, noise: Noise, lin: Linearised, found: DenseState | NestedState, at: IterationState
) -> IterationState:
    change = found.mean - at.deviation
    _shorten(change, panel.path_wearer)
    swing = change[_RATE] + change[SILENT]
    share = _share(swing, at, panel.path_wearer)
    change[: -len(COVARIATES)] *= share
    if panel.unlogged.any():
        pace = np.clip(at.deviation[SILENT] + change[SILENT], -_FARTHEST_PACE, _FARTHEST_PACE)
        change[SILENT] = pace - at.deviation[SILENT]
    bent = found.bent_covariance()
    rows = at.sites.rows
    variance = found.fitted_variance(panel.obs_path[rows], lin.columns[:, rows])
    sites, cavities, by_site = improve_sites(panel, noise, variance, lin, change, at.sites)
    moved = np.abs(change).max(axis=0)
    np.maximum.at(moved, panel.obs_path[rows], by_site)
    steps_back = at.deviation[PAST] + change[PAST]
    past = past_shares(panel, lin, bent, steps_back)
    return IterationState(
        deviation=at.deviation + change,
        weight=lin.weight,
        sites=sites,
        cavities=cavities,
        pull=pull_of_bends(lin, bent, panel.unlogged_path, past),
        log_rate_variance=_worn_variance(panel, bent, steps_back),
        pace_variance=_pace_variance(bent),
        moved=moved,
        swing=swing,
        share=share,
    )


def _share(swing: np.ndarray, at: IterationState, wearer: np.ndarray) -> np.ndarray:
    """Shorten the steps of wearers whose steps swing to and fro; others take whole steps.

    The share is that of Aitken's relaxation by vectors (Irons and Tuck 1969, from memory).
    """

    def inner(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        return np.asarray(np.bincount(wearer, one * other))

    if not len(wearer):
        return at.share
    turn = swing - at.swing
    before, now = inner(at.swing, at.swing), inner(swing, at.swing)
    fell = inner(at.swing, -turn) / np.maximum(inner(turn, turn), STILL**4)
    share = at.share * np.where(fell > 0.0, fell, 1.0)[wearer]
    swings = (now < -_SWING * before) & (before > _LONG**2)
    return np.where(swings[wearer] | (at.share < 1.0), np.clip(share, _LEAST_SHARE, 1.0), at.share)


def _shorten(change: np.ndarray, wearer: np.ndarray) -> None:
    """Keep the steps of each wearer within a factor of e in wear.

    Log rate and log pace act as a sum. The whole step is shortened, as the other unknowns were
    found together with it. The multipliers of exposure are everybody's, and keep their step.
    """
    each = np.maximum(np.abs(change[_RATE]), np.abs(change[SILENT]))
    step = np.maximum(each, np.abs(change[_RATE] + change[SILENT]))
    if change[PAST].any():  # the rates of earlier stretches
        back = np.cumsum(change[PAST][:-1] - STEP_YEARS[:, None] * change[TREND], axis=0)
        step = np.maximum(step, np.abs(change[_RATE] + back).max(axis=0))
    longest = np.ones(int(wearer[-1]) + 1 if len(wearer) else 0)
    np.maximum.at(longest, wearer, step)
    change[: -len(COVARIATES)] /= longest[wearer]


def _worn_variance(panel: Panel, bent: dict[int, np.ndarray], steps_back: np.ndarray) -> np.ndarray:
    """Variance of the log of the mean rate over the wear so far, by path."""
    out: np.ndarray = bent[_RATE][_RATE]
    steps = [k for k in range(PAST.start, PAST.stop) if k in bent]
    if not steps:
        return out
    factor, slopes = aged(panel.target_older[panel.path_end], steps_back)
    share = (slopes / factor)[[k - PAST.start for k in steps]]
    cov = np.array([bent[k][steps] for k in steps])
    out = out + 2.0 * np.einsum("kn,kn->n", share, np.array([bent[k][_RATE] for k in steps]))
    return np.asarray(np.maximum(out + np.einsum("kn,kjn,jn->n", share, cov, share), 0.0))


def _pace_variance(bent: dict[int, np.ndarray]) -> np.ndarray:
    """Variance of log rate plus pace less that of the log rate, by path."""
    if SILENT not in bent:
        return np.zeros_like(bent[_RATE][_RATE])
    return np.asarray(bent[SILENT][SILENT] + 2.0 * bent[_RATE][SILENT])
