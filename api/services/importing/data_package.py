"""Data package service: how do exported files say what their columns mean and accept?

Follows the Tabular Data Package and Table Schema of the Frictionless Data specifications, version
1. Everything comes from `forecast.frames`.
"""

from __future__ import annotations

import json
from typing import Any

from solespan.api.schemas.fields import unit_of
from solespan.forecast.frames import TABLES, Column, Table

__all__ = ["DESCRIPTOR", "package_text"]

DESCRIPTOR = "datapackage.json"
_TYPES = {"date": "date", "number": "number", "integer": "integer", "flag": "boolean"}
_OWNERS = {"wearer_id": "wearers", "pair_id": "pairs"}
_DIALECT = {
    "delimiter": ",",
    "quoteChar": '"',
    "doubleQuote": True,
    "lineTerminator": "\r\n",
    "header": True,
}
_GUARDED = (
    "A text that a spreadsheet could run as a formula has an apostrophe in front; an import takes "
    "it away again."
)


def package_text() -> str:
    """Return `datapackage.json` of the six CSV files."""
    package = {
        "profile": "tabular-data-package",
        "name": "solespan",
        "title": "Log of welted shoes: wearers, pairs, soles, wear days, checks and bench jobs",
        "description": _GUARDED,
        "resources": [_resource(table) for table in TABLES.values()],
    }
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"


def _resource(table: Table) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [_field(column, table) for column in table.stored],
        "primaryKey": list(table.key),
        "missingValues": [""],
    }
    owners = [
        {"fields": name, "reference": {"resource": owner, "fields": name}}
        for name, owner in _OWNERS.items()
        if name in table.by_name and owner != table.name
    ]
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "path": f"{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": _DIALECT,
        "schema": schema | ({"foreignKeys": owners} if owners else {}),
    }


def _field(column: Column, table: Table) -> dict[str, Any]:
    limits = {
        "required": column.required or column.name in table.key,
        "unique": table.key == (column.name,),
        "enum": list(column.words),
        "minimum": column.low,
        "maximum": column.high,
    }
    return {
        "name": column.name,
        "type": _TYPES.get(column.kind, "string"),
        "description": column.meaning,
        "unit": unit_of(column),
        "constraints": {k: v for k, v in limits.items() if v not in (None, False, [])},
    }
