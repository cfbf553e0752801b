"""Application context: what does a service work with, as one tenant's?

A protocol that the composition root fulfils, so that no service knows how its parts are built.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from solespan.api.author import Author
from solespan.api.clock import Clock
from solespan.api.services.forecasts.fitting import BackgroundRefitter, Fitter
from solespan.api.services.forecasts.forecasting import Forecaster
from solespan.api.services.forecasts.look_back import LookBack
from solespan.api.services.idempotency import IdempotencyStore
from solespan.api.settings import Settings
from solespan.api.storage.session import Database

__all__ = ["AppContext"]


class AppContext(Protocol):
    """Everything a route, a command or a service works with, as one tenant's."""

    @property
    def settings(self) -> Settings:
        """Settings of the program."""
        ...

    @property
    def clock(self) -> Clock:
        """Clock of the program."""
        ...

    @property
    def database(self) -> Database:
        """Database, in the tenant's scope."""
        ...

    @property
    def forecaster(self) -> Forecaster:
        """Forecasts from the stored fit."""
        ...

    @property
    def fitter(self) -> Fitter:
        """Fits of the tenant's log."""
        ...

    @property
    def refitter(self) -> BackgroundRefitter:
        """Thread that keeps fits and forecasts current."""
        ...

    @property
    def idempotency(self) -> IdempotencyStore:
        """Kept answers of requests with an idempotency key."""
        ...

    @property
    def look_back(self) -> LookBack:
        """Look back at past forecasts."""
        ...

    def for_tenant(self, tenant_pk: int, author: Author | None = None) -> AppContext:
        """Return a tenant's context; `author` signs changes. Raises `NotFound`."""
        ...

    def each_tenant(self) -> Iterator[AppContext]:
        """Yield the context of every tenant."""
        ...
