"""Retention sweep: what is too old to keep, and when was it last swept away?"""

from __future__ import annotations

from datetime import datetime, timedelta

import structlog

from solespan.api.clock import Clock
from solespan.api.services.accounts import attempts
from solespan.api.services.idempotency import KEPT
from solespan.api.services.rack.history import HISTORY_DAYS
from solespan.api.settings import Settings
from solespan.api.storage import retention
from solespan.api.storage.accounts.accounts import sweep_invitations
from solespan.api.storage.accounts.credentials import sweep_sessions
from solespan.api.storage.accounts.home_devices import sweep_devices
from solespan.api.storage.audit import forget_audit_before
from solespan.api.storage.idempotency_keys import forget_answers_before
from solespan.api.storage.leases import NOBODY, forget_leases_before, take_lease
from solespan.api.storage.notices.hook_events import forget_events_before
from solespan.api.storage.rack.revisions import forget_history_before
from solespan.api.storage.session import Database

__all__ = ["Sweeper"]

log = structlog.get_logger("solespan.retention")

SWEEP_EVERY = timedelta(days=1)


class Sweeper:
    """Takes away what one tenant need not keep any more, at most once a day."""

    def __init__(self, database: Database, clock: Clock, settings: Settings) -> None:
        self._database, self._clock, self._settings = database, clock, settings
        self._swept_at: datetime | None = None

    def sweep_if_due(self) -> None:
        """Sweep unless that was done within a day, by this process or another."""
        now = self._clock.now()
        if self._swept_at is None or now - self._swept_at >= SWEEP_EVERY:
            self.sweep(if_due=True)
            self._swept_at = now

    def sweep(self, *, if_due: bool = False) -> dict[str, int]:
        """Sweep in one transaction; return how many entries went, by what they are.

        With `if_due` nothing is swept where another process did it within a day.
        """
        now, kept = self._clock.now(), self._settings

        def days(count: int) -> datetime:
            return now - timedelta(days=count)

        with self._database.writing() as session:
            until = now + SWEEP_EVERY
            due = take_lease(session, "sweep", owner=NOBODY, now=now, until=until)
            if if_due and not due:
                return {}
            gone = {
                "audit": forget_audit_before(session, days(kept.keep_audit_days)),
                "notices": retention.empty_notices_before(
                    session, days(kept.keep_sent_notices_days)
                ),
                "imports": retention.empty_import_reports_before(
                    session, days(kept.keep_import_reports_days)
                ),
                "plans": retention.forget_plans_before(session, days(kept.keep_plans_days)),
                "history": forget_history_before(session, days(HISTORY_DAYS)),
                "consents": retention.forget_withdrawn_before(
                    session, days(kept.keep_withdrawn_consents_days)
                ),
            }
            forget_events_before(session, days(kept.keep_sent_notices_days))
            forget_answers_before(session, now - KEPT)
            sweep_sessions(session, now - timedelta(hours=kept.session_idle_hours))
            attempts.sweep(session, now)
            sweep_devices(session, codes_before=now, devices_before=now - attempts.DEVICE_KEPT)
            forget_leases_before(session, now - SWEEP_EVERY)
            sweep_invitations(session, now)
        if any(gone.values()):
            log.info("swept", **gone)
        return gone
