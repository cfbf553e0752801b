"""Commands of the stock book."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.output import Format, Out, OutputFormat, page_of, show
from solespan.api.errors import NothingForecast

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("stock")(stock)
    app.command("keep-item")(keep_item)


def stock(
    item: Annotated[str | None, typer.Argument(help="An item to write a line for.")] = None,
    reason: Annotated[str | None, typer.Argument(help="receipt, use or count.")] = None,
    quantity: Annotated[float | None, typer.Argument(help="How much.")] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Show what is in stock and what to order, or write a line of the stock book."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.stock import Items, ItemStored, StockLine
    from solespan.api.services.bench import stock, stock_advice

    if item is not None:
        line = read_message(lambda: StockLine(reason=reason, quantity=quantity))  # type: ignore[arg-type]
        with serving("stock") as services, services.database.writing() as session:
            made = stock.move_stock(session, item, line)
        said = f"{item}: {made['quantity']:g} are there now."
        show(made, ItemStored, form=form, out=out, table=lambda: [said])
        return
    with serving() as services:
        with services.database.reading() as session:
            items = stock.list_items(session)
        told: Sequence[Mapping[str, Any]] = []
        remark = ""
        if form == OutputFormat.TABLE and items:
            try:
                told = stock_advice.advice(services.database, services.clock.today())
                remark = "order points from the simulated year"
            except NothingForecast as missing:
                remark = f"no order points: {missing.what}"
    advised = {row["item_id"]: row for row in told}
    tables = lambda: _stock_tables(items, advised, remark)  # noqa: E731
    show(page_of(Items, items), Items, form=form, out=out, table=tables)


def _stock_tables(
    items: Sequence[Mapping[str, Any]], told: Mapping[str, Mapping[str, Any]], remark: str
) -> Iterator[RenderableType]:
    if not items:
        yield "No item is kept yet: solespan keep-item ITEM --use USE"
        return
    rows = []
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
        rows.append((item["item_id"], f"{item['quantity']:g}", *cells))
    headings = ("item", "there", "order at", "order now", "days until", "runs out")
    yield grid(headings, rows, caption=remark)


def keep_item(
    item: Annotated[str, typer.Argument(help="Short name of the item, such as oak-5mm.")],
    use: Annotated[str, typer.Option("--use", help="sole, half_sole, top_piece, welt, ...")],
    material: Annotated[str | None, typer.Option("--material", help="Left out = any.")] = None,
    mm: Annotated[float | None, typer.Option("--mm", help="Thickness; left out = any.")] = None,
    size_from: Annotated[float | None, typer.Option("--size-from", help="European size.")] = None,
    size_to: Annotated[float | None, typer.Option("--size-to", help="European size.")] = None,
    supply_days: Annotated[
        float | None, typer.Option("--supply-days", help="Supply time. Default 14.")
    ] = None,
    minimum_order: Annotated[
        float | None, typer.Option("--minimum-order", help="Least that is sold at once.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Keep an item in the stock book, or change how it is supplied."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.stock import ItemStored
    from solespan.api.services.bench import stock
    from solespan.api.services.bench.stock_forms import as_supplied, read_item_form

    values = {
        "item_id": item,
        "use": use,
        "material": material,
        "thickness_mm": mm,
        "size_eu_from": size_from,
        "size_eu_to": size_to,
        "supply_days": supply_days,
        "minimum_order": minimum_order,
    }
    options = {"item_id": "ITEM", "thickness_mm": "--mm"}
    options |= {"size_eu_from": "--size-from", "size_eu_to": "--size-to"}
    with typed_options(options):
        item_id, asked = read_item_form({k: str(v) for k, v in values.items() if v is not None})
    with serving("keep-item") as services, services.database.writing() as session:
        stock.put_item(session, item_id, as_supplied(asked, stock.find_item(session, item_id)))
        kept = stock.describe_item(session, item_id)
    show(kept, ItemStored, form=form, out=out, table=lambda: [f"The item {item_id} is kept."])
