"""Logging customers: how do they stand beside those who do not log?

Customers who log are those of `synthetic_data.simulate`, drawn with the same truth. Their
identifiers begin with `L`.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pandas as pd

from solespan.forecast.frames import TABLES
from solespan.synthetic_data.shop.customers import CustomerTruth
from solespan.synthetic_data.shop.draw import ShopWorld
from solespan.synthetic_data.simulate import Simulated

__all__ = ["alone", "late_logs", "one_look", "together"]

LATE_DAYS = (120, 1000)  # how long before as_of an owner may have begun to log
LOGGER_MARK = "L"  # before every identifier of a customer who logs
HIDDEN = tuple(f.name for f in fields(Simulated) if f.name.startswith("hidden_"))


def together(silent: ShopWorld, loggers: Simulated) -> ShopWorld:
    """One shop of both kinds of customers."""

    def joined(name: str, keys: list[str]) -> pd.DataFrame:
        mine: pd.DataFrame = silent.frames[name] if keys else getattr(silent, name)
        theirs: pd.DataFrame = loggers.frames[name] if keys else getattr(loggers, name)
        both = [f for f in (mine, marked(theirs)) if len(f)]
        if not both:
            return mine
        frame = pd.concat(both, ignore_index=True)
        return frame.sort_values(keys, kind="stable", ignore_index=True) if keys else frame

    frames = {name: joined(name, list(table.key)) for name, table in TABLES.items()}
    hidden: dict[str, Any] = {name: joined(name, []) for name in (*HIDDEN, "rates")}
    pairs = pd.concat([silent.hidden_pairs, _pairs(loggers)], ignore_index=True)
    return replace(silent, frames=frames, hidden_pairs=pairs, **hidden)


def alone(loggers: Simulated, habits: CustomerTruth) -> ShopWorld:
    """A shop, or one owner, without silent customers; its coming hand-overs are not drawn."""
    hidden = {name: marked(getattr(loggers, name)) for name in (*HIDDEN, "rates")}
    nothing = pd.DataFrame({"pair_id": pd.Series([], dtype=object)})
    return ShopWorld(
        truth=loggers.truth,
        as_of=loggers.as_of,
        horizon_days=loggers.horizon_days,
        frames={name: marked(frame) for name, frame in loggers.frames.items()},
        habits=habits,
        hidden_pairs=_pairs(loggers),
        hidden_soles=nothing,
        hidden_hand_overs=nothing,
        **hidden,
    )


def one_look(loggers: Simulated, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """The same tables with one look a pair: both feet at the ball on one day, by one method.

    It is a look at the sole on the pair now, where there was one; a gauge goes before a thumb.
    """
    checks = loggers.frames["checks"]
    ball = checks[checks["point"] == "ball"]
    soles = loggers.frames["soles"]
    on = soles[soles["removed_on"].isna()].set_index("pair_id")["fitted_on"]
    now = ball["checked_on"] >= ball["pair_id"].map(on)
    order = pd.DataFrame(
        {"pair_id": ball["pair_id"], "on": ball["checked_on"], "before": ~now}
    ).drop_duplicates()
    order = order.assign(chance=rng.random(len(order))).sort_values(["pair_id", "before", "chance"])
    day = order.drop_duplicates("pair_id").set_index("pair_id")["on"]
    ball = ball[ball["checked_on"] == ball["pair_id"].map(day)]
    gauge = (ball["method"] != "thumb").groupby(ball["pair_id"]).transform("any")
    ball = ball[~gauge | (ball["method"] != "thumb")]
    return loggers.frames | {"checks": ball.reset_index(drop=True)}


def late_logs(loggers: Simulated, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    """The same tables as if each owner had begun to log and to look only some time ago.

    The shop knows soles and jobs from before.
    """
    pairs = loggers.frames["pairs"]
    owners = pairs["wearer_id"].unique()
    back = pd.to_timedelta(rng.integers(*LATE_DAYS, len(owners)), unit="D")
    begun = pairs["wearer_id"].map(pd.Series(loggers.as_of - back, owners))
    since = begun.set_axis(pairs["pair_id"])

    def kept(name: str, on: str) -> pd.DataFrame:
        frame = loggers.frames[name]
        return frame[frame[on] >= frame["pair_id"].map(since)].reset_index(drop=True)

    return loggers.frames | {
        "wear_days": kept("wear_days", "worn_on"),
        "checks": kept("checks", "checked_on"),
    }


def marked(frame: pd.DataFrame) -> pd.DataFrame:
    """The same rows under identifiers of customers who log."""
    named = [str(c) for c in frame if str(c).endswith("_id")]
    return frame.assign(**{c: LOGGER_MARK + frame[c].astype(object) for c in named})


def _pairs(loggers: Simulated) -> pd.DataFrame:
    """What `hidden_pairs` says of customers who log: none has left."""
    pairs = loggers.frames["pairs"]
    today = loggers.thickness_on(loggers.as_of)
    on = loggers.hidden_due[loggers.hidden_due["foot"] == "pair"]
    today = today[today["point"] == "ball"].astype({"pair_id": object, "foot": object})
    today = today[today["sole_id"].isin(on["sole_id"])]
    mm = today.pivot_table(index="pair_id", columns="foot", values="thickness_mm")
    mm = mm.reindex(pairs["pair_id"])
    n = len(pairs)
    frame = pd.DataFrame(
        {
            "pair_id": pairs["pair_id"],
            "wearer_id": pairs["wearer_id"],
            "logs": True,
            "known_on": pairs["acquired_on"],
            "gone": False,
            "gone_on": pd.Series([pd.NaT] * n, dtype="datetime64[s]"),
            "gone_why": None,
            "in_use": True,
            "pace_per_week": np.nan,
            "mean_pace_per_week": np.nan,
            "thickness_left_mm": mm["left"].to_numpy(),
            "thickness_right_mm": mm["right"].to_numpy(),
            "next_hand_over_on": pd.Series([pd.NaT] * n, dtype="datetime64[s]"),
            "hand_overs_365d": np.nan,
        }
    )
    return marked(frame)
