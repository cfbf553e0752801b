"""Order commands at work: how are orders, quotes and the stock book handled from a terminal?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.cli.messages import read_message
from solespan.api.cli.opening import serving
from solespan.api.errors import NothingForecast, Refused
from solespan.api.schemas.bench.orders import Condition, Move, NewOrder, Record
from solespan.api.schemas.bench.stock import StockLine
from solespan.api.services.bench import orders as bench_orders
from solespan.api.services.bench import stock
from solespan.api.services.bench.found_orders import describe, forecast_anew
from solespan.api.services.bench.papers import file_paper
from solespan.api.services.bench.quotes import quote_pair
from solespan.api.storage.bench.orders import list_orders
from solespan.api.storage.bench.stock import list_items

__all__ = [
    "run_bench",
    "run_book",
    "run_file_paper",
    "run_move",
    "run_quote",
    "run_stock",
]

MOST_SHOWN = 500
_PAPERS: dict[str, type[Condition | Record]] = {
    "condition": Condition,
    "before": Record,
    "after": Record,
}


def run_bench() -> None:
    """List open orders."""
    with serving() as services, services.database.reading() as session:
        orders = [
            order
            for stage in OPEN_STAGES
            for order in list_orders(
                session, stage=stage, pair_id=None, below_id=None, limit=MOST_SHOWN
            )
        ]
    table = Table("stage", "order", "pair", "work", "expected", "worker")
    table.columns[1].overflow = "fold"  # an id that is cut off cannot be typed again
    for order in orders:
        cells = (order["stage"], order["order_id"], order["pair_id"], order["work"])
        named = [Text(str(cell)) for cell in cells]
        table.add_row(*named, str(order["expected_on"] or ""), Text(order["worker"] or ""))
    Console().print(table if orders else "Nothing is booked: solespan book PAIR WORK")


def run_book(**given: Any) -> None:
    """Book a piece of work."""
    order = read_message(lambda: NewOrder(**given))
    with serving() as services, services.database.writing() as session:
        made = bench_orders.book(session, order, services.clock)
    typer.echo(f"Booked: {made['work']} on {made['pair_id']}, order {made['order_id']}")


def run_move(order_id: str, given: dict[str, Any], reasons: Sequence[str]) -> None:
    """Take an order to its next stage."""
    told = dict(reason.partition("=")[::2] for reason in reasons)
    with serving() as services, services.database.writing() as session:
        before = describe(session, order_id)
        move = read_message(lambda: Move(version=before["version"], reasons=told, **given))
        order = bench_orders.step(session, order_id, move, services.clock)
        forecast_anew(services.forecaster, session, order["pair_id"])
    typer.echo(f"Order {order_id}: {before['stage']} -> {order['stage']}")


def run_file_paper(order_id: str, kind: str, path: Path) -> None:
    """File a paper from a JSON file."""
    if kind not in _PAPERS:
        raise Refused(
            f"{kind!r} is no paper.",
            where="KIND",
            accepted=", ".join(_PAPERS),
            remedy="Choose one of these.",
        )
    try:
        content = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as cause:
        raise Refused(
            f"{path} cannot be read as text.", where="FILE", remedy="Name a JSON file."
        ) from cause
    paper = read_message(lambda: _PAPERS[kind].model_validate_json(content))
    with serving() as services, services.database.writing() as session:
        order = file_paper(session, order_id, kind, paper, services.clock)
        forecast_anew(services.forecaster, session, order["pair_id"])
    typer.echo(f"Order {order_id}: the {kind} paper is filed.")


def run_quote(pair_id: str, worker: str | None) -> None:
    """Quote a pair."""
    with serving() as services, services.database.reading() as session:
        told = quote_pair(session, pair_id, worker)
    console = Console()
    for need in told["needed"]:
        line = f"{need['work'].replace('_', ' ')}: {need['why']}"
        console.print(line, markup=False, highlight=False)
    if not told["needed"]:
        left = told["wear_days_left"].get("ball")
        rest = "" if left is None else f" About {left:.0f} wear days are left at the ball."
        console.print(f"Nothing is needed yet.{rest}", highlight=False)
        return
    table = Table("way", f"price ({told['currency']})", "minutes, 80 %", "wear days bought")
    for way in told["alternatives"]:
        table.add_row(
            ", ".join(way["works"]).replace("_", " "),
            f"{way['price_minor'] / 100:.2f}",
            f"{way['minutes_low']:.0f} to {way['minutes_high']:.0f}",
            f"{way['wear_days_bought']:.0f}",
        )
    table.caption = f"minutes from {told['minutes_from']}"
    console.print(table)


def run_stock(item: str | None, reason: str | None, quantity: float | None) -> None:
    """Show the stock with advice, or write one line."""
    with serving() as services:
        if item is not None:
            line = read_message(lambda: StockLine(reason=reason, quantity=quantity))  # type: ignore[arg-type]
            with services.database.writing() as session:
                made = stock.move_stock(session, item, line)
            typer.echo(f"{item}: {made['quantity']:g} are there now.")
            return
        with services.database.reading() as session:
            items = list_items(session)
        try:
            told = stock.advice(services.database, services.clock.today())
            note = "order points from the simulated year"
        except NothingForecast as missing:
            told, note = [], f"no order points: {missing.what}"
    _show_stock(items, {row["item_id"]: row for row in told}, note)


def _show_stock(
    items: Sequence[Mapping[str, Any]], told: Mapping[str, Mapping[str, Any]], note: str
) -> None:
    if not items:
        typer.echo("No item is kept yet; the page /stock of solespan serve keeps one.")
        return
    table = Table("item", "there", "order at", "order now", "days until", "runs out", caption=note)
    for item in items:
        row = told.get(item["item_id"])
        cells = ("", "", "", "")
        if row is not None:
            days = row["order_in_days"]
            cells = (
                f"{row['reorder_point']:g}",
                f"{row['order_now']:g}",
                "later" if days is None else str(days),
                f"{row['runs_out_chance']:.0%}",
            )
        table.add_row(Text(item["item_id"]), f"{item['quantity']:g}", *cells)
    Console().print(table)
