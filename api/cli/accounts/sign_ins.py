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
    accounts.command("second-factor")(second_factor)
    accounts.command("reset-factor")(reset_factor)


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


def second_factor(
    asked_of: Annotated[
        str | None, typer.Argument(help="`nobody`, `owners` or `everyone`; none = show it.")
    ] = None,
) -> None:
    """Show or set of whom the tenant asks a second factor at sign-in."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.accounts.second_factor import policy_of, put_policy

    with (
        serving("accounts second-factor") as services,
        services.database.writing() as session,
    ):
        tenant_pk = services.database.tenant_pk
        if asked_of is not None:
            put_policy(session, tenant_pk, asked_of)
        kept = policy_of(session, tenant_pk)
    say(f"A second factor is asked of: {kept}.")


def reset_factor(email: Email) -> None:
    """Take away a person's second factor, an owner's too; they come in by password then."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.accounts import second_factor as factors
    from solespan.api.services.accounts.people import tidy_email

    with (
        serving("accounts reset-factor", email=tidy_email(email)) as services,
        services.database.writing() as session,
    ):
        factors.reset_factor(session, email)
    say(f"{email} signs in with the password alone now, and is signed out everywhere.")
