"""Route templates: which route is this address of, though it was refused before any route ran?

Logs and metrics name the template, never the address, which may hold an id or a secret.
"""

from __future__ import annotations

import re
from functools import cached_property
from typing import Any

from fastapi.routing import iter_route_contexts
from starlette.routing import compile_path
from starlette.types import Scope

from solespan.api.services.accounts.identity import THIS_MACHINE, Identity

__all__ = ["RouteTemplates", "sender_kind"]


class RouteTemplates:
    """The templates of one service, compiled when the first request is refused."""

    def __init__(self, routes: list[Any]) -> None:
        self._routes = routes

    @cached_property
    def _known(self) -> list[tuple[re.Pattern[str], str, frozenset[str]]]:
        return [
            (compile_path(one.path)[0], one.path, frozenset(getattr(one, "methods", None) or ()))
            for one in iter_route_contexts(self._routes)
            if one.path is not None
        ]

    def of(self, scope: Scope) -> str:
        """Return the template of a request's route; empty where there is none."""
        if route := scope.get("route"):
            return str(getattr(route, "path", ""))
        path = scope["path"]
        fitting = [(scope["method"] in m, p) for known, p, m in self._known if known.match(path)]
        return max(fitting, key=lambda one: one[0])[1] if fitting else ""


def sender_kind(who: Identity | None) -> str:
    """Return which kind of sender this is; nothing of it tells who."""
    if who is None:
        return "stranger"
    if who is THIS_MACHINE:
        return "machine"
    if who.wearer_pk is not None:
        return "customer"
    return "member" if who.user_pk is not None else "token"
