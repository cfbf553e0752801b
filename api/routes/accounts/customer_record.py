"""HTTP routes of customer record.

How is all that is kept of a customer read, and erased, over HTTP?
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response

from solespan.api.routes.http.requests import PROBLEM_ANSWERS, Context, json_answer
from solespan.api.schemas.accounts.accounts import CustomerErased, CustomerRecord
from solespan.api.schemas.fields import KnownId
from solespan.api.services.accounts.customer_record import erase_customer, hand_out

__all__ = ["router"]

router = APIRouter(prefix="/v1/customers", tags=["accounts"], responses=PROBLEM_ANSWERS)
CustomerId = Annotated[KnownId, Path(description="which customer. Unit: none (identifier)")]


@router.get("/{wearer_id}/record", response_model=None, responses={200: {"model": CustomerRecord}})
def read_customer_record(ctx: Context, wearer_id: CustomerId) -> Response:
    """Read all records of a customer: log, forecasts, orders, papers, notices."""
    record = hand_out(ctx, wearer_id)
    return json_answer(record, headers={"cache-control": "no-store"})


@router.delete(
    "/{wearer_id}/record", response_model=None, responses={200: {"model": CustomerErased}}
)
def erase_customer_record(ctx: Context, wearer_id: CustomerId) -> Response:
    """Erase a customer and all their records, at once and for good.

    It also empties what quotes them: import reports, plans, the audit log's entries, kept answers.
    """
    return json_answer(erase_customer(ctx, wearer_id))
