"""Which shop's notices is a program working on, and how does it go to another's?"""

from __future__ import annotations

from collections.abc import Iterator

from api.errors import NotFound
from api.storage.audit import Author
from api.wiring import Services

__all__ = ["each_tenant", "for_tenant", "tenant_number"]

# Whoever holds a notice's link; which customer that is stands with the notice.
_CUSTOMER = Author("a customer", "answered a notice")


def tenant_number(serving: Services) -> int:
    """Return the number of the shop that these services work for."""
    return serving.database.tenant_pk


def for_tenant(serving: Services, number: int) -> Services | None:
    """Return the services of a shop for one of its customers, or None where there is none."""
    try:
        return serving.for_tenant(number, _CUSTOMER)
    except NotFound:
        return None


def each_tenant(serving: Services) -> Iterator[Services]:
    """Yield the services of every shop."""
    yield from serving.each_tenant()
