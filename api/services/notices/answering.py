"""Answering service: what does a customer's answer to a notice do?

Each link serves one purpose for one pair. Opening it changes nothing. Its form books the pair in,
logs a new sole of another shop, logs a thumb check, or declines. The forecast follows in the same
transaction. The habits that workloads are forecast from learn of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.author import Author
from solespan.api.bench_words import OPEN_STAGES
from solespan.api.channels import CHANNELS
from solespan.api.errors import Conflict, NotFound, NothingForecast, Refused, SolespanError
from solespan.api.notices.languages import language_of
from solespan.api.notices.links import Link, LinkExpired, LinkForged, read_link
from solespan.api.notices.words import bring_by, due_window, how_sure
from solespan.api.schemas.bench.orders import NewOrder
from solespan.api.schemas.forms import FormProblem, read_day, text_of
from solespan.api.services.bench import orders as bench_orders
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.booking.free_days import (
    DayNotFree,
    DaysOffered,
    FreeDaysAsked,
    booking_calendar,
    shop_today,
)
from solespan.api.services.bench.quotes import agree, quote_pair
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules
from solespan.api.services.notices.consents import hear_no_more
from solespan.api.services.notices.delivery_config import secret_of
from solespan.api.services.rack import records
from solespan.api.storage.bench.orders import list_orders
from solespan.api.storage.bench.workload import put_outcome
from solespan.api.storage.forecasts.forecast_reads import forecast_of_pair
from solespan.api.storage.notices import notices as stored
from solespan.api.storage.notices.consents import held_consents
from solespan.api.storage.notices.hook_events import put_pair_event
from solespan.api.storage.rack.records import owner_of, soles_of
from solespan.forecast.bench.visits import main_work
from solespan.forecast.frames import FEET, GRADES, WORKS
from solespan.forecast.layers.thickness import GUARD_MM, is_guard, usual_thickness_mm

__all__ = [
    "LONGEST_AHEAD",
    "Asked",
    "LinkOver",
    "LinkUnknown",
    "answer",
    "check_link",
    "dates_now",
    "days_now",
    "for_tenant",
    "link_unknown",
    "open_link",
    "open_order",
    "still_written_to",
    "unsubscribe",
    "ways_now",
]

NOT_BOOKED = "Booked by the customer, from a notice."
MOST_ORDERS = 50  # of one pair, looked at for an open one: those are the newest
LONGEST_AHEAD = timedelta(days=366)


class LinkUnknown(NotFound):
    """A link that is not ours, was cut off, or whose notice is gone."""

    title = "This link leads nowhere"


class LinkOver(SolespanError):
    """A link whose time is over; `shop` is whose it was, unless that is gone too."""

    code = "link-over"
    shop: AppContext | None = None


# The person who holds a notice's link; which customer that is stands with the notice.
_CUSTOMER = Author("a customer", "answered a notice")


@dataclass(frozen=True)
class Asked:
    """What a link is about: the shop's services, the link, the notice, its pair, and today."""

    ctx: AppContext
    link: Link
    notice: dict[str, Any]
    pair: stored.PairTold
    today: date


def open_link(ctx: AppContext, token: str, purpose: str | None = None) -> Asked:
    """Read a link. Raises `LinkUnknown`, `LinkOver`."""
    shop, link = check_link(ctx, token)
    if (link.purpose == "unsubscribe") != (purpose == "unsubscribe"):
        raise link_unknown()
    with shop.database.reading() as session:
        notice = stored.find_notice(session, link.notice_id)
        pairs = [] if notice is None else stored.pairs_of_notice(session, notice["id"])
    pair = next((p for p in pairs if p["place"] == link.place), None)
    if notice is None or pair is None:
        raise link_unknown()
    return Asked(shop, link, notice, pair, shop.clock.today(notice["time_zone"]))


def still_written_to(ctx: AppContext, token: str) -> tuple[AppContext, bool, str | None]:
    """Read a way out: whose shop it is, whether its customer agrees still, and their language.

    Raises `LinkUnknown`, `LinkOver`.
    """
    shop, link = check_link(ctx, token)
    if link.purpose != "unsubscribe":
        raise link_unknown()
    with shop.database.reading() as session:
        notice = stored.find_notice(session, link.notice_id)
        held = notice is not None and held_consents(session, [notice["wearer_id"]])
    return shop, bool(held), notice["language"] if notice else None


def open_order(session: Session, pair_id: str, since: date) -> dict[str, Any] | None:
    """Return what a customer is told of a pair's open order, and whether it is `received`.

    Without an open one, the `reason` of the last, where it was booked `since` and refused.
    """
    orders = list_orders(session, stage=None, pair_id=pair_id, below_id=None, limit=MOST_ORDERS)
    found = next((order for order in orders if order["stage"] in OPEN_STAGES), None)
    last = orders[0] if orders else None
    if found is None and last and last["stage"] == "refused" and last["booked_on"] >= since:
        found = last
    if found is None:
        return None
    waiting = found["stage"] in ("booked", "in_post")
    names = ("order_id", "expected_on", "by_post", "back_on", "stage", "reason")
    return {name: found[name] for name in names} | {"received": not waiting}


def dates_now(session: Session, asked: Asked) -> dict[str, Any] | None:
    """Return `when`, `sure`, `bring_by` and `stop_wearing` of a pair as they are now, or None."""
    rows = forecast_of_pair(session, asked.pair["pair_id"])
    row = next((r for r in rows if r["foot"] == "pair" and r["point"] == "ball"), None)
    if row is None:
        return None
    language = language_of(asked.notice["language"], read_rules(session)[0].language)
    interval = (row["due_p10"], row["due_p90"], asked.today, language)
    return {
        "when": due_window(*interval),
        "sure": how_sure(*interval),
        "bring_by": bring_by(row["send_by"], asked.today, language),
        "stop_wearing": row["band"] == "stop wearing",
    }


def days_now(session: Session, asked: Asked) -> DaysOffered:
    """Return the free days from tomorrow on."""
    today = shop_today(session, asked.ctx.clock, asked.notice["time_zone"])
    pair = records.read(session, "pairs", {"pair_id": asked.pair["pair_id"]})
    calendar = booking_calendar(session, today)
    wanted = FreeDaysAsked(("full_sole",), pair["construction"])
    return calendar.offer(wanted, today + timedelta(days=1))


def ways_now(session: Session, asked: Asked) -> dict[str, Any] | None:
    """Quote the pair of a link, at the prices that the shop set; None where it set none."""
    if read_bench_settings(session)[1] == 0:
        return None
    try:
        return quote_pair(session, asked.pair["pair_id"], None, timed=False)
    except NothingForecast:
        return None


def unsubscribe(ctx: AppContext, token: str, how: str) -> None:
    """End every consent of the customer of a notice; again changes nothing.

    A notice that was erased has nobody left to write to. Raises `LinkUnknown`, `LinkOver`.
    """
    shop, link = check_link(ctx, token)
    if link.purpose != "unsubscribe":
        raise link_unknown()
    with shop.database.writing() as session:
        notice = stored.find_notice(session, link.notice_id)
        if notice is not None:
            hear_no_more(session, notice["wearer_pk"], CHANNELS, how, shop.clock.now())


def answer(asked: Asked, typed: Mapping[str, str]) -> str:
    """Do what the link's form says; return which answer it was.

    Raises `Refused` for what cannot be, `Conflict` when the pair is elsewhere or booked already.
    """
    act = {"book": _book, "decline": _decline, "elsewhere": _elsewhere, "check": _check}
    with asked.ctx.database.writing() as session:
        # held until the end, so that the same form sent twice does it once
        owner_of(session, "pair_id", asked.pair["pair_id"], lock=True)
        word = act[asked.link.purpose](session, asked, typed)
        now = asked.ctx.clock.now()
        stored.answer_pair(session, asked.pair["id"], word, now)
        told = {"notice_id": asked.link.notice_id, "answer": word}
        put_pair_event(session, "notice.answered", asked.pair["pair_id"], now, told)
    return word


def check_link(ctx: AppContext, token: str) -> tuple[AppContext, Link]:
    """Return the shop's services for its customer, and what a link says.

    Raises `LinkUnknown`, `LinkOver`.
    """
    try:
        link = read_link(token, secret_of(ctx), ctx.clock.now())
    except LinkForged:
        raise link_unknown() from None
    except LinkExpired as ended:
        over = LinkOver(
            "The time of this link is over.",
            where="the address",
            remedy="Please get in touch with the shop.",
        )
        over.shop = for_tenant(ctx, ended.tenant)
        raise over from None
    shop = for_tenant(ctx, link.tenant)
    if shop is None:
        raise link_unknown()
    return shop, link


def link_unknown() -> LinkUnknown:
    """Return the failure of a link that opens nothing."""
    return LinkUnknown(
        "This link leads nowhere: it is incomplete, or what it was about is gone.",
        where="the address",
        remedy="Copy the whole link from the notice, or get in touch with the shop.",
    )


def _book(session: Session, asked: Asked, typed: Mapping[str, str]) -> str:
    pair_id = asked.pair["pair_id"]
    if pair_id in stored.load_busy(session):
        raise Conflict(
            "This pair is booked in already.",
            where="the pair",
            remedy="There is nothing more to do; the shop is waiting for it.",
        )
    by_post = typed.get("way") == "post"
    day = _day(typed, "day", "Give the day on which you bring or post it.")
    today = shop_today(session, asked.ctx.clock, asked.notice["time_zone"])
    last = today + LONGEST_AHEAD
    if not today <= day <= last:
        raise Refused(
            f"{day} is past." if day < today else f"{day} is too far away.",
            where="day",
            accepted=f"{today} to {last}",
            remedy="Choose a day to come, within a year.",
        )
    works = text_of(typed, "works").split()
    told = asked.notice["payload"]["pairs"][asked.link.place]
    usual = "guard" if told.get("guard") else "full_sole"
    known = works if works and set(works) <= set(WORKS) else [usual]
    work = main_work(known)
    order = NewOrder(
        pair_id=pair_id,
        work=work,
        more_works=[one for one in known if one != work],
        expected_on=day,
        by_post=by_post,
        note=NOT_BOOKED,
    )
    try:
        booked = bench_orders.book(session, order, asked.ctx.clock, advised=True)
    except DayNotFree as full:
        remedy = "Choose another day, or get in touch with the shop."
        raise Refused(full.what, where="day", accepted="a free day", remedy=remedy) from None
    if works:
        version, clock = booked["version"], asked.ctx.clock
        agree(session, booked["order_id"], works, version, clock, offered_only=True)
    return "booked"


def _decline(session: Session, asked: Asked, _typed: Mapping[str, str]) -> str:
    _tell_outcome(session, asked)
    return "declined"


def _elsewhere(session: Session, asked: Asked, typed: Mapping[str, str]) -> str:
    day = _day(typed, "day", "Give the day on which the old sole came off, roughly.")
    pair_pk, sole_id = asked.pair["pair_pk"], asked.pair["sole_id"]
    sole = next((s for s in soles_of(session, pair_pk) if s["sole_id"] == sole_id), None)
    if sole is None:
        raise link_unknown()
    if sole["removed_on"] is None:
        written = records.create(
            session, "soles", _sole_like(session, sole_id, day), asked.ctx.clock
        )
        asked.ctx.forecaster.update_wearer(session, written.wearer_id)
    _tell_outcome(session, asked)
    return "elsewhere"


def _sole_like(session: Session, sole_id: str, day: date) -> dict[str, Any]:
    """Suppose the sole that another shop fitted: the material as before, as thick as usual."""
    before = records.read(session, "soles", {"sole_id": sole_id})
    pair = records.read(session, "pairs", {"pair_id": before["pair_id"]})
    if day <= before["fitted_on"]:
        raise Refused(
            f"The sole before was fitted on {before['fitted_on']}.",
            where="day",
            accepted="a later day",
            remedy="Give the day on which that sole came off, roughly.",
        )
    guard = is_guard(before["material"], before["nominal_thickness_mm"], before["cover"])
    usual_mm = usual_thickness_mm(before["material"], pair["construction"], pair["kind"])
    return {
        "sole_id": uuid4().hex[:12],
        "pair_id": before["pair_id"],
        "fitted_on": day,
        "material": before["material"],
        "nominal_thickness_mm": GUARD_MM if guard else usual_mm,
        "limit_mm": None,
        "cover": "guard" if guard else None,
        "channel": None,
        "assumed": True,
        "removed_on": None,
    }


def _check(session: Session, asked: Asked, typed: Mapping[str, str]) -> str:
    grades = {foot: typed[foot] for foot in FEET if typed.get(foot)}
    if not grades or any(grade not in GRADES for grade in grades.values()):
        raise Refused(
            "Say for one shoe at least how the sole feels.",
            where="left, right",
            accepted=", ".join(GRADES),
            remedy="Choose one of these.",
        )
    clock = asked.ctx.clock
    for foot, grade in grades.items():
        key = {
            "pair_id": asked.pair["pair_id"],
            "checked_on": asked.today,
            "foot": foot,
            "point": "ball",
            "method": "thumb",
        }
        values = {"value_mm": None, "grade": grade}
        try:
            written = records.create(session, "checks", key | values, clock)
        except Conflict:  # told once already today: the later word counts
            written = records.replace(session, "checks", key, values, versions=None, clock=clock)
    asked.ctx.forecaster.update_wearer(session, written.wearer_id)
    return "checked"


def _tell_outcome(session: Session, asked: Asked) -> None:
    """Let the habits learn that this pair does not come: due on its median date, or today."""
    rows = forecast_of_pair(session, asked.pair["pair_id"])
    due = [r["due_p50"] for r in rows if r["foot"] == "pair" and r["point"] == "ball"]
    due_on = min(due[0], asked.today) if due and due[0] is not None else asked.today
    put_outcome(
        session,
        asked.pair["pair_pk"],
        {"due_on": due_on, "outcome": "declined", "came_on": None},
    )


def _day(typed: Mapping[str, str], name: str, remedy: str) -> date:
    text = text_of(typed, name)
    try:
        return read_day(typed, name)
    except FormProblem:
        raise Refused(
            f"{text!r} is no day." if text else "The day is missing.",
            where=name,
            accepted="a day as YYYY-MM-DD",
            remedy=remedy,
        ) from None


def for_tenant(ctx: AppContext, number: int) -> AppContext | None:
    """Return the services of a shop for one of its customers, or None where there is none."""
    try:
        return ctx.for_tenant(number, _CUSTOMER)
    except NotFound:
        return None
