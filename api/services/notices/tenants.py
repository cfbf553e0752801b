"""Which shop's notices is a program working on, and how does it go to another's?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from api.services.fitting import Fitter, Upkeep
from api.services.forecasting import Forecaster, forecast_settings
from api.services.idempotency import Keyring
from api.storage.audit import Author
from api.storage.notices_tenants import tenant_numbers
from api.wiring import Services

__all__ = ["each_tenant", "for_tenant", "tenant_number"]

_CUSTOMER = Author("customer", "answered a notice")


def tenant_number(serving: Services) -> int:
    """Return the number of the shop that these services work for."""
    return serving.database.tenant_pk


def for_tenant(serving: Services, number: int) -> Services | None:
    """Return the services of another shop for its customers, or None where there is none."""
    if number not in _numbers(serving):
        return None
    return _services_of(serving, number, _CUSTOMER)


def each_tenant(serving: Services) -> Iterator[Services]:
    """Yield the services of every shop."""
    for number in _numbers(serving):
        yield serving if number == tenant_number(serving) else _services_of(serving, number, None)


def _numbers(serving: Services) -> list[int]:
    with serving.database.reading() as session:
        return tenant_numbers(session)


def _services_of(serving: Services, number: int, author: Author | None) -> Services:
    database = serving.database.for_tenant(number, author)
    forecaster = Forecaster(database, serving.clock, forecast_settings(serving.settings))
    fitter = Fitter(forecaster)
    return replace(
        serving,
        database=database,
        forecaster=forecaster,
        fitter=fitter,
        upkeep=Upkeep(forecaster, fitter),
        keyring=Keyring(database, serving.clock.now),
    )
