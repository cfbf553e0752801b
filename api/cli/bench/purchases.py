"""Commands of the bench: orders of stock items, their receipts, and suppliers."""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.options import read_day
from solespan.api.cli.output import Format, Out, OutputFormat, show, show_rows

__all__ = ["register"]

PurchaseId = Annotated[str, typer.Argument(help="The order's id, as `purchase list` shows it.")]
Item = Annotated[str, typer.Argument(help="Short name of the item, such as oak-5mm.")]
Supplier = Annotated[str | None, typer.Option("--supplier", help="Who sells it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="Order stock items, and receive what came.")
    app.add_typer(group, name="purchase")
    group.command("list")(purchases)
    group.command("order")(order)
    group.command("receive")(receive)
    group.command("cancel")(cancel)
    group.command("supplier")(supplier)
    group.command("weeks")(weeks)


def purchases(
    item: Annotated[str | None, typer.Option("--item", help="Only this item.")] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List orders of items, the open ones first by the day expected."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import Purchases
    from solespan.api.services.bench.purchases import list_purchases

    with serving() as services, services.database.reading() as session:
        rows = list_purchases(session, item_id=item)
    columns = {"order": "purchase_id", "item": "item_id", "from": "supplier_id", "state": "state"}
    columns |= {"expected": "expected_on", "ordered": "quantity", "came": "received"}
    empty = "Nothing was ordered yet: solespan purchase order ITEM QUANTITY"
    show_rows(Purchases, rows, columns, form=form, out=out, empty=empty)


def order(
    item: Item,
    quantity: Annotated[float, typer.Argument(help="How much; whole pieces.")],
    supplier: Supplier = None,
    on: Annotated[
        str | None, typer.Option("--on", help="Day of the order; left out = today.")
    ] = None,
    expected: Annotated[
        str | None, typer.Option("--expected", help="Day it should come; left out = by supply.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Write down that an item was ordered; advice then counts it as on its way."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import NewPurchase, Purchase
    from solespan.api.services.bench.purchases import order_item

    with serving("purchase order") as services:
        today = services.clock.today()
        values = {"item_id": item, "quantity": quantity, "supplier_id": supplier}
        days = {"ordered_on": read_day(on, today)}
        if expected is not None:
            days["expected_on"] = read_day(expected, today, "--expected")
        given = read_message(lambda: NewPurchase(**values, **days))  # type: ignore[arg-type]
        with services.database.writing() as session:
            made = order_item(session, given, today)
    said = f"{item}: {quantity:g} ordered, expected on {made['expected_on']}."
    show(made, Purchase, form=form, out=out, table=lambda: [said, f"order {made['purchase_id']}"])


def receive(
    purchase: PurchaseId,
    quantity: Annotated[
        float | None, typer.Argument(help="How much came; left out = all that was open.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day it came; left out = today.")] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Write down what came of an order, also in the stock book."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import Purchase, Receipt
    from solespan.api.services.bench.purchases import receive_purchase

    with serving("purchase receive") as services:
        today = services.clock.today()
        day = read_day(on, today)
        receipt = read_message(lambda: Receipt(quantity=quantity, received_on=day))
        with services.database.writing() as session:
            made = receive_purchase(session, purchase, receipt, today)
    said = f"{made['item_id']}: {made['received']:g} of {made['quantity']:g} came."
    show(made, Purchase, form=form, out=out, table=lambda: [said])


def cancel(purchase: PurchaseId, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Write down that what is open of an order will not come."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import Purchase
    from solespan.api.services.bench.purchases import cancel_purchase

    with serving("purchase cancel") as services, services.database.writing() as session:
        made = cancel_purchase(session, purchase, services.clock.today())
    said = f"{made['item_id']}: the rest of the order is cancelled."
    show(made, Purchase, form=form, out=out, table=lambda: [said])


def supplier(
    supplier: Annotated[str, typer.Argument(help="Short name of the supplier.")],
    name: Annotated[str | None, typer.Option("--name", help="Its full name.")] = None,
    supply_days: Annotated[
        float, typer.Option("--supply-days", help="Supply time. Default 14.")
    ] = 14.0,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Keep a supplier, or change what is kept of it."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import SupplierStored
    from solespan.api.services.bench.purchases import describe_supplier, put_supplier
    from solespan.api.services.bench.stock_forms import read_supplier_form

    values = {"supplier_id": supplier, "name": name, "supply_days": supply_days}
    with typed_options({"supplier_id": "SUPPLIER"}):
        typed = {k: str(v) for k, v in values.items() if v is not None}
        supplier_id, given = read_supplier_form(typed)
    with serving("purchase supplier") as services, services.database.writing() as session:
        put_supplier(session, supplier_id, given)
        kept = describe_supplier(session, supplier_id)
    said = f"The supplier {supplier_id} is kept."
    show(kept, SupplierStored, form=form, out=out, table=lambda: [said])


def weeks(item: Item, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Show what each week of the year will take of an item, with 80 % intervals."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.purchases import ItemWeeks
    from solespan.api.services.bench.stock_advice import item_weeks

    with serving() as services:
        rows = item_weeks(services.database, services.clock.today(), item)
    cells = [(row["begins_on"], *(f"{row[n]:g}" for n in ("mean", "p10", "p90"))) for row in rows]
    table = grid(("week of", "mean", "1 in 10 less", "9 in 10 less"), cells)
    body = {"item_id": item, "items": rows}
    show(body, ItemWeeks, form=form, out=out, table=lambda: [table])
