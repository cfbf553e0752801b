"""Which rack do the tests of planning over HTTP and from the terminal work on?"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pandas as pd
import pytest
from fastapi.testclient import TestClient

from solespan.api.app import create_app
from solespan.api.services.forecasts.forecasting import no_rows
from solespan.api.settings import Settings
from solespan.api.wiring import Services
from tests.api.planning.racks import services_on
from tests.dashboards.builders import Rack
from tests.dashboards.storing import store
from tests.databases import Databases
from tests.forecast.builders import log_of, rack, together

BASE = "http://127.0.0.1:8000"


@pytest.fixture(scope="session")
def fitted_rack(databases: Databases) -> str:
    """Ada's four pairs, one of them away and one retired, and Ben's two; fitted and forecast."""
    address = databases.copy()
    frames = together(rack(4), rack(2, wearer_id="ben", seed=6))
    frames["pairs"]["label"] = [f"No; {i}\nEND:VEVENT" for i in range(len(frames["pairs"]))]
    frames["soles"]["removed_on"] = pd.NaT
    frames["soles"].loc[3, "removed_on"] = pd.Timestamp("2026-06-25")
    frames["bench_jobs"] = pd.DataFrame(
        {
            "job_id": ["job-1"],
            "pair_id": ["ada-2"],
            "work": ["top_piece"],
            "received_on": [pd.Timestamp("2026-06-25")],
            "promised_on": [pd.Timestamp("2026-07-10")],
        }
    )
    services = services_on(address)
    store(services.database, Rack(log_of(frames), no_rows(), pd.DataFrame()))
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)
    services.database.close()
    return address


@pytest.fixture(scope="session")
def _running(databases: Databases) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=databases.copy()), background=False)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def rack_address(own_database: Callable[..., str], fitted_rack: str) -> str:
    return own_database(fitted_rack)


@pytest.fixture
def services(_running: TestClient, rack_address: str) -> Iterator[Services]:
    services = services_on(rack_address)
    _running.app.state.services = services
    yield services
    services.database.close()


@pytest.fixture
def client(_running: TestClient, services: Services) -> TestClient:
    del services
    _running.cookies.clear()
    return _running
