"""Which shops are there, for a worker that goes from one to the next?"""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from api.storage.account_tables import Tenant

__all__ = ["tenant_numbers"]


def tenant_numbers(session: Session) -> list[int]:
    """Return the number of every tenant, in their order."""
    return list(session.execute(sa.select(Tenant.id).order_by(Tenant.id)).scalars())
