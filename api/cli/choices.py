"""Choices of a shop by command: how are they shown as JSON, and taken from a file?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from solespan.api.cli.output import OutputFormat, note, show

if TYPE_CHECKING:
    from pydantic import BaseModel
    from sqlalchemy.orm import Session

__all__ = ["choose"]

C = TypeVar("C", bound="BaseModel")


def choose(
    command: str,
    file: Path | None,
    out: Path,
    model: type[C],
    read: Callable[[Session], tuple[C, int]],
    change: Callable[[Session, C, None], object],
    said: str,
    check: Callable[[C], object] = bool,
) -> None:
    """Show the choices without a file; else `check` and keep those of the file, and say so."""
    from solespan.api.cli.files import read_file
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving

    if file is None:
        with serving() as services, services.database.reading() as session:
            chosen, _ = read(session)
        show(chosen, model, form=OutputFormat.JSON, out=out, table=list)
        return
    content = read_file(file)
    chosen = read_message(lambda: model.model_validate_json(content))
    check(chosen)
    with serving(command) as services, services.database.writing() as session:
        change(session, chosen, None)
    note(said)
