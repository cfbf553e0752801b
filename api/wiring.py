"""Which concrete objects does one running program hold, and how are they built from the settings?

The composition root: the service and the command line build the same objects here.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.clock import Clock
from api.services.fitting import Fitter, Upkeep
from api.services.forecasting import Forecaster, forecast_settings
from api.services.idempotency import Keyring
from api.settings import Settings
from api.storage.session import Database, open_database

__all__ = ["Services", "build_services"]


@dataclass(frozen=True)
class Services:
    """Everything a route or a command works with."""

    settings: Settings
    clock: Clock
    database: Database
    forecaster: Forecaster
    fitter: Fitter
    upkeep: Upkeep
    keyring: Keyring


def build_services(settings: Settings, clock: Clock | None = None) -> Services:
    """Open the database (lazily) and build the services upon it; `Database.close` ends them."""
    clock = clock or Clock()
    database = open_database(settings.database_url, wait_s=settings.database_wait_s)
    forecaster = Forecaster(database, clock, forecast_settings(settings))
    fitter = Fitter(forecaster)
    return Services(
        settings=settings,
        clock=clock,
        database=database,
        forecaster=forecaster,
        fitter=fitter,
        upkeep=Upkeep(forecaster, fitter),
        keyring=Keyring(database, clock.now),
    )
