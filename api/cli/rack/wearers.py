"""Commands of wearers: `add wearer` and `edit wearer`."""

from __future__ import annotations

from typing import Annotated

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.options import find_group
from solespan.api.cli.output import Format, Out, OutputFormat

__all__ = ["register"]

Zone = Annotated[
    str | None,
    typer.Option("--time-zone", help="Where the wearer lives, such as Europe/Vienna."),
]
DrivingFoot = Annotated[
    str | None, typer.Option("--driving-foot", help="left, right, both or none.")
]
Email = Annotated[str | None, typer.Option("--email", help="Where notices go.")]
Phone = Annotated[str | None, typer.Option("--phone", help="Telephone number.")]
Language = Annotated[str | None, typer.Option("--language", help="Of notices, such as de.")]
DressWeek = Annotated[
    str | None,
    typer.Option("--dress-week", help="Dress codes of Monday to Sunday; any = without one."),
]
Notes = Annotated[str | None, typer.Option("--notes", help="Free text, up to 2,000 characters.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    find_group(app, "add", "Add a wearer, a pair or a new sole.").command("wearer")(add_wearer)
    find_group(app, "edit", "Change what is kept.").command("wearer")(edit_wearer)


def add_wearer(
    name: Annotated[str, typer.Argument(help="What the wearer is called.")],
    wearer_id: Annotated[
        str | None, typer.Option("--id", help="Id of the wearer. Default: the service makes one.")
    ] = None,
    time_zone: Zone = None,
    driving_foot: DrivingFoot = None,
    email: Email = None,
    phone: Phone = None,
    language: Language = None,
    notes: Notes = None,
    dress_week: DressWeek = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Add a person who wears the shoes."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.schemas.rack.records import RECORDS
    from solespan.api.services.rack import records

    given = _given(name, time_zone, driving_foot, email, phone, language, notes, dress_week)
    typed = {key: value for key, value in given.items() if value}
    typed |= {} if wearer_id is None else {"wearer_id": wearer_id}
    made = read_message(lambda: RECORDS["wearers"].created.model_validate(typed))
    with serving("add wearer") as services, services.database.writing() as session:
        row = records.create(session, "wearers", made.model_dump(), services.clock).row
    said = f"Added: {name}, wearer {row['wearer_id']}."
    show_records("wearers", [row], form, out, said)


def edit_wearer(
    wearer: Annotated[str, typer.Argument(help="Id of the wearer.")],
    name: Annotated[str | None, typer.Option("--name", help="What the wearer is called.")] = None,
    time_zone: Zone = None,
    driving_foot: DrivingFoot = None,
    email: Email = None,
    phone: Phone = None,
    language: Language = None,
    notes: Notes = None,
    dress_week: DressWeek = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Change a wearer; what no option names stays, and an empty value empties it."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.cli.rack.records import show_records
    from solespan.api.services.rack import record_forms, records

    given = _given(name, time_zone, driving_foot, email, phone, language, notes, dress_week)
    key = {"wearer_id": wearer}
    with serving("edit wearer") as services, services.database.writing() as session:
        seen = record_forms.record_seen(session, "wearers", key)
        with typed_options({"": ""}):
            record_forms.edit_record(services, session, "wearers", key, seen["values"] | given)
        row = records.read(session, "wearers", key)
    show_records("wearers", [row], form, out, f"The changes of {wearer} are kept.")


def _given(*values: str | None) -> dict[str, str]:
    first = ("name", "time_zone", "driving_foot", "email", "phone", "language")
    names = (*first, "notes", "dress_week")
    return {key: value for key, value in zip(names, values, strict=True) if value is not None}
