"""Commands of the desk: `take-in` and `find-customer`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.options import read_day
from solespan.api.cli.output import Format, Out, OutputFormat, note, show

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("take-in")(take_in)
    app.command("find-customer")(find_customer)


def find_customer(
    words: Annotated[
        str, typer.Argument(help="A name, telephone number, e-mail, ticket or pair; '' = all.")
    ],
    page: Annotated[int, typer.Option(min=1, help="Which page.")] = 1,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Find customers, with their pairs and what is here of them."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.customer_search import CustomerSearch, FoundCustomerPage
    from solespan.api.services.bench.desk.customer_search import describe_found, search_customers
    from solespan.dashboards.pages.bench.desk import customer_rows

    asked = read_message(lambda: CustomerSearch(words=words, page=page))
    with serving() as services:
        found = search_customers(services, asked.words, asked.page)
    cells = [
        (one["name"], one["phone"], pair["name"], str(pair["ticket"]), pair["when"])
        for one in customer_rows(found.customers, found.today)
        for pair in one["pairs"] or [{"name": "", "ticket": "", "when": ""}]
    ]
    table = grid(("customer", "telephone", "pair", "ticket", "stage"), cells)
    empty = "No customer has that."
    show(
        describe_found(found),
        FoundCustomerPage,
        form=form,
        out=out,
        table=lambda: [table if cells else empty],
    )
    if found.more:
        note(f"There are more: --page {page + 1}")


def take_in(
    who: Annotated[str, typer.Argument(help="A new customer's name or telephone number.")],
    what: Annotated[str, typer.Argument(help="The pair and its work: brown brogue, needs a sole.")],
    phone: Annotated[str | None, typer.Option("--phone", help="Telephone number.")] = None,
    wearer: Annotated[
        str | None, typer.Option("--wearer", help="Id of a known customer, in place of WHO.")
    ] = None,
    work: Annotated[str | None, typer.Option("--work", help="full_sole, half_sole, ...")] = None,
    price: Annotated[float | None, typer.Option("--price", min=0, help="A price agreed.")] = None,
    to_quote: Annotated[bool, typer.Option("--to-quote", help="Tell the price later.")] = False,
    promised: Annotated[
        str | None,
        typer.Option("--promised", help="Day promised. Default: the first that can be kept."),
    ] = None,
    overrule: Annotated[
        str | None, typer.Option("--overrule", help="Reason to take a day that is not free.")
    ] = None,
    photo: Annotated[
        Path | None, typer.Option("--photo", help="A JPEG or PNG; - = from a pipe.")
    ] = None,
    later: Annotated[bool, typer.Option("--later", help="The pair comes later.")] = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Take in a pair that nobody has seen before, and give it a ticket."""
    from solespan.api.cli.files import read_file
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import Order
    from solespan.api.schemas.bench.reception import Reception
    from solespan.api.services.bench.desk import reception
    from solespan.api.services.bench.desk.reception_form import whom
    from solespan.api.services.bench.photographs import keep_photograph

    typed = {"choice": f"wearer {wearer}" if wearer else "new", "who": who, "phone": phone or ""}
    content = None if photo is None else read_file(photo)
    with serving("take-in") as services, services.database.writing() as session:
        given: dict[str, Any] = whom(typed) | {
            "what": what,
            "work": work,
            "price": "later" if to_quote else "list",
            "price_minor": None if price is None else round(price * 100),
            "promised_on": None if promised is None else read_day(promised, services.clock.today()),
            "overrule": overrule,
            "here": not later,
        }
        asked = read_message(lambda: Reception.model_validate(given))
        made = reception.take_in(services, session, asked)
        if content is not None:
            keep_photograph(session, made["order_id"], content, "At reception")
    said = [
        f"Ticket {made['ticket']}: {made['work'].replace('_', ' ')}, order {made['order_id']}",
        f"Price: {_price(made)}; promised: {made['promised_on'] or 'no day yet'}",
    ]
    show(made, Order, form=form, out=out, table=lambda: said)


def _price(made: dict[str, Any]) -> str:
    if made["price_minor"] is None:
        return "to be quoted"
    return f"{made['price_minor'] / 100:.2f} {made['currency']}"
