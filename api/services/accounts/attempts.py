"""Attempt limits: may this sender try another password or code now?

A try is counted before the password is looked at, in one transaction: senders at the same moment
cannot pass together. A refused try is not counted.

* A known device, where the person signed in before, has a limit of its own and no other.
* Anybody else has three: the account at this address, the account, and the address.

So strangers never lock a member out, and one address never locks out the others behind it. After
the free tries each further one doubles the wait.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from solespan.api.errors import SolespanError
from solespan.api.services.accounts.secrets import hash_of
from solespan.api.storage.accounts import attempts
from solespan.api.storage.session import Database

__all__ = [
    "DEVICE_KEPT",
    "Lane",
    "TooManyTries",
    "begin_try",
    "forget_tries",
    "network_of",
    "sweep",
]

FORGOTTEN_AFTER = timedelta(hours=1)
DEVICE_KEPT = timedelta(days=400)  # browsers keep no cookie longer
IPV6_PREFIX = 64  # one subscriber has so many addresses
COUNTER_OF_TWO = 20


class TooManyTries(SolespanError):
    """The sender guessed too often; `wait_s` seconds must pass."""

    code = "too-many-tries"

    def __init__(self, wait: timedelta, what: str = "Too many passwords were wrong.") -> None:
        self.wait_s = max(1, round(wait.total_seconds()))
        super().__init__(what, remedy=f"Wait {self.wait_s} seconds, then try again.")


@dataclass(frozen=True)
class _Limit:
    free: int
    longest: timedelta

    def wait(self, tries: tuple[int, datetime] | None, now: datetime) -> timedelta:
        """Return how long to wait for the next try; nothing = try."""
        if tries is None or tries[0] < self.free:
            return timedelta(0)
        doubled = timedelta(seconds=2.0 ** min(tries[0] - self.free, COUNTER_OF_TWO))
        return max(tries[1] + min(doubled, self.longest) - now, timedelta(0))


OWN = _Limit(5, timedelta(minutes=15))
SHARED = _Limit(50, timedelta(minutes=1))


@dataclass(frozen=True)
class Lane:
    """What one sender's tries are counted by: limits by key. The first key is the sender's own."""

    limits: Mapping[str, _Limit]
    known: bool = True

    @property
    def own(self) -> str:
        """The key whose failures a right password forgets."""
        return next(iter(self.limits))

    @classmethod
    def of(cls, email: str, address: str, known_device_hash: str | None) -> Lane:
        """Return the lane of somebody who signs in to an account."""
        if known_device_hash is not None:
            return cls({hash_of(f"device {known_device_hash} {email}"): OWN})
        network = network_of(address)
        return cls(
            {
                hash_of(f"{email} {network}"): OWN,
                hash_of(f"account {email}"): SHARED,
                hash_of(network): SHARED,
            },
            known=False,
        )

    @classmethod
    def of_code(cls, email: str, known_device_hash: str | None) -> Lane:
        """Return the lane of somebody who knows the password and types a code.

        A code is short, so strangers together have no more tries than one device.
        """
        known = known_device_hash is not None
        return cls({hash_of(f"code {known_device_hash or 'of a stranger'} {email}"): OWN}, known)

    @classmethod
    def one(cls, name: str) -> Lane:
        """Return a lane with one limit, of somebody who is in already."""
        return cls({hash_of(name): OWN})


def network_of(address: str) -> str:
    """Return what one subscriber is counted by: an address, or a network of addresses."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if parsed.version == 4:
        return address
    return str(ipaddress.ip_network((parsed, IPV6_PREFIX), strict=False))


def begin_try(database: Database, lane: Lane, now: datetime) -> None:
    """Count one try before it is looked at. Raises `TooManyTries` where it must wait."""
    database = database.for_tenant(database.tenant_pk)  # a try is no change that anybody signs
    with database.reading() as session:  # most who must wait do so without a write
        _refuse_while_waiting(lane, attempts.tries_of(session, lane.limits), now)
    with database.writing() as session:
        _refuse_while_waiting(lane, attempts.lock_tries(session, lane.limits, now), now)
        attempts.count_tries(session, lane.limits, now)


def _refuse_while_waiting(
    lane: Lane, tries: Mapping[str, tuple[int, datetime]], now: datetime
) -> None:
    wait = max(limit.wait(tries.get(key), now) for key, limit in lane.limits.items())
    if wait:
        raise TooManyTries(wait)


def forget_tries(session: Session, lane: Lane) -> None:
    """Forget the sender's failures, as the password was right; a shared limit loses this try."""
    attempts.clear_tries(session, [lane.own])
    attempts.take_back_tries(session, [key for key in lane.limits if key != lane.own])


def sweep(session: Session, now: datetime) -> None:
    """Delete failures and devices that are too old to matter."""
    attempts.sweep_attempts(
        session, tries_before=now - FORGOTTEN_AFTER, devices_before=now - DEVICE_KEPT
    )
