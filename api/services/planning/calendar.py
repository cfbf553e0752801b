"""Calendar service: what stands in an owner's calendar, and which secret opens it?

An iCalendar stream (RFC 5545) of all-day entries: book-by and send-by dates with an alarm, and
returns of open jobs. The newest plan adds hand-overs, returns and wears. An entry's UID names the
thing (a sole, a job, a day), never its date, so that a moved date moves the entry. SEQUENCE rises
with every change of the log, the plan and the day. The address holds a secret of 256 random bits,
of which only a hash is kept. A new address ends the old one.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pandas as pd
from icalendar import Alarm, Calendar, Event
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.services.context import AppContext
from solespan.api.services.planning.dates import (
    THE_DAY_BEFORE,
    DateEntry,
    due_dates,
    pair_address,
    pair_names,
    uid_of,
)
from solespan.api.services.planning.pair_states import back_on
from solespan.api.services.planning.rack import KnownRack, known_rack, known_wearer
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning import planning as stored

__all__ = [
    "calendar_of",
    "calendar_of_secret",
    "end_address",
    "etag_of",
    "feed_state",
    "new_address",
]

SECRET_BYTES = 32
WEARS_BACK_DAYS = 7
REFRESH_EVERY = timedelta(hours=12)
PRODUCT = "-//solespan//planning a rack//EN"


def new_address(ctx: AppContext, session: Session, wearer_id: str) -> dict[str, Any]:
    """Make a new secret address, shown this once; the old one ends. Raises `NotFound`."""
    wearer = known_wearer(session, wearer_id)
    # The tenant stands before the dot: its calendar is looked for among its own only.
    secret = f"{ctx.database.tenant_pk}.{secrets.token_urlsafe(SECRET_BYTES)}"
    now = ctx.clock.now()
    stored.keep_feed(session, wearer["pk"], _hash(secret), now)
    return {
        "wearer_id": wearer_id,
        "made_at": now.isoformat(),
        "path": f"/calendar/{secret}.ics",
    }


def end_address(session: Session, wearer_id: str) -> bool:
    """End an owner's address; return whether there was one. Raises `NotFound`."""
    return stored.forget_feed(session, known_wearer(session, wearer_id)["pk"])


def feed_state(session: Session, wearer_id: str) -> dict[str, Any]:
    """Say whether an owner has an address, and since when. Raises `NotFound`."""
    made_at = stored.feed_made_at(session, known_wearer(session, wearer_id)["pk"])
    return {
        "wearer_id": wearer_id,
        "made_at": None if made_at is None else made_at.isoformat(),
        "path": None,
    }


def calendar_of_secret(ctx: AppContext, secret: str) -> bytes:
    """Return the calendar that a secret opens. Raises `NotFound`."""
    number = secret.partition(".")[0]
    if number.isascii() and number.isdigit() and len(number) < 16:
        ctx = ctx.for_tenant(int(number))
    with ctx.database.reading() as session:
        wearer_id = stored.wearer_of_secret(session, _hash(secret))
    if wearer_id is None:
        raise NotFound(
            "There is no calendar at this address.",
            where="the address",
            remedy="Make a new address: PUT /v1/calendar-feeds/{wearer_id}",
        )
    return calendar_of(ctx, wearer_id)


def calendar_of(ctx: AppContext, wearer_id: str) -> bytes:
    """Write an owner's calendar. Raises `NotFound`."""
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        plans = stored.plans_of(session, wearer_id, limit=1)
        forecast = load_forecasts(session, [wearer_id])
    plan = plans[0] if plans else None
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", "Shoes")
    # RFC 7986, 5.7: how often a program is to ask again
    calendar.add("refresh-interval", REFRESH_EVERY, parameters={"VALUE": "DURATION"})
    stamp = datetime.combine(rack.today, time(), tzinfo=UTC)
    # each part only grows, so the sum grows with every change that can move an entry
    sequence = rack.version + (plan["pk"] if plan else 0) + rack.today.toordinal() - 730_000
    for entry in _entries(rack, plan, forecast):
        event = Event()
        event.add("uid", entry.uid)
        event.add("dtstamp", stamp)
        event.add("dtstart", entry.on)
        event.add("dtend", entry.on + timedelta(days=1))
        event.add("sequence", sequence)
        event.add("summary", entry.summary)
        event.add("description", entry.description)
        event.add("categories", [entry.kind])
        event.add("transp", "TRANSPARENT")
        if entry.pair_id:
            event.add("url", pair_address(ctx.settings, entry.pair_id))
        if entry.alarm is not None:
            event.add_component(_alarm(entry))
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def _alarm(entry: DateEntry) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", entry.summary)
    alarm.add("trigger", entry.alarm)
    return alarm


def etag_of(body: bytes) -> str:
    """Return the ETag of a written calendar."""
    return f'"{hashlib.sha256(body).hexdigest()[:32]}"'


def _entries(
    rack: KnownRack, plan: Mapping[str, Any] | None, forecast: pd.DataFrame
) -> Iterator[DateEntry]:
    names = pair_names(rack)
    sent = {s["pair_id"] for s in plan["answer"]["sends"]} if plan else set()
    yield from due_dates(rack, forecast, sent)
    yield from _open_jobs(rack, names)
    if plan is not None:
        yield from _planned(rack, plan, names)


def _open_jobs(rack: KnownRack, names: Mapping[str, str]) -> Iterator[DateEntry]:
    jobs = rack.log.bench_jobs
    for job in jobs[jobs["returned_on"].isna()].to_dict("records"):
        pair_id = str(job["pair_id"])
        promised = job["promised_on"]
        yield DateEntry(
            uid_of("back", rack.wearer_id, str(job["job_id"])),
            back_on(rack, job).date(),
            f"Back: {names[pair_id]}",
            "Expected: nine of ten are back by then." if pd.isna(promised) else "Promised.",
            "return",
            pair_id,
        )


def _planned(
    rack: KnownRack, plan: Mapping[str, Any], names: Mapping[str, str]
) -> Iterator[DateEntry]:
    count: dict[str, int] = {}
    for send in plan["answer"]["sends"]:
        pair_id = send["pair_id"]
        count[pair_id] = count.get(pair_id, 0) + 1
        sole = rack.sole_of(pair_id) if pair_id in names else None
        which = f"{sole['sole_id'] if sole else ''}+{count[pair_id]}"
        name = names.get(pair_id, pair_id)
        yield DateEntry(
            uid_of("hand-over", rack.wearer_id, pair_id, which),
            date.fromisoformat(send["send_on"]),
            f"Hand over: {name}",
            f"After {send['wears_before']} more wears. Ask for a place before.",
            "hand over",
            pair_id,
            THE_DAY_BEFORE,
        )
        yield DateEntry(
            uid_of("planned-back", rack.wearer_id, pair_id, which),
            date.fromisoformat(send["back_on"]),
            f"Back: {name}",
            "Expected: nine of ten are back by then.",
            "return",
            pair_id,
        )
    for day in plan["answer"]["days"]:
        on = date.fromisoformat(day["worn_on"])
        if day["pair_id"] is None or on < rack.today - timedelta(days=WEARS_BACK_DAYS):
            continue
        yield DateEntry(
            uid_of("wear", rack.wearer_id, day["worn_on"]),
            on,
            f"Wear: {names.get(day['pair_id'], day['pair_id'])}",
            f"For {day['dress_code']} wear" + (", reserved." if day["reserved"] else "."),
            "wear",
            day["pair_id"],
        )


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
