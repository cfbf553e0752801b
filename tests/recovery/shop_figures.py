"""What do the rows of scored shops say together: scores, order, coverage, and promises?

Customers who have left are no part of the scores: what became of their soles is nobody's work.
Standard errors are those of sums over wearers; that of a difference of orders is by resampling
wearers with a fixed seed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from tests.recovery.pooled import Bar, Share, ratio
from tests.recovery.shops import HORIZON_DAYS, QUANTILES

FORECASTERS = ("renewal", "plain", "line", "rate")
# plain: lives by pair, wearer and shop alone; `renewal` also knows materials and owners who leave
TOLD = ("book in", "stop wearing")
BARS = {
    "model over plain": Bar(high=0.80),
    "AUC 90 days, model less plain": Bar(low=0.02),
    "AUC 365 days, model less plain": Bar(low=0.02),
    "80 % interval holds": Bar(0.76, 0.84),
    # owners who left are not counted here, so fewer may be due than said
    **{f"due by the {q:.0%} day": Bar(q - 0.08, q + 0.05) for q in QUANTILES.values()},
}
MIXED_BARS = {
    "loggers: model over model alone": Bar(high=1.03),
}


def auc(score: np.ndarray, happened: np.ndarray, weight: np.ndarray | None = None) -> float:
    """Chance that a pair that was due was ranked before one that was not; ties count half."""
    weight = np.ones(len(score)) if weight is None else weight.astype(float)
    _, place = np.unique(score, return_inverse=True)
    n = int(place.max(initial=0)) + 1
    due = np.bincount(place, weight * happened, minlength=n)
    not_due = np.bincount(place, weight * ~happened, minlength=n)
    below = np.cumsum(not_due) - not_due
    pairs = due.sum() * not_due.sum()
    return float((due * (below + 0.5 * not_due)).sum() / pairs) if pairs > 0 else np.nan


def auc_gain(
    rows: pd.DataFrame, days: int, other: str = "renewal", resamples: int = 200
) -> tuple[float, float, Share]:
    """AUC of the model and of another for being due within so many days, and the difference."""
    happened = (rows["actual"] <= days).to_numpy()
    mine, theirs = (rows[f"{f}_within_{days}"].to_numpy(float) for f in ("model", other))
    code, names = pd.factorize(rows["cluster"])
    rng = np.random.default_rng(1)
    gains = []
    for _ in range(resamples):
        weight = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[code]
        gains.append(auc(mine, happened, weight) - auc(theirs, happened, weight))
    a, b = auc(mine, happened), auc(theirs, happened)
    return a, b, Share(a - b, float(np.nanstd(gains)), len(rows))


def due_by(rows: pd.DataFrame, forecaster: str, name: str) -> pd.Series:
    """Whether each pair was due by its stated quantile; of a forecast that is right the mean is q.

    A quantile beyond the horizon cannot be judged: there being due within the horizon counts, and
    the chance left beyond it is added.
    """
    q = QUANTILES[name]
    inside = rows[f"{forecaster}_inside"]
    said = rows[f"{forecaster}_{name}"]
    reached = (rows["actual"] <= said) & (rows["actual"] < HORIZON_DAYS)
    return reached.astype(float) + (q - np.minimum(q, inside))


def figures(pairs: pd.DataFrame) -> dict[str, Share]:
    """Scores and honesty of one set of pairs, by what they are called."""
    stay = pairs[~pairs["gone"].astype(bool)]
    alive = stay[stay["actual"] > 0]
    group = alive["cluster"]
    out = {"CRPS of the model": ratio(alive["crps_model"], 1.0, group)}
    for name in FORECASTERS:
        out[f"CRPS of {name}"] = ratio(alive[f"crps_{name}"], 1.0, group)
        out[f"model over {name}"] = ratio(alive["crps_model"], alive[f"crps_{name}"], group)
    for days in (90, 365):
        mine, theirs, gain = auc_gain(alive, days)
        out[f"AUC {days} days, model"] = Share(mine, gain.error, gain.rows)
        out[f"AUC {days} days, renewal"] = Share(theirs, gain.error, gain.rows)
        out[f"AUC {days} days, model less renewal"] = gain
        out[f"AUC {days} days, model less plain"] = auc_gain(alive, days, "plain")[2]
    for forecaster, mark in (("model", ""), ("renewal", "renewal: ")):
        by = {name: due_by(alive, forecaster, name) for name in QUANTILES}
        out[f"{mark}80 % interval holds"] = ratio(by["p90"] - by["p10"], 1.0, group)
        for name, q in QUANTILES.items():
            out[f"{mark}due by the {q:.0%} day"] = ratio(by[name], 1.0, group)
    sent = stay[(stay["send_by"] > 0) & (stay["send_by"] < HORIZON_DAYS)]
    past = (sent["actual"] <= sent["send_by"]).astype(float)
    out["past the limit on the send-by day"] = ratio(past, 1.0, sent["cluster"])
    overdue = stay[stay["actual"] <= 0]
    out["at the limit today: book in or stop wearing"] = _told(overdue)
    out["due within 90 days: book in or stop wearing"] = _told(alive[alive["actual"] <= 90])
    return out | _gone(pairs) | _loggers(alive)


def _told(rows: pd.DataFrame) -> Share:
    return ratio(rows["band"].isin(TOLD).astype(float), 1.0, rows["cluster"])


def _gone(pairs: pd.DataFrame) -> dict[str, Share]:
    """Of customers who left: how many, whether they would be told, and what lives say."""
    gone = pairs["gone"].astype(bool)
    if not gone.any():
        return {}
    left = pairs[gone]
    return {
        "gone: share of pairs": ratio(gone.astype(float), 1.0, pairs["cluster"]),
        "gone: book in or stop wearing": _told(left),
        "gone: AUC of lives": Share(
            auc(1.0 - pairs["still"].to_numpy(float), gone.to_numpy()), np.nan, len(pairs)
        ),
    }


def _loggers(alive: pd.DataFrame) -> dict[str, Share]:
    """Of those who log beside others: scores with the others, and alone."""
    both = alive[alive["crps_alone"].notna()]
    if both.empty:
        return {}
    group = both["cluster"]
    silent = alive[~alive["logs"].astype(bool)]
    return {
        "loggers: CRPS of the model": ratio(both["crps_model"], 1.0, group),
        "loggers: CRPS of the model alone": ratio(both["crps_alone"], 1.0, group),
        "loggers: model over model alone": ratio(both["crps_model"], both["crps_alone"], group),
        "silent: CRPS of the model": ratio(silent["crps_model"], 1.0, silent["cluster"]),
        "silent: model over renewal": ratio(
            silent["crps_model"], silent["crps_renewal"], silent["cluster"]
        ),
    }
