"""HTTP schemas of hooks: what does the service post to a shop's own software?"""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from solespan.api.schemas.rack.records import Answer

__all__ = ["NoticeHook", "NoticeHookPair"]


class NoticeHookPair(Answer):
    """One pair of a notice, in the words of the notice."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    label: str = Field(description="what its owner calls it. Unit: none (text)")
    when: str = Field(description="when it needs a new sole. Unit: none (text)")
    sure: str = Field(description="how sure that is. Unit: none (text)")
    bring_by: str = Field(description="when to bring it; empty = not said. Unit: none (text)")
    stop_wearing: bool = Field(description="whether to stop wearing it. Unit: true or false")
    first_foot: str = Field(description="the foot that is due first, or empty. Unit: none (word)")
    book_link: str = Field(description="the customer books work. Unit: none (address)")
    check_link: str = Field(description="the customer asks for a check. Unit: none (address)")
    elsewhere_link: str = Field(description="the work is done elsewhere. Unit: none (address)")
    decline_link: str = Field(description="the customer wants no new sole. Unit: none (address)")


class NoticeHook(Answer):
    """One notice to one customer; the same at every attempt."""

    kind: Literal["notice"] = Field(description="always notice. Unit: none (word)")
    notice_id: str = Field(description="stable identifier. Unit: none (identifier)")
    message_id: str = Field(description="drop one that came before. Unit: none (identifier)")
    made_at: dt.datetime = Field(description="when it was written. Unit: instant, ISO 8601")
    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    name: str = Field(description="the customer's name, or empty. Unit: none (text)")
    subject: str = Field(description="one line. Unit: none (text)")
    text: str = Field(description="the notice as plain text. Unit: none (text)")
    unsubscribe: str = Field(description="ends all notices. Unit: none (address)")
    pairs: list[NoticeHookPair] = Field(description="the pairs that it is about. Unit: none (list)")
