"""Cost of ownership.

What does a pair cost per wear, how many more soles can it take, and is the next one worth it?

Money is reckoned with the expected life of a sole, not with the life that nine of ten reach.
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
    WELTED,
    count_resoles,
    remaining_soles,
    seams_of_carrier,
)
from solespan.forecast.layers.rows import layers_on, rewelt_days
from solespan.forecast.log import WearLog
from solespan.forecast.planning.errors import BadPlan
from solespan.forecast.planning.resole_options import needs_of
from solespan.forecast.planning.verdict import NextSole, decide_verdict, next_sole

__all__ = [
    "DEFAULT_CURRENCY",
    "RESOLES_STOOD",
    "LifeSettings",
    "cost_of_rack",
    "next_soles",
    "resoles_left",
    "usual_currency",
]

DEFAULT_CURRENCY = "EUR"

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
    rewelt_price_minor: Mapping[str, int | None] | None = None,
    states: Mapping[str, str] | None = None,
    currency: str = DEFAULT_CURRENCY,
    settings: LifeSettings | None = None,
) -> pd.DataFrame:
    """Count up what each pair has cost and will cost, and say what is to be done with it.

    Parameters
    ----------
    log : WearLog
        One or more racks.
    allowance : DataFrame
        See `forecast.planning.allowance.wear_allowance`; pairs without a row are not forecast.
    resole_price_minor : mapping
        Price of the next sole by pair; `settings.resole_price_minor` where not named.
    rewelt_price_minor : mapping, optional
        Added for a new welt, by pair; None or not named = the pair cannot get one.
    states : mapping, optional
        What `forecast.planning.verdict.state_of` says of the forecast, by pair.
    currency : str
        The owner's; an amount in another one is not counted, and the arithmetic says so.
    settings : LifeSettings, optional

    Returns
    -------
    DataFrame
        A row per pair: pair_id, currency, wears, price_minor, repairs_minor, cost_per_wear_minor
        (so far; empty without price or wear), resoles (so far), resoles_left, wears_per_sole
        (expected of the next sole), wears_per_year, soles_per_year, cost_per_year_minor
        (forecast, new soles only; 0 where no new sole is worth it), resole_cost_per_wear_minor,
        replace_cost_per_wear_minor, verdict, next_sole (words of `forecast.planning.verdict`),
        sentence (what to do), arithmetic (sentences).
    """
    settings = settings or LifeSettings()
    columns = ["wear_days_per_week", "wear_days_new_mean"]
    ahead = {
        str(pair): (float(week), float(new))
        for pair, week, new in zip(
            allowance["pair_id"], *(allowance[c] for c in columns), strict=True
        )
    }
    wears = log.wear_days["pair_id"].value_counts().to_dict()
    after_all = next_soles(
        log, resole_price_minor, rewelt_price_minor, currency=currency, settings=settings
    )
    rows = []
    for pair_id, counted in _count(log, currency, settings).items():
        after = after_all[pair_id]
        state = "retired" if counted.retired else (states or {}).get(pair_id)
        row = _row(counted, int(wears.get(pair_id, 0)), ahead.get(pair_id), after, settings)
        said = decide_verdict(state, after)
        row |= {"verdict": said.word, "next_sole": after.word, "sentence": said.sentence}
        rows.append(row)
    return pd.DataFrame(rows)


def next_soles(
    log: WearLog,
    resole_price_minor: Mapping[str, int],
    rewelt_price_minor: Mapping[str, int | None] | None = None,
    *,
    currency: str = DEFAULT_CURRENCY,
    settings: LifeSettings | None = None,
) -> dict[str, NextSole]:
    """Say what becomes of each pair at the end of its sole; arguments as of `cost_of_rack`."""
    settings = settings or LifeSettings()
    return {
        pair_id: counted.next_sole(
            int(resole_price_minor.get(pair_id, settings.resole_price_minor)),
            (rewelt_price_minor or {}).get(pair_id),
            settings,
        )
        for pair_id, counted in _count(log, currency, settings).items()
    }


def resoles_left(log: WearLog, settings: LifeSettings | None = None) -> dict[str, int]:
    """Count the resoles that welt and upper of each pair still allow."""
    counted = _count(log, DEFAULT_CURRENCY, settings or LifeSettings())
    return {pair_id: one.resoles_left for pair_id, one in counted.items()}


def _count(log: WearLog, currency: str, settings: LifeSettings) -> dict[str, _Counted]:
    jobs = dict(iter(log.bench_jobs.groupby("pair_id")))
    soles = dict(iter(log.soles.groupby("pair_id")))
    layers = dict(iter(log.layers.groupby("pair_id")))
    return {
        str(pair["pair_id"]): _Counted.of(
            pair,
            jobs.get(pair["pair_id"], log.bench_jobs.iloc[:0]),
            soles.get(pair["pair_id"], log.soles.iloc[:0]),
            currency,
            settings,
            layers.get(pair["pair_id"], log.layers.iloc[:0]),
        )
        for pair in log.pairs.to_dict("records")
    }


@dataclass(frozen=True)
class _Counted:
    """What a pair's records count up to, in one currency."""

    pair: Mapping[Any, Any]
    currency: str
    price: float
    repairs: float
    others: int
    resoles: int
    resoles_left: int
    stood: int
    rewelt_due: bool
    retired: bool

    @classmethod
    def of(
        cls,
        pair: Mapping[Any, Any],
        jobs: pd.DataFrame,
        soles: pd.DataFrame,
        currency: str,
        settings: LifeSettings,
        layers: pd.DataFrame,
    ) -> _Counted:
        paid = jobs[jobs["price_minor"].notna()]
        ours = paid["currency"].fillna(currency) == currency
        bought, in_own = pair["price_minor"], _word(pair["currency"]) in (None, currency)
        known = isinstance(bought, int | float) and not pd.isna(bought)
        construction = str(pair["construction"])
        resoles = count_resoles(soles, pair["earlier_resoles"])
        done = jobs.loc[jobs["work"] == "rewelt", "received_on"]
        welts = rewelt_days(layers, pair["pair_id"], done, soles["fitted_on"].min())
        stood = settings.resoles_stood.get(construction, RESOLES_STOOD[construction])
        on = soles[soles["removed_on"].isna()]
        need = needs_of(
            material=str(on["material"].iloc[-1]) if len(on) else "",
            channel=None,
            construction=construction,
            seams=seams_of_carrier(
                soles,
                pair["earlier_resoles"],
                welts,
                construction=construction,
                layers=layers_on(layers, pair["pair_id"]),
            ),
        )
        return cls(
            pair=pair,
            currency=currency,
            price=float(bought) if known and in_own else np.nan,
            repairs=float(paid.loc[ours, "price_minor"].sum()),
            others=int((~ours).sum()) + int(known and not in_own),
            resoles=resoles,
            resoles_left=remaining_soles(
                construction,
                resoles,
                len(welts),
                stood=stood,
                per_rewelt=settings.resoles_per_rewelt,
            ),
            stood=stood,
            rewelt_due="rewelt" in need.abilities,
            retired=bool(len(soles)) and not len(on),
        )

    def new_price(self, settings: LifeSettings) -> float:
        """What a new pair like it costs; NaN = not known."""
        asked = settings.replace_price_minor
        return self.price if asked is None else float(asked)

    def next_sole(
        self, sole_price: int, rewelt_price: int | None, settings: LifeSettings
    ) -> NextSole:
        """Say what becomes of the pair at the end of its sole."""
        new = self.new_price(settings)
        welted = str(self.pair["construction"]) in WELTED
        return next_sole(
            resoles_left=self.resoles_left,
            rewelt_due=self.rewelt_due and welted,
            sole_price_minor=sole_price,
            rewelt_price_minor=rewelt_price if welted else None,
            resoles_per_rewelt=settings.resoles_per_rewelt,
            new_price_minor=None if np.isnan(new) else new,
        )


def _row(
    counted: _Counted,
    wears: int,
    ahead: tuple[float, float] | None,
    after: NextSole,
    settings: LifeSettings,
) -> dict[str, Any]:
    per_week, per_sole = ahead or (np.nan, float(settings.wears_per_sole))
    per_year, per_sole = per_week * _YEAR_DAYS / 7, max(per_sole, 1.0)
    sole_price = after.shared_minor
    soles_per_year = per_year / per_sole
    stood, new_price = counted.stood, counted.new_price(settings)
    resole_per_wear = sole_price / per_sole
    out: dict[str, Any] = {
        "pair_id": str(counted.pair["pair_id"]),
        "currency": counted.currency,
        "wears": wears,
        "price_minor": counted.price,
        "repairs_minor": counted.repairs,
        "cost_per_wear_minor": (counted.price + counted.repairs) / wears if wears else np.nan,
        "resoles": counted.resoles,
        "resoles_left": counted.resoles_left,
        "wears_per_sole": per_sole,
        "wears_per_year": per_year,
        "soles_per_year": soles_per_year,
        "cost_per_year_minor": soles_per_year * sole_price if after.word != "retire" else 0.0,
        "resole_cost_per_wear_minor": resole_per_wear,
        "replace_cost_per_wear_minor": (new_price / per_sole + resole_per_wear * stood)
        / (1 + stood),
    }
    out["arithmetic"] = _arithmetic(out, after, new_price, stood, counted.others)
    return out


def usual_currency(log: WearLog) -> str:
    """Return the currency that most amounts of a log are in, `DEFAULT_CURRENCY` where none is."""
    named = pd.concat([log.pairs["currency"], log.bench_jobs["currency"]]).dropna()
    counts = named[named != ""].value_counts()
    most = sorted(counts.index[counts == counts.max()]) if len(counts) else []
    return str(most[0]) if most else DEFAULT_CURRENCY


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _arithmetic(
    row: Mapping[str, Any], after: NextSole, new_price: float, stood: int, others: int
) -> str:
    per_sole, money = row["wears_per_sole"], row["currency"]
    each = _amount(row["resole_cost_per_wear_minor"], money)
    price = _amount(after.shared_minor, money)
    if after.shared_minor < after.price_minor:
        price += ", its part of a new welt included,"
    said = [f"A new sole at {price} for about {per_sole:.0f} wears is {each} a wear."]
    if np.isnan(new_price):
        said.append("The price of the pair is not known, so a new pair is not compared.")
    else:
        lasting, new = per_sole * (1 + stood), _amount(new_price, money)
        said.append(
            f"A new pair at {new} with {stood} resoles over {lasting:.0f} wears is "
            f"{_amount(row['replace_cost_per_wear_minor'], money)} a wear."
        )
    said.append(
        f"{row['resoles']} resoles so far; welt and upper allow {row['resoles_left']} more."
    )
    if others:
        amounts = "1 amount" if others == 1 else f"{others} amounts"
        said.append(f"Not counted: {amounts} in another currency than {money}.")
    return " ".join(said)


def _amount(minor: float, currency: str) -> str:
    return f"{minor / 100:.2f} {currency}"
