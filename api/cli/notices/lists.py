"""Commands of notices: `list notices` and `list consents`."""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import MOST_LISTED, Limit, Wearer, find_lists
from solespan.api.cli.output import Format, Out, OutputFormat, show_rows
from solespan.api.errors import Refused

__all__ = ["notices", "register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = find_lists(app)
    group.command("notices")(notices)
    group.command("consents")(consents)


def notices(
    state: Annotated[
        str | None, typer.Option("--state", help="pending, sent, failed or cancelled.")
    ] = None,
    wearer: Wearer = None,
    limit: Limit = MOST_LISTED,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List notices, newest first, and where each is."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import NoticePage
    from solespan.api.services.notices.reading import list_notices
    from solespan.api.storage.tables.notices import STATES

    if state is not None and state not in STATES:
        raise Refused(
            f"{state!r} is no state.",
            where="--state",
            accepted=", ".join(STATES),
            remedy="Choose one of these.",
        )
    with serving() as services, services.database.reading() as session:
        rows = list_notices(session, state=state, wearer_id=wearer, limit=limit + 1)
    columns = {"notice": "notice_id", "customer": "wearer_id", "decided (UTC)": "decided_at"}
    columns |= {"by": "channel", "state": "state", "tries": "attempts", "why": "problem"}
    empty = "No notice yet."
    show_rows(NoticePage, rows, columns, form=form, out=out, limit=limit, empty=empty)


def consents(
    wearer: Wearer = None,
    limit: Limit = MOST_LISTED,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List consents to notices, newest first, also those withdrawn."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.consents import ConsentPage
    from solespan.api.services.notices.consents import consents_of

    with serving() as services, services.database.reading() as session:
        rows = consents_of(session, wearer, limit)
    columns = {"customer": "wearer_id", "by": "channel", "given (UTC)": "given_at"}
    columns |= {"how": "given_how", "withdrawn (UTC)": "withdrawn_at"}
    show_rows(ConsentPage, rows, columns, form=form, out=out, empty="No consent yet.")
