"""Pairs that are probably no longer in use: how are they listed and answered for at a terminal?"""

from __future__ import annotations

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.cli.opening import serving
from solespan.api.services.notices.deciding import preview
from solespan.api.services.notices.reading import gone_pairs
from solespan.api.services.rack.sole_forms import give_up, say_in_use
from solespan.dashboards import wording

__all__ = ["run_gone"]

MOST_SHOWN = 500


def run_gone(in_use: list[str], retire: list[str]) -> None:
    """Keep what is true of the pairs named, or list those that are probably gone."""
    with serving() as services:
        if in_use or retire:
            with services.database.writing() as session:
                for pair_id in in_use:
                    say_in_use(services, session, pair_id, {})
                for pair_id in retire:
                    give_up(services, session, pair_id, {})
            typer.echo(f"{len(in_use)} still in use, {len(retire)} retired.")
            return
        rows = gone_pairs(preview(services), MOST_SHOWN)
    table = Table("pair", "name", "customer", "chance in use")
    for row in rows:
        named = (Text(str(row[name])) for name in ("pair_id", "pair", "customer"))
        table.add_row(*named, wording.chance(row["chance"]))
    Console().print(table if rows else "No pair is probably gone.")
