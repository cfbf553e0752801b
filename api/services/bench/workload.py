"""Workload service: what comes to the bench in the coming months, from what is stored?

Stored forecasts, the shop's books and its settings are gathered into the inputs of
`forecast.workload`; the simulated years are kept in memory until something changes.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.services.bench.bench_settings import bench_minutes, read_bench_settings
from solespan.api.storage.bench.asking_facts import load_limit_facts
from solespan.api.storage.bench.workload import (
    first_followed,
    last_worn,
    load_open_orders,
    load_outcomes,
)
from solespan.api.storage.bench.year_looks import kept_habits, kept_looks
from solespan.api.storage.forecasts.forecast_reads import newest_fit_key
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.rack.versions import newest_data_version
from solespan.api.storage.session import Database
from solespan.forecast.backtesting.year_look_back import past_years, plain_forecasts
from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.bench.minutes import JobMinutes, work_times
from solespan.forecast.bench.rules import WaitingJobs
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.bench.visits import shares_of, works_of
from solespan.forecast.frames import WORKS
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload import (
    Booked,
    DueTable,
    Habits,
    Newcomers,
    PastHabits,
    PastYears,
    SimulatedYears,
    SmallWorks,
    WorkloadSettings,
    WorkMix,
    WorkTimes,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    fit_small_works,
    measures,
    simulate_years,
    summarise,
)
from solespan.forecast.workload.known_log import followed_since, of_newcomer

__all__ = ["Books", "YearAhead", "gather", "open_by_day", "workload_body", "year_ahead"]

KEPT_YEARS = 4
YEAR_MONTHS = 12
OLDEST_LOOK_DAYS = 180
_GONE = ("declined", "no_show")


@dataclass(frozen=True)
class Books:
    """Everything a year of work is simulated from.

    waiting, waiting_ids : jobs that are here and not done, and their orders.
    past : counts and past forecasts of the shop; plain : what counts alone say of the year.
    looks : forecasts of past years beside what came, the newest first.
    """

    as_of: pd.Timestamp
    due: DueTable
    habits: Habits
    newcomers: Newcomers
    mix: WorkMix
    small: SmallWorks
    minutes: JobMinutes
    times: WorkTimes
    booked: Booked
    waiting: WaitingJobs
    waiting_ids: list[str]
    settings: BenchSettings
    past: PastYears
    plain: dict[str, float]
    looks: list[dict[str, Any]]


@dataclass(frozen=True)
class YearAhead:
    """Simulated years with their daily measures, and what they were made from."""

    books: Books
    simulated: SimulatedYears
    by_day: dict[str, np.ndarray]


def gather(session: Session, today: date) -> Books:
    """Read the books. Raises `NothingForecast` while there is no fit."""
    if newest_fit_key(session) is None:
        raise NothingForecast(
            "There is no forecast yet, so no work can be seen ahead.",
            remedy="Fit the wear model: POST /v1/fit, or run: solespan fit",
        )
    as_of = pd.Timestamp(today)
    forecast = load_forecasts(session)
    frames = {
        name: load_rows(session, name, by="wearer_id", ids=None)
        for name in ("soles", "pairs", "bench_jobs")
    }
    jobs, pairs = frames["bench_jobs"], frames["pairs"]
    jobs = jobs[jobs["received_on"] <= as_of].sort_values("received_on", ignore_index=True)
    settings, _ = read_bench_settings(session)
    outcomes, orders = load_outcomes(session), load_open_orders(session)
    forecast = forecast[~forecast["pair_id"].isin(_not_counted(outcomes, orders, frames["soles"]))]
    # a forecast made on an earlier day still stands; its days are counted from the day it is now
    forecast = forecast.assign(as_of=as_of.as_unit("s"))
    construction = pairs.set_index("pair_id")["construction"]
    minutes = bench_minutes(session)
    counted = construction.value_counts(normalize=True)
    shares = {str(name): float(share) for name, share in counted.items()}
    seen_on = pd.Series(first_followed(session), dtype="datetime64[ns]")
    acquired_on = pairs.set_index("pair_id")["acquired_on"]
    came_on = jobs.groupby("pair_id")["received_on"].min()
    new = of_newcomer(jobs, followed_since(acquired_on, seen_on, came_on)).to_numpy(bool)
    since = jobs["received_on"].min() if len(jobs) else as_of
    looks = _looks(session, today)
    said = np.array([look["said"] for look in looks], dtype=float)
    soles = with_own_limits(frames["soles"], *load_limit_facts(session))
    due = due_table(forecast, soles, pairs, last_worn(session))
    return Books(
        as_of=as_of,
        due=due,
        habits=fit_habits(outcomes, as_of, _past_habits(session), due.logs_share),
        newcomers=fit_newcomers(jobs, new, since, as_of),
        mix=fit_mix(jobs, new),
        small=fit_small_works(jobs, new, since, as_of),
        minutes=minutes,
        times=work_times(minutes, shares, dict(settings.price_minor)),
        booked=_booked(orders, today),
        waiting=_waiting(orders, settings, today),
        waiting_ids=[order["order_id"] for order in _here(orders)],
        settings=settings,
        past=past_years(jobs["received_on"], as_of, said),
        plain=plain_forecasts(jobs["received_on"], as_of),
        looks=looks,
    )


def _begun_days_ago(order: dict[str, Any], today: date) -> int | None:
    if order["stage"] != "on_bench":
        return None
    # an order whose history is gone was begun some day before
    return 1 if order["begun_at"] is None else max((today - order["begun_at"].date()).days, 0)


def _looks(session: Session, today: date) -> list[dict[str, Any]]:
    """Return the kept looks back, unless they are so old that a year has passed over them."""
    found = kept_looks(session)
    if found is None or (today - found[0]).days >= OLDEST_LOOK_DAYS:
        return []
    return found[1]


def _here(orders: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the orders that are here and not done, the work begun first."""
    here = [order for order in orders if order["stage"] in ("received", "on_bench")]
    return sorted(here, key=lambda order: order["stage"] != "on_bench")


def _waiting(orders: list[dict[str, Any]], settings: BenchSettings, today: date) -> WaitingJobs:
    here = _here(orders)
    begun = [_begun_days_ago(order, today) for order in here]
    closes = settings.opens_at_hour + max(settings.hours_by_weekday)
    drying = settings.bench_rules().drying()
    works = [works_of(order["work"], order["more_works"]) for order in here]
    load = [_load(one) for one in works]
    return WaitingJobs.since([w[0] for w in works], begun, drying, min(closes, 24.0), load)


def _load(works: Sequence[str]) -> float:
    """Minutes of all works of an order over those of its main work, by the standards."""
    minutes = {w: share * STANDARDS[w].minutes for w, (share, _) in shares_of(works).items()}
    return sum(minutes.values()) / minutes[works[0]]


def _past_habits(session: Session) -> PastHabits | None:
    """Return what the newest look back learnt of owners; it holds until the next one."""
    found = kept_habits(session)
    return None if found is None else PastHabits.from_dict(found)


def _not_counted(
    outcomes: pd.DataFrame, orders: list[dict[str, Any]], soles: pd.DataFrame
) -> set[str]:
    """Pairs that have a booking, or whose owner declined and has had no new sole since."""
    fitted = soles.groupby("pair_id")["fitted_on"].max()
    # what is only supposed is in the chance that a pair is in use
    told = outcomes[~outcomes["supposed"]]
    last = told.drop_duplicates("pair_id", keep="last")
    gone = last[last["outcome"].isin(_GONE)]
    still = gone["due_on"] >= pd.to_datetime(gone["pair_id"].map(fitted.to_dict()))
    return set(gone.loc[still, "pair_id"]) | {o["pair_id"] for o in orders}


def _booked(orders: list[dict[str, Any]], today: date) -> Booked:
    coming = [o for o in orders if o["stage"] in ("booked", "in_post")]
    # further works come on the same day: they take their own minutes and materials
    each = [(o, work) for o in coming for work in works_of(o["work"], o["more_works"])]
    days = [((o["expected_on"] or today) - today).days for o, _ in each]
    works = [WORKS.index(work) for _, work in each]
    return Booked(np.array(days, dtype=np.int64), np.array(works, dtype=np.int64))


class _Kept:
    """The newest results of each opened database, whosever they are; a key begins with its tenant.

    A request sees the database through an object of its own; the engine is what they share.
    """

    def __init__(self) -> None:
        self._of: WeakKeyDictionary[Engine, dict[tuple[Any, ...], YearAhead]] = WeakKeyDictionary()
        self._lock = threading.Lock()

    def find(self, database: Database, key: tuple[Any, ...]) -> YearAhead | None:
        with self._lock:
            return self._of.get(database.engine, {}).get((database.tenant_pk, *key))

    def put(self, database: Database, key: tuple[Any, ...], value: YearAhead) -> None:
        with self._lock:
            kept = self._of.setdefault(database.engine, {})
            kept[database.tenant_pk, *key] = value
            while len(kept) > KEPT_YEARS:
                kept.pop(next(iter(kept)))


_kept = _Kept()


def year_ahead(
    database: Database,
    today: date,
    months: int,
    years: int = 1000,
    runner: Runner | None = None,
) -> YearAhead:
    """Simulate the coming months, or give what was simulated from the same books today.

    Totals are those of a year; fewer months are the first ones of it. Pairs are simulated where
    `runner` says, else here.

    Raises `NothingForecast`; `forecast.errors.BadHorizon` for months outside 1 to 36.
    """
    settings = WorkloadSettings(months=months, years=years, listed_years=min(100, years))
    with database.reading() as session:
        _, version = read_bench_settings(session)
        fit = newest_fit_key(session)
        state = (newest_data_version(session), version, fit and fit["id"])
        outcomes, orders = load_outcomes(session), load_open_orders(session)
        # small tables: what they say is part of the key
        looks = kept_looks(session)
        learnt = repr(kept_habits(session))
        said = (len(outcomes), hash(tuple(outcomes["outcome"])), repr(orders), repr(looks), learnt)
        key = (today, months, years, state, said)
        found = _kept.find(database, key)
        if found is not None:
            return found
        books = gather(session, today)
    simulated = simulate_years(
        books.due,
        books.habits,
        books.newcomers,
        books.mix,
        books.as_of,
        replace(settings, months=max(months, YEAR_MONTHS)),
        books.booked,
        books.past,
        runner,
        books.small,
    )
    ends = books.as_of + pd.DateOffset(months=months)
    simulated = simulated.until((ends - books.as_of).days)
    by_day = measures(simulated, books.times, settings.seed) | uses(simulated)
    by_day["open_hours"] = open_by_day(books.settings.bench_hours(), simulated)[None, :]
    made = YearAhead(books, simulated, by_day)
    _kept.put(database, key, made)
    return made


def uses(simulated: SimulatedYears) -> dict[str, np.ndarray]:
    """Return what the jobs use of each material by day, `use_<material>`: (years, days)."""
    names = sorted({name for standard in STANDARDS.values() for name, _ in standard.uses})
    out = {}
    for name in names:
        each = np.array([dict(STANDARDS[w].uses).get(name, 0.0) for w in WORKS])
        out[f"use_{name}"] = simulated.counts @ each
    return out


def open_by_day(hours: BenchHours, simulated: SimulatedYears) -> np.ndarray:
    """Return the hours that all benches are open on each day to come."""
    days = simulated.days
    return np.asarray(hours.minutes_by_day(days[0], len(days)) * hours.benches / 60.0)


def workload_body(ahead: YearAhead, months: int, by: str) -> dict[str, Any]:
    """Say the work to come as JSON values."""
    books = ahead.books
    return {
        "as_of": books.as_of.date().isoformat(),
        "months": months,
        "years": ahead.simulated.counts.shape[0],
        "currency": books.settings.currency,
        "total": _periods(summarise(ahead.simulated, ahead.by_day, "total")),
        "periods": _periods(summarise(ahead.simulated, ahead.by_day, by)),
        "learnt": {
            "come": round(books.habits.come, 4),
            "no_show": round(books.habits.no_show, 4),
            "median_delay_days": round(books.habits.median_delay_days, 1),
            "outcomes": books.habits.n_outcomes,
            "newcomer_months": books.newcomers.months_known,
            "timed_jobs": sum(books.minutes.jobs.values()),
            "pairs": int(books.due.rows["pair_id"].nunique()),
        },
        "year": _year(ahead),
        "past_years": [{name: look[name] for name in _LOOK_FIELDS} for look in books.looks],
    }


_LOOK_FIELDS = (
    "as_of", "came", "level", "p10", "p90", "said", "last_year", "three_years", "holt_winters",
)  # fmt: skip


def _year(ahead: YearAhead) -> dict[str, Any]:
    """Say what the jobs of the coming year are based on."""
    level, plain = ahead.simulated.level, ahead.books.plain
    told = {name: None if np.isnan(value) else round(value, 1) for name, value in plain.items()}
    return told | {
        "said": None if level is None else round(level.said, 1),
        "level": None if level is None else round(level.expected, 1),
        "half_years": len(ahead.books.past.half_years),
    }


def _periods(frame: pd.DataFrame) -> list[dict[str, Any]]:
    rows = frame.drop(columns="period").to_dict("records")
    return [
        {str(k): round(v, 3) if isinstance(v, float) else v for k, v in row.items()}
        | {"begins_on": row["begins_on"].date().isoformat()}
        for row in rows
    ]
