"""Calendar service: what stands in an owner's calendar, and which secret opens it?

An iCalendar stream (RFC 5545) of all-day entries: send-by dates, hand-overs and returns of the
newest plan, returns of open jobs, and planned wears. An entry's UID names the thing (a sole, a job,
a day), never its date, so that a moved date moves the entry. SEQUENCE rises with every change of
the log, the plan and the day. The address holds a secret of 256 random bits, of which only a hash
is kept. A new address ends the old one.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pandas as pd
from icalendar import Calendar, Event
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.services.context import AppContext
from solespan.api.services.planning.rack import KnownRack, back_on, known_rack, known_wearer
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
PRODUCT = "-//solespan//planning a rack//EN"


@dataclass(frozen=True)
class _Entry:
    """One all-day entry: what it is about, the day, its text."""

    uid: str
    on: date
    summary: str
    description: str
    kind: str


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
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def etag_of(body: bytes) -> str:
    """Return the ETag of a written calendar."""
    return f'"{hashlib.sha256(body).hexdigest()[:32]}"'


def _entries(
    rack: KnownRack, plan: Mapping[str, Any] | None, forecast: pd.DataFrame
) -> Iterator[_Entry]:
    names = {
        str(p): (label if isinstance(label, str) and label else str(p))
        for p, label in zip(rack.log.pairs["pair_id"], rack.log.pairs["label"], strict=True)
    }
    sent = {s["pair_id"] for s in plan["answer"]["sends"]} if plan else set()
    yield from _send_bys(rack, forecast, names, sent)
    yield from _open_jobs(rack, names)
    if plan is not None:
        yield from _planned(rack, plan, names)


def _send_bys(
    rack: KnownRack, forecast: pd.DataFrame, names: Mapping[str, str], sent: set[str]
) -> Iterator[_Entry]:
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    for row in main.to_dict("records"):
        if pd.isna(row["send_by"]) or row["band"] in ("away", "retired"):
            continue
        pair_id = str(row["pair_id"])
        risk = f"{rack.settings.risk:.0%}"
        text = f"The last day at a risk of {risk} of being past the limit. {row['reason'] or ''}"
        if pair_id in sent:
            text += " The plan hands it over earlier or then."
        yield _Entry(
            _uid("send-by", rack.wearer_id, pair_id, str(row["sole_id"])),
            max(row["send_by"].date(), rack.today),
            f"Send by: {names[pair_id]}",
            text.strip(),
            "send by",
        )


def _open_jobs(rack: KnownRack, names: Mapping[str, str]) -> Iterator[_Entry]:
    jobs = rack.log.bench_jobs
    for job in jobs[jobs["returned_on"].isna()].to_dict("records"):
        pair_id = str(job["pair_id"])
        promised = job["promised_on"]
        yield _Entry(
            _uid("back", rack.wearer_id, str(job["job_id"])),
            back_on(rack, job).date(),
            f"Back: {names[pair_id]}",
            "Expected: nine of ten are back by then." if pd.isna(promised) else "Promised.",
            "return",
        )


def _planned(
    rack: KnownRack, plan: Mapping[str, Any], names: Mapping[str, str]
) -> Iterator[_Entry]:
    count: dict[str, int] = {}
    for send in plan["answer"]["sends"]:
        pair_id = send["pair_id"]
        count[pair_id] = count.get(pair_id, 0) + 1
        sole = rack.sole_of(pair_id) if pair_id in names else None
        which = f"{sole['sole_id'] if sole else ''}+{count[pair_id]}"
        name = names.get(pair_id, pair_id)
        yield _Entry(
            _uid("hand-over", rack.wearer_id, pair_id, which),
            date.fromisoformat(send["send_on"]),
            f"Hand over: {name}",
            f"After {send['wears_before']} more wears. Ask for a place before.",
            "hand over",
        )
        yield _Entry(
            _uid("planned-back", rack.wearer_id, pair_id, which),
            date.fromisoformat(send["back_on"]),
            f"Back: {name}",
            "Expected: nine of ten are back by then.",
            "return",
        )
    for day in plan["answer"]["days"]:
        on = date.fromisoformat(day["worn_on"])
        if day["pair_id"] is None or on < rack.today - timedelta(days=WEARS_BACK_DAYS):
            continue
        yield _Entry(
            _uid("wear", rack.wearer_id, day["worn_on"]),
            on,
            f"Wear: {names.get(day['pair_id'], day['pair_id'])}",
            f"For {day['dress_code']} wear" + (", reserved." if day["reserved"] else "."),
            "wear",
        )


def _uid(*parts: str) -> str:
    digest = hashlib.sha256("\x00".join(parts).encode()).hexdigest()
    return f"{parts[0]}-{digest[:32]}@solespan"


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
