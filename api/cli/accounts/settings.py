"""Command `settings`: what has the shop set, and how is it changed or reset?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.output import Format, Out, OutputFormat, note, page_of, say, show
from solespan.api.errors import Refused

__all__ = ["register"]

Name = Annotated[str, typer.Argument(help="GROUP, GROUP.FIELD or GROUP.FIELD.PART.")]
LONGEST = 60  # characters of a value in the table


def register(app: typer.Typer) -> None:
    """Add the commands."""
    settings = typer.Typer(no_args_is_help=True, help="Show, change and reset what the shop sets.")
    app.add_typer(settings, name="settings")
    settings.command("show")(show_settings)
    settings.command("set")(set_value)
    settings.command("reset")(reset)
    settings.command("checklist")(checklist)
    settings.command("test-mail")(test_mail)


def show_settings(
    name: Annotated[
        str, typer.Argument(help="GROUP or the beginning of a name; left out = all.")
    ] = "",
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Show every setting with its value, its default and its origin; a group as JSON."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.accounts.settings import SettingsGroup, SettingsPage
    from solespan.api.services.operation.settings import sections
    from solespan.api.services.operation.settings.register import GROUPS

    with serving() as services, services.database.reading() as session:
        if name in GROUPS and form == OutputFormat.JSON:
            choices, version = sections.read_group(session, name)
            body = {"version": version, "settings": choices.model_dump(mode="json")}
            show(body, SettingsGroup, form=form, out=out, table=list)
            return
        every = sections.describe_settings(session, services.settings)
        rows = [row for row in every if row["name"].startswith(name)]
    if not rows:
        raise Refused(
            f"There is no setting {name!r}.",
            where="NAME",
            accepted=f"a name that begins with one of {', '.join(GROUPS)}",
            remedy="See all: solespan settings show",
        )
    cells = [
        (row["name"], _short(row["value"]), _short(row["default"]), row["origin"]) for row in rows
    ]
    headings = ("setting", "value", "default", "from")
    table = grid(headings, cells, spare=["default"])
    show(page_of(SettingsPage, rows), SettingsPage, form=form, out=out, table=lambda: [table])


def set_value(
    name: Name,
    value: Annotated[
        str,
        typer.Argument(help="The value, as text or JSON; @FILE = a file of it, - = a pipe."),
    ],
) -> None:
    """Change one setting, a part of it, or a group by the fields of a JSON object."""
    from solespan.api.cli.files import read_file

    held = value == "-" or value.startswith("@")
    given = _json(read_file(Path(value.removeprefix("@"))).decode() if held else value)
    group, _, path = name.partition(".")
    patch: Any = given
    for part in reversed(path.split(".") if path else []):
        patch = {part: patch}
    if not isinstance(patch, Mapping):
        raise Refused(
            f"{group} is a group, and a group takes a JSON object.",
            where="VALUE",
            accepted="an object with the fields to change",
            remedy=f"See its fields: solespan settings show {group}",
        )
    _patch(f"settings set {name}", group, patch, f"{name} is kept.")


def reset(name: Name) -> None:
    """Give a setting, or a whole group, its default again."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.operation.settings.sections import reset_value

    with serving("settings reset", setting=name) as services:
        reset_value(services.database, name)
    note(f"{name} has its default again.")


def checklist() -> None:
    """Show what is left until notices can go out."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.operation.settings.checklist import first_run

    with serving() as services, services.database.reading() as session:
        steps = first_run(services, session)
    for step in steps:
        say(f"{'done' if step['done'] else 'open'}  {step['title']}. {step['why']}")


def test_mail(address: Annotated[str, typer.Argument(help="Where it goes.")]) -> None:
    """Send a test mail to yourself by the way that notices go."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.operation.settings.checklist import send_test_mail

    with serving("settings test-mail") as services:
        send_test_mail(services, address)
    note("The mail server took the test mail.")


def _patch(command: str, group: str, patch: Mapping[str, Any], said: str) -> None:
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.services.operation.settings.sections import patch_group

    with serving(command[:200]) as services:
        read_message(lambda: patch_group(services.database, group, patch, None)[0])
    note(said)


def _json(text: str) -> Any:
    """Read a value as JSON; what is none is a text."""
    try:
        return json.loads(text)
    except ValueError:
        return text.strip()


def _short(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
