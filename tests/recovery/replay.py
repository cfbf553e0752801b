"""Who is told when, if a shop's past years are lived through again day by day?

Every fortnight is forecast from what was known on its first day (the population is fitted anew four
times a year), and every day the rules of notices decide. Customers hand over as they did: nobody
listens.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solespan.api.notices.decide import CUSTOMER_COLUMNS, PAIR_COLUMNS, decide
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.forecast import ForecastSettings, WearFit, WearLog, WearModel, forecast, wear_log
from solespan.forecast.dates.models.renewal import Renewal, renewal
from solespan.synthetic_data import ShopWorld, shop_world

__all__ = [
    "NEAR_DAYS",
    "Replay",
    "lives_forecaster",
    "model_forecaster",
    "replay",
    "truth_forecaster",
]

YEARS = 3
FORECAST_DAYS = 14
REFIT_DAYS = 91
NEAR_DAYS = 30
HORIZON_DAYS = 1826
RULES = NoticeRules(automatic=True, second_after_weeks=0)
SETTINGS = ForecastSettings(horizon_days=HORIZON_DAYS)
COLUMNS = ["pair_id", "sole_id", "as_of", "band", "send_by", "book_by", "chance", "chance_in_use"]

TOLD_COLUMNS = ("told_sole_id", "told_window", "told_sequence", "told_day", "told_on")
TOLD_DTYPES = dict(
    zip(TOLD_COLUMNS, ("object", "float64", "float64", *["datetime64[s]"] * 2), strict=True)
)

Forecaster = Callable[[WearLog, pd.Timestamp], pd.DataFrame]


@dataclass(frozen=True)
class Replay:
    """What was told, and of whom it should have been.

    notices : DataFrame
        pair_id, sole_id, told_on, and whether the owner had left by then (`gone`).
    soles : DataFrame
        Soles whose right day lies within the years, on the pair and with its customer until then:
        pair_id, sole_id, right_on, due_on, handed_over_on, told_on (NaT: never while it was on),
        days (told less right day).

    The right day is that on which a notice would go if the due day were known: the due day less the
    wait for the bench and the weeks that notices go ahead.
    """

    notices: pd.DataFrame
    soles: pd.DataFrame

    def shares(self) -> dict[str, float]:
        """Shares of soles told near, before and after the right day, or never; and of notices."""
        days = self.soles["days"]
        told = self.notices.groupby("sole_id").size()
        n = max(len(days), 1)
        return {
            "near": float((days.abs() <= NEAR_DAYS).sum() / n),
            "early": float((days < -NEAR_DAYS).sum() / n),
            "late": float((days > NEAR_DAYS).sum() / n),
            "never": float(days.isna().sum() / n),
            "by the limit": float((self.soles["told_on"] <= self.soles["due_on"]).sum() / n),
            "twice": float((told > 1).sum() / max(len(told), 1)),
            "to those gone": float(self.notices["gone"].mean()) if len(self.notices) else 0.0,
        }


def model_forecaster() -> Forecaster:
    """The model, fitted anew four times a year."""
    held: list[tuple[WearFit, pd.Timestamp]] = []

    def at(log: WearLog, day: pd.Timestamp) -> pd.DataFrame:
        if not held or (day - held[-1][1]).days >= REFIT_DAYS:
            start = held[-1][0] if held else None
            held.append((WearModel(log, day).fit(start=start), day))
        said = forecast(held[-1][0], log, day, SETTINGS)
        said = said[(said["foot"] == "pair") & (said["point"] == "ball")]
        return said.rename(columns={"chance_90d": "chance"})[COLUMNS]

    return at


def lives_forecaster() -> Forecaster:
    """Lives alone, by the same risk and thresholds; nobody is told who has probably left."""
    held: list[tuple[Renewal, pd.Timestamp]] = []

    def at(log: WearLog, day: pd.Timestamp) -> pd.DataFrame:
        anew = not held or (day - held[-1][1]).days >= REFIT_DAYS
        said = renewal(log, day, HORIZON_DAYS, None if anew else held[-1][0])
        if anew:
            held.append((said, day))
        days = said.days.to_numpy()
        soles = log.soles[log.soles["removed_on"].isna()].set_index("pair_id")["sole_id"]
        send_by = np.quantile(days, SETTINGS.risk, axis=1)
        book_by = send_by - SETTINGS.bench_wait_days
        watch = (days <= SETTINGS.sound_days).mean(axis=1) >= SETTINGS.sound_chance
        band = np.where(book_by <= SETTINGS.book_in_days, "book in",
                        np.where(watch, "watch", "sound"))  # fmt: skip

        def date(count: np.ndarray) -> pd.Series:
            dates = pd.Series(day + pd.to_timedelta(np.floor(count), unit="D"))
            return dates.where(count < HORIZON_DAYS).astype("datetime64[s]")

        return pd.DataFrame(
            {
                "pair_id": said.days.index,
                "sole_id": soles.reindex(said.days.index).to_numpy(),
                "as_of": day,
                "band": band,
                "send_by": date(send_by),
                "book_by": date(book_by),
                "chance": (days <= RULES.chance_days).mean(axis=1),
                "chance_in_use": said.still_customer.to_numpy(),
            }
        )

    return at


def truth_forecaster(drawn: ShopWorld) -> Forecaster:
    """One who knows every due day, and who has left: what the rules of notices allow at best."""
    due = drawn.hidden_soles.set_index("sole_id")["due_on"]
    left = drawn.hidden_pairs.set_index("pair_id")["gone_on"]

    def at(log: WearLog, day: pd.Timestamp) -> pd.DataFrame:
        soles = log.soles[log.soles["removed_on"].isna()]
        soles = soles[~(left.reindex(soles["pair_id"]).to_numpy() <= day.to_datetime64())]
        frame = soles[["pair_id", "sole_id"]].reset_index(drop=True)
        frame = frame.assign(as_of=day, send_by=due.reindex(frame["sole_id"]).to_numpy())
        frame["book_by"] = frame["send_by"] - pd.Timedelta(days=SETTINGS.bench_wait_days)
        frame["chance"] = (frame["send_by"] - day).dt.days.le(RULES.chance_days).astype(float)
        return frame.assign(band="watch", chance_in_use=1.0)[COLUMNS]

    return at


FORECASTERS: dict[str, Callable[[ShopWorld], Forecaster]] = {
    "model": lambda _: model_forecaster(),
    "renewal": lambda _: lives_forecaster(),
    "truth": truth_forecaster,
}


def replay_shops(
    jobs: list[tuple[str, int, int | None, float]], processes: int = 2
) -> list[Replay]:
    """Replay silent shops, some at a time: (forecaster, seed, pairs, years) of each."""
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(variable, "1")  # read by the new processes when they start
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=fresh) as pool:
        return list(pool.map(_replayed, jobs))


def _replayed(job: tuple[str, int, int | None, float]) -> Replay:
    name, seed, n_pairs, years = job
    drawn = shop_world("silent_shop", seed, n_pairs=n_pairs)
    told = replay(drawn, FORECASTERS[name](drawn), years=years)

    def marked(frame: pd.DataFrame) -> pd.DataFrame:
        return frame.assign(sole_id=f"{seed}-" + frame["sole_id"].astype(str))

    return Replay(marked(told.notices), marked(told.soles))


def replay(drawn: ShopWorld, forecaster: Forecaster, *, years: float = YEARS) -> Replay:
    """Live through the last `years` years before the world's `as_of`."""
    log = wear_log(**drawn.frames)
    end = drawn.as_of
    first = end - pd.Timedelta(days=round(years * 365.25))
    owner = log.pairs.set_index("pair_id")["wearer_id"]
    told = _Told()
    rows = []
    for begin in pd.date_range(first, end, freq=f"{FORECAST_DAYS}D"):
        known = log.until(begin)
        said = forecaster(known, begin)
        pairs = _pairs(said[said["sole_id"].notna()], owner, known)
        off = pairs["sole_id"].map(log.soles.set_index("sole_id")["removed_on"])
        last = min(begin + pd.Timedelta(days=FORECAST_DAYS - 1), end)
        for day in pd.date_range(begin, last):
            on = told.beside(pairs[~(off <= day)].reset_index(drop=True))
            verdicts = decide(on, told.customers(on, day), RULES)
            written = (verdicts["verdict"] != "no").to_numpy()
            sent = verdicts[written].assign(sole_id=on.loc[written, "sole_id"].to_numpy())
            told.add(sent, day)
            rows += [(p, s, day) for p, s in zip(sent["pair_id"], sent["sole_id"], strict=True)]
    notices = pd.DataFrame(rows, columns=["pair_id", "sole_id", "told_on"])
    notices["told_on"] = notices["told_on"].astype("datetime64[s]")
    left = drawn.hidden_pairs.set_index("pair_id")["gone_on"]
    notices["gone"] = (notices["pair_id"].map(left) <= notices["told_on"]).to_numpy()
    return Replay(notices, _judged(drawn, notices, first))


def _pairs(said: pd.DataFrame, owner: pd.Series, log: WearLog) -> pd.DataFrame:
    """Forecasts in the columns that are decided about, before anybody was told anything."""
    dates = ("ask_on", "told_day", "told_on")
    others = [c for c in PAIR_COLUMNS if c not in (*COLUMNS, *dates, "wearer_id")]
    empty = dict.fromkeys(others) | dict.fromkeys(dates, pd.NaT)
    whose = said["pair_id"].map(owner)
    seen = said["pair_id"].map(log.checks.groupby("pair_id")["checked_on"].max())
    empty["evidence_on"] = seen
    return said.assign(wearer_id=whose, **empty)[list(PAIR_COLUMNS)].reset_index(drop=True)


class _Told:
    """The last notice about each pair, and the day of the last one to each customer."""

    def __init__(self) -> None:
        self.last = pd.DataFrame(columns=[*TOLD_COLUMNS]).astype(TOLD_DTYPES)
        self.heard = pd.Series([], dtype="datetime64[s]")

    def beside(self, pairs: pd.DataFrame) -> pd.DataFrame:
        """The same pairs with their last notices."""
        known = self.last.reindex(pairs["pair_id"])
        return pairs.assign(**{name: known[name].to_numpy() for name in TOLD_COLUMNS})

    def customers(self, pairs: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
        people = pd.DataFrame({"wearer_id": pairs["wearer_id"].unique()})
        people = people.assign(today=day, channel="mail", barred=None)
        people["heard_on"] = self.heard.reindex(people["wearer_id"]).to_numpy()
        return people[list(CUSTOMER_COLUMNS)]

    def add(self, sent: pd.DataFrame, day: pd.Timestamp) -> None:
        if sent.empty:
            return
        new = sent.set_index("pair_id")[["sole_id", "window", "sequence", "day"]].assign(on=day)
        new = new.set_axis([*TOLD_COLUMNS], axis=1).astype(TOLD_DTYPES)
        self.last = pd.concat([self.last.drop(new.index, errors="ignore"), new])
        heard = pd.Series(day, sent["wearer_id"].unique(), dtype="datetime64[s]")
        self.heard = pd.concat([self.heard.drop(heard.index, errors="ignore"), heard])


def _judged(drawn: ShopWorld, notices: pd.DataFrame, first: pd.Timestamp) -> pd.DataFrame:
    ahead = SETTINGS.bench_wait_days + 7 * RULES.weeks_ahead
    soles = drawn.hidden_soles.assign(
        right_on=drawn.hidden_soles["due_on"] - pd.Timedelta(days=ahead)
    )
    left = soles["pair_id"].map(drawn.hidden_pairs.set_index("pair_id")["gone_on"])
    right = soles["right_on"]
    there = (soles["fitted_on"] < right) & ~(soles["handed_over_on"] <= right) & ~(left <= right)
    there &= soles["of_shop"] & (right >= first) & (right <= drawn.as_of)
    soles = soles[there].reset_index(drop=True)
    on = notices.drop_duplicates("sole_id").set_index("sole_id")["told_on"]
    soles["told_on"] = on.reindex(soles["sole_id"]).to_numpy()
    soles["days"] = (soles["told_on"] - soles["right_on"]).dt.days
    names = ["pair_id", "sole_id", "right_on", "due_on", "handed_over_on", "told_on", "days"]
    return soles[names]
