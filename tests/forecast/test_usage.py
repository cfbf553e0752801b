"""Is use to come told apart from season, weeks away and pairs that are away?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from solespan.forecast import forecast
from solespan.forecast.covariates import COVARIATES
from solespan.forecast.panel.log_arrays import log_arrays
from solespan.forecast.use.calendar import days_until, use_ahead
from solespan.forecast.use.pace import current_pace
from solespan.forecast.use.season import season_factor
from solespan.forecast.use.usage import fit_use
from solespan.forecast.use.wear_counts import PERIOD_DAYS, PERIODS, WearCounts, wear_counts
from solespan.forecast.use.worn_mostly import worn_mostly
from tests.forecast.builders import TODAY, day, grade, log_of, rack

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
        on_shelf=np.ones(len(days), bool),
        away=np.zeros(len(days), bool),
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


def seasonal_counts(swing: float, seed: int = 5) -> WearCounts:
    """Draw racks whose first pair is taken more in winter and whose second more in summer."""
    rng = np.random.default_rng(seed)
    wave = swing * np.cos(2 * np.pi * year_share())
    weight = np.exp(np.array([wave, -wave, np.zeros(PERIODS)]))
    days = rng.multinomial(17, (weight / weight.sum(axis=0)).T, (WEARERS, PERIODS))
    days = np.moveaxis(days, 2, 1).reshape(-1, PERIODS).astype(float)
    return replace(counts_of(np.full(PERIODS, 0.6)), worn=days, days=days)


def test_pairs_of_one_dress_code_have_seasons_of_their_own():
    counts = seasonal_counts(1.0)
    use = fit_use(counts)
    year = current_pace(counts, use).year.reshape(WEARERS, PAIRS_EACH, -1)
    winter, summer = year[:, :, :5].mean(axis=2), year[:, :, 35:40].mean(axis=2)
    ratio = np.median(winter / summer, axis=0)
    assert use.own_season >= 0.5
    assert ratio[0] > 4.0
    assert ratio[1] < 0.25
    assert 0.7 < ratio[2] < 1.4


def test_where_no_pair_has_a_season_nearly_none_is_told():
    counts = seasonal_counts(0.0)
    use = fit_use(counts)
    assert use.own_season == 0.1
    assert np.ptp(current_pace(counts, use).year, axis=1).mean() < 0.15


def test_a_changed_habit_is_followed_within_four_periods():
    counts = counts_of(np.full(PERIODS, 0.6))
    days = counts.days.reshape(WEARERS, PAIRS_EACH, PERIODS).copy()
    taken = np.minimum(days[:, 1:, :4], 1.0)  # the others are hardly taken since
    days[:, 0, :4] += (days[:, 1:, :4] - taken).sum(axis=1)
    days[:, 1:, :4] = taken
    changed = replace(counts, days=days.reshape(-1, PERIODS), worn=days.reshape(-1, PERIODS))
    use = replace(fit_use(counts), half_life_periods=12.0)
    truth = days[:, 0, :4].sum() / days[:, :, :4].sum()
    share = {}
    for change in (0.0, 0.03):
        pace = current_pace(changed, replace(use, change=change)).wear_days_per_day
        pace = pace.reshape(WEARERS, PAIRS_EACH)
        share[change] = float((pace[:, 0] / pace.sum(axis=1)).mean())
    assert share[0.0] < share[0.03] < truth + 0.02
    assert truth - share[0.03] < 0.7 * (truth - share[0.0])


def test_two_pairs_a_day_stay_two_and_no_pair_is_worn_twice():
    counts = counts_of(np.full(PERIODS, 0.6))
    every = np.tile([[26.0], [24.0], [1.0]], (WEARERS, PERIODS))
    both = replace(counts, days=every, worn=every)
    use = fit_use(both)
    pace = current_pace(both, use).wear_days_per_day.reshape(WEARERS, PAIRS_EACH)
    assert np.allclose(pace.sum(axis=1), 51.0 / 28.0, rtol=0.03)
    shelf = np.tile([True, False, False], WEARERS)
    alone = current_pace(replace(both, on_shelf=shelf), use).wear_days_per_day
    assert (alone <= 1.0).all()


def test_while_a_pair_is_at_a_shop_the_others_are_worn_instead():
    counts = counts_of(np.full(PERIODS, 0.6))
    use, first = fit_use(counts), np.arange(len(counts.days)) % PAIRS_EACH == 0
    whole, bench = (
        use_ahead(use, current_pace(c, use), 20_000, 365)
        for c in (counts, replace(counts, away=first))
    )
    pace = whole.wear_days_per_day
    soon, later = (a.season_days_until(14) * pace for a in (bench, whole))
    assert np.allclose(soon[first], 0.0)
    assert np.isclose(soon.sum(), later.sum(), rtol=0.03)
    year = [(a.season_days_until(365) - a.season_days_until(14)) * pace for a in (bench, whole)]
    assert np.allclose(*year)


def holed(frames: dict[str, pd.DataFrame], *, worn_on: bool) -> dict[str, pd.DataFrame]:
    """Add a hole seen in the first pair's ball, and end its wear there unless it is worn on."""
    checks = pd.concat([frames["checks"], pd.DataFrame([grade("ada-0", 300, "left", "hole")])])
    wear = frames["wear_days"]
    if not worn_on:
        wear = wear[~((wear["pair_id"] == "ada-0") & (wear["worn_on"] > day(300)))]
    return frames | {"checks": checks, "wear_days": wear}


def test_the_share_of_a_holed_pair_goes_to_the_others():
    def counts(frames: dict[str, pd.DataFrame]) -> WearCounts:
        return wear_counts(log_arrays(log_of(frames), TODAY), np.zeros(len(COVARIATES)))

    off, on = (counts(holed(rack(), worn_on=worn_on)) for worn_on in (False, True))
    assert off.on_shelf.tolist() == [False, True, True]
    assert on.on_shelf.all()
    use = fit_use(on)
    away, here = (current_pace(c, use).wear_days_per_day for c in (off, on))
    went = away[off.on_shelf].sum()
    assert np.isclose(went, here.sum(), rtol=0.35)
    assert (away[1:] > 1.2 * here[1:]).all()


def test_a_gap_counts_as_days_without_wear_by_how_far_the_wearer_was_away():
    frames = rack()
    wear = frames["wear_days"]
    gap = wear["worn_on"].between(day(100), day(200))
    log = log_arrays(log_of(frames | {"wear_days": wear[~gap]}), TODAY)
    worn, half, away = (
        wear_counts(log, np.zeros(len(COVARIATES)), share).open_days.sum(axis=1)
        for share in (1.0, 0.5, 0.0)
    )
    assert (away - worn > 90.0).all()
    assert np.allclose(half, 0.5 * (worn + away))


def test_a_pairs_season_is_told_in_months():
    counts = seasonal_counts(1.0)
    use = fit_use(counts)
    told = worn_mostly(use_ahead(use, current_pace(counts, use), 20_000, 365))
    winter, summer, even = (pd.Series(told[k::PAIRS_EACH]).mode()[0] for k in range(PAIRS_EACH))
    assert winter in {"from October to March", "from September to February"}
    assert summer in {"from April to September", "from March to August"}
    assert even == ""


def test_the_calendar_reads_a_season_as_its_days_add_up():
    counts = seasonal_counts(1.0)
    use = fit_use(counts)
    ahead = use_ahead(use, current_pace(counts, use), 20_100, 1826)
    members = np.array([0, 1, 4])
    daily, weekly = ahead.season_days(members), ahead.season_days(members, 7)
    assert np.allclose(daily[:, ::7], weekly[:, : daily[:, ::7].shape[1]])
    assert np.allclose(daily[:, 400] - daily[:, 35], 365.0, rtol=0.01)
    assert np.allclose(ahead.season_days_until(90)[members], daily[:, 90])
    sure = replace(ahead, error=(0.0, 0.0, 0.0, 0.0))
    wanted = daily[:, [20, 200, 900]] * sure.per_day[members][:, None]
    days = days_until(sure, wanted, np.zeros(3), members)
    assert np.abs(days - np.array([20, 200, 900])).max() < 0.5
    assert np.isinf(days_until(sure, 10 * wanted, np.zeros(3), members)[:, -1]).all()
