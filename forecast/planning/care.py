"""Care schedule: what care is due on each pair between two soles, and why?

Rules count wears, wet wears or days since the care was last done. The defaults are common practice,
no source, and differ by upper. Smooth calf is conditioned. Suede is never creamed but brushed and
waterproofed. Shell is brushed far more often than it is fed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.forecast.planning.errors import BadPlan

__all__ = ["CARES", "DEFAULT_RULES", "UPPERS", "CareRule", "due_care"]

UPPERS = ("smooth_calf", "suede", "shell", "other")
CARES = (
    "trees",
    "rest",
    "dry_slowly",
    "brush",
    "condition",
    "waterproof",
    "look_at_top_piece",
    "look_at_toe",
)
_SAYS = {
    "trees": "put trees in",
    "rest": "let it rest",
    "dry_slowly": "dry it away from heat, with paper inside, then with trees",
    "brush": "brush it",
    "condition": "condition the upper",
    "waterproof": "waterproof the upper",
    "look_at_top_piece": "look at the top pieces, before wear reaches the lifts",
    "look_at_toe": "look at the toes or their plates",
}


@dataclass(frozen=True)
class CareRule:
    """When one kind of care is due on one kind of upper; the first condition met makes it due.

    every_wears : after so many wears since it was last done; None = not counted.
    after_wet : after any wet wear since.
    every_days : after so many days since, if it was worn since; None = not counted.
    months : only in these months; empty = all year.
    within_days : no longer asked for when the last wear is more days ago; None = asked until done.
    """

    care: str
    upper: str
    every_wears: int | None = None
    after_wet: bool = False
    every_days: int | None = None
    months: tuple[int, ...] = ()
    within_days: int | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, naming the field."""
        if self.care not in CARES:
            raise BadPlan(f"{self.care!r} is no care.", field="care", accepted=", ".join(CARES))
        if self.upper not in UPPERS:
            raise BadPlan(f"{self.upper!r} is no upper.", field="upper", accepted=", ".join(UPPERS))
        for name in ("every_wears", "every_days"):
            value = getattr(self, name)
            if value is not None and not 1 <= value <= 3650:
                raise BadPlan(f"{name}: {value}.", field=name, accepted="1 to 3650, or nothing")
        if any(not 1 <= month <= 12 for month in self.months):
            raise BadPlan("A month is missing from the year.", field="months", accepted="1 to 12")


def _defaults() -> tuple[CareRule, ...]:
    rules = []
    for upper in UPPERS:
        rules += [
            CareRule("rest", upper, every_wears=1, within_days=1),
            CareRule("trees", upper, every_wears=1, within_days=3),
            CareRule("dry_slowly", upper, after_wet=True, within_days=3),
            CareRule("look_at_top_piece", upper, every_wears=15),
            CareRule("look_at_toe", upper, every_wears=15),
        ]
    wet_months = (10, 11, 12, 1, 2, 3)
    return (
        *rules,
        CareRule("brush", "smooth_calf", every_wears=3),
        CareRule("condition", "smooth_calf", every_wears=8, every_days=120),
        CareRule("brush", "suede", every_wears=1),
        CareRule("waterproof", "suede", every_wears=10, after_wet=True, months=wet_months),
        CareRule("brush", "shell", every_wears=1, after_wet=True),
        CareRule("condition", "shell", every_wears=25),
        CareRule("brush", "other", every_wears=3),
        CareRule("condition", "other", every_wears=8),
    )


DEFAULT_RULES = _defaults()
BACKLOG_TIMES = 3  # a care never noted and due so many times over was done, but not here


def due_care(
    wear_days: pd.DataFrame,
    done: pd.DataFrame,
    uppers: Mapping[str, str],
    rules: Sequence[CareRule],
    *,
    today: pd.Timestamp,
    heel_and_toe: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """List the care that is due today.

    Parameters
    ----------
    wear_days : DataFrame
        Columns of `forecast.frames.WEAR_DAYS` (pair_id, worn_on, wet are used).
    done : DataFrame
        Columns pair_id, care, done_on: care that was done.
    uppers : mapping
        Upper of every pair asked for, a word of `UPPERS`.
    rules : sequence of CareRule
    today : Timestamp
    heel_and_toe : DataFrame, optional
        Forecast rows (`forecast.frames.FORECAST`) with `foot` = pair at heel and toe. A point
        whose send-by date is within 30 days is due to be looked at, whatever was counted.

    Returns
    -------
    DataFrame
        A row per pair and care that is due: pair_id, care, upper, what (text), since (date of the
        first wear it is due after), reason (sentence), backlog (whether it was never noted, though
        it is due many times over). The longest due stand first.
    """
    worn = wear_days[wear_days["worn_on"] <= today].sort_values("worn_on")
    days, wet = worn["worn_on"].to_numpy("datetime64[s]"), worn["wet"].to_numpy(bool)
    by_pair = {str(pair): rows for pair, rows in worn.groupby("pair_id").indices.items()}
    last = done[done["done_on"] <= today].groupby(["pair_id", "care"])["done_on"].max().to_dict()
    at_limit = _near_limit(heel_and_toe, today)
    rows = []
    for pair_id, upper in sorted(uppers.items()):
        rows_of_pair = by_pair.get(pair_id, np.zeros(0, int))
        mine = days[rows_of_pair], wet[rows_of_pair]
        told: dict[str, tuple[pd.Timestamp, str, bool]] = {}
        for rule in rules:
            if rule.upper != upper or (rule.months and today.month not in rule.months):
                continue
            found = _due(rule, *mine, last.get((pair_id, rule.care)), today)
            if found is not None and rule.care not in told:
                told[rule.care] = found
        for care, reason in at_limit.get(pair_id, {}).items():
            done_on = last.get((pair_id, care))
            if done_on is None or (today - done_on).days > 7:
                told[care] = (today, reason, False)
        rows += [
            {
                "pair_id": pair_id,
                "care": care,
                "upper": upper,
                "what": _SAYS[care],
                "since": since,
                "reason": reason,
                "backlog": backlog,
            }
            for care, (since, reason, backlog) in told.items()
        ]
    columns = ["pair_id", "care", "upper", "what", "since", "reason", "backlog"]
    frame = pd.DataFrame(rows, columns=columns)
    frame["backlog"] = frame["backlog"].astype(bool)
    frame["since"] = pd.to_datetime(frame["since"]).astype("datetime64[s]")
    return frame.sort_values(["since", "pair_id", "care"], ignore_index=True)


def _due(
    rule: CareRule,
    worn: np.ndarray,
    wet: np.ndarray,
    done_on: pd.Timestamp | None,
    today: pd.Timestamp,
) -> tuple[pd.Timestamp, str, bool] | None:
    """Whether a rule makes its care due, since when, why, and as a part of a backlog.

    `worn` are days in their order.
    """
    # care on the evening of a wear counts that wear
    begin = 0 if done_on is None else int(np.searchsorted(worn, done_on.to_datetime64(), "right"))
    if rule.within_days is not None:
        earliest = (today - pd.Timedelta(days=rule.within_days)).to_datetime64()
        begin = max(begin, int(np.searchsorted(worn, earliest)))
    since, wet_since = worn[begin:], np.flatnonzero(wet[begin:])
    if not len(since):
        return None
    if rule.after_wet and len(wet_since):
        day = pd.Timestamp(since[wet_since[0]])
        return day, f"Worn wet on {day.date()}.", False
    if rule.every_wears is not None and len(since) >= rule.every_wears:
        day = pd.Timestamp(since[rule.every_wears - 1])
        number = "Worn once" if len(since) == 1 else f"Worn {len(since)} times"
        often = "wear" if rule.every_wears == 1 else f"{rule.every_wears} wears"
        reason = f"{number} {_since(done_on)}; due after every {often}."
        backlog = done_on is None and len(since) >= BACKLOG_TIMES * max(rule.every_wears, 2)
        return day, reason, backlog
    first = pd.Timestamp(since[0]) if done_on is None else done_on
    if rule.every_days is not None and (today - first).days >= rule.every_days:
        day = first + pd.Timedelta(days=rule.every_days)
        begun = _since(done_on) if done_on is not None else "since its first wear here"
        reason = f"{(today - first).days} days {begun}; due every {rule.every_days} days of use."
        return day, reason, done_on is None and (today - first).days >= 2 * rule.every_days
    return None


def _since(done_on: pd.Timestamp | None) -> str:
    return "and never logged as done" if done_on is None else f"since {done_on.date()}"


def _near_limit(frame: pd.DataFrame | None, today: pd.Timestamp) -> dict[str, dict[str, str]]:
    if frame is None or frame.empty:
        return {}
    near = frame[
        (frame["foot"] == "pair")
        & frame["point"].isin(("heel", "toe"))
        & (frame["send_by"] <= today + pd.Timedelta(days=30))
    ]
    out: dict[str, dict[str, str]] = {}
    for row in near.itertuples():
        care = "look_at_top_piece" if row.point == "heel" else "look_at_toe"
        day = pd.Timestamp(row.send_by).date()  # type: ignore[arg-type]
        said = f"The {row.point} may be at its limit from {day}."
        out.setdefault(str(row.pair_id), {})[care] = said
    return out
