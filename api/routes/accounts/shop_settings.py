"""HTTP routes of settings: how are all settings of a shop listed, read and changed over HTTP?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Path, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    etag_of,
    json_answer,
    needs_patch,
    versions_in,
)
from solespan.api.schemas.accounts.settings import SettingsGroup, SettingsPage
from solespan.api.services.operation.settings.sections import (
    describe_settings,
    patch_group,
    read_group,
)

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["accounts"], responses=PROBLEM_ANSWERS)
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
Group = Annotated[
    str, Path(max_length=40, description="the group, as the list names it. Unit: none (word)")
]


@router.get("/settings", response_model=None, responses={200: {"model": SettingsPage}})
def list_settings(ctx: Context) -> Response:
    """List every setting of the shop, its default, and where its value is from."""
    with ctx.database.reading() as session:
        return json_answer({"items": list(describe_settings(session, ctx.settings))})


@router.get("/settings/{group}", response_model=None, responses={200: {"model": SettingsGroup}})
def read_settings_group(ctx: Context, group: Group) -> Response:
    """Read one group of settings and its version."""
    with ctx.database.reading() as session:
        choices, version = read_group(session, group)
    return _answer(choices, version)


@router.patch(
    "/settings/{group}",
    response_model=None,
    responses={200: {"model": SettingsGroup}},
    dependencies=[Depends(needs_patch)],
)
def amend_settings_group(
    ctx: Context,
    group: Group,
    patch: Annotated[dict[str, Any], Body(description="a JSON merge patch (RFC 7396)")],
    versions: Versions,
) -> Response:
    """Change some settings of a group by a JSON merge patch (RFC 7396); null = the default."""
    try:
        choices, version = patch_group(ctx.database, group, patch, versions)
    except ValidationError as fault:
        errors = fault.errors(include_url=False)
        placed = [{**error, "loc": ("body", *error["loc"])} for error in errors]
        raise RequestValidationError(placed, body=patch) from None
    ctx.refitter.wake()
    return _answer(choices, version)


def _answer(choices: Any, version: int) -> Response:
    body = {"version": version, "settings": choices.model_dump(mode="json")}
    return json_answer(body, headers={"etag": etag_of(version)})
