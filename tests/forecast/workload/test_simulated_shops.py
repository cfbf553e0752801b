"""Do totals cover what comes, and do they beat last year and the seasonal average?

Shops are drawn by `synthetic_data.shop_years`, whose pairs' forecasts are honest by construction;
what is on trial is the step from pairs to work.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.backtesting.scores import crps_sample, inside
from solespan.forecast.workload import (
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    simulate_years,
)
from solespan.synthetic_data.shop_years import HISTORY_YEARS, ShopYears, draw_shop


def simulated(shop: ShopYears, years: int = 400, **changes: object):
    new = shop.bench_jobs["stranger"].to_numpy()
    return simulate_years(
        due_table(shop.forecast, shop.soles, shop.pairs),
        fit_habits(shop.outcomes, shop.as_of),
        fit_newcomers(shop.bench_jobs, new, shop.since, shop.as_of),
        fit_mix(shop.bench_jobs, new),
        shop.as_of,
        WorkloadSettings(years=years, **{"listed_years": min(years, 100), **changes}),
    )


@cache
def judged(seed: int, shops: int) -> dict[str, np.ndarray]:
    """Totals of simulated years, and what came; last year's count and the yearly average."""
    out: dict[str, list] = {"draws": [], "came": [], "last_year": [], "average": []}
    for rng in np.random.default_rng(seed).spawn(shops):
        shop = draw_shop(rng)
        out["draws"].append(simulated(shop).counts.sum(axis=(1, 2)))
        out["came"].append(len(shop.coming))
        received = shop.bench_jobs["received_on"]
        year = pd.Timedelta(days=365)
        out["last_year"].append(int((received > shop.as_of - year).sum()))
        out["average"].append(len(received) / HISTORY_YEARS)
    return {name: np.array(values, dtype=float) for name, values in out.items()}


def poisson(mean: np.ndarray) -> np.ndarray:
    """A count forecast of this mean, so that a single number is not judged for being one."""
    return np.random.default_rng(9).poisson(mean[:, None], (len(mean), 1000)).astype(float)


def scores(told: dict[str, np.ndarray]) -> dict[str, float]:
    """Mean CRPS in jobs a year; the peers as numbers and as counts around them, the better one."""
    came = told["came"]
    return {
        "simulated years": float(crps_sample(told["draws"], came).mean()),
        **{
            peer: min(
                float(np.abs(told[peer] - came).mean()),
                float(crps_sample(poisson(told[peer]), came).mean()),
            )
            for peer in ("last_year", "average")
        },
    }


@pytest.mark.slow
def test_a_few_shops_are_covered_and_forecast_better_than_by_last_year():
    told = judged(1, 24)
    assert 0.6 <= inside(told["draws"], told["came"], 0.8).mean() <= 0.98
    found = scores(told)
    assert found["simulated years"] < min(found["last_year"], found["average"])


@pytest.mark.long
def test_the_yearly_interval_holds_eight_years_in_ten_and_beats_its_peers_with_each_seed():
    """1,200 shops in three seeds: the standard error of the pooled share is 1.2 %."""
    every = {seed: judged(seed, 400) for seed in (11, 12, 13)}
    held = []
    for seed, told in every.items():
        found = scores(told)
        share = inside(told["draws"], told["came"], 0.8)
        held.append(share)
        half = inside(told["draws"], told["came"], 0.5).mean()
        words = ", ".join(f"{name} {value:.1f}" for name, value in found.items())
        print(f"seed {seed}: 80 % holds {share.mean():.3f}, 50 % {half:.3f}; CRPS {words}")  # noqa: T201
        assert found["simulated years"] < min(found["last_year"], found["average"])
    assert 0.78 <= np.concatenate(held).mean() <= 0.84
