"""Pictures of pairs: which photograph or drawing stands for each pair of a list?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
from markupsafe import Markup

from solespan.dashboards.pages.rack.look import guess_look, tell_apart
from solespan.dashboards.pages.rack.side_view import side_symbol, side_view

__all__ = ["PictureSheet", "picture_of", "picture_sheet", "pictures_of"]


@dataclass(frozen=True)
class PictureSheet:
    """Pictures for a page that shows a pair many times.

    symbols : the drawings, to stand once at the head of the page.
    of_pair : the picture of each pair, a photograph or a reference to its drawing.
    """

    symbols: Markup
    of_pair: Mapping[str, Markup]


def pictures_of(pairs: pd.DataFrame) -> dict[str, Markup]:
    """Draw the picture of each pair, such that no two of them look alike."""
    rows: list[Any] = pairs.to_dict("records")
    looks = tell_apart([guess_look(row) for row in rows])
    return {
        row["pair_id"]: _photograph(row) or side_view(look)
        for row, look in zip(rows, looks, strict=True)
    }


def picture_sheet(pairs: pd.DataFrame) -> PictureSheet:
    """Draw each pair of a rack once, as in its list; a day of a calendar then takes 100 bytes."""
    rows: list[Any] = pairs.to_dict("records")
    looks = tell_apart([guess_look(row) for row in rows])
    symbols, of_pair = Markup(), {}
    for number, (row, look) in enumerate(zip(rows, looks, strict=True)):
        photograph = _photograph(row)
        if photograph is None:
            symbols += side_symbol(look, f"pair-{number}")
        of_pair[row["pair_id"]] = photograph or Markup(
            '<svg class="pic" width="56" height="42" aria-hidden="true">'
            '<use href="#pair-{}"/></svg>'
        ).format(number)
    return PictureSheet(symbols, of_pair)


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
