"""Example rack service.

How is the example rack tried, and removed again without touching anything else?

The shipped folder `one_collector` of invented data: one wearer whose identifiers begin with `C-`.
"""

from __future__ import annotations

import csv
import io
from importlib import resources
from importlib.resources.abc import Traversable

from sqlalchemy.orm import Session

from solespan.api.errors import Conflict
from solespan.api.services.context import AppContext
from solespan.api.services.importing.imports import import_files
from solespan.api.services.rack import records
from solespan.api.storage.importing.import_runs import import_id_of
from solespan.api.storage.rack.records import find_record

__all__ = ["add_example", "example_is_there", "remove_example"]

FOLDER = "one_collector"
SOURCE = "the example rack"


def _folder() -> Traversable:
    return resources.files("solespan.synthetic_data") / "examples" / FOLDER


def _ids(name: str, column: str) -> list[str]:
    text = (_folder() / f"{name}.csv").read_text(encoding="utf-8")
    return [row[column] for row in csv.DictReader(io.StringIO(text, newline=""))]


def example_is_there(session: Session) -> bool:
    """Whether the example was added here and one of its pairs still stands."""
    if import_id_of(session, SOURCE) is None:
        return False
    return any(_stands(session, "pairs", "pair_id", one) for one in _ids("pairs", "pair_id"))


def _stands(session: Session, name: str, column: str, public_id: str) -> bool:
    return find_record(session, name, {column: public_id}) is not None


def add_example(ctx: AppContext) -> None:
    """Import the example, all of it. Raises `Conflict` where one of its ids is taken."""
    with ctx.database.reading() as session:
        taken = [
            public_id
            for name, column in (("wearers", "wearer_id"), ("pairs", "pair_id"))
            for public_id in _ids(name, column)
            if _stands(session, name, column, public_id)
        ]
    if taken:
        raise Conflict(
            f"The example cannot be added: {taken[0]} is on your rack already.",
            where="the example",
            remedy="Remove the example first, or go on with the rack you have.",
        )
    import_files(
        ctx.database,
        {
            file.name: io.BytesIO(file.read_bytes())
            for file in _folder().iterdir()
            if file.name.endswith(".csv")
        },
        source=SOURCE,
        today=ctx.clock.today,
        keep_good_rows=True,
    )
    ctx.refitter.wake(refit=True)


def remove_example(ctx: AppContext, session: Session) -> None:
    """Delete the example's pairs with all that was logged of them, and its wearer if left alone.

    Does nothing where the example was not added; a wearer who has other pairs by now stays.
    """
    if import_id_of(session, SOURCE) is None:
        return
    for pair_id in _ids("pairs", "pair_id"):
        if _stands(session, "pairs", "pair_id", pair_id):
            records.delete(
                session, "pairs", {"pair_id": pair_id}, versions=None, with_all_below=True
            )
    for wearer_id in _ids("wearers", "wearer_id"):
        if _stands(session, "wearers", "wearer_id", wearer_id):
            try:
                records.delete(session, "wearers", {"wearer_id": wearer_id}, versions=None)
            except Conflict:
                ctx.forecaster.update_wearer(session, wearer_id)
