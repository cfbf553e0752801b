"""Are forecasts made a partition at a time the same, and the tenant's own?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

import pandas as pd
import pytest

from solespan.api.services.forecasts import dask_runner, fitting, forecasting
from solespan.api.services.forecasts.dask_runner import DaskRunner, dask_cluster, spare_cluster
from solespan.api.storage.forecasts import forecast_writes
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack import copied_rows
from solespan.api.storage.rack.wearer_partitions import partitions
from solespan.forecast.panel.wearer_parts import Threads


def stored(services) -> pd.DataFrame:
    with services.database.reading() as session:
        return load_forecasts(session)


@pytest.fixture
def partitioned(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wearer is a partition of their own."""
    monkeypatch.setattr(forecasting, "FEW_WEARERS", 0)
    monkeypatch.setattr(forecasting, "PARTITION_PAIRS", 1)
    monkeypatch.setattr(fitting, "FIT_PART_PAIRS", 1)


@pytest.fixture(scope="module")
def cluster() -> Iterator[DaskRunner]:
    distributed = pytest.importorskip("distributed", reason="needs the extra dask")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=":0"
        ) as here,
        dask_cluster(here.scheduler_address) as runner,
    ):
        yield runner


def test_partitions_hold_neighbours_up_to_a_number_of_pairs():
    counts = {"a": 2, "b": 2, "c": 9, "d": 1, "e": 1}
    assert list(partitions("abcde", counts, 4)) == [["a", "b"], ["c"], ["d", "e"]]
    assert list(partitions("", counts, 4)) == []


@pytest.mark.usefixtures("partitioned")
def test_forecasts_over_dask_are_stored_as_those_made_here(fitted_services, cluster):
    forecaster = fitted_services.forecaster
    assert forecaster.update_behind(everyone=True) == 2
    here = stored(fitted_services)
    assert forecaster.update_behind(everyone=True, runner=cluster) == 2
    pd.testing.assert_frame_equal(stored(fitted_services), here, check_exact=True)
    assert not forecaster.is_behind()


@pytest.mark.usefixtures("partitioned")
def test_a_fit_over_dask_reads_the_log_part_by_part(fitted_services, cluster):
    whole, split = fitted_services.fitter.refit(), fitted_services.fitter.refit(cluster=cluster)
    assert split.params.to_dict() == pytest.approx(whole.params.to_dict(), rel=1e-6)
    assert split.n_pairs == whole.n_pairs


def test_many_rows_are_copied_as_few_are_inserted(fitted_services, monkeypatch):
    few = stored(fitted_services)
    for rows in (1, 10_000):
        monkeypatch.setattr(copied_rows, "COPY_FROM_ROWS", rows)
        monkeypatch.setattr(forecast_writes, "ROWS_PER_STATEMENT", 2)
        fitted_services.forecaster.update_behind(everyone=True)
        pd.testing.assert_frame_equal(stored(fitted_services), few, check_exact=True)


def test_rows_that_are_copied_stay_the_tenants(fitted_services, monkeypatch):
    monkeypatch.setattr(copied_rows, "COPY_FROM_ROWS", 1)
    other = fitted_services.database.for_tenant(fitted_services.database.tenant_pk + 1)
    fitted_services.forecaster.update_behind(everyone=True)
    with other.reading() as session:
        assert load_forecasts(session).empty


@pytest.mark.usefixtures("partitioned")
def test_who_logs_while_forecasts_are_made_keeps_the_newer_ones(fitted, fitted_services):
    class Slow(Threads):
        logged = False

        def gather(self, parts):
            if not self.logged:
                self.logged = True
                day = {"pair_id": "oxford", "worn_on": "2026-06-13"}
                assert fitted.post("/v1/wear-days", json=day).status_code == 201
            return parts

    fitted_services.forecaster.update_behind(everyone=True, runner=Slow())
    assert not fitted_services.forecaster.is_behind()


def test_no_names_of_people_go_to_other_machines(fitted, fitted_services, bodies):
    class Spy(Threads):
        seen: ClassVar[list[pd.DataFrame]] = []

        def hold(self, parts):
            self.seen += [part.wearers for part in parts]
            return parts

    person = {"wearer_id": "cleo", "name": "Cleo", "email": "cleo@example.org"}
    for path, body in (
        ("wearers", person),
        ("pairs", bodies["pairs"] | {"wearer_id": "cleo"}),
        ("soles", bodies["soles"] | {"pair_id": "monk"}),
    ):
        assert fitted.post(f"/v1/{path}", json=body).status_code == 201
    fitted_services.forecaster.update_behind(everyone=True, runner=Spy())
    fitted_services.fitter.refit(cluster=Spy())
    assert [set(seen["wearer_id"]) for seen in Spy.seen] == [{"ada", "ben", "cleo"}] * 2
    for seen in Spy.seen:
        assert seen[["name", "email"]].isna().all(axis=None)


def test_the_background_works_alone_without_a_scheduler_or_on_little(monkeypatch):
    pytest.importorskip("distributed", reason="needs the extra dask")
    for address, many in ((None, 10_000), ("tcp://127.0.0.1:1", dask_runner.LEAST_WEARERS - 1)):
        with spare_cluster(address, lambda many=many: many) as runner:
            assert runner is None
    with spare_cluster("nowhere", lambda: 10_000) as runner:
        assert runner is None
