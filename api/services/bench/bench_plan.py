"""Bench plan service.

What would the coming year be like: asked as now, levelled, or with another bench?

All futures hold the same jobs: those of the work ahead. In one nobody is asked. In the next two,
owners are asked for their send-by days, or for levelled days. The last has another bench to try.
Nobody is asked whom the rules of asking leave out. Asking moves jobs within the year. Jobs of later
years that it could bring forward are counted apart. The plan that is kept holds lead times by week,
and days to ask, to book and to expect a pair.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from solespan.api.services.bench.workload import Books, YearAhead, year_ahead
from solespan.api.storage.bench.asking_facts import load_facts, load_lives
from solespan.api.storage.bench.waits import keep_waits, promises_in
from solespan.api.storage.bench.workload import newest_plan, save_plan
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.scope import name_changed
from solespan.api.storage.session import Database
from solespan.forecast.bench.dates import bench_dates
from solespan.forecast.bench.hours import BenchHours
from solespan.forecast.bench.year_ahead import BenchYears, run_bench
from solespan.forecast.frames import WORKS
from solespan.forecast.panel.wearer_parts import Runner
from solespan.forecast.workload import Jobs, Levelled, carried_minutes, level
from solespan.forecast.workload.asking import ask_owners, brought_forward
from solespan.forecast.workload.asking_rules import AskingRules, asking_rules
from solespan.forecast.workload.settings import WorkloadSettings

__all__ = ["make_plan", "newest_plan", "promises_in", "run_unasked"]

YEARS = 100
_SEED = WorkloadSettings().seed
_TOLD = {
    "jobs": "jobs",
    "brought_forward": "brought_forward",
    "worn_past_limit": "worn_past_limit",
    "longest_wait_days": "longest_wait_days",
    "idle_hours": "idle_hours",
    "worked_hours": "worked_hours",
    "open_hours": "open_hours",
}


@dataclass(frozen=True)
class _Soles:
    """The pairs whose owners can be asked: rows of the due table, their days and chances."""

    rows: np.ndarray
    pair_id: np.ndarray
    send_by_day: np.ndarray
    chance_due: np.ndarray
    rules: AskingRules


def make_plan(
    database: Database,
    today: date,
    *,
    months: int = 12,
    tried: BenchHours | None = None,
    price_factor: float = 1.0,
    demand_factor: float = 1.0,
    runner: Runner | None = None,
) -> dict[str, Any]:
    """Simulate the bench, keep the plan, and return it; forecasts made later use its waits.

    Parameters
    ----------
    tried : BenchHours, optional
        Another bench to compare: more hands or other hours.
    price_factor, demand_factor : float
        Of the bench tried: its prices over the list, and the share of jobs it would still get.
    runner : Runner, optional
        Where pairs are simulated; None: here.

    Raises
    ------
    NothingForecast
        There is no fit yet.
    """
    ahead = year_ahead(database, today, months, runner=runner)
    books = ahead.books
    with database.reading() as session:
        forecast = load_forecasts(session)
        known = load_facts(session), load_lives(session)
    soles = _soles(books, forecast, *known)
    hours = books.settings.bench_hours()
    levelled = _levelled(ahead, soles, hours)
    asked = _allowed(_asked_days(levelled, soles), soles, books.as_of)
    as_now = np.where(levelled.week >= 0, np.maximum(soles.send_by_day, 0.0), np.inf)
    as_now = _allowed(as_now, soles, books.as_of)
    futures = {
        "nobody is asked": _run(ahead, soles, np.full(len(asked), np.inf), hours),
        "asked on the send-by day": _run(ahead, soles, as_now, hours),
        "levelled": _run(ahead, soles, asked, hours),
    }
    scenarios = [_told(name, bench, books, 1.0) for name, bench in futures.items()]
    if tried is not None:
        bench = _run(ahead, soles, asked, tried, share=demand_factor)
        scenarios.append(_told("levelled, bench tried", bench, books, price_factor))
    lead = futures["levelled"].lead_times()
    ask_on = pd.Series(
        books.as_of + pd.to_timedelta(np.where(np.isfinite(asked), asked, 0), unit="D"),
        index=soles.pair_id,
    )[np.isfinite(asked)]
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    main = main[main["pair_id"].isin(soles.pair_id)]
    dates = bench_dates(main[["pair_id", "send_by"]], futures["levelled"], ask_on, books.as_of)
    plan: dict[str, Any] = {
        "as_of": today.isoformat(),
        "months": months,
        "scenarios": scenarios,
        "weeks": _weeks(levelled, hours, books.as_of),
        "levelling": _levelling(levelled, asked, hours, books.as_of),
        "lead_times": _rows(lead),
        "orders": _orders(books, futures["levelled"]),
        "pairs": _rows(dates.sort_values(["book_by", "pair_id"])),
    }
    with database.writing() as session:
        save_plan(session, today, plan)
        name_changed(as_of=today)
        keep_waits(
            session,
            futures["levelled"].booking_waits(),
            lead[["week_begins_on", "lead_days_p90"]].itertuples(index=False),
            {row["order_id"]: row["done_on_p90"] for row in plan["orders"]},
        )
    return plan


def run_unasked(ahead: YearAhead, hours: BenchHours) -> dict[str, Any]:
    """Return the year on a bench in numbers, where nobody is asked for a day."""
    none = np.zeros(0)
    days = none.astype("datetime64[D]")
    rules = AskingRules(none.astype(str), none.astype(bool), days, days)
    soles = _Soles(np.zeros(0, dtype=np.int64), none.astype(str), none, none, rules)
    return _told("nobody is asked", _run(ahead, soles, none, hours), ahead.books, 1.0)


def _soles(
    books: Books, forecast: pd.DataFrame, facts: pd.DataFrame, lives_days: np.ndarray
) -> _Soles:
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    rows = np.flatnonzero((books.due.rows["point"] == "ball").to_numpy())
    pair_id = books.due.rows["pair_id"].to_numpy()[rows]
    send_by = pd.to_datetime(pd.Series(pair_id).map(main.set_index("pair_id")["send_by"]))
    day = (send_by - books.as_of).dt.days.to_numpy(float)
    chance = books.due.quantile_days[rows] <= np.nan_to_num(np.maximum(day, 0.0))[:, None]
    of_pair = main.set_index("pair_id").reindex(pair_id).rename_axis("pair_id").reset_index()
    rules = asking_rules(of_pair, facts, lives_days)
    day = np.where(np.isnan(day), np.inf, day)
    return _Soles(rows, pair_id, day, chance.mean(axis=1), rules)


def _earliest_day(soles: _Soles, as_of: pd.Timestamp) -> np.ndarray:
    """Days from today before which no pair is asked; a pair that may not be asked does not move."""
    ten = (soles.rules.ten_on - np.datetime64(as_of, "D")) / np.timedelta64(1, "D")
    told = soles.rules.left_out(np.maximum(soles.rules.ten_on, np.datetime64(as_of, "D")))
    return np.where((told == "") & ~np.isnan(ten), np.maximum(ten, 0.0), soles.send_by_day)


def _allowed(ask_day: np.ndarray, soles: _Soles, as_of: pd.Timestamp) -> np.ndarray:
    """Leave out the pairs that may not be asked for their day (inf)."""
    asked = np.isfinite(ask_day)
    ask_on = np.datetime64(as_of, "D") + np.where(asked, ask_day, 0).astype("timedelta64[D]")
    return np.where(asked & (soles.rules.left_out(ask_on) == ""), ask_day, np.inf)


def _levelled(ahead: YearAhead, soles: _Soles, hours: BenchHours) -> Levelled:
    """Level the minutes that each pair is expected to take this year; the rest keeps its weeks."""
    books, jobs = ahead.books, _listed(ahead)
    weeks = ahead.simulated.counts.shape[1] // 7
    minutes = books.times.minutes[jobs.work] / _years(ahead)
    place = np.full(len(books.due.rows) + 1, -1)  # the last one is of jobs on no known pair
    inside = soles.send_by_day < weeks * 7
    place[soles.rows[inside]] = np.flatnonzero(inside)
    at = place[jobs.row]
    week = np.minimum((jobs.day - 1) // 7, weeks - 1)
    other = np.bincount(week[at < 0], minutes[at < 0], weeks)
    other[0] += books.waiting.minutes_left(books.times)
    return level(
        soles.send_by_day,
        soles.chance_due,
        np.bincount(at[at >= 0], minutes[at >= 0], len(soles.rows)),
        other,
        _room(hours, books.as_of, weeks),
        books.settings.most_weeks_early,
        _earliest_day(soles, books.as_of),
    )


def _years(ahead: YearAhead) -> int:
    return min(YEARS, int(ahead.simulated.counts.shape[0]))


def _listed(ahead: YearAhead) -> Jobs:
    jobs = ahead.simulated.jobs
    keep = jobs.year < YEARS
    return Jobs(*(getattr(jobs, name)[keep] for name in _FIELDS))


def _asked_days(levelled: Levelled, soles: _Soles) -> np.ndarray:
    """Give the first day of the week planned; where it is not moved, the send-by day."""
    moved = levelled.moved_weeks != 0
    send_by = np.maximum(soles.send_by_day, 0.0)
    day = np.where(moved, levelled.week * 7.0, send_by)
    return np.where(levelled.week >= 0, day, np.inf)


def _run(
    ahead: YearAhead, soles: _Soles, ask_day: np.ndarray, hours: BenchHours, share: float = 1.0
) -> BenchYears:
    books, years = ahead.books, _years(ahead)
    horizon = ahead.simulated.counts.shape[1]
    of_row = np.full(len(books.due.rows), np.inf)
    of_row[soles.rows] = ask_day
    jobs = ask_owners(_listed(ahead), of_row, _SEED)
    rows = books.due.rows
    chance = rows["in_use"].to_numpy(float) * books.habits.brings(rows["logs"].to_numpy(bool))
    forward = brought_forward(jobs, of_row, chance, years, horizon, _SEED)
    if share < 1.0:
        keep = np.random.default_rng(_SEED).random(len(jobs.row)) < share
        jobs = Jobs(*(getattr(jobs, name)[keep] for name in _FIELDS))
    ran = run_bench(
        jobs,
        books.times,
        hours,
        books.as_of,
        horizon,
        years,
        rules=books.settings.bench_rules(),
        waiting=books.waiting,
    )
    return replace(ran, years=ran.years.assign(brought_forward=forward * share))


_FIELDS = ("year", "day", "work", "row", "due_day")


def _told(name: str, bench: BenchYears, books: Books, price_factor: float) -> dict[str, Any]:
    """One future in numbers: mean and 80 % interval over the simulated years."""
    out: dict[str, Any] = {"name": name}
    years = bench.years
    price = dict(zip(WORKS, books.times.price_minor, strict=True))
    revenue = bench.jobs["work"].map(price).astype(float) * price_factor
    years = years.assign(
        revenue_minor=np.bincount(bench.jobs["year"], revenue, len(years)),
        wait_days_p90=_ninth_wait(bench.jobs, len(years)),
    )
    for column in (*_TOLD, "revenue_minor", "wait_days_p90"):
        low, high = np.quantile(years[column], [0.1, 0.9])
        out[column] = {
            "mean": round(float(years[column].mean()), 2),
            "p10": round(float(low), 2),
            "p90": round(float(high), 2),
        }
    return out


def _ninth_wait(jobs: pd.DataFrame, years: int) -> np.ndarray:
    waits = (jobs["begun_day"] - jobs["received_day"]).groupby(jobs["year"]).quantile(0.9)
    return np.asarray(waits.reindex(range(years), fill_value=0.0), dtype=float)


def _weeks(levelled: Levelled, hours: BenchHours, as_of: pd.Timestamp) -> list[dict[str, Any]]:
    weeks = len(levelled.load_minutes)
    first = as_of + pd.Timedelta(days=1)
    room = _room(hours, as_of, weeks)
    return [
        {
            "begins_on": (first + pd.Timedelta(weeks=k)).date().isoformat(),
            "open_hours": round(float(room[k]) / 60, 2),
            "hours_as_asked_now": round(float(levelled.load_minutes[k]) / 60, 2),
            "hours_levelled": round(float(levelled.level_minutes[k]) / 60, 2),
        }
        for k in range(weeks)
    ]


def _levelling(
    levelled: Levelled, asked: np.ndarray, hours: BenchHours, as_of: pd.Timestamp
) -> dict[str, Any]:
    """Say how many owners are asked, could be asked for an earlier week, and are."""
    room = _room(hours, as_of, len(levelled.load_minutes))
    told = np.isfinite(asked)
    hours_of = (carried_minutes(load, room) / 60 for load in
                (levelled.load_minutes, levelled.level_minutes))  # fmt: skip
    before, after = (round(value, 1) for value in hours_of)
    return {
        "asked": int(told.sum()),
        "free": int((told & (levelled.free_weeks > 0)).sum()),
        "moved": int((told & (levelled.moved_weeks > 0)).sum()),
        "carried_hours": before,
        "carried_hours_levelled": after,
    }


def _room(hours: BenchHours, as_of: pd.Timestamp, weeks: int) -> np.ndarray:
    open_minutes = hours.minutes_by_day(as_of + pd.Timedelta(days=1), weeks * 7)
    return np.asarray(open_minutes.reshape(weeks, 7).sum(axis=1) * hours.benches)


def _orders(books: Books, bench: BenchYears) -> list[dict[str, Any]]:
    """Say of each order that is here when the bench is done with it."""
    days = np.ceil(np.quantile(bench.waiting_done_day, [0.5, 0.9], axis=0))
    out = []
    for order_id, ends in zip(books.waiting_ids, days.T.tolist(), strict=True):
        middle, late = (books.as_of + pd.Timedelta(days=day) for day in ends)
        out.append(
            {
                "order_id": order_id,
                "done_on_p50": middle.date().isoformat(),
                "done_on_p90": late.date().isoformat(),
            }
        )
    return out


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as JSON values: dates as ISO text, missing as null."""
    out = []
    for row in frame.to_dict("records"):
        told: dict[str, Any] = {}
        for name, value in row.items():
            if isinstance(value, pd.Timestamp):
                told[str(name)] = value.date().isoformat()
            elif pd.isna(value):
                told[str(name)] = None
            else:
                told[str(name)] = round(value, 2) if isinstance(value, float) else value
        out.append(told)
    return out
