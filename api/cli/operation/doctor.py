"""Doctor command: what is wrong with this installation, and what is to do?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.output import Format, Out, OutputFormat, show
from solespan.api.errors import SolespanError

if TYPE_CHECKING:
    from solespan.api.services.operation.doctor import Finding

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("doctor")(doctor)


def doctor(form: Format = OutputFormat.TABLE, out: Out = PIPE) -> None:
    """Say what is wrong and what to do; exit code 1 where something must be done now."""
    from solespan.api.schemas.service import Findings

    found = list(_found())
    worst = "wrong" if any(one.state == "wrong" for one in found) else "ok"

    def table() -> Iterator[RenderableType]:
        cells = [[one.state, one.subject, one.what, one.remedy] for one in found]
        yield grid(("state", "subject", "what is so", "what to do"), cells)

    answer = {"status": worst, "items": [asdict(one) for one in found]}
    show(answer, Findings, form=form, out=out, table=table)
    if worst == "wrong":
        raise typer.Exit(1)


def _found() -> Iterator[Finding]:
    from solespan.api.services.operation.doctor import examine, of_error
    from solespan.api.settings import load_settings
    from solespan.api.wiring import build_services

    try:
        services = build_services(load_settings())
    except SolespanError as problem:
        yield of_error("settings", problem)
        return
    try:
        yield from examine(services)
    except SolespanError as problem:
        yield of_error("database", problem)
    finally:
        services.database.close()
