"""Look back of the year: what would have been said of past years, and what came?

For up to three years back the wear model is fitted to what was known then. Which pairs came within
the year tells whether and when owners come. With these habits the year after is simulated as
today's is. Beside it stands what counts say without pairs: last year's count, the mean of three
years, and exponential smoothing (Holt-Winters).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.asked_look_back import proved_due
from solespan.forecast.dates.due import forecast
from solespan.forecast.dates.forecast_parts import forecast_parts
from solespan.forecast.dates.models import NESTED
from solespan.forecast.errors import ForecastError
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.log import WearLog
from solespan.forecast.panel.wearer_parts import Runner, wearer_parts
from solespan.forecast.workload.habits import Habits, fit_habits
from solespan.forecast.workload.hand_overs import (
    HandOvers,
    PastHabits,
    hand_overs,
    learn_past_habits,
)
from solespan.forecast.workload.jobs import SimulatedYears
from solespan.forecast.workload.known_log import followed_pairs, known_log, of_newcomer
from solespan.forecast.workload.marginals import DueTable, due_table
from solespan.forecast.workload.mix import SOLE_WORKS, WorkMix, fit_mix
from solespan.forecast.workload.newcomers import Newcomers, fit_newcomers
from solespan.forecast.workload.settings import WorkloadSettings
from solespan.forecast.workload.simulate import simulate_years
from solespan.forecast.workload.small_works import SmallWorks, fit_small_works
from solespan.forecast.workload.year_level import PastYears, fit_level
from solespan.forecast.workload.year_scale import YEAR_DAYS

__all__ = [
    "LOOK_BACK_COLUMNS",
    "LookBack",
    "PastForecast",
    "count_year",
    "forecast_past",
    "handed_over",
    "look_back",
    "past_years",
    "plain_forecasts",
]

MOST_YEARS = 3
_MOST_HALF_YEARS = 10
LOOK_BACK_COLUMNS = (
    "years_back", "as_of", "came", "said", "level", "p10", "p90",
    "last_year", "three_years", "holt_winters", "asked", "asked_due",
)  # fmt: skip
_LEAST_RECORD_DAYS = 183
_PARTS_OF_WORKER = 4
_SLACK_DAYS = 31  # the first job comes some days after the books are begun
_MONTH_DAYS = YEAR_DAYS / 12
_SHARES = np.array([0.1, 0.9])


def past_years(
    received_on: pd.Series, as_of: pd.Timestamp, said: np.ndarray | None = None
) -> PastYears:
    """Count the jobs of whole half-years of the record before a day, at most five years."""
    ages = (as_of - received_on[received_on <= as_of]).dt.days.to_numpy()
    edges = np.ceil(np.arange(_MOST_HALF_YEARS + 1) * YEAR_DAYS / 2).astype(int).tolist()
    whole = sum(edge <= _record_days(ages) for edge in edges[1:])
    counts = np.histogram(ages, [*edges[: whole + 1], np.inf])[0][:whole]
    return PastYears(counts.astype(float), np.zeros(0) if said is None else np.asarray(said, float))


def _record_days(ages: np.ndarray) -> int:
    return int(ages.max()) + _SLACK_DAYS if len(ages) else 0


def count_year(received_on: pd.Series, begins: pd.Timestamp) -> int:
    """Count the jobs of the year after the evening of a day."""
    ahead = (received_on - begins).dt.days
    return int(((ahead >= 1) & (ahead <= YEAR_DAYS)).sum())


def plain_forecasts(received_on: pd.Series, as_of: pd.Timestamp) -> dict[str, float]:
    """Say the year after a day from the counts before it alone; NaN where the record is short."""
    ages = (as_of - received_on[received_on <= as_of]).dt.days.to_numpy()
    record = _record_days(ages)
    years = [
        float(((ages >= k * YEAR_DAYS) & (ages < (k + 1) * YEAR_DAYS)).sum())
        for k in range(3)
        if record >= (k + 1) * YEAR_DAYS
    ]
    return {
        "last_year": years[0] if years else np.nan,
        "three_years": float(np.mean(years)) if len(years) == 3 else np.nan,
        "holt_winters": _holt_winters(ages, int(min(record, 5 * YEAR_DAYS) // _MONTH_DAYS)),
    }


def _holt_winters(ages: np.ndarray, months: int) -> float:
    """Exponential smoothing of monthly counts (statsmodels), summed over a year."""
    from statsmodels.tsa.holtwinters import ExponentialSmoothing  # noqa: PLC0415

    if months < 24:
        return np.nan
    place = np.floor(ages / _MONTH_DAYS).astype(int)
    counts = np.bincount(place[place < months], minlength=months)[::-1].astype(float)
    model = ExponentialSmoothing(
        counts, trend="add", seasonal="add", seasonal_periods=12, initialization_method="estimated"
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a search that stops early still gives a forecast
        return max(float(model.fit().forecast(12).sum()), 0.0)


@dataclass(frozen=True)
class LookBack:
    """What past years tell.

    years : DataFrame
        `LOOK_BACK_COLUMNS`, the newest year first. `said` is what the pairs alone said, `level`,
        `p10` and `p90` are as the page would have said it. `asked` counts the pairs that the rules
        of asking would have asked for a day of it, `asked_due` those proved due. A year without
        half a year of record before it is left out.
    habits : PastHabits
        Whether and when owners come.
    """

    years: pd.DataFrame
    habits: PastHabits


@dataclass(frozen=True)
class PastForecast:
    """What was known on a past day, and what was forecast then."""

    day: pd.Timestamp
    known: WearLog
    said: pd.DataFrame
    due: DueTable
    newcomers: Newcomers
    mix: WorkMix
    small: SmallWorks

    def simulate(
        self,
        habits: Habits,
        settings: WorkloadSettings,
        past: PastYears | None = None,
        runner: Runner | None = None,
    ) -> SimulatedYears:
        """Simulate the year after the day."""
        return simulate_years(
            self.due,
            habits,
            self.newcomers,
            self.mix,
            self.day,
            settings,
            past=past,
            runner=runner,
            small=self.small,
        )


def look_back(
    log: WearLog,
    as_of: pd.Timestamp,
    outcomes: pd.DataFrame,
    settings: WorkloadSettings,
    tell: Callable[[int], None] = lambda _: None,
    runner: Runner | None = None,
) -> LookBack:
    """Forecast past years from what was known before them.

    Parameters
    ----------
    log : WearLog
        Of all pairs, known today.
    outcomes : DataFrame
        As `fit_habits` takes it. All years are simulated with today's habits, so that they are
        alike.
    tell : callable
        Hears how many years back are looked at next.
    runner : Runner, optional
        Where parts of the log are fitted, forecast and simulated. None: here.
    """
    received = log.bench_jobs["received_on"]
    made: dict[int, PastForecast] = {}
    for back in range(1, MOST_YEARS + 1):
        day = as_of - pd.Timedelta(days=YEAR_DAYS * back)
        if received.empty or (day - received.min()).days < _LEAST_RECORD_DAYS:
            break
        tell(back)
        try:
            made[back] = forecast_past(log, day, runner)
        except ForecastError:
            break
    past_habits = learn_past_habits([handed_over(log, past) for past in made.values()])
    habits = fit_habits(outcomes, as_of, past_habits)
    pairs_said = {
        back: past.simulate(habits, settings, runner=runner) for back, past in made.items()
    }
    rows = []
    totals = {back: y.counts[:, :YEAR_DAYS].sum(axis=(1, 2)) for back, y in pairs_said.items()}
    said = {back: float(total.mean()) for back, total in totals.items()}
    for back, years in pairs_said.items():
        day = years.as_of
        before = np.array([said[k] for k in said if k > back])
        past = past_years(received, day, before)
        level = fit_level(past, said[back], float(totals[back].std()))
        low, high = level.quantiles(_SHARES)
        told = {
            "years_back": back,
            "as_of": day,
            "came": count_year(received, day),
            "said": said[back],
            "level": level.expected,
            "p10": float(low),
            "p90": float(high),
        }
        proved = proved_due(log, made[back].known, made[back].said, made[back].day)
        told |= dict(zip(("asked", "asked_due"), proved, strict=True))
        rows.append(told | plain_forecasts(received, day))
    return LookBack(pd.DataFrame(rows, columns=list(LOOK_BACK_COLUMNS)), past_habits)


def forecast_past(log: WearLog, day: pd.Timestamp, runner: Runner | None = None) -> PastForecast:
    """Fit to what was known on a day, and forecast from it."""
    known = known_log(log, day)
    fit = NESTED.fit_on(runner, known, day)
    if runner is None:
        said = forecast(fit, known, day)
    else:
        parts = wearer_parts(known, _PARTS_OF_WORKER * runner.workers)
        said = forecast_parts(runner, fit, parts, day)
    jobs = known.bench_jobs.sort_values("received_on", ignore_index=True)
    worn_on = known.wear_days.groupby("pair_id")["worn_on"]
    new = of_newcomer(jobs, followed_pairs(known)).to_numpy(bool)
    since = jobs["received_on"].min() if len(jobs) else day
    return PastForecast(
        day,
        known,
        said,
        due_table(
            said,
            with_own_limits(known.soles, known.layers, known.checks),
            known.pairs,
            worn_on.max(),
        ),
        fit_newcomers(jobs, new, since, day),
        fit_mix(jobs, new),
        fit_small_works(jobs, new, since, day),
    )


def handed_over(log: WearLog, past: PastForecast) -> HandOvers:
    """Set beside a forecast of a past day which of its pairs came for a sole within the year."""
    jobs = log.bench_jobs
    ahead = (jobs["received_on"] - past.day).dt.days
    within = (ahead >= 1) & (ahead <= YEAR_DAYS) & jobs["work"].isin(SOLE_WORKS)
    first_worn_on = log.wear_days.groupby("pair_id")["worn_on"].min()
    return hand_overs(past.due, jobs.loc[within, "pair_id"], past.day, first_worn_on)
