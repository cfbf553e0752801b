"""Backtest: how good would these forecasts have been on the user's own past?

Each day looked back from is forecast from what was known on it, population and all. It is then
compared with what the log says happened (`forecast.backtesting.outcomes`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.backtest_scores import (
    band_table,
    calibration_table,
    coverage,
    hand_over_counts,
    scores,
    send_by_share,
)
from solespan.forecast.backtesting.backtest_words import sentences
from solespan.forecast.backtesting.censoring import censored_crps, chance_known
from solespan.forecast.backtesting.outcomes import log_end, outcomes
from solespan.forecast.backtesting.sole_lives import sole_lives
from solespan.forecast.dates.models import MODELS, NESTED
from solespan.forecast.errors import BadArgument, BadHorizon, TooLittleData
from solespan.forecast.frames import CHANCE_DAYS
from solespan.forecast.log import WearLog
from solespan.forecast.panel.wearer_parts import Runner, wearer_parts
from solespan.forecast.settings import ForecastSettings
from solespan.forecast.values import day_of, instance_of

__all__ = ["Backtest", "backtest", "usual_days"]

_QUANTILES = {"p10": 0.10, "p25": 0.25, "p50": 0.50, "p75": 0.75, "p90": 0.90}
_FIRST_AFTER_DAYS = 365
_LAST_BEFORE_DAYS = 120
_PARTS_OF_WORKER = 4


@dataclass(frozen=True)
class Backtest:
    """Forecasts of earlier days beside what happened.

    rows : DataFrame
        One row a forecast: as_of, pair_id, sole_id, kind, days, above_until_days, by_days,
        past_at_hand_over (see `forecast.backtesting.outcomes`), follow_days (days logged after
        as_of), cut_days, band, send_by_days, the chances, p10 to p90 (days), pit_low and pit_high
        (the forecast's own chance of being due by above_until_days and by by_days), and crps_NAME
        of each model of `forecast.dates.models` (days; NaN where nothing is known of what
        happened).
    settings : ForecastSettings
    lives : DataFrame
        Life of every sole of the log; see `forecast.backtesting.sole_lives`.

    Examples
    --------
    >>> from solespan.forecast import backtest, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> back = backtest(log, as_ofs=["2025-11-23"])
    >>> list(back.scores["forecaster"])[0]
    'this model'
    >>> back.sentences()[0].startswith("Looked back from 1 days")
    True
    """

    rows: pd.DataFrame
    settings: ForecastSettings
    lives: pd.DataFrame

    @property
    def scores(self) -> pd.DataFrame:
        """Mean score by forecaster: forecaster, forecasts, crps_days, times_the_model."""
        return scores(self.rows)

    @property
    def coverage(self) -> pd.DataFrame:
        """How often intervals held what happened, in mean: interval, forecasts, held."""
        return coverage(self.rows)

    @property
    def bands(self) -> pd.DataFrame:
        """Due within `sound_days`, said and happened, by band: band, forecasts, said, happened."""
        return band_table(self.rows)

    @property
    def calibration(self) -> pd.DataFrame:
        """Chances said and what happened: within_days, forecasts, said, happened, low, high."""
        return calibration_table(self.rows)

    @property
    def past_limit(self) -> tuple[int, int]:
        """Pairs past their limit on their send-by date, and pairs of which that is known."""
        return send_by_share(self.rows)

    @property
    def hand_overs(self) -> tuple[int, int]:
        """Pairs past their limit as they were handed over, and pairs that were looked at then."""
        return hand_over_counts(self.rows)

    def sentences(self) -> list[str]:
        """Say in words what the look back shows."""
        return sentences(self)


def usual_days(log: WearLog, every_days: int = 91) -> list[pd.Timestamp]:
    """Days to look back from: a year after the first sole until four months before the end.

    Raises
    ------
    BadHorizon
        The log is too short to look back.
    TooLittleData
        No sole was fitted.
    """
    first = _first_fitted(log) + pd.Timedelta(days=_FIRST_AFTER_DAYS)
    end = log_end(log)
    last = end - pd.Timedelta(days=_LAST_BEFORE_DAYS)
    if first > last:
        raise BadHorizon(
            f"the log ends on {end.date()}: a look back needs a year of logging and four months "
            "after it. Log more, or name the days to look back from"
        )
    return [day.normalize() for day in pd.date_range(first, last, freq=f"{every_days}D")]


def backtest(
    log: WearLog,
    as_ofs: Sequence[str | pd.Timestamp],
    *,
    settings: ForecastSettings | None = None,
    progress: Callable[[str, float], None] | None = None,
    runner: Runner | None = None,
) -> Backtest:
    """Forecast the past of a log from earlier days, and compare it with what happened.

    The score is the continuous ranked probability score up to the last day logged. That day is the
    same for every forecast of a day, so soles that are not due yet count too. What is known of an
    outcome only in part is weighed as `forecast.backtesting.censoring` says. Gneiting and Ranjan
    (Journal of Business and Economic Statistics 29:411, 2011) give the score with a weight. The
    journal is named from memory.

    Parameters
    ----------
    log : WearLog
    as_ofs : sequence of date-like
        Days to look back from; each needs at least one sole fitted and something logged after it.
    settings : ForecastSettings, optional
    progress : callable (step, fraction), optional
    runner : Runner, optional
        Where parts of the log are fitted, forecast and scored by the nested model. The other
        models, which take little time, are asked here. None: all of it here.

    Raises
    ------
    BadHorizon
        No day was named, or one has nothing before or after it in the log.

    Examples
    --------
    >>> from solespan.forecast import backtest, wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> back = backtest(log, as_ofs=["2025-11-23"])
    >>> list(back.rows["pair_id"])
    ['P0001', 'P0002']
    """
    instance_of("log", log, WearLog, "a WearLog from wear_log")
    if settings is not None:
        instance_of("settings", settings, ForecastSettings, "ForecastSettings(...), or None")
    if isinstance(as_ofs, str) or not isinstance(as_ofs, Iterable):
        raise BadArgument("as_ofs", as_ofs, "a list of days to look back from")
    settings = settings or ForecastSettings()
    days = sorted({day_of("as_ofs", day) for day in as_ofs})
    _refuse(log, days)
    fits: dict[str, Any] = {}
    end, told = log_end(log), []
    parts = None if runner is None else _Parts(runner, log)
    for place, day in enumerate(days):
        if progress:
            progress(f"looking back from {day.date()}", place / len(days))
        known = log.until(day)
        fits = {
            name: model.fit_on(runner, known, day, fits.get(name)) for name, model in MODELS.items()
        }
        said = _said(fits, known, day, settings.horizon_days)
        cut = float(min((end - day).days, settings.horizon_days))
        known_until = chance_known(outcomes(log, day), cut)
        one = partial(_one_day, day=day, end=end, settings=settings, known_until=known_until)
        fit = fits[NESTED.name]
        told.append(one(fit, log, said) if parts is None else parts.rows(one, fit, said))
    if progress:
        progress("done", 1.0)
    return Backtest(pd.concat(told, ignore_index=True), settings, sole_lives(log))


def _first_fitted(log: WearLog) -> pd.Timestamp:
    if log.soles.empty:
        raise TooLittleData("no sole was ever fitted; add a pair with one sole")
    return pd.Timestamp(log.soles["fitted_on"].min())


def _refuse(log: WearLog, days: list[pd.Timestamp]) -> None:
    if not days:
        raise BadHorizon("as_ofs: no day to look back from; name at least one")
    first, end = _first_fitted(log), log_end(log)
    if not first < end:
        raise BadHorizon(
            f"as_ofs: nothing was logged after the first sole was fitted on {first.date()}. "
            "There is no day to look back from. Log wear days and checks first."
        )
    for day in days:
        if not first <= day < end:
            raise BadHorizon(
                f"as_ofs: a look back from {day.date()} is not possible. Choose a day from "
                f"{first.date()} (first sole fitted) until before {end.date()} (last day logged)"
            )


def _said(
    fits: dict[str, Any], known: WearLog, day: pd.Timestamp, horizon_days: int
) -> dict[str, pd.DataFrame]:
    """Draws of the days until each resole, by every model but the nested one."""
    return {
        name: model.draw(known, day, horizon_days, fits[name]).resoles
        for name, model in MODELS.items()
        if model is not NESTED
    }


class _Parts:
    """A log in parts, which are scored where a runner keeps them."""

    def __init__(self, runner: Runner, log: WearLog) -> None:
        parts = wearer_parts(log, _PARTS_OF_WORKER * runner.workers)
        self._runner, self._held = runner, runner.hold(parts)
        self._pair_ids = [set(part.pairs["pair_id"]) for part in parts]

    def rows(
        self, one: Callable[..., Any], fit: Any, said: dict[str, pd.DataFrame]
    ) -> pd.DataFrame:
        """Rows of one day, in the order of the whole log; `said` is cut to each part's pairs."""
        of_each = [
            {name: frame[frame.index.isin(ids)] for name, frame in said.items()}
            for ids in self._pair_ids
        ]
        fits = [self._runner.share(fit)] * len(of_each)
        rows = self._runner.gather(self._runner.map(one, fits, self._held, of_each))
        joined: pd.DataFrame = pd.concat(rows)
        return joined.sort_values("sole_id", kind="stable")


def _one_day(
    fit: Any,
    log: WearLog,
    others: dict[str, pd.DataFrame],
    *,
    day: pd.Timestamp,
    end: pd.Timestamp,
    settings: ForecastSettings,
    known_until: tuple[np.ndarray, np.ndarray],
) -> pd.DataFrame | None:
    """Rows of one day looked back from; None where no sole was fitted by then.

    `end` is the last day logged, by any wearer; `known_until` says how outcomes are censored.
    """
    known = log.until(day)
    if known.soles.empty:
        return None
    frame = NESTED.forecast(known, day, settings, fit)
    frame = frame[(frame["foot"] == "pair") & (frame["point"] == "ball")].set_index("pair_id")
    nested = NESTED.draw(known, day, settings.horizon_days, fit).resoles
    said = {name: nested if name == NESTED.name else others[name] for name in MODELS}
    rows = outcomes(log, day)
    rows = rows[rows["pair_id"].isin(nested.index)].reset_index(drop=True)
    ids = rows["pair_id"].to_numpy()
    draws = nested.loc[ids].to_numpy()
    mine = frame.loc[ids]
    follow = float((end - day).days)
    cut = float(np.clip(follow, 0.0, settings.horizon_days))
    scored = {
        name: censored_crps(sample.loc[ids].to_numpy(), rows, cut, known_until)
        for name, sample in said.items()
    }
    return rows.assign(
        as_of=day,
        follow_days=follow,
        cut_days=cut,
        band=mine["band"].to_numpy(),
        send_by_days=(mine["send_by"] - day).dt.days.to_numpy(float),
        chance_sound=(draws <= settings.sound_days).mean(axis=1),
        sound_days=settings.sound_days,
        **{name: mine[name].to_numpy(float) for name in CHANCE_DAYS},
        pit_low=(draws <= rows["above_until_days"].to_numpy(float)[:, None]).mean(axis=1),
        pit_high=(draws <= rows["by_days"].to_numpy(float)[:, None]).mean(axis=1),
        **{name: np.quantile(draws, q, axis=1) for name, q in _QUANTILES.items()},
        **{f"crps_{name}": days for name, days in scored.items()},
    )
