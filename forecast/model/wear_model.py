"""Wear model: how fast does each sole wear, judged from all of them together?

`WearModel(log, as_of).fit()` learns the population. That is mean log rates by material and point,
multipliers of days, packing, and the spread of wearers, pairs and feet. It also learns how pairs
are used. Given the population, `condition` finds the posterior of any wearers without a refit.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import pandas as pd

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.log import LogColumns, WearLog
from solespan.forecast.model.estimation import Estimate, Keep, Progress
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.full_panel_fit import estimate
from solespan.forecast.model.hand_over_noise import chances_in_use, still_used
from solespan.forecast.model.inner_loop import Modes
from solespan.forecast.model.linearise import effective_exposure
from solespan.forecast.model.parameter_layout import (
    PAST,
    SILENT,
    coordinates,
    population_prior,
)
from solespan.forecast.model.posterior_modes import CHANGED, changed_wearers, converged_modes
from solespan.forecast.model.sole_normal import log_rate_effects, thumb_shifts
from solespan.forecast.model.sole_state import Evidence, SoleState, sole_state
from solespan.forecast.model.wear_curve import (
    NextReading,
    ThicknessNormal,
    WearCurves,
    multipliers_of,
)
from solespan.forecast.model.wear_fit import WearFit
from solespan.forecast.panel.foot_pairs import FootPairs
from solespan.forecast.panel.log_arrays import LogArrays, log_arrays
from solespan.forecast.panel.panel import Panel, panel_range, wearer_blocks
from solespan.forecast.panel.panel_of_log import panel_of
from solespan.forecast.panel.rate_ages import STEP_YEARS, with_moving_rates
from solespan.forecast.priors import PACKING_DAYS
from solespan.forecast.use.calendar import UseAhead, use_ahead
from solespan.forecast.use.pace import current_pace
from solespan.forecast.use.usage import UseFit, fit_use
from solespan.forecast.use.wear_counts import WearCounts, wear_counts

__all__ = [
    "Conditioned",
    "WearModel",
    "condition",
    "condition_blocks",
    "multipliers",
    "use_multipliers",
    "wear_fit",
]

T = TypeVar("T")
_BLOCK_PATHS = 3000
_MOST_YEARS = 1.5  # over which a trend is carried on, and rates wander on
_THREADS = 2
_SLIP_WEIGHT = 0.3  # a reading with less weight than this is a likely misreading


class WearModel:
    """The hierarchical wear model of a log, as known on one day.

    Parameters
    ----------
    log : WearLog
        Checked frames; rows later than `as_of` are not used.
    as_of : date-like
        The day whose knowledge is used.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """

    def __init__(self, log: WearLog, as_of: str | pd.Timestamp) -> None:
        self.as_of = pd.Timestamp(as_of)
        self._arrays = log_arrays(log, self.as_of)
        self.panel = panel_of(self._arrays)

    def fit(
        self,
        progress: Progress | None = None,
        start: WearFit | FitStart | None = None,
        keep: Keep | None = None,
    ) -> WearFit:
        """Learn the population and how pairs are used.

        Parameters
        ----------
        progress : callable (step, fraction), optional
            Told the step's name and how far the fit is, 0 to 1.
        start : WearFit or FitStart, optional
            An earlier fit, or where one was stopped, whose spreads and noise to start from.
        keep : callable (FitStart), optional
            Told after each round where the fit stands; given as `start` it goes on from there.

        Returns
        -------
        WearFit
        """
        panel = self.panel
        if isinstance(start, WearFit):
            start = FitStart(start.spread, start.noise)
        found = estimate(panel, progress, start, keep)
        layout = found.layout
        mean = layout.prior_mean + found.population_mean
        counts = wear_counts(self._arrays, *use_multipliers(layout.population, mean))
        if progress:
            progress("use", 0.95)
        logged = ~panel.unlogged
        use = fit_use(counts.kept(logged) if logged.any() else counts)
        if progress:
            progress("done", 1.0)
        return wear_fit(found, use, self.as_of, panel.sizes, self._arrays.records_begin)


def wear_fit(
    found: Estimate,
    use: UseFit,
    as_of: pd.Timestamp,
    sizes: tuple[int, int, int, int],
    records_begin: int,
) -> WearFit:
    """Gather what was found; sizes: wearers, pairs, paths, observations."""
    return WearFit(
        as_of=str(as_of.date()),
        names=found.layout.population,
        mean=found.layout.prior_mean + found.population_mean,
        cov=found.population_cov,
        spread=found.spread,
        noise=found.noise,
        use=use,
        log_likelihood=-found.objective,
        rounds=found.rounds,
        converged=found.converged,
        n_wearers=sizes[0],
        n_pairs=sizes[1],
        n_paths=sizes[2],
        n_observations=sizes[3],
        records_begin=records_begin,
    )


def multipliers(names: tuple[str, ...], mean: np.ndarray) -> np.ndarray:
    """Log multipliers in the order of COVARIATES; zero (no effect) where the fit has none."""
    value = dict(zip(names, mean, strict=True))
    return np.array([value.get(f"log_{name}", 0.0) for name in COVARIATES])


def use_multipliers(names: tuple[str, ...], mean: np.ndarray) -> tuple[np.ndarray, float]:
    """What `wear_counts` needs of a population: log multipliers, and the share worn in a gap."""
    value = dict(zip(names, mean, strict=True))
    gap_share = float(value.get("gap_share", population_prior("gap_share")[0]))
    return multipliers(names, mean), gap_share


@dataclass(frozen=True)
class Conditioned:
    """Some wearers' posterior, given a fit: everything that forecasts are read from.

    fit : WearFit
    panel : Panel
        The log as arrays; paths, observations and targets below are counted by it.
    ahead : UseAhead
        Use of the pairs from today on.
    away : ndarray of bool, shape (pairs,)
        At a shop.
    in_use : ndarray, shape (pairs,)
        Chance that the pair is still worn and its owner still a customer; NaN without a sole.
    """

    fit: WearFit
    panel: Panel
    ahead: UseAhead
    away: np.ndarray
    in_use: np.ndarray
    _modes: Modes
    _used: Evidence

    def state(self, feet: FootPairs) -> SoleState:
        """Joint posterior of rates and thickness of pairs of feet, taken that they are in use.

        Where rates wander they are means over the time that is left.
        """
        years = self._years_left(feet)
        return sole_state(self.panel, self._modes, feet, self._used, years)

    def effects(self, sole: int) -> dict[str, tuple[float, float]]:
        """Mean and SD of what acts on the log rate at the ball of a sole.

        `wearer`, `pair` and `sole`: beside the average one, with the pace where no wear is logged,
        as rate and pace are not told apart then. `foot`: left less right.
        """
        return log_rate_effects(self.panel, self._modes, sole)

    def thumb_shift(self) -> tuple[np.ndarray, np.ndarray]:
        """How much thicker each wearer's thumb feels a sole with the usual limit: mean and SD, mm.

        Both of shape (wearers,); NaN of a wearer who pressed no sole.
        """
        return thumb_shifts(self.panel, self._modes)

    def thickness(self, log: WearLog, sole: int, days: np.ndarray) -> list[ThicknessNormal]:
        """Joint normals of the thickness by day of a sole's paths, all checks known.

        Parameters
        ----------
        log : WearLog
            The log that the posterior is of.
        sole : int
        days : ndarray of int, shape (n,)
            Sorted, no doubles, since 1970-01-01; the last is the sole's last day or today.
        """
        return self._curves(log).thickness(sole, days)

    def readings(
        self, log: WearLog, ball: FootPairs, size: int
    ) -> tuple[np.ndarray, list[NextReading]]:
        """Covariance of `SoleState` of one ball, and how readings not yet taken go with it.

        `size` is the length of that state: 4, or 5 with a pace.
        """
        return self._curves(log).readings(ball, size, self._years_left(ball))

    @property
    def log_rate(self) -> np.ndarray:
        """Log of mm per standard wear day, by path."""
        return np.asarray(self._modes.value[2])

    @property
    def rate_steps(self) -> np.ndarray:
        """Log rate of each stretch of `forecast.panel.rate_ages` less that after it, by path.

        Shape (STEPS, paths), nearest first, the trend included; zero where rates stand still.
        """
        past = self._modes.value[PAST]
        return np.asarray(past[:-1] - STEP_YEARS[:, None] * past[-1])

    @property
    def worn(self) -> np.ndarray:
        """Standard wear days logged, by target."""
        return effective_exposure(self.panel, multipliers_of(self._modes))[0]

    @property
    def packing_days(self) -> np.ndarray:
        """Standard wear days until a sole has packed down, by path."""
        return np.asarray(self._modes.lin.settling * PACKING_DAYS)

    @property
    def slip(self) -> np.ndarray:
        """Whether a reading was ignored as a likely misreading, by observation."""
        return np.asarray(self._modes.lin.weight < _SLIP_WEIGHT)

    @property
    def fitted_mm(self) -> np.ndarray:
        """Fitted thickness as it was seen, by observation."""
        return self._modes.lin.fitted_mm

    @property
    def residual_mm(self) -> np.ndarray:
        """Reading less fitted thickness, by observation."""
        return self._modes.lin.residual_mm

    def _years_left(self, feet: FootPairs) -> np.ndarray | None:
        """About how many years each pair of feet has left; None where rates stand still."""
        if not self.panel.moving.any():
            return None
        now = sole_state(self.panel, self._modes, feet, self._used).mean[:4].reshape(2, 2, -1)
        left_mm = np.maximum(now[:, 1] - self.panel.limit_mm[feet.both], 0.0)
        members = self.panel.path_pair[feet.left]
        per_day = np.maximum(self.ahead.per_day[members], 1e-6)
        days = (left_mm / np.exp(now[:, 0])).min(axis=0) / per_day
        moving = self.panel.moving[members] > 0.0
        return np.where(moving, np.minimum(days / 365.0, _MOST_YEARS), 0.0)

    def _curves(self, log: WearLog) -> WearCurves:
        return WearCurves(self.panel, self._modes, self._used, self.fit.noise.process_mm, log)


def condition(
    fit: WearFit, log: WearLog | LogColumns, as_of: str | pd.Timestamp, horizon_days: int
) -> Conditioned:
    """Posterior of every path and pace in a log, given the population's fit.

    Parameters
    ----------
    fit : WearFit
    log : WearLog
        All or some wearers; rows later than `as_of` are not used.
    as_of : date-like
    horizon_days : int
        How far the use is laid out.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """
    arrays = log_arrays(log, pd.Timestamp(as_of))
    panel = _panel(fit, arrays)
    counts = wear_counts(arrays, fit.multipliers, fit.value("gap_share"))
    return _given(fit, panel, counts, arrays.away, horizon_days)


def condition_blocks(
    fit: WearFit,
    log: WearLog | LogColumns,
    as_of: str | pd.Timestamp,
    horizon_days: int,
    work: Callable[[Conditioned], T],
) -> list[T]:
    """Condition wearers a block at a time, on two threads, and do something with each block.

    Given the population, wearers are independent; a block's arrays stay in the processor's cache.
    """
    arrays = log_arrays(log, pd.Timestamp(as_of))
    panel = _panel(fit, arrays)
    counts = wear_counts(arrays, fit.multipliers, fit.value("gap_share"))

    def one(block: tuple[int, int]) -> T:
        part = panel_range(panel, *block)
        pairs = slice(*np.searchsorted(panel.pair_wearer, block))
        known = _given(fit, part, counts.part(pairs), arrays.away[pairs], horizon_days)
        return work(known)

    blocks = wearer_blocks(panel, _BLOCK_PATHS)
    if len(blocks) == 1:
        return [one(blocks[0])]
    with ThreadPoolExecutor(_THREADS) as pool:
        return list(pool.map(one, blocks))


def _panel(fit: WearFit, arrays: LogArrays) -> Panel:
    """Lay out a log as the fit has it: with rates that wander where they were found to."""
    panel = panel_of(arrays, fit.records_begin)
    return with_moving_rates(panel) if fit.rates_move else panel


def _given(
    fit: WearFit, panel: Panel, counts: WearCounts, away: np.ndarray, horizon_days: int
) -> Conditioned:
    layout = coordinates(panel)
    population = fit.population(layout.population)
    at = converged_modes(panel, layout, fit.spread, fit.noise, population)
    if not fit.rates_move:
        changed = changed_wearers(panel, at, fit.spread, fit.noise, layout.population)
        if changed.any():
            moving = changed[panel.pair_wearer] * (1.0 - panel.unlogged)
            panel = replace(panel, moving=moving)
            layout = coordinates(panel)
            population = fit.population(layout.population)
            spread = fit.spread | CHANGED
            at = converged_modes(panel, layout, spread, fit.noise, population, at)
    pace = current_pace(counts, fit.use)
    if panel.unlogged.any():
        last = np.zeros(len(panel.pair_ids), int)
        last[panel.path_pair] = np.arange(len(panel.path_pair))  # of each pair's newest sole
        pace = pace.latent(at.value[SILENT, last], panel.unlogged)
    ahead = use_ahead(fit.use, pace, panel.as_of_day, horizon_days)
    in_use = chances_in_use(panel, at.stand, fit.noise)
    used = still_used(panel, layout, at, fit.noise)
    return Conditioned(fit, panel, ahead, away, in_use, at, used)
