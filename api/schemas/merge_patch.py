"""JSON merge patch (RFC 7396): what may a patch of a message hold, and what does it make of it?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar, get_args, get_origin

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field, ValidationError, create_model

from solespan.api.schemas.rack.records import Message

__all__ = ["merge", "patch_model", "patched"]

M = TypeVar("M", bound=BaseModel)


def patch_model(model: type[BaseModel]) -> Any:
    """Make the model of a patch: each field may be left out, or null to take its value away.

    Bounds are left to the whole message, which is checked when the patch is applied.
    """
    fields: dict[str, Any] = {
        name: (_nullable(about.annotation), Field(default=None, description=about.description))
        for name, about in model.model_fields.items()
    }
    doc = "A JSON merge patch (RFC 7396): a field left out stays, and null takes its value away."
    return create_model(f"{model.__name__}Patch", __base__=Message, __doc__=doc, **fields)


def _nullable(kind: Any) -> Any:
    if get_origin(kind) is dict:
        key, value = get_args(kind)
        return dict[key, value | None] | None  # type: ignore[valid-type]
    return kind | None


def merge(target: Any, patch: Any) -> Any:
    """Return `target` with `patch` applied, as section 2 of RFC 7396 defines it."""
    if not isinstance(patch, Mapping):
        return patch
    merged = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            merged.pop(name, None)
        else:
            merged[name] = merge(merged.get(name), value)
    return merged


def patched(stored: M, patch: BaseModel) -> M:
    """Apply a patch to a message; what was taken away has its default again, and counts as unset.

    Raises `RequestValidationError` when the whole message cannot be.
    """
    change = patch.model_dump(mode="json", exclude_unset=True)
    merged = merge(stored.model_dump(mode="json"), change)
    known = {*stored.model_fields_set, *change}
    try:
        return type(stored).model_validate({k: v for k, v in merged.items() if k in known})
    except ValidationError as fault:
        errors = fault.errors(include_url=False)
        raise RequestValidationError(
            [{**error, "loc": ("body", *error["loc"])} for error in errors], body=change
        ) from None
