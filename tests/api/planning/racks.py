"""How do the tests of planning open a database at their own time?"""

from __future__ import annotations

from datetime import UTC, datetime

from solespan.api.clock import Clock
from solespan.api.settings import Settings
from solespan.api.wiring import Services, build_services

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


def services_on(address: str) -> Services:
    """Build the services upon a database, at noon of a day after the rack's last wear."""
    return build_services(Settings(database_url=address), Clock(lambda: NOW))
