"""HTTP reference: which operations does an OpenAPI document describe, as rows for a page?

The page at `/docs` and the file `docs/reference/http.md` show the same rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

__all__ = ["api_page"]

METHODS = ("get", "post", "put", "patch", "delete")
SUCCESS = range(200, 300)


def api_page(document: Mapping[str, Any]) -> dict[str, Any]:
    """Turn an OpenAPI 3.1 document into the context of `help/api.html`.

    Returns
    -------
    dict
        `title`, `version`, and `groups`: each with `name` and `operations`. Their `inputs` and
        `outputs` are rows of name, place or kind, whether it is required, and description.
    """
    groups: dict[str, list[dict[str, Any]]] = {}
    for path, methods in document["paths"].items():
        for method in METHODS:
            if method in methods:
                operation = methods[method]
                group = (operation.get("tags") or ["other"])[0]
                groups.setdefault(group, []).append(_operation(document, method, path, operation))
    return {
        "title": document["info"]["title"],
        "version": document["info"]["version"],
        "groups": [{"name": name, "operations": found} for name, found in sorted(groups.items())],
    }


def _operation(
    document: Mapping[str, Any], method: str, path: str, operation: Mapping[str, Any]
) -> dict[str, Any]:
    summary, _, rest = operation.get("description", "").partition("\n")
    inputs = [
        {
            "name": about["name"],
            "place": about["in"],
            "required": about.get("required", False),
            "kind": _kind(about["schema"]),
            "description": about.get("description") or about["schema"].get("description", ""),
        }
        for about in operation.get("parameters", [])
    ]
    body = operation.get("requestBody", {}).get("content", {})
    for media, about in body.items():
        place = "body" if media.endswith("json") else "form"
        inputs += _fields(document, about.get("schema", {}), place)
    return {
        "id": operation.get("operationId", f"{method}-{path}"),
        "method": method.upper(),
        "path": path,
        "summary": summary or operation.get("summary", ""),
        "more": " ".join(rest.split()),
        "inputs": inputs,
        "answers": list(_answers(document, operation["responses"])),
    }


def _answers(document: Mapping[str, Any], responses: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for status, about in responses.items():
        if status.isdigit() and int(status) in SUCCESS:
            content = about.get("content", {})
            schemas = [one.get("schema", {}) for one in content.values()]
            yield {
                "status": status,
                "media": ", ".join(content) or "no body",
                "fields": [row for schema in schemas for row in _fields(document, schema, "")],
            }


def _fields(
    document: Mapping[str, Any], schema: Mapping[str, Any], place: str
) -> list[dict[str, Any]]:
    found = _resolved(document, schema)
    if found.get("type") == "array":
        found = _resolved(document, found.get("items", {}))
    required = found.get("required", ())
    return [
        {
            "name": name,
            "place": place,
            "required": name in required,
            "kind": _kind(about),
            "description": about.get("description", ""),
        }
        for name, about in found.get("properties", {}).items()
    ]


def _resolved(document: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a reference to the schema that it names."""
    while "$ref" in schema:
        name = str(schema["$ref"]).rpartition("/")[2]
        schema = document["components"]["schemas"].get(name, {})
    return schema


def _kind(schema: Mapping[str, Any]) -> str:
    """Say the kind of a value: a JSON type, its words, or the name of a schema."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    if "enum" in schema:
        return ", ".join(str(word) for word in schema["enum"])
    for key in ("anyOf", "oneOf", "allOf"):
        if key in schema:
            return " or ".join(dict.fromkeys(_kind(one) for one in schema[key]))
    if schema.get("type") == "array":
        return f"list of {_kind(schema.get('items', {}))}"
    return str(schema.get("format") or schema.get("type") or "any")
