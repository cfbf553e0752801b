"""Cost of ownership.

What does a pair cost per wear, how many more soles can it take, and is the next one worth it?

The numbers of resoles that a construction allows are common practice, no source: editable defaults.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.layers.carriers import (
    CARRIERS,
    SOLES_PER_REWELT,
    count_resoles,
    remaining_soles,
)
from solespan.forecast.log import WearLog
from solespan.forecast.planning.errors import BadPlan

__all__ = ["RESOLES_STOOD", "LifeSettings", "cost_of_rack"]

RESOLES_STOOD: Mapping[str, int] = MappingProxyType(
    {construction: carrier.soles for construction, carrier in CARRIERS.items()}
)
_YEAR_DAYS = 365.25


@dataclass(frozen=True)
class LifeSettings:
    """Editable numbers.

    resoles_stood : resoles that welt and upper allow in all, by construction.
    resoles_per_rewelt : further resoles that a new welt brings, beyond the usual ones.
    resole_price_minor : what the next sole costs where no route says otherwise.
    wears_per_sole : wears of a sole where the forecast says nothing.
    replace_price_minor : what a new pair like it costs; None = its own price, where known.
    """

    resoles_stood: Mapping[str, int] = field(default_factory=lambda: RESOLES_STOOD)
    resoles_per_rewelt: int = SOLES_PER_REWELT
    resole_price_minor: int = 15_000
    wears_per_sole: int = 150
    replace_price_minor: int | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, naming the field."""
        for name in ("resoles_per_rewelt", "resole_price_minor"):
            if getattr(self, name) < 0:
                raise BadPlan(f"{name} is negative.", field=name, accepted="0 or more")
        if self.wears_per_sole < 1:
            raise BadPlan("wears_per_sole is under one.", field="wears_per_sole", accepted="1 up")
        unknown = set(self.resoles_stood) - set(RESOLES_STOOD)
        if unknown:
            raise BadPlan(
                f"{min(unknown)!r} is no construction.",
                field="resoles_stood",
                accepted=", ".join(RESOLES_STOOD),
            )


def cost_of_rack(
    log: WearLog,
    allowance: pd.DataFrame,
    resole_price_minor: Mapping[str, int],
    *,
    settings: LifeSettings | None = None,
) -> pd.DataFrame:
    """Count up what each pair has cost and will cost.

    Parameters
    ----------
    log : WearLog
        One or more racks.
    allowance : DataFrame
        See `forecast.planning.allowance.wear_allowance`; pairs without a row are not forecast.
    resole_price_minor : mapping
        Price of the next sole by pair; `settings.resole_price_minor` where not named.
    settings : LifeSettings, optional

    Returns
    -------
    DataFrame
        A row per pair: pair_id, currency (text; "mixed" = several, then sums are empty), wears,
        price_minor, repairs_minor, cost_per_wear_minor (so far; empty without price or wear),
        resoles (so far), resoles_left, wears_per_year, soles_per_year, cost_per_year_minor
        (forecast, new soles only), resole_cost_per_wear_minor, replace_cost_per_wear_minor,
        advice (`resole`, `last sole`, `retire`, `retired`, `unknown`), arithmetic (sentences).
    """
    settings = settings or LifeSettings()
    columns = ["wear_days_per_week", "wear_days_new"]
    ahead = {
        str(pair): (float(week), float(new))
        for pair, week, new in zip(
            allowance["pair_id"], *(allowance[c] for c in columns), strict=True
        )
    }
    wears = log.wear_days["pair_id"].value_counts().to_dict()
    jobs = dict(iter(log.bench_jobs.groupby("pair_id")))
    soles = dict(iter(log.soles.groupby("pair_id")))
    rows = [
        _row(
            pair,
            int(wears.get(pair["pair_id"], 0)),
            jobs.get(pair["pair_id"], log.bench_jobs.iloc[:0]),
            soles.get(pair["pair_id"], log.soles.iloc[:0]),
            ahead,
            resole_price_minor,
            settings,
        )
        for pair in log.pairs.to_dict("records")
    ]
    return pd.DataFrame(rows)


def _row(
    pair: dict[Any, Any],
    wears: int,
    jobs: pd.DataFrame,
    soles: pd.DataFrame,
    ahead: Mapping[str, tuple[float, float]],
    prices: Mapping[str, int],
    settings: LifeSettings,
) -> dict[str, Any]:
    pair_id = str(pair["pair_id"])
    currency, price, repairs = __amount(pair, jobs)
    construction = str(pair["construction"])
    resoles = count_resoles(soles, pair["earlier_resoles"])
    rewelts = int((jobs["work"] == "rewelt").sum())
    stood = settings.resoles_stood.get(construction, RESOLES_STOOD[construction])
    resoles_left = remaining_soles(
        construction, resoles, rewelts, stood=stood, per_rewelt=settings.resoles_per_rewelt
    )
    per_week, per_sole = ahead.get(pair_id, (np.nan, float(settings.wears_per_sole)))
    per_year = per_week * _YEAR_DAYS / 7
    per_sole = max(per_sole, 1.0)
    sole_price = int(prices.get(pair_id, settings.resole_price_minor))
    soles_per_year = per_year / per_sole
    spent = price + repairs
    new_price = price if settings.replace_price_minor is None else settings.replace_price_minor
    resole_per_wear = sole_price / per_sole
    replace_per_wear = new_price / (per_sole * (1 + stood)) + sole_price / per_sole * stood / (
        1 + stood
    )
    retired = bool(len(soles)) and bool(soles["removed_on"].notna().all())
    out: dict[str, Any] = {
        "pair_id": pair_id,
        "currency": currency,
        "wears": wears,
        "price_minor": price,
        "repairs_minor": repairs,
        "cost_per_wear_minor": spent / wears if wears else np.nan,
        "resoles": resoles,
        "resoles_left": resoles_left,
        "wears_per_year": per_year,
        "soles_per_year": soles_per_year,
        "cost_per_year_minor": soles_per_year * sole_price,
        "resole_cost_per_wear_minor": resole_per_wear,
        "replace_cost_per_wear_minor": replace_per_wear,
    }
    out["advice"] = _advice(out, retired=retired)
    out["arithmetic"] = _arithmetic(out, sole_price, per_sole, new_price, stood)
    return out


def __amount(pair: dict[Any, Any], jobs: pd.DataFrame) -> tuple[str, float, float]:
    """Currency, price and repairs; sums over several currencies are not made."""
    paid = jobs[jobs["price_minor"].notna()]
    named = {str(c) for c in (pair["currency"], *paid["currency"]) if isinstance(c, str) and c}
    price = pair["price_minor"]
    bought = float(price) if isinstance(price, int | float) else np.nan
    if len(named) > 1:
        return "mixed", np.nan, np.nan
    return (named.pop() if named else ""), bought, float(paid["price_minor"].sum())


def _advice(row: dict[str, Any], *, retired: bool) -> str:
    if retired:
        return "retired"
    if not row["resoles_left"]:
        return "retire"
    resole = row["resole_cost_per_wear_minor"]
    replace = row["replace_cost_per_wear_minor"]
    if np.isnan(replace):
        return "unknown"
    if resole > replace:
        return "retire"
    return "last sole" if row["resoles_left"] == 1 else "resole"


def _arithmetic(
    row: dict[str, Any], sole_price: int, per_sole: float, new_price: float, stood: int
) -> str:
    each = _amount(sole_price / per_sole)
    said = [f"A new sole at {_amount(sole_price)} for {per_sole:.0f} wears is {each} a wear."]
    if np.isnan(new_price):
        said.append("Without a price of the pair nothing can be said of replacing it.")
    else:
        lasting = per_sole * (1 + stood)
        said.append(
            f"A new pair at {_amount(new_price)} with {stood} resoles over {lasting:.0f} wears is "
            f"{_amount(float(str(row['replace_cost_per_wear_minor'])))} a wear."
        )
    said.append(
        f"{row['resoles']} resoles so far; welt and upper allow {row['resoles_left']} more."
    )
    return " ".join(said)


def _amount(minor: float) -> str:
    return f"{minor / 100:.2f}"
