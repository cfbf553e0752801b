"""HTTP routes of hooks: what does a shop's own software get, as the description says it?

No request comes in here: these are the `webhooks` of the OpenAPI document. `api.channels.webhook`
sends them to the address in the shop's rules.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header

from solespan.api.schemas.notices.hooks import NoticeHook

__all__ = ["router"]

router = APIRouter(tags=["notices"])


@router.post(
    "notice",
    response_model=None,
    status_code=204,
    openapi_extra={"security": [{"signature": []}]},
    responses={
        204: {"description": "Taken; any status of 200 to 299 will do"},
        "4XX": {"description": "Refused for good, but for 408, 425 and 429"},
        "5XX": {"description": "Not now: the same notice is posted again later"},
    },
)
def post_notice(
    body: NoticeHook,
    solespan_timestamp: Annotated[
        str, Header(description="when it was sent; refuse an old one. Unit: instant, ISO 8601")
    ],
    solespan_signature: Annotated[
        str,
        Header(
            description="sha256= and in hex the HMAC-SHA256 (RFC 2104) of timestamp, a dot and the "
            "body, under the key that the notice settings show. Unit: none (text)"
        ),
    ],
    idempotency_key: Annotated[
        str, Header(description="the notice_id in quotes, at every attempt. Unit: none (text)")
    ],
) -> None:
    """Take one notice to one customer. Compare the signature before anything else."""
