"""HTTP routes of hooks: what does a shop's own software get, as the description says it?

No request comes in here: these are the `webhooks` of the OpenAPI document. Notices go to the
address in the shop's rules, events to the endpoints that are set up. All are signed by the open
Standard Webhooks specification, version 1.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Header

from solespan.api.bench_words import EVENT_KINDS
from solespan.api.schemas.notices.hooks import (
    AnswerEvent,
    BandEvent,
    NoticeHook,
    OrderEvent,
    SoleEvent,
)
from solespan.api.schemas.rack.records import Answer

__all__ = ["router"]

router = APIRouter(tags=["notices"])
Identifier = Annotated[
    str, Header(description="the same at every attempt; drop a repeat. Unit: none (text)")
]
Moment = Annotated[
    str, Header(description="when it was sent; refuse an old one. Unit: seconds since 1970 in UTC")
]
Signature = Annotated[
    str,
    Header(
        description="v1 and, after a comma, in base64 the HMAC-SHA256 (RFC 2104) of identifier, "
        "timestamp and body, joined by dots. A space parts several. Unit: none (text)"
    ),
]
_TAKEN: dict[str, Any] = {
    "response_model": None,
    "status_code": 204,
    "openapi_extra": {"security": [{"signature": []}]},
    "responses": {
        204: {"description": "Taken; any status of 200 to 299 will do"},
        "4XX": {"description": "Refused for good, but for 408, 425 and 429"},
        "5XX": {"description": "Not now: the same message is posted again later"},
    },
}
_BODIES: dict[str, type[Answer]] = {
    "sole.fitted": SoleEvent,
    "notice.answered": AnswerEvent,
    "forecast.band_changed": BandEvent,
}


@router.post("notice", **_TAKEN)
def post_notice(
    body: NoticeHook,
    webhook_id: Identifier,
    webhook_timestamp: Moment,
    webhook_signature: Signature,
) -> None:
    """Take one notice to one customer. Compare the signature before anything else."""


def _add_event(kind: str) -> None:
    """Describe one kind of event."""

    def post_event(
        body: Any,
        webhook_id: Identifier,
        webhook_timestamp: Moment,
        webhook_signature: Signature,
    ) -> None:
        """Take one event. Compare the signature before anything else."""

    post_event.__annotations__["body"] = _BODIES.get(kind, OrderEvent)
    name = f"post_{kind.replace('.', '_')}"
    router.add_api_route(kind, post_event, methods=["POST"], name=name, **_TAKEN)


for _kind in EVENT_KINDS:
    _add_event(_kind)
