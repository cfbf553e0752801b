"""Worker service.

What runs beside the service or by itself, deciding once an hour and sending what is due?
"""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import uuid4

import structlog

from solespan.api.errors import SolespanError
from solespan.api.notices.template import TemplateRefused
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.sending import Sender, Sent
from solespan.api.services.notices.template_failure import keep_stuck
from solespan.api.services.periodic_loop import PeriodicLoop, alone
from solespan.api.storage.leases import is_free
from solespan.api.storage.notices.outbox import next_due

__all__ = ["NoticeWorker"]

log = structlog.get_logger("solespan.notices")

LEASE_NAME = "notices"
DECIDE_EVERY = timedelta(hours=1)
LOOK_EVERY_S = 30.0


class NoticeWorker(PeriodicLoop):
    """Decides and sends for every shop, in rounds; as a thread, or called by `solespan work`."""

    name = "notices"

    def __init__(self, ctx: AppContext, *, chance: Callable[[], float] | None = None) -> None:
        super().__init__()
        self._ctx = ctx
        self._chance = chance or random.SystemRandom().random
        self._worker = uuid4().hex
        self._decided: dict[int, datetime] = {}

    def turn(self) -> None:
        """Do one round; a shop where another process decided within the hour has to wait."""
        self.once(decide_anyway=False)

    def pause(self) -> None:
        """Wait until something is due, at most half a minute."""
        self._wake.wait(self._pause_s())
        self._wake.clear()

    def once(self, *, decide_anyway: bool = True) -> Sent:
        """Do one round over all shops: decide where a shop wants it, send all that is due.

        Where another process decided within the hour, nothing is decided unless `decide_anyway`.
        """
        sent = failed = later = cancelled = 0
        for shop in self._ctx.each_tenant():
            if self._stop.is_set():
                break
            self._decide(shop, anyway=decide_anyway)
            with shop.database.reading() as session:
                due_at = next_due(session)
            if due_at is None or due_at > shop.clock.now():
                continue  # claiming would make every writer wait
            sender = Sender(shop, worker=self._worker, chance=self._chance)
            did = sender.drain(self._stop.is_set)
            sent, failed = sent + did.sent, failed + did.failed
            later, cancelled = later + did.later, cancelled + did.cancelled
        return Sent(sent, failed, later, cancelled)

    def _decide(self, shop: AppContext, *, anyway: bool) -> None:
        now, number = shop.clock.now(), shop.database.tenant_pk
        last = self._decided.get(number)
        if last is not None and now - last < DECIDE_EVERY:
            return
        with shop.database.reading() as session:
            rules, _ = read_rules(session)
            free = is_free(session, LEASE_NAME, now, over_rest=anyway)
        if not rules.automatic or not free:
            return
        with alone(
            shop.database, shop.clock.now, LEASE_NAME, rest=DECIDE_EVERY, over_rest=anyway
        ) as mine:
            if mine:
                self._decided[number] = now
                _decide_alone(shop)

    def _pause_s(self) -> float:
        """Return how long nothing is due, at most half a minute."""
        soonest = LOOK_EVERY_S
        try:
            for shop in self._ctx.each_tenant():
                with shop.database.reading() as session:
                    at = next_due(session)
                if at is not None:
                    soonest = min(soonest, (at - shop.clock.now()).total_seconds())
        except SolespanError:
            return LOOK_EVERY_S  # the round itself says what is wrong
        return max(soonest, 0.2)


def _decide_alone(shop: AppContext) -> None:
    try:
        shop.forecaster.update_behind()
        report = run(shop)
    except SolespanError as problem:
        log.warning("notices_not_decided", code=problem.code, where=problem.where)
        if isinstance(problem, TemplateRefused):
            keep_stuck(shop, problem)
        return
    keep_stuck(shop, None)
    log.info("notices_decided", notices=report.notices, pairs=report.pairs)
