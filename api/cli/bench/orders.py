"""Commands of the bench: orders, papers, quotes and the stock book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.errors import NothingForecast, Refused

__all__ = ["register"]

Pair = Annotated[str, typer.Argument(help="The pair's id.")]
OrderId = Annotated[str, typer.Argument(help="The order's id, as `solespan bench` shows it.")]
Worker = Annotated[str | None, typer.Option("--worker", help="Who does it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("bench")(bench)
    app.command("book")(book)
    app.command("move")(move)
    app.command("file-paper")(file_paper)
    app.command("quote")(quote)
    app.command("stock")(stock)


MOST_SHOWN = 500


def bench() -> None:
    """List the open orders of the bench by stage."""
    from solespan.api.cli.opening import serving
    from solespan.api.storage.bench.orders import list_orders

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


def book(
    pair: Pair,
    work: Annotated[str, typer.Argument(help="full_sole, half_sole, top_piece, ...")],
    expected_on: Annotated[
        str | None, typer.Option("--expected-on", help="Day it should come, YYYY-MM-DD.")
    ] = None,
    by_post: Annotated[bool, typer.Option("--by-post", help="It comes by post.")] = False,
) -> None:
    """Book a piece of work on a pair."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import NewOrder
    from solespan.api.services.bench import orders as bench_orders

    given = {"pair_id": pair, "work": work, "expected_on": expected_on, "by_post": by_post}
    order = read_message(lambda: NewOrder.model_validate(given))
    with serving() as services, services.database.writing() as session:
        made = bench_orders.book(session, order, services.clock)
    typer.echo(f"Booked: {made['work']} on {made['pair_id']}, order {made['order_id']}")


def move(
    order: OrderId,
    to: Annotated[str, typer.Argument(help="received, on_bench, checked, returned, ...")],
    worker: Worker = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Hands-on minutes, for checked.")
    ] = None,
    parcel: Annotated[str | None, typer.Option("--parcel", help="Parcel number.")] = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Of the new sole, for checked.")
    ] = None,
    cover: Annotated[str, typer.Option("--cover", help="full or half.")] = "full",
    reason: Annotated[
        list[str] | None,
        typer.Option("--reason", metavar="MEASURE=WHY", help="Why a measure may stay out."),
    ] = None,
) -> None:
    """Take an order to its next stage."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import Move
    from solespan.api.services.bench import orders as bench_orders
    from solespan.api.services.bench.found_orders import describe

    given = {
        "to": to,
        "worker": worker,
        "bench_minutes": minutes,
        "parcel_number": parcel,
        "new_sole": None if material is None else {"material": material, "cover": cover},
        "reasons": dict(one.partition("=")[::2] for one in reason or []),
    }
    with serving() as services, services.database.writing() as session:
        before = describe(session, order)
        move = read_message(lambda: Move.model_validate(given | {"version": before["version"]}))
        after = bench_orders.step(session, order, move, services.clock)
        services.forecaster.update_owner(session, after["pair_id"])
    typer.echo(f"Order {order}: {before['stage']} -> {after['stage']}")


def file_paper(
    order: OrderId,
    kind: Annotated[str, typer.Argument(help="condition, before or after.")],
    file: Annotated[Path, typer.Argument(help="The paper as JSON, as the service takes it.")],
) -> None:
    """File a condition report, or the shoe's record before or after."""
    from solespan.api.cli.files import read_json
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import Condition, Record
    from solespan.api.services.bench import papers

    kinds: dict[str, type[Condition | Record]] = {
        "condition": Condition,
        "before": Record,
        "after": Record,
    }
    if kind not in kinds:
        raise Refused(
            f"{kind!r} is no paper.",
            where="KIND",
            accepted=", ".join(kinds),
            remedy="Choose one of these.",
        )
    content = read_json(file)
    paper = read_message(lambda: kinds[kind].model_validate_json(content))
    with serving() as services, services.database.writing() as session:
        filed = papers.file_paper(session, order, kind, paper, services.clock)
        services.forecaster.update_owner(session, filed["pair_id"])
    typer.echo(f"Order {order}: the {kind} paper is filed.")


def quote(pair: Pair, worker: Worker = None) -> None:
    """Say what a pair needs, what it costs, and the wear days each way buys."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.bench.quotes import quote_pair

    with serving() as services, services.database.reading() as session:
        told = quote_pair(session, pair, worker)
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


def stock(
    item: Annotated[str | None, typer.Argument(help="An item to write a line for.")] = None,
    reason: Annotated[str | None, typer.Argument(help="receipt, use or count.")] = None,
    quantity: Annotated[float | None, typer.Argument(help="How much.")] = None,
) -> None:
    """Show what is in stock and what to order, or write a line of the stock book."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.stock import StockLine
    from solespan.api.services.bench import stock
    from solespan.api.storage.bench.stock import list_items

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
