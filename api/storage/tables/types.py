"""Column types: how do instants and whole numbers look the same on both databases?"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import BigInteger, DateTime, Dialect, Integer
from sqlalchemy.types import TypeDecorator

__all__ = ["BigId", "UtcDateTime"]

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BigId = BigInteger().with_variant(Integer(), "sqlite")


class UtcDateTime(TypeDecorator[datetime]):
    """An instant: aware in Python, UTC in the database, on SQLite without an offset."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an aware datetime into UTC; a naive one is a mistake of the program."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs a time zone")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give every instant back aware and in UTC."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
