"""Is use to come told apart from season, weeks away and pairs that are away?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast import forecast
from solespan.forecast.use.usage import fit_use, season_factor
from solespan.forecast.use.wear_counts import PERIOD_DAYS, PERIODS, WearCounts
from tests.forecast.builders import TODAY, day, log_of, rack

WEARERS, PAIRS_EACH = 60, 3


def counts_of(going_out: np.ndarray, seed: int = 3) -> WearCounts:
    """Draw wear days of even racks whose wearers go out with this chance in each period."""
    rng = np.random.default_rng(seed)
    out = rng.binomial(PERIOD_DAYS, going_out, (WEARERS, PERIODS))
    days = rng.multinomial(out, np.full(PAIRS_EACH, 1.0 / PAIRS_EACH))
    days = np.moveaxis(days, 2, 1).reshape(-1, PERIODS).astype(float)
    return WearCounts(
        worn=days,
        days=days,
        open_days=np.full(days.shape, float(PERIOD_DAYS)),
        group=np.ones(len(days), int),
        wearer=np.repeat(np.arange(WEARERS), PAIRS_EACH),
        year_share=year_share(),
    )


def year_share() -> np.ndarray:
    """Places in the year of four-week periods, the newest first."""
    return (0.87 - (np.arange(PERIODS) + 0.5) * PERIOD_DAYS / 365.25) % 1.0


def test_weeks_away_in_high_summerleave_winter_as_it_is():
    share = year_share()
    summer = (share > 0.5) & (share < 0.68)
    season = fit_use(counts_of(np.where(summer, 0.45, 0.60))).season[-1]
    quarters = np.arange(0.92, 1.92, 0.01).reshape(4, 25) % 1.0
    winter, spring, high_summer, _ = season_factor(np.array(season), quarters.ravel()).reshape(
        4, 25
    )
    assert abs(winter.mean() / spring.mean() - 1.0) < 0.045  # one yearly wave: 0.053
    assert 0.78 < high_summer.mean() / spring.mean() < 0.92


def test_even_use_has_no_season():
    season = fit_use(counts_of(np.full(PERIODS, 0.6))).season[-1]
    year = season_factor(np.array(season), np.linspace(0.0, 1.0, 13))
    assert np.ptp(year) < 0.04


def test_a_pair_at_the_bench_will_share_the_rack_again(shared_fit):
    frames = rack()
    off, job = (
        day(360),
        {"job_id": "j", "pair_id": "ada-0", "received_on": day(360), "work": "full_sole"},
    )
    soles = frames["soles"].copy()
    soles.loc[soles["pair_id"] == "ada-0", "removed_on"] = off
    given_up = frames | {"soles": soles}
    at_bench = given_up | {"bench_jobs": pd.DataFrame([job])}
    dates = [
        forecast(shared_fit, log_of(f), TODAY).set_index(["pair_id", "foot", "point"])["due_p50"]
        for f in (given_up, at_bench, frames)
    ]
    alone, back, all_on = (d.loc["ada-1", "pair", "ball"] for d in dates)
    assert alone < back
    assert abs(back - all_on) < 0.1 * (all_on - alone)
