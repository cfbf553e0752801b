"""What does the engine say of the panel, in the quantities that the sampler answers too?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast import WearFit, WearModel
from solespan.forecast.backtesting.scores import crps_sample
from solespan.forecast.covariates import COVARIATES
from solespan.forecast.dates.first_passage import DRAWS, normal_points, remaining_exposure
from solespan.forecast.frames import FEET
from solespan.forecast.model.linearise import effective_exposure
from solespan.forecast.model.parameter_layout import INTERFACE
from solespan.forecast.model.posterior_moments import fitted_variance
from solespan.forecast.model.wear_model import Conditioned, condition
from solespan.forecast.panel.foot_pairs import FootPairs, foot_pairs
from solespan.forecast.panel.panel import THUMB
from solespan.forecast.use.calendar import days_until
from tests.reference.nuts.rack_room import HORIZON_DAYS, RackRoom

__all__ = [
    "SHARES",
    "EngineAnswers",
    "calendar_days",
    "due_scores",
    "engine_answers",
    "path_index",
    "quantiles",
]

SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class EngineAnswers:
    """Fit, posterior, and tables.

    paths : DataFrame, by (sole_id, foot)
        log_rate, log_rate_sd; log_wear, log_wear_sd: log rate plus the log of the exposure so far
        and one day, which the multipliers of the kinds of days move too; readings: how many a
        gauge gave of the worn ball.
    remaining : ndarray, shape (pairs on a sole, draws)
        Standard wear days until the first foot is at its limit; rows as in `feet`.
    worn, logged : ndarray, shape (pairs on a sole,)
        Exposure of the sole so far and one day, with the multipliers of the kinds of days and
        without: `remaining * logged / worn` counts the days to come in days of the usual kind,
        which does not depend on how a rate and a multiplier share what they do together.
    """

    fit: WearFit
    known: Conditioned
    feet: FootPairs
    paths: pd.DataFrame
    remaining: np.ndarray
    worn: np.ndarray
    logged: np.ndarray
    pair_ids: np.ndarray


def path_index(panel: object) -> pd.MultiIndex:
    """(sole_id, foot) of every path of balls."""
    feet = np.array(FEET, dtype=object)[panel.path_foot]
    return pd.MultiIndex.from_arrays(
        [panel.sole_ids[panel.path_sole], feet], names=["sole_id", "foot"]
    )


def quantiles(draws: np.ndarray) -> np.ndarray:
    """Quantiles of each row at `SHARES`, shape (rows, 3)."""
    return np.quantile(draws, SHARES, axis=-1, method="hazen").T


def engine_answers(room: RackRoom, fit: WearFit | None = None, draws: int = DRAWS) -> EngineAnswers:
    """Fit the engine to the panel (or take a fit) and ask it."""
    fit = fit or WearModel(room.log, room.as_of).fit()
    known = condition(fit, room.log, room.as_of, HORIZON_DAYS)
    panel = known.panel
    n_paths = len(panel.nominal_mm)
    values = known._modes.value
    place = INTERFACE.index("log_rate")
    columns = np.zeros((len(INTERFACE), n_paths))
    columns[place] = 1.0
    variance = fitted_variance(known._modes.posterior, np.arange(n_paths), columns)
    worn, slopes = effective_exposure(panel, values[-len(COVARIATES) :, 0])
    worn, slopes = worn[panel.path_end] + 1.0, slopes[:, panel.path_end]
    columns[-len(COVARIATES) :] = slopes / worn
    wear_variance = fitted_variance(known._modes.posterior, np.arange(n_paths), columns)
    gauged = (panel.obs_kind < THUMB) & ~panel.obs_waist
    paths = pd.DataFrame(
        {
            "log_rate": values[place],
            "log_rate_sd": np.sqrt(variance),
            "log_wear": values[place] + np.log(worn),
            "log_wear_sd": np.sqrt(wear_variance),
            "readings": np.bincount(panel.obs_path[gauged], minlength=n_paths),
        },
        index=path_index(panel),
    )
    feet = foot_pairs(panel)
    state = known.state(feet)
    limit = panel.limit_mm[feet.both]
    remaining, _, _, _ = remaining_exposure(state, limit, fit.noise.process_mm, draws)
    pair_ids = panel.pair_ids[panel.path_pair[feet.left]]
    logged = panel.exposure.base[panel.path_end].sum(axis=1) + 1.0
    return EngineAnswers(
        fit=fit,
        known=known,
        feet=feet,
        paths=paths,
        remaining=remaining.min(axis=0),
        worn=worn[feet.left],
        logged=logged[feet.left],
        pair_ids=pair_ids,
    )


def calendar_days(
    answers: EngineAnswers, remaining: np.ndarray, use: np.ndarray | None = None
) -> np.ndarray:
    """Days until the remaining wear is used up, with the engine's forecast of use for any wear."""
    members = answers.known.panel.path_pair[answers.feet.left]
    use = normal_points()[8] if use is None else use
    days = days_until(answers.known.ahead, remaining, use, members)
    return np.minimum(days, HORIZON_DAYS)


def due_scores(room: RackRoom, answers: EngineAnswers, days: np.ndarray) -> np.ndarray:
    """CRPS of days until the resole is due, (pairs, draws), against the truth of the simulation."""
    due = room.truth.hidden_due
    due = due[(due["foot"] == "pair") & (due["point"] == "ball")].set_index("pair_id")["due_on"]
    actual = (due.reindex(answers.pair_ids) - room.as_of).dt.days.to_numpy(float)
    actual = np.clip(np.where(np.isnan(actual), HORIZON_DAYS, actual), 0, HORIZON_DAYS)
    return crps_sample(days, actual)
