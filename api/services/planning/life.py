"""What does each pair of a stored rack cost, and is its next sole worth it?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from api.services.planning.rack import known_rack, refusing
from api.storage.forecasts import load_forecasts
from api.wiring import Services
from forecast.planning import LifeSettings, cost_of_rack

__all__ = ["life_of_rack"]


def life_of_rack(
    serving: Services,
    wearer_id: str,
    *,
    replace_price_minor: int | None = None,
    resoles_stood: dict[str, int] | None = None,
) -> dict[str, Any]:
    """Count up a rack. Raises `NotFound`, `NothingForecast`, `Refused`.

    Parameters
    ----------
    replace_price_minor
        What a new pair costs, in the place of each pair's own price.
    resoles_stood
        Resoles that a construction stands, in the place of the defaults.
    """
    with serving.database.reading() as session:
        rack = known_rack(serving, session, wearer_id)
        forecast = load_forecasts(session, [wearer_id])
    with refusing("Mend the field named and ask again."):
        settings = LifeSettings(replace_price_minor=replace_price_minor)
        if resoles_stood:
            stood = {**settings.resoles_stood, **resoles_stood}
            settings = replace(settings, resoles_stood=stood)
        allowance = rack.allowance()
        prices = {str(p): rack.route_of(str(p)).price_minor for p in rack.log.pairs["pair_id"]}
        frame = cost_of_rack(rack.log, allowance, prices, settings=settings)
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
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
    per_year = frame.loc[frame["advice"] != "retired", "cost_per_year_minor"].sum()
    return {
        "wearer_id": wearer_id,
        "as_of": rack.today.isoformat(),
        "cost_per_year_minor": round(float(per_year)),
        "source": "resoles stood and prices of routes not edited: common practice, no source",
        "items": items,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, float | np.floating):
        return None if np.isnan(value) else round(float(value), 2)
    return value.item() if isinstance(value, np.generic) else value
