"""How well is a shop's coming year forecast, beside last year's count and other counts?

Shops of two simulators: `shop_world`, where nobody, some or many log and the wear model is fitted
to each past, and `draw_shop`, whose forecasts are given and whose demand grows, stays or shrinks.
The last rows count the hand-overs of pairs on record, where nobody, a third and everybody logs.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd

from solespan.forecast import wear_log
from solespan.forecast.backtesting.scores import crps_sample
from solespan.forecast.backtesting.year_look_back import (
    YEAR_DAYS,
    PastForecast,
    count_year,
    forecast_past,
    look_back,
    past_years,
    plain_forecasts,
)
from solespan.forecast.frames import WORKS
from solespan.forecast.log import WearLog
from solespan.forecast.workload import (
    Habits,
    SimulatedYears,
    WorkloadSettings,
    due_table,
    fit_habits,
    fit_mix,
    fit_newcomers,
    simulate_years,
)
from solespan.forecast.workload.known_log import known_since
from solespan.forecast.workload.mix import SOLE_WORKS
from solespan.synthetic_data import shop_world
from solespan.synthetic_data.shop_years import draw_shop, draw_truth

Row = dict[str, object]
NO_OUTCOMES = pd.DataFrame(
    {"due_on": pd.to_datetime([]), "outcome": [], "came_on": pd.to_datetime([])}
)
SETTINGS = WorkloadSettings(years=400, listed_years=0)
WORLDS = ("silent_shop", "silent_shop_no_readings", "mixed_shop_10", "mixed_shop_30",
          "mixed_shop_50", "mixed_shop_late", "growing_shop", "shrinking_shop", "logging_shop",
          "one_check_shop")  # fmt: skip
QUICK_WORLDS = ("silent_shop", "mixed_shop_30", "shrinking_shop", "logging_shop")
WHO_LOGS = {
    "nobody logs": ("silent_shop", "silent_shop_no_readings"),
    "a third logs": ("mixed_shop_30", "mixed_shop_late", "growing_shop", "shrinking_shop"),
    "everybody logs": ("logging_shop", "one_check_shop"),
}
TRENDS = (-0.25, 0.0, 0.25)
PLAIN = ("last_year", "three_years", "holt_winters")
FIRST_SEED = 9_001
JUDGED_SHOPS = 8  # fewer tell nothing of a bias of 5 %
JUDGED_YEARS = 60  # fewer tell nothing of an error of a tenth, or of an interval of 3 %


def run(quick: bool) -> list[Row]:
    """Rows of both simulators and of all shops."""
    drawn = pd.DataFrame([drawn_shop(seed) for seed in range(6 if quick else 120)])
    each = 1 if quick else 8
    worlds = pd.DataFrame(
        [
            world_shop(name, FIRST_SEED + seed, 90 if quick else None)
            for seed in range(each)
            for name in (QUICK_WORLDS if quick else WORLDS)
        ]
    )
    rows = []
    for title, frame in (("draw_shop", drawn), ("shop_world", worlds)):
        for name, part in frame.groupby("kind"):
            rows += rows_of(f"{title}, {name}", part, judged=False)
        rows += rows_of(title, frame, judged=True)
    return [*rows, *known_rows(worlds), *time_taken(2_000 if quick else 20_000)]


def time_taken(pairs: int) -> list[Row]:
    """Processor time of a thousand simulated years of one large shop."""
    rng = np.random.default_rng(FIRST_SEED)
    shop = draw_shop(rng, truth=replace(draw_truth(rng), wearers=650))
    copies = -(-pairs // shop.forecast["pair_id"].nunique())
    frames = [_copied(frame, copies) for frame in (shop.forecast, shop.soles, shop.pairs)]
    jobs, new = shop.bench_jobs, shop.bench_jobs["stranger"].to_numpy()
    begun = time.process_time()
    due = due_table(*frames)
    learnt = fit_newcomers(jobs, new, shop.since, shop.as_of), fit_mix(jobs, new)
    past = past_years(jobs["received_on"].repeat(copies), shop.as_of)
    years = WorkloadSettings(years=1000, listed_years=100)
    habits = fit_habits(shop.outcomes, shop.as_of)
    simulate_years(due, habits, *learnt, shop.as_of, years, past=past)
    spent = time.process_time() - begun
    note = f"{due.rows['pair_id'].nunique():,} pairs; bar 14.4 s at 20,000 pairs"
    return [{"name": "a year 1,000 times: processor", "value": spent, "unit": "s", "note": note}]


def _copied(frame: pd.DataFrame, copies: int) -> pd.DataFrame:
    """Repeat a frame with identifiers of its own in each copy."""
    names = [name for name in ("pair_id", "sole_id", "wearer_id") if name in frame]
    parts = [
        frame.assign(**{name: frame[name].astype(str) + f"-{k}" for name in names})
        for k in range(copies)
    ]
    return pd.concat(parts, ignore_index=True)


def drawn_shop(seed: int) -> dict[str, object]:
    """One shop of `draw_shop`: every other one small, its strangers shrinking, steady, growing."""
    rng = np.random.default_rng([FIRST_SEED, seed])
    truth = replace(draw_truth(rng), trend_per_year=TRENDS[seed % 3])
    if seed % 2:
        few = {"wearers": int(rng.integers(20, 60)), "strangers_per_month": rng.uniform(0.5, 3.0)}
        truth = replace(truth, **few)
    shop = draw_shop(rng, truth=truth)
    jobs, new = shop.bench_jobs, shop.bench_jobs["stranger"].to_numpy()
    habits = fit_habits(shop.outcomes, shop.as_of)
    years = simulate_years(
        due_table(shop.forecast, shop.soles, shop.pairs),
        habits,
        fit_newcomers(jobs, new, shop.since, shop.as_of),
        fit_mix(jobs, new),
        shop.as_of,
        SETTINGS,
        past=past_years(jobs["received_on"], shop.as_of),
    )
    kind = f"{('shrinking', 'steady', 'growing')[seed % 3]}{', small' * (seed % 2)}"
    received = pd.concat([jobs["received_on"], shop.coming["received_on"]])
    return scored(kind, years, received) | {"come_off": abs(habits.come - truth.come)}


def world_shop(name: str, seed: int, n_pairs: int | None) -> dict[str, object]:
    """One shop of `shop_world`, forecast a year before its books end."""
    drawn = shop_world(name, seed, n_pairs=n_pairs)
    log, day = wear_log(**drawn.frames), drawn.as_of - pd.Timedelta(days=YEAR_DAYS)
    seen, now = look_back(log, day, NO_OUTCOMES, SETTINGS), forecast_past(log, day)
    habits = fit_habits(NO_OUTCOMES, day, seen.habits, now.due.logs_share)
    received = log.bench_jobs["received_on"]
    past = past_years(received, day, seen.years["said"].to_numpy(float))
    years = now.simulate(habits, SETTINGS, past)
    return scored(name, years, received) | known_count(log, now, habits)


def known_count(log: WearLog, now: PastForecast, habits: Habits) -> dict[str, object]:
    """Hand-overs for a new sole within the year, of pairs on record: said by the pairs, and true.

    No level of the shop's past counts is in it.
    """
    years = now.simulate(habits, replace(SETTINGS, listed_years=SETTINGS.years))
    works = [WORKS.index(work) for work in SOLE_WORKS]
    found = years.jobs
    mine = (found.row >= 0) & (found.day <= YEAR_DAYS) & np.isin(found.work, works)
    said = np.bincount(found.year[mine], minlength=SETTINGS.years)
    jobs, since = log.bench_jobs, known_since(log)
    ahead = (jobs["received_on"] - now.day).dt.days
    of_known = jobs["pair_id"].isin(set(since.index[since <= now.day]))
    true = of_known & (ahead >= 1) & (ahead <= YEAR_DAYS) & jobs["work"].isin(SOLE_WORKS)
    low, high = np.quantile(said, [0.1, 0.9])
    return {
        "known": int(true.sum()),
        "known_said": float(said.mean()),
        "known_inside": bool(low <= true.sum() <= high),
    }


def scored(kind: str, years: SimulatedYears, received: pd.Series) -> dict[str, object]:
    """Errors of the year, whether the interval holds, and CRPS of monthly counts."""
    day, totals = years.as_of, years.counts[:, :YEAR_DAYS].sum(axis=(1, 2))
    came = count_year(received, day)
    low, middle, high = np.quantile(totals, [0.1, 0.5, 0.9])
    edges = np.linspace(0, YEAR_DAYS, 13).astype(int)
    monthly = np.add.reduceat(years.counts[:, :YEAR_DAYS].sum(axis=2), edges[:-1], axis=1)
    ahead = (received - day).dt.days
    true = np.histogram(ahead - 1, edges)[0].astype(float)
    naive = np.histogram(ahead - 1 + YEAR_DAYS, edges)[0].astype(float)
    said = plain_forecasts(received, day)
    return {
        "kind": kind,
        "came": came,
        "middle": middle,
        "year": abs(middle - came),
        "pairs": abs(years.level.said - came) if years.level else np.nan,
        "inside": low <= came <= high,
        "crps": float(crps_sample(monthly.T.astype(float), true).mean()),
        "naive": float(np.abs(naive - true).mean()),
    } | {name: abs(said[name] - came) for name in PLAIN}


def rows_of(title: str, frame: pd.DataFrame, *, judged: bool) -> list[Row]:
    """Lay out the figures of some shops; a bar stands only where there are enough of them."""
    judged = judged and len(frame) >= JUDGED_YEARS
    means = frame.mean(numeric_only=True)
    over, off = _over_best(frame)
    peers = ", ".join(f"{name} {means[name]:.1f}" for name in PLAIN)
    note = (
        f"{means['year']:.1f} jobs; pairs alone {means['pairs']:.1f}, {peers}; {len(frame)} "
        f"shops, standard error {off:.2f}"
    )
    # so few shops tell the share itself only so well
    sampled = f"standard error {np.sqrt(0.8 * 0.2 / len(frame)):.3f}"
    shown = [
        ("yearly error over the best count", over, "times", note, (0, 0.90)),
        ("middle over what came", means["middle"] / means["came"], "times", "", (0.95, 1.05)),
        ("80 % interval holds", frame["inside"].mean(), "share", sampled, (0.77, 0.83)),
        (
            "monthly CRPS over seasonal naive",
            means["crps"] / means["naive"],
            "times",
            "",
            (0, 0.85),
        ),
    ]
    if "come_off" in frame:
        off = frame["come_off"]
        shown.append(("chance to come, off the truth", off.mean(), "", f"most {off.max():.3f}",
                      (0, 0.05)))  # fmt: skip
    rows = []
    for name, value, unit, words, (low, high) in shown:
        bar = f"bar {low:g} to {high:g}: {'met' if low <= value <= high else 'NOT MET'}"
        said = "; ".join(part for part in (words, bar if judged else "") if part)
        rows.append({"name": f"{title}: {name}", "value": value, "unit": unit, "note": said})
    return rows


def _over_best(frame: pd.DataFrame) -> tuple[float, float]:
    """Yearly error over that of the best count, on the shops that have it; its standard error."""

    def over(rows: pd.DataFrame) -> float:
        shares = []
        for name in PLAIN:
            has = rows[name].notna()
            if rows.loc[has, name].sum() > 0:
                shares.append(rows.loc[has, "year"].sum() / rows.loc[has, name].sum())
        return float(max(shares, default=np.nan))

    rng = np.random.default_rng(FIRST_SEED)
    again = [over(frame.iloc[rng.integers(0, len(frame), len(frame))]) for _ in range(200)]
    return over(frame), float(np.nanstd(again))


def known_rows(worlds: pd.DataFrame) -> list[Row]:
    """Lay out the hand-overs of pairs on record, by who logs and by world."""
    worlds = worlds.sort_values("kind")
    groups = [(who, worlds[worlds["kind"].isin(names)], True) for who, names in WHO_LOGS.items()]
    groups += [(str(name), part, False) for name, part in worlds.groupby("kind")]
    rows = []
    for who, part, judged in groups:
        ratio = part["known_said"].sum() / max(part["known"].sum(), 1)
        note = (
            f"{part['known'].sum()} hand-overs; 80 % interval holds {part['known_inside'].sum()} "
            f"of {len(part)} shops"
        )
        if judged and len(part) >= JUDGED_SHOPS:
            note += f"; bar 0.95 to 1.05: {'met' if 0.95 <= ratio <= 1.05 else 'NOT MET'}"
        name = f"known pairs, {who}: hand-overs said over true"
        rows.append({"name": name, "value": ratio, "unit": "times", "note": note})
    return rows
