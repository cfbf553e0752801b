"""Operator's checks: what is wrong with this installation, and what is to do about it?

Each check reads settings, disks and the database, and changes nothing. `wrong` needs work now,
`warning` soon.
"""

from __future__ import annotations

import shutil
import socket
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Literal

from solespan.api.clock import is_time_zone
from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.delivery_config import problems_of
from solespan.api.settings import Settings
from solespan.api.storage.backup.folder import backups_in
from solespan.api.storage.engine import SAFE_SQLITE, owns_tables, parsed_url
from solespan.api.storage.health import clock_of_server, measure, time_zones
from solespan.api.storage.schema import newest_revision, refuse_newer, refuse_unbound_role
from solespan.api.storage.schema import revision_of as schema_revision

__all__ = ["Finding", "examine", "of_error"]

State = Literal["ok", "warning", "wrong"]
LEAST_FREE_BYTES = 200 * 1024**2
LITTLE_FREE_BYTES = 1024**3
MOST_CLOCK_DIFFERENCE = timedelta(seconds=5)
OLD_OUTBOX = timedelta(hours=1)
OLD_FORECAST_DAYS = 2
FAILED_WITHIN = timedelta(days=7)
FEW_CHARACTERS = 12  # a random secret of 32 characters has more different ones
CONNECT_S = 5.0
HOW_TO_MAKE_A_KEY = (
    'Set SOLESPAN_SECRET_KEY: python3 -c "import secrets; print(secrets.token_urlsafe(32))"'
)


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at: how it is, and what to do."""

    subject: str
    state: State
    what: str
    remedy: str = ""


def examine(ctx: AppContext) -> Iterator[Finding]:
    """Look at everything; a database that cannot be used ends it early."""
    settings = ctx.settings
    yield from _network(settings)
    yield from _secrets(settings)
    yield from _mail_server(settings)
    yield from _disks(settings)
    yield from _backups(ctx)
    try:
        revision = schema_revision(ctx.database)
        refuse_newer(revision)
    except SolespanError as problem:
        yield of_error("database", problem)
        return
    yield Finding("database", "ok", "The database answers.")
    if revision != newest_revision():
        yield Finding(
            "migrations",
            "wrong",
            f"The database is of revision {revision or 'none'}, not {newest_revision()}.",
            "Run: solespan backup FILE, then: solespan migrate",
        )
        return
    yield Finding("migrations", "ok", f"The schema is current: revision {revision}.")
    yield from _role(ctx)
    yield from _shops(ctx)


def of_error(subject: str, problem: SolespanError) -> Finding:
    """Return what an error says as a finding."""
    return Finding(subject, "wrong", problem.what, problem.remedy)


def _network(settings: Settings) -> Iterator[Finding]:
    if settings.accounts and settings.public_address and not settings.trusted_proxies:
        yield Finding(
            "proxy",
            "wrong",
            "No proxy is declared, so every sender seems to have the proxy's address.",
            "Set SOLESPAN_TRUSTED_PROXIES to the proxy's address, such as 127.0.0.1.",
        )
    elif "0.0.0.0/0" in settings.trusted_proxies or "::/0" in settings.trusted_proxies:
        yield Finding(
            "proxy",
            "wrong",
            "Every sender is believed to be a proxy, so anyone can claim any address.",
            "Name the proxy's own address in SOLESPAN_TRUSTED_PROXIES.",
        )
    else:
        yield Finding("proxy", "ok", "Senders are known by their own addresses.")


def _secrets(settings: Settings) -> Iterator[Finding]:
    key = settings.secret_key
    if key is None and settings.public_address:
        yield Finding(
            "secrets",
            "warning",
            "There is no secret that signs links, so no notices can go out.",
            HOW_TO_MAKE_A_KEY,
        )
    elif key is not None and len(set(key.get_secret_value())) < FEW_CHARACTERS:
        yield Finding(
            "secrets",
            "wrong",
            "The secret that signs links is easy to guess.",
            HOW_TO_MAKE_A_KEY,
        )
    else:
        yield Finding("secrets", "ok", "Secrets are set as far as they are needed.")


def _mail_server(settings: Settings) -> Iterator[Finding]:
    if settings.smtp_host is None:
        yield Finding("mail", "ok", "No mail server is set: mail stays off.")
        return
    if settings.smtp_from is None:
        yield Finding("mail", "wrong", "Mails have no sender address.", "Set SOLESPAN_SMTP_FROM.")
        return
    where = (settings.smtp_host, settings.smtp_port)
    try:
        socket.create_connection(where, timeout=CONNECT_S).close()
    except OSError as cause:
        yield Finding(
            "mail",
            "wrong",
            f"The mail server cannot be reached: {cause.strerror or cause}.",
            "Check SOLESPAN_SMTP_HOST, SOLESPAN_SMTP_PORT and the firewall.",
        )
        return
    yield Finding("mail", "ok", "The mail server takes connections.")


def _disks(settings: Settings) -> Iterator[Finding]:
    places = {}
    url = parsed_url(settings.database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        places["database"] = Path(url.database).absolute().parent
    if settings.backup_folder:
        places["backups"] = Path(settings.backup_folder)
    for name, folder in places.items():
        if not folder.is_dir():
            continue
        free = shutil.disk_usage(folder).free
        state: State = "ok"
        if free < LITTLE_FREE_BYTES:
            state = "wrong" if free < LEAST_FREE_BYTES else "warning"
        remedy = "" if state == "ok" else "Make space, or move the folder to a larger disk."
        yield Finding("disk", state, f"{free / 1e9:,.1f} GB are free for the {name}.", remedy)


def _backups(ctx: AppContext) -> Iterator[Finding]:
    settings = ctx.settings
    if settings.backup_folder is None:
        yield Finding(
            "backup",
            "warning",
            "The service makes no backups by itself.",
            "Set SOLESPAN_BACKUP_FOLDER, or run from a timer: solespan backup FILE",
        )
        return
    try:
        newest = max(backups_in(Path(settings.backup_folder)).values(), default=None)
    except SolespanError as problem:
        yield of_error("backup", problem)
        return
    age = ctx.clock.now() - newest if newest else None
    if age is None or age > timedelta(hours=2 * settings.backup_every_hours):
        hours = "There is no backup yet" if age is None else f"The newest is {_hours(age)} old"
        yield Finding(
            "backup",
            "wrong",
            f"{hours}, though one is due every {settings.backup_every_hours:g} hours.",
            "Run solespan serve or solespan work, and read its log for backup_failed.",
        )
    elif settings.backup_passphrase is None:
        yield Finding(
            "backup",
            "warning",
            f"The newest backup is {_hours(age)} old, and is not encrypted.",
            "Set SOLESPAN_BACKUP_PASSPHRASE, and keep it apart from the backups.",
        )
    else:
        yield Finding("backup", "ok", f"The newest backup is {_hours(age)} old and encrypted.")


def _hours(age: timedelta) -> str:
    return f"{age.total_seconds() / 3600:,.1f} hours"


def _role(ctx: AppContext) -> Iterator[Finding]:
    server = ctx.database.engine.dialect.name == "postgresql"
    if not server and sqlite3.sqlite_version_info < SAFE_SQLITE:
        yield Finding(
            "database",
            "warning",
            f"SQLite {sqlite3.sqlite_version} can, rarely, lose data where two processes write.",
            "Run solespan serve alone, without solespan work beside it, or use PostgreSQL.",
        )
    if not server:
        return
    try:
        refuse_unbound_role(ctx.database)
    except SolespanError as problem:
        yield of_error("database role", problem)
    else:
        yield Finding("database role", "ok", "Row-level security binds the role.")
    with ctx.database.looking() as connection:
        owner = owns_tables(connection)
    yield _judged(
        "tables",
        owner,
        "The role that serves owns the tables, so a fault in it could change or drop them.",
        "Make a role that only migrates (docs/running), and set SOLESPAN_MIGRATION_DATABASE_URL.",
        "The role that serves owns no table.",
    )


def _shops(ctx: AppContext) -> Iterator[Finding]:
    """Look at every shop, and say of all together what is worst."""
    now, today = ctx.clock.now(), ctx.clock.today()
    outbox = forecast = ahead = timedelta()
    failed: dict[str, int] = {}
    zones: set[str] = set()
    unready: list[str] = []
    with ctx.database.reading() as session:
        at_server = clock_of_server(session)
    for shop in ctx.each_tenant():
        with shop.database.reading() as session:
            found = measure(session, now=now, failed_since=now - FAILED_WITHIN)
            zones |= time_zones(session)
            rules, _ = read_rules(session)
        if found.oldest_due_at:
            outbox = max(outbox, now - found.oldest_due_at)
        if found.oldest_forecast:
            forecast = max(forecast, today - found.oldest_forecast)
        if found.newest_change_at:
            ahead = max(ahead, found.newest_change_at - now)
        for channel, count in found.failed.items():
            failed[channel] = failed.get(channel, 0) + count
        if rules.automatic and (problems := problems_of(shop, rules)):
            unready.append(problems[0])
    difference = max(ahead, abs(at_server - now) if at_server else timedelta())
    yield _judged(
        "clock",
        difference > MOST_CLOCK_DIFFERENCE,
        f"The clock differs by {difference.total_seconds():,.0f} s from the database.",
        "Let the machine keep its time, for example by systemd-timesyncd.",
        "The clock agrees with the database.",
    )
    unknown = sorted(zone for zone in zones if not is_time_zone(zone))
    yield _judged(
        "time zones",
        bool(unknown),
        f"This machine does not know the zones {', '.join(unknown[:3])}.",
        "Install the package tzdata in its newest version.",
        "Every time zone in use is known.",
    )
    yield _judged(
        "outbox",
        outbox > OLD_OUTBOX,
        f"The oldest notice has been due for {_hours(outbox)}.",
        "Run solespan serve or solespan work, and read its log.",
        "No notice has been due for long.",
    )
    yield _judged(
        "forecasts",
        forecast.days > OLD_FORECAST_DAYS,
        f"The oldest forecast was made {forecast.days} days ago.",
        "Run solespan serve or solespan work, and read its log for failed fits.",
        "Forecasts are of these days.",
    )
    said = ", ".join(f"{count} by {channel}" for channel, count in sorted(failed.items()))
    yield _judged(
        "delivery",
        bool(failed),
        f"Notices that failed within 7 days, or at least three times: {said}.",
        "Read why on the page of notices, correct it, and send them again.",
        "No notice failed within 7 days.",
    )
    yield _judged(
        "notice rules",
        bool(unready),
        f"Notices cannot go out in {len(unready)} of the shops: {unready[0] if unready else ''}",
        "Complete the rules of these shops, or the settings of mail.",
        "Every shop with automatic notices can send them.",
    )


def _judged(subject: str, bad: bool, what: str, remedy: str, good: str) -> Finding:
    return Finding(subject, "warning", what, remedy) if bad else Finding(subject, "ok", good)
