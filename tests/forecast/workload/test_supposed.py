"""Is the chance to come learnt truly where nobody says that they went elsewhere?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.frames import CHANCE_DAYS, DUE_QUANTILES, FORECAST
from solespan.forecast.workload import due_table, fit_habits, suppose_outcomes
from solespan.forecast.workload.supposed import SUPPOSED

FIRST = pd.Timestamp("2024-01-01")
STEP_DAYS, DAYS, PAIRS = 30, 1000, 400
NOTHING = pd.DataFrame(
    {
        "pair_id": pd.Series([], dtype=object),
        "due_on": pd.Series([], dtype="datetime64[s]"),
        "outcome": pd.Series([], dtype=object),
        "came_on": pd.Series([], dtype="datetime64[s]"),
        "supposed": pd.Series([], dtype=bool),
    }
)


def on(day: float) -> pd.Timestamp:
    return FIRST + pd.Timedelta(days=round(float(day)))


def row_of(pair: int, as_of: pd.Timestamp, due_on: pd.Timestamp, in_use: float) -> dict:
    """A forecast that knows the due day, and from then on only that it is past."""
    away = max((due_on - as_of).days, 0)
    chances = {name: float(away <= days) for name, days in CHANCE_DAYS.items()}
    return {
        "pair_id": f"P{pair}",
        "sole_id": f"P{pair}-1",
        "as_of": as_of.as_unit("s"),
        "foot": "pair",
        "point": "ball",
        "thickness_mm_p50": 2.0,
        "rate_mm_per_wear_day_p50": 0.02,
        **dict.fromkeys(DUE_QUANTILES, as_of + pd.Timedelta(days=away)),
        **chances,
        "band": "stop wearing" if away <= 0 else "sound",
        "chance_in_use": in_use,
    }


def supposed(rows: list[dict], said: pd.DataFrame, as_of: pd.Timestamp, fitted: pd.Timestamp):
    frame = pd.DataFrame(rows, columns=[c.name for c in FORECAST])
    pairs = pd.DataFrame({"pair_id": frame["pair_id"], "wearer_id": frame["pair_id"]})
    soles = pd.DataFrame(
        {
            "sole_id": frame["sole_id"],
            "pair_id": frame["pair_id"],
            "fitted_on": fitted,
            "removed_on": pd.Series(pd.NaT, frame.index, dtype="datetime64[s]"),
            "nominal_thickness_mm": 5.0,
            "limit_mm": 2.0,
        }
    )
    due = due_table(frame, soles, pairs)
    return suppose_outcomes(due, frame, soles, said, FIRST, as_of)


def together(told: list[dict], guessed: pd.DataFrame) -> pd.DataFrame:
    frame = pd.DataFrame(told, columns=["pair_id", "due_on", "outcome", "came_on"])
    # what is told takes the place of what was supposed
    guessed = guessed[~guessed["pair_id"].isin(frame["pair_id"])]
    parts = [frame.assign(supposed=False), guessed.assign(supposed=True)]
    joined = pd.concat([part for part in parts if len(part)] or [NOTHING], ignore_index=True)
    return joined.astype({name: NOTHING[name].dtype for name in ("due_on", "came_on")})


@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (2, 3))]
)
@pytest.mark.parametrize("silent", [False, True])
def test_the_chance_to_come_is_learnt_within_5_percent(seed, silent):
    """Silent: the forecast never says that a date is past, only that the pair is probably gone."""
    rng = np.random.default_rng(seed)
    truth = 0.74
    due = rng.uniform(0, DAYS - 30, PAIRS)
    comes = rng.random(PAIRS) < truth
    came = np.where(comes, due + rng.lognormal(np.log(21), 0.9, PAIRS), np.inf)
    fitted = FIRST - pd.Timedelta(days=30)
    told: list[dict] = []
    guessed = NOTHING.drop(columns="supposed")
    for day in range(0, DAYS + 1, STEP_DAYS):
        told = [
            {"pair_id": f"P{i}", "due_on": on(due[i]), "outcome": "came", "came_on": on(came[i])}
            for i in np.flatnonzero(came <= day)
        ]
        rows = []
        for i in np.flatnonzero(came > day):
            over = day - due[i]
            known = on(max(due[i], day + 60.0) if silent else due[i])
            rows.append(row_of(i, on(day), known, 0.3 if silent and over > 120 else 0.95))
        guessed = supposed(rows, together(told, guessed), on(day), fitted)
        said = together(told, guessed)
        # the same again changes nothing
        again = supposed(rows, said, on(day), fitted)
        pd.testing.assert_frame_equal(again, guessed, check_dtype=False)
    share = comes[due <= DAYS - 150].mean()
    learnt = fit_habits(said, on(DAYS)).come
    assert learnt == pytest.approx(truth, abs=0.05 + abs(share - truth))
    assert fit_habits(together(told, NOTHING), on(DAYS)).come > 0.9, "what arrivals alone say"


def test_what_is_supposed_follows_the_forecast_both_ways_and_gives_way_to_what_is_told():
    fitted, today = FIRST, FIRST + pd.Timedelta(days=500)
    past = today - pd.Timedelta(days=1)
    first = supposed([row_of(1, today, past, 0.9)], NOTHING, today, fitted)
    assert first["outcome"].tolist() == ["open"]
    said = together([], first)
    later = today + pd.Timedelta(days=200)
    ahead = later + pd.Timedelta(days=90)
    still = supposed([row_of(1, later, past, 0.9)], said, later, fitted)
    assert still["due_on"].tolist() == first["due_on"].tolist(), "its day stays"
    assert supposed([row_of(1, later, ahead, 0.9)], said, later, fitted).empty
    gone = supposed([row_of(1, later, ahead, 0.2)], said, later, fitted)
    assert gone["outcome"].tolist() == ["declined"]
    told = [{"pair_id": "P1", "due_on": past, "outcome": "declined", "came_on": pd.NaT}]
    assert supposed(
        [row_of(1, later, past, 0.2)], together(told, first.head(0)), later, fitted
    ).empty
    new = later - pd.Timedelta(days=10)
    came = supposed([row_of(1, later, ahead, 0.9)], said, later, new)
    assert came[["outcome", "came_on"]].to_numpy().tolist() == [["came", new]]


def test_what_was_due_before_the_shop_followed_anything_is_left_aside():
    long_ago = FIRST - pd.Timedelta(days=3000)
    rows = [row_of(1, FIRST, FIRST - pd.Timedelta(days=900), 0.1)]
    assert supposed(rows, NOTHING, FIRST, long_ago).empty
    assert list(supposed(rows, NOTHING, FIRST, long_ago).columns) == list(SUPPOSED)
