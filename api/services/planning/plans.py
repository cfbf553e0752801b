"""Plans service.

How is a rack planned, kept, read again, and planned again after a day went otherwise?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.services.context import AppContext
from solespan.api.services.planning.pair_states import pair_states
from solespan.api.services.planning.rack import KnownRack, known_rack, refusing
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning import planning as stored
from solespan.api.storage.planning.planning import plans_of
from solespan.api.storage.scope import name_changed
from solespan.forecast.planning import (
    Aims,
    EarlierPlan,
    Occasion,
    PairState,
    RackPlan,
    Wishes,
    day_reasons,
    make_plan,
    pair_reasons,
)
from solespan.forecast.planning.aim_sentences import aim_of, trade_of
from solespan.forecast.planning.rack import lay_out
from solespan.forecast.planning.score import GivenUp

__all__ = [
    "REMEDY",
    "PlanAsked",
    "answer_of",
    "earlier_of",
    "keep",
    "plain",
    "plan_rack",
    "plans_of",
    "read_plan",
    "reasons_on",
    "shown_plan",
    "wishes_of",
]

DAYS_OF_STATE = ("last_worn", "away_until", "send_by", "sent_on")
REMEDY = "Correct it and ask for the plan again; nothing was changed."


@dataclass(frozen=True)
class PlanAsked:
    """A plan that was made and not kept yet."""

    rack: KnownRack
    question: dict[str, Any]
    plan: RackPlan


def wishes_of(values: Mapping[str, Any], rack: KnownRack) -> Wishes:
    """Read wishes; preference and months that the pairs' traits say are taken where not given.

    Raises `Refused`.
    """
    given = {k: v for k, v in values.items() if v is not None}
    on_rack = set(rack.log.pairs["pair_id"])
    live = {p for p in on_rack if rack.sole_of(p) is not None}
    weights = {p: rack.trait(p, "weight") for p in live} | dict(given.pop("weights", {}))
    months = {p: tuple(rack.trait(p, "months")) for p in live if rack.trait(p, "months")}
    months |= {p: tuple(m) for p, m in dict(given.pop("months", {})).items()}
    occasions = tuple(
        Occasion(**{**one, "on": pd.Timestamp(one["on"])}) for one in given.pop("occasions", ())
    )
    # who names no week goes out as now, so that the plan and the list reckon with the same pace
    given.setdefault("wear", "even" if "week" in given else "as now")
    if "week" in given:
        given["week"] = tuple(given["week"])
    with refusing(REMEDY):
        given["aims"] = Aims(**given.pop("aims", {}))
        return Wishes(**given, weights=weights, months=months, occasions=occasions)


def plan_rack(
    ctx: AppContext,
    wearer_id: str,
    values: Mapping[str, Any],
    *,
    starts_on: date | None = None,
    earlier: EarlierPlan | None = None,
) -> PlanAsked:
    """Plan one wearer's rack from tomorrow on, or from a later day.

    Raises `NotFound`, `NothingForecast`, `Refused`.
    """
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        forecast = load_forecasts(session, [wearer_id])
    first = rack.as_of + pd.Timedelta(days=1)
    start = first if starts_on is None else pd.Timestamp(starts_on)
    if not first <= start <= first + pd.Timedelta(days=60):
        raise Refused(
            f"A plan cannot begin on {start.date()}.",
            where="starts_on",
            accepted=f"{first.date()} to 60 days later",
            remedy=REMEDY,
        )
    wishes = wishes_of(values, rack)
    with refusing(REMEDY):
        states = pair_states(rack, forecast)
        plan = make_plan(states, wishes, start, earlier=earlier)
    return PlanAsked(rack, _question(states, wishes), plan)


def keep(ctx: AppContext, session: Session, asked: PlanAsked) -> dict[str, Any]:
    """Keep a plan in the caller's transaction; return it as it is shown."""
    plan = asked.plan
    row = stored.keep_plan(
        session,
        asked.rack.wearer_pk,
        starts_on=plan.rack.start.date(),
        weeks=plan.rack.wishes.weeks,
        question=asked.question,
        answer=answer_of(plan),
        made_at=ctx.clock.now(),
    )
    name_changed(plan_id=row["plan_id"], wearer_id=row["wearer_id"])
    return shown_plan(row)


def read_plan(session: Session, plan_id: str) -> dict[str, Any]:
    """Return one stored plan. Raises `NotFound`."""
    row = stored.find_plan(session, plan_id)
    if row is None or row["state"] != "made":
        raise NotFound(
            f"There is no plan {plan_id}.",
            where="the address",
            remedy="Look it up in the list of plans of its wearer.",
        )
    return row


def shown_plan(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a stored plan as JSON values."""
    answer = row["answer"]
    return {
        "plan_id": row["plan_id"],
        "wearer_id": row["wearer_id"],
        "made_at": row["made_at"].isoformat(),
        "starts_on": row["starts_on"].isoformat(),
        "weeks": row["weeks"],
        **{k: answer[k] for k in ("score", "bound", "gap", "fewest_proven", "given_up")},
        "aim": answer.get("aim", ""),
        "trade": answer.get("trade", ""),
        **{k: answer[k] for k in ("days", "sends", "pairs")},
    }


def earlier_of(row: Mapping[str, Any]) -> EarlierPlan:
    """Return what a stored plan said, for a new plan to keep."""
    answer = row["answer"]
    return EarlierPlan(
        days=pd.DataFrame(answer["days"], columns=["worn_on", "pair_id"]),
        sends=pd.DataFrame(answer["sends"], columns=["pair_id", "send_on"]),
    )


def reasons_on(row: Mapping[str, Any], on: date) -> list[dict[str, Any]]:
    """Say for each pair why it is worn on a day of a stored plan or why not. Raises `Refused`."""
    plan = _plan_again(row)
    with refusing("Name a day of the plan."):
        frame = day_reasons(plan, pd.Timestamp(on))
    return [{str(k): v for k, v in one.items()} for one in frame.to_dict("records")]


def _question(states: Sequence[PairState], wishes: Wishes) -> dict[str, Any]:
    asked = asdict(replace(wishes, accepted_codes=dict(wishes.accepted_codes)))
    question: dict[str, Any] = plain({"states": [asdict(s) for s in states], "wishes": asked})
    return question


def answer_of(plan: RackPlan) -> dict[str, Any]:
    """Return a plan as JSON values, to be kept."""
    pairs = pair_reasons(plan)
    labels = {s.pair_id: s.label for s in plan.rack.states}
    answer: dict[str, Any] = plain(
        {
            "score": round(plan.score, 3),
            "bound": round(plan.bound, 3),
            "gap": round(plan.gap, 5),
            "fewest_proven": plan.fewest_proven,
            "aim": aim_of(plan),
            "trade": trade_of(plan),
            "given_up": [
                {"kind": g.kind, "on": g.on, "sentence": g.sentence} for g in plan.given_up
            ],
            "days": plan.days.to_dict("records"),
            "sends": plan.sends.to_dict("records"),
            "pairs": [{**one, "label": labels[one["pair_id"]]} for one in pairs.to_dict("records")],
            "worn": plan.worn.tolist(),
            "sent": np.argwhere(plan.sent).tolist(),
        }
    )
    return answer


def plain(value: Any) -> Any:
    """Turn dates, NumPy numbers and tuples into JSON values."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, date):  # a time stamp as well
        return (value.date() if isinstance(value, datetime) else value).isoformat()
    if isinstance(value, np.generic):
        return value.item()
    return None if value is pd.NaT else value


def _plan_again(row: Mapping[str, Any]) -> RackPlan:
    question, answer = row["question"], row["answer"]
    states = [
        PairState(**{**s, **{n: _stamp(s.get(n)) for n in ("last_worn", "away_until")}})
        for s in question["states"]
    ]
    asked = dict(question["wishes"])
    asked["occasions"] = tuple(
        Occasion(**{**o, "on": pd.Timestamp(o["on"])}) for o in asked["occasions"]
    )
    asked["week"] = tuple(asked["week"])
    asked["aims"] = Aims(**asked.get("aims", {}))
    asked["months"] = {p: tuple(m) for p, m in asked["months"].items()}
    asked["accepted_codes"] = {c: tuple(a) for c, a in asked["accepted_codes"].items()}
    rack = lay_out(states, Wishes(**asked), pd.Timestamp(row["starts_on"]))
    sent = np.zeros((len(rack.states), row["weeks"]), bool)
    for pair, week in answer["sent"]:
        sent[pair, week] = True
    return RackPlan(
        rack=rack,
        worn=np.array(answer["worn"]),
        sent=sent,
        given_up=tuple(
            GivenUp(g["kind"], pd.Timestamp(g["on"]), g["sentence"]) for g in answer["given_up"]
        ),
        score=answer["score"],
        bound=answer["bound"],
        gap=answer["gap"],
        fewest_proven=answer["fewest_proven"],
    )


def _stamp(text: str | None) -> pd.Timestamp | None:
    return None if text is None else pd.Timestamp(text)
