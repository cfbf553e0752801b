"""Shared page: what does a repairer see of a rack or one pair, and its owner of the links?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from markupsafe import Markup

from solespan.dashboards import wording
from solespan.dashboards.cautions import FOR_WEARERS
from solespan.dashboards.order import pair_rows
from solespan.dashboards.pages.rack.pair_names import distinct_names
from solespan.dashboards.pages.rack.pictures import pictures_of
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.dashboards.wears_left import wears_short

__all__ = ["shared_page", "shares_page"]


def shared_page(
    pairs: pd.DataFrame,
    soles: pd.DataFrame,
    forecast: pd.DataFrame,
    *,
    today: pd.Timestamp,
    expires_on: pd.Timestamp,
    photographs: Mapping[str, str],
    most: int,
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
) -> dict[str, Any]:
    """Gather the page: each pair with its picture, verdict, wears left, construction and sole."""
    names, pictures = distinct_names(pairs), pictures_of(pairs)
    said: dict[str, Any] = {row["pair_id"]: row for row in pair_rows(forecast).to_dict("records")}
    soled: dict[str, Any] = {row["pair_id"]: row for row in soles.to_dict("records")}
    records: dict[str, Any] = {row["pair_id"]: row for row in pairs.to_dict("records")}
    order = [*said, *(pair_id for pair_id in records if pair_id not in said)]
    return {
        "rows": [
            {
                "pair": names[pair_id],
                "picture": _picture(photographs.get(pair_id, ""), pictures[pair_id]),
                "band": said[pair_id]["band"] if pair_id in said else "",
                "verdict": verdict(said[pair_id], today, horizon_days) if pair_id in said else "",
                "wears": wears_short(said[pair_id]) if pair_id in said else "",
                "facts": _facts(records[pair_id], soled.get(pair_id)),
            }
            for pair_id in order[:most]
        ],
        "more": max(0, len(order) - most),
        "until": wording.long_date(expires_on),
        "cautions": FOR_WEARERS,
        "shop_name": "solespan",
    }


def _picture(photograph: str, drawn: Markup) -> Markup:
    if not photograph:
        return drawn
    return Markup('<img class="pic" src="{}" width="56" height="42" alt="">').format(photograph)


def _facts(pair: Mapping[str, Any], sole: Mapping[str, Any] | None) -> str:
    """Say construction, maker, last, size and sole in one line."""
    words = [wording.spaced(pair["construction"])]
    words += [str(pair[name]) for name in ("maker", "last", "colour") if not pd.isna(pair[name])]
    if not pd.isna(pair["size_eu"]):
        words.append(f"EU {pair['size_eu']:g}")
    if sole is not None:
        thickness = wording.millimetres(sole["nominal_thickness_mm"])
        words.append(f"{wording.spaced(sole['material'])}, {thickness} when new")
    return "; ".join(words)


def shares_page(
    wearer_id: str, pairs: pd.DataFrame, shares: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Gather the owner's page of links: those that are open, and what may be shared."""
    return {
        "wearer_id": wearer_id,
        "pairs": list(distinct_names(pairs).items()),
        "shares": [
            {
                "share_id": one["share_id"],
                "what": one["label"] or one["pair_id"] or "All pairs",
                "reader": one["reader"] or "",
                "until": wording.long_date(pd.Timestamp(one["expires_on"])),
            }
            for one in shares
        ],
    }
