"""Device service: which devices of a household work with the service in the home network?

The person at this machine makes a code that lets one device in: once, and for ten minutes. The
device keeps a key of 256 random bits, of which only a hash is kept here. It reads and logs; it
makes no further codes and removes nobody. A sender without a key gets nothing.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Busy, DatabaseUnavailable, NotFound, Refused
from solespan.api.services.accounts.attempts import (
    DEVICE_KEPT,
    Lane,
    begin_try,
    forget_tries,
    network_of,
)
from solespan.api.services.accounts.identity import TOUCH_EVERY, Identity
from solespan.api.services.accounts.secrets import hash_of, new_secret
from solespan.api.services.accounts.security_log import note, note_after
from solespan.api.settings import Settings
from solespan.api.storage.accounts import home_devices as stored
from solespan.api.storage.scope import FIRST_TENANT
from solespan.api.storage.session import Database

__all__ = [
    "CODE_MINUTES",
    "LONGEST_NAME",
    "WITHOUT_CERTIFICATE",
    "CodeOver",
    "HomeNetwork",
    "connect",
    "devices_of",
    "home_cookie_name",
    "home_identity",
    "make_code",
    "remove",
    "rename",
]

CODE_MINUTES = 10
LONGEST_NAME = 60
LOCAL_NAMES = frozenset({"127.0.0.1", "::1", "localhost"})
# By any of these a proxy tells that it passes on what somebody else sent.
FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
MAY = frozenset({"read", "write"})
WITHOUT_CERTIFICATE = (
    "There is no certificate: others in this network can read what a phone sends, its key "
    "included. Offline use and push messages are missing."
)


class CodeOver(Refused):
    """The code was used already, or its minutes are over."""

    title = "This code is used up"


@dataclass(frozen=True)
class HomeNetwork:
    """How devices reach the service: the address, and whether a proxy stands before it."""

    address: str
    behind_proxy: bool = False

    @property
    def over_tls(self) -> bool:
        """Whether the way to the service is encrypted."""
        return self.address.startswith("https://")

    def is_this_machine(self, peer: str, host: str, headers: Mapping[str, str]) -> bool:
        """Whether the person at this machine sends a request.

        The sender's address and the name it asks for are this machine's own. A proxy has such an
        address too, so behind one nobody is believed by the address.
        """
        if self.behind_proxy or any(name in headers for name in FORWARDED):
            return False
        with suppress(ValueError):
            return host in LOCAL_NAMES and ipaddress.ip_address(peer).is_loopback
        return False


def home_cookie_name(settings: Settings) -> str:
    """Return the name of a device's cookie; over TLS one that browsers bind to this host."""
    return "__Host-solespan-home" if settings.over_tls else "solespan_home"


def home_identity(database: Database, key: str, now: datetime) -> Identity | None:
    """Return who sends with a device's key, None where the device may not come in."""
    with database.reading() as session:
        found = stored.find_device(session, hash_of(key), FIRST_TENANT, now - DEVICE_KEPT)
    if found is None:
        return None
    if now - found["used_at"] >= TOUCH_EVERY:
        with suppress(Busy, DatabaseUnavailable), database.writing(at_once=True) as session:
            stored.touch_device(session, found["id"], now)
    return Identity(
        FIRST_TENANT, f"device {found['name']}", MAY, log_name=f"device {found['device_id']}"
    )


def make_code(session: Session, now: datetime) -> str:
    """Make a code that lets one device in; it is shown this once."""
    stored.sweep_devices(session, codes_before=now, devices_before=now - DEVICE_KEPT)
    code = new_secret()
    stored.add_code(session, hash_of(code), FIRST_TENANT, now + timedelta(minutes=CODE_MINUTES))
    note_after(session, "connection_code_made")
    return code


def connect(
    database: Database, *, code: str, name: str, address: str, old_key: str, now: datetime
) -> str:
    """Let the device in that shows a code; return its key, which it alone knows.

    Every try is counted before it is looked at. Raises `CodeOver`, `TooManyTries`.
    """
    lane = Lane.one(f"connection {network_of(address)}")
    begin_try(database, lane, now)
    key = new_secret()
    with database.writing() as session:
        good = stored.use_code(session, hash_of(code), FIRST_TENANT, now)
        if good:
            old = stored.find_device(session, hash_of(old_key), FIRST_TENANT, now - DEVICE_KEPT)
            if old is not None:  # the same device again
                stored.remove_device(session, FIRST_TENANT, old["device_id"])
            device_id = stored.add_device(
                session, token_hash=hash_of(key), tenant_pk=FIRST_TENANT, name=name, now=now
            )
            forget_tries(session, lane)
            note_after(session, "device_connected", device=device_id)
    if not good:
        note("device_refused")
        raise CodeOver(
            f"This code was used already, or is older than {CODE_MINUTES} minutes.",
            remedy="Make a new one: page Devices, on the machine that runs the service.",
        )
    return key


def devices_of(session: Session) -> list[dict[str, Any]]:
    """Return the household's devices, the one used last first."""
    return stored.list_devices(session, FIRST_TENANT)


def rename(session: Session, device_id: str, name: str) -> None:
    """Give a device another name. Raises `NotFound`."""
    if not stored.rename_device(session, FIRST_TENANT, device_id, name):
        raise _no_device()


def remove(session: Session, device_id: str) -> None:
    """Let a device in no more. Raises `NotFound`."""
    if not stored.remove_device(session, FIRST_TENANT, device_id):
        raise _no_device()
    note_after(session, "device_removed", device=device_id)


def _no_device() -> NotFound:
    return NotFound("There is no such device.", where="device_id", remedy="Look at the list.")
