"""Commands of accounts: which tenants are there, and who may come in?"""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.accounts import sign_ins
from solespan.api.cli.files import PIPE
from solespan.api.cli.output import Format, Out, OutputFormat, say, show
from solespan.api.clock import Clock

__all__ = ["register"]

Email = Annotated[str, typer.Argument(help="E-mail address of the person.")]
Customer = Annotated[str, typer.Argument(metavar="WEARER", help="Id of the customer (wearer).")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    accounts = typer.Typer(help="Tenants and members.", no_args_is_help=True)
    app.add_typer(accounts, name="accounts")
    accounts.command("new-tenant")(new_tenant)
    accounts.command("rename")(rename)
    accounts.command("invite")(invite)
    accounts.command("list")(list_all)
    accounts.command("remove")(remove)
    accounts.command("withdraw")(withdraw)
    accounts.command("make-token")(make_token)
    accounts.command("end-token")(end_token)
    accounts.command("link")(link)
    accounts.command("end-link")(end_link)
    sign_ins.add_to(accounts)


def new_tenant(
    tenant_id: Annotated[str, typer.Argument(help="Small letters, digits and hyphens.")],
    name: Annotated[str, typer.Option(help="What people call it.")] = "",
    kind: Annotated[str, typer.Option(help="`shop` or `rack`.")] = "shop",
) -> None:
    """Make a tenant: a shop with its customers, or a collector's rack."""
    from solespan.api.cli.opening import by_terminal, opened
    from solespan.api.services.accounts import people

    with opened() as (database, _):
        signed = by_terminal(database, "accounts new-tenant", tenant_id=tenant_id)
        with signed.writing() as session:
            people.new_tenant(session, tenant_id=tenant_id, name=(name or tenant_id), kind=kind)
    say(f"Made {tenant_id}. Commands work in it with SOLESPAN_TENANT={tenant_id}.")


def rename(name: Annotated[str, typer.Argument(help="What people call it.")]) -> None:
    """Change the name of the tenant that commands work in; the first is called My rack."""
    from solespan.api.cli.opening import by_terminal, opened
    from solespan.api.services.accounts import people

    with (
        opened() as (database, settings),
        by_terminal(database, "accounts rename", name=name).writing() as session,
    ):
        people.rename(session, tenant_pk=database.tenant_pk, name=name)
    say(f"{settings.tenant} is called {name.strip()} now.")


def invite(
    email: Email,
    role: Annotated[
        str | None,
        typer.Option(
            help="`owner` or `staff`. Default: what a member is already; a new person is staff, "
            "the first one an owner."
        ),
    ] = None,
) -> None:
    """Print a link with which a person joins, or chooses a new password."""
    from solespan.api.cli.opening import by_terminal, serving
    from solespan.api.services.accounts import people
    from solespan.api.services.accounts.people import tidy_email

    with serving() as services:
        signed = by_terminal(services.database, "accounts invite", email=tidy_email(email))
        with signed.writing() as session:
            secret = people.invite(
                session,
                tenant_pk=signed.tenant_pk,
                email=email,
                role=role,
                now=services.clock.now(),
                new_password=True,
            )
            invited = people.invitation_of(session, secret, services.clock.now())
        start = services.settings.public_address or "(the address of the service)"
    say(f"{start}/join/{secret}")
    say(f"It is for {invited['email']}, as {invited['role']}.")
    say("It works once, within three days. Pass it on by a way you trust.")


def list_all(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Show the tenants, and the members of the tenant that commands use."""
    from solespan.api.cli.opening import opened
    from solespan.api.cli.output import page_of
    from solespan.api.schemas.accounts.accounts import Member
    from solespan.api.services.accounts import people
    from solespan.api.storage.accounts.accounts import list_tenants

    with opened() as (database, _), database.reading() as session:
        tenants = list_tenants(session)
        members = people.members_of(session, database.tenant_pk)
    lines = []
    for tenant in tenants:
        here = "  (commands work here)" if tenant["pk"] == database.tenant_pk else ""
        lines.append(f"{tenant['tenant_id']}: {tenant['name']}, a {tenant['kind']}{here}")
    lines += [f"  {member['email']}  {member['role']}" for member in members]
    show(page_of(list[Member], members), list[Member], form=form, out=out, table=lambda: lines)


def remove(email: Email) -> None:
    """End a membership."""
    from solespan.api.cli.opening import by_terminal, opened
    from solespan.api.services.accounts import people
    from solespan.api.services.accounts.people import tidy_email

    with opened() as (database, _):
        signed = by_terminal(database, "accounts remove", email=tidy_email(email))
        with signed.writing() as session:
            people.remove_member(
                session, tenant_pk=signed.tenant_pk, member=email, now=Clock().now()
            )
    say(f"{email} is no member any more.")


def withdraw(
    invitation: Annotated[str, typer.Argument(help="As `solespan list invitations` shows it.")],
) -> None:
    """End an unused invitation."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.accounts import people

    with serving("accounts withdraw") as services, services.database.writing() as session:
        people.withdraw(session, tenant_pk=services.database.tenant_pk, invitation_id=invitation)
    say("The invitation is ended.")


def make_token(
    name: Annotated[str, typer.Argument(help="What the key is for, such as the till.")],
    member: Annotated[
        str, typer.Option("--member", help="E-mail address of the member in whose name it works.")
    ],
    scope: Annotated[
        list[str], typer.Option("--scope", help="read, write, notices or manage; several times.")
    ],
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Make a program's key, and print it only this once; an older one of the name ends."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import TokenMade
    from solespan.api.services.accounts import tokens

    with (
        serving("accounts make-token", name=name) as services,
        services.database.writing() as session,
    ):
        who = tokens.member_identity(session, services.database.tenant_pk, member)
        token_id, token = tokens.make_token(
            session, who, name=name, scopes=scope, now=services.clock.now()
        )
    made = {"token_id": token_id, "token": token}
    show(made, TokenMade, form=form, out=out, table=lambda: [token])


def end_token(
    token: Annotated[str, typer.Argument(help="As `solespan list tokens` shows it.")],
) -> None:
    """End a program's key for good."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.accounts import tokens

    with serving("accounts end-token", token_id=token) as services:
        now, tenant_pk = services.clock.now(), services.database.tenant_pk
        with services.database.writing() as session:
            tokens.revoke(session, tenant_pk, token, now)
    say("The key is ended.")


def link(wearer: Customer, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Print a customer's own link, only this once; an older one ends."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import Link
    from solespan.api.services.accounts import tokens

    with serving("accounts link", wearer_id=wearer) as services:
        with services.database.writing() as session:
            secret = tokens.new_link(
                session,
                tenant_pk=services.database.tenant_pk,
                wearer_id=wearer,
                now=services.clock.now(),
            )
        start = services.settings.public_address or "(the address of the service)"
    path = f"/open/{secret}"
    show({"path": path}, Link, form=form, out=out, table=lambda: [f"{start}{path}"])


def end_link(wearer: Customer) -> None:
    """End a customer's link, and every browser session it opened."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.accounts import tokens

    with (
        serving("accounts end-link", wearer_id=wearer) as services,
        services.database.writing() as session,
    ):
        tokens.end_link(session, wearer)
    say("The link is ended.")
