"""Simulated shop years.

What did a shop see in past years, what does a forecaster say of its pairs, and what comes next?

A shop's books are drawn quickly, to test forecasts of its work. For every sole a forecaster first
believes a life. The true life is that belief times an error of known size. So the stored forecast
is calibrated by construction, and only the step from pairs to work is tested. Owners bring due
pairs with a chance and a delay. Strangers come by trend and season. All values are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES, FORECAST

__all__ = ["ShopTruth", "ShopYears", "draw_shop"]

HISTORY_YEARS = 3
_WARM_UP_DAYS = 700
_WEAR_DAYS_PER_DAY = 0.3
_SOLE_WORKS = ("full_sole", "half_sole", "rewelt")
_STRANGER_WORKS = (*_SOLE_WORKS, "top_piece", "toe_plate", "heel_block")


@dataclass(frozen=True)
class ShopTruth:
    """What a forecaster of the shop's work has to learn.

    come, no_show : chances; median_delay_days, delay_log_sd : of those who come.
    strangers_per_month, trend_per_year, season : pairs nobody follows, log trend and half swing.
    life_log_sd : error of a forecaster's belief in a life, of which `by_wearer` is shared.
    """

    wearers: int
    come: float
    no_show: float
    median_delay_days: float
    delay_log_sd: float
    strangers_per_month: float
    trend_per_year: float
    season: float
    life_log_sd: float = 0.35
    by_wearer: float = 0.30
    by_all: float = 0.02


@dataclass(frozen=True)
class ShopYears:
    """The shop's books up to `as_of` and the truth after it.

    forecast, soles, pairs, bench_jobs : DataFrame
        Columns of `forecast.frames`, as known on `as_of`.
    outcomes : DataFrame
        `pair_id`, `due_on`, `outcome` (came, declined, no_show, open), `came_on`.
        `stranger` tells the first jobs of pairs that nobody followed.
    coming : DataFrame
        `pair_id`, `received_on`, `work`, `stranger`: every job of the year after `as_of`; nobody
        may see it.
    """

    truth: ShopTruth
    as_of: pd.Timestamp
    since: pd.Timestamp
    forecast: pd.DataFrame
    soles: pd.DataFrame
    pairs: pd.DataFrame
    bench_jobs: pd.DataFrame
    outcomes: pd.DataFrame
    coming: pd.DataFrame


def draw_truth(rng: np.random.Generator) -> ShopTruth:
    """Draw a shop: its size, its customers' habits and its growth."""
    return ShopTruth(
        wearers=int(rng.integers(50, 160)),
        come=rng.uniform(0.55, 0.9),
        no_show=rng.uniform(0.01, 0.10),
        median_delay_days=21.0 * rng.lognormal(0.0, 0.4),
        delay_log_sd=rng.uniform(0.6, 1.1),
        strangers_per_month=rng.uniform(2.0, 10.0),
        trend_per_year=rng.normal(0.05, 0.12),
        season=rng.uniform(0.0, 0.4),
    )


def draw_shop(
    rng: np.random.Generator, *, as_of: str = "2026-11-23", truth: ShopTruth | None = None
) -> ShopYears:
    """Draw a shop's books and its coming year."""
    truth = truth or draw_truth(rng)
    day = pd.Timestamp(as_of)
    history = 365 * HISTORY_YEARS
    books = _Books(truth, rng, history)
    pair = 0
    for wearer in range(truth.wearers):
        habit, error = rng.normal(0.0, 0.45), rng.normal()
        for _ in range(1 + rng.poisson(1.2)):
            old = rng.random() < 0.85
            joined = -_WARM_UP_DAYS - history if old else -int(rng.integers(1, history))
            books.live(pair, wearer, float(joined), habit, error)
            pair += 1
    for start in _stranger_days(truth, rng, history, day):
        work = str(rng.choice(_STRANGER_WORKS, p=(0.4, 0.18, 0.03, 0.28, 0.08, 0.03)))
        books.job(pair, start, work)
        books.strangers.add(pair)
        if rng.random() < 0.7:
            books.live(
                pair, truth.wearers + pair, start + 14.0, rng.normal(0.0, 0.45), rng.normal()
            )
        pair += 1
    return books.closed(day)


def _stranger_days(
    truth: ShopTruth, rng: np.random.Generator, history: int, as_of: pd.Timestamp
) -> list[float]:
    days: list[float] = []
    level = rng.normal(0.0, 0.05)
    for start in range(-history, 365):
        level += rng.normal(0.0, 0.05) / np.sqrt(365)
        share = (as_of + pd.Timedelta(days=start)).day_of_year / 365.25
        log_rate = (
            level
            + truth.trend_per_year * start / 365
            + truth.season * np.cos(2 * np.pi * (share - 0.85))
        )
        count = rng.poisson(truth.strangers_per_month / 30.4 * np.exp(log_rate))
        days.extend(start + rng.random(count))
    return days


class _Books:
    """Rows as they are written; days count from the evening of as_of."""

    def __init__(self, truth: ShopTruth, rng: np.random.Generator, history: int) -> None:
        self.truth, self.rng, self.history = truth, rng, history
        self.common = rng.normal()
        self.jobs: list[tuple[int, float, str]] = []
        self.soles: list[tuple[int, int, float, float | None]] = []
        self.outcomes: list[tuple[int, float, str, float | None]] = []
        self.present: list[tuple[int, int, str, float, float, float, float | None]] = []
        self.strangers: set[int] = set()
        self.owner: dict[int, int] = {}

    def job(self, pair: int, day: float, work: str) -> None:
        self.owner.setdefault(pair, 10_000 + pair)
        if day < 365:
            self.jobs.append((pair, day, work))

    def live(self, pair: int, wearer: int, start: float, habit: float, error: float) -> None:
        """Write the soles and top pieces of one pair until the coming year ends."""
        rng = self.rng
        self.owner[pair] = wearer
        level = habit + rng.normal(0.0, 0.35)
        number, fitted = 0, start
        while fitted < 365:
            number += 1
            belief = np.exp(np.log(560.0) + level + rng.normal(0.0, 0.2))
            life = belief * self._error(error, known=fitted < 0)
            due = fitted + life
            arrival = self._brought(pair, due)
            until = 1e9 if arrival is None else arrival
            removed = arrival if arrival is not None and arrival <= 0 else None
            sole = len(self.soles)
            self.soles.append((pair, number, fitted, removed))
            if fitted <= 0 < until:
                waits = None if due > 0 else -due
                if not (waits is not None and self._said_no(pair)):
                    self.present.append((pair, sole, "ball", fitted, belief, due, waits))
            self._heels(pair, sole, fitted, min(until, 365.0), level, error)
            if arrival is None or arrival >= 365:
                return
            self.job(pair, arrival, str(rng.choice(_SOLE_WORKS, p=(0.75, 0.2, 0.05))))
            fitted = arrival + 14.0

    def _heels(
        self, pair: int, sole: int, start: float, until: float, level: float, error: float
    ) -> None:
        fitted = start
        while True:
            belief = np.exp(np.log(520.0) + level + self.rng.normal(0.0, 0.2))
            due = fitted + belief * self._error(error, known=fitted < 0)
            arrival = self._brought(pair, due) if due < until else None
            brought = arrival is not None and arrival < until - 30
            if fitted <= 0 and not (brought and arrival is not None and arrival <= 0) and until > 0:
                waits = None if due > 0 else -due
                if waits is None or not self._said_no(pair):
                    self.present.append((pair, sole, "heel", fitted, belief, due, waits))
            if not brought or arrival is None:
                return
            self.job(pair, arrival, "top_piece")
            fitted = arrival + 5.0

    def _error(self, of_wearer: float, *, known: bool) -> float:
        t = self.truth
        own = 1.0 - t.by_all - t.by_wearer
        score = np.sqrt(t.by_all) * self.common * known + np.sqrt(t.by_wearer) * of_wearer
        return float(np.exp(t.life_log_sd * (score + np.sqrt(own) * self.rng.normal())))

    def _brought(self, pair: int, due: float) -> float | None:
        """The day a due pair comes in, or None; what is known of it goes into the outcomes."""
        t, rng = self.truth, self.rng
        comes, kept = rng.random() < t.come, rng.random() >= t.no_show
        arrival = due + t.median_delay_days * np.exp(t.delay_log_sd * rng.normal())
        seen = -self.history < due <= 0
        if comes and kept:
            if seen and arrival <= 0:
                self.outcomes.append((pair, due, "came", arrival))
            elif seen:
                self.outcomes.append((pair, due, "open", None))
            return float(arrival)
        if seen and comes:
            self.outcomes.append((pair, due, "no_show", None))
        elif seen:
            word = "declined" if rng.random() < 0.4 else "open"
            self.outcomes.append((pair, due, word, None))
        return None

    def _said_no(self, pair: int) -> bool:
        return any(
            p == pair and word in ("declined", "no_show") for p, _, word, _ in self.outcomes[-4:]
        )

    def closed(self, as_of: pd.Timestamp) -> ShopYears:
        """Make frames of everything, split at as_of."""

        def date(days: pd.Series) -> pd.Series:
            stamp: Any = as_of + pd.to_timedelta(np.floor(days.astype(float)) + 1, unit="D")
            day: pd.Series = stamp.dt.normalize().astype("datetime64[s]")
            return day

        jobs = pd.DataFrame(self.jobs, columns=["pair", "at", "work"])
        jobs["received_on"] = date(jobs["at"])
        jobs["pair_id"] = "P" + jobs["pair"].astype(str)
        soles = pd.DataFrame(self.soles, columns=["pair", "number", "at", "until"])
        frame = pd.DataFrame(
            {
                "sole_id": "S" + pd.Series(range(len(soles))).astype(str),
                "pair_id": "P" + soles["pair"].astype(str),
                "fitted_on": date(soles["at"]),
                "removed_on": date(soles["until"]),
                "nominal_thickness_mm": 5.0,
                "limit_mm": 2.0,
                "material": "veg_tan_leather",
            }
        )
        outcomes = pd.DataFrame(self.outcomes, columns=["pair", "at", "outcome", "came"])
        outcomes["pair_id"] = "P" + outcomes["pair"].astype(str)
        outcomes["due_on"], outcomes["came_on"] = date(outcomes["at"]), date(outcomes["came"])
        first = ~jobs.sort_values("at")["pair"].duplicated()
        jobs["stranger"] = first.reindex(jobs.index) & jobs["pair"].isin(self.strangers)
        past = jobs[(jobs["at"] <= -1) & (jobs["at"] > -self.history)]
        ahead = jobs[(jobs["at"] >= 0) & (jobs["at"] < 365)]
        return ShopYears(
            truth=self.truth,
            as_of=as_of,
            since=as_of - pd.Timedelta(days=self.history),
            forecast=self._forecast(as_of),
            soles=frame,
            pairs=pd.DataFrame(
                {
                    "pair_id": [f"P{p}" for p in self.owner],
                    "wearer_id": [f"W{w}" for w in self.owner.values()],
                }
            ),
            bench_jobs=past[["pair_id", "work", "received_on", "stranger"]].reset_index(drop=True),
            outcomes=outcomes[["pair_id", "due_on", "outcome", "came_on"]],
            coming=ahead[["pair_id", "work", "received_on", "stranger"]].reset_index(drop=True),
        )

    def _forecast(self, as_of: pd.Timestamp) -> pd.DataFrame:
        """Rows of the pairs' points: a lognormal life, cut at the age it has reached."""
        from scipy.special import ndtr, ndtri  # noqa: PLC0415

        rows = pd.DataFrame(
            self.present, columns=["pair", "sole", "point", "at", "belief", "due", "waits"]
        )
        age, belief, sd = -rows["at"].to_numpy(), rows["belief"].to_numpy(), self.truth.life_log_sd
        reached = ndtr(np.log(np.maximum(age, 1e-3) / belief) / sd)
        over = rows["waits"].notna().to_numpy()
        out = pd.DataFrame({c.name: [None] * len(rows) for c in FORECAST})
        out["pair_id"] = "P" + rows["pair"].astype(str)
        out["sole_id"] = "S" + rows["sole"].astype(str)
        out["as_of"], out["foot"], out["point"], out["band"] = as_of, "pair", rows["point"], "watch"
        for name, share in DUE_QUANTILES.items():
            life = belief * np.exp(sd * ndtri(reached + share * (1 - reached)))
            days = np.where(over, 0.0, np.ceil(life - age))
            stamp = as_of + pd.to_timedelta(days, unit="D")
            out[name] = stamp.where(days < 1826).astype("datetime64[s]")
        for name, within in CHANCE_DAYS.items():
            passed = ndtr(np.log((np.maximum(age, 1e-3) + within) / belief) / sd)
            share = (passed - reached) / np.maximum(1 - reached, 1e-12)
            out[name] = np.where(over, 1.0, share)
        # what a gauge would show: worn in proportion, and on past the limit of 2 mm
        waits = rows["waits"].fillna(0.0).to_numpy(float)
        life = np.where(over, age - waits, belief)
        new_mm = np.where(rows["point"] == "ball", 5.0, 6.0)
        per_day = (new_mm - 2.0) / np.maximum(life, 1.0)
        out["thickness_mm_p50"] = new_mm - per_day * age
        out["rate_mm_per_wear_day_p50"] = per_day / _WEAR_DAYS_PER_DAY
        return out
