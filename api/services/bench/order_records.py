"""Order records service: how does a filled-in form correct a booking, or delete it?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.schemas.edition import with_edition
from solespan.api.schemas.forms import FormProblem, Typed, uncut
from solespan.api.services.bench import orders
from solespan.api.services.bench.booking.free_days import DayNotFree
from solespan.api.services.bench.found_orders import describe, found_order
from solespan.api.services.bench.order_forms import read_change, values_of_order
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.record_forms import refuse_stale

__all__ = ["delete_order", "edit_order", "order_seen"]


def order_seen(session: Session, order_id: str) -> dict[str, Any]:
    """Return `row` and its `values` as a form's texts. Raises `NotFound`."""
    order = describe(session, order_id)
    below = {f"bench_{n}": len(order[n]) for n in ("events", "papers", "photos") if order[n]}
    values = with_edition(_values(order)) | {"version": str(order["version"])}
    return {"row": order, "values": values, "below": below}


def _values(order: Mapping[str, Any]) -> dict[str, str]:
    return values_of_order(dict(order)) | {"version": ""}


def edit_order(
    ctx: AppContext, session: Session, key: Mapping[str, Any], typed: Typed
) -> dict[str, Any]:
    """Correct a booking; return its `key` and `undo`, the id of the revision.

    Raises `NotFound`, and `FormProblem`: `Overtaken` where somebody changed it meanwhile.
    """
    order = found_order(session, key["order_id"], lock=True)
    values = read_change(typed)
    values["note"] = uncut(values["note"], order["note"])
    refuse_stale(order, typed, now=lambda: _values(order))
    try:
        orders.amend(session, key["order_id"], values, frozenset({order["version"]}), ctx.clock)
    except DayNotFree as full:
        errors = {full.where: f"{full.what} {full.remedy}", "overrule": "Give the reason."}
        raise FormProblem(errors) from full
    except Refused as refused:
        raise FormProblem({refused.where: f"{refused.what} {refused.remedy}"}) from refused
    return {"key": dict(key), "undo": current_revision_id(), "needs_fit": False}


def delete_order(
    ctx: AppContext, session: Session, key: Mapping[str, Any], typed: Typed
) -> dict[str, Any]:
    """Delete a booking with its audit and papers; return `undo`, the id of the revision.

    Raises `NotFound`, `Overtaken`.
    """
    order = found_order(session, key["order_id"], lock=True)
    refuse_stale(order, typed)
    orders.remove(session, key["order_id"], frozenset({order["version"]}), ctx.clock)
    return {"undo": current_revision_id(), "needs_fit": False}
