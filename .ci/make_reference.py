"""Reference documents: write `docs/reference` from the code.

Run `python .ci/make_reference.py`; a test fails when a file is stale.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

FOLDER = Path(__file__).parents[1] / "docs" / "reference"
HEAD = "<!-- Written by .ci/make_reference.py; do not edit. -->\n"


def _page(title: str, lead: str, parts: Iterator[str]) -> str:
    return "\n".join([HEAD, f"# {title}\n", f"{lead}\n", *parts]).rstrip() + "\n"


def _cell(value: object) -> str:
    return " ".join(str(value).split()).replace("|", "\\|")


def _table(headings: tuple[str, ...], rows: list[tuple[object, ...]]) -> str:
    lines = [headings, ("---",) * len(headings), *rows]
    return "\n".join(f"| {' | '.join(_cell(cell) for cell in line)} |" for line in lines) + "\n"


def csv_files() -> str:
    """Describe every interchange file and column."""
    from solespan.forecast.frames import TABLES  # noqa: PLC0415

    def accepted(column: Any) -> str:
        if column.words:
            return ", ".join(f"`{word}`" for word in column.words)
        if column.low is not None:
            return f"{column.low:g} to {column.high:g}" if column.high else f"from {column.low:g}"
        return {"flag": "`true`, `false`", "date": "YYYY-MM-DD"}.get(column.kind, column.kind)

    def parts() -> Iterator[str]:
        for table in TABLES.values():
            yield f"## {table.name}.csv\n"
            needed = "Must be there. " if table.must_exist else ""
            yield f"{needed}Key: {', '.join(f'`{name}`' for name in table.key)}.\n"
            rows = [
                (
                    f"`{c.name}`{' *' if c.required else ''}",
                    c.unit,
                    accepted(c),
                    c.meaning + (f"; default `{c.default}`" if c.default is not None else ""),
                )
                for c in table.columns
            ]
            yield _table(("column", "unit", "accepted", "meaning"), rows)

    lead = (
        "UTF-8, comma, header row, ISO dates, empty = unknown. `*` = required. "
        "A thickness may be given in irons instead of mm: 1 iron = 1/48 inch (ASTM D1814)."
    )
    return _page("CSV files", lead, parts())


def http() -> str:
    """List every operation of the HTTP API."""
    from solespan.api.app import create_app  # noqa: PLC0415
    from solespan.api.settings import Settings  # noqa: PLC0415
    from solespan.dashboards.pages.api_reference import api_page  # noqa: PLC0415

    page = api_page(create_app(Settings(), background=False).openapi())

    def parts() -> Iterator[str]:
        for group in page["groups"]:
            yield f"## {group['name']}\n"
            rows = [(f"`{o['method']} {o['path']}`", o["summary"]) for o in group["operations"]]
            yield _table(("operation", "what it does"), rows)

    lead = (
        "The running service shows inputs, answers and units at `/docs`, and the OpenAPI document "
        "at `/v1/openapi.json`. Errors are problem documents (RFC 9457), listed at `/problems`."
    )
    return _page("HTTP", lead, parts())


def commands() -> str:
    """Describe every command with its arguments and options."""
    from solespan.api.cli.main import build_app  # noqa: PLC0415

    root = typer.main.get_command(build_app())

    def parts() -> Iterator[str]:
        for name, command in _commands(root, "solespan"):
            yield f"## {name}\n"
            yield f"{' '.join((command.help or '').split())}\n"
            rows = [
                (
                    f"`{p.name.upper()}`" if kind == "argument" else f"`{p.opts[0]}`",
                    kind + (", required" if p.required else ""),
                    getattr(p, "help", None) or "",
                )
                for p in command.params
                for kind in [p.param_type_name]
                if p.name != "help"
            ]
            if rows:
                yield _table(("name", "kind", "meaning"), rows)

    return _page("Commands", "`solespan COMMAND --help` shows the same.", parts())


def _commands(command: Any, name: str) -> Iterator[tuple[str, Any]]:
    below = getattr(command, "commands", {})
    for word, one in below.items():
        yield from _commands(one, f"{name} {word}")
    if not below:
        yield name, command


def settings() -> str:
    """Describe every setting."""
    from solespan.api.settings import PREFIX, Settings  # noqa: PLC0415

    rows: list[tuple[object, ...]] = [
        (
            f"`{PREFIX}{name.upper()}`",
            field.description,
            "" if field.default in (None, "") else f"`{field.default}`",
        )
        for name, field in Settings.model_fields.items()
    ]
    lead = "Each setting is an environment variable. Nothing else reads the environment."
    return _page("Settings", lead, iter([_table(("variable", "meaning", "default"), rows)]))


def python() -> str:
    """Describe the public face of `solespan.forecast`."""
    from solespan import forecast  # noqa: PLC0415

    def parts() -> Iterator[str]:
        for name in forecast.__all__:
            thing = getattr(forecast, name)
            yield f"## {name}\n"
            yield f"```text\n{name}{_signature(thing)}\n```\n"
            yield f"{_summary(thing)}\n"
            if inspect.isclass(thing):
                rows: list[tuple[object, ...]] = [
                    (f"`{n}`", _summary(member))
                    for n, member in vars(thing).items()
                    if not n.startswith("_") and (callable(member) or hasattr(member, "__func__"))
                ]
                if rows:
                    yield _table(("method", "what it does"), rows)

    lead = (
        "Import these names from `solespan.forecast`. `help(name)` shows shapes and units. "
        "[The tutorial](../tutorial.md) shows them at work."
    )
    return _page("Python", lead, parts())


def _signature(thing: Any) -> str:
    text = str(inspect.signature(thing)).replace("'", "")
    return text.replace("pd.", "").replace("np.", "")


def _summary(thing: Any) -> str:
    return " ".join((inspect.getdoc(thing) or "").partition("\n\n")[0].split())


def documents() -> dict[str, str]:
    """Make every reference document: file name and text."""
    return {
        "commands.md": commands(),
        "csv.md": csv_files(),
        "http.md": http(),
        "python.md": python(),
        "settings.md": settings(),
    }


if __name__ == "__main__":
    FOLDER.mkdir(parents=True, exist_ok=True)
    for file_name, text in documents().items():
        (FOLDER / file_name).write_text(text, "utf-8")
