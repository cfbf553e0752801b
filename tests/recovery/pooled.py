"""What do the rows of many scored worlds say together, and how sure is that?

Standard errors are those of sums over wearers (a wearer's pairs share habits and a way of walking);
that of a median is by resampling wearers with a fixed seed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

FORECASTERS = ("line", "rate", "plug_in", "plug_in_use", "oracle")
GROUPS = ("gauged", "new_pair", "thumb_only", "second_sole", "irregular")
HORIZON_DAYS = 1826
RESAMPLES = 200


@dataclass(frozen=True)
class Share:
    """A ratio or share, its standard error, and the rows behind it."""

    value: float
    error: float
    rows: int


@dataclass(frozen=True)
class Bar:
    """An interval that a figure should lie in; a nominal share is also met within two errors."""

    low: float = 0.0
    high: float = np.inf
    nominal: float | None = None

    def met(self, share: Share) -> bool:
        """Whether the figure lies in it, or is not told apart from nominal."""
        if self.low <= share.value <= self.high:
            return True
        return self.nominal is not None and abs(share.value - self.nominal) <= 2.0 * share.error

    def short_by(self, share: Share) -> float:
        """How far outside the figure lies, 0 where inside."""
        return max(self.low - share.value, share.value - self.high, 0.0)

    def __str__(self) -> str:
        """Say it."""
        return f"at least {self.low:g}" if self.high == np.inf else f"{self.low:g} to {self.high:g}"


BARS = {
    "line": Bar(low=1.75),
    "rate": Bar(low=1.5),
    "plug_in": Bar(high=0.92),
    "oracle": Bar(high=1.30),
    "cover80": Bar(0.78, 0.84, 0.80),
    "cover50": Bar(0.47, 0.55, 0.50),
    "past_limit": Bar(0.08, 0.12),
    "bias": Bar(-10.0, 10.0),
    "bias_inside": Bar(-10.0, 10.0),
}


def ratio(top: pd.Series, bottom: pd.Series | float, cluster: pd.Series) -> Share:
    """Sum over sum, with the error of clusters that are drawn independently."""
    below = pd.Series(bottom, index=top.index, dtype=float)
    if not len(top):
        return Share(np.nan, np.nan, 0)
    value = float(top.sum() / below.sum())
    influence = (top - value * below).groupby(cluster).sum()
    return Share(value, float(np.sqrt(np.square(influence).sum()) / below.sum()), len(top))


def median(values: pd.Series, cluster: pd.Series) -> Share:
    """Median, its error by resampling clusters."""
    rng = np.random.default_rng(1)
    order = np.argsort(values.to_numpy(), kind="stable")
    ordered = values.to_numpy()[order]
    code, names = pd.factorize(cluster)
    code = code[order]
    found = []
    for _ in range(RESAMPLES):
        weight = np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[code]
        running = np.cumsum(weight)
        found.append(ordered[np.searchsorted(running, 0.5 * running[-1])])
    return Share(float(np.median(ordered)), float(np.std(found)), len(ordered))


def figures(pairs: pd.DataFrame) -> dict[str, Share]:
    """Scores and honesty of one set of pairs.

    Those due already on the day of the forecast are left out of the scores; coverage is that of
    pairs due within the horizon; the promise that of pairs whose send-by date lies ahead and within
    it. `bias`: median of median forecast less what happened, all cut at the horizon; `bias_inside`:
    of those said to be due within it. What happened must not choose the pairs: of those chosen for
    being due early, even a forecaster who knows all is late.
    """
    alive = pairs[pairs["actual"] > 0]
    due = alive[alive["actual"] < HORIZON_DAYS]
    inside, oracle_inside = (alive[alive[p50] < HORIZON_DAYS] for p50 in ("p50", "oracle_p50"))
    sent = pairs[(pairs["send_by"] > 0) & (pairs["send_by"] < HORIZON_DAYS)]
    out = {"crps": ratio(alive["crps_model"], 1.0, alive["cluster"])}
    for name in FORECASTERS:
        top, bottom = alive[f"crps_{name}"], alive["crps_model"]
        if name in ("plug_in", "plug_in_use", "oracle"):
            top, bottom = bottom, top
        out[name] = ratio(top, bottom, alive["cluster"])
    for name, low, high in (("cover80", "p10", "p90"), ("cover50", "p25", "p75")):
        held = due["actual"].between(due[low], due[high]).astype(float)
        out[name] = ratio(held, 1.0, due["cluster"])
    out["past_limit"] = ratio(
        (sent["actual"] <= sent["send_by"]).astype(float), 1.0, sent["cluster"]
    )
    out["bias"] = median(alive["p50"] - alive["actual"], alive["cluster"])
    out["bias_inside"] = median(inside["p50"] - inside["actual"], inside["cluster"])
    out["oracle_bias_inside"] = median(
        oracle_inside["oracle_p50"] - oracle_inside["actual"], oracle_inside["cluster"]
    )
    return out


def by_group(pairs: pd.DataFrame) -> dict[str, dict[str, Share]]:
    """The same for all, and for the groups that are judged apart."""
    out = {"all": figures(pairs)}
    for name in GROUPS:
        part = pairs[pairs[name]]
        if len(part):
            out[name] = figures(part)
    return out


def use_figures(use: pd.DataFrame) -> dict[int, dict[str, Share]]:
    """By days ahead: actual over expected wear days, and CRPS over the mean count."""
    return {
        int(days): {
            "ratio": ratio(rows["actual"], rows["expected"], rows["cluster"]),
            "crps": ratio(rows["crps"], 1.0, rows["cluster"]),
            "crps_share": ratio(rows["crps"], rows["actual"], rows["cluster"]),
        }
        for days, rows in use.groupby("days")
    }
