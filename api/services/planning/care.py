"""Care service: which care is due on a stored rack, and how is it logged and its rules changed?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import Refused
from solespan.api.services.context import AppContext
from solespan.api.services.planning.rack import (
    CARE,
    KnownRack,
    known_rack,
    known_wearer,
    refusing,
    shop_choices_of,
)
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.planning import planning as stored
from solespan.api.storage.rack.pair_extras import pictures_of
from solespan.api.storage.scope import name_changed
from solespan.forecast.planning import CareRule, due_care
from solespan.forecast.planning.care import CARES, DEFAULT_RULES

__all__ = [
    "care_due",
    "care_of_rack",
    "care_seen",
    "care_to_do",
    "keep_rule",
    "log_all_care",
    "log_care",
    "rules_of",
    "start_counting",
]


def care_due(ctx: AppContext, wearer_id: str) -> dict[str, Any]:
    """List the care due on a rack today, with the reason. Raises `NotFound`."""
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        return care_of_rack(session, rack, load_forecasts(session, [wearer_id]))


def care_seen(ctx: AppContext, wearer_id: str) -> tuple[list[dict[str, Any]], pd.DataFrame]:
    """Return what the care page draws from: the care due, and the pairs with their photographs.

    Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        rack = known_rack(ctx, session, wearer_id)
        items = care_of_rack(session, rack, load_forecasts(session, [wearer_id]))["items"]
        due = rack.log.pairs["pair_id"].isin([one["pair_id"] for one in items])
        pairs = rack.log.pairs[due]
        photos = pictures_of(session, list(pairs["pair_id"]))
    return items, pairs.assign(photo_id=pairs["pair_id"].map(photos))


def care_of_rack(session: Session, rack: KnownRack, forecast: pd.DataFrame) -> dict[str, Any]:
    """List the care due on a rack that was read with its forecasts."""
    wearer_id = rack.wearer_id
    done = stored.care_done(session, wearer_id)
    rules = _rules(session, wearer_id)
    frame = due_care(
        rack.log.wear_days,
        _done_frame(done),
        _uppers(rack),
        rules,
        today=rack.as_of,
        heel_and_toe=forecast,
    )
    labels = dict(zip(rack.log.pairs["pair_id"], rack.log.pairs["label"], strict=True))
    items = []
    for one in frame.to_dict("records"):
        label = labels.get(one["pair_id"])
        row = {str(k): v for k, v in one.items()}
        row["since"] = one["since"].date().isoformat()
        row["label"] = label if isinstance(label, str) else None
        items.append(row)
    return {"wearer_id": wearer_id, "as_of": rack.today.isoformat(), "items": items}


def care_to_do(session: Session, rack: KnownRack, forecast: pd.DataFrame) -> list[dict[str, Any]]:
    """List the care due on a rack, without what was worn before its care was noted."""
    return [one for one in care_of_rack(session, rack, forecast)["items"] if not one["backlog"]]


def _uppers(rack: KnownRack) -> dict[str, str]:
    """Upper of every pair that has a sole on and is not away."""
    jobs = rack.log.bench_jobs
    away = set(jobs.loc[jobs["returned_on"].isna(), "pair_id"])
    return {
        str(pair): str(rack.trait(str(pair), "upper"))
        for pair in rack.log.pairs["pair_id"]
        if pair not in away and rack.sole_of(str(pair)) is not None
    }


def _done_frame(done: list[tuple[str, str, date]]) -> pd.DataFrame:
    frame = pd.DataFrame(done, columns=["pair_id", "care", "done_on"])
    frame["done_on"] = pd.to_datetime(frame["done_on"])
    return frame


def _rules(session: Session, wearer_id: str) -> list[CareRule]:
    edited = stored.care_rules_of(session, wearer_id)
    rules = {(r.upper, r.care): r for r in DEFAULT_RULES}
    for upper, by_care in shop_choices_of(session, CARE).items():
        for care, asked in by_care.items():
            rules[upper, care] = _rule({**asked, "upper": upper, "care": care})
    rules |= {key: _rule(values) for key, values in edited.items()}
    return list(rules.values())


def _rule(values: Mapping[str, Any]) -> CareRule:
    names = {f.name for f in fields(CareRule)}
    given: dict[str, Any] = {
        k: tuple(v) if isinstance(v, list) else v for k, v in values.items() if k in names
    }
    return CareRule(**given)


def rules_of(session: Session, wearer_id: str) -> list[dict[str, Any]]:
    """List the care rules of an owner; defaults are common practice. Raises `NotFound`."""
    known_wearer(session, wearer_id)
    edited = set(stored.care_rules_of(session, wearer_id))
    return [
        asdict(rule)
        | {
            "months": list(rule.months),
            "edited": (rule.upper, rule.care) in edited,
            "source": "the owner"
            if (rule.upper, rule.care) in edited
            else "common practice, no source: edit it",
        }
        for rule in _rules(session, wearer_id)
    ]


def keep_rule(
    session: Session, wearer_id: str, upper: str, care: str, values: Mapping[str, Any]
) -> dict[str, Any]:
    """Put an owner's rule in the place of the old one; a rule without conditions is never due.

    Raises `NotFound`, `Refused`.
    """
    wearer = known_wearer(session, wearer_id)
    with refusing("Correct it and send the rule again."):
        rule = _rule({**values, "upper": upper, "care": care})
    fields_ = asdict(rule) | {"months": list(rule.months)}
    stored.keep_rule(session, wearer["pk"], upper, care, fields_)
    return fields_ | {"edited": True, "source": "the owner"}


def log_all_care(ctx: AppContext, session: Session, pair_id: str) -> dict[str, Any]:
    """Log that all care due on a pair was done today. Raises `NotFound`."""
    whose = forecast_reads.wearer_of_pair(session, pair_id)
    if whose is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    day = ctx.clock.today(whose["time_zone"])
    due = _due_of(ctx, session, whose["wearer_id"])
    mine = [one["care"] for one in due if one["pair_id"] == pair_id and not one["backlog"]]
    for care in mine:
        stored.keep_care(session, pair_id, care, day)
    name_changed(pair_id=pair_id, done_on=day)
    return {"pair_id": pair_id, "cares": mine, "done_on": day.isoformat()}


def start_counting(ctx: AppContext, session: Session, wearer_id: str) -> dict[str, Any]:
    """Count care that was never noted from today on, on all pairs of a wearer.

    Raises `NotFound`.
    """
    day = ctx.clock.today(known_wearer(session, wearer_id)["time_zone"])
    backlog = [one for one in _due_of(ctx, session, wearer_id) if one["backlog"]]
    for one in backlog:
        stored.keep_care(session, one["pair_id"], one["care"], day, start=True)
    name_changed(wearer_id=wearer_id, started_on=day)
    return {"wearer_id": wearer_id, "started": len(backlog), "started_on": day.isoformat()}


def _due_of(ctx: AppContext, session: Session, wearer_id: str) -> list[dict[str, Any]]:
    rack = known_rack(ctx, session, wearer_id)
    due = care_of_rack(session, rack, load_forecasts(session, [wearer_id]))
    items: list[dict[str, Any]] = due["items"]
    return items


def log_care(
    ctx: AppContext, session: Session, pair_id: str, care: str, done_on: date | None
) -> dict[str, Any]:
    """Log that a care was done, today if no day is given. Raises `NotFound`, `Refused`."""
    whose = forecast_reads.wearer_of_pair(session, pair_id)
    if whose is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    if care not in CARES:
        raise Refused(
            f"{care!r} is no care.",
            where="care",
            accepted=", ".join(CARES),
            remedy="Name one of these.",
        )
    today = ctx.clock.today(whose["time_zone"])
    day = done_on or today
    if day > today:
        raise Refused(
            f"{day} is still to come.",
            where="done_on",
            accepted=f"a day up to {today}",
            remedy="Log it on the day it is done.",
        )
    new = stored.keep_care(session, pair_id, care, day)
    name_changed(pair_id=pair_id, care=care, done_on=day)
    return {"pair_id": pair_id, "care": care, "done_on": day.isoformat(), "new": new}
