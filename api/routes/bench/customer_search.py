"""HTTP route of customer search: how does a program find a customer and pairs that are here?

What is searched for stands in the body and never in an address, as it names people.
"""

from __future__ import annotations

from fastapi import APIRouter, Depends, Response

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    json_answer,
    needs_json,
)
from solespan.api.schemas.bench.customer_search import CustomerSearch, FoundCustomerPage
from solespan.api.services.bench.desk.customer_search import describe_found, search_customers

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["bench"], responses=PROBLEM_ANSWERS)


@router.post(
    "/customer-searches",
    response_model=None,
    responses={200: {"model": FoundCustomerPage}},
    dependencies=[Depends(needs_json)],
)
def find_customers(ctx: Context, body: CustomerSearch, key: IdempotencyKey) -> Response:
    """Find customers by name, telephone, e-mail, ticket or pair; nothing is changed."""
    del key  # nothing is made, so nothing can be made twice
    found = describe_found(search_customers(ctx, body.words, body.page))
    return json_answer(FoundCustomerPage.model_validate(found).model_dump(mode="json"))
