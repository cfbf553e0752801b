"""HTTP schemas of service: which fields do problem documents and health answers have?"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from solespan.api.schemas.rack.records import Answer

__all__ = ["Alive", "FieldError", "Finding", "Findings", "Problem", "Ready"]


class FieldError(Answer):
    """One field that is not accepted: a pointer into the body, or a parameter's name."""

    pointer: str | None = Field(
        default=None, description="JSON pointer into the body (RFC 6901). Unit: none (text)"
    )
    parameter: str | None = Field(
        default=None, description="name of a path, query or header parameter. Unit: none (text)"
    )
    detail: str = Field(description="why it is not accepted. Unit: none (text)")
    accepted: str | None = Field(
        default=None, description="what would be accepted. Unit: none (text)"
    )


class Problem(BaseModel):
    """An error (RFC 9457); kinds may add members."""

    model_config = ConfigDict(extra="allow")

    type: str = Field(description="relative address of the kind. Unit: none (URI reference)")
    title: str = Field(description="the kind in a few words. Unit: none (text)")
    status: int = Field(description="HTTP status. Unit: none (status code)", ge=400, le=599)
    detail: str = Field(description="what is wrong this time. Unit: none (text)")
    remedy: str = Field(description="what to do. Unit: none (text)")
    instance: str | None = Field(
        default=None, description="path of the request. Unit: none (URI reference)"
    )
    request_id: str | None = Field(
        default=None, description="finds the request in the log. Unit: none (identifier)"
    )
    errors: list[FieldError] | None = Field(
        default=None, description="the fields not accepted. Unit: none (list)"
    )


class Alive(Answer):
    """The process answers."""

    status: Literal["alive"] = Field(description="always alive. Unit: none (word)")


class Ready(Answer):
    """The service can do its work."""

    status: Literal["ready"] = Field(description="always ready; else a 503. Unit: none (word)")
    database: Literal["ready"] | None = Field(
        default=None,
        description="the database answers and has this program's schema; only who may manage the "
        "tenant is told. Unit: none (word)",
    )
    fit: Literal["none", "fitted", "running", "failed"] | None = Field(
        default=None,
        description="state of the wear model; only who may manage the tenant is told. "
        "Unit: none (word)",
    )


class Finding(Answer):
    """One thing that `solespan doctor` looked at."""

    subject: str = Field(description="what was looked at. Unit: none (text)")
    state: Literal["ok", "warning", "wrong"] = Field(
        description="wrong needs work now, warning soon. Unit: none (word)"
    )
    what: str = Field(description="how it is. Unit: none (text)")
    remedy: str = Field(description="what to do; empty = nothing. Unit: none (text)")


class Findings(Answer):
    """Everything that `solespan doctor` looked at."""

    status: Literal["ok", "wrong"] = Field(
        description="whether something must be done now. Unit: none (word)"
    )
    items: list[Finding] = Field(description="each thing. Unit: none (list)")
