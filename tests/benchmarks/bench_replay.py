"""Whom would a silent shop have told, and when, over the last three years, day by day?

Three shops (with --quick one small shop and one year), the model beside lives alone and beside one
who knows every due day. `near` is within 30 days of the day on which that one would tell.
"""

from __future__ import annotations

import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor

import pandas as pd

from synthetic_data import shop_world
from tests.recovery.replay import (
    Forecaster,
    Replay,
    lives_forecaster,
    model_forecaster,
    replay,
    truth_forecaster,
)

Row = dict[str, object]
SEEDS = (501, 502, 503)
NAMES = ("model", "renewal", "truth")


def run(quick: bool) -> list[Row]:
    """Rows of shares by forecaster, all shops together."""
    seeds, pairs, years = ((501,), 90, 1.0) if quick else (SEEDS, None, 3.0)
    jobs = [(name, seed, pairs, years) for name in NAMES for seed in seeds]
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(variable, "1")
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        parts = list(pool.map(_replayed, jobs))
    rows = []
    for name in NAMES:
        of = [p for p, job in zip(parts, jobs, strict=True) if job[0] == name]
        rows += _rows(name, _together(of))
    return rows


def _replayed(job: tuple[str, int, int | None, float]) -> Replay:
    name, seed, pairs, years = job
    drawn = shop_world("silent_shop", seed, n_pairs=pairs)
    forecasters: dict[str, Forecaster] = {
        "model": model_forecaster(),
        "renewal": lives_forecaster(),
        "truth": truth_forecaster(drawn),
    }
    told = replay(drawn, forecasters[name], years=years)

    def marked(frame: pd.DataFrame) -> pd.DataFrame:
        return frame.assign(sole_id=f"{seed}-" + frame["sole_id"].astype(str))

    return Replay(marked(told.notices), marked(told.soles))


def _together(parts: list[Replay]) -> Replay:
    return Replay(
        pd.concat([p.notices for p in parts], ignore_index=True),
        pd.concat([p.soles for p in parts], ignore_index=True),
    )


def _rows(name: str, told: Replay) -> list[Row]:
    soles, notices = len(told.soles), len(told.notices)
    rows: list[Row] = [
        {"name": f"{name}: {share}", "value": value, "unit": "share", "note": ""}
        for share, value in told.shares().items()
    ]
    rows[0]["note"] = f"{soles} soles had a right day; {notices} notices"
    for q in (0.1, 0.5, 0.9):
        days = float(told.soles["days"].quantile(q)) if soles else float("nan")
        rows.append(
            {"name": f"{name}: told less right day, {q:.0%}", "value": days, "unit": "days",
             "note": ""}
        )  # fmt: skip
    return rows
