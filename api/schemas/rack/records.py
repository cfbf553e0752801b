"""HTTP schemas of records.

Which fields does a logged record have when it is created, replaced, and answered?

The models are made from `forecast.frames.TABLES`. `created` holds the columns that a caller may
give, `replaced` the same without key and owner, `amended` all that are no ids. `answered` holds
every stored column and the row's version. `filters` holds the filters of a list. Unknown fields are
refused.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, create_model

from solespan.api.schemas.fields import NewId, PlainDate, answered_type, column_type, described
from solespan.forecast.frames import TABLES, Column, Table

__all__ = ["RECORDS", "Answer", "Message", "Record", "page_fields"]

MAX_PAGE = 200


class Message(BaseModel):
    """A message to the service: a field it does not know is an error, not ignored."""

    model_config = ConfigDict(extra="forbid")


class Answer(BaseModel):
    """A message from the service."""

    model_config = ConfigDict(extra="forbid", from_attributes=True)


@dataclass(frozen=True)
class Record:
    """One kind of record: its table, its path under /v1, and its three models."""

    table: Table
    path: str
    one: str
    created: type[Message] = field(init=False)
    replaced: type[Message] = field(init=False)
    amended: type[Message] = field(init=False)
    answered: type[Answer] = field(init=False)
    page: type[Answer] = field(init=False)
    filters: type[Message] = field(init=False)

    def __post_init__(self) -> None:
        """Make the models from the table's columns."""
        stem = self.stem
        own_id = self.table.key[0] if len(self.table.key) == 1 else ""
        columns = self.table.stored
        rest = [c for c in columns if c.name not in self.table.key and c.kind != "id"]
        given = {c.name: _given(c, optional=c.name == own_id) for c in columns}
        answered = {c.name: _answered(c) for c in columns}
        answered["version"] = (
            int,
            Field(description="counts the changes of this row; its ETag. Unit: changes"),
        )
        make = object.__setattr__
        make(self, "created", _model(f"{stem}Create", Message, f"A {self.one} to log.", given))
        make(
            self,
            "replaced",
            _model(
                f"{stem}Replace",
                Message,
                f"A {self.one} as it should be from now on; a field left out takes its default.",
                {c.name: _given(c, optional=False) for c in rest},
            ),
        )
        corrected = [c for c in columns if c.kind != "id"]
        make(
            self,
            "amended",
            _model(
                f"{stem}Amend",
                Message,
                f"What to correct in a {self.one}; a field left out stays as it is.",
                {c.name: _amended(c) for c in corrected},
            ),
        )
        make(self, "answered", _model(stem, Answer, f"A {self.one} as stored.", answered))
        make(self, "page", _page(f"{stem}Page", self.answered))
        make(self, "filters", _filters(f"{stem}Filters", self.table))

    @property
    def day(self) -> str:
        """The date column that `since` and `until` narrow, empty where there is none."""
        required = [c.name for c in self.table.stored if c.kind == "date" and c.required]
        return required[0] if required else ""

    @property
    def stem(self) -> str:
        """What the names of its models begin with."""
        return "".join(word.title() for word in self.one.split())

    @property
    def subject(self) -> str:
        """The subject that its operations belong to."""
        return "bench" if self.name == "bench_jobs" else "rack"

    def operation(self, verb: str) -> str:
        """Name an operation on it: a verb and a noun."""
        noun = self.name if verb == "list" else self.one.replace(" ", "_")
        return f"read_{noun}_history" if verb == "trace" else f"{verb}_{noun}"

    @property
    def name(self) -> str:
        """The name of the table."""
        return self.table.name


def _model(name: str, base: type[Any], doc: str, fields: dict[str, Any]) -> Any:
    return create_model(name, __base__=base, __doc__=doc, **fields)


def _page(name: str, item: type[Answer]) -> Any:
    fields = {
        "items": (list[item], Field(description="the rows of this page. Unit: none (list)")),  # type: ignore[valid-type]
        "next": (
            str | None,
            Field(
                description="pass it as `after` for the next page; null on the last one. "
                "Unit: none (opaque text)"
            ),
        ),
    }
    return _model(name, Answer, "One page of a list.", fields)


def page_fields() -> dict[str, Any]:
    """Return the query parameters every list has."""
    return {
        "limit": (
            int,
            Field(default=50, ge=1, le=MAX_PAGE, description="rows on a page. Unit: rows"),
        ),
        "after": (
            str | None,
            Field(
                default=None,
                max_length=1000,
                description="`next` of the page before. Unit: none (opaque text)",
            ),
        ),
    }


def _filters(name: str, table: Table) -> Any:
    ids = {"wearer_id": TABLES["wearers"].columns[0]} if table.name != "wearers" else {}
    ids |= {c.name: c for c in table.stored if c.kind == "id" and (c.name,) != table.key}
    words = {c.name: c for c in table.stored if c.kind == "word"}
    fields = {
        c.name: (column_type(c) | None, Field(default=None, description=described(c)))
        for c in (ids | words).values()
    }
    days = [c for c in table.stored if c.kind == "date" and c.required]
    for side, meaning in (("since", "first"), ("until", "last")) if days else ():
        text = f"{meaning} {days[0].name} wanted. Unit: calendar date, ISO 8601"
        fields[side] = (PlainDate | None, Field(default=None, description=text))
    return _model(name, Message, "What a list is narrowed by.", page_fields() | fields)


def _given(column: Column, *, optional: bool) -> Any:
    kind = NewId if optional else column_type(column)
    if column.required and not optional:
        return (kind, Field(description=described(column)))
    if optional:
        text = described(column, "; left out = the service makes one")
        return (kind | None, Field(default=None, description=text))
    if column.name == "time_zone":
        text = described(column, "; left out = the shop's")
        return (kind | None, Field(default=None, description=text))
    if column.default is not None:
        return (kind, Field(default=column.default, description=described(column)))
    return (kind | None, Field(default=None, description=described(column)))


def _amended(column: Column) -> Any:
    """Describe a field that may be left out; only what need not be given takes null."""
    kind = column_type(column)
    text = described(column, "; left out = as it is")
    return (kind if column.required else kind | None, Field(default=None, description=text))


def _answered(column: Column) -> Any:
    kind = answered_type(column)
    always = column.required or column.default is not None
    return (kind if always else kind | None, Field(description=described(column)))


RECORDS: dict[str, Record] = {
    record.name: record
    for record in (
        Record(TABLES["wearers"], "wearers", "wearer"),
        Record(TABLES["pairs"], "pairs", "pair"),
        Record(TABLES["soles"], "soles", "sole"),
        Record(TABLES["wear_days"], "wear-days", "wear day"),
        Record(TABLES["checks"], "checks", "check"),
        Record(TABLES["bench_jobs"], "bench-jobs", "bench job"),
        Record(TABLES["layers"], "layers", "layer"),
    )
}
