"""OpenAPI examples: what is sent to each operation, and what does it answer?

`examples.json` holds one run of the whole API. A test sends it to a real service.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from importlib import resources
from typing import Any

__all__ = ["add_examples"]


def add_examples(operations: Iterable[tuple[str, str, dict[str, Any]]]) -> None:
    """Put each step of the run beside its operation: addresses, request and answer."""
    text = resources.files(__package__).joinpath("examples.json").read_text("utf-8")
    steps: dict[str, dict[str, Any]] = {}
    for step in json.loads(text):
        steps.setdefault(step["operation"], step)
    for _, path, operation in operations:
        step = steps.get(operation["operationId"])
        if step is None or "status" not in step:  # not recorded yet
            continue
        for media in operation.get("requestBody", {}).get("content", {}).values():
            media["examples"] = {"request": {"value": step["request"]}}
        answer = operation["responses"][str(step["status"])]
        if "answer" in step:
            media = answer["content"]["application/json"]
            media["examples"] = {"answer": {"value": step["answer"]}}
        parts = zip(path.split("/"), step["address"].partition("?")[0].split("/"), strict=False)
        values = {name: value for name, value in parts if name != value and "{" not in value}
        for parameter in operation.get("parameters", ()):
            value = values.get(f"{{{parameter['name']}}}")
            if parameter["in"] == "path" and value is not None:
                parameter["example"] = value
