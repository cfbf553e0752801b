"""Pictures service: which picture of each pair goes with a notice?

The photograph that a pair had when the notice was written, while it is kept; else a drawing.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.channels.message import Picture
from solespan.api.notices.pictures import draw_pair
from solespan.api.storage.rack.pair_extras import photo_content
from solespan.api.storage.rack.records import find_record

__all__ = ["pictures_in", "shown_html"]

CID = "cid:"


def pictures_in(session: Session, payload: Mapping[str, Any]) -> list[Picture]:
    """Return a picture for each pair whose place the HTML of a notice shows."""
    found = []
    for pair in payload["pairs"]:
        address = pair.get("picture", "")
        if not address or address not in payload["html"]:
            continue
        kept = photo_content(session, pair["photo_id"], small=True) if pair["photo_id"] else None
        if kept is None:
            record = find_record(session, "pairs", {"pair_id": pair["pair_id"]}) or pair
            kept = ("image/png", draw_pair(record))
        found.append(Picture(address.removeprefix(CID), *kept))
    return found


def shown_html(session: Session, payload: Mapping[str, Any]) -> str:
    """Return the HTML of a notice with its pictures inside, as a mail reader shows it."""
    html = str(payload["html"])
    for picture in pictures_in(session, payload):
        content = base64.b64encode(picture.content).decode()
        html = html.replace(f"{CID}{picture.cid}", f"data:{picture.media_type};base64,{content}")
    return html
