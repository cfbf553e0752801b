"""Worker service.

What runs beside the service or by itself, deciding once an hour and sending what is due?

Each shop has a line of its own, and a few threads serve the shops in turn. A shop whose server is
slow takes one of them for one sending at a time, and waits for its next turn like all others.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Event, Lock
from uuid import uuid4

import structlog

from solespan.api.errors import SolespanError
from solespan.api.notices.template import TemplateRefused
from solespan.api.services.context import AppContext
from solespan.api.services.notices import booking_delivery
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.deciding import run
from solespan.api.services.notices.fair_pool import FairPool
from solespan.api.services.notices.hooks import delivery as hook_delivery
from solespan.api.services.notices.sending import Sender, Sent
from solespan.api.services.notices.template_failure import keep_stuck
from solespan.api.services.periodic_loop import PeriodicLoop, alone
from solespan.api.services.planning import reminder_delivery
from solespan.api.storage.leases import is_free
from solespan.api.storage.notices.outbox import next_due

__all__ = ["NoticeWorker"]

log = structlog.get_logger("solespan.notices")

LEASE_NAME = "notices"
DECIDE_EVERY = timedelta(hours=1)
LOOK_EVERY_S = 30.0
THREADS = 8
# What is sent beside notices: when the next one is due, and the round that sends it.
ROUNDS = (
    (reminder_delivery.next_round, reminder_delivery.remind),
    (booking_delivery.next_round, booking_delivery.send_booking_mails),
    (hook_delivery.next_round, hook_delivery.send_events),
)
TURN_S = 2.0  # after so long a shop sends no further notice in this turn
ROUND_S = 2.0  # the same of each round


@dataclass
class _RoundTime:
    """Time of one round: is it over, and was the round cut short by it?"""

    stop: Event
    end: float
    begun: bool = False
    cut: bool = False

    def over(self) -> bool:
        """Whether to begin nothing more; the first step of a round is always taken."""
        first, self.begun = not self.begun, True
        if self.stop.is_set():
            return True
        self.cut = self.cut or (not first and time.monotonic() > self.end)
        return self.cut


class NoticeWorker(PeriodicLoop):
    """Decides and sends for every shop, in turns; as a thread, or called by `solespan work`."""

    name = "notices"

    def __init__(
        self,
        ctx: AppContext,
        *,
        chance: Callable[[], float] | None = None,
        threads: int = THREADS,
    ) -> None:
        super().__init__()
        self._ctx = ctx
        self._chance = chance or random.SystemRandom().random
        self._worker = uuid4().hex
        self._decided: dict[int, datetime] = {}
        self._pool = FairPool(self._turn_of, threads)
        self._sent = Sent()
        self._lock = Lock()
        self._anyway = False  # whether to decide where another process did so within the hour

    def turn(self) -> None:
        """Let every shop that has something to do wait for its turn; wait for none."""
        for shop in self._ctx.each_tenant():
            if self._stop.is_set():
                return
            if self._may_decide(shop) or self._is_due(shop) or self._has_round(shop):
                self._pool.offer(shop.database.tenant_pk)

    def pause(self) -> None:
        """Wait until something is due, at most half a minute."""
        self._wake.wait(self._pause_s())
        self._wake.clear()

    def once(self, *, decide_anyway: bool = True) -> Sent:
        """Do one round over all shops: decide where a shop wants it, send all that is due.

        Where another process decided within the hour, nothing is decided unless `decide_anyway`.
        """
        before, self._anyway = self._sent, decide_anyway
        self.turn()
        self._pool.wait_until_idle()
        self._anyway = False
        return self._sent - before

    def stop(self, timeout_s: float = 60.0) -> None:
        """Begin nothing new, and wait for what is being sent; what is left is sent again later."""
        super().stop(timeout_s)
        self._pool.end()
        self._pool.join(timeout_s)

    def _turn_of(self, number: int) -> bool:
        """Do a shop's turn; return whether more of it is due."""
        shop = self._ctx.for_tenant(number)
        self._decide(shop)
        more = False
        for _, send in ROUNDS:
            left = _RoundTime(self._stop, time.monotonic() + ROUND_S)
            send(shop, left.over, self._chance)
            more = more or left.cut
        if not self._is_due(shop):
            return more  # claiming would make every writer wait
        end = time.monotonic() + TURN_S
        sender = Sender(shop, worker=self._worker, chance=self._chance)
        did = sender.drain(lambda: self._stop.is_set() or time.monotonic() > end)
        with self._lock:
            self._sent += did
        return more or did.handled > 0

    def _is_due(self, shop: AppContext) -> bool:
        with shop.database.reading() as session:
            at = next_due(session)
        return at is not None and at <= shop.clock.now()

    def _has_round(self, shop: AppContext) -> bool:
        with shop.database.reading() as session:
            moments = [when(session) for when, _ in ROUNDS]
        return any(at is not None and at <= shop.clock.now() for at in moments)

    def _may_decide(self, shop: AppContext) -> bool:
        last = self._decided.get(shop.database.tenant_pk)
        return last is None or shop.clock.now() - last >= DECIDE_EVERY

    def _decide(self, shop: AppContext) -> None:
        if not self._may_decide(shop):
            return
        now, number = shop.clock.now(), shop.database.tenant_pk
        with shop.database.reading() as session:
            rules, _ = read_rules(session)
            free = is_free(session, LEASE_NAME, now, over_rest=self._anyway)
        if not rules.automatic or not free:
            return
        with alone(
            shop.database, shop.clock.now, LEASE_NAME, rest=DECIDE_EVERY, over_rest=self._anyway
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
                    moments = [next_due(session), *(when(session) for when, _ in ROUNDS)]
                for at in filter(None, moments):
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
