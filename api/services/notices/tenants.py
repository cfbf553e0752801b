"""Which shop's notices is a program working on, and how does it go to another's?"""

from __future__ import annotations

from collections.abc import Iterator

from api.errors import NotFound
from api.wiring import Services

__all__ = ["each_tenant", "for_tenant", "tenant_number"]


def tenant_number(serving: Services) -> int:
    """Return the number of the shop that these services work for."""
    return serving.database.tenant_pk


def for_tenant(serving: Services, number: int) -> Services | None:
    """Return the services of another shop, or None where there is no such shop."""
    try:
        return serving.for_tenant(number)
    except NotFound:
        return None


def each_tenant(serving: Services) -> Iterator[Services]:
    """Yield the services of every shop."""
    yield from serving.each_tenant()
