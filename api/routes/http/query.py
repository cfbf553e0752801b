"""Query filters.

How are the filters of the lists that are asked most read from the address, at little cost?

FastAPI's own reading of a query model asks every field's annotation again at each request, a third
of the time of a small answer. Here pydantic reads the whole query at once; what the service's
description says of it is the same (a test compares).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any, TypeVar
from urllib.parse import parse_qsl

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError

__all__ = ["query_description", "query_reader"]

M = TypeVar("M", bound=BaseModel)


def query_reader(model: type[M]) -> Callable[[Request], Awaitable[M]]:
    """Return a dependency that reads the query as `model`; of a repeated name the last counts.

    It raises `RequestValidationError` that names each parameter at fault.
    """

    async def read(request: Request) -> M:
        query = request.scope["query_string"].decode("latin-1")
        try:
            return model.model_validate(dict(parse_qsl(query, keep_blank_values=True)))
        except ValidationError as fault:
            errors = fault.errors(include_url=False)
            raise RequestValidationError(
                [{**error, "loc": ("query", *error["loc"])} for error in errors]
            ) from None

    return read


def query_description(model: type[BaseModel]) -> dict[str, Any]:
    """Return what `openapi_extra` says of a query read by `query_reader`."""
    schema = model.model_json_schema()
    required = schema.get("required", ())
    parameters = [
        {
            "name": name,
            "in": "query",
            "required": name in required,
            "schema": about,
            "description": about["description"],
        }
        for name, about in schema["properties"].items()
    ]
    return {"parameters": parameters}
