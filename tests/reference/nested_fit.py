"""How is the engine that forecasts fitted to a published model, and its answer read back?

`forecast.model.estimation.fit_rounds` itself, told flat priors, with all that the published model
does not have held absent: a special case, not another engine. A flat prior of the population gives
restricted maximum likelihood; maximum likelihood pins the population where the flat prior puts it
and fits again until neither moves.

A linear rate is the limit of the log rate for rates that hardly differ: a steep line, common to
all, is taken off the data, so that exp(log rate) = `STEEP` * sd + what is sought, and its bend is a
millionth of what it bends. Correlation of intercept and slope has no unknown of its own in the
engine; it is the origin of exposure. Any covariance of a random line is that of a level and a slope
that are independent at one exposure, x0 = -cov / var(slope) (the LDL' factors of the matrix), and
the likelihood of the engine, highest over x0, is that of the correlated model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from solespan.forecast.model.estimation import fit_rounds
from solespan.forecast.model.fit_start import FitStart
from solespan.forecast.model.inner_loop import Modes, modes
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.parameter_layout import Coordinates, coordinates
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.panel.panel import Panel
from solespan.forecast.priors import SPREADS, Priors, Spread
from tests.reference.bare_panel import bare_panel

STEEP = 1e6
FLAT = 1e4  # times an unknown's own size
PINNED = 1e-7
ABSENT = 1e-12
SAME_LLF = 1e-7
WEAK_LOG_SD = 1e3
MOST_ROUNDS = 200
STANDS = 1e-8
SAME_POPULATION = 1e-7
MOST_ORIGINS = 20


@dataclass(frozen=True)
class Published:
    """A published model in the engine's words.

    population : what lies where and how far it may lie from there: name -> (about, size).
    spread : SDs that are free: name -> about.
    resid : SD of a reading, about; held there if `resid_held`.
    process : variance of the walk per unit of expected wear, about; None: no walk.
    """

    population: dict[str, tuple[float, float]]
    spread: dict[str, float]
    resid: float
    resid_held: bool = False
    process: float | None = None

    @property
    def priors(self) -> Priors:
        """Flat for what is free; the rest held absent."""
        absent = {name: Spread(ABSENT, 0.0, "") for name in SPREADS}
        free = {name: Spread(sd, WEAK_LOG_SD, "") for name, sd in self.spread.items()}
        return Priors(
            absent | free,
            0.0 if self.resid_held else WEAK_LOG_SD,
            0.0 if self.process is None else WEAK_LOG_SD,
        )

    @property
    def start(self) -> FitStart:
        """Where a fit begins."""
        noise = Noise((self.resid,) * 3, self.process or ABSENT**2, ThumbScale(), slip_share=0.0)
        return FitStart({n: s.median for n, s in self.priors.spreads.items()}, noise)


@dataclass(frozen=True)
class Found:
    """Where the engine's fit ended: population with standard errors, SDs, log likelihood."""

    mean: dict[str, float]
    se: dict[str, float]
    sd: dict[str, float]
    resid: float
    process: float
    llf: float
    converged: bool
    at: Modes
    end: FitStart


def layout_of(panel: Panel, model: Published, mean: np.ndarray, sd: np.ndarray) -> Coordinates:
    """The unknowns of a panel with a prior of our own for the population."""
    return replace(coordinates(panel, tuple(model.population)), prior_mean=mean, prior_sd=sd)


def fit_reml(panel: Panel, model: Published, start: FitStart | None = None) -> Found:
    """Fit under a flat prior of the population."""
    about, size = np.array(list(model.population.values())).T
    return _found(panel, model, about, FLAT * size, start or model.start)


def fit_ml(panel: Panel, model: Published) -> Found:
    """Fit given the population, which is moved to where a flat prior puts it."""
    mean, size = np.array(list(model.population.values())).T
    start = model.start
    for _ in range(MOST_ROUNDS):
        found = _found(panel, model, mean, PINNED * size, start)
        flat = layout_of(panel, model, mean, FLAT * size)
        moved = modes(panel, flat, found.end.spread, found.end.noise).posterior.population_mean
        mean, start = mean + moved, found.end
        if np.abs(moved / size).max() < SAME_POPULATION:
            break
    return found


def _found(
    panel: Panel, model: Published, mean: np.ndarray, sd: np.ndarray, start: FitStart
) -> Found:
    layout = layout_of(panel, model, mean, sd)
    ended, _ = fit_rounds(
        panel, None, replace(start, rounds=0), rounds=MOST_ROUNDS, layout=layout,
        priors=model.priors, settled=STANDS,
    )  # fmt: skip
    at = modes(panel, layout, ended.spread, ended.noise)
    posterior = at.posterior
    errors = np.sqrt(np.diag(posterior.population_cov))
    flat = errors < 0.1 * sd  # not pinned: its prior's own part is taken out of the likelihood
    names, rows = layout.population, len(panel.obs_mm)
    logs = np.log(sd[flat]).sum() - 0.5 * (rows - flat.sum()) * np.log(2.0 * np.pi)
    found = mean + posterior.population_mean
    return Found(
        mean=dict(zip(names, found.tolist(), strict=True)),
        se=dict(zip(names, errors.tolist(), strict=True)),
        sd={name: ended.spread[name] for name in model.spread},
        resid=ended.noise.gauge_sd_mm[0],
        process=ended.noise.process_mm,
        llf=float(posterior.log_likelihood + logs),
        converged=ended.converged,
        at=at,
        end=FitStart(ended.spread, ended.noise),
    )


@dataclass(frozen=True)
class Lines:
    """A published model that is linear in `x`, its slopes taken for log rates.

    frame : columns as `bare_panel`. about : guesses of intercept and slope. sd_intercept, sd_slope,
    residual : guesses of SDs, 0 where the model has none; `residual_held`: not to be learnt.
    sloped : the engine's name of the SD of slopes. steps : effects beside them, by the engine's
    names: size of each. intercept : whether there is one. process : guess of the variance of a walk
    per unit of x.
    """

    frame: pd.DataFrame
    about: tuple[float, float]
    sd_intercept: float
    sd_slope: float
    residual: float
    sloped: str = "shoe"
    steps: dict[str, float] = field(default_factory=dict)
    intercept: bool = True
    residual_held: bool = False
    process: float | None = None

    @cached_property
    def steep(self) -> float:
        """The common line's slope."""
        return STEEP * (self.sd_slope or self.about[1])

    def at(
        self, origin: float = 0.0, fit: Callable[..., Found] = fit_reml, **more: FitStart
    ) -> LineFit:
        """Fit with level and slope independent at one exposure."""
        x = self.frame["x"] - origin
        panel = bare_panel(self.frame.assign(x=x, y=self.frame["y"] - self.steep * x))
        intercept, slope = self.about
        population = {"start_mm": (intercept + slope * origin, 1.0)} if self.intercept else {}
        population["level"] = (np.log(self.steep - slope), 1.0 / STEEP)
        population |= {name: (0.0, size / self.steep) for name, size in self.steps.items()}
        spread = {"start": self.sd_intercept, self.sloped: self.sd_slope / self.steep}
        spread = {name: sd for name, sd in spread.items() if sd > 0.0}
        process = None if self.process is None else self.process / self.steep
        model = Published(population, spread, self.residual, self.residual_held, process)
        return LineFit(self, origin, fit(panel, model, **more))

    def best(self, low: float, high: float, within: float = 1e-5) -> LineFit:
        """Fit with level and slope correlated: the origin that the likelihood likes best.

        By parabolas through the best three so far, until one moves it by less than `within`.
        """
        fits = {x: self.at(x) for x in (low, 0.5 * (low + high), high)}
        for _ in range(MOST_ORIGINS):
            best = sorted(fits, key=lambda x: -fits[x].llf)[:3]
            top = fits[best[0]].llf
            bend, slope, _ = np.polyfit(
                np.array(best) - best[0], [fits[x].llf - top for x in best], 2
            )
            if bend >= 0.0:  # the three differ by no more than a search of the spreads leaves open
                assert top - fits[best[2]].llf < SAME_LLF
                break
            step = -0.5 * float(slope / bend)
            if abs(step) < within * (high - low):
                break
            fits[best[0] + step] = self.at(best[0] + step)
        return max(fits.values(), key=lambda fit: fit.llf)


@dataclass(frozen=True)
class LineFit:
    """What a fit of lines says in the published model's words."""

    lines: Lines
    origin: float
    found: Found

    @property
    def slope(self) -> float:
        """Fixed slope."""
        steep = self.lines.steep
        return float(-steep * np.expm1(self.found.mean["level"] - np.log(steep)))

    @property
    def slope_se(self) -> float:
        """Standard error of the fixed slope."""
        return self.step_se("level")

    @property
    def intercept(self) -> float:
        """Fixed intercept at x = 0."""
        return self.found.mean["start_mm"] - self.slope * self.origin

    def step(self, name: str) -> float:
        """An effect beside them: what it adds to a slope, or to y where `extra` is 1."""
        return -self.lines.steep * self.found.mean[name]

    def step_se(self, name: str) -> float:
        """Standard error of an effect."""
        return self.lines.steep * self.found.se[name]

    @property
    def sd_slope(self) -> float:
        """SD of the slopes."""
        return self.lines.steep * self.found.sd[self.lines.sloped]

    @property
    def sd_intercept(self) -> float:
        """SD of the intercepts at x = 0."""
        return float(np.hypot(self.found.sd["start"], self.origin * self.sd_slope))

    @property
    def correlation(self) -> float:
        """Of intercepts and slopes."""
        return -self.origin * self.sd_slope / self.sd_intercept

    @property
    def covariance(self) -> np.ndarray:
        """Of intercepts and slopes."""
        cross = -self.origin * self.sd_slope**2
        return np.array([[self.sd_intercept**2, cross], [cross, self.sd_slope**2]])

    @property
    def fitted(self) -> pd.Series:
        """Each group's own line at each row of the frame, sorted by group and x."""
        frame = self.lines.frame.sort_values(["group", "x"])
        common = self.lines.steep * (frame["x"] - self.origin)
        return pd.Series(self.found.at.lin.fitted_mm + common, frame.index)

    @property
    def process(self) -> float:
        """Variance of the walk per unit of x."""
        return self.found.process * self.lines.steep

    @property
    def llf(self) -> float:
        """Log likelihood: restricted, or (where the population is pinned) full."""
        free = self.found.se.values()
        pinned = max(free) < PINNED
        slopes = 0 if pinned else len(self.found.mean) - ("start_mm" in self.found.mean)
        return self.found.llf + slopes * float(np.log(self.lines.steep))
