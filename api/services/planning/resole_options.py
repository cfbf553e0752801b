"""Resole options service.

Which ways to a new sole has an owner, and how do they compare for one stored pair?
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import Conflict, NotFound, Refused
from solespan.api.services.context import AppContext
from solespan.api.services.planning.rack import (
    DEFAULT_TRAITS,
    KnownRack,
    known_rack,
    known_wearer,
    refusing,
    shop_ways,
)
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.planning import planning as stored
from solespan.forecast.planning import Route, compare_routes, state_of

__all__ = [
    "forget_route",
    "keep_route",
    "keep_traits",
    "routes_for_pair",
    "routes_of",
    "routes_of_known",
    "traits_of",
]


def routes_of(ctx: AppContext, wearer_id: str) -> list[dict[str, Any]]:
    """List an owner's routes; `edited` is false for defaults, which are common practice."""
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
    return [_shown(rack, route) for route in rack.routes.values()]


def _shown(rack: KnownRack, route: Route) -> dict[str, Any]:
    edited = route.route_id in rack.edited
    values = asdict(route)
    return {
        **values,
        "abilities": list(route.abilities),
        "constructions": list(route.constructions),
        "edited": edited,
        "source": "the owner" if edited else "common practice, no source: edit it",
    }


def keep_route(
    session: Session, wearer_id: str, route_id: str, values: Mapping[str, Any]
) -> dict[str, Any]:
    """Put an owner's route in the place of the old one. Raises `NotFound`, `Refused`."""
    wearer = known_wearer(session, wearer_id)
    given: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}
    with refusing("Correct it and send the route again."):
        route = Route(route_id=route_id, **given)
    fields = asdict(route) | {
        "abilities": list(route.abilities),
        "constructions": list(route.constructions),
    }
    stored.keep_route(session, wearer["pk"], route_id, fields)
    return fields | {"edited": True, "source": "the owner"}


def forget_route(session: Session, wearer_id: str, route_id: str) -> None:
    """Take an owner's route away; a default of that name comes back.

    Raises `NotFound`, and `Conflict` while a pair goes that way and no default is behind it.
    """
    wearer = known_wearer(session, wearer_id)
    edited, usual = stored.routes_of(session, wearer_id), shop_ways(session)
    if route_id not in edited:
        told = "is a default and was not edited" if route_id in usual else "is not there"
        raise NotFound(
            f"The route {route_id!r} of {wearer_id} {told}.",
            where="route_id",
            accepted=", ".join(sorted(edited)) or "none: no route was added or edited",
            remedy="List the routes: GET /v1/resole-routes",
        )
    traits = stored.traits_of(session, wearer_id)
    going = sorted(pair for pair, of in traits.items() if of["route_id"] == route_id)
    if going and route_id not in usual:
        raise Conflict(
            f"{len(going)} pairs go by the route {route_id}: {', '.join(going[:5])}.",
            where="route_id",
            remedy="Give them another route first: PUT /v1/pair-traits/PAIR",
        )
    stored.forget_route(session, wearer["pk"], route_id)


def traits_of(session: Session, pair_id: str) -> dict[str, Any]:
    """Return what planning knows of a pair beyond the log. Raises `NotFound`."""
    whose = forecast_reads.wearer_of_pair(session, pair_id)
    if whose is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    found = stored.traits_of(session, whose["wearer_id"]).get(pair_id, DEFAULT_TRAITS)
    return {"pair_id": pair_id, **{k: found[k] for k in DEFAULT_TRAITS}}


def keep_traits(session: Session, pair_id: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Put a pair's traits in the place of the old ones. Raises `NotFound`, `Refused`."""
    traits_of(session, pair_id)
    whose = forecast_reads.wearer_of_pair(session, pair_id)
    route_id = values["route_id"]
    if whose is not None and route_id is not None:
        known = {*shop_ways(session), *stored.routes_of(session, whose["wearer_id"])}
        if route_id not in known:
            raise Refused(
                f"There is no route {route_id!r}.",
                where="route_id",
                accepted=", ".join(sorted(known)),
                remedy="Name one of these, or add the route first.",
            )
    stored.keep_traits(session, pair_id, values)
    session.flush()
    return traits_of(session, pair_id)


def routes_for_pair(
    ctx: AppContext, pair_id: str, *, occasion: date | None = None, chance: float = 0.90
) -> dict[str, Any]:
    """Compare the owner's routes for one pair. Raises `NotFound`, `Refused`."""
    with ctx.database.reading() as session:
        whose = forecast_reads.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        rack = known_rack(ctx, session, whose["wearer_id"])
        rows = forecast_reads.forecast_of_pair(session, pair_id)
    main = next((r for r in rows if (r["foot"], r["point"]) == ("pair", "ball")), None)
    state, send_by = (None, None) if main is None else (state_of(main), main["send_by"])
    return routes_of_known(rack, pair_id, send_by, state, occasion=occasion, chance=chance)


def routes_of_known(
    rack: KnownRack,
    pair_id: str,
    send_by: date | None,
    state: str | None,
    *,
    occasion: date | None = None,
    chance: float = 0.90,
) -> dict[str, Any]:
    """Compare the routes for one pair of a rack that was read, and say whether one is worth it.

    Raises `Refused`.
    """
    sole, pair = rack.sole_of(pair_id), rack.pair(pair_id)
    if sole is None:
        raise Refused(
            f"The pair {pair_id} is retired: it has no sole on.",
            where="pair_id",
            accepted="a pair with a sole on it",
            remedy="Add the sole that is on it, or name another pair.",
        )
    said = rack.verdict(pair_id, state)
    need = rack.need_of(pair_id)
    with refusing("Correct it and ask again."):
        frame = compare_routes(
            list(rack.routes.values()),
            need=need,
            construction=str(pair["construction"]),
            today=rack.as_of,
            send_by=None if send_by is None else pd.Timestamp(send_by),
            occasion=None if occasion is None else pd.Timestamp(occasion),
            chance=chance,
        )
    return {
        "pair_id": pair_id,
        "as_of": rack.today.isoformat(),
        "send_by": None if send_by is None else send_by.isoformat(),
        "verdict": said.word,
        "next_sole": said.next_sole.word,
        "sentence": said.sentence,
        "needs": list(need.reasons),
        "items": [_plain(one, rack) for one in frame.to_dict("records")],
    }


def _plain(one: Mapping[Any, Any], rack: KnownRack) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in one.items():
        if isinstance(value, pd.Timestamp):
            out[name] = value.date().isoformat()
        else:
            out[name] = None if pd.isna(value) else value
    out["edited"] = out["route_id"] in rack.edited
    return out
