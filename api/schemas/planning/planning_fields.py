"""HTTP schemas of planning fields.

How does a message of planning say what a field means and in which unit?
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, StringConstraints

__all__ = [
    "Currency",
    "Line",
    "Minor",
    "Month",
    "Weight",
    "date_field",
    "field",
    "id_field",
    "text_field",
]

Month = Annotated[int, Field(ge=1, le=12)]
Weight = Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)]
Minor = Annotated[int, Field(ge=0, le=1_000_000_000)]
Line = Annotated[str, StringConstraints(max_length=200, pattern=r"^[^\x00]*$")]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]


def field(meaning: str, unit: str, **more: Any) -> Any:
    """Make a field described as `meaning. Unit: unit`; `more` goes to pydantic's Field."""
    return Field(description=f"{meaning}. Unit: {unit}", **more)


def id_field(meaning: str, **more: Any) -> Any:
    """Make a field that holds an identifier."""
    return field(meaning, "none (identifier)", **more)


def date_field(meaning: str, **more: Any) -> Any:
    """Make a field that holds a day."""
    return field(meaning, "calendar date, ISO 8601", **more)


def text_field(meaning: str, **more: Any) -> Any:
    """Make a field that holds words for people."""
    return field(meaning, "none (text)", **more)
