"""Is the fit started, watched and stored, and does the background thread do its rounds?"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.errors import NothingForecast, Refused
from solespan.api.services.forecasts.dask_runner import dask_cluster
from solespan.api.settings import Settings


def test_an_empty_database_says_what_is_missing(client, services):
    assert client.get("/v1/fit").json()["state"] == "none"
    with pytest.raises(NothingForecast, match="nothing to fit"):
        services.fitter.refit()
    state = client.get("/v1/fit").json()
    assert state["state"] == "failed"
    assert "no pair had a sole" in state["problem"]


def test_a_round_of_upkeep_on_an_empty_database_does_nothing(client, services):
    services.refitter.once()
    assert client.get("/v1/fit").json()["state"] == "none"


def test_asking_for_a_fit_is_answered_at_once_and_done_by_the_next_round(fitted, fitted_services):
    old = fitted.get("/v1/fit").json()["fit_id"]
    asked = fitted.post("/v1/fit")
    assert (asked.status_code, asked.json()["state"]) == (202, "running")
    assert fitted.get("/v1/fit").json()["state"] == "running"
    fitted_services.refitter.once()
    state = fitted.get("/v1/fit").json()
    assert state["state"] == "fitted"
    assert state["fit_id"] != old


def test_the_same_log_gives_the_same_dates_after_a_refit(fitted, fitted_services):
    before = fitted.get("/v1/forecasts", params={"limit": 200}).json()["items"]
    services = fitted_services
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    assert fitted.get("/v1/forecasts", params={"limit": 200}).json()["items"] == before


def test_a_fit_is_stale_at_once_or_after_a_day_when_the_log_changed(fitted, fitted_services, clock):
    fitter = fitted_services.fitter
    assert not fitter.is_stale(at_once=True)
    fitted.post("/v1/wear-days", json={"pair_id": "oxford", "worn_on": "2026-06-14"})
    assert fitter.is_stale(at_once=True)
    assert not fitter.is_stale(at_once=False)
    clock.move(days=1)
    assert fitter.is_stale(at_once=False)


def test_a_look_back_knows_nothing_later_and_stores_nothing(fitted, fitted_services):
    before = fitted.get("/v1/fit").json()["fit_id"]
    fit = fitted_services.fitter.fit_without_storing(date(2026, 3, 1))
    assert "2026-03-01" in fit.summary()
    assert fitted.get("/v1/fit").json()["fit_id"] == before


def test_the_background_thread_fits_by_itself_once_there_is_a_sole(new_address, clock):
    app = create_app(Settings(database_url=new_address), clock=clock)
    with TestClient(app, base_url="http://127.0.0.1:8000") as client:
        client.post("/v1/wearers", json={"wearer_id": "ada"})
        pair = {"pair_id": "p", "wearer_id": "ada", "construction": "blake"}
        client.post("/v1/pairs", json=pair)
        sole = {"sole_id": "s", "pair_id": "p", "fitted_on": "2026-01-01", "material": "rubber"}
        client.post("/v1/soles", json=sole | {"nominal_thickness_mm": 6})
        until = time.monotonic() + 300  # ends a test that hangs
        while client.get("/v1/forecasts/p").json()["state"] == "pending":
            assert time.monotonic() < until, client.get("/v1/fit").text
            time.sleep(0.05)


def test_health_tells_alive_and_ready(client):
    assert client.get("/v1/health/live").json() == {"status": "alive"}
    ready = client.get("/v1/health/ready")
    assert (ready.status_code, ready.json()["fit"]) == (200, "none")


class Stopped(BaseException):
    """What a signal raises in the middle of a fit."""


def stop_after(rounds: int):
    """A listener that stops the fit when so many rounds are done, and what it heard."""
    heard = []

    def tell(step: str, fraction: float) -> None:
        heard.append((step, fraction))
        if [s for s, _ in heard].count("noise") == rounds:
            raise Stopped

    return tell, heard


def test_a_fit_that_was_stopped_goes_on_where_it_stood(fitted, fitted_services):
    before = fitted.get("/v1/fit").json()
    stop, _ = stop_after(2)
    with pytest.raises(Stopped):
        fitted_services.fitter.refit(progress=stop)
    state = fitted.get("/v1/fit").json()
    assert (state["state"], state["fit_id"]) == ("fitted", before["fit_id"])
    never, heard = stop_after(99)
    fit = fitted_services.fitter.refit(progress=never)
    first = next(fraction for step, fraction in heard if step == "spreads")
    assert first > 0.2  # two of eight rounds were done already
    whole = fitted_services.fitter.refit()
    assert fit.params.to_dict() == pytest.approx(whole.params.to_dict(), rel=0.1, abs=0.02)


def test_a_fit_that_was_stopped_begins_anew_when_the_log_has_changed(fitted, fitted_services):
    stop, _ = stop_after(2)
    with pytest.raises(Stopped):
        fitted_services.fitter.refit(progress=stop)
    fitted.post("/v1/wear-days", json={"pair_id": "oxford", "worn_on": "2026-06-13"})
    never, heard = stop_after(99)
    fitted_services.fitter.refit(progress=never)
    assert next(fraction for step, fraction in heard if step == "spreads") < 0.1


def test_reads_and_logging_go_on_while_a_fit_runs(fitted, fitted_services):
    """Asked in the middle of the fit, from another thread, as the service does."""
    answered = []

    def ask(step: str, _: float) -> None:
        if step == "noise" and not answered:
            with ThreadPoolExecutor(1) as pool:
                read = pool.submit(fitted.get, "/v1/forecasts").result(timeout=120)
                day = {"pair_id": "oxford", "worn_on": "2026-06-12"}
                wrote = pool.submit(fitted.post, "/v1/wear-days", json=day).result(timeout=120)
            answered.extend([read.status_code, wrote.status_code])

    fitted_services.fitter.refit(progress=ask)
    assert answered == [200, 201]
    assert fitted_services.fitter.is_stale(at_once=True)  # the day logged meanwhile is not in it


@pytest.mark.slow
def test_a_fit_on_a_dask_cluster_is_stored_like_any_other(fitted, fitted_services):
    distributed = pytest.importorskip("distributed", reason="needs the extra dask")
    whole = fitted_services.fitter.refit()
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
        ) as here,
        dask_cluster(here.scheduler_address) as cluster,
    ):
        split = fitted_services.fitter.refit(cluster=cluster)
    assert split.params.to_dict() == pytest.approx(whole.params.to_dict(), rel=1e-8)
    assert fitted.get("/v1/fit").json()["state"] == "fitted"


def test_a_cluster_that_does_not_answer_is_told_by_its_address():
    pytest.importorskip("distributed", reason="needs the extra dask")
    with (
        pytest.raises(Refused, match="No Dask scheduler answers at nowhere"),
        dask_cluster("nowhere"),
    ):
        pass
