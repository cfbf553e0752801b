"""Accounts commands: which commands make tenants, and let people in or keep them out?"""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["register"]

Email = Annotated[str, typer.Argument(help="E-mail address of the person.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    accounts = typer.Typer(help="Tenants and members.", no_args_is_help=True)
    app.add_typer(accounts, name="accounts")

    @accounts.command("new-tenant")
    def new_tenant(
        tenant_id: Annotated[str, typer.Argument(help="Small letters, digits and hyphens.")],
        name: Annotated[str, typer.Option(help="What people call it.")] = "",
        kind: Annotated[str, typer.Option(help="`shop` or `rack`.")] = "shop",
    ) -> None:
        """Make a tenant: a shop with its customers, or a collector's rack."""
        from solespan.api.cli.accounts.account_runs import run_new_tenant

        run_new_tenant(tenant_id, name or tenant_id, kind)

    @accounts.command("rename")
    def rename(name: Annotated[str, typer.Argument(help="What people call it.")]) -> None:
        """Change the name of the tenant that commands work in; the first is called My rack."""
        from solespan.api.cli.accounts.account_runs import run_rename

        run_rename(name)

    @accounts.command("invite")
    def invite(
        email: Email,
        role: Annotated[str, typer.Option(help="`owner` or `staff`.")] = "owner",
    ) -> None:
        """Print a link with which a person joins, or chooses a new password."""
        from solespan.api.cli.accounts.account_runs import run_invite

        run_invite(email, role)

    @accounts.command("list")
    def list_all() -> None:
        """Show the tenants, and the members of the tenant that commands use."""
        from solespan.api.cli.accounts.account_runs import run_list

        run_list()

    @accounts.command("remove")
    def remove(email: Email) -> None:
        """End a membership."""
        from solespan.api.cli.accounts.account_runs import run_remove

        run_remove(email)
