"""Customers service: what does a customer see and log on their own page, and nobody else's?"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.schemas.forms import Typed
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.context import AppContext
from solespan.api.services.rack.wear_today import log_tap
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.records import list_records, wearer_id_of

__all__ = ["log_own_wear", "own_rack"]

MOST_PAIRS = 200


def _mine(session: Session, who: Identity) -> str:
    wearer_id = None if who.wearer_pk is None else wearer_id_of(session, who.wearer_pk)
    if wearer_id is None:
        raise NotFound("There is no such page.", remedy="Ask the shop for a new link.")
    return wearer_id


def own_rack(session: Session, who: Identity) -> dict[str, Any]:
    """Return `wearer`, `pairs` and `forecast` (a frame) of the customer who looks."""
    wearer_id = _mine(session, who)
    (wearer,) = list_records(session, "wearers", equal={"wearer_id": wearer_id}, limit=1)
    return {
        "wearer": wearer,
        "pairs": list_records(session, "pairs", equal={"wearer_id": wearer_id}, limit=MOST_PAIRS),
        "forecast": load_forecasts(session, [wearer_id]),
    }


def log_own_wear(ctx: AppContext, session: Session, who: Identity, typed: Typed) -> dict[str, Any]:
    """Log a wear today of one of the customer's own pairs. Raises `NotFound` for any other."""
    equal = {"wearer_id": _mine(session, who), "pair_id": typed.get("pair", "")}
    if not list_records(session, "pairs", equal=equal, limit=1):
        raise NotFound("You have no such pair here.", where="pair")
    return log_tap(ctx, session, typed)
