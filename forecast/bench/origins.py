"""Origins of the bench's defaults: minutes, prices, drying, materials, and when works are due."""

from __future__ import annotations

from collections.abc import Iterator

from solespan.forecast.bench import findings, quoting, standards
from solespan.forecast.bench.shoe_record import Tolerances
from solespan.forecast.layers.origins import Default, layer_defaults
from solespan.forecast.priors import MATERIAL_RATE

__all__ = ["all_defaults"]


def all_defaults() -> Iterator[Default]:
    """Give every default of layers, works and quotes, each with its origin."""
    yield from layer_defaults()
    yield Default("spread of a new sole's life", quoting.LIFE_LOG_SD, "log SD")
    yield Default("a point is due within", findings.SOON_WEAR_DAYS, "wear days")
    yield Default("leather below a new guard", findings.GUARD_NEEDS_MM, "mm")
    for material, rate in MATERIAL_RATE.items():
        yield Default(f"wear rate, {_said(material)}", rate, "mm per wear day")
    for work, one in standards.STANDARDS.items():
        said = _said(work)
        yield Default(f"minutes, {said}", one.minutes, "min")
        yield Default(f"least minutes, {said}", one.low_minutes, "min")
        yield Default(f"most minutes, {said}", one.high_minutes, "min")
        yield Default(f"drying, {said}", one.drying_hours, "h")
        yield Default(f"price, {said}", one.price_minor, "minor unit")
        for use, quantity in one.uses:
            yield Default(f"{_said(use)}, {said}", quantity, "unit of the stock book")
    tables = (standards.BY_CONSTRUCTION, standards.BY_MATERIAL)
    for (work, on), (minutes, share) in (pair for table in tables for pair in table.items()):
        yield Default(f"minutes, {_said(work)}, {_said(on)}", minutes, "min")
        yield Default(f"price, {_said(work)}, {_said(on)}", share, "share of the list price")
    for (work, on), hours in (
        *standards.DRYING_BY_CONSTRUCTION.items(),
        *standards.DRYING_BY_MATERIAL.items(),
    ):
        yield Default(f"drying, {_said(work)}, {_said(on)}", hours, "h")
    for work, (minutes, share) in standards.MACHINE_OUTSEAM.items():
        yield Default(f"minutes, {_said(work)}, hand welted, outseam by machine", minutes, "min")
        yield Default(f"price, {_said(work)}, outseam by machine", share, "share of the list price")
    yield Default(
        "pit-tanned leather, added", standards.PIT_TANNED_SHARE, "share of the list price"
    )
    yield Default("closed channel, added", standards.CLOSED_SHARE, "share of the list price")
    yield Default("closed channel, added", standards.CLOSED_MINUTES, "min")
    yield Default("closed channel by hand, added", standards.CLOSED_BY_HAND_MINUTES, "min")
    shank = "shank with the sole off"
    yield Default(shank, standards.SHANK_WITH_SOLE_MINUTES_SHARE, "share of its minutes")
    yield Default(shank, standards.SHANK_WITH_SOLE_PRICE_SHARE, "share of its price")
    yield Default("minutes after drying", standards.AFTER_DRYING_SHARE, "share")
    yield Default("drying, wet filler or insole, before the work", standards.WET_BOTTOM_HOURS, "h")
    for name, value in vars(Tolerances()).items():
        yield Default(f"tolerance, {_said(name)}", value, "unit of its name")


def _said(word: str) -> str:
    return word.replace("_", " ")
