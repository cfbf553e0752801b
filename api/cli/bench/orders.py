"""Orders commands.

What do the commands of the bench do: bench, book, move, file-paper, quote, stock?
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

Pair = Annotated[str, typer.Argument(help="The pair's id.")]
OrderId = Annotated[str, typer.Argument(help="The order's id, as `solespan bench` shows it.")]
Worker = Annotated[str | None, typer.Option("--worker", help="Who does it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""

    @app.command("bench")
    def bench() -> None:
        """List the open orders of the bench by stage."""
        from solespan.api.cli.bench.order_runs import run_bench

        run_bench()

    @app.command("book")
    def book(
        pair: Pair,
        work: Annotated[str, typer.Argument(help="full_sole, half_sole, top_piece, ...")],
        expected_on: Annotated[
            str | None, typer.Option("--expected-on", help="Day it should come, YYYY-MM-DD.")
        ] = None,
        by_post: Annotated[bool, typer.Option("--by-post", help="It comes by post.")] = False,
    ) -> None:
        """Book a piece of work on a pair."""
        from solespan.api.cli.bench.order_runs import run_book

        run_book(pair_id=pair, work=work, expected_on=expected_on, by_post=by_post)

    @app.command("move")
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
        from solespan.api.cli.bench.order_runs import run_move

        sole = None if material is None else {"material": material, "cover": cover}
        run_move(
            order,
            {
                "to": to,
                "worker": worker,
                "bench_minutes": minutes,
                "parcel_number": parcel,
                "new_sole": sole,
            },
            reason or [],
        )

    @app.command("file-paper")
    def file_paper(
        order: OrderId,
        kind: Annotated[str, typer.Argument(help="condition, before or after.")],
        file: Annotated[Path, typer.Argument(help="The paper as JSON, as the service takes it.")],
    ) -> None:
        """File a condition report, or the shoe's record before or after."""
        from solespan.api.cli.bench.order_runs import run_file_paper

        run_file_paper(order, kind, file)

    @app.command("quote")
    def quote(pair: Pair, worker: Worker = None) -> None:
        """Say what a pair needs, what it costs, and the wear days each way buys."""
        from solespan.api.cli.bench.order_runs import run_quote

        run_quote(pair, worker)

    @app.command("stock")
    def stock(
        item: Annotated[str | None, typer.Argument(help="An item to write a line for.")] = None,
        reason: Annotated[str | None, typer.Argument(help="receipt, use or count.")] = None,
        quantity: Annotated[float | None, typer.Argument(help="How much.")] = None,
    ) -> None:
        """Show what is in stock and what to order, or write a line of the stock book."""
        from solespan.api.cli.bench.order_runs import run_stock

        run_stock(item, reason, quantity)
