"""Composition root.

Which concrete objects does one running program hold, and how are they built from the settings?

The composition root: the service and the command line build the same objects here, once for each
tenant that somebody works in.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace

from solespan.api.author import Author
from solespan.api.clock import Clock
from solespan.api.errors import NotFound
from solespan.api.services.forecasts.fitting import BackgroundRefitter, Fitter
from solespan.api.services.forecasts.forecasting import Forecaster
from solespan.api.services.forecasts.look_back import LookBack
from solespan.api.services.forecasts.shop_settings import operator_settings
from solespan.api.services.idempotency import IdempotencyStore
from solespan.api.services.operation.retention import Sweeper
from solespan.api.settings import Settings
from solespan.api.storage.accounts.accounts import list_tenants
from solespan.api.storage.session import Database, open_database

__all__ = ["Services", "build_services"]


@dataclass(frozen=True)
class Services:
    """Everything a route or a command works with, as one tenant's."""

    settings: Settings
    clock: Clock
    database: Database
    forecaster: Forecaster
    fitter: Fitter
    refitter: BackgroundRefitter
    idempotency: IdempotencyStore
    look_back: LookBack
    tenancy: Tenancy

    def for_tenant(self, tenant_pk: int, author: Author | None = None) -> Services:
        """Return a tenant's services; `author` signs what is changed through them.

        Raises `NotFound` where there is no such tenant.
        """
        mine = self.tenancy.of(tenant_pk)
        if author is None:
            return mine
        database = self.database.for_tenant(tenant_pk, author)
        return replace(mine, database=database, idempotency=mine.idempotency.over(database))

    def each_tenant(self) -> Iterator[Services]:
        """Yield the services of every tenant."""
        with self.database.reading() as session:
            numbers = [tenant["pk"] for tenant in list_tenants(session)]
        for number in numbers:
            yield self.for_tenant(number)


class Tenancy:
    """The services of each tenant that was worked in, made once and shared by all threads."""

    def __init__(self, settings: Settings, clock: Clock, database: Database) -> None:
        self._settings, self._clock, self._database = settings, clock, database
        self._made: dict[int, Services] = {}
        self._lock = threading.Lock()
        self._wake = threading.Event()

    def of(self, tenant_pk: int) -> Services:
        """Return a tenant's services. Raises `NotFound` where there is no such tenant."""
        made = self._made.get(tenant_pk)
        if made is not None:
            return made
        with self._database.reading() as session:
            if all(tenant["pk"] != tenant_pk for tenant in list_tenants(session)):
                raise NotFound("There is no such tenant.")
        return self.make(tenant_pk)

    def make(self, tenant_pk: int) -> Services:
        """Build a tenant's services without looking whether it is there."""
        with self._lock:
            if tenant_pk not in self._made:
                self._made[tenant_pk] = self._built(tenant_pk)
            return self._made[tenant_pk]

    def _built(self, tenant_pk: int) -> Services:
        database = self._database.for_tenant(tenant_pk)
        forecaster = Forecaster(database, self._clock, operator_settings(self._settings))
        fitter = Fitter(forecaster)
        return Services(
            settings=self._settings,
            clock=self._clock,
            database=database,
            forecaster=forecaster,
            fitter=fitter,
            refitter=BackgroundRefitter(
                forecaster,
                fitter,
                everyone=self._refitters,
                wake=self._wake,
                sweep=Sweeper(database, self._clock, self._settings).sweep_if_due,
                dask_address=self._settings.dask_address,
            ),
            idempotency=IdempotencyStore(database, self._clock.now),
            look_back=LookBack(forecaster, self._settings.dask_address),
            tenancy=self,
        )

    def _refitters(self) -> Iterator[BackgroundRefitter]:
        for services in next(iter(self._made.values())).each_tenant():
            yield services.refitter


def build_services(settings: Settings, clock: Clock | None = None) -> Services:
    """Open the database (lazily) and build the first tenant's services upon it.

    `Database.close` ends them.
    """
    database = open_database(settings.database_url, wait_s=settings.database_wait_s)
    return Tenancy(settings, clock or Clock(), database).make(database.tenant_pk)
