"""Are works that no date foresees counted once, and whom did the shop know before the first job?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.frames import WORKS
from solespan.forecast.workload import fit_small_works
from solespan.forecast.workload.known_log import followed_since, of_newcomer

AS_OF = pd.Timestamp("2026-11-23")
TOP = WORKS.index("top_piece")


def books(work: str, per_month: int) -> pd.DataFrame:
    days = pd.date_range("2023-11-01", "2026-10-31", freq="D")
    days = days[np.random.default_rng(3).permutation(len(days)) < per_month * 36]
    return pd.DataFrame({"pair_id": "p", "received_on": days, "work": work})


def drawn(jobs: pd.DataFrame, foreseen_each_day: float) -> np.ndarray:
    small = fit_small_works(jobs, np.zeros(len(jobs), bool), jobs["received_on"].min(), AS_OF)
    foreseen = np.zeros((365, len(WORKS)))
    foreseen[:, TOP] = foreseen_each_day
    return small.draw(foreseen, AS_OF, 200, np.random.default_rng(1))


def test_what_no_date_foresees_comes_as_often_as_it_came():
    jobs = books("top_piece", 4)
    found = drawn(jobs, 0.0)
    assert found.shape[1] / 200 == pytest.approx(48, rel=0.2)
    assert (found[2] == TOP).mean() > 0.99
    assert found[1].min() >= 1
    assert found[1].max() <= 365
    assert drawn(jobs, 24 / 365).shape[1] == pytest.approx(found.shape[1] / 2, rel=0.1)
    assert not drawn(jobs, 60 / 365).shape[1], "the dates foresee more than came"


@pytest.mark.parametrize("jobs", [books("full_sole", 4), books("top_piece", 4).head(3)])
def test_soles_and_a_few_works_say_nothing(jobs):
    assert not drawn(jobs, 0.0).shape[1]


def day(text: str) -> pd.Timestamp:
    return pd.Timestamp(text)


def test_a_pair_on_record_before_its_first_job_is_no_stranger():
    got = pd.Series({"sold": day("2024-01-01"), "waits": day("2026-01-01"), "old": pd.NaT})
    came = pd.Series({"sold": day("2026-06-01"), "old": day("2026-07-01")})
    none = pd.Series(dtype="datetime64[ns]")
    jobs = came.rename_axis("pair_id").rename("received_on").reset_index()
    new = of_newcomer(jobs, followed_since(got, none, came))
    assert new.tolist() == [False, True]
    # no pair is on record before its first job: the day was told at that job
    new = of_newcomer(jobs, followed_since(got.drop("waits"), none, came))
    assert new.tolist() == [True, True]
    seen = pd.Series({"old": day("2026-05-01")})
    assert of_newcomer(jobs, followed_since(got, seen, came)).tolist() == [False, False]
