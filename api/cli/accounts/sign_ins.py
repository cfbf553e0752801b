"""Commands of accounts: where is a person signed in, and how does that end?"""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.output import Format, Out, OutputFormat, say, show_rows

__all__ = ["add_to"]

Email = Annotated[str, typer.Argument(help="E-mail address of the person.")]


def add_to(accounts: typer.Typer) -> None:
    """Add the commands to the group."""
    accounts.command("sessions")(sessions)
    accounts.command("end-sessions")(end_sessions)


def sessions(email: Email, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the browsers that a person is signed in with."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import SignedIn
    from solespan.api.services.accounts.sessions import session_limits, sessions_named

    with serving() as services, services.database.reading() as session:
        limits = session_limits(services.settings)
        rows = sessions_named(session, email, services.clock.now(), limits)
    columns = {"session": "session_id", "browser": "device", "tenant": "tenant_id"}
    columns |= {"since (UTC)": "begun_at", "used (UTC)": "used_at"}
    show_rows(list[SignedIn], rows, columns, form=form, out=out, empty="Signed in nowhere.")


def end_sessions(
    email: Annotated[
        str | None, typer.Argument(help="E-mail address of the person; none = every member.")
    ] = None,
    only: Annotated[
        str | None, typer.Option("--only", help="End one, as `accounts sessions` shows it.")
    ] = None,
    everyone: Annotated[
        bool, typer.Option("--everyone", help="End the sessions of every member of the tenant.")
    ] = False,
) -> None:
    """Sign out the browsers of a person everywhere, or of every member of the tenant."""
    from solespan.api.cli.opening import serving
    from solespan.api.errors import Refused
    from solespan.api.services.accounts.sessions import end_members_sessions, end_sessions_of

    if (email is None) != everyone:
        raise Refused(
            "It is not clear whose sessions end.",
            where="EMAIL or --everyone",
            remedy="Give one of the two.",
        )
    with (
        serving("accounts end-sessions", of=email or "every member") as services,
        services.database.writing() as session,
    ):
        if email is None:
            ended = end_members_sessions(session, services.database.tenant_pk)
        else:
            ended = end_sessions_of(session, email, only)
    say(f"Sessions ended: {ended}.")
