"""HTTP schemas of wear batches: which wear days are put and removed in one request?"""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import Field, create_model, model_validator

from solespan.api.schemas.fields import column_type, described
from solespan.api.schemas.rack.records import RECORDS, Answer, Message
from solespan.forecast.frames import WEAR_DAYS

__all__ = ["MOST_ROWS", "WearBatch", "WearBatchDone"]

MOST_ROWS = 500
_DAYS = RECORDS["wear_days"]
_Version = Annotated[int, Field(ge=1, lt=2**31)]


def _version(left_out: str) -> Any:
    text = f"the stored version that this row changes; left out = {left_out}. Unit: changes"
    return (_Version | None, Field(default=None, description=text))


WearDayPut: Any = create_model(
    "WearDayPut",
    __base__=_DAYS.created,
    __doc__="A wear day as it should be.",
    version=_version("the day is not logged yet"),
)
_KEY: dict[str, Any] = {
    name: (column_type(column), Field(description=described(column)))
    for name, column in WEAR_DAYS.by_name.items()
    if name in WEAR_DAYS.key
}
WearDayRemoved: Any = create_model(
    "WearDayRemoved",
    __base__=Message,
    __doc__="A wear day that should not be logged.",
    **_KEY,
    version=_version("any version"),
)


class WearBatch(Message):
    """Wear days to put and to remove: all of them or none."""

    put: list[WearDayPut] = Field(
        default_factory=list,
        max_length=MOST_ROWS,
        description="wear days as they should be. Unit: none (list)",
    )
    remove: list[WearDayRemoved] = Field(
        default_factory=list,
        max_length=MOST_ROWS,
        description="wear days that should not be logged. Unit: none (list)",
    )

    @model_validator(mode="after")
    def _not_too_many(self) -> Self:
        if len(self.put) + len(self.remove) > MOST_ROWS:
            raise ValueError(f"a batch holds at most {MOST_ROWS} rows")
        return self


class WearBatchDone(Answer):
    """What a batch did, in rows."""

    created: int = Field(description="days that were not logged before. Unit: rows")
    replaced: int = Field(description="days with other values than before. Unit: rows")
    deleted: int = Field(description="days that are not logged any more. Unit: rows")
    unchanged: int = Field(description="rows that stood as wanted. Unit: rows")
