"""Commands of hooks: addresses that are told of events, their secrets, and events sent again."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows

__all__ = ["register"]

EndpointId = Annotated[str, typer.Argument(help="The endpoint's id, as `hooks list` shows it.")]
Kinds = Annotated[
    list[str] | None, typer.Option("--kind", help="Kind of event, such as order.ready.")
]
Note = Annotated[str | None, typer.Option("--note", help="What it is for.")]
_COLUMNS = {"endpoint": "endpoint_id", "address": "url", "kinds": "kinds", "told": "active"}
_EVENTS = {"event": "event_id", "kind": "kind", "made": "made_at", "state": "state"}
_EVENTS |= {"attempts": "attempts", "problem": "problem"}
MOST_SHOWN = 200


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="Tell your own software of events.")
    app.add_typer(group, name="hooks")
    group.command("list")(hooks)
    group.command("add")(add)
    group.command("change")(change)
    group.command("rotate")(rotate)
    group.command("secret")(secret)
    group.command("delete")(delete)
    group.command("events")(events)
    group.command("resend")(resend)


def hooks(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the addresses that are told of events."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.hook_endpoints import HookEndpoints
    from solespan.api.services.notices.hooks.endpoints import list_endpoints

    with serving() as services, services.database.reading() as session:
        rows = list_endpoints(session)
    empty = "No address is set up: solespan hooks add URL"
    show_rows(HookEndpoints, rows, _COLUMNS, form=form, out=out, empty=empty)


def add(
    url: Annotated[str, typer.Argument(help="The https address that events are posted to.")],
    kind: Kinds = None,
    note: Note = None,
) -> None:
    """Tell an address of events; without a kind, of all."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks.endpoints import add_endpoint, read_secret

    given = _given({"url": url, "kinds": kind or [], "note": note})
    with serving("hooks add") as services, services.database.writing() as session:
        made = add_endpoint(services, session, given)
        key = read_secret(session, made["endpoint_id"])
    typer.echo(f"Endpoint {made['endpoint_id']} is set up. Its secret: {key}")


def change(
    endpoint: EndpointId,
    url: Annotated[str | None, typer.Option("--url", help="Another address.")] = None,
    kind: Kinds = None,
    note: Note = None,
    active: Annotated[
        bool | None, typer.Option("--on/--off", help="Whether events go to it.")
    ] = None,
) -> None:
    """Change an endpoint; what is left out stays."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks.endpoints import change_endpoint, find_shown

    told = {"url": url, "kinds": kind, "note": note, "active": active}
    with serving("hooks change") as services, services.database.writing() as session:
        now = find_shown(session, endpoint)
        kept = {name: now[name] if value is None else value for name, value in told.items()}
        change_endpoint(services, session, endpoint, _given(kept), None)
    typer.echo(f"Endpoint {endpoint} is changed.")


def rotate(endpoint: EndpointId) -> None:
    """Make a new secret; the old one signs beside it for 24 hours."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks.endpoints import read_secret, rotate_secret

    with serving("hooks rotate") as services, services.database.writing() as session:
        rotate_secret(session, endpoint, services.clock.now())
        key = read_secret(session, endpoint)
    typer.echo(f"The new secret of {endpoint}: {key}")


def secret(endpoint: EndpointId) -> None:
    """Show the secret that signs for an endpoint."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks.endpoints import read_secret

    with serving() as services, services.database.reading() as session:
        typer.echo(read_secret(session, endpoint))


def delete(endpoint: EndpointId) -> None:
    """Delete an endpoint with its events."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks.endpoints import remove_endpoint

    with serving("hooks delete") as services, services.database.writing() as session:
        remove_endpoint(session, endpoint)
    typer.echo(f"Endpoint {endpoint} is deleted.")


def events(
    endpoint: Annotated[
        str | None, typer.Option("--endpoint", help="Only to this endpoint.")
    ] = None,
    state: Annotated[
        str | None, typer.Option("--state", help="pending, sent, failed or cancelled.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List the newest events and what became of them."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.hook_endpoints import HookEventFilters, HookEventPage
    from solespan.api.services.notices.hooks.endpoints import list_events

    asked = {"endpoint_id": endpoint, "state": state}
    chosen = read_message(lambda: HookEventFilters.model_validate(asked))
    with serving() as services, services.database.reading() as session:
        rows = list_events(
            session, endpoint_id=chosen.endpoint_id, state=chosen.state, limit=MOST_SHOWN
        )
    empty = "No event was written yet."
    show_rows(HookEventPage, rows, _EVENTS, form=form, out=out, empty=empty)


def resend(event: Annotated[str, typer.Argument(help="The event's id.")]) -> None:
    """Send an event again, with the same identifier."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.hooks import endpoints

    with serving("hooks resend") as services, services.database.writing() as session:
        endpoints.resend(session, event, services.clock.now())
    typer.echo(f"Event {event} goes out with the next round of `solespan work`.")


def _given(values: dict[str, Any]) -> Any:
    from solespan.api.cli.messages import read_message
    from solespan.api.schemas.notices.hook_endpoints import HookEndpointGiven

    return read_message(lambda: HookEndpointGiven.model_validate(values))
