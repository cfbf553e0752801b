"""HTTP routes of resole options.

How are ways to a new sole, pair traits and the cost of a rack read and changed over HTTP?
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    etag_of,
    json_answer,
    needs_json,
    needs_patch,
    versions_in,
)
from solespan.api.schemas.fields import KnownId, NewId, PlainDate
from solespan.api.schemas.merge_patch import patched
from solespan.api.schemas.planning.resole_options import (
    LifeOfRack,
    LifeSettingsAsked,
    LifeSettingsPatch,
    LifeSettingsStored,
    RouteAnswer,
    RouteAsked,
    RoutesForPair,
    RoutesOfOwner,
    TraitsAnswer,
    TraitsAsked,
)
from solespan.api.services.planning import resole_options
from solespan.api.services.planning.cost_of_ownership import (
    change_stood,
    life_of_rack,
    read_stood,
    stood_choices,
)

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["planning"], responses=PROBLEM_ANSWERS)
WearerId = Annotated[KnownId, Query(description="whose rack. Unit: none (identifier)")]
PairId = Annotated[KnownId, Path(description="the pair. Unit: none (identifier)")]
Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
_AS_JSON = [Depends(needs_json)]


@router.get("/resole-routes", response_model=None, responses={200: {"model": RoutesOfOwner}})
def list_resole_routes(ctx: Context, wearer_id: WearerId) -> Response:
    """List an owner's ways to a new sole; those not edited are common practice."""
    return json_answer({"items": resole_options.routes_of(ctx, wearer_id)})


@router.put(
    "/resole-routes/{wearer_id}/{route_id}",
    response_model=None,
    dependencies=_AS_JSON,
    responses={200: {"model": RouteAnswer}},
)
def replace_resole_route(
    ctx: Context,
    wearer_id: Annotated[KnownId, Path(description="whose. Unit: none (identifier)")],
    route_id: Annotated[NewId, Path(description="the route. Unit: none (identifier)")],
    body: RouteAsked,
) -> Response:
    """Add a way to a new sole, or change one."""
    with ctx.database.writing() as session:
        answer = resole_options.keep_route(session, wearer_id, route_id, body.model_dump())
    return json_answer(answer)


@router.delete("/resole-routes/{wearer_id}/{route_id}", status_code=204, response_class=Response)
def delete_resole_route(
    ctx: Context,
    wearer_id: Annotated[KnownId, Path(description="whose. Unit: none (identifier)")],
    route_id: Annotated[KnownId, Path(description="the route. Unit: none (identifier)")],
) -> Response:
    """Take an owner's route away; a default of that name comes back."""
    with ctx.database.writing() as session:
        resole_options.forget_route(session, wearer_id, route_id)
    return Response(status_code=204)


@router.get(
    "/routes-to-sole/{pair_id}", response_model=None, responses={200: {"model": RoutesForPair}}
)
def compare_resole_routes(
    ctx: Context,
    pair_id: PairId,
    occasion: Annotated[
        PlainDate | None,
        Query(description="day it is wanted for. Unit: calendar date, ISO 8601"),
    ] = None,
    chance: Annotated[
        float,
        Query(ge=0.5, le=0.99, description="how sure to be of that. Unit: probability"),
    ] = 0.90,
) -> Response:
    """Compare the ways to a new sole for one pair."""
    return json_answer(
        resole_options.routes_for_pair(ctx, pair_id, occasion=occasion, chance=chance)
    )


@router.get("/pair-traits/{pair_id}", response_model=None, responses={200: {"model": TraitsAnswer}})
def read_pair_traits(ctx: Context, pair_id: PairId) -> Response:
    """Read what planning knows of a pair."""
    with ctx.database.reading() as session:
        return json_answer(resole_options.traits_of(session, pair_id))


@router.put(
    "/pair-traits/{pair_id}",
    response_model=None,
    dependencies=_AS_JSON,
    responses={200: {"model": TraitsAnswer}},
)
def replace_pair_traits(ctx: Context, pair_id: PairId, body: TraitsAsked) -> Response:
    """Say what planning should know of a pair."""
    with ctx.database.writing() as session:
        return json_answer(resole_options.keep_traits(session, pair_id, body.model_dump()))


@router.get("/life", response_model=None, responses={200: {"model": LifeOfRack}})
def read_rack_life(
    ctx: Context,
    wearer_id: WearerId,
    replace_price_minor: Annotated[
        int | None,
        Query(
            ge=0,
            le=1_000_000_000,
            description="price of a new pair; none = each pair's own. Unit: minor unit of currency",
        ),
    ] = None,
) -> Response:
    """Read what each pair costs per wear, and whether its next sole is worth it."""
    return json_answer(life_of_rack(ctx, wearer_id, replace_price_minor=replace_price_minor))


@router.get("/life-settings", response_model=None, responses={200: {"model": LifeSettingsStored}})
def read_life_settings(ctx: Context) -> Response:
    """Read how many resoles each construction allows."""
    with ctx.database.reading() as session:
        body = read_stood(session)
    return json_answer(body, headers={"etag": etag_of(body["version"])})


@router.put(
    "/life-settings",
    response_model=None,
    responses={200: {"model": LifeSettingsStored}},
    dependencies=_AS_JSON,
)
def replace_life_settings(
    ctx: Context,
    body: LifeSettingsAsked,
    versions: Versions,
) -> Response:
    """Set how many resoles constructions allow; the others go back to the default."""
    with ctx.database.writing() as session:
        answer = change_stood(session, body, versions)
    return json_answer(answer, headers={"etag": etag_of(answer["version"])})


@router.patch(
    "/life-settings",
    response_model=None,
    responses={200: {"model": LifeSettingsStored}},
    dependencies=[Depends(needs_patch)],
)
def amend_life_settings(
    ctx: Context,
    patch: LifeSettingsPatch,
    versions: Versions,
) -> Response:
    """Set some of them by a JSON merge patch (RFC 7396); null = the default."""
    with ctx.database.writing() as session:
        answer = change_stood(session, patched(stood_choices(session), patch), versions)
    return json_answer(answer, headers={"etag": etag_of(answer["version"])})
