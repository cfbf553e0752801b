"""Stock advice service: what should be ordered when, and what will each week take of an item?

The simulated jobs of the year are thinned to each item by the chance that a job takes it. That
chance is learnt from the stock book, and before that from the pairs whose size and leather fit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from solespan.api.services.bench.stock import fits_item, found_item, pack_of
from solespan.api.services.bench.workload import YearAhead, year_ahead
from solespan.api.storage.bench import purchases, stock
from solespan.api.storage.bench.workload import load_open_orders
from solespan.api.storage.session import Database
from solespan.forecast.bench.item_use import item_shares, item_use
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.bench.stock import Advice, Supply, advise, learnt_supply
from solespan.forecast.bench.visits import works_of
from solespan.forecast.workload import summarise

__all__ = ["ItemAdvice", "StockRows", "advice", "advise_items", "item_weeks", "read_stock"]

_AT_SHOP = ("received", "on_bench")
_LEATHERED = ("sole", "half_sole")
_SEED = 41


@dataclass(frozen=True)
class StockRows:
    """What is kept of stock: items, weights of their use, open orders, supply times, work here."""

    items: list[dict[str, Any]]
    weights: dict[str, tuple[np.ndarray, int]]
    on_order: dict[str, list[tuple[date, float]]]
    seen_days: dict[str, list[float]]
    works: Counter[str]


@dataclass(frozen=True)
class ItemAdvice:
    """One item with its use by day, what jobs here will take, its supply, and the advice."""

    item: dict[str, Any]
    use: np.ndarray
    share: float
    in_hand: float
    on_order: list[tuple[date, float]]
    supply: Supply
    told: Advice


def read_stock(session: Session) -> StockRows:
    """Read all that the advice needs but the year."""
    items = stock.list_items(session)
    return StockRows(
        items,
        _weights(session, items),
        purchases.open_by_item(session),
        purchases.supply_days_seen(session),
        Counter(
            work
            for order in load_open_orders(session)
            if order["stage"] in _AT_SHOP
            for work in works_of(order["work"], order["more_works"])
        ),
    )


def advise_items(rows: StockRows, ahead: YearAhead) -> Iterator[ItemAdvice]:
    """Advise on each item."""
    for place, item in enumerate(rows.items):
        mine = rows.weights[item["item_id"]]
        share = float(mine[0][mine[1]] / mine[0].sum())
        in_hand = share * sum(
            n * dict(STANDARDS[work].uses).get(item["use"], 0.0) for work, n in rows.works.items()
        )
        came = np.array(rows.seen_days.get(item["item_id"], []))
        supply = Supply(
            *learnt_supply(item["supply_days"], item["supply_days_sd"], came),
            item["minimum_order"],
            item["service_level"],
            item["review_days"],
            pack_of(item),
        )
        coming = rows.on_order.get(item["item_id"], [])
        use = _use(ahead, item, mine, place)
        told = advise(use, item["quantity"] - in_hand, sum(left for _, left in coming), supply)
        yield ItemAdvice(item, use, share, in_hand, coming, supply, told)


def advice(database: Database, today: date, months: int = 12) -> list[dict[str, Any]]:
    """Say of every item when to order how much. Raises `NothingForecast`."""
    ahead = year_ahead(database, today, months)
    with database.reading() as session:
        rows = read_stock(session)
    return [_told(one) for one in advise_items(rows, ahead)]


def _told(one: ItemAdvice) -> dict[str, Any]:
    told = one.told
    in_days = told.order_in_days
    return {
        "item_id": one.item["item_id"],
        "quantity": one.item["quantity"],
        "on_order": round(sum(left for _, left in one.on_order), 2),
        "in_hand": round(one.in_hand, 2),
        "share": round(one.share, 4),
        "supply_days": round(one.supply.days, 1),
        "reorder_point": round(told.reorder_point, 2),
        "safety_stock": round(told.safety_stock, 2),
        "order_now": round(told.order_now, 2),
        "order_in_days": int(in_days) if np.isfinite(in_days) else None,
        "runs_out_chance": round(told.runs_out_chance, 4),
        "stock_out_chance": round(told.stock_out_chance, 4),
    }


def item_weeks(
    database: Database, today: date, item_id: str, months: int = 12
) -> list[dict[str, Any]]:
    """Say what each week will take of an item. Raises `NotFound`, `NothingForecast`."""
    with database.reading() as session:
        found_item(session, item_id)
        items = stock.list_items(session)
        weights = _weights(session, items)
    ahead = year_ahead(database, today, months)
    place = next(n for n, item in enumerate(items) if item["item_id"] == item_id)
    use = _use(ahead, items[place], weights[item_id], place)
    weeks = summarise(ahead.simulated, {"use": use}, "week")
    names = ("mean", "p10", "p50", "p90")
    return [
        {"begins_on": row["begins_on"].date().isoformat()}
        | {name: round(float(row[name]), 2) for name in names}
        for row in weeks.to_dict("records")
    ]


def _use(
    ahead: YearAhead, item: Mapping[str, Any], mine: tuple[np.ndarray, int], place: int
) -> np.ndarray:
    rng = np.random.default_rng([_SEED, place])
    return item_use(ahead.simulated.counts, item["use"], *mine, rng)


def _weights(
    session: Session, items: Sequence[Mapping[str, Any]]
) -> dict[str, tuple[np.ndarray, int]]:
    """Give each item the weights of its use's items, and its place in them."""
    taken, pairs = stock.jobs_by_item(session), stock.fitted_pairs(session)
    out: dict[str, tuple[np.ndarray, int]] = {}
    for use in {item["use"] for item in items}:
        same = [item for item in items if item["use"] == use]
        shares = item_shares(_expected(same, use, pairs), [taken.get(i["id"], 0) for i in same])
        out |= {item["item_id"]: (shares, n) for n, item in enumerate(same)}
    return out


def _expected(
    items: Sequence[Mapping[str, Any]], use: str, pairs: Sequence[tuple[float | None, str, int]]
) -> list[float]:
    """Share of the pairs that each item fits; items that fit one pair share it evenly."""
    total = sum(count for _, _, count in pairs)
    if not total:
        return [1.0 / len(items)] * len(items)
    out = np.zeros(len(items))
    for size, material, count in pairs:
        asked = material if use in _LEATHERED else None
        fit = np.array([fits_item(item, asked, None, size) for item in items])
        if fit.any():
            out += count / total * fit / fit.sum()
    return [float(share) for share in out]
