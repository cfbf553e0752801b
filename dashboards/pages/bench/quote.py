"""Quote page: what does a pair need, which ways are there, what was found, and on which layers?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording
from solespan.dashboards.cautions import cautions_of
from solespan.dashboards.pages.bench.workload import UNITS
from solespan.forecast.frames import WORKS

__all__ = ["quote_page", "way_words"]


def quote_page(
    order: Mapping[str, Any],
    pair: str,
    told: Mapping[str, Any],
    *,
    open_: bool,
    chosen: Sequence[str] = (),
) -> dict[str, Any]:
    """Gather the quote of one order's pair.

    Parameters
    ----------
    told : mapping
        The quote as the service tells it.
    open_ : bool
        Whether a way can still be agreed.
    chosen : sequence of str
        Works that were ticked, to be quoted as one visit.
    """
    whole = told["chosen"]
    shown = [*told["alternatives"], *([whole] if whole else [])]
    works = {work for way in shown for work in way["works"]}
    cautions = dict.fromkeys(c for work in sorted(works) for c in cautions_of(work))
    return {
        "order": order,
        "pair": pair,
        "needed": [
            f"{wording.spaced(one['work']).capitalize()}: {one['why']}." for one in told["needed"]
        ],
        "left": _left(told),
        "depends": [f"{one[0].upper()}{one[1:]}." for one in told["depends_on"]],
        "ways": [way_words(way, told["currency"]) for way in told["alternatives"]],
        "whole": way_words(whole, told["currency"]) if whole else None,
        "work_options": [(work, wording.spaced(work), work in chosen) for work in WORKS],
        "picked": bool(chosen),
        "findings": [
            {
                "part": wording.spaced(one["part"]),
                "state": one["state"],
                "leads": wording.spaced(one["work"]) if one["work"] else one["leads_to"],
                "why": one["why"],
            }
            for one in told["findings"]
            if one["state"] != "not seen" or one["leads_to"] != "leave it"
        ],
        "layers": [
            {
                "part": wording.spaced(one["part"]),
                "material": wording.spaced(one["material"]),
                "new": _mm(one["new_mm"]),
                "now": _mm(one["now_mm"]),
                "limit": _mm(one["limit_mm"]),
                "origin": "assumed" if one["assumed"] else "said",
            }
            for one in told["layers"]
        ],
        "minutes_from": told["minutes_from"],
        "open": open_,
        "cautions": list(cautions),
    }


def way_words(way: Mapping[str, Any], currency: str) -> dict[str, Any]:
    """Say one way: its works, price, time, and the wear days it buys."""
    days = way["wear_days_bought"]
    per_day = f"{way['price_minor'] / 100 / days:.2f}" if days > 0 else ""
    wait = way["waiting_hours"]
    return {
        "works": " ".join(way["works"]),
        "said": ", ".join(wording.spaced(work) for work in way["works"]).capitalize(),
        "why": "; ".join(dict.fromkeys(way["why"])),
        "price": f"{way['price_minor'] / 100:.2f} {currency}",
        "minutes": f"{way['minutes_low']:.0f} to {way['minutes_high']:.0f} min",
        "wait": f"{wait:g} h" if wait else "none",
        "days": f"{days:.0f} ({way['wear_days_low']:.0f} to {way['wear_days_high']:.0f})",
        "per_day": f"{per_day} {currency}" if per_day else "none bought",
        "soles_left": way["soles_left"],
        "uses": ", ".join(_material(use, n) for use, n in way["uses"].items()),
    }


def _material(use: str, quantity: float) -> str:
    unit = f" {UNITS[use]}" if use in UNITS else ""
    return f"{wording.spaced(use)} {quantity:g}{unit}"


def _left(told: Mapping[str, Any]) -> str:
    days = told["wear_days_left"]
    if not days:
        return "How many wear days are left is not known."
    point = min(days, key=days.__getitem__)
    return f"About {days[point]:.0f} wear days are left at the {point}."


def _mm(value: float | None) -> str:
    return "" if value is None else f"{round(value, 1):g}"
