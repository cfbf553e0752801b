"""HTTP schemas of revisions: which fields do changes, a record's history and an undoing have?"""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import Field, create_model

from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.rack.records import Answer, Message, page_fields

__all__ = ["OtherPair", "RecordHistory", "RevisionFilters", "RevisionPage", "Undone"]

_filters: dict[str, Any] = page_fields() | {
    "deletions": (
        bool,
        Field(default=False, description="only deletions that still hold. Unit: true or false"),
    )
}
RevisionFilters: type[Message] = create_model(
    "RevisionFilters", __base__=Message, __doc__="Which page of the list.", **_filters
)


class OtherPair(Message):
    """Where a record belongs."""

    pair_id: KnownId = Field(description="the pair. Unit: none (identifier)")


Kind = Literal["created", "changed", "deleted"]


class RevisionPart(Answer):
    """What a revision did to the records of one table."""

    table: str = Field(description="the table. Unit: none (word)")
    kind: Kind = Field(description="what was done. Unit: none (word)")
    rows: int = Field(description="how many records. Unit: rows")
    record_key: str | None = Field(
        description="key of the record, its parts divided by slashes, where it is one that people "
        "know. Unit: none (text)"
    )
    label: str | None = Field(description="its name or its pair's. Unit: none (text)")


class RevisionAnswer(Answer):
    """Everything that one request, command or import changed."""

    revision_id: str = Field(description="the revision. Unit: none (identifier)")
    at: dt.datetime = Field(description="when. Unit: moment, ISO 8601")
    actor: str | None = Field(description="who, where people sign in. Unit: none (text)")
    action: str | None = Field(description="by which route or command. Unit: none (text)")
    import_id: str | None = Field(description="the import it was. Unit: none (identifier)")
    source: str | None = Field(description="source of that import. Unit: none (text)")
    undone_at: dt.datetime | None = Field(description="when it was undone. Unit: moment, ISO 8601")
    is_undoing: bool = Field(description="whether it undid another. Unit: true or false")
    parts: list[RevisionPart] = Field(description="by table, parents first. Unit: none (list)")


class RevisionPage(Answer):
    """One page of revisions."""

    items: list[RevisionAnswer] = Field(description="newest first. Unit: none (list)")
    next: str | None = Field(
        description="pass it as `after` for the next page; null on the last one. "
        "Unit: none (opaque text)"
    )


class HistoryEntry(Answer):
    """One change of a record."""

    line: int = Field(description="number of the entry. Unit: none (number)")
    revision_id: str = Field(description="the revision. Unit: none (identifier)")
    kind: Kind = Field(description="what was done. Unit: none (word)")
    at: dt.datetime = Field(description="when. Unit: moment, ISO 8601")
    actor: str | None = Field(description="who, where people sign in. Unit: none (text)")
    undone: bool = Field(description="whether it was undone since. Unit: true or false")
    is_undoing: bool = Field(description="whether it undid another. Unit: true or false")
    before: dict[str, Any] | None = Field(description="the values before. Unit: none (object)")
    after: dict[str, Any] | None = Field(description="the values after. Unit: none (object)")


class RecordHistory(Answer):
    """How a record was changed in the last 30 days."""

    key: str = Field(description="its key, the parts divided by slashes. Unit: none (text)")
    now: dict[str, Any] | None = Field(
        description="its values now; null where it is deleted. Unit: none (object)"
    )
    entries: list[HistoryEntry] = Field(description="newest first. Unit: none (list)")


class Undone(Answer):
    """The answer to an undoing."""

    revision_id: str = Field(
        description="the revision that undid it, to be undone in its turn. An import that was "
        "undone is imported again instead. Unit: none (identifier)"
    )
