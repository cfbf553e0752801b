"""Year looks storage: what did forecasts say of past years, and what came?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["NAME", "keep_looks", "kept_looks"]

NAME = "year_looks"


def keep_looks(session: Session, made_on: date, looks: Sequence[dict[str, Any]]) -> None:
    """Keep the looks of a day in the place of those before."""
    found = find_setting(session, NAME)
    value = {"made_on": made_on.isoformat(), "looks": list(looks)}
    put_setting(session, NAME, value, 0 if found is None else found[1])


def kept_looks(session: Session) -> tuple[date, list[dict[str, Any]]] | None:
    """Return the day of the newest look back and its looks, the newest year first; None: none."""
    found = find_setting(session, NAME)
    if found is None:
        return None
    return date.fromisoformat(found[0]["made_on"]), found[0]["looks"]
