"""Is what is made part by part what is made of the whole, in however many parts and wherever?"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd
import pytest

from solespan.forecast import WearFit, WearLog, backtest, forecast, wear_log
from solespan.forecast.backtesting.year_look_back import look_back
from solespan.forecast.dates.forecast_parts import forecast_parts
from solespan.forecast.errors import TooLittleData
from solespan.forecast.panel.wearer_parts import Runner, Threads, wearer_parts
from solespan.forecast.workload import (
    DueTable,
    SimulatedYears,
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    pair_years,
    simulate_years,
)
from solespan.synthetic_data import shop_world
from solespan.synthetic_data.panel import panel
from solespan.synthetic_data.shop_years import ShopYears, draw_shop
from tests.forecast.builders import TODAY


class Workers(Threads):
    """Parts are worked on here, one after the other, as if there were so many workers."""

    def __init__(self, workers: int) -> None:
        self.workers = workers

    def map(self, function, *columns):
        return [function(*each) for each in zip(*columns, strict=True)]


@pytest.fixture(scope="module")
def dask() -> Iterator[Runner]:
    """A Dask cluster of threads in this process."""
    distributed = pytest.importorskip("distributed", reason="needs the extra dask")
    from solespan.api.services.forecasts.dask_runner import DaskRunner

    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=":0"
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield DaskRunner(client)


@pytest.mark.parametrize("many", [1, 3, 1000])
def test_parts_hold_every_wearer_with_a_sole_once(shared_log: WearLog, many: int) -> None:
    parts = wearer_parts(shared_log, many)
    owners = [name for part in parts for name in part.wearers["wearer_id"]]
    assert owners == sorted(set(owners))
    assert sum(len(part.soles) for part in parts) == len(shared_log.soles)
    assert len(parts) <= many


def test_forecasts_of_parts_are_those_of_the_parts_wherever_they_are_made(
    shared_fit: WearFit, shared_log: WearLog, dask: Runner
) -> None:
    parts = wearer_parts(shared_log, 2)
    here = forecast_parts(Threads(), shared_fit, parts, TODAY)
    pd.testing.assert_frame_equal(here, forecast_parts(dask, shared_fit, parts, TODAY))
    for part in parts:
        mine = here[here["pair_id"].isin(part.pairs["pair_id"])].reset_index(drop=True)
        pd.testing.assert_frame_equal(mine, forecast(shared_fit, part, TODAY), check_exact=True)


def test_parts_without_a_sole_are_left_out_and_none_with_one_is_refused(
    shared_fit: WearFit, shared_log: WearLog
) -> None:
    parts = [shared_log.of_wearers(["nobody"]), shared_log.of_wearers(["ada"])]
    told = forecast_parts(Threads(), shared_fit, parts, TODAY)
    assert set(told["pair_id"]) == set(parts[1].pairs["pair_id"])
    with pytest.raises(TooLittleData):
        forecast_parts(Threads(), shared_fit, parts[:1], TODAY)


@pytest.fixture(scope="module")
def shop() -> ShopYears:
    return draw_shop(np.random.default_rng(21))


@pytest.fixture(scope="module")
def simulated(shop: ShopYears) -> Callable[..., SimulatedYears]:
    new = shop.bench_jobs["stranger"].to_numpy()
    learnt = (
        fit_habits(shop.outcomes, shop.as_of),
        fit_newcomers(shop.bench_jobs, new, shop.since, shop.as_of),
        fit_mix(shop.bench_jobs, new),
    )
    settings = WorkloadSettings(years=80, listed_years=20)

    def years(due: DueTable, runner: Runner | None = None) -> SimulatedYears:
        return simulate_years(due, *learnt, shop.as_of, settings, runner=runner)

    return years


def test_simulated_years_are_the_same_in_however_many_parts(
    shop: ShopYears, simulated, dask: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pair_years, "_BLOCK_CELLS", 4_000)  # some wearers in each block
    due = due_table(shop.forecast, shop.soles, shop.pairs)
    whole = simulated(due)
    for runner in (Workers(1), Workers(7), dask):
        split = simulated(due, runner)
        assert np.array_equal(split.counts, whole.counts)
        for name in ("year", "day", "work", "row", "due_day"):
            assert np.array_equal(getattr(split.jobs, name), getattr(whole.jobs, name)), name


def test_without_pairs_parts_hold_newcomers_alone(shop: ShopYears, simulated) -> None:
    none = due_table(shop.forecast.head(0), shop.soles, shop.pairs)
    whole, split = simulated(none), simulated(none, Workers(3))
    assert np.array_equal(whole.counts, split.counts)
    assert whole.counts.sum() == whole.of_newcomers.sum()


@pytest.mark.slow
def test_a_look_back_in_parts_scores_as_that_of_the_whole(dask: Runner) -> None:
    log = wear_log(**panel(24, np.random.default_rng(5))[0])
    days = [pd.Timestamp("2026-11-23") - pd.Timedelta(days=back) for back in (120, 60)]
    whole, split = backtest(log, days).rows, backtest(log, days, runner=dask).rows
    assert list(whole["pair_id"]) == list(split["pair_id"])
    pd.testing.assert_frame_equal(whole, split, rtol=0.02, atol=0.02)


@pytest.mark.slow
def test_a_look_back_on_years_in_parts_says_the_same() -> None:
    drawn = shop_world("mixed_shop_10", 3, n_pairs=24)
    log = wear_log(**drawn.frames)
    none = pd.DataFrame({"due_on": pd.to_datetime([]), "outcome": [], "came_on": pd.NaT})
    settings = WorkloadSettings(years=50, listed_years=0)
    whole = look_back(log, drawn.as_of, none, settings)
    split = look_back(log, drawn.as_of, none, settings, runner=Workers(2))
    assert len(whole.years) > 0
    assert list(whole.years["came"]) == list(split.years["came"])
    assert list(split.years["said"]) == pytest.approx(list(whole.years["said"]), rel=0.15)
