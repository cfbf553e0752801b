"""Sending service.

How does a worker take notices from the outbox, send them, and mark what became of each?

A claim, and each mark, is a transaction of its own. Sending lies between them. So a worker that
dies loses nothing: its rows are claimed again when their lease ends. A notice that was sent and not
marked is sent again with the same Message-ID.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass
from datetime import time, timedelta
from typing import Any

import structlog

from solespan.api.channels import CHANNELS
from solespan.api.channels.message import Channel, DeliveryError, Message, Picture
from solespan.api.channels.retry import next_try
from solespan.api.logs import places_of
from solespan.api.notices.quiet import first_allowed, zone_of
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.delivery_config import channels_of
from solespan.api.services.notices.pictures import pictures_in
from solespan.api.storage.notices import outbox
from solespan.api.storage.notices.consents import address_hash, load_stopped, stop_address

__all__ = ["BAD_ADDRESS", "Sender", "Sent"]

log = structlog.get_logger("solespan.notices")

LEASE = timedelta(minutes=10)
LONGEST_SEND = timedelta(minutes=2)  # longer than any channel waits for its server
BATCH = 20
BAD_ADDRESS = "the address takes no notices"


@dataclass(frozen=True)
class Sent:
    """What one batch came to."""

    sent: int = 0
    failed: int = 0
    later: int = 0
    cancelled: int = 0

    @property
    def handled(self) -> int:
        """How many rows were looked at."""
        return self.sent + self.failed + self.later + self.cancelled

    def __add__(self, other: Sent) -> Sent:
        """Add the counts of two batches."""
        return Sent(*(a + b for a, b in zip(astuple(self), astuple(other), strict=True)))

    def __sub__(self, other: Sent) -> Sent:
        """Take the counts of an earlier moment away."""
        return Sent(*(a - b for a, b in zip(astuple(self), astuple(other), strict=True)))


class Sender:
    """Sends one shop's notices under the name of one worker.

    Parameters
    ----------
    worker : str
        Unlike that of any other worker alive.
    chance : callable
        Returns a number from 0 to 1, to spread retries.
    lease, batch
        How long a claim holds, and how many rows it takes.
    channels : dict, optional
        In the place of the register's; tests give their own.
    """

    def __init__(
        self,
        ctx: AppContext,
        *,
        worker: str,
        chance: Callable[[], float],
        lease: timedelta = LEASE,
        longest_send: timedelta = LONGEST_SEND,
        batch: int = BATCH,
        channels: dict[str, Channel] | None = None,
    ) -> None:
        self._ctx = ctx
        self._worker = worker
        self._chance = chance
        self._lease = lease
        self._longest_send = longest_send
        self._batch = batch
        self._given = channels
        self._made: tuple[int, dict[str, Channel]] | None = None

    def once(self, stop: Callable[[], bool] = lambda: False) -> Sent:
        """Send one batch of what is due; what is left when `stop` says so is given back."""
        clock = self._ctx.clock
        until = clock.now() + self._lease
        with self._ctx.database.writing() as session:
            rules, version = read_rules(session)
            channels = self._channels(rules, version)
            rows = outbox.claim(
                session,
                worker=self._worker,
                now=clock.now(),
                lease_until=until,
                limit=self._batch,
            )
            hashes = {r["id"]: address_hash(r["address"]) for r in rows if r["address"]}
            stopped = load_stopped(session, set(hashes.values())) if hashes else {}
        counts = dict.fromkeys(("sent", "failed", "later", "cancelled"), 0)
        for i, row in enumerate(rows):
            if (i and stop()) or clock.now() + self._longest_send > until:
                with self._ctx.database.writing() as session:
                    outbox.release(session, [r["id"] for r in rows[i:]], self._worker)
                break
            row["stopped"] = hashes.get(row["id"], "") in stopped
            counts[self._one(row, channels, rules)] += 1
        return Sent(**counts)

    def drain(self, stop: Callable[[], bool] = lambda: False) -> Sent:
        """Send until nothing is due or `stop` says so; then close the channels."""
        total = Sent()
        try:
            while not stop():
                now = self.once(stop)
                if not now.handled:
                    break
                total += now
        finally:
            self.close()
        return total

    def close(self) -> None:
        """Close what the channels hold open."""
        for channel in (self._made[1] if self._made else self._given or {}).values():
            channel.close()

    def _channels(self, rules: Any, version: int) -> dict[str, Channel]:
        if self._given is not None:
            return self._given
        if self._made is None or self._made[0] != version:
            self.close()
            self._made = (version, channels_of(self._ctx, rules))
        return self._made[1]

    def _one(self, row: dict[str, Any], channels: dict[str, Channel], rules: NoticeRules) -> str:
        channel = channels.get(row["channel"])
        why = _not_any_more(row) if channel is not None else "this channel is no longer there"
        if channel is None or why:
            return self._mark(row, "cancelled", problem=why)
        now = self._ctx.clock.now()
        quiet = [time.fromisoformat(t) for t in (rules.quiet_from, rules.quiet_to)]
        at = first_allowed(now, zone_of(row["time_zone"]), *quiet)
        if at > now:  # it was decided, or failed, before the quiet hours it has come into
            with self._ctx.database.writing() as session:
                outbox.release(session, [row["id"]], self._worker, not_before=at)
            return "later"
        try:
            self._send(row, channel)
        except DeliveryError as failure:
            return self._failed(row, failure)
        return self._mark(row, "sent", problem=None)

    def _send(self, row: dict[str, Any], channel: Channel) -> None:
        if channel.missing:
            raise DeliveryError(channel.missing, permanent=False)
        if channel.needs_address and row["stopped"]:
            raise DeliveryError(BAD_ADDRESS, permanent=True)
        try:
            channel.send(_message(row, self._pictures(row)))
        except DeliveryError:
            raise
        except Exception as failure:  # noqa: BLE001 - a fault of ours must not end the worker
            log.error("channel_failed", channel=row["channel"], **places_of(failure))  # noqa: TRY400
            raise DeliveryError(
                f"the program failed ({type(failure).__name__}); its log says where",
                permanent=False,
            ) from None

    def _pictures(self, row: dict[str, Any]) -> list[Picture]:
        if "html" not in CHANNELS[row["channel"]].parts:
            return []
        with self._ctx.database.reading() as session:
            return pictures_in(session, row["payload"])

    def _failed(self, row: dict[str, Any], failure: DeliveryError) -> str:
        now = self._ctx.clock.now()
        at = None
        if not failure.permanent:
            rule = CHANNELS[row["channel"]].retry
            at = next_try(now, row["made_at"], row["attempts"], self._chance(), rule)
        if at is not None:
            return self._mark(row, "pending", problem=failure.reason, next_try_at=at)
        bad = row["address"] if failure.bad_address else None
        return self._mark(row, "failed", problem=failure.reason, bad_address=bad)

    def _mark(
        self, row: dict[str, Any], state: str, *, bad_address: str | None = None, **values: Any
    ) -> str:
        now = self._ctx.clock.now()
        if state != "pending":
            values["done_at"] = now
        with self._ctx.database.writing() as session:
            mine = outbox.finish(session, row["id"], self._worker, state=state, **values)
            if bad_address is not None:
                stop_address(session, bad_address, str(values["problem"]), now)
        log.info("notice", state=state, channel=row["channel"], attempt=row["attempts"], held=mine)
        return "later" if state == "pending" else state


def _not_any_more(row: dict[str, Any]) -> str:
    """Say why a notice is no longer wanted; empty = it is."""
    if not row["consented"]:
        return "the consent was withdrawn"
    if row["settled"]:
        return outbox.SETTLED
    # One that may have gone out is not taken apart: its other pairs would be told again.
    return outbox.OVERTAKEN if row["overtaken"] and not row["resumed"] else ""


def _message(row: dict[str, Any], pictures: Sequence[Picture]) -> Message:
    parts = CHANNELS[row["channel"]].parts
    words = {p: row["payload"][p] if p in parts else "" for p in ("subject", "text", "html")}
    return Message(
        message_id=row["message_id"],
        notice_id=row["notice_id"],
        made_at=row["made_at"],
        customer_id=row["wearer_id"],
        customer_name=row["name"] or "",
        address=row["address"],
        unsubscribe_url=row["payload"]["unsubscribe"],
        pairs=row["payload"]["pairs"],
        pictures=pictures,
        **words,
    )
