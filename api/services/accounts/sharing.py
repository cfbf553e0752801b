"""Sharing service: how may a repairer look at a rack, or at one pair, without signing in?

A link holds a secret of 256 random bits, of which only a hash is kept. It ends on its day, and at
once when its owner ends it. Its page changes nothing, and holds no name, address, price or note.
"""

from __future__ import annotations

import base64
import hashlib
import secrets
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.schemas.forms import Typed, text_of
from solespan.api.services.context import AppContext
from solespan.api.services.rack.page_frames import due_rows, listed
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.rack import pair_extras as stored
from solespan.api.storage.rack.records import owner_of
from solespan.api.storage.scope import name_changed

__all__ = ["DAYS_OFFERED", "end_share", "open_share", "share_page", "shares_seen"]

SECRET_BYTES = 32
DAYS_OFFERED = (7, 30, 90)
MOST_PAIRS = 60
# What a repairer needs of a pair and of its sole; nothing else leaves the house.
_OF_PAIR = ("pair_id", "label", "construction", "maker", "last", "colour", "form", "size_eu")
_OF_SOLE = ("pair_id", "material", "nominal_thickness_mm", "cover", "fitted_on")


def shares_seen(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """Return the pairs of a wearer, and the shared pages that have not ended. Raises `NotFound`."""
    with ctx.database.reading() as session:
        owner = owner_of(session, "wearer_id", wearer_id, lock=False)
        if owner is None:
            raise unknown_id(session, "wearers", "wearer_id", wearer_id)
        today = ctx.clock.today(owner.time_zone)
        shares = stored.list_shares(session, wearer_id)
        return {
            "pairs": listed(session, "pairs", wearer_id=wearer_id),
            "shares": [one for one in shares if one["expires_on"] >= today],
        }


def share_page(ctx: AppContext, session: Session, typed: Typed) -> str:
    """Make a link to a rack or one pair; return its path, shown this once.

    `wearer`, `pair` (empty = all), `reader` and `days` are typed. Raises `NotFound`, `Refused`.
    """
    wearer_id, pair_id = typed.get("wearer", ""), typed.get("pair", "")
    column, known = ("pair_id", pair_id) if pair_id else ("wearer_id", wearer_id)
    owner = owner_of(session, column, known, lock=True)
    if owner is None or owner.wearer_id != wearer_id:
        table = "pairs" if pair_id else "wearers"
        raise unknown_id(session, table, column, known)
    days = typed.get("days", "")
    if days not in map(str, DAYS_OFFERED):
        raise Refused(
            "A link needs an end.",
            where="days",
            accepted=", ".join(map(str, DAYS_OFFERED)),
            remedy="Choose one of these numbers of days.",
        )
    # The tenant stands before the dot: its pages are looked for among its own only.
    secret = f"{ctx.database.tenant_pk}.{secrets.token_urlsafe(SECRET_BYTES)}"
    expires_on = ctx.clock.today(owner.time_zone) + timedelta(days=int(days))
    stored.add_share(
        session,
        {
            "wearer_pk": owner.wearer_pk,
            "pair_pk": owner.pair_pk,
            "secret_hash": _hash(secret),
            "reader": text_of(typed, "reader") or None,
            "expires_on": expires_on,
        },
    )
    name_changed(wearer_id=wearer_id, **({"pair_id": pair_id} if pair_id else {}))
    return f"/shared/{secret}"


def end_share(session: Session, share_id: str) -> None:
    """End a link at once. Raises `NotFound`."""
    if not stored.delete_share(session, share_id):
        raise NotFound(
            "There is no such link.",
            where="share_id",
            remedy="Read the list again: it may have ended.",
        )
    name_changed(share_id=share_id)


def open_share(ctx: AppContext, secret: str) -> dict[str, Any]:
    """Return the frames that the page of a link draws from. Raises `NotFound`."""
    number = secret.partition(".")[0]
    if number.isascii() and number.isdigit() and len(number) < 16:
        ctx = ctx.for_tenant(int(number))
    with ctx.database.reading() as session:
        latest = ctx.clock.today("Pacific/Kiritimati")  # a link lasts its whole last day anywhere
        share = stored.share_of_secret(session, _hash(secret), latest - timedelta(days=1))
        today = None if share is None else ctx.clock.today(share["time_zone"])
        if share is None or today is None or share["expires_on"] < today:
            raise NotFound(
                "This link has ended.",
                where="the address",
                remedy="Ask the owner of the shoes for a new one.",
            )
        return _frames(session, share, today)


def _frames(session: Session, share: Mapping[str, Any], today: date) -> dict[str, Any]:
    only = {"wearer_id": share["wearer_id"]}
    if share["pair_pk"] is not None:
        only = {"pair_id": share["pair_id"]}
    pairs = listed(session, "pairs", **only)[list(_OF_PAIR)]
    soles = listed(session, "soles", **only)
    soles = soles[soles["removed_on"].isna()][list(_OF_SOLE)]
    forecast = due_rows(session, share["wearer_id"])
    photos = stored.pictures_of(session, list(pairs["pair_id"])[:MOST_PAIRS])
    return {
        "pairs": pairs,
        "soles": soles,
        "forecast": forecast[forecast["pair_id"].isin(pairs["pair_id"])],
        "today": pd.Timestamp(today),
        "expires_on": pd.Timestamp(share["expires_on"]),
        "most": MOST_PAIRS,
        "photographs": {pair: _inline(session, photo) for pair, photo in photos.items()},
    }


def _inline(session: Session, photo_id: str) -> str:
    """Write a small photograph into the page: no other address is opened to a stranger."""
    found = stored.photo_content(session, photo_id, small=True)
    if found is None:
        return ""
    return f"data:{found[0]};base64,{base64.b64encode(found[1]).decode()}"


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
