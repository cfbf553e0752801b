"""Commands of the bench: orders, papers, photographs and quotes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import RenderableType

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.cli.bench.lists import ORDER_COLUMNS, ORDER_SPARE
from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.options import Pair, read_day
from solespan.api.cli.output import Format, Out, OutputFormat, say, show, show_rows
from solespan.api.errors import Refused

__all__ = ["register"]

OrderId = Annotated[str, typer.Argument(help="The order's id, as `solespan bench` shows it.")]
Worker = Annotated[str | None, typer.Option("--worker", help="Who does it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("bench")(bench)
    app.command("order")(order)
    app.command("book")(book)
    app.command("free-days")(free_days)
    app.command("move")(move)
    app.command("file-paper")(file_paper)
    app.command("photo")(photo)
    app.command("remove-photo")(remove_photo)
    app.command("quote")(quote)
    app.command("agree")(agree)
    app.command("defaults")(defaults)


MOST_SHOWN = 500


def bench(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the open orders of the bench by stage."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import OrderPage
    from solespan.api.services.bench.orders import list_orders

    with serving() as services, services.database.reading() as session:
        rows = [
            row
            for stage in OPEN_STAGES
            for row in list_orders(
                session, stage=stage, pair_id=None, below_id=None, limit=MOST_SHOWN
            )
        ]
    empty = "Nothing is booked: solespan book PAIR WORK"
    show_rows(OrderPage, rows, ORDER_COLUMNS, form=form, out=out, spare=ORDER_SPARE, empty=empty)


def order(order: OrderId, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Show an order with what happened to it, its papers and photographs."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.bench.found_orders import describe

    with serving() as services, services.database.reading() as session:
        found = describe(session, order)
    _show_order(found, form, out, lambda: _order_tables(found))


def _order_tables(found: Mapping[str, Any]) -> Iterator[RenderableType]:
    lists = ("events", "papers", "photos")
    known = [(k.replace("_", " "), v) for k, v in found.items() if k not in lists and v is not None]
    yield grid(("what", "value"), known)
    moves = [(e["at"][:16], e["from_stage"], e["to_stage"], e["worker"]) for e in found["events"]]
    yield grid(("at (UTC)", "from", "to", "worker"), moves, title="What happened")
    if found["papers"]:
        yield f"Papers: {', '.join(found['papers'])}."
    if found["photos"]:
        shots = [(one["photo_id"], one["caption"]) for one in found["photos"]]
        yield grid(("photograph", "caption"), shots)


def _show_order(found: Mapping[str, Any], form: OutputFormat, out: Path, table: Any) -> None:
    from solespan.api.schemas.bench.orders import Order

    show(found, Order, form=form, out=out, table=table)


def book(
    pair: Pair,
    work: Annotated[str, typer.Argument(help="full_sole, half_sole, top_piece, ...")],
    more: Annotated[
        list[str] | None, typer.Option("--more", help="A further work; may be given again.")
    ] = None,
    warranty_of: Annotated[
        str | None, typer.Option("--warranty-of", help="The order that is redone under warranty.")
    ] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", help="Why it is redone under warranty.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day it should come, YYYY-MM-DD.")] = None,
    by_post: Annotated[bool, typer.Option("--by-post", help="It comes by post.")] = False,
    promised: Annotated[
        str | None, typer.Option("--promised", help="Day promised, YYYY-MM-DD.")
    ] = None,
    overrule: Annotated[
        str | None, typer.Option("--overrule", help="Reason to take a day that is not free.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Book a piece of work on a pair, or several for one visit."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import NewOrder
    from solespan.api.services.bench import orders as bench_orders
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.dashboards.pages.bench.bench import order_works

    with serving("book") as services, services.database.writing() as session:
        day = None if on is None else read_day(on, services.clock.today())
        until = None if promised is None else read_day(promised, services.clock.today())
        given = {
            "pair_id": pair_named(session, pair),
            "work": work,
            "more_works": more or [],
            "by_post": by_post,
            "expected_on": day,
            "promised_on": until,
            "overrule": overrule,
            "warranty_of": warranty_of,
            "reason": reason,
        }
        asked = read_message(lambda: NewOrder.model_validate(given))
        made = bench_orders.book(session, asked, services.clock)
    said = f"Booked: {order_works(made)} on {made['pair_id']}, order {made['order_id']}"
    _show_order(made, form, out, lambda: [said])


def free_days(
    work: Annotated[str, typer.Argument(help="full_sole, half_sole, top_piece, ...")] = "full_sole",
    construction: Annotated[
        str, typer.Option("--construction", help="How the sole is held.")
    ] = "goodyear_welted",
    by_post: Annotated[bool, typer.Option("--by-post", help="It comes by post.")] = False,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List the next days on which a pair can come, by the bench's calendar."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.free_days import FreeDayFilters, FreeDays
    from solespan.api.services.bench.booking.free_days import FreeDaysAsked, list_free_days

    given = {"work": work, "construction": construction, "by_post": by_post}
    chosen = read_message(lambda: FreeDayFilters.model_validate(given))
    asked = FreeDaysAsked((chosen.work,), chosen.construction, chosen.by_post)
    with serving("free-days") as services, services.database.reading() as session:
        found = list_free_days(session, asked, services.clock)
    days = [(one["day"], one["ready_by"]) for one in found["days"]]
    title = "" if found["hours_set"] else "No opening hours are set: the defaults hold"
    table = grid(("free day", "ready by"), days, title=title)
    show(found, FreeDays, form=form, out=out, table=lambda: [table])


def move(
    order: OrderId,
    to: Annotated[
        str, typer.Argument(help="received, on_bench, sent_on, checked, returned, refused, ...")
    ],
    worker: Worker = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Hands-on minutes, for checked.")
    ] = None,
    parcel: Annotated[str | None, typer.Option("--parcel", help="Parcel number.")] = None,
    sent_to: Annotated[
        str | None, typer.Option("--sent-to", help="The maker, for sent_on.")
    ] = None,
    back_on: Annotated[
        str | None, typer.Option("--back-on", help="Day it should be back, for sent_on.")
    ] = None,
    note: Annotated[
        str | None, typer.Option("--note", help="What happened; for refused, the reason.")
    ] = None,
    material: Annotated[
        str | None, typer.Option("--material", help="Of the new sole, for checked.")
    ] = None,
    cover: Annotated[str, typer.Option("--cover", help="full or half.")] = "full",
    reason: Annotated[
        list[str] | None,
        typer.Option("--reason", metavar="MEASURE=WHY", help="Why a measure may stay out."),
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the step. Default today.")] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Take an order to its next stage."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import Move
    from solespan.api.services.bench import orders as bench_orders
    from solespan.api.services.bench.found_orders import describe

    given: dict[str, Any] = {
        "to": to,
        "worker": worker,
        "bench_minutes": minutes,
        "parcel_number": parcel,
        "sent_to": sent_to,
        "note": note,
        "new_sole": None if material is None else {"material": material, "cover": cover},
        "reasons": dict(one.partition("=")[::2] for one in reason or []),
    }
    with serving("move") as services, services.database.writing() as session:
        before = describe(session, order)
        day = None if on is None else read_day(on, services.clock.today(), past=True)
        back = None if back_on is None else read_day(back_on, services.clock.today())
        given |= {"version": before["version"], "on": day, "back_on": back}
        move = read_message(lambda: Move.model_validate(given))
        after = bench_orders.step(session, order, move, services.clock)
        services.forecaster.update_owner(session, after["pair_id"])
    said = f"Order {order}: {before['stage']} -> {after['stage']}"
    _show_order(after, form, out, lambda: [said])


def file_paper(
    order: OrderId,
    kind: Annotated[str, typer.Argument(help="condition, before or after.")],
    file: Annotated[
        Path, typer.Argument(help="The paper as JSON, as the service takes it; - = from a pipe.")
    ],
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """File a condition report, or the shoe's record before or after."""
    from solespan.api.cli.files import read_file
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
    content = read_file(file)
    paper = read_message(lambda: kinds[kind].model_validate_json(content))
    with serving("file-paper") as services, services.database.writing() as session:
        filed = papers.file_paper(session, order, kind, paper, services.clock)
        services.forecaster.update_owner(session, filed["pair_id"])
    _show_order(filed, form, out, lambda: [f"Order {order}: the {kind} paper is filed."])


def photo(
    order: OrderId,
    file: Annotated[Path, typer.Argument(help="A JPEG or PNG; - = from a pipe.")],
    caption: Annotated[str, typer.Option("--caption", help="What it shows.")] = "",
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Attach a photograph to an order, without its metadata."""
    from solespan.api.cli.files import read_file
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.orders import BenchPhotoTaken
    from solespan.api.services.bench.photographs import keep_photograph

    content = read_file(file)
    with serving("photo") as services, services.database.writing() as session:
        kept = keep_photograph(session, order, content, caption.strip())
    said = f"Order {order}: the photograph {kept['photo_id']} is kept."
    show(kept, BenchPhotoTaken, form=form, out=out, table=lambda: [said])


def remove_photo(
    photo: Annotated[
        str, typer.Argument(help="The photograph's id, as `solespan order` shows it.")
    ],
) -> None:
    """Take a photograph away; the order keeps that it was there."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.bench.photographs import remove_photograph

    with serving("remove-photo") as services, services.database.writing() as session:
        order_id = remove_photograph(session, photo)
    say(f"Order {order_id}: the photograph is taken away.")


def quote(
    pair: Pair,
    worker: Worker = None,
    work: Annotated[
        list[str] | None,
        typer.Option("--work", help="A work to quote in one visit; may be given again."),
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Say what a pair needs, what it costs, and the wear days each way buys."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.bench.quotes import Quote
    from solespan.api.services.bench.quotes import quote_pair
    from solespan.api.services.rack.pair_names import pair_named

    with serving() as services, services.database.reading() as session:
        told = quote_pair(session, pair_named(session, pair), worker, works=work or [])
    tables = lambda: _quote_tables(told)  # noqa: E731
    show(told, Quote, form=form, out=out, table=tables, rows="alternatives")


def agree(
    order: OrderId,
    works: Annotated[
        list[str], typer.Argument(help="All works of one visit, as `solespan quote` names them.")
    ],
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Take the customer's yes to works of the quote: the order gets them and their price."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.bench.found_orders import describe
    from solespan.api.services.bench.quotes import agree as take_way
    from solespan.dashboards.pages.bench.bench import order_works

    with serving("agree") as services, services.database.writing() as session:
        version = describe(session, order)["version"]
        after = take_way(session, order, works, version, services.clock)
        services.forecaster.update_owner(session, after["pair_id"])
    price = f"{after['price_minor'] / 100:.2f} {after['currency']}"
    said = f"Order {order}: {order_works(after)} for {price}"
    _show_order(after, form, out, lambda: [said])


def defaults(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List every default of layers, limits, works and quotes with its unit and its origin."""
    from dataclasses import asdict

    from solespan.api.schemas.bench.quotes import DefaultPage
    from solespan.forecast.bench.origins import all_defaults

    rows = [asdict(one) for one in all_defaults()]
    columns = {"default": "what", "value": "value", "unit": "unit", "origin": "origin"}
    show_rows(DefaultPage, rows, columns, form=form, out=out)


def _quote_tables(told: Mapping[str, Any]) -> Iterator[RenderableType]:
    for need in told["needed"]:
        yield f"{need['work'].replace('_', ' ')}: {need['why']}"
    for one in told["depends_on"]:
        yield f"Before the price stands: {one}"
    if told["chosen"] is not None:
        yield _ways_table(told, [told["chosen"]], "the works asked for, in one visit")
    if not told["needed"]:
        left = told["wear_days_left"].get("ball")
        rest = "" if left is None else f" About {left:.0f} wear days are left at the ball."
        yield f"Nothing is needed yet.{rest}"
        return
    yield _ways_table(told, told["alternatives"], f"minutes from {told['minutes_from']}")
    from solespan.dashboards.cautions import cautions_of

    works = [work for way in told["alternatives"] for work in way["works"]]
    yield from dict.fromkeys(caution for work in works for caution in cautions_of(work))


def _ways_table(
    told: Mapping[str, Any], ways: Sequence[Mapping[str, Any]], caption: str
) -> RenderableType:
    rows = [
        (
            " ".join(way["works"]),
            f"{way['price_minor'] / 100:.2f}",
            f"{way['minutes_low']:.0f} to {way['minutes_high']:.0f}",
            _days(way),
            str(way["soles_left"]),
        )
        for way in ways
    ]
    price = f"price ({told['currency']})"
    headings = ("way", price, "minutes, 80 %", "wear days bought, 80 %", "soles left")
    return grid(headings, rows, caption=caption)


def _days(way: Mapping[str, Any]) -> str:
    low, high = way["wear_days_low"], way["wear_days_high"]
    return f"{way['wear_days_bought']:.0f} ({low:.0f} to {high:.0f})"
