"""HTTP schemas of orders: which fields do bench orders, their moves and their papers have?"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, model_validator

from solespan.api.bench_words import PAPERS, STAGES
from solespan.api.schemas.fields import KnownId, NewId, PlainDate
from solespan.api.schemas.rack.records import MAX_PAGE, Answer, Message
from solespan.forecast.bench.shoe_record import EDGE_LAYERS
from solespan.forecast.frames import FEET, GRADES, MATERIALS, METHODS, POINTS, WORKS

__all__ = [
    "Agreement",
    "BenchPhotoTaken",
    "Condition",
    "Move",
    "NewOrder",
    "Order",
    "OrderChange",
    "OrderFilters",
    "OrderPage",
    "Record",
]

Work = Literal[WORKS]  # type: ignore[valid-type]
Stage = Literal[STAGES]  # type: ignore[valid-type]
Text = Annotated[str, StringConstraints(max_length=2000, pattern=r"^[^\x00]*$")]
Name = Annotated[
    str, StringConstraints(min_length=1, max_length=100, pattern=r"^[^\x00-\x1f\x7f]+$")
]
Millimetres = Annotated[float, Field(ge=0, le=40, allow_inf_nan=False)]
Minutes = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]
Money = Annotated[int, Field(ge=0, le=10**9)]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
Overrule = Annotated[
    str, StringConstraints(min_length=1, max_length=500, pattern=r"^[^\x00-\x1f\x7f]+$")
]
OVERRULE = "reason to take a day that is not free; the history keeps it. Unit: none (text)"
State = Literal["good", "worn", "broken", "missing", "wet", "not seen"]


class NewOrder(Message):
    """A piece of work to book."""

    order_id: NewId | None = Field(
        default=None,
        description="stable identifier; left out = the service makes one. Unit: none (identifier)",
    )
    pair_id: KnownId = Field(description="the pair. Unit: none (identifier)")
    work: Work = Field(description="kind of work. Unit: none (word)")
    more_works: list[Work] = Field(
        default=[],
        max_length=len(WORKS),
        description="further works of the same order. Unit: none (words)",
    )
    expected_on: PlainDate | None = Field(
        default=None, description="day the pair should come. Unit: calendar date, ISO 8601"
    )
    promised_on: PlainDate | None = Field(
        default=None, description="day promised to the owner. Unit: calendar date, ISO 8601"
    )
    by_post: bool = Field(default=False, description="comes by post. Unit: true or false")
    price_minor: Money | None = Field(
        default=None, description="price agreed. Unit: minor unit of currency"
    )
    currency: Currency | None = Field(
        default=None, description="ISO 4217 code of the price. Unit: none (code)"
    )
    note: Text | None = Field(default=None, description="what to know. Unit: none (text)")
    overrule: Overrule | None = Field(default=None, description=OVERRULE)
    warranty_of: KnownId | None = Field(
        default=None,
        description="the order that is redone under warranty. Unit: none (identifier)",
    )
    reason: Text | None = Field(
        default=None, description="why it is redone, for a warranty. Unit: none (text)"
    )

    @model_validator(mode="after")
    def _money(self) -> NewOrder:
        if (self.price_minor is None) != (self.currency is None):
            raise ValueError("price_minor and currency are given together")
        if (self.warranty_of is None) != (self.reason is None):
            raise ValueError("warranty_of and reason are given together")
        return self


class OrderChange(Message):
    """What to correct in an order; a field left out stays, and null empties it."""

    expected_on: PlainDate | None = Field(
        default=None, description="day the pair should come. Unit: calendar date, ISO 8601"
    )
    promised_on: PlainDate | None = Field(
        default=None, description="day promised to the owner. Unit: calendar date, ISO 8601"
    )
    by_post: bool = Field(default=False, description="comes by post. Unit: true or false")
    parcel_in: Name | None = Field(
        default=None, description="number of the parcel to the shop. Unit: none (text)"
    )
    parcel_out: Name | None = Field(
        default=None, description="number of the parcel back. Unit: none (text)"
    )
    sent_to: Name | None = Field(
        default=None, description="the maker it is sent on to. Unit: none (text)"
    )
    back_on: PlainDate | None = Field(
        default=None, description="day it should be back from there. Unit: calendar date, ISO 8601"
    )
    worker: Name | None = Field(default=None, description="who does it. Unit: none (name)")
    bench_minutes: Minutes | None = Field(default=None, description="hands-on time. Unit: minutes")
    price_minor: Money | None = Field(
        default=None, description="price agreed. Unit: minor unit of currency"
    )
    currency: Currency | None = Field(
        default=None, description="ISO 4217 code of the price. Unit: none (code)"
    )
    note: Text | None = Field(default=None, description="what to know. Unit: none (text)")
    overrule: Overrule | None = Field(default=None, description=OVERRULE)


class NewSole(Message):
    """The sole that was fitted; its thickness is what was measured on the finished pair."""

    material: Literal[MATERIALS] = Field(description="what it is made of. Unit: none (word)")  # type: ignore[valid-type]
    cover: Literal["full", "half"] = Field(
        default="full", description="how much it covers. Unit: none (word)"
    )
    channel: Literal["closed", "open", "none"] | None = Field(
        default=None, description="how the stitch lies. Unit: none (word)"
    )
    limit_mm: Millimetres | None = Field(
        default=None, description="its limit; left out = by material. Unit: mm"
    )


class Move(Message):
    """One step of an order to its next stage."""

    to: Stage = Field(description="the stage it goes to. Unit: none (word)")
    version: int = Field(
        ge=1, le=10**9, description="version of the order that was read. Unit: changes"
    )
    on: PlainDate | None = Field(
        default=None, description="day of the step; left out = today. Unit: calendar date, ISO 8601"
    )
    worker: Name | None = Field(default=None, description="who does it. Unit: none (text)")
    parcel_number: Name | None = Field(
        default=None, description="of the parcel sent. Unit: none (text)"
    )
    bench_minutes: Minutes | None = Field(
        default=None, description="hands-on time, for checked. Unit: min"
    )
    sent_to: Name | None = Field(
        default=None, description="the maker, for sent_on. Unit: none (text)"
    )
    back_on: PlainDate | None = Field(
        default=None,
        description="day it should be back, for sent_on. Unit: calendar date, ISO 8601",
    )
    new_sole: NewSole | None = Field(
        default=None, description="for checked, when the work fits a sole. Unit: none (object)"
    )
    reasons: dict[Name, Name] = Field(
        default_factory=dict,
        description="for checked: why a measure that is out may stay so, by measure. "
        "Unit: none (object)",
    )
    note: Text | None = Field(
        default=None, description="what happened; needed for refused. Unit: none (text)"
    )


class Agreement(Message):
    """The customer's yes to a way of the quote, or to works chosen together."""

    works: list[Work] = Field(
        min_length=1,
        max_length=len(WORKS),
        description="all works of the visit. Unit: none (words)",
    )
    version: int = Field(
        ge=1, le=10**9, description="version of the order that was read. Unit: changes"
    )


class Reading(Message):
    """One point of one foot at reception: a thickness, a grade, or both."""

    foot: Literal[FEET] = Field(description="which shoe. Unit: none (word)")  # type: ignore[valid-type]
    point: Literal[POINTS] = Field(description="where. Unit: none (word)")  # type: ignore[valid-type]
    method: Literal[METHODS[:3]] = Field(  # type: ignore[valid-type]
        default="caliper", description="how the thickness was read. Unit: none (word)"
    )
    value_mm: Millimetres | None = Field(default=None, description="thickness. Unit: mm")
    grade: Literal[GRADES] | None = Field(  # type: ignore[valid-type]
        default=None, description="thumb grade. Unit: none (word)"
    )


class FootCondition(Message):
    """The state of one shoe's parts."""

    stitching: State = Field(default="not seen", description="outsole seam. Unit: none (word)")
    welt: State = Field(default="not seen", description="welt. Unit: none (word)")
    heel_block: State = Field(default="not seen", description="heel block. Unit: none (word)")
    toe: State = Field(default="not seen", description="toe. Unit: none (word)")
    shank: State = Field(default="not seen", description="shank. Unit: none (word)")
    cork: State = Field(default="not seen", description="cork filling. Unit: none (word)")
    uppers: State = Field(default="not seen", description="uppers. Unit: none (word)")
    top_piece: State = Field(default="not seen", description="top piece. Unit: none (word)")
    guard: State = Field(default="not seen", description="guard, if any. Unit: none (word)")
    insole: State = Field(default="not seen", description="insole. Unit: none (word)")
    lining: State = Field(default="not seen", description="lining. Unit: none (word)")
    note: Text = Field(default="", description="what else. Unit: none (text)")


class Condition(Message):
    """The condition report at reception."""

    readings: list[Reading] = Field(
        max_length=24, description="points of both feet. Unit: none (list)"
    )
    left: FootCondition = Field(description="left shoe. Unit: none (object)")
    right: FootCondition = Field(description="right shoe. Unit: none (object)")


class FootMeasures(Message):
    """One shoe's measures."""

    thickness_mm: dict[Literal[POINTS], Millimetres] = Field(  # type: ignore[valid-type]
        default_factory=dict, description="sole at each point. Unit: mm"
    )
    width_mm: dict[Literal["ball", "waist", "heel_seat"], Annotated[float, Field(ge=0, le=200)]] = (
        Field(default_factory=dict, description="sole's width. Unit: mm")
    )
    edge_taper_mm: Millimetres | None = Field(
        default=None, description="how much narrower the edge is below. Unit: mm"
    )
    heel_layers_mm: list[Millimetres] = Field(
        default_factory=list, max_length=20, description="heights from the top down. Unit: mm"
    )
    heel_shape: Text = Field(default="", description="shape of the heel block. Unit: none (text)")
    layers_mm: dict[Literal[EDGE_LAYERS], Millimetres] = Field(  # type: ignore[valid-type]
        default_factory=dict, description="layers at the edge. Unit: mm"
    )
    pitch_degrees: Annotated[float, Field(ge=-30, le=60)] | None = Field(
        default=None, description="pitch of the heel. Unit: degrees"
    )
    stitches_per_inch: Annotated[float, Field(gt=0, le=40)] | None = Field(
        default=None, description="outsole seam. Unit: stitches per inch"
    )
    nails: Annotated[int, Field(ge=0, le=500)] | None = Field(
        default=None, description="nails counted. Unit: nails"
    )
    tacks: Annotated[int, Field(ge=0, le=500)] | None = Field(
        default=None, description="tacks counted. Unit: tacks"
    )


class Record(Message):
    """The shoe's record, before stripping or of the finished pair."""

    left: FootMeasures = Field(description="left shoe. Unit: none (object)")
    right: FootMeasures = Field(description="right shoe. Unit: none (object)")
    channel: Literal["closed", "open", "none"] | None = Field(
        default=None, description="how the stitch lies. Unit: none (word)"
    )
    toe_plate: bool | None = Field(default=None, description="has toe plates. Unit: true or false")
    edge_colour: Text = Field(default="", description="finish of the edge. Unit: none (text)")
    bottom_colour: Text = Field(default="", description="finish below. Unit: none (text)")
    correction: Text = Field(
        default="",
        description="why the record before stripping changes after it. Unit: none (text)",
    )


class Event(Answer):
    """One line of an order's audit."""

    at: dt.datetime = Field(description="when it was written. Unit: instant, UTC, ISO 8601")
    from_stage: str | None = Field(description="stage before. Unit: none (word)")
    to_stage: str = Field(description="stage after. Unit: none (word)")
    worker: str | None = Field(description="who. Unit: none (text)")
    details: dict[str, Any] = Field(description="what was said. Unit: none (object)")


class BenchPhotoTaken(Answer):
    """A photograph that is kept."""

    photo_id: str = Field(description="the photograph. Unit: none (identifier)")
    media_type: str = Field(description="kind of image. Unit: none (media type)")
    caption: str | None = Field(description="what it shows. Unit: none (text)")


class Order(Answer):
    """An order as stored."""

    order_id: str = Field(description="stable identifier. Unit: none (identifier)")
    ticket: int | None = Field(description="its short number in the shop. Unit: none (number)")
    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    work: str = Field(description="kind of work. Unit: none (word)")
    more_works: str | None = Field(
        description="further works, separated by spaces. Unit: none (words)"
    )
    stage: str = Field(description="where it stands. Unit: none (word)")
    booked_on: dt.date = Field(description="day booked. Unit: calendar date, ISO 8601")
    expected_on: dt.date | None = Field(description="day expected. Unit: calendar date, ISO 8601")
    promised_on: dt.date | None = Field(description="day promised. Unit: calendar date, ISO 8601")
    by_post: bool = Field(description="comes by post. Unit: true or false")
    parcel_in: str | None = Field(description="parcel to the shop. Unit: none (text)")
    parcel_out: str | None = Field(description="parcel back. Unit: none (text)")
    worker: str | None = Field(description="who works on it. Unit: none (text)")
    bench_minutes: float | None = Field(description="hands-on time. Unit: min")
    price_minor: int | None = Field(description="price. Unit: minor unit of currency")
    currency: str | None = Field(description="ISO 4217 code. Unit: none (code)")
    note: str | None = Field(description="what to know. Unit: none (text)")
    sent_to: str | None = Field(description="the maker it is sent on to. Unit: none (text)")
    back_on: dt.date | None = Field(
        description="day it should be back from there. Unit: calendar date, ISO 8601"
    )
    warranty_of: str | None = Field(
        description="the order that it redoes under warranty. Unit: none (identifier)"
    )
    reason: str | None = Field(
        description="why it was refused, or is redone under warranty. Unit: none (text)"
    )
    advised: bool = Field(
        description="the owner came because of a notice of ours. Unit: true or false"
    )
    version: int = Field(description="counts the changes; its ETag. Unit: changes")
    events: list[Event] | None = Field(
        default=None, description="its audit, oldest first. Unit: none (list)"
    )
    papers: dict[Literal[PAPERS], dict[str, Any]] | None = Field(  # type: ignore[valid-type]
        default=None, description="its papers by kind. Unit: none (object)"
    )
    paper_versions: dict[Literal[PAPERS], int] | None = Field(  # type: ignore[valid-type]
        default=None, description="how often each paper was filed; its If-Match. Unit: versions"
    )
    photos: list[BenchPhotoTaken] | None = Field(
        default=None, description="its photographs. Unit: none (list)"
    )


class OrderPage(Answer):
    """Orders, newest booked first."""

    items: list[Order] = Field(description="orders. Unit: none (list)")
    next: str | None = Field(
        description="pass it as `after` for the next page; null on the last one. "
        "Unit: none (opaque text)"
    )


class OrderFilters(Message):
    """Which orders to list."""

    stage: Stage | None = Field(default=None, description="only this stage. Unit: none (word)")
    pair_id: KnownId | None = Field(
        default=None, description="only this pair. Unit: none (identifier)"
    )
    ticket: int | None = Field(
        default=None, ge=1, le=2**31 - 1, description="only this ticket. Unit: none (number)"
    )
    after: Annotated[str, StringConstraints(max_length=1000)] | None = Field(
        default=None, description="`next` of the page before. Unit: none (opaque text)"
    )
    limit: int = Field(default=50, ge=1, le=MAX_PAGE, description="rows a page. Unit: rows")
