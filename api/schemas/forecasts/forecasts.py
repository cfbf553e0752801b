"""HTTP schemas of forecasts.

Which fields do forecasts, their explanation, wear paths and fits have when answered?

The forecast's columns come from `forecast.frames.FORECAST`, so the answer and the forecast file say
the same.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import Field, create_model

from solespan.api.schemas.fields import KnownId, PlainDate, answered_type, described
from solespan.api.schemas.rack.records import Answer, Message, page_fields
from solespan.forecast.frames import BANDS, FEET, FORECAST, WEARING_POINTS

__all__ = [
    "FitState",
    "ForecastFilters",
    "ForecastPage",
    "ForecastRow",
    "PairForecast",
    "PathFilters",
    "PathSeries",
    "WearPath",
]

_columns: dict[str, Any] = {
    c.name: (
        answered_type(c) if c.required else answered_type(c) | None,
        Field(description=described(c)),
    )
    for c in FORECAST
}
ForecastRow: type[Answer] = create_model(
    "ForecastRow", __base__=Answer, __doc__="One row of the forecast file.", **_columns
)

_Foot: Any = Literal[FEET] | None
_Point: Any = Literal[WEARING_POINTS] | None
_items: Any = list[ForecastRow]  # type: ignore[valid-type]


class ForecastPage(Answer):
    """One page of the due list."""

    items: _items = Field(description="rows by send-by date. Unit: none (list)")
    next: str | None = Field(
        description="pass it as `after` for the next page; null on the last one. "
        "Unit: none (opaque text)"
    )


def _word(words: tuple[str, ...], meaning: str) -> Any:
    return (
        Literal[words] | None,
        Field(default=None, description=f"{meaning}. Unit: none (word)"),
    )


_narrowed: dict[str, Any] = {
    **page_fields(),
    "wearer_id": (
        KnownId | None,
        Field(default=None, description="whose pairs. Unit: none (identifier)"),
    ),
    "band": _word(BANDS, "only this band"),
    "foot": _word((*FEET, "pair"), "only this foot; pair = the first of the two"),
    "point": _word(WEARING_POINTS, "only this point"),
    "send_by_before": (
        PlainDate | None,
        Field(
            default=None,
            description="send-by date before this day. Unit: calendar date, ISO 8601",
        ),
    ),
}
ForecastFilters: type[Message] = create_model(
    "ForecastFilters", __base__=Message, __doc__="What the due list is narrowed by.", **_narrowed
)


class PathFilters(Message):
    """What a wear path is narrowed by."""

    foot: _Foot = Field(default=None, description="only this foot. Unit: none (word)")
    point: _Point = Field(default=None, description="only this point. Unit: none (word)")


class Driver(Answer):
    """What moves a pair's wear away from the usual."""

    driver: str = Field(description="what it is. Unit: none (text)")
    effect_percent: float | None = Field(description="change of the wear rate. Unit: percent")
    low_percent: float | None = Field(description="lower end of its interval. Unit: percent")
    high_percent: float | None = Field(description="upper end of its interval. Unit: percent")
    note: str | None = Field(description="what it is based on. Unit: none (text)")


class NextCheck(Answer):
    """What one more check would bring."""

    foot: str = Field(description="which shoe. Unit: none (word)")
    point: str = Field(description="where on the sole. Unit: none (word)")
    method: str = Field(description="how to judge it. Unit: none (word)")
    interval_days_now: float | None = Field(
        description="width of the due date's 80 % interval now. Unit: d"
    )
    interval_days_after: float | None = Field(
        description="expected width after that check. Unit: d"
    )


class PairForecast(Answer):
    """The forecast of one pair and why it says so."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    state: Literal["ready", "pending"] = Field(
        description="pending = no forecast is stored yet. Unit: none (word)"
    )
    rows: _items = Field(description="by foot and point. Unit: none (list)")
    sentences: list[str] = Field(description="what drives the date. Unit: none (text)")
    drivers: list[Driver] = Field(description="the same as a table. Unit: none (list)")
    next_checks: list[NextCheck] = Field(
        description="checks that would narrow the date, best first. Unit: none (list)"
    )


class PathSeries(Answer):
    """Thickness over time at one point of one foot; the lists have one entry per date."""

    sole_id: str = Field(description="the sole. Unit: none (identifier)")
    foot: str = Field(description="which shoe. Unit: none (word)")
    point: str = Field(description="where on the sole. Unit: none (word)")
    limit_mm: float | None = Field(description="limit at this point. Unit: mm")
    on_date: list[dt.date] = Field(description="days. Unit: calendar date, ISO 8601")
    thickness_mm_p10: list[float | None] = Field(description="10 % quantile. Unit: mm")
    thickness_mm_p50: list[float | None] = Field(description="median. Unit: mm")
    thickness_mm_p90: list[float | None] = Field(description="90 % quantile. Unit: mm")
    ahead: list[bool] = Field(description="after as_of: a forecast. Unit: true or false")


class WearPath(Answer):
    """Fitted and expected thickness of one pair."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    as_of: dt.date = Field(description="day it was made for. Unit: calendar date, ISO 8601")
    series: list[PathSeries] = Field(description="by foot and point. Unit: none (list)")


class FitState(Answer):
    """Whether the wear model is fitted, and what is being done about it."""

    state: Literal["none", "fitted", "running", "failed"] = Field(
        description="none = never fitted. Unit: none (word)"
    )
    step: str | None = Field(description="what is being done now. Unit: none (text)")
    fraction: float | None = Field(description="how much of it is done, 0 to 1. Unit: fraction")
    problem: str | None = Field(description="why the last attempt failed. Unit: none (text)")
    fit_id: str | None = Field(description="the newest fit. Unit: none (identifier)")
    as_of: dt.date | None = Field(
        description="day the newest fit was made for. Unit: calendar date, ISO 8601"
    )
    fitted_at: dt.datetime | None = Field(
        description="when it was made. Unit: instant, ISO 8601 with offset"
    )
    pending_wearers: int = Field(
        description="wearers whose forecasts are missing or behind. Unit: wearers"
    )
