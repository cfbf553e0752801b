"""Commands of accounts: `list members`, `list invitations`, `list tokens` and `list audit`."""

from __future__ import annotations

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = find_lists(app)
    group.command("members")(members)
    group.command("invitations")(invitations)
    group.command("tokens")(tokens)
    group.command("audit")(audit)


def members(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the members of the tenant that commands work in."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import Member
    from solespan.api.services.accounts.people import members_of

    with serving() as services, services.database.reading() as session:
        rows = members_of(session, services.database.tenant_pk)
    columns = {"member": "user_id", "e-mail": "email", "role": "role"}
    show_rows(list[Member], rows, columns, form=form, out=out, empty="No member yet.")


def invitations(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List unused invitations, without their secret addresses."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import Invitation
    from solespan.api.services.accounts.people import list_invitations

    with serving() as services, services.database.reading() as session:
        now, tenant_pk = services.clock.now(), services.database.tenant_pk
        rows = list_invitations(session, tenant_pk, now)
    columns = {"invitation": "invitation_id", "e-mail": "email", "role": "role"}
    columns |= {"ends (UTC)": "expires_at"}
    show_rows(list[Invitation], rows, columns, form=form, out=out, empty="No invitation is open.")


def tokens(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List the keys of programs, without the keys."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import Token
    from solespan.api.services.accounts.tokens import list_tokens

    with serving() as services, services.database.reading() as session:
        rows = list_tokens(session, services.database.tenant_pk)
    columns = {"key": "token_id", "name": "name", "may": "scopes", "made by": "made_by"}
    columns |= {"used (UTC)": "used_at", "ended (UTC)": "revoked_at"}
    show_rows(list[Token], rows, columns, form=form, out=out, empty="No key yet.")


def audit(limit: Limit = MOST_LISTED, form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """List what was changed and by whom, newest first."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.accounts import AuditPage
    from solespan.api.services.accounts.audit import list_audit

    with serving() as services, services.database.reading() as session:
        rows = list_audit(session, after=None, limit=limit + 1)
    columns = {"at (UTC)": "at", "who": "actor", "how": "action", "of what": "subject"}
    show_rows(AuditPage, rows, columns, form=form, out=out, limit=limit)
