"""Reception service: how is a pair taken in that nobody has seen before?

A name or a telephone number and a few words make the customer, the pair, its sole and the order.
Construction, material, thickness and age of the sole are assumed. The sole and the order's audit
say so until somebody corrects them.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.orders import Move, NewOrder
from solespan.api.schemas.bench.reception import Reception
from solespan.api.schemas.forms import read_record
from solespan.api.services.bench import orders
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.bench.booking.free_days import shop_today
from solespan.api.services.bench.found_orders import describe
from solespan.api.services.context import AppContext
from solespan.api.services.rack import records
from solespan.api.storage.bench import orders as stored
from solespan.forecast.layers.thickness import usual_thickness_mm

__all__ = ["ASSUMED", "USUAL_WORK", "price_of", "read_request", "take_in"]

CONSTRUCTION, MATERIAL, SOLE_AGE = "goodyear_welted", "veg_tan_leather", timedelta(days=365)
ASSUMED = "assumed"  # the name in the order's audit
USUAL_WORK = "full_sole"
# In words of the counter; the first that is found counts.
_WORKS = (
    ("half sole", "half_sole"),
    ("half-sole", "half_sole"),
    ("toe plate", "toe_plate"),
    ("toe piece", "toe_piece"),
    ("toe", "toe_piece"),
    ("heel block", "heel_block"),
    ("top piece", "top_piece"),
    ("heel", "top_piece"),
    ("rewelt", "rewelt"),
    ("welt", "rewelt"),
    ("guard", "guard"),
    ("stitch", "restitch"),
    ("shank", "shank"),
    ("sock", "sock"),
    ("sole", "full_sole"),
)
_NEEDS = re.compile(r"\s*(?:[,;:]|\b(?:needs?|wants?|for)\b)\s*", re.IGNORECASE)


def read_request(what: str) -> tuple[str, str | None]:
    """Read `brown brogue, needs a sole` as the pair's name and the work; None = not said."""
    name, _, rest = (part.strip() for part in _parted(what))
    said = rest.casefold()
    work = next((work for words, work in _WORKS if words in said), None)
    return name or what.strip(), work


def _parted(what: str) -> tuple[str, str, str]:
    found = _NEEDS.search(what)
    if found is None or not what[: found.start()].strip():
        return what, "", ""
    return what[: found.start()], found[0], what[found.end() :]


def price_of(session: Session, given: Reception, work: str) -> tuple[int | None, str | None]:
    """Return the price and its currency; None of both while it is to be quoted."""
    settings = read_bench_settings(session)[0]
    if given.price_minor is not None:
        return given.price_minor, settings.currency
    listed = settings.price_minor.get(work) if given.price == "list" else None
    return listed, None if listed is None else settings.currency


def take_in(ctx: AppContext, session: Session, given: Reception) -> dict[str, Any]:
    """Take a pair in; return the order with its ticket, and `needs_fit`.

    Without a promised day, the first one that the bench can keep is promised. Raises `NotFound`,
    `Conflict`, `Refused` and `DayNotFree` as booking does, and `RecordRefused`.
    """
    today = shop_today(session, ctx.clock)
    label, said = read_request(given.what or "")
    work = given.work or said or USUAL_WORK
    pair_id = given.pair_id
    assumed: dict[str, Any] = {}
    if pair_id is None:
        wearer_id = given.wearer_id or _new_customer(ctx, session, given)
        pair_id, assumed = _new_pair(ctx, session, wearer_id, label, today)
    price_minor, currency = price_of(session, given, work)
    booked = NewOrder(
        order_id=given.order_id,
        pair_id=pair_id,
        work=work,
        promised_on=given.promised_on,
        price_minor=price_minor,
        currency=currency,
        note=given.note,
        overrule=given.overrule,
    )
    order = orders.book(session, booked, ctx.clock, promise=True)
    if assumed:
        _tell_assumed(session, order["order_id"], assumed)
    if given.here:
        move = Move(to="received", version=order["version"])
        order = orders.step(session, order["order_id"], move, ctx.clock)
    ctx.forecaster.update_owner(session, pair_id)
    return describe(session, order["order_id"])


def _tell_assumed(session: Session, order_id: str, assumed: dict[str, Any]) -> None:
    order = stored.find_order(session, order_id)
    if order is not None:
        stored.add_event(
            session,
            order["id"],
            from_stage="booked",
            to_stage="booked",
            worker=None,
            details={ASSUMED: assumed},
        )


def _new_customer(ctx: AppContext, session: Session, given: Reception) -> str:
    known = {
        "wearer_id": uuid4().hex[:12],
        "name": given.name,
        "phone": given.phone,
        "time_zone": None,  # that of the shop
    }
    values = read_record("wearers", {}, known)
    return records.create(session, "wearers", values, ctx.clock).wearer_id


def _new_pair(
    ctx: AppContext, session: Session, wearer_id: str, label: str, today: date
) -> tuple[str, dict[str, Any]]:
    pair_id = uuid4().hex[:12]
    known = {"pair_id": pair_id, "wearer_id": wearer_id, "label": label}
    pair = read_record("pairs", {}, known | {"construction": CONSTRUCTION, "currency": None})
    records.create(session, "pairs", pair, ctx.clock)
    assumed = {
        "construction": CONSTRUCTION,
        "material": MATERIAL,
        "nominal_thickness_mm": usual_thickness_mm(MATERIAL, CONSTRUCTION),
        "fitted_on": (today - SOLE_AGE).isoformat(),
    }
    sole = {
        "sole_id": uuid4().hex[:12],
        "pair_id": pair_id,
        "fitted_on": today - SOLE_AGE,
        "material": MATERIAL,
        "nominal_thickness_mm": assumed["nominal_thickness_mm"],
        "removed_on": None,
        "assumed": True,
    }
    records.create(session, "soles", read_record("soles", {}, sole), ctx.clock)
    return pair_id, assumed
