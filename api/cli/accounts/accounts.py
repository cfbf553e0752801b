"""Commands of accounts: which tenants are there, and who may come in?"""

from __future__ import annotations

from typing import Annotated

import typer
from rich.console import Console

from solespan.api.clock import Clock

__all__ = ["register"]

Email = Annotated[str, typer.Argument(help="E-mail address of the person.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    accounts = typer.Typer(help="Tenants and members.", no_args_is_help=True)
    app.add_typer(accounts, name="accounts")
    accounts.command("new-tenant")(new_tenant)
    accounts.command("rename")(rename)
    accounts.command("invite")(invite)
    accounts.command("list")(list_all)
    accounts.command("remove")(remove)


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
    _say(f"Made {tenant_id}. Commands work in it with SOLESPAN_TENANT={tenant_id}.")


def rename(name: Annotated[str, typer.Argument(help="What people call it.")]) -> None:
    """Change the name of the tenant that commands work in; the first is called My rack."""
    from solespan.api.cli.opening import by_terminal, opened
    from solespan.api.services.accounts import people

    with (
        opened() as (database, settings),
        by_terminal(database, "accounts rename", name=name).writing() as session,
    ):
        people.rename(session, tenant_pk=database.tenant_pk, name=name)
    _say(f"{settings.tenant} is called {name.strip()} now.")


def invite(
    email: Email,
    role: Annotated[str, typer.Option(help="`owner` or `staff`.")] = "owner",
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
        start = services.settings.public_address or "(the address of the service)"
    _say(f"{start}/join/{secret}")
    _say("It works once, within three days. Pass it on by a way you trust.")


def list_all() -> None:
    """Show the tenants, and the members of the tenant that commands use."""
    from solespan.api.cli.opening import opened
    from solespan.api.services.accounts import people
    from solespan.api.storage.accounts.accounts import list_tenants

    with opened() as (database, _), database.reading() as session:
        for tenant in list_tenants(session):
            here = "  (commands work here)" if tenant["pk"] == database.tenant_pk else ""
            _say(f"{tenant['tenant_id']}: {tenant['name']}, a {tenant['kind']}{here}")
        for member in people.members_of(session, database.tenant_pk):
            _say(f"  {member['email']}  {member['role']}")


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
    _say(f"{email} is no member any more.")


def _say(text: str) -> None:
    Console(soft_wrap=True).print(text, markup=False, highlight=False)
