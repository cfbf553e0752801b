"""Cost of ownership service.

What does each pair of a stored rack cost, and is its next sole worth it?
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.schemas.planning.resole_options import LifeSettingsAsked
from solespan.api.services.context import AppContext
from solespan.api.services.planning.rack import LIFE, KnownRack, known_rack, refusing, stood_in
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.storage.forecasts.forecasts import load_forecasts

__all__ = ["change_stood", "life_of_known", "life_of_rack", "read_stood"]


def read_stood(session: Session) -> dict[str, Any]:
    """Return how many resoles each construction allows, which were edited, and their version."""
    choices, version = read_choices(session, LIFE, LifeSettingsAsked())
    return {
        "version": version,
        "resoles_stood": stood_in(session),
        "edited": sorted(choices.resoles_stood),
        "source": "common practice, no source",
    }


def stood_choices(session: Session) -> LifeSettingsAsked:
    """Return what was edited."""
    return read_choices(session, LIFE, LifeSettingsAsked())[0]


def change_stood(
    session: Session, choices: LifeSettingsAsked, versions: frozenset[int] | None
) -> dict[str, Any]:
    """Replace what was edited if it has one of `versions` (None = any). Raises `StaleVersion`."""
    change_choices(session, LIFE, choices, versions)
    return read_stood(session)


def life_of_rack(
    ctx: AppContext, wearer_id: str, *, replace_price_minor: int | None = None
) -> dict[str, Any]:
    """Count up a rack. Raises `NotFound`, `NothingForecast`, `Refused`.

    Parameters
    ----------
    replace_price_minor
        What a new pair costs, in the place of each pair's own price.
    """
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        forecast = load_forecasts(session, [wearer_id])
        return life_of_known(rack, forecast, replace_price_minor=replace_price_minor)


def life_of_known(
    rack: KnownRack,
    forecast: pd.DataFrame,
    *,
    replace_price_minor: int | None = None,
) -> dict[str, Any]:
    """Count up a rack that was read with its forecasts. Raises `NothingForecast`, `Refused`."""
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    with refusing("Correct it and ask again."):
        life = replace(rack.life, replace_price_minor=replace_price_minor)
        frame = rack.cost(allowance=rack.allowance(), forecast=main, life=life)
    due = dict(zip(main["pair_id"], main["due_p50"], strict=True))
    labels = dict(zip(rack.log.pairs["pair_id"], rack.log.pairs["label"], strict=True))
    items = []
    for one in frame.to_dict("records"):
        row = {str(k): _plain(v) for k, v in one.items()}
        day = due.get(one["pair_id"])
        row["due_p50"] = None if day is None or pd.isna(day) else day.date().isoformat()
        label = labels.get(one["pair_id"])
        row["label"] = label if isinstance(label, str) else None
        items.append(row)
    per_year = frame.loc[frame["verdict"] != "retired", "cost_per_year_minor"].sum()
    return {
        "wearer_id": rack.wearer_id,
        "as_of": rack.today.isoformat(),
        "currency": rack.currency,
        "cost_per_year_minor": round(float(per_year)),
        "source": "resoles stood and prices of routes not edited: common practice, no source",
        "items": items,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, float | np.floating):
        return None if np.isnan(value) else round(float(value), 2)
    return value.item() if isinstance(value, np.generic) else value
