"""HTTP schemas of hook endpoints: which addresses are told of events, and what were they told?"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, field_validator

from solespan.api.bench_words import EVENT_KINDS
from solespan.api.schemas.fields import KnownId, with_a_host
from solespan.api.schemas.rack.records import MAX_PAGE, Answer, Message

__all__ = [
    "HookEndpoint",
    "HookEndpointGiven",
    "HookEndpoints",
    "HookEventFilters",
    "HookEventPage",
    "HookEventResent",
    "HookEventSent",
    "HookSecret",
]

EventKind = Literal[EVENT_KINDS]  # type: ignore[valid-type]
EventState = Literal["pending", "sent", "failed", "cancelled"]
Url = Annotated[
    str,
    StringConstraints(
        max_length=500, pattern=r"^https?://[^\s\x00-\x1f\x7f/@]+(/[^\s\x00-\x1f\x7f]*)?$"
    ),
    AfterValidator(with_a_host),
]
Note = Annotated[str, StringConstraints(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]


class HookEndpointGiven(Message):
    """An address that is to be told of events."""

    url: Url = Field(description="where events are posted to. Unit: none (address)")
    kinds: list[EventKind] = Field(
        default_factory=list,
        max_length=len(EVENT_KINDS),
        description="kinds of event; empty = all. Unit: none (list)",
    )
    note: Note | None = Field(default=None, description="what it is for. Unit: none (text)")
    active: bool = Field(default=True, description="whether it is told. Unit: true or false")

    @field_validator("kinds")
    @classmethod
    def _once_each(cls, kinds: list[str]) -> list[str]:
        return [kind for kind in EVENT_KINDS if kind in kinds]


class HookEndpoint(Answer):
    """An endpoint as it is kept; its secret is read apart."""

    endpoint_id: str = Field(description="stable identifier. Unit: none (identifier)")
    url: str = Field(description="where events are posted to. Unit: none (address)")
    kinds: list[str] = Field(description="kinds of event; empty = all. Unit: none (list)")
    note: str | None = Field(description="what it is for. Unit: none (text)")
    active: bool = Field(description="whether it is told. Unit: true or false")
    old_secret_until: dt.datetime | None = Field(
        description="until when the secret before signs as well. Unit: instant, ISO 8601"
    )
    version: int = Field(description="counts the changes. Unit: changes")
    created_at: dt.datetime = Field(description="when it was set up. Unit: instant, ISO 8601")


class HookEndpoints(Answer):
    """Every endpoint."""

    items: list[HookEndpoint] = Field(description="the oldest first. Unit: none (list)")


class HookSecret(Answer):
    """The secret that signs for one endpoint."""

    secret: str = Field(description="whsec_ and 32 bytes in base64. Unit: none (text)")


class HookEventFilters(Message):
    """Which events are listed."""

    endpoint_id: KnownId | None = Field(
        default=None, description="only to this endpoint. Unit: none (identifier)"
    )
    state: EventState | None = Field(default=None, description="only in it. Unit: none (word)")
    after: Annotated[str, StringConstraints(max_length=1000)] | None = Field(
        default=None, description="`next` of the page before. Unit: none (opaque text)"
    )
    limit: int = Field(default=100, ge=1, le=MAX_PAGE, description="most events. Unit: events")


class HookEventSent(Answer):
    """One event on its way to one endpoint."""

    event_id: str = Field(description="the webhook-id at every attempt. Unit: none (identifier)")
    endpoint_id: str = Field(description="to which endpoint. Unit: none (identifier)")
    kind: EventKind = Field(description="what happened. Unit: none (word)")
    payload: dict[str, Any] = Field(description="the data of the event. Unit: none (object)")
    made_at: dt.datetime = Field(description="when it happened. Unit: instant, ISO 8601")
    state: EventState = Field(description="where it is. Unit: none (word)")
    attempts: int = Field(description="how often it was sent. Unit: attempts")
    next_try_at: dt.datetime = Field(description="next or last due time. Unit: instant, ISO 8601")
    problem: str | None = Field(description="why the last attempt failed. Unit: none (text)")
    done_at: dt.datetime | None = Field(description="when it ended. Unit: instant, ISO 8601")


class HookEventPage(Answer):
    """Some events."""

    items: list[HookEventSent] = Field(description="newest first. Unit: none (list)")
    next: str | None = Field(
        description="pass it as `after` for the next page; null on the last one. "
        "Unit: none (opaque text)"
    )


class HookEventResent(Answer):
    """An event that goes out again."""

    event_id: str = Field(description="its identifier stays. Unit: none (identifier)")
    state: EventState = Field(description="where it is. Unit: none (word)")
