"""How well and how honestly are simulated worlds forecast, all of them pooled?

Fifteen worlds of 640 pairs (two small ones with --quick); the bars are those that the project set
itself, beside each figure, and `short by` says what is missing. Ratios of scores are over days of
CRPS; errors are standard errors over wearers.
"""

from __future__ import annotations

import statistics

import pandas as pd

from tests.recovery.harness import FULL, Scored, score_all
from tests.recovery.pooled import BARS, Share, by_group, figures, use_figures

Row = dict[str, object]
QUICK_PAIRS = 160
SAY = {
    "crps": ("CRPS", "days"),
    "line": ("straight line over model", "times"),
    "rate": ("population rate over model", "times"),
    "plug_in": ("model over MixedLM plug-in", "times"),
    "plug_in_use": ("model over the plug-in with spread of use", "times"),
    "oracle": ("model over oracle", "times"),
    "cover80": ("80 % interval holds", "share"),
    "cover50": ("50 % interval holds", "share"),
    "past_limit": ("past the limit on the send-by date", "share"),
    "bias": ("median error", "days"),
    "bias_inside": ("median error, said to be within the horizon", "days"),
    "oracle_bias_inside": ("oracle's median error, the same", "days"),
}
HONESTY = ("cover80", "cover50", "past_limit")  # of groups; scores hold for all pairs together


def run(quick: bool) -> list[Row]:
    """Rows of every figure for all pairs, the groups, each world, and use."""
    return rows_of(score_all(FULL[:2], QUICK_PAIRS) if quick else score_all(FULL))


def rows_of(scored: list[Scored]) -> list[Row]:
    """Lay the figures of scored worlds out as rows."""
    pairs = pd.concat([s.pairs for s in scored], ignore_index=True)
    use = pd.concat([s.use for s in scored], ignore_index=True)
    rows = [_row("worlds", len(scored), "", f"{len(pairs)} pairs"), _fit_row(scored)]
    for group, shares in by_group(pairs).items():
        for name, share in shares.items():
            if group != "all" and name in ("line", "rate", "plug_in") and group != "gauged":
                continue
            rows.append(_share_row(group, name, share, judged=group == "all" or name in HONESTY))
    for (world, seed), part in pairs.groupby(["world", "seed"], sort=False):
        shares = figures(part)
        told = ("crps", "oracle", "cover80", "cover50", "past_limit", "bias_inside")
        rows += [_share_row(f"{world} {seed}", n, shares[n], judged=False) for n in told]
    for days, shares in use_figures(use).items():
        note = f"error {shares['ratio'].error:.3f}; {shares['ratio'].rows} pairs"
        rows += [
            _row(f"use, {days} days: actual over said", shares["ratio"].value, "times", note),
            _row(f"use, {days} days: CRPS", shares["crps"].value, "wear days", ""),
            _row(f"use, {days} days: CRPS over mean", shares["crps_share"].value, "share", ""),
        ]
    return rows


def _share_row(group: str, name: str, share: Share, *, judged: bool) -> Row:
    said, unit = SAY[name]
    note = f"error {share.error:.3g}; {share.rows} pairs"
    if judged and name in BARS:
        bar = BARS[name]
        by = "" if bar.met(share) else f", short by {bar.short_by(share):.3g}"
        note += f"; bar {bar}: {'met' if bar.met(share) else 'NOT MET'}{by}"
    return _row(f"{group}: {said}", share.value, unit, note)


def _fit_row(scored: list[Scored]) -> Row:
    settled = sum(s.converged for s in scored)
    seconds = statistics.median(s.fit_s for s in scored)
    return _row("fit of one world", seconds, "s", f"median; {settled} of {len(scored)} settled")


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}
