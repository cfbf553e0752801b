"""Backtest scores.

How do rows of a look back add up: scores, coverage, calibration, and the send-by promise?

An outcome within some days counts only where those days, and a quarter more, had been logged.
Otherwise soles that were due would be known and others not. Pairs handed over early are censored.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solespan.forecast.backtesting.censoring import share_due
from solespan.forecast.dates.models import MODELS, NESTED
from solespan.forecast.frames import BANDS, CHANCE_DAYS

__all__ = [
    "band_table",
    "calibration_table",
    "coverage",
    "hand_over_counts",
    "scores",
    "send_by_share",
]

_GRACE_DAYS = 90
_MOST_EARLY = 0.2
_EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0)
_Z80 = 1.2815515655446004


def scores(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean score by forecaster, in days, and how many times the nested model's it is."""
    told = rows[rows[f"crps_{NESTED.name}"].notna()]
    means = {m.words: float(told[f"crps_{m.name}"].mean()) for m in MODELS.values()}
    model = means[NESTED.words]
    return pd.DataFrame(
        {
            "forecaster": list(means),
            "forecasts": len(told),
            "crps_days": list(means.values()),
            "times_the_model": [value / model if model > 0 else np.nan for value in means.values()],
        }
    )


def _followed(rows: pd.DataFrame, days: np.ndarray) -> np.ndarray:
    """Whether so many days, and a quarter more, had been logged after a forecast that counts."""
    enough = rows["follow_days"].to_numpy(float) >= days + _GRACE_DAYS
    return np.asarray(enough & (rows["kind"] != "already").to_numpy())


def coverage(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of intervals that held what happened, of those that ended within the time logged.

    Sometimes only a stretch is known in which a pair was due. The pair then counts with the share
    of the stretch that lies in the interval, by the forecast's own chances. For a forecast that is
    right the mean is the nominal share, however wide the stretches. This is the non-randomised
    transform of Czado, Gneiting and Held (Biometrics 65:1254, 2009).
    """
    low, high = rows["pit_low"].to_numpy(float), rows["pit_high"].to_numpy(float)
    out = []
    for share, end in ((0.8, "p90"), (0.5, "p75")):
        ended = rows[end].to_numpy(float) + _GRACE_DAYS <= rows["follow_days"].to_numpy(float)
        ended &= (rows["kind"] != "already").to_numpy()
        a, b = 0.5 - share / 2.0, 0.5 + share / 2.0
        inside = np.clip(np.minimum(high, b) - np.maximum(low, a), 0.0, None)
        point = ((low >= a) & (low <= b)).astype(float)
        held = np.where(high > low, inside / np.maximum(high - low, 1e-12), point)[ended]
        out.append((share, len(held), float(held.mean()) if len(held) else np.nan))
    return pd.DataFrame(out, columns=["interval", "forecasts", "held"])


def _share_told(rows: pd.DataFrame, days: np.ndarray) -> tuple[float, int]:
    """Share due within so many days; NaN where many were handed over early before.

    Owners hand over the pairs that wear faster than was thought, so the rest tells too little.
    """
    early = (rows["kind"] == "early") & (rows["above_until_days"].to_numpy(float) < days)
    if early.mean() > _MOST_EARLY:
        return np.nan, 0
    return share_due(rows, days)


def band_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Chance said and share due within the days of `sound`, by band."""
    told = rows[_followed(rows, rows["sound_days"].to_numpy(float))]
    out = []
    for band, part in told.groupby("band"):
        share, count = _share_told(part, part["sound_days"].to_numpy(float))
        if np.isfinite(share):
            out.append((band, count, float(part["chance_sound"].mean()), share))
    frame = pd.DataFrame(out, columns=["band", "forecasts", "said", "happened"])
    order = frame["band"].map({band: i for i, band in enumerate(BANDS)})
    return frame.iloc[np.argsort(order.to_numpy())].reset_index(drop=True)


def calibration_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Chances said against shares that happened, by how far ahead and in bins of the chance.

    low and high: 80 % interval of the share (Wilson, Journal of the American Statistical
    Association 22:209, 1927).
    """
    out = []
    for name, days in CHANCE_DAYS.items():
        if not days:
            continue
        told = rows[_followed(rows, np.full(len(rows), float(days)))]
        bins = np.clip(np.digitize(told[name].to_numpy(float), _EDGES) - 1, 0, len(_EDGES) - 2)
        for _, part in told.groupby(bins):
            share, n = _share_told(part, np.full(len(part), float(days)))
            if np.isfinite(share):
                out.append((days, n, float(part[name].mean()), share, *_wilson(share, n)))
    columns = ["within_days", "forecasts", "said", "happened", "low", "high"]
    return pd.DataFrame(out, columns=columns)


def send_by_share(rows: pd.DataFrame) -> tuple[int, int]:
    """Pairs that were past their limit on their send-by date, and pairs of which that is known.

    A send-by date that had passed when the forecast was made promises nothing and is left out.
    Where owners hand many pairs over before it, the others are the slow ones: then 0, 0. What such
    owners are told stands in `hand_over_counts`.
    """
    rows = rows[
        (rows["send_by_days"] > 0.0) & _followed(rows, rows["send_by_days"].to_numpy(float))
    ]
    send_by, event = rows["send_by_days"].to_numpy(float), rows["days"].to_numpy(float)
    above = rows["above_until_days"].to_numpy(float)
    past = event <= send_by
    known = past | (event > send_by) | (above >= send_by)
    sooner = ~known & (rows["kind"] == "early").to_numpy()
    if len(rows) and sooner.mean() > _MOST_EARLY:
        return 0, 0
    return int(past.sum()), int(known.sum())


def hand_over_counts(rows: pd.DataFrame) -> tuple[int, int]:
    """Pairs past their limit as they were handed over, and pairs that were looked at then."""
    told = rows.dropna(subset=["past_at_hand_over"]).drop_duplicates("sole_id")
    return int(told["past_at_hand_over"].sum()), len(told)


def _wilson(share: float, n: int) -> tuple[float, float]:
    z = _Z80 * _Z80 / n
    middle = (share + z / 2.0) / (1.0 + z)
    half = _Z80 * np.sqrt(share * (1.0 - share) / n + z / (4.0 * n)) / (1.0 + z)
    return float(max(middle - half, 0.0)), float(min(middle + half, 1.0))
