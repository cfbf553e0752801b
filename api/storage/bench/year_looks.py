"""Year looks storage: what did forecasts say of past years, and what came?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["NAME", "keep_looks", "kept_habits", "kept_looks"]

NAME = "year_looks"


def keep_looks(
    session: Session,
    made_on: date,
    looks: Sequence[dict[str, Any]],
    habits: dict[str, Any] | None = None,
) -> None:
    """Keep the looks of a day, and the habits learnt from them, in the place of those before."""
    found = find_setting(session, NAME)
    value = {"made_on": made_on.isoformat(), "looks": list(looks), "habits": habits}
    put_setting(session, NAME, value, 0 if found is None else found[1])


def kept_looks(session: Session) -> tuple[date, list[dict[str, Any]]] | None:
    """Return the day of the newest look back and its looks, the newest year first; None: none."""
    found = find_setting(session, NAME)
    if found is None:
        return None
    return date.fromisoformat(found[0]["made_on"]), found[0]["looks"]


def kept_habits(session: Session) -> dict[str, Any] | None:
    """Return the owners' habits that the newest look back learnt; None: none."""
    found = find_setting(session, NAME)
    return None if found is None else found[0].get("habits")
