"""Asked plans service: how is a plan asked for on a page, and made behind it?

A page keeps the wishes and answers at once. A thread of its own makes the plan; so does
`make_asked`, for who has no thread.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any, ClassVar

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import SolespanError
from solespan.api.schemas.forms import Typed
from solespan.api.services.context import AppContext
from solespan.api.services.periodic_loop import PeriodicLoop, alone
from solespan.api.services.planning import plans
from solespan.api.services.planning.plan_form import preferences_typed
from solespan.api.services.planning.rack import (
    DEFAULT_TRAITS,
    KnownRack,
    known_rack,
    refusing,
)
from solespan.api.services.planning.resole_options import keep_traits
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts.forecast_reads import wearer_of_pair
from solespan.api.storage.planning import planning as stored
from solespan.api.storage.scope import name_changed
from solespan.forecast.planning import PairState
from solespan.forecast.planning.rack import lay_out

__all__ = ["PlanWorker", "ask_plan", "keep_preferences", "make_asked"]

LOOK_EVERY_S = 20.0
_asked = threading.Event()


def ask_plan(
    ctx: AppContext, wearer_id: str, values: Mapping[str, Any], *, again: bool
) -> dict[str, Any]:
    """Keep wishes for the planner, after a look at whether they can be meant.

    With `again` the newest plan is kept where it can be. Raises `NotFound`, `NothingForecast`,
    `Refused`.
    """
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
    rack.fitted()
    wishes = plans.wishes_of(values, rack)
    start = rack.as_of + pd.Timedelta(days=1)
    with refusing(plans.REMEDY):
        lay_out(_bare_states(rack), wishes, start)
    with ctx.database.writing() as session:
        row = stored.keep_plan(
            session,
            rack.wearer_pk,
            starts_on=start.date(),
            weeks=wishes.weeks,
            question={"asked": plans.plain(values), "again": again},
            answer={},
            made_at=ctx.clock.now(),
            state="asked",
        )
        name_changed(plan_id=row["plan_id"], wearer_id=wearer_id)
    _asked.set()
    return row


def keep_preferences(session: Session, wearer_id: str, typed: Typed) -> None:
    """Keep what the form says of pairs: preference and months. Raises `NotFound`."""
    known = stored.traits_of(session, wearer_id)
    pairs = [key.partition(":")[2] for key in typed if key.startswith("prefer:")]
    traits = {p: {n: known.get(p, DEFAULT_TRAITS)[n] for n in DEFAULT_TRAITS} for p in pairs}
    for pair_id, values in preferences_typed(typed, traits).items():
        whose = wearer_of_pair(session, pair_id)
        if whose is None or whose["wearer_id"] != wearer_id:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        keep_traits(session, pair_id, values)


def make_asked(ctx: AppContext) -> int:
    """Make every plan that was asked for in this tenant; return how many were looked at."""
    with ctx.database.reading() as session:
        waiting = stored.plans_asked(session)
    for row in waiting:
        try:
            values = _made(ctx, row)
        except SolespanError as error:
            values = {"state": "refused", "answer": {"problem": error.what}}
        with ctx.database.writing() as session:
            stored.answer_plan(session, row["pk"], values)
    return len(waiting)


def _made(ctx: AppContext, row: Mapping[str, Any]) -> dict[str, Any]:
    earlier = None
    if row["question"]["again"]:
        with ctx.database.reading() as session:
            newest = _newest(session, row["wearer_id"])
        earlier = None if newest is None else plans.earlier_of(newest)
    asked = plans.plan_rack(ctx, row["wearer_id"], row["question"]["asked"], earlier=earlier)
    return {
        "state": "made",
        "question": asked.question,
        "answer": plans.answer_of(asked.plan),
        "starts_on": asked.plan.rack.start.date(),
        "weeks": asked.plan.rack.wishes.weeks,
        "made_at": ctx.clock.now(),
    }


def _newest(session: Session, wearer_id: str) -> dict[str, Any] | None:
    found = stored.plans_of(session, wearer_id, limit=1)
    return found[0] if found else None


def _bare_states(rack: KnownRack) -> list[PairState]:
    """Every pair without its forecast: enough to see whether wishes can be meant."""
    return [
        PairState(p, 1, 1, retired=rack.sole_of(p) is None)
        for p in map(str, rack.log.pairs["pair_id"])
    ]


class PlanWorker(PeriodicLoop):
    """The thread that makes the plans that pages ask for, tenant after tenant."""

    name: ClassVar[str] = "plans"

    def __init__(self, ctx: AppContext) -> None:
        super().__init__(_asked)
        self._ctx = ctx

    def turn(self) -> None:
        """Make what was asked for, unless another process does."""
        for tenant in self._ctx.each_tenant():
            if self._stop.is_set():
                return
            with tenant.database.reading() as session:
                waiting = stored.plans_asked(session)
            if waiting:
                with alone(tenant.database, tenant.clock.now, self.name) as mine:
                    if mine:
                        make_asked(tenant)

    def pause(self) -> None:
        """Wait until a page asks for a plan, or for a while: another process may have asked."""
        self._wake.wait(LOOK_EVERY_S)
        self._wake.clear()
