"""HTTP schemas of many consents: whom does each way reach, and what is written down of them?"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from solespan.api.schemas.notices.notices import ChannelName, Line
from solespan.api.schemas.rack.records import Answer, Message

__all__ = ["BASES", "MOST_HOW", "ConsentReach", "ManyConsents", "ManyConsentsWritten"]

# Regulation (EU) 2016/679, Article 6(1), from memory: the points that a shop can name here.
BASES = (
    "consent, GDPR Article 6(1)(a)",
    "contract, GDPR Article 6(1)(b)",
    "legitimate interest, GDPR Article 6(1)(f)",
    "another, as stated",
)
MOST_HOW = 140  # characters: with the basis they fit what a consent keeps
Basis = Literal[BASES]  # type: ignore[valid-type]


class ManyConsents(Message):
    """All customers whom a way reaches, and who never answered about it, agreed to it."""

    channel: ChannelName = Field(description="by which way. Unit: none (word)")
    basis: Basis = Field(description="the legal basis. Unit: none (text)")
    how: Annotated[Line, StringConstraints(min_length=1, max_length=MOST_HOW)] = Field(
        description="what shows it: the form of 2026, ... Unit: none (text)"
    )
    by: Annotated[Line, StringConstraints(min_length=1)] = Field(
        description="who writes it down. Unit: none (text)"
    )
    customers: int = Field(
        ge=0, description="how many they are; another number writes nothing. Unit: customers"
    )


class ChannelReach(Answer):
    """How many customers one way reaches who never answered about it."""

    channel: str = Field(description="the way. Unit: none (word)")
    customers: int = Field(description="how many they are. Unit: customers")


class ConsentReach(Answer):
    """Whom each way reaches, and the legal bases that can be named."""

    items: list[ChannelReach] = Field(description="each way. Unit: none (list)")
    bases: list[str] = Field(description="the legal bases. Unit: none (list)")


class ManyConsentsWritten(Answer):
    """What was written down."""

    channel: str = Field(description="the way. Unit: none (word)")
    customers: int = Field(description="of how many customers. Unit: customers")
