"""HTTP schemas of batches: which records of one kind are put and removed in one request?

`Batch` has the models of one table: a record to put, a key to remove, and both lists.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, create_model, model_validator

from solespan.api.schemas.fields import column_type, described
from solespan.api.schemas.rack.records import RECORDS, Answer, Message, Record

__all__ = ["BATCHES", "MOST_ROWS", "Batch", "BatchDone"]

MOST_ROWS = 500
_Version = Annotated[int, Field(ge=1, lt=2**31)]


class BatchDone(Answer):
    """What a batch did, in rows."""

    created: int = Field(description="records that were not there before. Unit: rows")
    replaced: int = Field(description="records with other values than before. Unit: rows")
    deleted: int = Field(description="records that are gone. Unit: rows")
    unchanged: int = Field(description="rows that stood as wanted. Unit: rows")


class _Lists(Message):
    """Both lists of a batch; models of tables say what stands in them."""

    @model_validator(mode="after")
    def _not_too_many(self) -> Any:
        given: dict[str, Any] = dict(self)
        if len(given["put"]) + len(given["remove"]) > MOST_ROWS:
            raise ValueError(f"a batch holds at most {MOST_ROWS} rows")
        return self


@dataclass(frozen=True)
class Batch:
    """One kind of batch: its kind of record, and the model of its request."""

    record: Record
    model: Any


def _version(left_out: str) -> Any:
    text = f"the stored version that this row changes; left out = {left_out}. Unit: changes"
    return (_Version | None, Field(default=None, description=text))


def _rows(kind: Any, meaning: str) -> Any:
    text = f"{meaning}. Unit: none (list)"
    return (list[kind], Field(default_factory=list, max_length=MOST_ROWS, description=text))


def _batch(record: Record) -> Batch:
    stem = record.stem
    put = create_model(
        f"{stem}Put",
        __base__=record.created,
        __doc__=f"A {record.one} as it should be.",
        version=_version("it is not there yet"),
    )
    key: dict[str, Any] = {
        name: (column_type(column), Field(description=described(column)))
        for name, column in record.table.by_name.items()
        if name in record.table.key
    }
    removed = create_model(
        f"{stem}Removed",
        __base__=Message,
        __doc__=f"A {record.one} that should not be there.",
        **key,
        version=_version("any version"),
    )
    model = create_model(
        f"{stem}Batch",
        __base__=_Lists,
        __doc__=f"Records of kind {record.one} to put and to remove: all of them or none.",
        put=_rows(put, "records as they should be"),
        remove=_rows(removed, "records that should not be there"),
    )
    return Batch(record, model)


BATCHES = {name: _batch(record) for name, record in RECORDS.items()}
