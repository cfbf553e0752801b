"""Command `shop`: what do customers inherit from the shop?"""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.output import say

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("shop")(shop)


def shop(
    time_zone: Annotated[
        str | None,
        typer.Option(
            "--time-zone",
            help="Keep the zone of new customers, such as Europe/Vienna; empty = UTC.",
        ),
    ] = None,
) -> None:
    """Show or set what customers inherit from the shop."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.shop import ShopChoices
    from solespan.api.services.shop_choices import change_shop_choices, shop_time_zone

    with serving("shop") as services, services.database.writing() as session:
        if time_zone is not None:
            given = {"time_zone": time_zone or None}
            choices = read_message(lambda: ShopChoices.model_validate(given))
            change_shop_choices(session, choices, None)
        zone = shop_time_zone(session)
    say(f"Customers without a time zone of their own are in {zone}.")
