"""Which shop's notices is a program working on, and how does it go to another's?"""

from __future__ import annotations

from collections.abc import Iterator

from solespan.api.errors import NotFound
from solespan.api.services.context import AppContext
from solespan.api.storage.audit import Author

__all__ = ["each_tenant", "for_tenant", "tenant_number"]

# Whoever holds a notice's link; which customer that is stands with the notice.
_CUSTOMER = Author("a customer", "answered a notice")


def tenant_number(ctx: AppContext) -> int:
    """Return the number of the shop that these services work for."""
    return ctx.database.tenant_pk


def for_tenant(ctx: AppContext, number: int) -> AppContext | None:
    """Return the services of a shop for one of its customers, or None where there is none."""
    try:
        return ctx.for_tenant(number, _CUSTOMER)
    except NotFound:
        return None


def each_tenant(ctx: AppContext) -> Iterator[AppContext]:
    """Yield the services of every shop."""
    yield from ctx.each_tenant()
