"""Fit result.

What was learnt about wear and use, in a form that can be kept, read and used again?
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.errors import BadArgument
from solespan.forecast.frames import MATERIALS
from solespan.forecast.model.fit_start import noise_from_dict, noise_to_dict
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.parameter_layout import population_prior
from solespan.forecast.panel.panel import GAUGES
from solespan.forecast.priors import DRIFTS, METHOD_SD_MM, SPREADS
from solespan.forecast.use.usage import UseFit
from solespan.forecast.values import number_of

__all__ = ["MODEL_VERSION", "WearFit"]

MODEL_VERSION = "9"

_TOLD_SHARE = 0.98  # of the prior's SD: with a larger one no data told anything
_MOVED = 0.005  # log of an SD against its prior: with less no data moved it
_NOTE = "  (prior: no data informed this)"


@dataclass(frozen=True, eq=False)
class WearFit:
    """Result of `WearModel.fit`.

    names : tuple of str
        The population's unknowns: log rates (`level`, `material_*`, `toe`, `heel`), the driving
        foot (`drive_*`), log multipliers (`log_wet`, ...), `start_mm`, `packing_mm`,
        `thumb_shift_mm`, `thumb_limit`, `sending_mm`, `gap_share`, `trend`, `pace`, `pace_*`.
    mean, cov : ndarray, shape (p,), (p, p)
        Posterior of the population's unknowns.
    spread : dict
        SD of each random effect, by the names of `forecast.priors.SPREADS`.
    noise : Noise
        Reading error by gauge, process noise, thumb scale, how thin soles get before they come off.
    use : UseFit
        What was learnt of use.
    log_likelihood : float
        Penalised marginal log likelihood of the linearised model at the optimum.
    records_begin : int
        Day of the first record of the log, since 1970-01-01: who came off before is not known.

    Examples
    --------
    >>> from solespan.forecast import WearFit, WearModel, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> fit = WearModel(log, as_of="2026-11-23").fit()
    >>> stored = fit.to_dict()
    >>> again = WearFit.from_dict(stored)
    >>> bool(again.predict("oak_bark_leather", [100])[0] > 0.5)
    True
    >>> "level" in again.params.index
    True
    """

    as_of: str
    names: tuple[str, ...]
    mean: np.ndarray
    cov: np.ndarray
    spread: dict[str, float]
    noise: Noise
    use: UseFit
    log_likelihood: float
    rounds: int
    converged: bool
    n_wearers: int
    n_pairs: int
    n_paths: int
    n_observations: int
    records_begin: int

    @property
    def params(self) -> pd.Series:
        """Posterior means of the population, then the spreads and the noise."""
        spread = {f"sd_{k}": v for k, v in self.spread.items()}
        noise = {f"sd_{g}_mm": s for g, s in zip(GAUGES, self.noise.gauge_sd_mm, strict=True)}
        noise["process_mm"] = self.noise.process_mm
        fixed = dict(zip(self.names, self.mean, strict=True))
        return pd.Series({**fixed, **spread, **noise}, name="params", dtype=float)

    @property
    def bse(self) -> pd.Series:
        """Posterior standard errors of the population's unknowns."""
        return pd.Series(np.sqrt(np.diag(self.cov)), index=list(self.names), name="bse")

    @property
    def llf(self) -> float:
        """Penalised marginal log likelihood of the linearised model."""
        return self.log_likelihood

    @property
    def nobs(self) -> int:
        """Observations: checks, and what is known of soles that came off or are on."""
        return self.n_observations

    @property
    def df_modelwc(self) -> int:
        """Number of parameters: of the population, spreads, gauges and the process noise."""
        return len(self.params)

    @property
    def aic(self) -> float:
        """Akaike's criterion of the penalised likelihood; to compare fits of one log only."""
        return 2.0 * self.df_modelwc - 2.0 * self.llf

    @property
    def bic(self) -> float:
        """Schwarz's criterion of the penalised likelihood; to compare fits of one log only."""
        return float(np.log(max(self.nobs, 1))) * self.df_modelwc - 2.0 * self.llf

    def cov_params(self) -> pd.DataFrame:
        """Posterior covariance of the population's unknowns."""
        return pd.DataFrame(self.cov, index=list(self.names), columns=list(self.names))

    @property
    def informed(self) -> pd.Series:
        """Whether data moved each of `params` from its prior."""
        before = replace(self, names=())
        prior_sd = np.sqrt(np.diag(before.population(self.names)[1]))
        told = dict(zip(self.names, self.bse.to_numpy() < _TOLD_SHARE * prior_sd, strict=True))
        for name, value in self.spread.items():
            told[f"sd_{name}"] = _moved(value, SPREADS[name].median)
        for gauge, value in zip(GAUGES, self.noise.gauge_sd_mm, strict=True):
            told[f"sd_{gauge}_mm"] = _moved(float(value), METHOD_SD_MM[gauge])
        return pd.Series(
            {name: bool(told.get(name, True)) for name in self.params.index}, name="informed"
        )

    def summary_frame(self, alpha: float = 0.05) -> pd.DataFrame:
        """Estimates, standard errors and intervals of all `params`, and whether data informed them.

        Spreads and noise have no standard error: NaN.
        """
        bounds = self.conf_int(alpha)
        frame = pd.DataFrame({"estimate": self.params, "std_err": self.bse})
        frame = frame.join(bounds).loc[self.params.index]
        return frame.assign(informed=self.informed)

    def conf_int(self, alpha: float = 0.05) -> pd.DataFrame:
        """Normal intervals of the population's unknowns, columns `lower` and `upper`."""
        z = float(ndtri(1.0 - number_of("alpha", alpha, 0.0, 1.0) / 2.0))
        return pd.DataFrame(
            {"lower": self.mean - z * self.bse, "upper": self.mean + z * self.bse},
            index=list(self.names),
        )

    def predict(self, material: str, standard_wear_days: np.ndarray) -> np.ndarray:
        """Median loss of thickness at the ball of an average wearer's new sole.

        Parameters
        ----------
        material : str
            A word of `forecast.frames.MATERIALS`.
        standard_wear_days : array_like
            Exposure.

        Returns
        -------
        ndarray
            mm, packing included.
        """
        if material not in MATERIALS:
            raise BadArgument("material", material, f"one of {', '.join(MATERIALS)}")
        try:
            x = np.asarray(standard_wear_days, float)
        except (TypeError, ValueError):
            x = np.array(np.nan)
        if not (x >= 0.0).all():
            raise BadArgument("standard_wear_days", standard_wear_days, "numbers, 0 or more")
        rate = np.exp(self.value("level") + self.value(f"material_{material}"))
        return np.asarray(self.value("packing_mm") * np.minimum(x / 6.0, 1.0) + rate * x)

    def value(self, name: str) -> float:
        """Posterior mean of one unknown of the population; its prior mean if the data had none."""
        if name in self.names:
            return float(self.mean[self.names.index(name)])
        try:
            return population_prior(name)[0]
        except (KeyError, StopIteration, AttributeError):
            near = get_close_matches(str(name), self.names, n=1)
            hint = f"such as {near[0]!r}" if near else f"of which there are {len(self.names)}"
            raise BadArgument("name", name, f"a name in fit.names, {hint}") from None

    @property
    def rates_move(self) -> bool:
        """Whether the wear rates of wearers and pairs were found to wander."""
        return any(self.spread.get(name, 0.0) > 0.0 for name in DRIFTS)

    @property
    def multipliers(self) -> np.ndarray:
        """Log multipliers of exposure, in the order of `forecast.covariates.COVARIATES`."""
        return np.array([self.value(f"log_{name}") for name in COVARIATES])

    def population(self, names: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
        """Posterior of some unknowns, as deviations from their prior means, and covariance.

        Unknowns that the fit did not meet keep their priors, independent of the rest.
        """
        place = [self.names.index(n) if n in self.names else -1 for n in names]
        priors = [population_prior(n) for n in names]
        mean = np.array(
            [self.mean[k] - m if k >= 0 else 0.0 for k, (m, _) in zip(place, priors, strict=True)]
        )
        cov = np.diag([s * s for _, s in priors])
        known = [i for i, k in enumerate(place) if k >= 0]
        at = [place[i] for i in known]
        cov[np.ix_(known, known)] = self.cov[np.ix_(at, at)]
        return mean, cov

    def effect(self, weights: dict[str, float]) -> tuple[float, float]:
        """Mean and SD of a weighted sum of the population's unknowns."""
        names, row = tuple(weights), np.array(list(weights.values()))
        mean, cov = self.population(names)
        prior = np.array([population_prior(name)[0] for name in names])
        return float(row @ (mean + prior)), float(np.sqrt(row @ cov @ row))

    def summary(self) -> str:
        """A readable table of the fit; a note stands behind each line that no data informed."""
        head = [
            f"Wear model as of {self.as_of}: {self.n_wearers} wearers, {self.n_pairs} pairs,",
            f"{self.n_paths} paths, {self.n_observations} observations;",
            f"log likelihood {self.log_likelihood:.2f}, {self.rounds} rounds, "
            + ("converged" if self.converged else "stopped before it settled"),
            "",
            f"{'population':<28}{'estimate':>10}{'std err':>10}{'2.5 %':>10}{'97.5 %':>10}",
        ]
        bounds = self.conf_int().to_numpy()
        for name, mean, se, (low, high) in zip(
            self.names, self.mean, self.bse, bounds, strict=True
        ):
            head.append(f"{name:<28}{mean:>10.4f}{se:>10.4f}{low:>10.4f}{high:>10.4f}")
        head += ["", f"{'spread (SD)':<28}{'estimate':>10}  meaning"]
        head += [f"{k:<28}{v:>10.4f}  {SPREADS[k].meaning}" for k, v in self.spread.items()]
        for gauge, sd in zip(GAUGES, self.noise.gauge_sd_mm, strict=True):
            head.append(f"{gauge:<28}{sd:>10.4f}  error of one reading, mm")
        thumb = self.noise.thumb
        head.append(
            f"{'process':<28}{self.noise.process_mm:>10.4f}  variance of wear per mm of wear, mm"
        )
        head.append(
            f"thumb at a limit of 2 mm: firm from {thumb.firm_from_mm:.2f} mm, give from "
            f"{thumb.give_from_mm:.2f} mm, noise {thumb.sd_mm:.2f} mm (from "
            f"{thumb.learnt_from} checks). Per mm of limit: {self.value('thumb_limit'):.2f} mm"
        )
        sending = self.noise.sending
        head.append(
            f"soles come off at limit {self.value('sending_mm'):+.2f} mm, "
            f"SD {sending.sd_mm:.2f} mm (learnt from {sending.soles} soles)"
        )
        unlogged, leaving = self.noise.unlogged_sending, self.noise.leaving
        head.append(
            f"where no wear is logged: at limit {unlogged.above_mm:+.2f} mm, "
            f"SD {unlogged.sd_mm:.2f} mm (learnt from {unlogged.soles} soles)"
        )
        head.append(
            f"customers leave: {100 * leaving.at_visit:.1f} % after a visit, "
            f"{100 * leaving.per_year:.1f} % a year (learnt from {leaving.learnt_from} soles)"
        )
        told = self.informed
        prior = {name.removeprefix("sd_").removesuffix("_mm") for name in told.index[~told]}
        prior |= set(told.index[~told])
        return "\n".join(f"{x}{_NOTE}" if x.partition(" ")[0] in prior else x for x in head)

    def chance_positive(self, name: str) -> float:
        """Posterior chance that an unknown of the population is above zero."""
        if name not in self.names:
            mean, sd = population_prior(name)
            return float(ndtr(mean / sd))
        k = self.names.index(name)
        return float(ndtr(self.mean[k] / np.sqrt(self.cov[k, k])))

    def to_dict(self) -> dict[str, Any]:
        """Plain values that JSON can hold; `from_dict` undoes it."""
        return {
            "model_version": MODEL_VERSION,
            "as_of": self.as_of,
            "names": list(self.names),
            "mean": self.mean.tolist(),
            "cov": self.cov.tolist(),
            "spread": dict(self.spread),
            **noise_to_dict(self.noise),
            "use": self.use.to_dict(),
            "log_likelihood": self.log_likelihood,
            "rounds": self.rounds,
            "converged": self.converged,
            "n_wearers": self.n_wearers,
            "n_pairs": self.n_pairs,
            "n_paths": self.n_paths,
            "n_observations": self.n_observations,
            "records_begin": self.records_begin,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> WearFit:
        """Read a stored fit.

        Raises
        ------
        BadArgument
            It is no stored fit, or one of another version of the model; fit again.
        """
        stored = data.get("model_version") if isinstance(data, dict) else None
        if stored != MODEL_VERSION:
            raise BadArgument(
                "data",
                f"a fit of model version {stored}" if stored else data,
                f"what to_dict of version {MODEL_VERSION} gave; fit again",
            )
        same = ("as_of", "log_likelihood", "rounds", "converged", "n_wearers", "n_pairs")
        return cls(
            **{k: data[k] for k in (*same, "n_paths", "n_observations", "records_begin")},
            names=tuple(data["names"]),
            mean=np.asarray(data["mean"], float),
            cov=np.asarray(data["cov"], float),
            spread=dict(data["spread"]),
            noise=noise_from_dict(data),
            use=UseFit.from_dict(data["use"]),
        )


def _moved(value: float, prior: float) -> bool:
    return bool(abs(np.log(max(value, 1e-12) / prior)) > _MOVED)
