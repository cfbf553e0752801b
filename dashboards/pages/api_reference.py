"""HTTP reference: which operations does an OpenAPI document describe, as rows for a page?

The page at `/docs` and the file `docs/reference/http.md` show the same rows.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from markdown_it import MarkdownIt
from markupsafe import Markup

__all__ = ["api_page"]

METHODS = ("get", "post", "put", "patch", "delete")
SUCCESS = range(200, 300)


def api_page(document: Mapping[str, Any]) -> dict[str, Any]:
    """Turn an OpenAPI 3.1 document into the context of `help/api.html`.

    Returns
    -------
    dict
        `title`, `version`, `about`, and `groups`: each with `name`, `description` and
        `operations`. Their `inputs` and `answers` have rows of name, place or kind, whether it is
        required, and description. Hooks that the service sends are the last group.
    """
    groups: dict[str, list[dict[str, Any]]] = {}
    for path, methods in document["paths"].items():
        for method in METHODS:
            if method in methods:
                operation = methods[method]
                group = (operation.get("tags") or ["other"])[0]
                groups.setdefault(group, []).append(_operation(document, method, path, operation))
    subjects = {tag["name"]: tag["description"] for tag in document.get("tags", ())}
    order = [*(name for name in subjects if name in groups), *sorted(groups.keys() - subjects)]
    named = [
        {"name": name, "description": subjects.get(name, ""), "operations": groups[name]}
        for name in order
    ]
    hooks = [
        _operation(document, "post", name, methods["post"])
        for name, methods in document.get("webhooks", {}).items()
    ]
    if hooks:
        text = "What the service posts to an address of yours."
        named.append({"name": "hooks", "description": text, "operations": hooks})
    return {
        "title": document["info"]["title"],
        "version": document["info"]["version"],
        "about": Markup(MarkdownIt().render(document["info"].get("description", ""))),  # noqa: S704 - our own
        "groups": named,
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
        "sender": _sender(operation),
        "errors": [s for s in operation["responses"] if s.isdigit() and int(s) not in SUCCESS],
        "inputs": inputs,
        "example": _example(body),
        "answers": list(_answers(document, operation["responses"])),
    }


def _sender(operation: Mapping[str, Any]) -> str:
    """Say what a sender must be allowed to do; empty = anybody may send it."""
    words = [word for way in operation.get("security", ()) for word in way.get("bearer", ())]
    return words[0] if words else ""


def _example(content: Mapping[str, Any]) -> str:
    """Return the first example of a body as lines of JSON, or nothing."""
    for media in content.values():
        for example in media.get("examples", {}).values():
            return json.dumps(example["value"], indent=1, ensure_ascii=False)
    return ""


def _answers(document: Mapping[str, Any], responses: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for status, about in responses.items():
        if status.isdigit() and int(status) in SUCCESS:
            content = about.get("content", {})
            schemas = [one.get("schema", {}) for one in content.values()]
            yield {
                "status": status,
                "media": ", ".join(content) or "no body",
                "example": _example(content),
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
