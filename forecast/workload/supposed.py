"""Silent outcomes: what is supposed of due pairs whose owners never say that they went elsewhere?

An arrival is written down; an owner who does not come is written nowhere. A chance to come that is
learnt from arrivals alone is too high. A pair past its date is therefore kept as `open` since that
date, and one that is probably gone as `declined`. Only dates that the shop has followed count, or
those who left before would stand against nobody who came.
"""

from __future__ import annotations

import pandas as pd

from solespan.forecast.frames import PROBABLY_GONE
from solespan.forecast.workload.marginals import DueTable

__all__ = ["SUPPOSED", "suppose_outcomes"]

SUPPOSED = ("pair_id", "due_on", "outcome", "came_on")
_DTYPES = {"due_on": "datetime64[s]", "came_on": "datetime64[s]"}
_USUAL_LIFE_DAYS = 730.0  # of a sole, before any has come off; common practice, no source
_AT_LIMIT = 0.5  # chance of being at the limit from which a pair counts as due


def suppose_outcomes(
    due: DueTable,
    forecast: pd.DataFrame,
    soles: pd.DataFrame,
    outcomes: pd.DataFrame,
    followed_since: pd.Timestamp,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """Say what is supposed of every pair that has a sole on.

    Parameters
    ----------
    due : DueTable
        Of the forecast.
    forecast : DataFrame
        Columns of `frames.FORECAST`.
    soles : DataFrame
        Table of `frames.TABLES`.
    outcomes : DataFrame
        `pair_id`, `due_on`, `outcome`, `came_on`, `supposed`: all that stands there now.
    followed_since : Timestamp
        Pairs that were due before are left aside.
    as_of : Timestamp

    Returns
    -------
    DataFrame
        `SUPPOSED`: all rows that should be supposed now. A row that stands already keeps its day.
        What somebody told of a sole takes the place of what is supposed of it. A new sole without a
        word says that the pair came.
    """
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    at_rest = main["band"].isin(("away", "retired")) | main["chance_now"].isna()
    fitted = main["sole_id"].map(soles.set_index("sole_id")["fitted_on"])
    main = main.assign(fitted_on=fitted)
    said = outcomes.merge(main.loc[~at_rest, ["pair_id", "fitted_on"]], on="pair_id", how="left")
    of_sole = said["due_on"] >= said["fitted_on"]
    supposed = said["supposed"].astype(bool)
    before = said[supposed & ~of_sole]
    came = before["fitted_on"].notna() & (before["outcome"] != "came")
    before = before.assign(
        outcome=before["outcome"].mask(came, "came"),
        came_on=before["came_on"].mask(came, before["fitted_on"]),
    )
    now = _now(due, main[~at_rest], soles, as_of)
    now = now[~now["pair_id"].isin(said.loc[of_sole & ~supposed, "pair_id"])]
    day = said[of_sole & supposed].drop_duplicates("pair_id").set_index("pair_id")["due_on"]
    kept = pd.to_datetime(now["pair_id"].map(day.to_dict()))
    now["due_on"] = kept.where(kept.notna(), now["due_on"])
    now = now[now["due_on"] >= followed_since].assign(came_on=None)
    parts = [part[list(SUPPOSED)].astype(_DTYPES) for part in (before, now)]
    return pd.concat(parts, ignore_index=True)


def _now(
    due: DueTable, main: pd.DataFrame, soles: pd.DataFrame, as_of: pd.Timestamp
) -> pd.DataFrame:
    """Pairs past their date or probably gone: `pair_id`, `outcome`, and `due_on` as estimated."""
    ball = due.rows[due.rows["point"] == "ball"].set_index("pair_id")
    # what is worn lately in the log is not gone, whatever its forecast says
    gone = main["pair_id"].map(ball["in_use"]) < PROBABLY_GONE
    frame = main.assign(outcome=gone.map({True: "declined", False: "open"}))
    frame = frame[gone | (frame["chance_now"] >= _AT_LIMIT)]
    overdue = frame["pair_id"].map(ball["overdue_days"]).fillna(0.0)
    overdue = pd.to_timedelta(overdue.round(), unit="D")
    life = pd.to_timedelta(_usual_life_days(soles), unit="D")
    day = (as_of - overdue).where(frame["outcome"] == "open", frame["fitted_on"] + life)
    day = day.where(day > frame["fitted_on"], frame["fitted_on"])
    return frame.assign(due_on=day.where(day <= as_of, as_of).dt.normalize())


def _usual_life_days(soles: pd.DataFrame) -> float:
    """Median life of the soles that came off."""
    ended = soles[soles["removed_on"].notna()]
    if ended.empty:
        return _USUAL_LIFE_DAYS
    return float((ended["removed_on"] - ended["fitted_on"]).dt.days.median())
