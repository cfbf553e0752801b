"""Unlogged wear: what does a rack say whose owner logs nothing?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import ForecastSettings, WearModel, forecast, wear_log, wear_path
from solespan.forecast.frames import DUE_QUANTILES
from solespan.forecast.observation.attrition import (
    Leaving,
    Silence,
    chance_gone,
    chance_in_use,
    learn_leaving,
)
from solespan.forecast.observation.survival_sites import still_on_site
from solespan.forecast.priors import POPULATION_SD
from solespan.synthetic_data import world
from tests.forecast.builders import TODAY, day, log_of, pair_row, rack, sole_row, together

DAYS = list(DUE_QUANTILES)
LIVES = (420, 610, 540, 700, 380, 820, 500, 640)


def customers(lives: tuple[int, ...] = LIVES, ages: tuple[int, ...] = (30,)) -> dict:
    """Frames of silent customers, one pair each: two soles that came off, and one still on."""
    pairs, soles = [], []
    for i, life in enumerate(lives):
        age = ages[i % len(ages)]
        first = day(-age - 2 * life, TODAY)
        pairs.append(pair_row(f"p{i}", f"w{i}"))
        for number, start in enumerate((first, first + pd.Timedelta(days=life)), start=1):
            end = start + pd.Timedelta(days=life)
            soles.append(sole_row(f"p{i}", number=number, fitted_on=start, removed_on=end))
        soles.append(sole_row(f"p{i}", number=3, fitted_on=day(-age, TODAY)))
    return {"pairs": pd.DataFrame(pairs), "soles": pd.DataFrame(soles)}


def resoles(frames: dict) -> pd.DataFrame:
    """The resole rows of a log's forecast, by pair."""
    log = log_of(frames)
    rows = forecast(WearModel(log, TODAY).fit(), log, TODAY)
    return rows[(rows["foot"] == "pair") & (rows["point"] == "ball")].set_index("pair_id")


def until(rows: pd.DataFrame, column: str = "due_p50") -> pd.Series:
    """Days until a date; beyond the horizon counts as far away."""
    return (rows[column] - TODAY).dt.days.fillna(9999.0)


@pytest.fixture(scope="module")
def by_age() -> pd.DataFrame:
    """Eight customers of equal lives, each sole three months older than the one before."""
    return resoles(customers(lives=(500,) * 8, ages=(30, 120, 210, 300, 390, 480, 570, 660)))


class TestCalendar:
    def test_an_older_sole_is_never_due_later(self, by_age):
        for column in DAYS:
            assert (np.diff(until(by_age, column)) <= 0).all(), column

    def test_a_short_life_is_followed_by_an_earlier_date(self):
        rows = resoles(customers())
        order = np.argsort(LIVES)
        assert np.corrcoef(np.array(LIVES), until(rows))[0, 1] > 0.9
        assert until(rows).iloc[order[0]] < until(rows).iloc[order[-1]]

    def test_the_date_lies_near_the_earlier_lives(self, by_age):
        young = until(by_age).iloc[0] + 30
        assert 350 < young < 620

    def test_the_reason_says_how_it_is_judged(self, by_age):
        told = "no check yet; no wear logged: judged by the calendar and this pair's earlier soles"
        assert (by_age["reason"] == told).all()

    def test_a_few_wears_are_not_called_none(self):
        frames = customers()
        frames["wear_days"] = pd.DataFrame(
            [{"pair_id": "p0", "worn_on": day(-k, TODAY), "hours": 8.0} for k in (2, 9, 20)]
        )
        reasons = resoles(frames)["reason"]
        assert "few wears logged: judged by" in reasons["p0"]
        assert "no wear logged: judged by the calendar" in reasons["p1"]


class TestAssumedSole:
    @pytest.mark.parametrize("logged", [True, False])
    def test_what_is_assumed_widens_the_forecast_and_is_named(self, logged):
        frames = rack(2, seed=5) if logged else customers()
        pair_id = str(frames["soles"]["pair_id"].iloc[-1])
        frames["checks"] = frames.get("checks", pd.DataFrame(columns=["pair_id"]))
        frames["checks"] = frames["checks"][frames["checks"]["pair_id"] != pair_id]
        log = log_of(
            frames if len(frames["checks"]) else {k: frames[k] for k in ("pairs", "soles")}
        )
        fit = WearModel(log, TODAY).fit()
        guess = log_of(
            {name: frames[name] for name in frames if len(frames[name])}
            | {"soles": frames["soles"].assign(assumed=frames["soles"]["pair_id"] == pair_id)}
        )
        known, assumed = (
            forecast(fit, one, TODAY, ForecastSettings(horizon_days=9000))
            .query("foot == 'pair' and point == 'ball'")
            .set_index("pair_id")
            for one in (log, guess)
        )
        widths = [
            (rows.loc[pair_id, "due_p90"] - rows.loc[pair_id, "due_p10"]).days
            for rows in (known, assumed)
        ]
        assert widths[1] > 1.02 * widths[0]
        assert "assumed" in assumed.loc[pair_id, "reason"]
        assert "assumed" not in known.loc[pair_id, "reason"]


class TestLoggersStayApart:
    def test_who_does_not_log_moves_no_date_of_who_does(self):
        loggers = rack(3)
        alone = resoles(loggers)
        both = resoles(together(loggers, customers()))
        for column in DAYS:
            assert (until(both.loc[alone.index], column) - until(alone, column)).abs().max() <= 1
        assert both.loc[alone.index, "reason"].equals(alone["reason"])


class TestStatedPace:
    def test_a_stated_pace_moves_the_date_and_is_named(self):
        def one(**stated: float) -> pd.Series:
            pair = pd.DataFrame([pair_row("p", **stated)])
            return resoles({"pairs": pair, "soles": pd.DataFrame([sole_row("p")])}).loc["p"]

        seldom, unsaid, often = one(wears_per_week=0.5), one(), one(wears_per_week=3.0)
        assert often["chance_365d"] > unsaid["chance_365d"] > seldom["chance_365d"]
        assert "judged by the pace that the owner stated" in often["reason"]


class TestAdvice:
    def test_a_removal_that_advice_led_to_does_not_say_that_the_sole_was_thin(self):
        frames = customers(lives=(300,) * 6)
        jobs = pd.DataFrame(
            [
                {
                    "job_id": f"{row.sole_id}-J",
                    "pair_id": row.pair_id,
                    "work": "full_sole",
                    "received_on": row.removed_on - pd.Timedelta(days=5),
                    "finished_on": row.removed_on,
                    "returned_on": row.removed_on,
                }
                for row in frames["soles"].dropna(subset="removed_on").itertuples()
            ]
        )
        judged = resoles(frames | {"bench_jobs": jobs})
        advised = resoles(frames | {"bench_jobs": jobs.assign(advised=True)})
        assert (until(advised) > until(judged)).all()


class TestGone:
    def test_a_pair_not_heard_of_for_many_lives_is_probably_gone(self):
        rows = resoles(customers(lives=(400,) * 8, ages=(60,) * 7 + (3000,)))
        assert rows["chance_in_use"].iloc[:7].min() > 0.8
        assert rows["chance_in_use"].iloc[7] < 0.5
        assert "probably no longer in use" in rows["reason"].iloc[7]

    def test_regular_lives_of_one_customer_give_the_formula(self):
        """Lognormal intervals, log mean 6.5, SD .3, leaving with chance .1 at each visit."""
        from scipy.stats import norm

        days = np.array([365.0, 665.0, 900.0, 1200.0, 1826.0])
        lasts = norm.sf((np.log(days) - 6.5) / 0.3)
        silence = Silence(days, days, np.zeros(5, bool))
        gone = chance_gone(Leaving(at_visit=0.1, per_year=0.0), silence)
        expected = [0.897911, 0.818266, 0.585163, 0.181244, 0.003417]
        assert chance_in_use(gone, lasts) == pytest.approx(expected, abs=1e-6)

    def test_more_silence_where_soles_should_be_through_means_more_have_left(self):
        came = Silence(np.full(60, 500.0), np.full(60, 500.0), np.zeros(60, bool))
        waiting = Silence(np.full(40, 900.0), np.full(40, 900.0), np.zeros(40, bool))
        few = learn_leaving(came, waiting, np.full(40, 0.9))
        many = learn_leaving(came, waiting, np.full(40, 0.01))
        assert chance_gone(many, waiting).mean() > chance_gone(few, waiting).mean() + 0.1


class TestNothingCameOff:
    def test_where_soles_come_off_is_not_learnt_from_soles_still_on(self):
        """No sole came off: its place stays within two prior SDs of the prior."""
        drawn = world("thumb_only", 206, n_pairs=120)
        soles = drawn.frames["soles"]
        kept = soles[soles["removed_on"].isna()]
        frames = drawn.frames | {"soles": kept}
        for name in ("wear_days", "checks"):
            fitted = frames[name]["pair_id"].map(kept.set_index("pair_id")["fitted_on"])
            day_of = frames[name]["worn_on" if name == "wear_days" else "checked_on"]
            frames[name] = frames[name][day_of >= fitted]
        jobs = frames["bench_jobs"]
        frames["bench_jobs"] = jobs[jobs["pair_id"].isin(kept["pair_id"])]
        fit = WearModel(wear_log(**frames), drawn.as_of).fit()
        mean, sd = POPULATION_SD["sending_mm"]
        assert abs(fit.value("sending_mm") - mean) < 2.0 * sd


class TestPath:
    def test_the_fitted_path_ends_where_the_forecast_stands(self):
        log = log_of(customers(ages=(30, 700)))
        fit = WearModel(log, TODAY).fit()
        for pair_id in ("p0", "p1"):
            path = wear_path(fit, log, pair_id, TODAY)
            path = path[path["sole_id"] == f"{pair_id}-S3"]
            for foot in ("left", "right"):
                mine = path[path["foot"] == foot]
                past = mine.loc[~mine["ahead"], "thickness_mm_p50"].iloc[-1]
                ahead = mine.loc[mine["ahead"], "thickness_mm_p50"].iloc[0]
                assert ahead == pytest.approx(past, abs=0.2)


class TestSurvivalSite:
    def test_a_sole_still_on_is_thicker_and_a_pair_gone_says_nothing(self):
        mean, variance = np.array([1.0, 1.0, 4.5]), np.full(3, 1.0)
        low, sd, gone = np.full(3, 2.0), np.full(3, 0.5), np.array([0.0, 1.0, 0.0])
        mm, site = still_on_site(low, sd, gone, mean, variance)
        moved = (mean / variance + mm / site) / (1.0 / variance + 1.0 / site) - mean
        assert moved[0] > 0.3
        assert abs(moved[1]) < 1e-3
        assert 0.0 <= moved[2] < 0.05
