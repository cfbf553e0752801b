"""HTTP schema of a shop: what is true of all its customers until one says otherwise?"""

from __future__ import annotations

from pydantic import Field, field_validator

from solespan.api.clock import is_time_zone
from solespan.api.schemas.rack.records import Message

__all__ = ["ShopChoices"]


class ShopChoices(Message):
    """What customers inherit from their shop."""

    time_zone: str | None = Field(
        default=None,
        max_length=40,
        title="Time zone, such as Europe/Vienna",
        description="time zone of customers who give none; null = UTC. Unit: none (IANA name)",
    )

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str | None) -> str | None:
        if name is not None and not is_time_zone(name):
            raise ValueError("give an IANA name, such as Europe/Vienna")
        return name
