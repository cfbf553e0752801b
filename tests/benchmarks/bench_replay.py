"""Whom would a silent shop have told, and when, over the last three years, day by day?

Three shops (with --quick one small shop and one year), the model beside lives alone and beside one
who knows every due day. `near` is within 30 days of the day on which that one would tell.
"""

from __future__ import annotations

import pandas as pd

from tests.recovery.replay import FORECASTERS, Replay, replay_shops

Row = dict[str, object]
SEEDS = (501, 502, 503)


def run(quick: bool) -> list[Row]:
    """Rows of shares by forecaster, all shops together."""
    seeds, pairs, years = ((501,), 90, 1.0) if quick else (SEEDS, None, 3.0)
    jobs = [(name, seed, pairs, years) for name in FORECASTERS for seed in seeds]
    told = replay_shops(jobs)
    rows = []
    for name in FORECASTERS:
        of = [one for one, job in zip(told, jobs, strict=True) if job[0] == name]
        rows += _rows(name, _together(of))
    return rows


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
