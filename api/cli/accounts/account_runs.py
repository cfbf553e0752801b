"""Account commands at work: what do the commands about accounts do and print?"""

from __future__ import annotations

from rich.console import Console

from solespan.api.cli.opening import by_terminal, opened, serving
from solespan.api.clock import Clock
from solespan.api.services.accounts import people
from solespan.api.services.accounts.people import tidy_email
from solespan.api.storage.accounts.accounts import list_tenants

__all__ = ["run_invite", "run_list", "run_new_tenant", "run_remove", "run_rename"]


def _say(text: str) -> None:
    Console(soft_wrap=True).print(text, markup=False, highlight=False)


def run_new_tenant(tenant_id: str, name: str, kind: str) -> None:
    """Make a tenant and say how to work in it."""
    with opened() as (database, _):
        signed = by_terminal(database, "accounts new-tenant", tenant_id=tenant_id)
        with signed.writing() as session:
            people.new_tenant(session, tenant_id=tenant_id, name=name, kind=kind)
    _say(f"Made {tenant_id}. Commands work in it with SOLESPAN_TENANT={tenant_id}.")


def run_rename(name: str) -> None:
    """Change the tenant's name."""
    with (
        opened() as (database, settings),
        by_terminal(database, "accounts rename", name=name).writing() as session,
    ):
        people.rename(session, tenant_pk=database.tenant_pk, name=name)
    _say(f"{settings.tenant} is called {name.strip()} now.")


def run_invite(email: str, role: str) -> None:
    """Print the link of an invitation."""
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


def run_list() -> None:
    """Print tenants and members."""
    with opened() as (database, _), database.reading() as session:
        for tenant in list_tenants(session):
            here = "  (commands work here)" if tenant["pk"] == database.tenant_pk else ""
            _say(f"{tenant['tenant_id']}: {tenant['name']}, a {tenant['kind']}{here}")
        for member in people.members_of(session, database.tenant_pk):
            _say(f"  {member['email']}  {member['role']}")


def run_remove(email: str) -> None:
    """End a membership."""
    with opened() as (database, _):
        signed = by_terminal(database, "accounts remove", email=tidy_email(email))
        with signed.writing() as session:
            people.remove_member(
                session, tenant_pk=signed.tenant_pk, member=email, now=Clock().now()
            )
    _say(f"{email} is no member any more.")
