"""Pair states: how does each pair stand, as the planner takes it, and when is one back?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.api.services.planning.rack import KnownRack
from solespan.forecast.planning import LifeSettings, PairState, state_of
from solespan.forecast.planning.verdict import LOOK

__all__ = ["back_on", "pair_states"]

SOLES = ("full_sole", "half_sole")
PLANNED_LEAD = 0.90  # a plan counts a pair away until it is back nine times of ten


def pair_states(rack: KnownRack, forecast: pd.DataFrame) -> list[PairState]:
    """State of every pair as the planner takes it, with its forecast. Raises `NothingForecast`."""
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    said: dict[str, dict[Any, Any]] = {str(row["pair_id"]): row for row in main.to_dict("records")}
    allowance = rack.allowance()
    left = dict(zip(allowance["pair_id"], allowance["wear_days_left"], strict=True))
    new = dict(zip(allowance["pair_id"], allowance["wear_days_new"], strict=True))
    pace = dict(zip(allowance["pair_id"], allowance["wear_days_per_week"], strict=True))
    fresh_soles = allowance["wear_days_new"]
    usual_new = int(fresh_soles.median()) if len(fresh_soles) else LifeSettings().wears_per_sole
    last: dict[str, tuple[pd.Timestamp, bool]] = {
        str(row["pair_id"]): (row["worn_on"], bool(row["wet"]))
        for row in rack.log.wear_days.sort_values("worn_on").to_dict("records")
    }
    jobs = rack.log.bench_jobs
    open_jobs = jobs[jobs["returned_on"].isna() & (jobs["received_on"] <= rack.as_of)]
    states = []
    for pair in rack.log.pairs.to_dict("records"):
        pair_id = str(pair["pair_id"])
        route = rack.route_of(pair_id)
        mine = open_jobs[open_jobs["pair_id"] == pair_id]
        lead = route.lead_days(PLANNED_LEAD)
        fresh = max(1, int(new.get(pair_id, usual_new)))
        # a pair that is being resoled comes back with a new sole on
        resoling = bool(mine["work"].isin(SOLES).any())
        worn_on, wet = last.get(pair_id, (None, False))
        row = said.get(pair_id, {})
        verdict = rack.verdict(pair_id, state_of(row))
        states.append(
            PairState(
                pair_id=pair_id,
                wear_days_left=fresh if resoling else int(left.get(pair_id, 0)),
                wear_days_new=fresh,
                label=_text(pair["label"]) or "",
                dress_code=_text(pair["dress_code"]),
                last_worn=worn_on,
                last_wet=wet,
                away_until=_away_until(rack, mine) if len(mine) else None,
                lead_days=lead,
                price_minor=verdict.next_sole.price_minor,
                retired=pair_id not in left and not len(mine),
                wears_per_week=round(float(pace.get(pair_id, 0.0)), 3),
                next_sole=verdict.next_sole.word,
                send_by=_send_by(rack, verdict.word, row),
                sent_on=_sent_on(jobs[jobs["pair_id"] == pair_id]),
            )
        )
    return states


def _send_by(rack: KnownRack, verdict: str, row: Mapping[Any, Any]) -> pd.Timestamp | None:
    """Day by which a pair is sent whose verdict says so; today at the earliest."""
    if verdict not in ("send", "rewelt", LOOK):
        return None
    day = row["send_by"]
    return rack.as_of if pd.isna(day) else max(pd.Timestamp(day), rack.as_of)


def _sent_on(jobs: pd.DataFrame) -> pd.Timestamp | None:
    """Last day a pair was handed over for a sole."""
    days = jobs.loc[jobs["work"].isin(SOLES), "received_on"]
    return None if days.empty else pd.Timestamp(days.max())


def back_on(rack: KnownRack, job: Mapping[Any, Any]) -> pd.Timestamp:
    """Expect a job back on the day promised, else by the bench's plan, else by its route."""
    if not pd.isna(job["promised_on"]):
        return pd.Timestamp(job["promised_on"])
    planned = rack.promises.orders.get(str(job["job_id"]))
    if planned is not None:
        return pd.Timestamp(planned)
    lead_days = rack.route_of(str(job["pair_id"])).lead_days(PLANNED_LEAD)
    return pd.Timestamp(job["received_on"] + pd.Timedelta(days=lead_days))


def _away_until(rack: KnownRack, jobs: pd.DataFrame) -> pd.Timestamp:
    """Expect a pair back when its last job is, and never today."""
    last = max(back_on(rack, job) for job in jobs.to_dict("records"))
    return max(last, rack.as_of + pd.Timedelta(days=1))


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None
