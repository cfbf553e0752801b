"""Command messages.

How is what was typed at a command read as a message of the schemas, or refused in words?
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from solespan.api.errors import Refused

__all__ = ["read_message"]

M = TypeVar("M", bound=BaseModel)


def read_message(make: Callable[[], M]) -> M:
    """Read a message; a mistake names the field and what it accepts. Raises `Refused`."""
    try:
        return make()
    except ValidationError as cause:
        first = cause.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the message"
        raise Refused(
            f"{where}: {first['msg'].removeprefix('Value error, ')}.",
            where=where,
            remedy="Correct it and try again; nothing was changed.",
        ) from None
