"""Commands of the bench: `list orders`, `list stock`, `list stock-advice` and `list asked`."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows
from solespan.api.errors import Refused

__all__ = ["ORDER_COLUMNS", "ORDER_SPARE", "register"]

ORDER_COLUMNS = {
    "ticket": "ticket",
    "stage": "stage",
    "order": "order_id",
    "pair": "pair_id",
    "work": "work",
    "expected": "expected_on",
    "worker": "worker",
}
ORDER_SPARE = ("expected", "worker")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = find_lists(app)
    group.command("orders")(orders)
    group.command("stock")(stock)
    group.command("stock-advice")(stock_advice)
    group.command("asked")(asked)


def orders(
    stage: Annotated[
        str | None, typer.Option("--stage", help="Only this stage, such as received.")
    ] = None,
    pair: Annotated[
        str | None, typer.Option("--pair", help="Only this pair: its id or its name.")
    ] = None,
    ticket: Annotated[int | None, typer.Option("--ticket", min=1, help="Only this ticket.")] = None,
    limit: Limit = MOST_LISTED,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List orders of every stage, newest booked first."""
    from solespan.api.bench_words import STAGES
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import OrderPage
    from solespan.api.services.bench.orders import list_orders
    from solespan.api.services.rack.pair_names import pair_named

    if stage is not None and stage not in STAGES:
        raise Refused(
            f"{stage!r} is no stage.",
            where="--stage",
            accepted=", ".join(STAGES),
            remedy="Choose one of these.",
        )
    with serving() as services, services.database.reading() as session:
        pair_id = None if pair is None else pair_named(session, pair)
        rows = list_orders(
            session, stage=stage, pair_id=pair_id, ticket=ticket, below_id=None, limit=limit + 1
        )
    show_rows(OrderPage, rows, ORDER_COLUMNS, form=form, out=out, limit=limit, spare=ORDER_SPARE)


def stock(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List every item that is kept and what is there."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.stock import Items
    from solespan.api.services.bench.stock import list_items

    with serving() as services, services.database.reading() as session:
        rows = list_items(session)
    columns = {"item": "item_id", "use": "use", "material": "material", "mm": "thickness_mm"}
    columns |= {"there": "quantity", "supply days": "supply_days"}
    show_rows(Items, rows, columns, form=form, out=out)


def stock_advice(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List when to order how much of each item, from the simulated year."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.stock import AdvisedItems
    from solespan.api.services.bench.stock_advice import advice

    with serving() as services:
        rows = advice(services.database, services.clock.today())
    columns = {"item": "item_id", "there": "quantity", "order up to": "reorder_point"}
    columns |= {"on order": "on_order", "order now": "order_now", "days until": "order_in_days"}
    columns |= {"chance of running out": "runs_out_chance"}
    show_rows(AdvisedItems, rows, columns, form=form, out=out)


def asked(
    why: Annotated[
        str | None,
        typer.Option("--why", help="Those left out: unknown, young, early, busy, gone or later."),
    ] = None,
    limit: Limit = MOST_LISTED,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List whom the year's plan would ask, or whom it leaves out and why; nothing is sent."""
    from solespan.api.cli.grid import grid
    from solespan.api.cli.opening import serving
    from solespan.api.cli.output import show
    from solespan.api.schemas.bench.asking import WHY, AskedPairs
    from solespan.api.services.bench.asking import asked_body
    from solespan.dashboards.pages.bench.asking import proved_words

    if why is not None and why not in WHY:
        raise Refused(
            f"{why!r} is no reason.",
            where="--why",
            accepted=", ".join(WHY),
            remedy="Choose one of these.",
        )
    with serving() as services:
        body = asked_body(services.database, services.clock, why, limit)
    rows = [(r["pair_id"], r["customer"], r["ask_on"], r["reason"]) for r in body["items"]]
    counts = [(word, n) for word, n in body["counts"].items() if n]
    tables: list[RenderableType] = [
        grid(("pair", "customer", "asked for", "based on"), rows, caption=(why and WHY[why]) or ""),
        grid(("which", "pairs"), counts, title="Counts"),
        proved_words(body["proved"]),
    ]
    show(body, AskedPairs, form=form, out=out, table=lambda: tables)
