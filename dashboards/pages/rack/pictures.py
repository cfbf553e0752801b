"""Pictures of pairs: which photograph or drawing stands for each pair of a list?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
from markupsafe import Markup

from solespan.dashboards.pages.rack.look import guess_look, tell_apart
from solespan.dashboards.pages.rack.side_view import side_view

__all__ = ["picture_of", "pictures_of"]


def pictures_of(pairs: pd.DataFrame) -> dict[str, Markup]:
    """Draw the picture of each pair, such that no two of them look alike."""
    rows: list[Any] = pairs.to_dict("records")
    looks = tell_apart([guess_look(row) for row in rows])
    return {
        row["pair_id"]: _photograph(row) or side_view(look)
        for row, look in zip(rows, looks, strict=True)
    }


def picture_of(pair: Mapping[str, Any], photo_id: str = "", width: int = 96) -> Markup:
    """Draw one pair by itself: its photograph, or a side view without a letter."""
    look = replace(guess_look(pair), letter="")
    return _photograph({"photo_id": photo_id}, width) or side_view(look, width, width * 3 // 4)


def _photograph(pair: Mapping[str, Any], width: int = 56) -> Markup | None:
    photo_id = pair.get("photo_id")
    if not isinstance(photo_id, str) or not photo_id:
        return None
    return Markup(
        '<img class="pic" src="/pair-photographs/{}?small=1" width="{}" height="{}" alt="" '
        'loading="lazy" decoding="async">'
    ).format(photo_id, width, width * 3 // 4)
