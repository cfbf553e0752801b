"""Health measures: what waits, what failed, and how old is what one tenant's pages show?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.accounts import AuditEntry
from solespan.api.storage.tables.notices import Outbox
from solespan.api.storage.tables.rack import Wearer
from solespan.api.storage.tables.results import ForecastRow

__all__ = ["ShopHealth", "clock_of_server", "measure", "time_zones"]

SEVERAL_ATTEMPTS = 3  # a notice that still waits after so many counts as failed
_OUTBOX: sa.Table = Outbox.__table__  # type: ignore[assignment]
_ROWS: sa.Table = ForecastRow.__table__  # type: ignore[assignment]
_AUDIT: sa.Table = AuditEntry.__table__  # type: ignore[assignment]
_WEARERS: sa.Table = Wearer.__table__  # type: ignore[assignment]


@dataclass(frozen=True)
class ShopHealth:
    """What one tenant's rows say: the oldest notice that is due, failures, the oldest forecast."""

    oldest_due_at: datetime | None
    failed: dict[str, int]
    oldest_forecast: date | None
    newest_change_at: datetime | None


def measure(session: Session, *, now: datetime, failed_since: datetime) -> ShopHealth:
    """Measure one tenant: four short statements."""
    out = _OUTBOX.c
    waiting = (out.state == "pending") & (out.next_try_at <= now)
    left = (out.state == "claimed") & (out.lease_until < now)
    oldest = sa.select(sa.func.min(out.next_try_at)).where(waiting | left)
    failed = (
        sa.select(out.channel, sa.func.count())
        .where(
            ((out.state == "failed") & (out.done_at >= failed_since))
            | ((out.state == "pending") & (out.attempts >= SEVERAL_ATTEMPTS))
        )
        .group_by(out.channel)
    )
    forecast = sa.select(sa.func.min(_ROWS.c.as_of)).where(_ROWS.c.band.is_distinct_from("retired"))
    return ShopHealth(
        oldest_due_at=session.scalar(oldest),
        failed={row[0]: row[1] for row in session.execute(failed)},
        oldest_forecast=session.scalar(forecast),
        newest_change_at=session.scalar(sa.select(sa.func.max(_AUDIT.c.at))),
    )


def time_zones(session: Session) -> set[str]:
    """Return the time zones of a tenant's wearers."""
    zones = session.scalars(sa.select(_WEARERS.c.time_zone).distinct())
    return {zone for zone in zones if zone}


def clock_of_server(session: Session) -> datetime | None:
    """Return the database server's time; None where there is no server."""
    if session.get_bind().dialect.name != "postgresql":
        return None
    return session.scalar(sa.select(sa.func.clock_timestamp()))
